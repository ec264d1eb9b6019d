"""Federal holidays against the `holidays` package, and the cooling-off days against counts made by hand."""

from datetime import date, timedelta

import holidays
import pytest

from estimating.business_days import (
    add_business_days,
    cancel_by,
    federal_holidays,
    is_business_day,
    observed_holidays,
)
from estimating.reference.consumer_law import COOLING_OFF_DAYS

YEARS = range(2015, 2041)


@pytest.mark.parametrize("year", YEARS)
def test_the_days_themselves_are_those_of_the_holidays_package(year):
    """5 U.S.C. 6103(a) as an independent program has it."""
    assert set(federal_holidays(year)) == set(holidays.US(years=year, observed=False))


@pytest.mark.parametrize("year", YEARS)
def test_days_off_that_stand_for_a_weekend_are_those_of_the_holidays_package(year):
    """5 U.S.C. 6103(b) and Executive Order 11582; the package says "(observed)" behind the name."""
    theirs = {day for day, name in holidays.US(years=year).items() if name.endswith("(observed)")}
    assert set(observed_holidays(year)) == theirs


@pytest.mark.parametrize("year", YEARS)
def test_business_days_of_every_year_are_those_of_the_holidays_package(year):
    """Every day but Sundays and the package's holidays, with the days off and without them."""
    for observed in (False, True):
        off = holidays.US(years=[year, year + 1], observed=observed)
        days = [date(year, 1, 1) + timedelta(n) for n in range(365)]
        theirs = [day for day in days if day.weekday() != 6 and day not in off]
        assert [day for day in days if is_business_day(day, observed=observed)] == theirs


@pytest.mark.parametrize("year", [2016, 2026, 2033])
def test_the_third_business_day_is_the_packages_own_count_on_every_day_of_the_year(year):
    for observed in (False, True):
        off = holidays.US(years=[year, year + 1], observed=observed)
        for n in range(365):
            day = signed = date(year, 1, 1) + timedelta(n)
            left = 3
            while left:
                day += timedelta(1)
                left -= day.weekday() != 6 and day not in off
            assert add_business_days(signed, 3, observed=observed) == day


# 16 CFR 429, counted by hand on a calendar. Signed on Thursday 2026-07-02, the Fourth is a Saturday: literally Friday,
# Monday, Tuesday; with Friday off for it, Monday, Tuesday, Wednesday.
def test_a_sale_before_the_fourth_of_july_may_be_cancelled_until_the_later_count():
    found = cancel_by(date(2026, 7, 2), COOLING_OFF_DAYS)
    assert (found.literal, found.careful, found.day) == (date(2026, 7, 7), date(2026, 7, 8), date(2026, 7, 8))


BY_HAND = [  # signed, third business day, both ways alike
    (date(2026, 3, 16), date(2026, 3, 19)),  # Monday: Tuesday, Wednesday, Thursday
    (date(2026, 3, 19), date(2026, 3, 23)),  # Thursday: Friday, Saturday, Monday
    (date(2026, 3, 20), date(2026, 3, 24)),  # Friday: Saturday, Monday, Tuesday
    (date(2026, 3, 21), date(2026, 3, 25)),  # Saturday: Monday to Wednesday
    (date(2026, 3, 22), date(2026, 3, 25)),  # Sunday: the same
    (date(2026, 5, 22), date(2026, 5, 27)),  # Memorial Day on Monday the 25th: Saturday, Tuesday, Wednesday
    (date(2026, 11, 25), date(2026, 11, 30)),  # Thanksgiving: Friday, Saturday, Monday
    (date(2026, 12, 24), date(2026, 12, 29)),  # Christmas on Friday: Saturday, Monday, Tuesday
]


@pytest.mark.parametrize(("signed", "last"), BY_HAND)
def test_saturdays_count_and_sundays_and_holidays_do_not(signed, last):
    found = cancel_by(signed, COOLING_OFF_DAYS)
    assert found.literal == found.careful == found.day == last
