"""Tests of options, edits of notes and acknowledgements over HTTP, and of what a revision makes of them."""

from decimal import Decimal

import pytest

from quotes import drafts, revisions
from quotes.demonstration import NOW
from quotes.models import Quote, QuoteOption
from quotes.offer_checks import Surroundings, reasons

API = "/api/v1"


@pytest.fixture
def quote(scenario) -> Quote:
    return scenario.revision.quote


@pytest.fixture
def dearer(scenario, quote) -> Quote:
    """The same deck with an allowance, as another quote of the job."""
    allowance = {"name": "Bench", "amount": "900.00", "includes": "a bench", "settlement": "fixed", "taxable": False}
    return drafts.draft_quote(quote.job_id, scenario.framing.pk, version_ids=[scenario.version.pk],
                              agreed={"allowances": [allowance]}, by=None, now=NOW)


@pytest.fixture
def send(api, quote):
    """Send something to a part of the quote's proposal with the quote's tag."""
    def put(part, body, method="put", of=None):
        path = f"{API}/quotes/{(of or quote).pk}"
        tag = api.get(path)["ETag"]
        return getattr(api, method)(f"{path}/{part}", body, HTTP_IF_MATCH=tag)
    return put


def issued(quote):
    return revisions.issue_revision(quote.pk, why="the owner asked", by=None, now=NOW)


def test_an_option_is_priced_in_full_and_stands_in_the_snapshot_and_on_the_proposal(api, quote, dearer, send):
    body = send("options", {"options": [{"quote": dearer.pk, "name": "With a bench", "words": "Along the parapet."}]})
    assert body.status_code == 200, body.content
    assert body.json() == [{"key": "A", "quote": dearer.pk, "name": "With a bench", "words": "Along the parapet."}]
    assert api.get(f"{API}/quotes/{quote.pk}/options").json() == body.json()
    revision = issued(quote)
    [option] = revision.document["options"]
    assert Decimal(option["price"]) == dearer.price
    assert Decimal(option["difference"]) == dearer.price - revision.price
    assert "Bench" in " ".join(note["text"] for note in option["notes"])
    assert "With a bench" in revision.proposal_html and f"{dearer.price:,.2f}" in revision.proposal_html
    assert {"what": "Option With a bench", "before": "none",
            "after": f"${dearer.price:,.2f}"} in revision.document["changes"]["items"]
    assert revision.document["changes"]["why"] == "the owner asked" and "the owner asked" in revision.proposal_html


def test_options_follow_their_order_and_an_empty_list_takes_them_away(quote, dearer, send):
    assert send("options", {"options": [{"quote": dearer.pk, "name": "One"}]}).status_code == 200
    assert send("options", {"options": []}).json() == []
    assert not QuoteOption.objects.exists()


@pytest.mark.parametrize(("change", "at"), [
    ({"quote": 999_999}, "/options"), ({"quote": "base"}, "/options"), ({"name": ""}, "/options/0/name"),
    ({"quote": 0}, "/options/0/quote"), ({"colour": "red"}, "/options/0/colour"),
])
def test_what_cannot_be_an_option_is_refused_in_its_place(quote, dearer, send, change, at):
    option = {"quote": dearer.pk, "name": "One"} | change
    if option["quote"] == "base":
        option["quote"] = quote.pk
    answer = send("options", {"options": [option]})
    assert answer.status_code in (400, 422) and answer.json()["errors"][0]["pointer"] == at
    assert not QuoteOption.objects.exists()


def test_no_quote_twice_and_no_option_of_an_option(quote, dearer, send):
    twice = send("options", {"options": [{"quote": dearer.pk, "name": name} for name in ("One", "Two")]})
    assert twice.status_code == 422 and "already" in twice.content.decode()
    assert send("options", {"options": [{"quote": dearer.pk, "name": "One"}]}).status_code == 200
    nested = send("options", {"options": [{"quote": quote.pk, "name": "Back"}]}, of=dearer)
    assert nested.status_code == 422


def test_an_option_without_a_price_blocks_the_revision(quote, dearer, send):
    send("options", {"options": [{"quote": dearer.pk, "name": "One"}]})
    drafts.reprice_quote(dearer.pk, extras=[drafts.Extra("service/helicopter", Decimal(1), "LS")], by=None, now=NOW)
    count = quote.revisions.count()
    with pytest.raises(drafts.QuoteBlocked, match=dearer.number):
        issued(quote)
    assert quote.revisions.count() == count


