"""Price arithmetic against worked examples that others printed."""

from decimal import Decimal
from fractions import Fraction

import pytest

from estimating.money import Terms, allocate, bought_line, burdened_rate, line, margin_of, markup_of, price_chain
from estimating.units import Piece, convert

D = Decimal


def test_burdened_rate_of_the_worked_example():
    # Estimating in Building Construction, example 7-5: wages, then taxes, insurance and benefits of a year, retirement
    # at 4.5 % of wages, over 2,160 billable hours; printed $89,435 and $41.41/h.
    parts = [D(70720), D(4385), D(1025), D(56), D(810), D(5127), D(530), D(3600), D(70720) * D("0.045")]
    assert round(sum(parts)) == 89435
    assert burdened_rate(parts, 2160) == D("41.41")


@pytest.mark.parametrize(
    ("yearly", "rate"), [("107171.20", "58.89"), ("89502.64", "49.18"), ("66785.92", "36.70")],
    ids=["lead", "carpenter", "helper"],
)
def test_burdened_rates_over_1820_of_2080_paid_hours(yearly, rate):
    # Worked by hand from invented wages: a year's total over the hours that can be billed.
    assert burdened_rate([D(yearly)], 1820) == D(rate)


@pytest.mark.parametrize(
    ("markup", "margin"), [("0.5", "0.3333"), ("0.25", "0.20")], ids=["50 % is 33.33 %", "25 % is 20 %"]
)
def test_markup_and_margin_as_the_trade_states_them(markup, margin):
    # Common practice: margin = m/(1+m), markup = g/(1-g).
    assert margin_of(D(markup)).quantize(D("0.0001")) == D(margin)
    assert markup_of(D("0.20")) == D("0.25")


@pytest.mark.parametrize(
    ("width", "per_mbf", "stick"), [(10, "1320", "26.40"), (8, "1180", "18.88")], ids=["2x10x12", "2x8x12"]
)
def test_a_stick_priced_by_the_thousand_board_feet(width, per_mbf, stick):
    # By hand: 2 x 10 x 12 / 12 = 20 BF at 1,320 a thousand; 2 x 8 x 12 / 12 = 16 BF at 1,180 a thousand.
    each = convert(1, "EA", "MBF", piece=Piece(D(144), D(2), D(width)))
    assert line(D(per_mbf), each) == D(stick)
    assert bought_line(6, D(per_mbf), each, round_per="piece") == 6 * D(stick)


def test_a_hundred_in_three_equal_parts():
    # Largest remainder, as commonly printed for $100 / 3.
    assert allocate(D(100), [Fraction(1, 3)] * 3) == (D("33.34"), D("33.33"), D("33.33"))


@pytest.mark.parametrize(
    ("profit_on", "printed"), [("compound", "23356.44"), ("cost", "23163.41")], ids=["x 1.10 x 1.10", "x 1.20"]
)
def test_ten_and_ten_compounded_and_on_the_same_cost(profit_on, printed):
    # By hand on 18,383.66 direct and 5 % contingency, rounded once at the end; the books round every step, so a cent.
    tenths = Terms(D("0.05"), D("0.1"), D("0.1"), D(0), "cost", profit_on=profit_on)
    assert abs(price_chain(D("18383.66"), D(0), tenths).price - D(printed)) <= D("0.01")
