"""Tests of the last day to cancel: what nobody answered counts as longer, the later of two days holds."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimating.reference.consumer_law import CANCEL_RULES, COOLING_OFF_FROM, EXEMPT_WAYS, WHERE_AGREED
from estimating.reference.states import STATES, state_in
from estimating.right_to_cancel import cancel_by_for, cancel_rule, ordering_from

DAY = date(2026, 3, 16)
ANSWERS = st.sampled_from([True, False, None])
PLACES = ["", "Oakland, CA", "Albany, NY", "Omaha, NE", "Sampleton ST (fictional)"]


def days(jurisdiction, over_65, disaster, on=DAY):
    return cancel_rule(jurisdiction, over_65=over_65, disaster=disaster, on=on).days


@pytest.mark.parametrize(("over_65", "disaster", "expected"), [
    (False, False, 3), (True, False, 5), (None, False, 5), (False, True, 7), (False, None, 7), (True, True, 7),
    (None, None, 7),
])
def test_what_nobody_answered_counts_as_the_longer_period(over_65, disaster, expected):
    assert days("Oakland, CA 94607", over_65, disaster) == expected


def test_a_rule_holds_from_its_day_and_before_it_the_federal_one_alone():
    assert days("Oakland, CA", True, True, date(2021, 1, 1)) == 7
    assert days("Oakland, CA", True, True, date(2020, 12, 31)) == 3
    before, after = (cancel_rule("Oakland, CA", over_65=False, disaster=False, on=day)
                     for day in (date(2025, 12, 31), date(2026, 1, 1)))
    assert "e-mail" not in before.how and "e-mail" in after.how and "AB 1327" in after.source


def test_a_state_without_a_rule_on_file_has_the_federal_one_and_is_told_so():
    found = cancel_rule("Omaha, NE", over_65=None, disaster=None, on=DAY)
    assert found.days == 3 and found.source.startswith("16 CFR 429")
    assert "Nebraska, of which no rule is on file" in found.basis and found.decided_by == "counsel"


@pytest.mark.parametrize("jurisdiction", ["", "  ", "Sampleton ST (fictional)", "Oakland"])
def test_a_jurisdiction_in_no_state_that_can_be_read_counts_as_the_longest(jurisdiction):
    assert days(jurisdiction, None, None) == 7 and days(jurisdiction, False, False) == 3
    assert "could be read" in cancel_rule(jurisdiction, over_65=None, disaster=None, on=DAY).basis


def test_basis_and_source_tell_the_answers_and_how_the_rule_was_read():
    found = cancel_rule("Oakland, CA", over_65=None, disaster=False, on=DAY)
    assert "65 or over: not answered, so that the longer period counts" in found.basis
    assert "declared disaster: no" in found.basis and "Oakland, CA, in California" in found.basis
    assert "7159" in found.source and "read in a restatement" in found.source
    told = " ".join((found.words, found.basis, found.source))
    assert "compl" not in told


def test_the_offices_own_notice_may_give_more_days_and_never_fewer():
    given_more = cancel_rule("Omaha, NE", over_65=False, disaster=False, on=DAY, at_least=4)
    assert given_more.days == 4 and "office's own notice" in given_more.words
    assert cancel_rule("Omaha, NE", over_65=False, disaster=False, on=DAY, at_least=2).days == 3


def test_five_and_seven_days_by_hand():
    """Signed on Monday 2026-03-16; Sunday the 22nd does not count."""
    day = {n: cancel_by_for("Oakland, CA", DAY, over_65=n == 5, disaster=n == 7).day for n in (3, 5, 7)}
    assert day == {3: date(2026, 3, 19), 5: date(2026, 3, 21), 7: date(2026, 3, 24)}


def test_it_is_counted_from_the_copy_where_that_came_later():
    later = cancel_by_for("Oakland, CA", DAY, over_65=False, disaster=False, copy_received=date(2026, 3, 18))
    assert (later.start, later.day) == (date(2026, 3, 18), date(2026, 3, 21))
    earlier = cancel_by_for("Oakland, CA", DAY, over_65=False, disaster=False, copy_received=date(2026, 3, 14))
    assert (earlier.start, earlier.day) == (DAY, date(2026, 3, 19))


def test_ordering_begins_the_day_after_and_the_answer_tells_both_counts():
    found = cancel_by_for("Omaha, NE", date(2026, 7, 2), over_65=False, disaster=False).as_json()
    assert (found["literal"], found["careful"], found["day"]) == ("2026-07-07", "2026-07-08", "2026-07-08")
    assert found["ordering_from"] == "2026-07-09" and ordering_from(date(2026, 12, 31)) == date(2027, 1, 1)


@given(st.dates(date(2015, 1, 1), date(2100, 1, 1)), st.sampled_from(PLACES), ANSWERS, ANSWERS)
def test_no_answer_is_never_earlier_than_any_answer_and_no_day_before_the_federal_one(signed, place, over_65, disaster):
    found = cancel_by_for(place, signed, over_65=over_65, disaster=disaster).day
    federal = cancel_by_for("Omaha, NE", signed, over_65=False, disaster=False).day
    assert signed + timedelta(3) <= federal <= found <= cancel_by_for(place, signed, over_65=None, disaster=None).day
    assert found <= cancel_by_for("", signed, over_65=over_65, disaster=disaster).day


@pytest.mark.parametrize(("jurisdiction", "state"), [
    ("Charleston, West Virginia", "WV"), ("Richmond, virginia", "VA"), ("Little Rock, Arkansas", "AR"),
    ("Wichita  Kansas", "KS"), ("Albany, NY 12207", "NY"), ("New York", "NY"), ("Washington, DC", "DC"),
    ("Sampleton ST", None), ("", None), ("Kansas City", None), ("portland, or", None),
])
def test_the_state_that_a_jurisdiction_ends_with(jurisdiction, state):
    assert state_in(jurisdiction) == state


def test_every_rule_is_of_a_known_state_and_rows_of_a_state_stand_in_the_order_of_their_days():
    assert len(STATES) == 51 and {rule.state for rule in CANCEL_RULES} - {""} <= set(STATES)
    for rule in CANCEL_RULES:
        rows = [row.valid_from or date.min for row in CANCEL_RULES if row.state == rule.state]
        assert rows == sorted(rows) and rule.days <= min(rule.senior_days, rule.disaster_days)


def test_what_is_asked_about_where_it_was_agreed():
    assert set(WHERE_AGREED) == {"buyer-home", "seller-place", "elsewhere", "remote", "emergency-at-buyers-request",
                                 "unknown"}
    assert set(WHERE_AGREED) >= EXEMPT_WAYS and not EXEMPT_WAYS & set(COOLING_OFF_FROM)
