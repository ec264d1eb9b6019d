"""Price arithmetic in Decimal: lines, the chain from cost to price, tax in its place, progress payments."""
from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import floor
from typing import Literal

Number = int | Decimal | Fraction
Basis = Literal["compound", "cost", "direct"]
ProfitBasis = Literal["compound", "cost", "direct", "margin"]
TaxPlace = Literal["cost", "sale", "unknown"]
TaxedLines = Literal["marked", "materials", "all"]
DiscountPlace = Literal["before-tax", "after-tax"]
RoundPer = Literal["piece", "line"]

BASES: tuple[Basis, ...] = ("compound", "cost", "direct")
PROFIT_BASES: tuple[ProfitBasis, ...] = (*BASES, "margin")
TAX_PLACES: tuple[TaxPlace, ...] = ("cost", "sale", "unknown")
TAXED_LINES: tuple[TaxedLines, ...] = ("marked", "materials", "all")
DISCOUNT_PLACES: tuple[DiscountPlace, ...] = ("before-tax", "after-tax")


class MoneyError(ValueError):
    """A price that cannot be worked out; says what was read and what was expected."""


class TaxUnknown(MoneyError):
    """The office has not said where sales tax stands."""


def exact(value: Number) -> Fraction:
    """`value` as a fraction, nothing lost. Raises TypeError for a float, MoneyError for NaN or infinity."""
    if isinstance(value, bool) or not isinstance(value, int | Decimal | Fraction):
        raise TypeError(f"{value!r} is {type(value).__name__}; money is int, Decimal or Fraction")
    if isinstance(value, Decimal) and not value.is_finite():
        raise MoneyError(f"{value} was read; expected a finite number")
    return Fraction(value)


def rounded(amount: Number, places: int = 2) -> Decimal:
    """`amount` to `places` decimals, a half away from zero: the one rounding in the books."""
    value = exact(amount)
    units = floor(abs(value) * 10**places + Fraction(1, 2))
    return Decimal(f"{-units if value < 0 else units}E-{places}")


def total(amounts: Iterable[Decimal]) -> Decimal:
    """Sum of amounts that are already rounded to the cent. Raises MoneyError for one that is not."""
    cents = 0
    for amount in amounts:
        cents += _cents(amount)
    return _money(cents)


def line(quantity: Number, unit_price: Number) -> Decimal:
    """quantity x unit price, rounded once."""
    return rounded(exact(quantity) * exact(unit_price))


def bought_line(quantity: Number, price: Number, per: Number, *, round_per: RoundPer) -> Decimal:
    """A line for goods used in one unit and priced in another.

    `quantity` in the using unit, `price` for one buying unit, `per` buying units in one using unit. With
    `round_per="piece"` the price of one using unit is rounded to the cent and multiplied, as a yard bills sticks
    priced by the thousand board feet; with `"line"` only the line is rounded.
    """
    return line(quantity, cost_of_one(price, per, round_per=round_per))


def cost_of_one(price: Number, per: Number, *, round_per: RoundPer) -> Fraction:
    """What one using unit costs: in whole cents with `round_per="piece"`, exact with `"line"`. As `bought_line`."""
    each = exact(price) * exact(per)
    return exact(rounded(each)) if round_per == "piece" else each


def margin_of(markup: Decimal) -> Decimal:
    """Margin on the sale that a markup on cost gives: m / (1 + m). Raises MoneyError at -1 or below."""
    if exact(markup) <= -1:
        raise MoneyError(f"a markup of {markup} was read; expected more than -1")
    return markup / (1 + markup)


def markup_of(margin: Decimal) -> Decimal:
    """Markup on cost that a margin on the sale needs: g / (1 - g). Raises MoneyError at 1 or above."""
    if exact(margin) >= 1:
        raise MoneyError(f"a margin of {margin} was read; expected less than 1")
    return margin / (1 - margin)


def burdened_rate(yearly_costs: Iterable[Number], billable_hours: Number) -> Decimal:
    """Cost of a billable hour: a year's wages, taxes, insurance and benefits over the hours that can be billed.

    Hours paid but not billed (holidays, meetings, travel) are carried by the others. Raises MoneyError for hours that
    are not above 0.
    """
    if exact(billable_hours) <= 0:
        raise MoneyError(f"{billable_hours} billable hours were read; expected more than 0")
    return rounded(sum((exact(cost) for cost in yearly_costs), Fraction(0)) / exact(billable_hours))


def crew_rate(rates: Sequence[tuple[Number, Number]]) -> Decimal:
    """Mean cost of a person-hour over (rate, how many) of each grade. Raises MoneyError for an empty crew."""
    people = sum((exact(count) for _, count in rates), Fraction(0))
    if people <= 0 or any(exact(count) < 0 for _, count in rates):
        raise MoneyError("a crew of nobody was read; expected counts of 0 or more and at least one person")
    return rounded(sum((exact(rate) * exact(count) for rate, count in rates), Fraction(0)) / people)


