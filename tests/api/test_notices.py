"""Tests of notices over HTTP: filed and never changed, what is refused and where, and the preview of a day."""

import pytest
from django.test import Client

from estimating.models import History, Notice, Office

pytestmark = pytest.mark.django_db
API = "/api/v1/notices"
BODY = "{{seller_name}}, {{seller_address}}: made {{transaction_date}}, to be cancelled until {{cancel_by}}."
CANCELLATION = {
    "jurisdiction": "Sampleton ST", "kind": "cancellation", "title": "Notice of cancellation", "body": BODY,
    "placement": "acceptance", "copies": 2, "bold": True, "source": "16 CFR 429.1", "said_by": "counsel, by letter",
    "valid_from": "2026-01-01", "review_by": "2026-12-31",
}  # fmt: skip
LIEN = CANCELLATION | {"kind": "lien", "title": "Liens", "body": "Agent: {{agent}}", "values": {"agent": "Nobody"},
                       "placement": "proposal", "copies": 1, "bold": False}


@pytest.fixture
def desk(estimator, as_user):
    return as_user(estimator)


@pytest.fixture
def office():
    return Office.objects.create(name="Test Decks", address="1 Test Street", time_zone="Pacific/Kiritimati")


def pointers(refused) -> list[str]:
    return [error.get("parameter") or error["pointer"] for error in refused.json()["errors"]]


def test_a_notice_is_filed_read_listed_and_noted_and_never_changed(desk):
    made = desk.post(API, CANCELLATION, format="json")
    assert made.status_code == 201, made.content
    said = made.json()
    assert (said["values"], said["not_needed"], said["cancel_days"], said["point_size"]) == ({}, False, None, 10)
    assert desk.get(made["Location"]).json() == said
    desk.post(API, LIEN, format="json")
    assert [row["kind"] for row in desk.get(API).json()["results"]] == ["cancellation", "lien"]
    assert len(desk.get(f"{API}?jurisdiction__iexact=sampleton st&kind=lien").json()["results"]) == 1
    assert desk.get(f"{API}?kind=poem").status_code == 422
    for method in (desk.put, desk.patch, desk.delete):
        assert method(made["Location"], {}, format="json").status_code == 405
    assert History.objects.filter(subject="notice", action="create").count() == 2


def test_the_same_request_again_is_a_retry(desk):
    for _ in range(2):
        assert desk.post(API, LIEN, format="json", HTTP_IDEMPOTENCY_KEY="k").status_code == 201
    assert Notice.objects.count() == 1


@pytest.mark.parametrize(("changed", "at"), [
    ({"kind": "poem"}, "/kind"), ({"title": ""}, "/title"), ({"source": ""}, "/source"), ({"said_by": ""}, "/said_by"),
    ({"valid_from": "soon"}, "/valid_from"), ({"review_by": "2025-12-31"}, "/review_by"), ({"copies": 3}, "/copies"),
    ({"copies": 0}, "/copies"), ({"point_size": 9}, "/point_size"), ({"point_size": 25}, "/point_size"),
    ({"cancel_days": 3}, "/cancel_days"), ({"cancel_days": 31}, "/cancel_days"), ({"body": "x" * 20_001}, "/body"),
    ({"body": "{{agent}} {{Name}}"}, "/body"), ({"body": "{{agent}} {{agent"}, "/body"),
    ({"values": {"agent": ""}}, "/values/agent"),
    ({"values": {"agent": "{{cancel_by}}"}}, "/values"), ({"values": {"seller_name": "x"}}, "/values"),
    ({"values": {"agnet": "x"}}, "/values"), ({"values": {"Agent": "x"}}, "/values"), ({"values": ["x"]}, "/values"),
    ({"values": {"agent": ["x"]}}, "/values/agent"), ({"values": {"agent": "x" * 1001}}, "/values/agent"),
    ({"not_needed": True, "body": " ", "values": {}}, "/body"), ({"placement": "roof"}, "/placement"),
    ({"jurisdiction": "x" * 201}, "/jurisdiction"), ({"colour": "red"}, "/colour"), ({"body": None}, "/body"),
    ({"body": "a\x00b"}, "/body"), ({"body": "{{agent}} {{buyer_name}}"}, "/placement"),
])  # fmt: skip
def test_a_notice_that_cannot_be_is_refused_with_its_place_and_nothing_is_kept(desk, changed, at):
    refused = desk.post(API, LIEN | changed, format="json")
    assert refused.status_code == 422, refused.content
    assert set(pointers(refused)) == {at} and not Notice.objects.exists()


@pytest.mark.parametrize(("changed", "at"), [
    ({"copies": 1}, "/copies"), ({"bold": False}, "/bold"), ({"placement": "proposal"}, "/placement"),
    ({"body": "You may cancel until {{cancel_by}}."}, "/body"), ({"cancel_days": 0}, "/cancel_days"),
])
def test_a_cancellation_notice_that_could_not_be_completed_in_duplicate_is_refused(desk, changed, at):
    refused = desk.post(API, CANCELLATION | changed, format="json")
    assert refused.status_code == 422 and set(pointers(refused)) == {at} and not Notice.objects.exists()
    assert at == "/cancel_days" or "16 CFR 429.1" in refused.json()["errors"][0]["detail"]


