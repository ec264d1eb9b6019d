"""Tests of looking for people and jobs: however it is spelled, and only what the role may see."""

import pytest
from django.utils import timezone

from estimating.models import Contact, Customer, Job, Note
from estimating.records import create_record

pytestmark = pytest.mark.django_db
API = "/api/v1"


@pytest.fixture
def office(db) -> dict[str, int]:
    now = timezone.now()
    customer = create_record(Customer, {"name": "Zoë O’Brien-Müller", "email": "zoe@example.com",
                                        "phone": "(212) 555-0142", "address": "418 Fictional Quay #4R"},
                             by=None, now=now)  # fmt: skip
    job = create_record(Job, {"customer": customer, "name": "Quay terrace", "site_address": "418 Fictional Quay"},
                        by=None, now=now)  # fmt: skip
    contact = create_record(Contact, {"job": job, "name": "Søren Façade", "role": "roofer", "phone": "+1 212 555 0177"},
                            by=None, now=now)  # fmt: skip
    note = create_record(Note, {"job": job, "text": "The Quay gate opens at 7; 100% cedar_red wanted."}, by=None,
                         now=now)  # fmt: skip
    create_record(Customer, {"name": "Nobody Else"}, by=None, now=now)
    return {"customer": customer.pk, "job": job.pk, "contact": contact.pk, "note": note.pk}


def found(client, question) -> list[str]:
    answer = client.get(f"{API}/search", {"q": question})
    assert answer.status_code == 200, answer.content
    return [row["kind"] for row in answer.json()["results"]]


@pytest.mark.parametrize(
    ("question", "kinds"),
    [
        ("zoe", ["customer"]), ("ZOË", ["customer"]), ("obrien muller", ["customer"]), ("O'Brien", ["customer"]),
        ("muller zoe", ["customer"]), ("zoe@example.com", ["customer"]), ("5550142", ["customer"]),
        ("1-212-555-0142", ["customer"]), ("555.0177", ["contact"]), ("facade", ["contact"]),
        ("quay", ["customer", "job", "note"]), ("418 fict", ["customer", "job"]), ("cedar", ["note"]),
        ("%", []), ("_", []), ("edar", []), ("cedar zoe", []), ("'; DROP TABLE", []), ("…", []), ("\u0301", []),
    ],
)  # fmt: skip
def test_what_is_looked_for_is_found_however_it_is_spelled(api, office, question, kinds):
    assert found(api, question) == kinds


def test_a_job_is_found_by_its_number(api, office):
    assert found(api, f"J{office['job']:05d}") == ["job"] and found(api, f"j{office['job']}") == ["job"]


def test_a_result_says_what_it_is_and_where_it_belongs(api, office):
    (row,) = api.get(f"{API}/search?q=cedar").json()["results"]
    assert row == {"kind": "note", "id": office["note"], "customer": None, "job": office["job"],
                   "text": "The Quay gate opens at 7; 100% cedar_red wanted."}  # fmt: skip


def test_each_role_finds_what_it_may_see(office, crew, reader, stranger, as_user):
    assert found(as_user(reader), "quay") == ["customer", "job", "note"]
    assert found(as_user(crew), "quay") == ["job"]
    assert found(as_user(crew), "zoe") == []
    assert stranger.get(f"{API}/search?q=quay").status_code == 401


@pytest.mark.parametrize("query", ["", "?q=", "?q=%20", "?q=" + "a" * 201, "?q=a&limit=3"])
def test_a_question_that_is_none_is_refused(api, query):
    assert api.get(f"{API}/search{query}").status_code == 422


def test_more_records_take_no_more_queries_and_are_told(api, office, django_assert_max_num_queries):
    for n in range(30):
        create_record(Customer, {"name": f"Quay {n}"}, by=None, now=timezone.now())
    with django_assert_max_num_queries(6):  # two of them for the token
        answer = api.get(f"{API}/search?q=quay").json()
    assert sum(row["kind"] == "customer" for row in answer["results"]) == 20 and answer["more"] == ["customer"]


def test_what_was_changed_is_found_by_its_new_words_alone(api, office):
    where = f"{API}/customers/{office['customer']}"
    api.patch(where, {"name": "Ana"}, HTTP_IF_MATCH=api.get(where)["ETag"])
    assert found(api, "zoe muller") == [] and found(api, "ana") == ["customer"]