@dataclass(frozen=True)
class Terms:
    """How an office goes from cost to price. Rates are fractions: 0.05 is five per cent.

    Contingency is on direct cost. Overhead and profit are each on everything before them ("compound"), on direct cost
    and contingency ("cost"), or on direct cost alone ("direct"); profit may also be a margin, a share of the sale
    itself before tax ("margin"). Tax "cost" falls on taxable cost and is part of direct cost; what is taxable are lines
    `marked` so, all `materials`, or `all` lines. Tax "sale" falls on the whole sale, after profit; it is never both.
    """

    contingency: Decimal
    overhead: Decimal
    profit: Decimal
    tax_rate: Decimal
    tax_place: TaxPlace
    overhead_on: Basis = "compound"
    profit_on: ProfitBasis = "compound"
    taxed_lines: TaxedLines = "marked"

    def __post_init__(self) -> None:
        for name in ("contingency", "overhead", "profit", "tax_rate"):
            if exact(getattr(self, name)) < 0:
                raise MoneyError(f"{name} of {getattr(self, name)} was read; expected 0 or more")
        for name, known in (("tax_place", TAX_PLACES), ("overhead_on", BASES), ("profit_on", PROFIT_BASES),
                            ("taxed_lines", TAXED_LINES)):
            if getattr(self, name) not in known:
                raise MoneyError(f"{name} {getattr(self, name)!r} was read; expected one of {', '.join(known)}")
        if self.profit_on == "margin" and self.profit >= 1:
            raise MoneyError(f"a profit of {self.profit} of the sale was read; expected less than 1")


@dataclass(frozen=True)
class Discount:
    """Taken off for a `reason`: an `amount`, or a `share` of the sale, never both.

    Before tax it lessens the sale that tax falls on, and a share is of the sale before tax; after tax it lessens the
    price alone, and a share is of the sale with its tax. Raises MoneyError where it says neither, both, or nothing.
    """

    reason: str
    amount: Decimal | None = None
    share: Decimal | None = None
    place: DiscountPlace = "before-tax"

    def __post_init__(self) -> None:
        if (self.amount is None) == (self.share is None):
            raise MoneyError(f"amount {self.amount} and share {self.share} were read; expected one of the two")
        if not self.reason.strip():
            raise MoneyError("a discount without a reason was read; expected the reason in words")
        if self.place not in DISCOUNT_PLACES:
            raise MoneyError(f"place {self.place!r} was read; expected one of {', '.join(DISCOUNT_PLACES)}")
        if self.amount is not None and (exact(self.amount) <= 0 or _cents(self.amount) <= 0):
            raise MoneyError(f"a discount of {self.amount} was read; expected more than 0")
        if self.share is not None and not 0 < exact(self.share) <= 1:
            raise MoneyError(f"a discount of {self.share} of the sale was read; expected more than 0 and at most 1")

    def of(self, sale: Decimal) -> Decimal:
        """What is taken off `sale`, rounded to the cent. Raises MoneyError where it is more than the sale."""
        off = self.amount if self.amount is not None else line(sale, self.share or 0)
        if off > sale:
            raise MoneyError(f"a discount of {off} on a sale of {sale} was read; expected no more than the sale")
        return rounded(off)


@dataclass(frozen=True)
class Chain:
    """From net cost to price, every step rounded to the cent. `taxed` is the amount that the tax fell on.

    `discount` is what was taken off: before tax it is part of `discounted`, after tax of `price` alone.
    """

    net: Decimal
    taxed: Decimal
    tax_on_cost: Decimal
    contingency: Decimal
    overhead: Decimal
    profit: Decimal
    tax_on_sale: Decimal
    discount: Decimal = Decimal("0.00")
    discount_place: DiscountPlace = "before-tax"

    @property
    def direct(self) -> Decimal:
        return total([self.net, self.tax_on_cost])

    @property
    def sale(self) -> Decimal:
        """Price before discount and before tax on the sale."""
        return total([self.direct, self.contingency, self.overhead, self.profit])

    @property
    def price(self) -> Decimal:
        return total([self.sale, -self.discount, self.tax_on_sale])

    @property
    def gross_margin(self) -> Decimal:
        """Overhead and profit less discount as a fraction of what is left of the sale; contingency counts as cost.

        0 where nothing is left of the sale.
        """
        left = self.sale - self.discount
        return (self.overhead + self.profit - self.discount) / left if left else Decimal(0)


