"""Tests of customers found twice, made one, and erased to the last trace."""

from pathlib import Path

import pytest
from django.conf import settings
from django.core.files.storage import default_storage
from django.db import connection
from django.utils import timezone

from estimating.customers import duplicates_of, merge_customers
from estimating.models import Contact, Customer, History, IdempotencyKey, Job, Note, StoredFile
from estimating.records import create_record

pytestmark = pytest.mark.django_db
API = "/api/v1"
MARK = "zanzibarium"  # in no other text of the database
PDF = b"%PDF-1.7 " + MARK.encode()


@pytest.fixture(autouse=True)
def _storage_of_its_own(settings, tmp_path) -> None:
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def desk(estimator, as_user):
    return as_user(estimator)


def customer(name="A. Tester", **values) -> Customer:
    return create_record(Customer, {"name": name, **values}, by=None, now=timezone.now())


def made(answer, status=201):
    assert answer.status_code == status, answer.content[:1000]
    return answer.json()


# Found twice


@pytest.mark.parametrize(
    ("first", "second", "because"),
    [
        ({"email": "Ana@Example.com"}, {"email": "ana@example.com"}, ["email"]),
        ({"phone": "+1 (212) 555-0142"}, {"phone": "212.555.0142"}, ["phone"]),
        ({"address": "12 Main Street"}, {"address": "12 MAIN ST."}, ["name and address"]),
        ({"email": "a@example.com", "phone": "2125550142"}, {"email": "a@example.com", "phone": "212-555-0142"},
         ["email", "phone"]),
        ({"email": ""}, {"email": ""}, None),
        ({"phone": "12"}, {"phone": "12"}, None),
        ({"address": ""}, {"address": ""}, None),
        ({"address": "12 Main St"}, {"address": "14 Main St"}, None),
    ],
)  # fmt: skip
def test_who_may_be_the_same_is_told_on_creation_and_not_merged(desk, first, second, because):
    old = made(desk.post(f"{API}/customers", {"name": "Ána Tester", **first}))
    assert old["possible_duplicates"] == []
    new = made(desk.post(f"{API}/customers", {"name": "ana  TESTER", **second}))
    assert new["possible_duplicates"] == ([{"customer": old["id"], "because": because}] if because else [])
    listed = desk.get(f"{API}/customers/{old['id']}/duplicates").json()["results"]
    assert [row["customer"] for row in listed] == ([new["id"]] if because else [])
    assert Customer.objects.filter(merged_into=None).count() == 2
    assert desk.get(f"{API}/customers/{new['id']}").json()["possible_duplicates"] is None


def test_a_contact_of_another_customer_counts(desk):
    old = customer("Board of 12 Main")
    create_record(Contact, {"customer": old, "name": "P. Porter", "role": "building-manager", "phone": "212-555-0101"},
                  by=None, now=timezone.now())  # fmt: skip
    new = made(desk.post(f"{API}/customers", {"name": "P. Porter", "phone": "(212) 555-0101"}))
    assert new["possible_duplicates"] == [{"customer": old.pk, "because": ["phone"]}]


def test_looking_for_duplicates_takes_no_more_queries_for_more_customers(django_assert_num_queries):
    for n in range(20):
        customer(f"A. Tester {n}", email="same@example.com")
    first = Customer.objects.first()
    with django_assert_num_queries(3):
        assert len(duplicates_of(first)) == 19


# Made one


@pytest.fixture
def two(db):
    now = timezone.now()
    kept, other = customer(email="a@example.com"), customer("A Tester", email="b@example.com", phone="212-555-0142")
    job = create_record(Job, {"customer": other, "name": "Terrace"}, by=None, now=now)
    create_record(Contact, {"customer": other, "name": "R. Roofer", "role": "roofer"}, by=None, now=now)
    create_record(Note, {"customer": other, "text": "Rang twice."}, by=None, now=now)
    return kept, other, job