@pytest.mark.parametrize("changed", [
    {"body": ""}, {"body": "", "cancel_days": 5}, {"body": "Why not.", "not_needed": True, "copies": 1, "bold": False},
    {"jurisdiction": ""}, {"point_size": 24}, {"review_by": "2026-01-01"},
])
def test_what_is_just_allowed_is_taken(desk, changed):
    assert desk.post(API, CANCELLATION | changed, format="json").status_code == 201


def test_where_a_brace_stands_wrong_is_told(desk):
    (error,) = desk.post(API, LIEN | {"body": "{{agent}}\nand {{ oops"}, format="json").json()["errors"]
    assert "line 2, column 5: '{{ oops' was read" in error["detail"]


def test_only_the_office_files_notices_and_the_crew_sees_none(crew, reader, as_user, stranger):
    for person in (crew, reader):
        assert as_user(person).post(API, LIEN, format="json").status_code == 403
    assert as_user(crew).get(API).status_code == 403 == as_user(crew).get(f"{API}/preview").status_code
    assert as_user(reader).get(API).status_code == 200
    assert stranger.get(f"{API}/preview").status_code == 401 and not Notice.objects.exists()


def test_the_preview_shows_notices_filled_what_is_missing_and_what_is_in_the_way(desk, office):
    desk.post(API, CANCELLATION, format="json")
    desk.post(API, LIEN | {"body": "{{agent}} {{license_number}} {{contract_price}}"}, format="json")
    seen = desk.get(f"{API}/preview?jurisdiction=sampleton st&on=2026-07-02&over_65=false&disaster=false")
    assert seen.status_code == 200, seen.content
    told = seen.json()
    cancellation, lien = told["notices"]
    assert cancellation["text"].startswith("Test Decks, 1 Test Street: made {{transaction_date}}")
    assert cancellation["missing"] == [] and lien["blanks"] == ["contract_price"]
    assert lien["text"] == "Nobody {{license_number}} {{contract_price}}"
    assert [blocker["code"] for blocker in told["blockers"]] == ["notice-unfilled"]
    assert "license number" in told["blockers"][0]["text"]
    assert {row["kind"] for row in told["needed"]} == {"cancellation", "lien"}
    assert (told["cancel"]["day"], told["cancel"]["ordering_from"]) == ("2026-07-08", "2026-07-09")
    assert told["cancel"]["decided_by"] == "counsel"


def test_the_preview_of_a_place_without_notices_says_that_one_is_missing(desk, office):
    told = desk.get(f"{API}/preview?jurisdiction=Nowhere").json()
    assert told["notices"] == [] and told["blockers"][0]["code"] == "notice-missing"
    assert "No cancellation notice is on file for Nowhere" in told["blockers"][0]["text"]
    assert desk.get(f"{API}/preview?jurisdiction=Nowhere&where_agreed=remote").json()["blockers"] == []
    assert told["cancel"]["days"] == 7 and "not answered" in told["cancel"]["basis"]


def test_the_preview_is_of_today_in_the_offices_time_zone(desk, office, monkeypatch):
    """At 11:00 in Greenwich it is tomorrow on Kiritimati, fourteen hours ahead."""
    from datetime import UTC, datetime

    from estimating.api import notices

    monkeypatch.setattr(notices.timezone, "now", lambda: datetime(2026, 3, 16, 11, 0, tzinfo=UTC))
    assert desk.get(f"{API}/preview").json()["on"] == "2026-03-17"


def test_the_offices_own_days_count_in_the_preview_where_they_are_more(desk, office):
    desk.post(API, CANCELLATION | {"jurisdiction": "", "cancel_days": 10}, format="json")
    query = "jurisdiction=Omaha, NE&on=2026-03-16&over_65=false&disaster=false"
    told = desk.get(f"{API}/preview?{query}").json()["cancel"]
    assert (told["days"], told["day"]) == (10, "2026-03-27")


@pytest.mark.parametrize(("query", "at"), [
    ("on=soon", "on"), ("on=1977-12-31", "on"), ("on=2200-01-01", "on"), ("where_agreed=moon", "where_agreed"),
    ("over_65=perhaps", "over_65"), ("disaster=2", "disaster"), ("jurisdiction=" + "x" * 201, "jurisdiction"),
    ("colour=red", "colour"),
])
def test_a_preview_that_cannot_be_is_refused_with_the_parameter(desk, office, query, at):
    refused = desk.get(f"{API}/preview?{query}")
    assert refused.status_code == 422, refused.content
    assert pointers(refused) == [at]


def test_a_preview_before_the_office_is_described_is_a_conflict_that_says_so(desk):
    refused = desk.get(f"{API}/preview")
    assert refused.status_code == 409 and "office is not described" in refused.json()["detail"]


def test_the_schema_describes_notices_and_the_preview():
    paths = Client().get("/api/v1/schema?format=json").json()["paths"]
    assert {"get", "post"} <= set(paths[API])
    names = {parameter["name"] for parameter in paths[f"{API}/preview"]["get"]["parameters"]}
    assert names >= {"jurisdiction", "on", "where_agreed", "over_65", "disaster"}
