"""Tests of the office's records over HTTP: who may, what is refused and why, and that nothing is kept by halves."""

import json
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from estimating import burden
from estimating.models import (
    CrewMix,
    Customer,
    History,
    Job,
    LaborRate,
    Office,
    Price,
    PriceList,
    PriceListVersion,
    ProductionRate,
    Supplier,
    TaxRule,
)
from estimating.price_lists import COLUMNS
from estimating.rates import crew_mix_on, labor_rates_on
from estimating.taxes import tax_rule_on, terms_on
from quotes.demonstration import DATA

pytestmark = pytest.mark.django_db
API = "/api/v1"
FILE = "\n".join([
    ",".join(COLUMNS),
    "T-2X8,2x8x12 treated,MBF,MBF,,EA,1180.00,USD,per MBF,2026-03-01,2026-03-31,active",
    "F-CLIP,Hidden clip,BX,XBX,175,EA,89.00,USD,per box,2026-03-01,,active",
    "F-NONE,Blank,EA,EA,1,EA,,USD,per EA,2026-03-01,,active",
    "",
]).encode()  # fmt: skip


@pytest.fixture
def desk(estimator, as_user) -> APIClient:
    """A program that calls in the estimator's name."""
    return as_user(estimator)


OFFICE = {
    "name": "Test Decks", "address": "1 Test Street\nTesttown", "time_zone": "America/New_York", "currency": "USD",
    "contingency_rate": "0.05", "overhead_rate": "0.20", "profit_rate": "0.10", "tax_rate": "0.0725",
    "tax_place": "cost", "payment_schedule": [
        {"share": "0.30", "milestone": "on signing"}, {"share": "0.70", "milestone": "on completion"},
    ],
}  # fmt: skip


@pytest.fixture
def office() -> Office:
    return Office.objects.create(name="Test Decks")


@pytest.fixture
def price_list(office) -> PriceList:
    return PriceList.objects.create(supplier=Supplier.objects.create(name="Test Timber"), name="yard")


def upload(client, price_list, content=FILE, query="", **headers):
    path = f"{API}/price-lists/{price_list.pk}/versions{query}"
    return client.generic("POST", path, content, content_type="text/csv", **headers)


def pointers(response) -> list[str]:
    assert response["Content-Type"] == "application/problem+json"
    return [fault["pointer"] for fault in response.json()["errors"]]


# The office


def test_the_office_is_described_once_and_changed_with_its_tag(api):
    assert api.get(f"{API}/office").status_code == 404
    first = api.put(f"{API}/office", OFFICE)
    assert first.status_code == 200, first.content
    assert first.json()["tax_rate"] == "0.072500"
    assert api.put(f"{API}/office", OFFICE).status_code == 428
    changed = api.patch(f"{API}/office", {"profit_rate": "0.12"}, HTTP_IF_MATCH=first["ETag"])
    assert changed.json()["profit_rate"] == "0.120000"
    assert api.patch(f"{API}/office", {"profit_rate": "0.13"}, HTTP_IF_MATCH=first["ETag"]).status_code == 412
    assert History.objects.filter(subject="office").values_list("changes__profit_rate", flat=True).last() == [
        "0.100000", "0.120000",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("currency", "dollars"), ("currency", "usd"), ("time_zone", "Mars/Olympus"), ("profit_rate", "-0.1"),
        ("profit_rate", "NaN"), ("profit_rate", "10"), ("tax_place", "both"), ("quote_valid_days", 0),
        ("payment_schedule", [{"share": "0.5", "milestone": "now"}]), ("colour", "blue"),
    ],
)  # fmt: skip
def test_an_office_that_cannot_be_is_refused_and_not_kept(api, field, value):
    refused = api.put(f"{API}/office", OFFICE | {field: value})
    assert refused.status_code == 422
    assert pointers(refused) == [f"/{field}"]
    assert not Office.objects.exists()


def test_the_currency_stays_once_prices_are_kept_in_it(api, price_list):
    assert upload(api, price_list).status_code == 201
    tag = api.get(f"{API}/office")["ETag"]
    assert api.patch(f"{API}/office", {"currency": "CAD"}, HTTP_IF_MATCH=tag).status_code == 409


def test_only_the_owner_describes_the_office(desk, stranger):
    assert desk.put(f"{API}/office", OFFICE).status_code == 403
    assert stranger.put(f"{API}/office", OFFICE).status_code == 401


