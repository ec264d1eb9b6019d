"""Tests of the calendar: what lies between the years, and what is refused."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimating.business_days import (
    add_business_days,
    cancel_by,
    federal_holidays,
    is_business_day,
    observed_holidays,
)

DAYS = st.dates(date(1978, 1, 1), date(2199, 12, 1))


def test_new_years_day_on_a_saturday_is_observed_in_the_year_before():
    assert date(2022, 1, 1) in federal_holidays(2022)
    assert observed_holidays(2021)[date(2021, 12, 31)] == "New Year's Day"
    assert date(2021, 12, 31) not in observed_holidays(2022)


def test_juneteenth_is_a_holiday_from_2021_on():
    assert date(2020, 6, 19) not in federal_holidays(2020)
    assert date(2021, 6, 19) in federal_holidays(2021)


@pytest.mark.parametrize("days", [0, -1])
def test_a_count_of_no_days_is_refused(days):
    with pytest.raises(ValueError, match="1 or more"):
        add_business_days(date(2026, 3, 16), days, observed=True)


def test_years_that_the_rules_do_not_hold_for_are_refused():
    with pytest.raises(ValueError, match="1977"):
        federal_holidays(1977)


@given(DAYS, st.integers(1, 12), st.booleans())
def test_counting_further_never_comes_to_an_earlier_day_and_always_to_a_business_day(day, days, observed):
    found = add_business_days(day, days, observed=observed)
    assert is_business_day(found, observed=observed)
    assert found < add_business_days(day, days + 1, observed=observed)


@given(DAYS, st.integers(1, 6))
def test_the_careful_count_is_never_the_earlier_one(day, days):
    found = cancel_by(day, days)
    assert found.literal <= found.careful == found.day
