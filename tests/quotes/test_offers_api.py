"""Tests of offers over HTTP: sending once, what stands in the way, withdrawing, answering, countersigning."""

from datetime import timedelta

import pytest
from django.utils import timezone

from estimating.models import Contact, Run
from estimating.records import create_record
from quotes.demonstration import NOW
from quotes.models import Offer, OfferEvent, OfferLink
from tests.quotes.offered import offered

API = "/api/v1"


@pytest.fixture
def today(monkeypatch):
    """It is the day of the demo."""
    monkeypatch.setattr(timezone, "now", lambda: NOW + timedelta(minutes=5))


@pytest.fixture
def revision(scenario):
    return scenario.revision


def path(revision):
    return f"{API}/quotes/{revision.quote_id}/revisions/{revision.number}"


@pytest.fixture
def offer(api, revision, site, today):
    """Send the offer as a client does."""
    def send(body=None, key="one", **headers):
        tag = api.get(path(revision))["ETag"]
        headers = {"HTTP_IF_MATCH": tag, "HTTP_IDEMPOTENCY_KEY": key} | headers
        return api.post(f"{path(revision)}/offer", body or {"agreed_where": "buyer-home"},
                        **{name: value for name, value in headers.items() if value is not None})
    return send


def test_before_offering_it_says_what_stands_in_the_way_and_shows_the_mail(api, revision, site, today):
    before = api.get(f"{path(revision)}/offer").json()
    assert before["reasons"] == []
    assert revision.quote.number in before["mail"] and "goes-here" in before["mail"]
    assert not OfferLink.objects.exists()


def test_an_offer_is_sent_once_and_a_retry_gives_the_same_answer(api, offer, revision):
    first = offer()
    assert first.status_code == 201, first.content
    again = offer()
    assert again.status_code == 201 and again["Idempotency-Replayed"] == "true" and again.json() == first.json()
    other = offer(key="two")
    assert other.status_code == 409 and other.json()["errors"][0]["read"] == "offered"
    assert Offer.objects.count() == OfferLink.objects.count() == 1
    assert Run.objects.filter(kind="offer").count() == 1
    assert first.json()["standing"] == "open" and first["Location"] == f"{API}/offers/{first.json()['id']}"
    assert "token" not in first.content.decode() and "seed" not in first.content.decode()


def test_it_wants_a_key_the_revisions_tag_and_how_it_was_agreed(offer):
    assert offer(HTTP_IDEMPOTENCY_KEY=None).status_code == 400
    assert offer(HTTP_IF_MATCH=None).status_code == 428
    assert offer(HTTP_IF_MATCH='"other"').status_code == 412
    assert offer({"agreed_where": "on the moon"}, key="3").json()["errors"][0]["pointer"] == "/agreed_where"
    assert offer({"x": 1}, key="4").status_code in (400, 422)
    assert not Offer.objects.exists()


def test_what_stands_in_the_way_is_told_all_at_once_and_nothing_is_sent(api, offer, revision):
    revision.quote.job.customer.email = ""
    revision.quote.job.customer.save()
    type(revision.quote.job).objects.filter(pk=revision.quote.job_id).update(roof_owner="unknown")
    answer = offer()
    assert answer.status_code == 409
    assert {error["read"] for error in answer.json()["errors"]} == {"no-address", "consent"}
    assert not Offer.objects.exists() and not Run.objects.filter(kind="offer").exists()


def test_a_second_owner_is_a_contact_of_the_job(api, offer, scenario):
    second = create_record(Contact, {"job": scenario.job, "name": "Ruben Marlowe", "role": "co-owner",
                                     "email": "ruben@example.com"}, by=None, now=NOW)
    answer = offer({"agreed_where": "buyer-home", "second_owner": second.pk})
    assert answer.status_code == 201, answer.content
    assert [(link["role"], link["email"]) for link in answer.json()["links"]] == [
        ("owner", "odette@example.com"), ("co-owner", "ruben@example.com")]


def test_a_stranger_is_no_second_owner(api, offer, scenario):
    stranger = create_record(Contact, {"customer": create_record(
        type(scenario.job.customer), {"name": "Somebody Else"}, by=None, now=NOW), "name": "X", "role": "co-owner",
        "email": "x@example.com"}, by=None, now=NOW)
    answer = offer({"agreed_where": "buyer-home", "second_owner": stranger.pk})
    assert answer.status_code == 422 and answer.json()["errors"][0]["pointer"] == "/second_owner"


def act(api, row, what, body, **headers):
    tag = api.get(f"{API}/offers/{row.pk}")["ETag"]
    return api.post(f"{API}/offers/{row.pk}/{what}", body, **{"HTTP_IF_MATCH": tag, **headers})


def test_an_offer_is_withdrawn_once_with_a_reason(api, revision, site, today):
    row = offered(revision)
    assert act(api, row, "withdraw", {"reason": ""}).status_code in (400, 422)
    done = act(api, row, "withdraw", {"reason": "the yard is out of stock"})
    assert done.status_code == 200 and done.json()["standing"] == "withdrawn"
    assert act(api, row, "withdraw", {"reason": "again"}).status_code == 409
    stale = api.post(f"{API}/offers/{row.pk}/withdraw", {"reason": "x"}, HTTP_IF_MATCH='"offer-0-1"')
    assert stale.status_code == 412


def test_a_question_is_answered_and_only_one_about_this_offer(api, revision, site, today):
    row = offered(revision)
    question = OfferEvent.objects.create(offer=row, kind="question", link=row.links.get(), text="How long?",
                                         created_at=NOW)
    done = act(api, row, "answers", {"question": question.pk, "text": "Six days."})
    assert done.status_code == 200, done.content
    assert [event["kind"] for event in done.json()["events"]] == ["question", "answer"]
    assert act(api, row, "answers", {"question": 999, "text": "x"}).status_code == 422


def test_nothing_is_countersigned_or_cancelled_that_nobody_accepted(api, revision, site, today):
    row = offered(revision)
    sign = act(api, row, "countersignature", {"name": "Hal Finch"}, HTTP_IDEMPOTENCY_KEY="k")
    assert sign.status_code == 409
    assert act(api, row, "cancellation", {"posted_on": "2026-03-17"}).status_code == 409
    assert act(api, row, "countersignature", {"name": "Hal Finch"}).status_code == 400


def test_offers_are_listed_and_read_by_the_office_alone(api, as_user, crew, reader, revision, site, today):
    row = offered(revision)
    assert [one["id"] for one in api.get(f"{API}/offers").json()["results"]] == [row.pk]
    assert as_user(reader).get(f"{API}/offers/{row.pk}").status_code == 200
    assert as_user(crew).get(f"{API}/offers/{row.pk}").status_code == 403
    body = as_user(reader).get(f"{API}/offers/{row.pk}")
    assert act(as_user(reader), row, "withdraw", {"reason": "x"}).status_code == 403
    assert row.links.get().token_sha256 not in body.content.decode()