# Customers and jobs


def test_a_customer_and_a_job_are_made_read_and_changed(desk):
    made = desk.post(f"{API}/customers", {"name": "A. Tester", "email": "a@example.com", "phone": "555-0100"})
    assert made.status_code == 201
    customer = made.json()["id"]
    job = desk.post(f"{API}/jobs", {"customer": customer, "name": "Terrace", "site_address": "1 Test Street"})
    assert job.status_code == 201 and job["Location"] == f"{API}/jobs/{job.json()['id']}"
    assert job.json()["status"] == "lead"
    early = desk.patch(job["Location"], {"status": "surveyed"}, HTTP_IF_MATCH=job["ETag"])
    assert early.status_code == 409 and early.json()["errors"][0]["read"] == "survey-missing"
    document = json.loads((DATA / "survey.json").read_text())
    assert desk.post(f"{API}/surveys", {"job": job.json()["id"], "document": document}).status_code == 201
    changed = desk.patch(job["Location"], {"status": "surveyed"}, HTTP_IF_MATCH=job["ETag"])
    assert changed.json()["status"] == "surveyed"
    history = desk.get(f"{API}/history?subject=job&subject_id={job.json()['id']}").json()["results"]
    assert history[0]["changes"] == {"status": ["lead", "surveyed"]} and history[0]["by"] == "estimator"


def test_history_does_not_hold_a_persons_data(desk):
    made = desk.post(f"{API}/customers", {"name": "A. Tester", "email": "a@example.com"})
    desk.patch(f"{API}/customers/{made.json()['id']}", {"phone": "555-0199"}, HTTP_IF_MATCH=made["ETag"])
    kept = str(list(History.objects.values()))
    assert "Tester" not in kept and "example.com" not in kept and "0199" not in kept
    assert "phone" in kept


def test_a_customer_is_erased_with_the_jobs_addresses_and_the_jobs_stay(desk):
    made = desk.post(f"{API}/customers", {"name": "A. Tester", "email": "a@example.com", "phone": "555-0100"})
    customer = Customer.objects.get()
    job = Job.objects.create(customer=customer, name="Tester terrace", site_address="1 St", created_at=timezone.now())
    where = f"{API}/customers/{customer.pk}"
    erased = desk.post(f"{where}/erase", HTTP_IF_MATCH=made["ETag"])
    assert erased.status_code == 200 and erased.json()["erased_at"]
    assert [erased.json()[field] for field in ("name", "email", "phone", "address", "note")] == [""] * 5
    job.refresh_from_db()
    assert "Tester" not in job.name and job.site_address == ""
    assert desk.patch(where, {"name": "B"}, HTTP_IF_MATCH=erased["ETag"]).status_code == 409


def test_a_customer_with_jobs_is_not_deleted(desk):
    made = desk.post(f"{API}/customers", {"name": "A. Tester"})
    Job.objects.create(customer=Customer.objects.get(), name="Terrace", created_at=timezone.now())
    refused = desk.delete(f"{API}/customers/{made.json()['id']}", HTTP_IF_MATCH=made["ETag"])
    assert refused.status_code == 409
    assert Customer.objects.exists() and not History.objects.filter(action="delete").exists()


@pytest.mark.parametrize(
    ("body", "at"),
    [
        ({}, ["/name"]),
        ({"name": ""}, ["/name"]),
        ({"name": "A", "email": "nobody"}, ["/email"]),
        ({"name": "A", "nickname": "B"}, ["/nickname"]),
        ({"name": "A" * 201}, ["/name"]),
        ({"name": ["A"], "email": {"a": 1}}, ["/name", "/email"]),
        ([], [""]),
    ],
)
def test_a_customer_that_cannot_be_is_refused_with_every_fault(desk, body, at):
    refused = desk.post(f"{API}/customers", body, format="json")
    assert refused.status_code == 422
    assert sorted(pointers(refused)) == sorted(at)
    assert not Customer.objects.exists() and not History.objects.exists()


@pytest.mark.parametrize("customer", [99, "x", None, 10**30, -1, 1.5, True])
def test_a_job_for_nobody_is_refused(desk, customer):
    refused = desk.post(f"{API}/jobs", {"customer": customer, "name": "Terrace"}, format="json")
    assert refused.status_code == 422 and pointers(refused) == ["/customer"]