def test_jobs_and_contacts_go_over_and_the_other_stays_as_a_pointer(desk, two):
    kept, other, job = two
    where = f"{API}/customers/{kept.pk}"
    assert desk.post(f"{where}/merge", {"other": other.pk}).status_code == 428
    seen = desk.get(where)["ETag"]
    made(desk.post(f"{where}/merge", {"other": other.pk}, HTTP_IF_MATCH=seen), 200)
    job.refresh_from_db()
    assert job.customer_id == kept.pk and job.version == 2
    pointer = desk.get(f"{API}/customers/{other.pk}").json()
    assert pointer["merged_into"] == kept.pk and pointer["name"] == "A Tester"
    contacts = desk.get(f"{API}/contacts?customer={kept.pk}").json()["results"]
    assert {(row["name"], row["email"]) for row in contacts} == {("R. Roofer", ""), ("A Tester", "b@example.com")}
    notes = desk.get(f"{API}/notes?customer={kept.pk}").json()["results"]
    assert [row["text"] for row in notes] == ["Rang twice."]
    told = History.objects.get(subject="customer", subject_id=kept.pk, action="merge")
    assert told.changes["merged"] == [None, other.pk] and told.changes["jobs"] == [None, [job.pk]]
    assert History.objects.filter(subject="customer", subject_id=other.pk, action="merge").exists()
    assert History.objects.filter(subject="job", subject_id=job.pk, changes__customer=[other.pk, kept.pk]).exists()
    assert desk.get(f"{where}/duplicates").json()["results"] == []
    assert desk.post(f"{where}/merge", {"other": other.pk}, HTTP_IF_MATCH=seen).status_code == 412


def test_nothing_is_added_to_a_pointer(desk, two):
    kept, other, _ = two
    merge_customers(kept.pk, other.pk, by=None, now=timezone.now())
    for path, body in (("jobs", {"name": "B"}), ("contacts", {"name": "B", "role": "owner"}), ("notes", {"text": "B"})):
        refused = desk.post(f"{API}/{path}", {"customer": other.pk, **body})
        assert refused.status_code == 409 and f"customer {kept.pk}" in refused.json()["detail"]
    where = f"{API}/customers/{other.pk}"
    assert desk.patch(where, {"name": "C"}, HTTP_IF_MATCH=desk.get(where)["ETag"]).status_code == 409
    assert desk.post(f"{where}/erase", HTTP_IF_MATCH=desk.get(where)["ETag"]).status_code == 409


def test_a_customer_is_not_merged_with_itself_or_with_who_is_not_there(desk, two):
    where = f"{API}/customers/{two[0].pk}"
    seen = desk.get(where)["ETag"]
    assert desk.post(f"{where}/merge", {"other": two[0].pk}, HTTP_IF_MATCH=seen).status_code == 409
    assert desk.post(f"{where}/merge", {"other": 10**6}, HTTP_IF_MATCH=seen).status_code == 422
    assert not Customer.objects.exclude(merged_into=None).exists()


def test_pointers_of_a_pointer_point_at_who_is_left(two):
    kept, other, _ = two
    first = customer("Third")
    merge_customers(other.pk, first.pk, by=None, now=timezone.now())
    merge_customers(kept.pk, other.pk, by=None, now=timezone.now())
    assert set(Customer.objects.filter(merged_into=kept).values_list("pk", flat=True)) == {other.pk, first.pk}


# Erased


def places_of(word: str) -> list[str]:
    """Every column of every table in which some row holds the word."""
    found = []
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            for column in connection.introspection.get_table_description(cursor, table):
                name = connection.ops.quote_name(column.name)
                cursor.execute(f'SELECT COUNT(*) FROM "{table}" WHERE LOWER(CAST({name} AS TEXT)) LIKE %s',
                               [f"%{word}%"])  # fmt: skip
                if cursor.fetchone()[0]:
                    found.append(f"{table}.{column.name}")
    return found


def stored_with(word: bytes) -> list[Path]:
    return [path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file() and word in path.read_bytes()]


@pytest.fixture
def marked(desk):
    """A customer, the same one again, and a job, with the mark in everything that people type of a person."""
    keyed = iter(range(100))

    def post(path, body):
        return made(desk.post(f"{API}/{path}", body, HTTP_IDEMPOTENCY_KEY=f"k{next(keyed)}"))

    person = {"name": MARK, "email": f"{MARK}@example.com", "phone": "212-555-0142", "address": f"1 {MARK} St",
              "postal_address": f"PO Box {MARK}", "note": MARK}  # fmt: skip
    one, other = (post("customers", person)["id"] for _ in range(2))
    job = post("jobs", {"customer": other, "name": MARK, "site_address": MARK, "note": MARK})["id"]
    for of in ({"customer": one}, {"customer": other}, {"job": job}):
        query = "&".join(f"{name}={pk}" for name, pk in of.items())
        post("contacts", {**of, "name": MARK, "role": "owner", "email": f"{MARK}@example.com"})
        post("notes", {**of, "text": f"{MARK} wants cedar."})
        made(desk.generic("POST", f"{API}/files?{query}&name={MARK}.pdf", PDF, content_type="application/pdf",
                          HTTP_IDEMPOTENCY_KEY=f"f{query}"))  # fmt: skip
    merge_customers(one, other, by=None, now=timezone.now())
    return one, other, job


