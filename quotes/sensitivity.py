"""What the price would be with more or fewer hours, dearer or cheaper goods: exact, through the whole chain. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Protocol

from estimating import money

HOURS = tuple(Decimal(share) for share in ("-0.20", "-0.10", "0.10", "0.20"))
PRICES = tuple(Decimal(share) for share in ("-0.10", "-0.05", "0.05", "0.10"))


class CostLine(Protocol):
    """As much of an estimate's line as is asked here."""

    kind: str
    cost: Decimal
    taxable: bool


@dataclass(frozen=True)
class Change:
    """One change of hours or prices by `share`, the price that it gives and how that differs."""

    of: str
    share: Decimal
    price: Decimal
    delta: Decimal

    def as_json(self) -> dict[str, Any]:
        return {"of": self.of, "share": str(self.share), "price": str(self.price), "delta": str(self.delta)}


def sensitivity(lines: Sequence[CostLine], terms: money.Terms, discount: money.Discount | None = None
                ) -> tuple[Change, ...]:
    """The price at each share of `HOURS` and `PRICES`, less what it is.

    Hours are priced as a whole, so the whole cost of labor is scaled and rounded once; goods and services a line each.
    Allowances are sums that are agreed and stay. Raises MoneyError where the lines have no price.
    """
    planned = _price(lines, terms, discount, Decimal(0), Decimal(0))
    found = []
    for of, shares in (("hours", HOURS), ("prices", PRICES)):
        for share in shares:
            more = (share, Decimal(0)) if of == "hours" else (Decimal(0), share)
            price = _price(lines, terms, discount, *more)
            found.append(Change(of, share, price, price - planned))
    return tuple(found)


def _price(lines: Sequence[CostLine], terms: money.Terms, discount: money.Discount | None, hours: Decimal,
           prices: Decimal) -> Decimal:
    costs = [(money.line(line.cost, 1 + prices) if line.kind in ("material", "service") else line.cost, line.taxable)
             for line in lines if line.kind != "labor"]
    for taxed in (False, True):
        labor = money.total(line.cost for line in lines if line.kind == "labor" and line.taxable == taxed)
        costs.append((money.line(labor, 1 + hours), taxed))
    net = money.total(cost for cost, _ in costs)
    return money.price_chain(net, money.total(cost for cost, taxed in costs if taxed), terms, discount).price