def test_a_retry_with_the_same_key_makes_one_customer(desk):
    for _ in range(2):
        answer = desk.post(f"{API}/customers", {"name": "A. Tester"}, HTTP_IDEMPOTENCY_KEY="k1")
        assert answer.status_code == 201
    assert Customer.objects.count() == 1 and History.objects.count() == 1


@pytest.mark.parametrize(
    "path",
    ["customers", "contacts", "notes", "suppliers", "materials", "price-lists", "rates/labor", "rates/production",
     "history"],
)
def test_lists_are_for_the_office(path, reader, crew, stranger, as_user):
    assert as_user(reader).get(f"{API}/{path}").status_code == 200
    assert as_user(crew).get(f"{API}/{path}").status_code == 403
    assert stranger.get(f"{API}/{path}").status_code == 401


@pytest.mark.parametrize("path", ["customers", "jobs", "suppliers", "materials", "price-lists", "rates/labor"])
def test_reading_only_changes_nothing(path, reader, as_user):
    assert as_user(reader).post(f"{API}/{path}", {}).status_code == 403


@pytest.mark.parametrize("pk", ["0", "999", "x", "1.5", "9" * 40])
@pytest.mark.parametrize("path", ["customers", "jobs", "suppliers", "materials", "price-lists", "rates/labor"])
def test_what_is_not_there_is_not_found(api, path, pk):
    assert api.get(f"{API}/{path}/{pk}").status_code == 404


def test_a_list_takes_no_more_queries_for_more_rows(api, django_assert_max_num_queries):
    supplier = Supplier.objects.create(name="Test Timber")
    for n in range(30):
        row = PriceList.objects.create(supplier=supplier, name=f"list {n}")
        PriceListVersion.objects.create(
            price_list=row, source_sha256=str(n), line_count=1, valid_from="2026-03-01", staged_at=timezone.now()
        )
    with django_assert_max_num_queries(5):
        assert len(api.get(f"{API}/price-lists").json()["results"]) == 30


# Suppliers, materials


def test_an_item_key_has_one_active_material(desk):
    supplier = desk.post(f"{API}/suppliers", {"name": "Test Timber"}).json()["id"]
    body = {"item_key": "lumber/2x8/144", "supplier": supplier, "sku": "T-2X8", "thickness": "2", "width": "8"}
    assert desk.post(f"{API}/materials", body).status_code == 201
    again = desk.post(f"{API}/materials", body)
    assert again.status_code in (409, 422)
    assert desk.post(f"{API}/materials", body | {"active": False}).status_code == 201


@pytest.mark.parametrize("key", ["", "/", "lumber//144", "lumber/2x8/", "a\tb"])
def test_an_item_key_without_segments_is_refused(desk, key):
    supplier = Supplier.objects.create(name="Test Timber").pk
    refused = desk.post(f"{API}/materials", {"item_key": key, "supplier": supplier, "sku": "T"})
    assert refused.status_code == 422 and pointers(refused) == ["/item_key"]


@pytest.mark.parametrize("size", ["0", "-1", "NaN", "12345.0"])
def test_a_material_of_no_size_is_refused(desk, size):
    supplier = Supplier.objects.create(name="Test Timber").pk
    refused = desk.post(f"{API}/materials", {"item_key": "a", "supplier": supplier, "sku": "T", "length": size})
    assert refused.status_code == 422


# Price lists


def test_a_file_is_staged_looked_at_and_approved(desk, price_list):
    staged = upload(desk, price_list, query="?source_name=march.csv")
    assert staged.status_code == 201, staged.content
    body = staged.json()
    assert (body["state"], body["line_count"], body["prices"], body["rejected"]) == ("staged", 3, 2, 1)
    where = staged["Location"]
    assert desk.get(where).json() == body
    (rejected,) = desk.get(f"{where}/rejected").json()["results"]
    assert (rejected["line"], rejected["sku"], rejected["code"]) == (4, "F-NONE", "no-price")
    assert desk.post(f"{where}/approve").status_code == 428
    approved = desk.post(f"{where}/approve", HTTP_IF_MATCH=staged["ETag"])
    assert approved.status_code == 200 and approved.json()["number"] == 1
    prices = desk.get(f"{where}/prices").json()["results"]
    assert [(row["sku"], row["price"], row["unit"]) for row in prices] == [
        ("T-2X8", "1180.0000", "MBF"), ("F-CLIP", "89.0000", "XBX"),
    ]  # fmt: skip
    assert desk.get(f"{API}/price-lists/{price_list.pk}").json()["in_force"] == body["id"]
    assert desk.post(f"{where}/approve", HTTP_IF_MATCH=approved["ETag"]).status_code == 409
    assert desk.delete(where, HTTP_IF_MATCH=approved["ETag"]).status_code == 409