def test_erasing_leaves_no_trace_in_any_column_and_no_file(api, marked, django_capture_on_commit_callbacks):
    one, other, job = marked
    before = places_of(MARK)
    assert {"estimating_customer.words", "estimating_contact.name", "estimating_note.text",
            "estimating_storedfile.name", "estimating_job.site_address", "estimating_idempotencykey.body"
            } <= set(before)  # fmt: skip
    assert len(stored_with(MARK.encode())) == 2
    where = f"{API}/customers/{one}"
    with django_capture_on_commit_callbacks(execute=True):
        made(api.post(f"{where}/erase", HTTP_IF_MATCH=api.get(where)["ETag"]), 200)
    assert places_of(MARK) == []
    assert stored_with(MARK.encode()) == []
    assert places_of("2125550142") == []
    files = api.get(f"{API}/files?customer={one}").json()["results"]
    assert len(files) == 2 and all(row["sha256"] and row["size"] == len(PDF) and row["erased_at"] for row in files)
    assert api.get(f"{API}/files/{files[0]['id']}/content").status_code == 410
    assert {row.erased_at is not None for row in Note.objects.all()} == {True}
    assert Customer.objects.filter(pk__in=(one, other), erased_at=None).count() == 0
    for model, subject in ((Note, "note"), (StoredFile, "stored-file")):
        erased = History.objects.filter(subject=subject, action="erase").count()
        assert erased == model.objects.count() == 3


def test_a_retry_of_what_was_erased_is_told_so_and_makes_nothing(desk, api, marked):
    one = marked[0]
    where = f"{API}/customers/{one}"
    made(api.post(f"{where}/erase", HTTP_IF_MATCH=api.get(where)["ETag"]), 200)
    body = {"name": MARK, "email": f"{MARK}@example.com", "phone": "212-555-0142", "address": f"1 {MARK} St",
            "postal_address": f"PO Box {MARK}", "note": MARK}  # fmt: skip
    again = desk.post(f"{API}/customers", body, HTTP_IDEMPOTENCY_KEY="k0")
    assert again.status_code == 410 and MARK not in again.content.decode()
    assert Customer.objects.count() == 2


def test_what_is_another_customers_stays(api, desk, django_capture_on_commit_callbacks):
    gone, stays = customer("Gone"), customer("Stays")
    for row in (gone, stays):
        made(desk.generic("POST", f"{API}/files?customer={row.pk}", PDF, content_type="application/pdf"))
        made(desk.post(f"{API}/notes", {"customer": row.pk, "text": "Said."}, HTTP_IDEMPOTENCY_KEY=f"n{row.pk}"))
    where = f"{API}/customers/{gone.pk}"
    with django_capture_on_commit_callbacks(execute=True):
        made(api.post(f"{where}/erase", HTTP_IF_MATCH=api.get(where)["ETag"]), 200)
    kept = StoredFile.objects.get(customer=stays)
    assert default_storage.exists(kept.path) and kept.erased_at is None
    assert Note.objects.get(customer=stays).text == "Said."
    assert sorted(IdempotencyKey.objects.values_list("status", flat=True)) == [201, 410]


def test_nothing_is_added_to_who_was_erased(api, desk):
    gone = customer("Gone")
    where = f"{API}/customers/{gone.pk}"
    made(api.post(f"{where}/erase", HTTP_IF_MATCH=api.get(where)["ETag"]), 200)
    assert desk.post(f"{API}/notes", {"customer": gone.pk, "text": "B"}).status_code == 409
    assert desk.post(f"{API}/contacts", {"customer": gone.pk, "name": "B", "role": "owner"}).status_code == 409
    late = desk.generic("POST", f"{API}/files?customer={gone.pk}", PDF, content_type="application/pdf")
    assert late.status_code == 409 and not StoredFile.objects.exists()
