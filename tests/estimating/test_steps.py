"""Tests of a job's steps: each blocker just on and just off, and which steps there are."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from estimating.models import Job
from estimating.steps import LOST, RULES, STATES, JobFacts, blockers, consent_blocker, next_state

TODAY = date(2026, 3, 16)
DAY = timedelta(days=1)
CLEAR = JobFacts(
    state="lead", today=TODAY, roof_owner="board", consent_needed=True, consent_asked_on=TODAY, consent_given_on=TODAY,
    surveys=1, framings=1, stops=0, quote="Q00001", priced=True, prices_valid_to=TODAY, offered=True,
    valid_until=TODAY, papers=3, accepted_on=TODAY, deposit_received_on=TODAY, starts_on=TODAY + 30 * DAY,
    built_on=TODAY, handed_over_on=TODAY, paid_on=TODAY,
)  # fmt: skip


def codes(facts: JobFacts, to: str | None = None) -> list[str]:
    return [blocker.code for blocker in blockers(facts, to)]


def before(state: str, **facts) -> JobFacts:
    """A job that wants to be in this state, everything clear save what is told."""
    return replace(CLEAR, state=STATES[STATES.index(state) - 1], **facts)


@pytest.mark.parametrize(
    ("state", "on", "off", "code"),
    [
        ("surveyed", {"surveys": 0}, {"surveys": 1}, "survey-missing"),
        ("framed", {"framings": 0}, {"framings": 1}, "framing-missing"),
        ("framed", {"stops": 1}, {"stops": 0}, "framing-has-stops"),
        ("quoted", {"roof_owner": "unknown"}, {"roof_owner": "landlord"}, "roof-owner-unknown"),
        ("quoted", {"quote": "", "offered": False}, {}, "quote-missing"),
        ("quoted", {"priced": False, "offered": False}, {"priced": False}, "quote-without-price"),
        ("quoted", {"prices_valid_to": TODAY - DAY, "offered": False}, {"prices_valid_to": TODAY - DAY},
         "prices-ended"),
        ("quoted", {"prices_valid_to": TODAY, "offered": False}, {"prices_valid_to": TODAY}, "nothing-offered"),
        ("accepted", {"roof_owner": "unknown"}, {"roof_owner": "customer"}, "roof-owner-unknown"),
        ("accepted", {"consent_needed": None}, {"consent_needed": None, "roof_owner": "customer"},
         "consent-undecided"),
        ("accepted", {"offered": False}, {}, "nothing-offered"),
        ("accepted", {"valid_until": TODAY - DAY}, {"valid_until": TODAY}, "offer-ended"),
        ("accepted", {"valid_until": TODAY - DAY}, {"valid_until": TODAY - DAY, "accepted_on": TODAY - DAY},
         "offer-ended"),
        ("accepted", {"accepted_on": None}, {"accepted_on": TODAY}, "not-accepted"),
        ("accepted", {"accepted_on": TODAY + DAY, "valid_until": None}, {}, "not-accepted"),
        ("deposit-paid", {"deposit_received_on": None}, {}, "deposit-missing"),
        ("scheduled", {"consent_asked_on": None, "consent_given_on": None}, {"consent_asked_on": None},
         "consent-not-asked"),
        ("scheduled", {"consent_given_on": None}, {"consent_given_on": None, "consent_needed": False},
         "consent-missing"),
        ("scheduled", {"starts_on": None}, {"starts_on": TODAY + 90 * DAY}, "start-missing"),
        ("deposit-paid", {"cancelled": True}, {"cancelled": False}, "sale-cancelled"),
        ("scheduled", {"cancel_by": TODAY}, {"cancel_by": TODAY - DAY}, "may-be-cancelled"),
        ("scheduled", {"cancelled": True, "cancel_by": TODAY}, {"cancel_by": None}, "sale-cancelled"),
        ("building", {"papers": 0}, {"papers": 1}, "papers-missing"),
        ("building", {"cancel_by": TODAY}, {"cancel_by": TODAY - DAY}, "may-be-cancelled"),
        ("closed", {"cancelled": True}, {}, "sale-cancelled"),
        ("punch", {"built_on": None}, {}, "not-built"),
        ("handed-over", {"handed_over_on": TODAY + DAY}, {"handed_over_on": TODAY}, "not-handed-over"),
        ("closed", {"paid_on": None}, {}, "final-payment-missing"),
    ],
)  # fmt: skip
def test_each_blocker_is_told_at_its_limit_and_not_beyond(state, on, off, code):
    assert codes(before(state, **on)) == [code]
    assert codes(before(state, **off)) == []


def test_every_blocker_says_what_and_who():
    for state in STATES[1:]:
        for blocker in blockers(JobFacts(state=STATES[STATES.index(state) - 1], today=TODAY)):
            assert blocker.text.endswith(".") and blocker.who and blocker.code == blocker.code.lower()


def test_a_job_of_which_nothing_is_known_is_told_everything_up_to_the_end():
    known = set(codes(JobFacts(state="lead", today=TODAY), "closed"))
    assert {"survey-missing", "framing-missing", "roof-owner-unknown", "consent-undecided", "quote-missing",
            "nothing-offered", "not-accepted", "deposit-missing", "start-missing", "papers-missing", "not-built",
            "not-handed-over", "final-payment-missing"} == known  # fmt: skip


def test_a_job_with_everything_clear_goes_all_the_way():
    assert codes(CLEAR, "closed") == []
    assert set(RULES) == set(STATES[1:])


@pytest.mark.parametrize("state", STATES)
def test_a_step_back_is_named_and_the_state_itself_is_no_step(state):
    facts = replace(CLEAR, state=state)
    assert codes(facts, state) == []
    for earlier in STATES[: STATES.index(state)]:
        assert codes(facts, earlier) == ["step-back"]


@pytest.mark.parametrize("state", STATES)
def test_a_job_is_lost_freely_until_the_offer_is_accepted(state):
    lost_freely = state in ("lead", "surveyed", "framed", "quoted")
    assert codes(replace(CLEAR, state=state), LOST) == ([] if lost_freely else ["already-accepted"])


def test_a_deposit_is_taken_while_the_sale_may_still_be_cancelled_and_no_day_for_work_is_set():
    facts = replace(CLEAR, state="accepted", cancel_by=TODAY)
    assert codes(facts, "deposit-paid") == [] and codes(facts, "scheduled") == ["may-be-cancelled"]


def test_a_job_whose_sale_was_cancelled_is_lost_freely():
    assert codes(replace(CLEAR, state="accepted", cancelled=True), LOST) == []


def test_a_lost_job_is_taken_up_by_the_owner_alone():
    assert codes(replace(CLEAR, state=LOST), "lead") == ["job-lost"]
    assert next_state(LOST) is None and next_state("closed") is None and codes(replace(CLEAR, state=LOST)) == []


def test_a_state_that_is_none_is_an_error():
    with pytest.raises(ValueError, match="expected one of lead"):
        blockers(CLEAR, "painted")


def test_the_records_know_the_same_states():
    assert Job.Status.values == [*STATES, LOST]


@pytest.mark.parametrize(("facts", "code"), [
    ({"roof_owner": "unknown", "consent_needed": False}, "roof-owner-unknown"),
    ({"roof_owner": "customer", "consent_needed": None}, None),
    ({"roof_owner": "board", "consent_needed": None}, "consent-undecided"),
    ({"roof_owner": "board", "consent_needed": False, "consent_given_on": None}, None),
    ({"roof_owner": "landlord", "consent_given_on": None, "consent_asked_on": None}, "consent-not-asked"),
    ({"roof_owner": "board", "consent_given_on": None}, "consent-missing"), ({"roof_owner": "board"}, None),
    ({"roof_owner": "customer", "consent_needed": True, "consent_given_on": None}, "consent-missing"),
])
def test_what_is_open_about_the_consent_of_the_roofs_owner(facts, code):
    found = consent_blocker(replace(CLEAR, **facts))
    assert (found and found.code) == code


def test_a_job_itself_can_be_asked_for_the_consent_and_the_board_gives_it_in_writing():
    found = consent_blocker(Job(roof_owner="board", consent_needed=True, consent_asked_on=TODAY))
    assert found.who == "board" and "in writing" in found.text
    assert consent_blocker(Job(roof_owner="customer")) is None