def test_notes_are_shown_edited_and_the_edits_stand_in_the_snapshot(api, quote, send):
    notes = api.get(f"{API}/quotes/{quote.pk}/notes").json()
    upkeep = next(note for note in notes["notes"] if note["key"] == "upkeep")
    edits = [
        {"kind": "add", "key": "tree", "section": "assumption", "text": "The tree in its tub is moved by the owner."},
        {"kind": "silence", "key": "upkeep", "where": upkeep["where"], "reason": "said in the maintenance contract"},
    ]
    body = send("notes", {"edits": edits})
    assert body.status_code == 200, body.content
    assert body.json()["left_out"] == []
    revision = issued(quote)
    kept = {note["key"]: note for note in revision.document["notes"]}
    assert kept["tree"]["edited"] == "added" and kept["upkeep"]["edited"] == "silenced"
    assert kept["upkeep"]["edit_by"] == "owner"
    assert "tree in its tub" in revision.proposal_html
    assert upkeep["text"][:30] not in revision.proposal_html
    assert upkeep["text"][:30] in revision.more_html["office-copy"]
    assert "said in the maintenance contract" in revision.more_html["office-copy"]


@pytest.mark.parametrize("edit", [
    {"kind": "silence", "key": "upkeep", "reason": "short"},
    {"kind": "silence", "key": "misclosure", "reason": "the owner need not know this"},
    {"kind": "reword", "key": "no-such-note", "text": "Something."},
    {"kind": "add", "key": "law", "section": "assumption", "text": "The deck complies with all codes."},
    {"kind": "add", "key": "law", "section": "assumption", "text": ""},
    {"kind": "add", "key": "law", "text": "Without a section."},
])
def test_an_edit_that_goes_too_far_is_refused_and_nothing_is_kept(quote, send, edit):
    answer = send("notes", {"edits": [edit]})
    assert answer.status_code == 422, answer.content
    assert answer.json()["errors"][0]["pointer"].startswith("/edits/0")
    quote.refresh_from_db()
    assert quote.note_edits == []


def test_an_edit_of_a_note_that_is_gone_blocks_the_revision_until_it_is_looked_at(quote, send):
    Quote.objects.filter(pk=quote.pk).update(note_edits=[{"kind": "silence", "key": "gone", "where": "",
                                                          "reason": "it was there once", "by": "x", "at": "y"}])
    with pytest.raises(Exception, match="gone"):
        issued(quote)


def test_a_named_person_goes_on_and_it_is_printed(api, dearer, send):
    asked = api.get(f"{API}/quotes/{dearer.pk}/notes").json()["to_acknowledge"]
    assert "misclosure" in {note["key"] for note in asked}
    for note in asked:
        body = send("acknowledgements", {"key": note["key"], "where": note["where"], "name": "Hal Example",
                                         "reason": "read again on the roof with the roofer"}, "post", dearer)
        assert body.status_code == 200, body.content
    assert body.json()["to_acknowledge"] == []
    revision = issued(dearer)
    assert "Hal Example" in revision.proposal_html and "read again on the roof" in revision.proposal_html
    left = {reason.code for reason in reasons(revision.document, Surroundings(
        today=NOW.date(), site_url="https://q.example.com", addresses=["a@example.com"], office_email="o@example.com"))}
    assert left == set()


@pytest.mark.parametrize(("change", "at"), [
    ({"key": "upkeep"}, "/key"), ({"key": "nothing"}, "/key"), ({"name": ""}, "/name"),
    ({"reason": "short"}, "/reason"),
])
def test_what_needs_no_person_or_names_none_is_refused(dearer, send, change, at):
    body = {"key": "misclosure", "name": "Hal Example", "reason": "read again on the roof"} | change
    answer = send("acknowledgements", body, "post", dearer)
    assert answer.status_code in (400, 422) and answer.json()["errors"][0]["pointer"] == at
    dearer.refresh_from_db()
    assert dearer.acknowledgements == []


def test_changes_of_a_proposal_want_the_quotes_tag(api, quote):
    for part, method in (("options", "put"), ("notes", "put"), ("acknowledgements", "post")):
        assert getattr(api, method)(f"{API}/quotes/{quote.pk}/{part}", {}).status_code == 428
        assert getattr(api, method)(f"{API}/quotes/{quote.pk}/{part}", {}, HTTP_IF_MATCH='"x"').status_code == 412
