"""Tests of the crew: person-hours as days of a crew, and as working days with the people who are there."""

import math

import pytest

from framing.engine.crew import plan_crew, working_days
from framing.engine.documents import DocumentRefused, parse_build
from framing.engine.labor import Task
from tests.framing.odd_roofs import odd_build

TASKS = [Task("set-pads", 100.0, "EA", 0.09, 1.2, "", 0.06, 0.15), Task("hoist", 30.0, "CWA", 0.35, 1.2, "", 0.3, 0.4)]


def planned(tasks=TASKS, **labor):
    return plan_crew(parse_build(odd_build(labor=labor or None)), tasks)


def test_the_usual_crew_is_a_lead_a_carpenter_and_a_helper():
    schedule = planned()
    assert schedule.crew == {"lead": 1, "carpenter": 1, "helper": 1} and "usual crew" in schedule.basis
    assert (schedule.hours_a_day, schedule.availability) == (8, 0.75)


def test_days_are_hours_over_people_day_and_availability():
    """100 x 0.09 x 1.2 + 30 x 0.35 x 1.2 = 23.4 h; for two people 7 h a day 1.67 days, at 0.8 there 2.09: 3."""
    schedule = planned(crew=2, hours_a_day=7, availability=0.8)
    assert schedule.hours[1] == pytest.approx(23.4) and schedule.persons == 2
    assert schedule.crew_days == pytest.approx(23.4 / 14)
    assert schedule.days[1] == 3 == math.ceil(23.4 / 14 / 0.8)


def test_low_and_high_go_with_the_ends_of_the_rates():
    """7.2 + 10.8 = 18 h low, 18 + 14.4 = 32.4 h high."""
    schedule = planned()
    assert (schedule.hours[0], schedule.hours[2]) == (pytest.approx(18), pytest.approx(32.4))
    low, typical, high = schedule.days
    assert low <= typical <= high and high == math.ceil(32.4 / 24 / 0.75)


def test_trades_are_counted_by_name():
    assert planned(crew=["carpenter", "helper", "carpenter"]).crew == {"carpenter": 2, "helper": 1}


@pytest.mark.parametrize(("hours", "days"), [(0, 0), (24, 1), (24.1, 2), (48, 2), (0.1, 1), (3 * 8 * 0.1 * 30, 3)])
def test_whole_days(hours, days):
    """Three people, eight hours, all there; a float's dust is no further day."""
    assert working_days(hours, 3, 8.0, 1.0) == days


def test_the_document_says_all_of_it():
    told = planned(crew=4).as_json()
    assert told["persons"] == 4 and told["crew"] == {"crew": 4}
    assert told["person_hours"] == pytest.approx(23.4) and told["days_low"] <= told["days"] <= told["days_high"]
    assert told["basis"].startswith("23.4 person-hours / (4 people x 8 h) / 0.75")


@pytest.mark.parametrize(("labor", "pointer"), [
    ({"hours_a_day": 0.5}, "/labor/hours_a_day"), ({"hours_a_day": 25}, "/labor/hours_a_day"),
    ({"availability": 0}, "/labor/availability"), ({"availability": 1.1}, "/labor/availability"),
    ({"difficulty": {f"factor {i}": 1.1 for i in range(21)}}, "/labor/difficulty"),
])
def test_days_and_shares_that_no_crew_has_are_refused(labor, pointer):
    with pytest.raises(DocumentRefused) as refused:
        planned(**labor)
    assert [f.pointer for f in refused.value.faults] == [pointer]
