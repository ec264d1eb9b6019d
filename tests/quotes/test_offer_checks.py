"""Tests of what stands in the way of offering: each alone, and nothing where nothing does."""

import copy
from dataclasses import replace
from datetime import date

import pytest

from quotes.notes import Note, to_acknowledge
from quotes.offer_checks import Surroundings, reasons

CLEAR = Surroundings(today=date(2026, 3, 16), site_url="https://quotes.example.com", addresses=["a@example.com"],
                     office_email="office@example.com")


@pytest.fixture
def snapshot(scenario):
    """A revision in which everything is in order: what asks for a named person has one."""
    found = copy.deepcopy(scenario.revision.document)
    found["acknowledgements"] = [
        {"key": note.key, "text": note.text, "name": "Ada Example", "reason": "seen on the roof with the roofer",
         "at": "2026-03-16T00:00:00Z"} for note in to_acknowledge(Note(**kept) for kept in found["notes"])
    ]
    assert found["acknowledgements"], "the demo is known to ask for a named person"
    return found


def codes(snapshot, around=CLEAR):
    return [reason.code for reason in reasons(snapshot, around)]


def test_in_order_nothing_stands_in_the_way(snapshot):
    assert codes(snapshot) == []


@pytest.mark.parametrize(("change", "code"), [
    ({"intact": False}, "not-intact"), ({"newest": False}, "not-newest"), ({"offered_before": True}, "offered"),
    ({"job_status": "accepted"}, "job-further-on"), ({"today": date(2026, 4, 16)}, "offer-ended"),
    ({"erased": True}, "erased"), ({"consent": "The board has not consented."}, "consent"),
    ({"notices": ["The lien notice is not filled in."]}, "notice"), ({"site_url": ""}, "site-url"),
    ({"addresses": [""]}, "no-address"), ({"addresses": []}, "no-address"),
    ({"addresses": ["a@example.com", "A@example.com"]}, "same-address"), ({"office_email": ""}, "office-email"),
])
def test_each_alone_stands_in_the_way(snapshot, change, code):
    assert codes(snapshot, replace(CLEAR, **change)) == [code]


def test_the_last_day_itself_is_still_good(snapshot):
    assert codes(snapshot, replace(CLEAR, today=date(2026, 4, 15))) == []


def test_a_price_past_its_date_is_named_also_of_an_option(snapshot):
    snapshot["estimate"]["prices_valid_to"] = "2026-03-15"
    assert codes(snapshot) == ["prices-ended"]
    snapshot["estimate"]["prices_valid_to"] = "2026-03-16"
    assert codes(snapshot) == []
    option = {"key": "A", "framing": {}, "notes": [], "estimate": {"prices_valid_to": "2026-03-15"}}
    snapshot["options"] = [option]
    assert [reason.text for reason in reasons(snapshot, CLEAR)][0].startswith("A price of option A ended")


def test_a_stop_in_the_framing_of_the_deck_or_of_an_option(snapshot):
    stop = {"code": "height-short", "status": "stop", "text": "It is 1/2 in short."}
    snapshot["options"] = [{"key": "B", "framing": {"checks": [stop]}, "notes": [], "estimate": {}}]
    assert [(reason.code, "Option B" in reason.text) for reason in reasons(snapshot, CLEAR)] == [("stop", True)]
    snapshot["options"] = []
    snapshot["framing"]["checks"].append(stop)
    assert codes(snapshot) == ["stop"]


def test_a_finding_without_its_named_person_and_one_whose_number_changed_since(snapshot):
    taken = snapshot["acknowledgements"].pop()
    assert len(codes(snapshot)) == 1
    snapshot["acknowledgements"].append({**taken, "text": taken["text"].replace(".", "!")})
    assert len(codes(snapshot)) == 1
    snapshot["acknowledgements"][-1] = {**taken, "reason": "short"}
    assert len(codes(snapshot)) == 1
    snapshot["acknowledgements"][-1] = {**taken, "name": " "}
    assert len(codes(snapshot)) == 1


def test_a_survey_that_does_not_close_says_so(snapshot):
    snapshot["acknowledgements"] = [row for row in snapshot["acknowledgements"] if row["key"] != "misclosure"]
    assert codes(snapshot) == ["survey-does-not-close"]


def test_everything_is_told_at_once(snapshot):
    snapshot["acknowledgements"] = []
    found = codes(snapshot, replace(CLEAR, intact=False, consent="No consent.", site_url=""))
    assert {"not-intact", "survey-does-not-close", "not-acknowledged", "consent", "site-url"} <= set(found)


def test_a_first_payment_over_a_states_limit_asks_for_a_named_person_too(snapshot):
    caution = {"key": "deposit", "text": "The first payment is more than 1,000.00.", "basis": "b", "source": "s",
               "decided_by": "counsel", "acknowledge": True}
    snapshot["estimate"]["cautions"] = [caution]
    assert codes(snapshot) == ["not-acknowledged"]
    snapshot["estimate"]["cautions"] = [{**caution, "acknowledge": False}]
    assert codes(snapshot) == []
