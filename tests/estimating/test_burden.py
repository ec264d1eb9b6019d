"""Tests of what an hour costs: parts by kind, caps, and that a kept basis can be worked again."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimating.burden import PART_KINDS, Basis, Part, as_json, from_json, work_rate, yearly_cost
from estimating.money import MoneyError

D = Decimal
MONEY = st.decimals(0, 10**6, places=4)


@pytest.mark.parametrize(("part", "wages", "yearly"), [
    (Part("health", "monthly", D("480.10")), "50000", "5761.20"),
    (Part("licence", "yearly", D("99.995")), "50000", "100.00"),
    (Part("pension", "share", D("0.03")), "49920", "1497.60"),
    (Part("compensation", "per-hundred", D("9.60")), "49920", "4792.32"),
    (Part("state", "share", D("0.029"), D(14000)), "49920", "406.00"),
    (Part("state", "share", D("0.029"), D(14000)), "10000", "290.00"),  # wages below the base
    (Part("capped", "per-hundred", D(10), D(20000)), "49920", "2000.00"),
])
def test_a_part_costs_a_year_what_its_kind_says(part, wages, yearly):
    assert yearly_cost(part, D(wages)) == D(yearly)


@pytest.mark.parametrize("wrong", [
    lambda: Part("x", "weekly", D(1)), lambda: Part("x", "yearly", D(-1)), lambda: Part("x", "yearly", D(1), D(5)),
    lambda: Part("x", "share", D(1), D(0)), lambda: Part("x", "share", D("NaN")),
    lambda: Basis(D(0), D(2080), D(1820)), lambda: Basis(D(20), D(2080), D(0)),
    lambda: Basis(D(20), D(1820), D(2080)), lambda: work_rate(Basis(D("0.001"), None, D(1))),
])
def test_what_means_nothing_is_refused_with_what_was_expected(wrong):
    with pytest.raises(MoneyError, match="expected"):
        wrong()


def test_more_hours_billed_than_paid_are_refused_and_a_years_wages_say_no_paid_hours():
    with pytest.raises(MoneyError, match="no more billable than paid"):
        Basis(D(34), D(2080), D(2160))
    assert work_rate(Basis(D(70720), None, D(2160))).rate == D("32.74")


PARTS = st.lists(st.one_of(
    st.builds(Part, st.text(max_size=8), st.sampled_from(PART_KINDS), MONEY),
    st.builds(Part, st.text(max_size=8), st.sampled_from(("share", "per-hundred")), MONEY,
              st.decimals(1, 10**6, places=2))), max_size=6)
BASES = st.one_of(
    st.builds(Basis, st.decimals(1, 10**4, places=4), st.decimals(2000, 3000, places=1),
              st.decimals(1, 2000, places=1), PARTS.map(tuple)),
    st.builds(Basis, st.decimals(1, 10**6, places=2), st.none(), st.decimals(1, 3000, places=1), PARTS.map(tuple)),
)


@given(BASES)
def test_a_kept_basis_works_out_to_what_it_came_to(basis):
    kept = as_json(basis)
    again = from_json(kept)
    assert again == basis and as_json(again) == kept
    assert str(work_rate(again).rate) == kept["worked"]["rate"]


@given(BASES)
def test_the_total_is_the_sum_of_the_rounded_parts_and_the_rate_lies_half_a_cent_about_it(basis):
    worked = work_rate(basis)
    assert worked.total == worked.wages + sum(cost for _, cost in worked.parts)
    assert abs(Fraction(worked.rate) - Fraction(worked.total) / Fraction(basis.billable_hours)) <= Fraction(1, 200)


def test_words_are_no_basis():
    with pytest.raises(MoneyError, match="burden/1"):
        from_json({"said": "the bookkeeper"})
