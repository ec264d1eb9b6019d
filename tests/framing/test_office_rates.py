"""The office's table of production rates stands behind every build that gives no rate of its own."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from estimating.models import Customer, Job, ProductionRate
from estimating.records import create_record
from framing import records
from framing.engine.documents import DocumentRefused
from tests.framing.odd_roofs import RECTANGLE, odd_build, odd_survey

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 16, 14, 0, tzinfo=UTC)


def rate(task, typical, unit, valid_from=date(2026, 1, 1)):
    return create_record(ProductionRate, {
        "task": task, "unit": unit, "low": Decimal(typical) / 2, "typical": Decimal(typical),
        "high": Decimal(typical) * 2, "source": "three jobs of 2025", "valid_from": valid_from}, by=None, now=NOW)


@pytest.fixture
def survey():
    customer = create_record(Customer, {"name": "Nobody"}, by=None, now=NOW)
    job = create_record(Job, {"name": "Roof", "customer": customer}, by=None, now=NOW)
    return records.keep_survey(job.pk, odd_survey(RECTANGLE), by=None, now=NOW)


def hours(survey, **build):
    framing = records.frame_build(survey, odd_build(labor=None, **build), by=None, now=NOW)
    return framing, {t["task"]: t for t in framing.document["labor"]}


def test_hours_are_by_the_offices_rate_of_the_day_and_the_build_is_kept_with_it(survey):
    rate("set-pads", "0.20", "EA", date(2025, 1, 1))
    rate("set-pads", "0.12", "EA")
    rate("set-pads", "0.50", "EA", date(2026, 4, 1))  # not yet
    framing, tasks = hours(survey)
    assert [tasks["set-pads"][k] for k in ("low", "hours_per_unit", "high")] == [0.06, 0.12, 0.24]
    assert tasks["set-members"]["hours_per_unit"] == 0.05  # the reference's, where the office has none
    assert framing.build.document["labor"]["rates"]["set-pads"]["typical"] == 0.12


def test_the_builds_own_rate_stands_before_the_offices(survey):
    rate("set-pads", "0.12", "EA")
    own = {"low": 0.1, "typical": 0.3, "high": 0.4, "unit": "EA"}
    asked = odd_build(labor={"rates": {"set-pads": own}, "crew": 2})
    kept = records.with_office_rates(asked, NOW)
    assert kept["labor"] == {"rates": {"set-pads": own}, "crew": 2} and asked["labor"]["rates"] == {"set-pads": own}


def test_tasks_that_are_not_counted_are_left_to_the_office(survey):
    rate("hang lanterns", "1", "EA")
    build = odd_build(labor=None)
    assert records.with_office_rates(build, NOW) is build


def test_a_rate_by_another_unit_is_refused_where_it_would_be_used(survey):
    rate("set-members", "5", "CEN")
    with pytest.raises(DocumentRefused) as refused:
        hours(survey)
    assert [f.pointer for f in refused.value.faults] == ["/labor/rates/set-members/unit"]


def test_an_hour_says_which_of_the_offices_rates_it_is_by(survey):
    row = rate("set-pads", "0.12", "EA")
    framing, tasks = hours(survey)
    assert tasks["set-pads"]["rate_record"] == row.pk
    assert f"the office's rate {row.pk} of 2026-01-01: three jobs of 2025" in tasks["set-pads"]["basis"]
    assert tasks["set-members"]["rate_record"] is None
    again = records.frame_build(survey, framing.build.document, by=None, now=NOW)  # the kept build stands by itself
    assert again.document["labor"] == framing.document["labor"]


@pytest.mark.parametrize("wrong", [{"record": 10**6}, {"typical": 0.13}, {"unit": "EA", "high": 0.25}])
def test_a_rate_that_claims_to_be_the_offices_and_is_not_is_refused(survey, wrong):
    row = rate("set-pads", "0.12", "EA")
    claimed = {"low": 0.06, "typical": 0.12, "high": 0.24, "unit": "EA", "record": row.pk} | wrong
    with pytest.raises(DocumentRefused) as refused:
        records.frame_build(survey, odd_build(labor={"rates": {"set-pads": claimed}}), by=None, now=NOW)
    assert [f.pointer for f in refused.value.faults] == ["/labor/rates/set-pads/record"]
    other = {"rates": {"set-members": {"low": 0.06, "typical": 0.12, "high": 0.24, "unit": "LF", "record": row.pk}}}
    with pytest.raises(DocumentRefused):
        records.frame_build(survey, odd_build(labor=other), by=None, now=NOW)


@pytest.mark.parametrize("labor", [3, "much", [1], {"rates": [1]}, {"rates": "dear"}])
def test_what_is_no_build_is_refused_and_no_crash(survey, labor):
    rate("set-pads", "0.12", "EA")
    with pytest.raises(DocumentRefused):
        records.frame_build(survey, odd_build(labor=labor), by=None, now=NOW)
