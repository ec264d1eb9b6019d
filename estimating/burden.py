"""What an hour costs: a wage, its burden by parts, and the hours that can be billed. Exact, in Decimal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any, Literal

from estimating import money

PartKind = Literal["yearly", "share", "per-hundred", "monthly"]
PART_KINDS: tuple[PartKind, ...] = ("yearly", "share", "per-hundred", "monthly")
FORMAT = "burden/1"


@dataclass(frozen=True)
class Part:
    """One part of the burden of a year.

    `amount` is money a year ("yearly"), a fraction of wages ("share"), money for each hundred of payroll
    ("per-hundred") or money a month ("monthly"). `wage_base` caps the wages that the middle two fall on. [money]
    Raises MoneyError for an amount below 0, TypeError for a float.
    """

    name: str
    kind: PartKind
    amount: Decimal
    wage_base: Decimal | None = None
    source: str = ""

    def __post_init__(self) -> None:
        if self.kind not in PART_KINDS:
            raise money.MoneyError(f"a part of kind {self.kind!r} was read; expected one of {', '.join(PART_KINDS)}")
        if money.exact(self.amount) < 0:
            raise money.MoneyError(f"{self.name} of {self.amount} was read; expected 0 or more")
        if self.wage_base is not None:
            if self.kind not in ("share", "per-hundred"):
                raise money.MoneyError(f"{self.name} has a wage base; expected one only where wages count")
            if money.exact(self.wage_base) <= 0:
                raise money.MoneyError(f"a wage base of {self.wage_base} was read; expected more than 0")


@dataclass(frozen=True)
class Basis:
    """What a labor rate is made from.

    `wages` is money an hour over `paid_hours` of a year, or money a year where `paid_hours` is None. `billable_hours`
    are those of a year that jobs pay for; the others (holidays, meetings, travel) are carried by them. Raises
    MoneyError for hours or wages that are not above 0, and for more billable than paid hours.
    """

    wages: Decimal
    paid_hours: Decimal | None
    billable_hours: Decimal
    parts: tuple[Part, ...] = ()

    def __post_init__(self) -> None:
        for name in ("wages", "paid_hours", "billable_hours"):
            value = getattr(self, name)
            if value is not None and money.exact(value) <= 0:
                raise money.MoneyError(f"{name.replace('_', ' ')} of {value} was read; expected more than 0")
        if self.paid_hours is not None and self.billable_hours > self.paid_hours:
            raise money.MoneyError(f"{self.billable_hours} billable of {self.paid_hours} paid hours was read; expected "
                                   "no more billable than paid hours")


@dataclass(frozen=True)
class Worked:
    """A basis worked out: a year's wages, each part of a year in the order given, their total, the rate an hour."""

    wages: Decimal
    parts: tuple[tuple[str, Decimal], ...]
    total: Decimal
    rate: Decimal
    over_wages: Decimal


def yearly_cost(part: Part, wages: Decimal) -> Decimal:
    """What a part costs in a year of `wages`, rounded to the cent."""
    subject = money.exact(wages if part.wage_base is None else min(wages, part.wage_base))
    amount = money.exact(part.amount)
    return money.rounded({"yearly": amount, "monthly": 12 * amount, "share": subject * amount,
                          "per-hundred": subject / 100 * amount}[part.kind])


def work_rate(basis: Basis) -> Worked:
    """Wages and parts of a year over the hours that can be billed.

    Every part is rounded to the cent once, their total is the sum of the rounded parts, and the rate is rounded to
    the cent. `over_wages` is how often the total holds the wages, to four places. Estimating in Building Construction,
    sections 7-4 and 7-6 and example 7-5: (wages + benefits + taxes + insurance of a year) / billable hours.
    """
    wages = money.rounded(money.exact(basis.wages) * money.exact(basis.paid_hours or 1))
    if wages == 0:
        raise money.MoneyError(f"wages of {basis.wages} were read; expected a cent a year or more")
    parts = tuple((part.name, yearly_cost(part, wages)) for part in basis.parts)
    whole = money.total([wages, *(cost for _, cost in parts)])
    rate = money.burdened_rate([whole], basis.billable_hours)
    return Worked(wages, parts, whole, rate, money.rounded(Fraction(whole) / Fraction(wages), 4))


def as_json(basis: Basis) -> dict[str, Any]:
    """The basis and what it came to, amounts as text: what is kept beside a rate so that it can be worked again."""
    worked = work_rate(basis)
    return {
        "format": FORMAT, "wages": str(basis.wages),
        "paid_hours": None if basis.paid_hours is None else str(basis.paid_hours),
        "billable_hours": str(basis.billable_hours),
        "parts": [{"name": part.name, "kind": part.kind, "amount": str(part.amount),
                   "wage_base": None if part.wage_base is None else str(part.wage_base), "source": part.source,
                   "yearly": str(cost)} for part, (_, cost) in zip(basis.parts, worked.parts, strict=True)],
        "worked": {"wages": str(worked.wages), "total": str(worked.total), "rate": str(worked.rate),
                   "over_wages": str(worked.over_wages)},
    }


def from_json(kept: Mapping[str, Any]) -> Basis:
    """The basis that `as_json` wrote. Raises MoneyError for words of another format."""
    if kept.get("format") != FORMAT:
        raise money.MoneyError(f"a basis of format {kept.get('format')!r} was read; expected {FORMAT}")
    parts: Sequence[Mapping[str, Any]] = kept["parts"]
    return Basis(
        Decimal(kept["wages"]), None if kept["paid_hours"] is None else Decimal(kept["paid_hours"]),
        Decimal(kept["billable_hours"]),
        tuple(Part(part["name"], part["kind"], Decimal(part["amount"]),
                   None if part["wage_base"] is None else Decimal(part["wage_base"]), part["source"])
              for part in parts),
    )
