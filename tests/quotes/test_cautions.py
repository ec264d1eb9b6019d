"""Tests of what the office should look at before a price goes out."""

from datetime import date
from decimal import Decimal

import pytest

from estimating import money
from estimating.reference.consumer_law import DEPOSIT_RULES
from quotes.cautions import deposit_caution, deposit_limit, escalation_caution, state_of

PRICE = Decimal("25479.75")
TODAY = date(2026, 3, 16)


def payments(*shares, price=PRICE):
    return money.progress_payments(price, [(Decimal(share), f"milestone {n}") for n, share in enumerate(shares, 1)])


@pytest.mark.parametrize(("jurisdiction", "state"), [
    ("Oakland, CA", "CA"), ("Oakland, CA 94607", "CA"), ("Oakland, California", "CA"), ("Boston MA", "MA"),
    ("city of newark, new jersey", "NJ"), ("MD", "MD"), ("Philadelphia, PA 19103-1234", "PA"),
])
def test_a_jurisdiction_ends_with_its_state(jurisdiction, state):
    assert state_of(jurisdiction).state == state


@pytest.mark.parametrize("jurisdiction", ["", "Sampleton ST (fictional)", "California City, NV", "Pampa", "Omaha, NE"])
def test_a_jurisdiction_of_no_known_state_has_no_rule(jurisdiction):
    assert state_of(jurisdiction) is None
    assert deposit_caution(PRICE, payments("0.9", "0.1"), jurisdiction, TODAY) is None


@pytest.mark.parametrize(("state", "price", "limit"), [
    ("CA", "25479.75", "1000.00"), ("CA", "5000.00", "500.00"), ("MD", "25479.75", "8493.25"),
    ("MA", "100.01", "33.33"), ("PA", "25479.75", "8493.25"), ("NJ", "0.02", "0.00"),
])
def test_the_limit_of_a_state_by_hand(state, price, limit):
    """California: the lesser of 1,000 and a tenth. Elsewhere a third, never rounded up."""
    assert deposit_limit(DEPOSIT_RULES[state], Decimal(price)) == Decimal(limit)


def test_a_first_payment_over_the_limit_is_told_with_its_number_basis_source_and_who_decides():
    found = deposit_caution(PRICE, payments("0.3", "0.7"), "Oakland, CA", TODAY)
    assert (found.amount, found.limit, found.decided_by) == ("7643.93", "1000.00", "counsel")
    assert "7,643.93" in found.text and "1,000.00" in found.text and "milestone 1" in found.text
    assert "7159.5" in found.source and "read in the source" in found.source and "Oakland, CA" in found.basis
    assert found.acknowledge and found.as_json()["acknowledge"] is True
    assert "comply" not in found.text and "complies" not in found.text


def test_a_rule_from_memory_says_so_and_special_orders_are_not_guessed():
    found = deposit_caution(PRICE, payments("0.5", "0.5"), "Trenton, NJ", TODAY)
    assert "to be verified" in found.source and "special-order materials" in found.text


@pytest.mark.parametrize(("shares", "where", "price"), [
    (("0.3333", "0.6667"), "Baltimore, MD", PRICE), (("0.9", "0.1"), "Oakland, CA", Decimal("500.00")),
])
def test_a_payment_at_the_limit_or_a_contract_below_the_threshold_is_no_caution(shares, where, price):
    assert deposit_caution(price, payments(*shares, price=price), where, TODAY) is None


def test_a_rule_is_not_told_of_a_day_before_it_held():
    over = payments("0.3", "0.7")
    assert deposit_caution(PRICE, over, "Oakland, CA", date(2005, 6, 30)) is None
    assert deposit_caution(PRICE, over, "Oakland, CA", date(2005, 7, 1)) is not None


def test_a_price_that_moves_is_told_to_be_no_fixed_total():
    found = escalation_caution({"series": "WPU081"})
    assert "WPU081" in found.text and "7159.5" in found.source and found.decided_by == "counsel"
    assert not found.acknowledge
    assert escalation_caution(None) is None
