"""Tests of how long an offer holds: the office's days, the prices' end, the days that ordering is held."""

from datetime import date, timedelta

import pytest

from estimating.business_days import cancel_by
from quotes.validity import valid_until

TODAY = date(2026, 3, 16)


def held_for(days):
    return lambda accepted: accepted + timedelta(days=days)


def test_without_an_end_of_prices_the_offices_days_decide():
    found = valid_until(TODAY, 30, None, held_for(5))
    assert found.until == date(2026, 4, 15) and "30 days" in found.because


def test_the_prices_end_less_the_days_that_ordering_is_held():
    found = valid_until(TODAY, 30, date(2026, 3, 31), held_for(5))
    assert found.until == date(2026, 3, 26)
    assert "2026-03-31" in found.because and "5 days later" in found.because


def test_prices_that_end_after_the_offices_days_and_the_hold_change_nothing():
    assert valid_until(TODAY, 30, date(2026, 4, 20), held_for(5)).until == date(2026, 4, 15)
    assert valid_until(TODAY, 30, date(2026, 4, 19), held_for(5)).until == date(2026, 4, 14)


def test_the_last_day_may_be_today_and_no_earlier():
    assert valid_until(TODAY, 30, TODAY + timedelta(days=5), held_for(5)).until == TODAY
    assert valid_until(TODAY, 30, TODAY + timedelta(days=4), held_for(5)) is None


@pytest.mark.parametrize("end", [date(2026, 6, day) for day in range(20, 31)])
def test_counted_from_the_right_to_cancel_every_acceptance_leaves_time_to_order_and_the_next_day_would_not(end):
    def order_day(accepted):
        return cancel_by(accepted, 3).day + timedelta(days=1)

    today = date(2026, 6, 1)
    until = valid_until(today, 60, end, order_day).until
    assert order_day(until) <= end < order_day(until + timedelta(days=1))
