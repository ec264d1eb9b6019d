"""Tests of a price that moves with an index: what a clause must say, its bounds, and the sum to the cent."""

from decimal import Decimal

import pytest

from estimating.escalation import Escalation, adjustment
from estimating.money import MoneyError

D = Decimal
CLAUSE = {"series": "WPU081", "base_month": "2026-03", "base_index": D("250.0"), "figures": "first-published",
          "if_series_ends": "the price stays as it is", "text": "Lumber moves with the series."}


def clause(**changed) -> Escalation:
    return Escalation(**{**CLAUSE, **changed})


@pytest.mark.parametrize(("bounds", "index", "added"), [
    ({}, "275.0", "1000.00"), ({}, "250.0", "0.00"), ({}, "225.0", "-1000.00"),
    ({"cap": D("0.05")}, "275.0", "500.00"), ({"floor": D("-0.02")}, "225.0", "-200.00"),
    ({"floor": D(0)}, "225.0", "0.00"), ({"cap": D("0.05"), "floor": D(0)}, "251.0", "40.00"),
])
def test_an_amount_moves_with_the_index_within_cap_and_floor(bounds, index, added):
    """By hand on 10,000.00: index over base index less one, bounded."""
    assert adjustment(clause(**bounds), D("10000.00"), D(index)) == D(added)


@pytest.mark.parametrize("wrong", [
    {"series": " "}, {"base_month": ""}, {"text": ""}, {"if_series_ends": ""}, {"figures": "latest"},
    {"base_index": D(0)}, {"cap": D("-0.01")}, {"floor": D("0.01")}, {"floor": D("-1.5")},
])
def test_a_clause_that_leaves_something_open_is_refused(wrong):
    with pytest.raises(MoneyError, match="expected"):
        clause(**wrong)


def test_an_index_of_nothing_is_refused():
    with pytest.raises(MoneyError, match="more than 0"):
        adjustment(clause(), D(1), D(0))
