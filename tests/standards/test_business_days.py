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
from estimating.reference.consumer_law import CANCEL_RULES, COOLING_OFF_DAYS, COOLING_OFF_FROM
from estimating.right_to_cancel import cancel_by_for

YEARS = range(1980, 2061)


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


# 16 CFR 429.0(f) names these ten as examples of a federal holiday; their days in 2020, before Juneteenth joined them,
# read off a calendar.
NAMED_BY_THE_RULE = {
    "New Year's Day": date(2020, 1, 1), "Martin Luther King's Birthday": date(2020, 1, 20),
    "Presidents' Day": date(2020, 2, 17), "Memorial Day": date(2020, 5, 25), "Independence Day": date(2020, 7, 4),
    "Labor Day": date(2020, 9, 7), "Columbus Day": date(2020, 10, 12), "Veterans' Day": date(2020, 11, 11),
    "Thanksgiving Day": date(2020, 11, 26), "Christmas Day": date(2020, 12, 25),
}


def test_the_holidays_that_the_rule_names_are_no_business_days_and_there_were_no_others():
    assert set(federal_holidays(2020)) == set(NAMED_BY_THE_RULE.values())
    assert not any(is_business_day(day, observed=False) for day in NAMED_BY_THE_RULE.values())


def test_the_day_off_before_a_saturday_counts_by_the_words_and_not_by_the_careful_count():
    """Official interpretation of Regulation Z, paragraph 2(a)(6), comment 2, of the same words in 12 CFR 1026: where
    July 4 is a Saturday, July 3 is a business day for rescission. The cooling-off rule itself does not say."""
    assert is_business_day(date(2026, 7, 3), observed=False)
    assert not is_business_day(date(2026, 7, 3), observed=True)
    assert is_business_day(date(2010, 7, 5), observed=False)  # July 4, 2010, was a Sunday


def test_the_rules_own_words_on_every_day_of_many_years():
    """16 CFR 429.1 (a): midnight of the third business day after the date of the transaction; (e): a date not earlier
    than that. Counted with the `holidays` package."""
    off = holidays.US(years=range(2024, 2036), observed=False)
    for n in range(3650):
        signed = date(2025, 1, 1) + timedelta(n)
        business = [day for k in range(1, 12) if (day := signed + timedelta(k)).weekday() != 6 and day not in off]
        found = cancel_by_for("Omaha, NE", signed, over_65=False, disaster=False)
        assert found.counted.literal == business[2] <= found.day


def test_the_rule_means_sales_from_25_dollars_at_home_and_130_elsewhere():
    """16 CFR 429.0(a) as amended on 2015-01-09 (80 FR 1329), in force since 2015-03-13."""
    assert COOLING_OFF_FROM == {"buyer-home": 25, "elsewhere": 130}


def test_california_names_three_five_and_seven_days():
    """Digest of AB 1327 of 2025 (chapter 348): third business day; 5 days for a senior citizen; 7 after a disaster."""
    newest = [rule for rule in CANCEL_RULES if rule.state == "CA"][-1]
    assert (newest.days, newest.senior_days, newest.disaster_days) == (3, 5, 7)
    assert newest.valid_from == date(2026, 1, 1)
