"""Price arithmetic against worked examples that others printed."""

from decimal import Decimal
from fractions import Fraction

import pytest

from estimating.burden import Basis, Part, work_rate
from estimating.money import Terms, allocate, bought_line, burdened_rate, line, margin_of, markup_of, price_chain
from estimating.reference.payroll import PAYROLL_TAXES
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


def test_the_worked_example_from_its_parts():
    """The same example, its retirement as a share of wages; its 2,160 h are more than a year of 40-hour weeks."""
    amounts = ["4385", "1025", "56", "810", "5127", "530", "3600"]
    parts = [Part(f"part {n}", "yearly", D(amount)) for n, amount in enumerate(amounts)]
    worked = work_rate(Basis(D(70720), None, D(2160), (*parts, Part("retirement", "share", D("0.045")))))
    assert (round(worked.total), worked.rate) == (89435, D("41.41"))


# Worked by hand from invented wages over 2,080 paid and 1,820 billable hours. FICA 6.2 and 1.45 %, FUTA 0.6 % of 7,000
# (published); SUTA 2.9 % of 14,000, compensation 9.60 a hundred of payroll, liability 1.1 %, health 480 a month and
# retirement 3 % are invented.
def burden():
    fica, medicare, futa = (PAYROLL_TAXES[name, 2026] for name in ("social-security", "medicare",
                                                                   "federal-unemployment"))
    return (
        Part("social security", "share", fica.rate, fica.wage_base), Part("medicare", "share", medicare.rate),
        Part("federal unemployment", "share", futa.rate, futa.wage_base),
        Part("state unemployment", "share", D("0.029"), D(14000)),
        Part("workers' compensation", "per-hundred", D("9.60")), Part("general liability", "share", D("0.011")),
        Part("health", "monthly", D(480)), Part("retirement", "share", D("0.03")),
    )


BY_HAND = [  # wage, wages, FICA together, FUTA, SUTA, compensation, liability, health, retirement, total, rate, x bare
    ("40", "83200.00", "6364.80", "42", "406", "7987.20", "915.20", "5760", "2496.00", "107171.20", "58.89", "1.47"),
    ("33", "68640.00", "5250.96", "42", "406", "6589.44", "755.04", "5760", "2059.20", "89502.64", "49.18", "1.49"),
    ("24", "49920.00", "3818.88", "42", "406", "4792.32", "549.12", "5760", "1497.60", "66785.92", "36.70", "1.53"),
]


@pytest.mark.parametrize("row", BY_HAND, ids=["lead", "carpenter", "helper"])
def test_a_labor_rate_by_parts_as_worked_by_hand(row):
    wage, wages, fica, *others, total, rate, bare = row
    worked = work_rate(Basis(D(wage), D(2080), D(1820), burden()))
    costs = [cost for _, cost in worked.parts]
    assert (worked.wages, costs[0] + costs[1]) == (D(wages), D(fica))
    assert costs[2:] == [D(other) for other in others]
    assert (worked.total, worked.rate) == (D(total), D(rate))
    assert (worked.rate / D(wage)).quantize(D("0.01")) == D(bare)


def test_federal_payroll_taxes_as_published():
    """26 U.S.C. 3111: 7.65 % together; wage base of 2026 184,500; FUTA 0.6 % of 7,000 is 42 dollars."""
    fica, medicare, futa = (PAYROLL_TAXES[name, 2026] for name in ("social-security", "medicare",
                                                                   "federal-unemployment"))
    assert fica.rate + medicare.rate == D("0.0765")
    assert (fica.wage_base, medicare.wage_base) == (D(184500), None)
    assert line(futa.rate, futa.wage_base) == D("42.00")
    high = work_rate(Basis(D(200000), None, D(2000), burden()[:2]))
    assert [cost for _, cost in high.parts] == [D("11439.00"), D("2900.00")]  # 6.2 % of 184,500; 1.45 % of it all


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


@pytest.mark.parametrize("margin", ["0.20", "0.25", "0.3333", "0.5", "0.0909"])
def test_profit_as_a_margin_is_profit_at_the_markup_that_gives_it(margin):
    """Common practice: markup = g/(1-g); 20 % margin needs 25 % markup. On 10,000.00, each rounded to the cent."""
    zero = D(0)
    as_margin = price_chain(D(10000), zero, Terms(zero, zero, D(margin), zero, "cost", profit_on="margin"))
    as_markup = line(D(10000), 1 / (1 - Fraction(margin)) - 1)
    assert as_margin.profit == as_markup
    assert abs(as_margin.profit - as_margin.sale * D(margin)) <= D("0.01")
    assert abs(margin_of(markup_of(D(margin))) - D(margin)) < D("1e-25")


def test_the_deposit_of_the_worked_price_under_two_rules():
    """Of 25,479.75: the lesser of 1,000 and a tenth; a third (California 7159.5, Maryland 8-617 of 2005)."""
    from estimating.reference.consumer_law import DEPOSIT_RULES

    price = D("25479.75")
    california, maryland = DEPOSIT_RULES["CA"], DEPOSIT_RULES["MD"]
    assert min(line(price, california.share), california.amount) == D("1000.00")
    assert line(price, maryland.share) == D("8493.25")
