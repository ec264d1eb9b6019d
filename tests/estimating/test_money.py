"""Tests of the price arithmetic: rounding, the chain, tax in its place, payments that add up."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from estimating import burden, money
from estimating.money import (
    Discount,
    MoneyError,
    TaxUnknown,
    Terms,
    allocate,
    line,
    price_at,
    price_chain,
    progress_payments,
    rounded,
)

D = Decimal
cents = st.integers(0, 10**11).map(lambda n: D(n) / 100)
rates = st.integers(0, 10**6).map(lambda n: D(n) / 10**6)


def terms(**changed) -> Terms:
    usual = {"contingency": D("0.05"), "overhead": D("0.20"), "profit": D("0.10"), "tax_rate": D("0.0725"),
             "tax_place": "cost"}
    return Terms(**usual | changed)


# The worked terrace, by hand: materials 8,118.06 taxed; delivery, 154.0 h of labor and services untaxed.
MATERIALS = D("8118.06")
NET = MATERIALS + D("165.00") + D("7432.04") + D("2080.00")


def test_the_worked_terrace_is_priced_to_the_cent():
    assert line(D("154.0"), D("48.26")) == D("7432.04")
    chain = price_chain(NET, MATERIALS, terms())
    assert chain.tax_on_cost == D("588.56")
    assert chain.direct == D("18383.66")
    assert chain.contingency == D("919.18")
    assert chain.overhead == D("3860.57")
    assert chain.profit == D("2316.34")
    assert chain.price == D("25479.75")
    assert chain.gross_margin.quantize(D("0.0001")) == D("0.2424")
    assert (chain.profit / chain.price).quantize(D("0.0001")) == D("0.0909")


def test_payments_of_the_worked_terrace_add_up_where_rounding_each_would_take_two_cents_too_much():
    schedule = [(D("0.30"), "on signing"), (D("0.30"), "frame set"), (D("0.30"), "boards down"), (D("0.10"), "done")]
    payments = progress_payments(D("25479.75"), schedule)
    assert [p.amount for p in payments] == [D("7643.93"), D("7643.93"), D("7643.92"), D("2547.97")]
    assert [p.milestone for p in payments] == ["on signing", "frame set", "boards down", "done"]
    assert sum(line(D("25479.75"), share) for share, _ in schedule) == D("25479.77")


def test_the_crew_costs_the_mean_of_its_grades():
    # By hand: (58.89 + 49.18 + 36.70) / 3 = 48.2567
    assert money.crew_rate([(D("58.89"), 1), (D("49.18"), 1), (D("36.70"), 1)]) == D("48.26")
    assert money.crew_rate([(D("58.89"), 1), (D("36.70"), 0)]) == D("58.89")


@pytest.mark.parametrize(
    ("exact", "expected"), [("0.005", "0.01"), ("2.675", "2.68"), ("-0.005", "-0.01"), ("0.0049", "0.00"), ("7", "7")]
)
def test_a_half_is_rounded_away_from_zero(exact, expected):
    assert rounded(D(exact)) == D(expected)
    assert rounded(D(exact)).as_tuple().exponent == -2


@pytest.mark.parametrize("inexact", [0.1, float("nan"), True, "1.00"])
def test_only_exact_numbers_are_money(inexact):
    with pytest.raises(TypeError, match="Decimal"):
        rounded(inexact)


@pytest.mark.parametrize("odd", [D("NaN"), D("Infinity"), D("-Infinity")])
def test_what_is_no_number_is_refused(odd):
    with pytest.raises(MoneyError, match="finite"):
        rounded(odd)


def test_a_line_is_rounded_once_and_not_its_parts():
    assert line(3, Fraction(1, 3)) == D("1.00")


def test_goods_priced_by_measure_are_rounded_a_piece_or_a_line_as_asked():
    # 28/3 BF a stick at 980 a thousand is 9.14666…; ten sticks are 91.50 or 91.47.
    per = Fraction(28, 3) / 1000
    assert money.bought_line(10, D(980), per, round_per="piece") == D("91.50")
    assert money.bought_line(10, D(980), per, round_per="line") == D("91.47")


def test_tax_on_the_sale_falls_after_profit_and_not_on_cost_as_well():
    chain = price_chain(NET, MATERIALS, terms(tax_place="sale"))
    assert chain.tax_on_cost == 0
    assert chain.direct == NET == D("17795.10")
    assert chain.taxed == chain.sale
    assert chain.tax_on_sale == line(chain.sale, D("0.0725"))
    assert chain.price == chain.sale + chain.tax_on_sale


def test_tax_of_unknown_place_is_refused_with_the_reason():
    with pytest.raises(TaxUnknown, match="ask the accountant"):
        price_chain(NET, MATERIALS, terms(tax_place="unknown"))


def test_overhead_and_profit_stand_on_what_the_office_says():
    # By hand on 1,000.00 with 5 %, 20 %, 10 %.
    def price(**on):
        return price_chain(D(1000), D(0), terms(**on)).price

    assert price() == D("1386.00")  # 1050 x 1.2 x 1.1
    assert price(profit_on="cost") == D("1365.00")  # 1050 + 210 + 105
    assert price(overhead_on="direct", profit_on="direct") == D("1350.00")  # 1050 + 200 + 100


@pytest.mark.parametrize(
    "wrong", [{"contingency": D("-0.01")}, {"tax_place": "both"}, {"profit_on": "sale"}, {"tax_rate": D("NaN")}]
)
def test_terms_that_mean_nothing_are_refused(wrong):
    with pytest.raises(MoneyError, match="expected"):
        terms(**wrong)


@pytest.mark.parametrize(("net", "taxable"), [("10.00", "10.01"), ("-1.00", "0"), ("10.005", "0")])
def test_a_cost_that_cannot_be_is_refused(net, taxable):
    with pytest.raises(MoneyError):
        price_chain(D(net), D(taxable), terms())


@pytest.mark.parametrize("shares", [[], ["0.5"], ["0.6", "0.5"], ["1", "0"], ["1.1", "-0.1"]])
def test_shares_that_are_not_a_whole_are_refused(shares):
    with pytest.raises(MoneyError, match="add up to 1"):
        allocate(D("100.00"), [D(share) for share in shares])


def test_an_amount_with_parts_of_a_cent_is_not_allocated():
    with pytest.raises(MoneyError, match="whole cents"):
        allocate(D("100.005"), [D(1)])


def test_a_credit_is_allocated_like_a_payment():
    assert allocate(D("-0.01"), [D("0.5"), D("0.5")]) == (D("-0.01"), D("0.00"))


@given(cents, st.sampled_from([1, -1]), st.lists(st.integers(1, 10**6), min_size=1))
def test_parts_always_add_up_and_none_is_a_cent_off(amount, sign, weights):
    amount *= sign
    shares = [Fraction(weight, sum(weights)) for weight in weights]
    parts = allocate(amount, shares)
    assert sum(parts) == amount
    assert all(abs(Fraction(part) - share * Fraction(amount)) < Fraction(1, 100)
               for part, share in zip(parts, shares, strict=True))


@given(st.lists(cents, max_size=60), rates, rates, rates, rates, st.sampled_from(["cost", "sale"]),
       st.sampled_from(money.BASES), st.sampled_from(money.BASES))
def test_the_price_is_the_sum_of_its_rounded_steps(lines, contingency, overhead, profit, tax, place, o_on, p_on):
    net = money.total(lines)
    chain = price_chain(net, net, Terms(contingency, overhead, profit, tax, place, o_on, p_on))
    steps = [net, chain.tax_on_cost, chain.contingency, chain.overhead, chain.profit, chain.tax_on_sale]
    assert chain.price == sum(steps)
    assert all(isinstance(step, Decimal) and step == step.quantize(D("0.01")) for step in steps)
    assert not (chain.tax_on_cost and chain.tax_on_sale)


DISCOUNTS = st.one_of(
    st.none(), st.builds(Discount, st.just("x"), st.none(), st.decimals("0.000001", 1, places=6),
                         st.sampled_from(money.DISCOUNT_PLACES)))
WEIGHTS = st.lists(st.integers(1, 1000), min_size=1, max_size=12)


@given(st.lists(cents, max_size=60), rates, rates, st.sampled_from(["cost", "sale"]),
       st.sampled_from(money.PROFIT_BASES), DISCOUNTS, WEIGHTS)
def test_installments_add_up_to_a_price_that_adds_up_to_its_lines_whatever_was_taken_off(
        lines, profit, tax, place, basis, discount, weights):
    assume(profit < 1)
    net = sum(lines, D(0))
    chain = price_chain(net, net, Terms(D("0.05"), D("0.2"), profit, tax, place, profit_on=basis), discount)
    steps = [*lines, chain.tax_on_cost, chain.contingency, chain.overhead, chain.profit, -chain.discount,
             chain.tax_on_sale]
    assert sum(steps, D(0)) == chain.price >= 0
    assert price_at(chain.direct, Terms(D("0.05"), D("0.2"), profit, tax, place, profit_on=basis), discount) == (
        chain.price)
    shares = [Fraction(weight, sum(weights)) for weight in weights]
    payments = progress_payments(chain.price, [(share, "then") for share in shares])
    assert sum(payment.amount for payment in payments) == chain.price


@given(rates)
def test_markup_and_margin_undo_each_other(rate):
    assume(rate < 1)
    assert abs(money.margin_of(money.markup_of(rate)) - rate) < D("1e-20")
    assert abs(money.markup_of(money.margin_of(rate)) - rate) < D("1e-20")


@given(cents, st.integers(1, 10**6), st.sampled_from(["piece", "line"]))
def test_a_line_of_whole_pieces_is_the_same_either_way_when_a_piece_costs_whole_cents(price, quantity, round_per):
    assume(price < 10**6)
    assert money.bought_line(quantity, price, 1, round_per=round_per) == price * quantity


# Discounts


def discounted(discount, **changed):
    return price_chain(NET, MATERIALS, terms(tax_place="sale", **changed), discount)


def test_a_discount_before_tax_lessens_what_the_tax_falls_on():
    plain, less = price_chain(NET, MATERIALS, terms(tax_place="sale")), discounted(Discount("neighbour", D("1000.00")))
    assert (less.sale, less.discount) == (plain.sale, D("1000.00"))
    assert less.taxed == plain.sale - 1000
    assert less.tax_on_sale == line(plain.sale - 1000, D("0.0725"))
    assert less.price == plain.sale - 1000 + less.tax_on_sale


def test_a_discount_after_tax_lessens_the_price_alone():
    plain = price_chain(NET, MATERIALS, terms(tax_place="sale"))
    less = discounted(Discount("neighbour", share=D("0.05"), place="after-tax"))
    assert less.tax_on_sale == plain.tax_on_sale
    assert less.discount == line(plain.price, D("0.05")) and less.price == plain.price - less.discount


def test_where_tax_lies_on_cost_both_places_come_to_the_same():
    early, late = (price_chain(NET, MATERIALS, terms(), Discount("winter", share=D("0.03"), place=place))
                   for place in ("before-tax", "after-tax"))
    assert early.price == late.price == D("25479.75") - D("764.39")


def test_a_discount_lessens_the_margin():
    chain = price_chain(NET, MATERIALS, terms(), Discount("winter", D("479.75")))
    # (3,860.57 + 2,316.34 - 479.75) / 25,000.00
    assert chain.gross_margin.quantize(D("0.0001")) == D("0.2279")


@pytest.mark.parametrize("wrong", [
    {"reason": " ", "amount": D(1)}, {"reason": "x"}, {"reason": "x", "amount": D(1), "share": D("0.1")},
    {"reason": "x", "amount": D(0)}, {"reason": "x", "amount": D("-5")}, {"reason": "x", "amount": D("0.005")},
    {"reason": "x", "share": D(0)}, {"reason": "x", "share": D("1.01")},
    {"reason": "x", "amount": D(1), "place": "somewhere"},
])
def test_a_discount_that_means_nothing_is_refused(wrong):
    with pytest.raises(MoneyError, match="expected"):
        Discount(**wrong)


def test_a_discount_over_the_sale_is_refused():
    with pytest.raises(MoneyError, match="no more than the sale"):
        price_chain(NET, MATERIALS, terms(), Discount("too good", D("25479.76")))
    assert price_chain(NET, MATERIALS, terms(), Discount("a gift", D("25479.75"))).price == 0


def test_the_price_at_the_planned_direct_cost_is_the_price():
    for changed in ({}, {"tax_place": "sale"}, {"profit_on": "margin"}):
        chain = price_chain(NET, MATERIALS, terms(**changed))
        assert price_at(chain.direct, terms(**changed)) == chain.price


# No float


NO_FLOAT = {  # a call of every public function of the two leaves, all of whose numbers stand in a list
    money.exact: lambda n: money.exact(n[0]), money.rounded: lambda n: money.rounded(n[0]),
    money.total: lambda n: money.total(n), money.line: lambda n: money.line(*n),
    money.bought_line: lambda n: money.bought_line(*n, round_per="piece"),
    money.cost_of_one: lambda n: money.cost_of_one(*n, round_per="piece"),
    money.margin_of: lambda n: money.margin_of(n[0]), money.markup_of: lambda n: money.markup_of(n[0]),
    money.burdened_rate: lambda n: money.burdened_rate([n[0]], n[1]),
    money.crew_rate: lambda n: money.crew_rate([(n[0], n[1])]),
    money.Terms: lambda n: money.Terms(*n, "cost"), money.price_chain: lambda n: money.price_chain(*n, terms()),
    money.price_at: lambda n: money.price_at(n[0], terms()),
    money.Discount: lambda n: money.Discount("x", *n),
    money.allocate: lambda n: money.allocate(n[0], [n[1]]),
    money.progress_payments: lambda n: money.progress_payments(n[0], [(n[1], "done")]),
    burden.Part: lambda n: burden.Part("x", "share", n[0], n[1]),
    burden.Basis: lambda n: burden.Basis(*n),
    burden.yearly_cost: lambda n: burden.yearly_cost(burden.Part("x", "share", D(1)), n[0]),
    burden.work_rate: lambda n: burden.work_rate(burden.Basis(n[0], n[1], n[2])),
    burden.as_json: lambda n: burden.as_json(burden.Basis(n[0], None, n[1])),
    burden.from_json: lambda n: burden.from_json(burden.as_json(burden.Basis(n[0], None, n[1]))),
}
COUNT = {money.total: 2, money.line: 2, money.bought_line: 3, money.burdened_rate: 2, money.cost_of_one: 2,
         money.crew_rate: 2, money.Terms: 4, money.price_chain: 2, money.allocate: 2, money.progress_payments: 2,
         burden.Part: 2, burden.Basis: 3, burden.work_rate: 3, burden.as_json: 2, burden.from_json: 2}
RESULTS = {money.Chain, money.Payment, burden.Worked}  # handed out, never taken
HALF = {money.markup_of}


def public(module):
    return {thing for name, thing in vars(module).items()
            if callable(thing) and not name.startswith("_") and getattr(thing, "__module__", "") == module.__name__
            and not (isinstance(thing, type) and issubclass(thing, Exception))}


def test_every_public_function_of_the_leaves_stands_in_the_list():
    assert public(money) | public(burden) == set(NO_FLOAT) | RESULTS


@pytest.mark.parametrize("function", NO_FLOAT, ids=lambda f: f.__qualname__)
def test_a_float_is_refused_in_every_place_of_every_public_function(function):
    one = D("0.5") if function in HALF else D(1)
    call, count = NO_FLOAT[function], COUNT.get(function, 1)
    call([one] * count)  # as it should be
    for place in range(count):
        with pytest.raises(TypeError, match="float"):
            call([one] * place + [float(one)] + [one] * (count - place - 1))