@pytest.mark.parametrize(
    ("content", "at"),
    [
        (b"", ""), (b"a,b\n1,2\n", "/1"), (FILE[:-30], "/4"), (b"\xff\xfe", "/1"),
        (FILE.replace(b"1180.00", b"").replace(b"89.00", b"0"), "/2"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_price_list_is_refused_with_its_line_and_changes_nothing(desk, price_list, content, at):
    refused = upload(desk, price_list, content)
    assert refused.status_code == 422, refused.content
    assert pointers(refused)[0] == at
    assert not PriceListVersion.objects.exists() and not Price.objects.exists()


def test_a_file_over_the_limit_is_refused_before_it_is_read(desk, price_list):
    refused = upload(desk, price_list, b"x", CONTENT_LENGTH="20000001")
    assert refused.status_code == 413 and "20000000" in refused.json()["detail"]


def test_a_file_longer_than_any_json_body_is_taken(desk, price_list):
    rows = (f"S{n},{'d' * 190},EA,EA,1,EA,1.00,USD,per EA,2026-03-01,,active" for n in range(23_000))
    content = "\n".join([",".join(COLUMNS), *rows, ""]).encode()
    assert len(content) > 5_000_000
    assert upload(desk, price_list, content).json()["prices"] == 23_000


def test_a_file_of_another_kind_is_refused(desk, price_list):
    assert desk.post(f"{API}/price-lists/{price_list.pk}/versions", {"a": 1}, format="json").status_code == 415


def test_the_same_file_again_is_a_conflict_and_with_the_same_key_a_retry(desk, price_list):
    first = upload(desk, price_list, HTTP_IDEMPOTENCY_KEY="k")
    assert upload(desk, price_list, HTTP_IDEMPOTENCY_KEY="k").json() == first.json()
    assert upload(desk, price_list).status_code == 409
    assert PriceListVersion.objects.count() == 1


def test_a_staged_file_is_dropped(desk, price_list):
    staged = upload(desk, price_list)
    assert desk.delete(staged["Location"], HTTP_IF_MATCH=staged["ETag"]).status_code == 204
    assert not Price.objects.exists()


def test_a_duplicate_is_settled_on_approval(desk, price_list):
    twin = b"T-2X8,2x8x12 (web),EA,H87,1,EA,27.15,USD,per EA,2026-02-10,,active\n"
    staged = upload(desk, price_list, FILE + twin)
    assert staged.json()["rejected"] == 3
    approve = f"{staged['Location']}/approve"
    both = desk.post(approve, {"keep_lines": [2, 5]}, HTTP_IF_MATCH=staged["ETag"])
    assert both.status_code == 422
    kept = desk.post(approve, {"keep_lines": [2]}, HTTP_IF_MATCH=staged["ETag"])
    assert kept.status_code == 200 and kept.json()["rejected"] == 2


def test_a_version_is_found_under_its_own_list_only(desk, price_list):
    staged = upload(desk, price_list)
    other = PriceList.objects.create(supplier=price_list.supplier, name="web")
    assert desk.get(f"{API}/price-lists/{other.pk}/versions/{staged.json()['id']}").status_code == 404
    assert desk.get(f"{API}/price-lists/{other.pk}/versions/{staged.json()['id']}/prices").status_code == 404
    assert desk.get(f"{API}/price-lists/{10**30}/versions").status_code == 404


def test_nothing_is_priced_before_the_office_is_described(desk):
    price_list = PriceList.objects.create(supplier=Supplier.objects.create(name="Test Timber"), name="yard")
    refused = upload(desk, price_list)
    assert refused.status_code == 409 and "office" in refused.json()["detail"]


# Rates


def test_a_rate_is_added_and_never_changed(desk):
    body = {"grade": "lead", "rate": "58.89", "valid_from": "2026-01-01", "basis": {"billable_hours": 1820}}
    made = desk.post(f"{API}/rates/labor", body)
    assert made.status_code == 201 and made.json()["rate"] == "58.8900"
    assert desk.patch(made["Location"], {"rate": "1"}).status_code == 405
    assert desk.delete(made["Location"]).status_code == 405
    assert LaborRate.objects.count() == 1


@pytest.mark.parametrize(
    ("changed", "at"),
    [
        ({"low": "0.05", "typical": "0.04"}, "/typical"), ({"high": "0.01"}, "/typical"), ({"low": "0"}, "/low"),
        ({"source": ""}, "/source"), ({"typical": "fast"}, "/typical"), ({"valid_from": "soon"}, "/valid_from"),
    ],
)  # fmt: skip
def test_a_production_rate_that_cannot_be_is_refused(desk, changed, at):
    body = {"task": "rip", "unit": "LF", "low": "0.03", "typical": "0.045", "high": "0.07",
            "source": "own jobs", "valid_from": "2026-01-01"}  # fmt: skip
    assert desk.post(f"{API}/rates/production", body).status_code == 201
    refused = desk.post(f"{API}/rates/production", body | changed)
    assert refused.status_code == 422 and pointers(refused) == [at]


@pytest.mark.parametrize("rate", ["0", "-1", "1e400", "NaN", "", None, "12345678901234567890"])
def test_a_labor_rate_that_is_no_money_is_refused(desk, rate):
    body = {"grade": "lead", "rate": rate, "valid_from": "2026-01-01"}
    refused = desk.post(f"{API}/rates/labor", body, format="json")
    assert refused.status_code == 422 and pointers(refused) == ["/rate"]


def test_the_rate_of_a_day_is_the_last_that_began():
    now = datetime(2026, 1, 1, tzinfo=UTC)
    for rate, start in (("50", date(2026, 1, 1)), ("55", date(2026, 6, 1)), ("56", date(2026, 6, 1))):
        LaborRate.objects.create(grade="lead", rate=Decimal(rate), valid_from=start, created_at=now)
    assert labor_rates_on(date(2025, 12, 31)) == []
    assert [row.rate for row in labor_rates_on(date(2026, 5, 31))] == [50]
    assert [row.rate for row in labor_rates_on(date(2026, 6, 1))] == [56]


# Labor rates by parts, crew mixes, tax rules

BY_PARTS = {
    "grade": "lead", "valid_from": "2026-01-01", "burden": {
        "wages": "40", "paid_hours": "2080", "billable_hours": "1820", "parts": [
            {"published": "social-security"}, {"published": "medicare"}, {"published": "federal-unemployment"},
            {"name": "state unemployment", "kind": "share", "amount": "0.029", "wage_base": "14000"},
            {"name": "compensation", "kind": "per-hundred", "amount": "9.60", "source": "policy of 2026"},
            {"name": "liability", "kind": "share", "amount": "0.011"},
            {"name": "health", "kind": "monthly", "amount": "480"},
            {"name": "retirement", "kind": "share", "amount": "0.03"},
        ],
    },
}  # fmt: skip


def with_burden(**changed):
    return BY_PARTS | {"burden": BY_PARTS["burden"] | changed}


def test_a_labor_rate_is_worked_from_its_parts_and_can_be_worked_again(desk):
    made = desk.post(f"{API}/rates/labor", BY_PARTS)
    assert made.status_code == 201, made.content
    row = LaborRate.objects.get()
    assert row.rate == Decimal("58.89") == Decimal(made.json()["rate"])  # worked by hand, see tests/standards
    again = burden.work_rate(burden.from_json(row.basis))
    assert (again.rate, again.total) == (row.rate, Decimal("107171.20"))
    assert str(again.rate) == made.json()["basis"]["worked"]["rate"]
    social = made.json()["basis"]["parts"][0]
    assert (social["wage_base"], social["yearly"]) == ("184500", "5158.40") and "FICA" in social["source"]


def test_a_rate_is_shown_part_by_part_without_keeping_it(desk):
    shown = desk.post(f"{API}/rates/labor/worked", BY_PARTS)
    assert shown.status_code == 200 and shown.json()["rate"] == "58.8900"
    assert shown.json()["basis"]["worked"]["over_wages"] == "1.2881"
    assert not LaborRate.objects.exists()


@pytest.mark.parametrize(("body", "at"), [
    ({"grade": "lead", "valid_from": "2026-01-01"}, ["/rate"]),
    (BY_PARTS | {"rate": "50"}, ["/rate"]), (BY_PARTS | {"basis": {"said": "x"}}, ["/basis"]),
    ({"grade": "lead", "valid_from": "2026-01-01", "rate": "5", "basis": {"format": "burden/1"}}, ["/basis"]),
    (BY_PARTS | {"valid_from": "2020-01-01"}, ["/burden/parts/0/published"]),
    (with_burden(billable_hours="2081"), ["/burden"]), (with_burden(wages="0"), ["/burden/wages"]),
    (with_burden(wages="NaN"), ["/burden/wages"]), (with_burden(wages="99999999999"), ["/burden"]),
    (with_burden(parts=[{"name": "x", "kind": "yearly", "amount": "1", "wage_base": "5"}]), ["/burden"]),
    (with_burden(parts=[{"name": "x"}]), ["/burden/parts/0/amount", "/burden/parts/0/kind"]),
    (with_burden(parts=[{"published": "medicare", "amount": "1"}]), ["/burden/parts/0/amount"]),
    (with_burden(parts=[{"published": "tithe"}]), ["/burden/parts/0/published"]),
    (with_burden(colour="red"), ["/burden/colour"]),
])
def test_a_burden_that_cannot_be_is_refused_with_its_place_and_nothing_is_kept(desk, body, at):
    refused = desk.post(f"{API}/rates/labor", body)
    assert refused.status_code == 422, refused.content
    assert sorted(pointers(refused)) == at and not LaborRate.objects.exists()


MIX = {"name": "boom day", "valid_from": "2026-01-01", "counts": [{"grade": "lead", "count": "1"}]}


def test_a_crew_mix_is_kept_by_name_and_the_last_that_began_holds(desk):
    desk.post(f"{API}/rates/labor", {"grade": "lead", "rate": "50", "valid_from": "2026-01-01"})
    first = desk.post(f"{API}/crew-mixes", MIX)
    assert first.status_code == 201 and first.json()["counts"] == [{"grade": "lead", "count": "1.00"}]
    later = desk.post(f"{API}/crew-mixes", MIX | {
        "valid_from": "2026-06-01", "counts": [{"grade": "lead", "count": "2"}]}).json()["id"]
    assert crew_mix_on("boom day", date(2026, 5, 31)).pk == first.json()["id"]
    assert crew_mix_on("boom day", date(2026, 6, 1)).pk == later
    assert crew_mix_on("boom day", date(2025, 1, 1)) is None is crew_mix_on("other", date(2026, 6, 1))
    assert len(desk.get(f"{API}/crew-mixes?name=boom day").json()["results"]) == 2


@pytest.mark.parametrize("counts", [
    [], [{"grade": "diver", "count": "1"}], [{"grade": "lead", "count": "0"}], [{"grade": "lead"}],
    [{"grade": "lead", "count": "1"}, {"grade": "lead", "count": "2"}], "lead",
])
def test_a_crew_of_nobody_or_of_unknown_grades_is_refused(desk, counts):
    desk.post(f"{API}/rates/labor", {"grade": "lead", "rate": "50", "valid_from": "2026-01-01"})
    refused = desk.post(f"{API}/crew-mixes", MIX | {"counts": counts})
    assert refused.status_code == 422 and all(at.startswith("/counts") for at in pointers(refused))
    assert not CrewMix.objects.exists()


TAX = {"jurisdiction": "Sampleton, ST", "rate": "0.0725", "place": "cost", "taxed_lines": "marked",
       "valid_from": "2026-01-01", "source": "Regulation 1 of ST", "said_by": "the accountant, by letter"}


def test_a_tax_rule_holds_from_its_day_in_its_jurisdiction_however_it_is_spelled(desk, office):
    first = desk.post(f"{API}/tax-rules", TAX)
    assert first.status_code == 201, first.content
    desk.post(f"{API}/tax-rules", TAX | {"rate": "0.08", "valid_from": "2026-07-01"})
    assert tax_rule_on(" sampleton,  st", date(2026, 6, 30)).rate == Decimal("0.0725")
    assert tax_rule_on("Sampleton, ST", date(2026, 7, 1)).rate == Decimal("0.08")
    assert tax_rule_on("Sampleton, ST", date(2025, 12, 31)) is None is tax_rule_on("", date(2026, 7, 1))
    terms, told = terms_on(office, "Sampleton, ST", date(2026, 6, 30))
    assert (terms.tax_rate, terms.tax_place, told["rule"]) == (Decimal("0.0725"), "cost", first.json()["id"])
    assert told["said_by"] == TAX["said_by"] and told["source"] == TAX["source"]


def test_where_no_rule_names_the_jurisdiction_the_offices_own_holds_only_if_it_says_so(office):
    office.tax_rate, office.tax_place = Decimal("0.05"), "sale"
    day = date(2026, 3, 1)
    terms, told = terms_on(office, "Elsewhere", day)
    assert (terms.tax_rate, terms.tax_place, told["from"]) == (Decimal("0.05"), "sale", "office")
    office.tax_is_fallback = False
    terms, told = terms_on(office, "Elsewhere", day)
    assert (terms.tax_place, told["from"], told["jurisdiction"]) == ("unknown", "nobody", "Elsewhere")


@pytest.mark.parametrize(("changed", "at"), [
    ({"place": "unknown"}, "/place"), ({"place": "sale"}, "/taxed_lines"), ({"rate": "7.25"}, "/rate"),
    ({"rate": "-0.01"}, "/rate"), ({"said_by": ""}, "/said_by"), ({"source": ""}, "/source"),
    ({"valid_from": "soon"}, "/valid_from"), ({"taxed_lines": "some"}, "/taxed_lines"),
    ({"jurisdiction": ""}, "/jurisdiction"),
])
def test_a_tax_rule_that_cannot_be_is_refused(desk, changed, at):
    refused = desk.post(f"{API}/tax-rules", TAX | changed)
    assert refused.status_code == 422 and pointers(refused) == [at] and not TaxRule.objects.exists()


@pytest.mark.parametrize("path", ["rates/labor", "rates/labor/worked", "crew-mixes", "tax-rules"])
def test_only_the_office_adds_rates_and_rules_and_the_crew_sees_none(crew, reader, as_user, path):
    for person in (crew, reader):
        assert as_user(person).post(f"{API}/{path}", {}).status_code == 403
    if path != "rates/labor/worked":
        assert as_user(crew).get(f"{API}/{path}").status_code == 403
        assert as_user(reader).get(f"{API}/{path}").status_code == 200


@pytest.mark.parametrize("path", ["rates/labor", "rates/production", "crew-mixes", "tax-rules"])
def test_lists_of_rates_and_rules_take_no_more_queries_for_more_rows(api, path, django_assert_max_num_queries):
    now = datetime(2026, 1, 1, tzinfo=UTC)
    stamps = {"valid_from": date(2026, 1, 1), "created_at": now}
    for n in range(20):
        LaborRate.objects.create(grade=f"g{n}", rate=1, **stamps)
        CrewMix.objects.create(name=f"m{n}", counts=[{"grade": "g1", "count": "1"}], **stamps)
        ProductionRate.objects.create(task=f"t{n}", unit="EA", low=1, typical=1, high=1, source="x", **stamps)
        TaxRule.objects.create(jurisdiction=f"j{n}", rate=0, place="cost", taxed_lines="all", source="x", said_by="y",
                               **stamps)
    with django_assert_max_num_queries(5):
        assert len(api.get(f"{API}/{path}").json()["results"]) == 20


def test_a_margin_of_the_whole_sale_is_refused_and_less_is_taken(api):
    first = api.put(f"{API}/office", OFFICE | {"profit_on": "margin", "profit_rate": "0.2"})
    assert first.status_code == 200 and first.json()["tax_is_fallback"] is True
    refused = api.patch(f"{API}/office", {"profit_rate": "1"}, HTTP_IF_MATCH=first["ETag"])
    assert refused.status_code == 422 and pointers(refused) == ["/profit_rate"]
    assert Office.objects.get().profit_rate == Decimal("0.2")


def test_a_choice_that_is_none_is_told_what_there_is_to_choose_from(api):
    answer = api.post(f"{API}/tax-rules", {"place": "roof"}, format="json")
    [fault] = [error for error in answer.data["errors"] if error["pointer"] == "/place"]
    assert answer.status_code == 422
    assert (fault["read"], fault["expected"]) == ("roof", "one of cost, sale")
