"""Tests of what hours and prices do to the price, by hand on the worked terrace."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimating import money
from quotes.estimate import Allowance, Line
from quotes.sensitivity import HOURS, PRICES, sensitivity
from tests.quotes.test_estimate import TERMS, work_out

D = Decimal


def found(done, terms=TERMS, discount=None):
    return {(change.of, change.share): change for change in sensitivity(done.lines, terms, discount)}


def test_hours_a_tenth_more_cost_their_wage_through_the_chain():
    """By hand: labor 7,432.04 x 1.1 = 8,175.24; direct 19,126.86; 5 %, 20 %, 10 % each rounded."""
    change = found(work_out())["hours", D("0.10")]
    direct = D("18383.66") - D("7432.04") + D("8175.24")
    contingency = money.rounded(direct * D("0.05"))
    overhead = money.rounded((direct + contingency) * D("0.2"))
    profit = money.rounded((direct + contingency + overhead) * D("0.1"))
    assert change.price == direct + contingency + overhead + profit
    assert change.delta == change.price - D("25479.75")


def test_prices_a_twentieth_dearer_cost_their_tax_too():
    done = work_out()
    goods = [line for line in done.lines if line.kind != "labor"]
    dearer = [money.rounded(line.cost * D("1.05")) for line in goods]
    taxed = sum(cost for cost, line in zip(dearer, goods, strict=True) if line.taxable)
    direct = sum(dearer) + D("7432.04") + money.rounded(taxed * D("0.0725"))
    change = found(done)["prices", D("0.05")]
    assert change.price == money.price_at(direct, TERMS)


def test_each_change_of_hours_and_prices_is_told_and_goes_the_way_it_should():
    changes = found(work_out())
    assert set(changes) == {("hours", share) for share in HOURS} | {("prices", share) for share in PRICES}
    assert all((change.delta > 0) == (share > 0) for (_, share), change in changes.items())
    assert abs(changes["hours", D("0.20")].delta - 2 * changes["hours", D("0.10")].delta) <= D("0.03")


def test_an_allowance_is_a_sum_that_prices_do_not_move():
    plain, allowed = work_out(), work_out(allowances=[Allowance("Roofer", D("1000.00"), "two flashings", "cost")])
    assert allowed.price > plain.price
    for of, share in found(plain):
        difference = found(allowed)[of, share].delta - found(plain)[of, share].delta
        assert abs(difference) <= D("0.03")


def test_a_discount_is_in_every_price():
    discount = money.Discount("winter", share=D("0.05"))
    done = work_out(discount=discount)
    change = found(done, discount=discount)["hours", D("-0.20")]
    assert change.price - change.delta == done.price
    plain = found(work_out())["hours", D("-0.20")]
    assert change.price == plain.price - money.rounded(plain.price * D("0.05"))


KINDS = st.sampled_from(["material", "labor", "service", "allowance"])
LINES = st.lists(st.tuples(KINDS, st.decimals(0, 10**5, places=2), st.booleans()), min_size=1, max_size=8)


@given(LINES, st.sampled_from(["cost", "sale"]))
def test_no_change_is_no_difference_and_every_price_is_exact_to_the_cent(rows, place):
    lines = [Line("Other work", kind, "x", "x", D(1), "EA", cost, "EA", cost, taxable) for kind, cost, taxable in rows]
    terms = replace(TERMS, tax_place=place)
    net = money.total(line.cost for line in lines)
    price = money.price_chain(net, money.total(line.cost for line in lines if line.taxable), terms).price
    for change in sensitivity(lines, terms):
        assert change.price - change.delta == price
        assert change.price == change.price.quantize(D("0.01"))


def test_a_tax_place_that_is_not_decided_gives_no_price():
    with pytest.raises(money.TaxUnknown):
        sensitivity(work_out().lines, replace(TERMS, tax_place="unknown"))