def price_chain(net: Decimal, taxable: Decimal, terms: Terms, discount: Discount | None = None) -> Chain:
    """The chain direct -> contingency -> overhead -> profit -> discount and tax -> price.

    Parameters
    ----------
    net : Decimal
        Sum of the rounded lines, before tax. [money]
    taxable : Decimal
        Sum of those lines that tax on cost falls on. [money]

    Raises
    ------
    TaxUnknown
        If the place of tax is not decided.
    MoneyError
        If `net` or `taxable` is negative or not in whole cents, `taxable` exceeds `net`, or the discount the sale.
    """
    if not 0 <= exact(taxable) <= exact(net):
        raise MoneyError(f"taxable cost of {taxable} in a net cost of {net} was read; expected 0 <= taxable <= net")
    if terms.tax_place == "unknown":
        raise TaxUnknown(
            "The office has not said where sales tax stands: on taxable cost (\"cost\") or on the sale (\"sale\"). "
            "It differs by state and by kind of contract; ask the accountant, then set it."
        )
    net, taxable = total([net]), total([taxable])
    tax_on_cost = line(taxable, terms.tax_rate) if terms.tax_place == "cost" else Decimal("0.00")
    return _chain(net, taxable, tax_on_cost, terms, discount)


def price_at(direct: Decimal, terms: Terms, discount: Discount | None = None) -> Decimal:
    """What the deck would sell for if its direct cost, tax on cost included, were `direct`. Raises as `price_chain`."""
    if exact(direct) < 0:
        raise MoneyError(f"a direct cost of {direct} was read; expected 0 or more")
    return _chain(total([direct]), Decimal("0.00"), Decimal("0.00"), terms, discount).price


def _chain(net: Decimal, taxable: Decimal, tax_on_cost: Decimal, terms: Terms, discount: Discount | None) -> Chain:
    direct = net + tax_on_cost
    contingency = line(direct, terms.contingency)
    cost = direct + contingency
    overhead = line({"compound": cost, "cost": cost, "direct": direct}[terms.overhead_on], terms.overhead)
    before_profit = cost + overhead
    if terms.profit_on == "margin":
        profit = rounded(exact(before_profit) * exact(terms.profit) / (1 - exact(terms.profit)))
    else:
        profit = line({"compound": before_profit, "cost": cost, "direct": direct}[terms.profit_on], terms.profit)
    sale = before_profit + profit
    early = discount.of(sale) if discount and discount.place == "before-tax" else Decimal("0.00")
    tax_on_sale = line(sale - early, terms.tax_rate) if terms.tax_place == "sale" else Decimal("0.00")
    late = discount.of(sale + tax_on_sale) if discount and discount.place == "after-tax" else Decimal("0.00")
    taxed = taxable if terms.tax_place == "cost" else sale - early
    return Chain(net, taxed, tax_on_cost, contingency, overhead, profit, tax_on_sale, early + late,
                 discount.place if discount else "before-tax")


@dataclass(frozen=True)
class Payment:
    """One progress payment: due at `milestone`, `share` of the price."""

    milestone: str
    share: Decimal
    amount: Decimal


def allocate(amount: Decimal, shares: Sequence[Number]) -> tuple[Decimal, ...]:
    """`amount` by `shares` in whole cents that add up to it: largest remainder, ties to the earlier share.

    Raises MoneyError where a share is not above 0 or the shares do not add up to exactly 1.
    """
    exact_shares = [exact(share) for share in shares]
    if any(share <= 0 for share in exact_shares) or sum(exact_shares) != 1:
        raise MoneyError(f"shares {', '.join(map(str, shares)) or '(none)'} were read; expected shares above 0 that "
                         "add up to 1")
    cents = _cents(amount)
    sign, cents = (-1 if cents < 0 else 1), abs(cents)
    due = [share * cents for share in exact_shares]
    given = [floor(part) for part in due]
    by_remainder = sorted(range(len(due)), key=lambda i: (given[i] - due[i], i))
    for i in by_remainder[: cents - sum(given)]:
        given[i] += 1
    return tuple(_money(sign * part) for part in given)


def progress_payments(price: Decimal, schedule: Sequence[tuple[Decimal, str]]) -> tuple[Payment, ...]:
    """Payments of `schedule`, (share, milestone) each, that add up to `price`. Raises as `allocate`."""
    amounts = allocate(price, [share for share, _ in schedule])
    return tuple(
        Payment(milestone, share, amount) for (share, milestone), amount in zip(schedule, amounts, strict=True)
    )


def _cents(amount: Decimal) -> int:
    cents = exact(amount) * 100
    if cents.denominator != 1:
        raise MoneyError(f"{amount} was read; expected whole cents")
    return int(cents)


def _money(cents: int) -> Decimal:
    return Decimal(f"{cents}E-2")
