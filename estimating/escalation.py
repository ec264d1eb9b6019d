"""A clause that lets a price move with a published index: what it must say, and what it comes to. Exact.

What an escalation clause has to settle is told in the Bureau of Labor Statistics' guide to price adjustment with the
Producer Price Index (bls.gov, V): a named series, a base period, first-published or revised figures, limits, and what
holds when the series ends. The Bureau neither encourages nor drafts such clauses.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from estimating import money

Figures = Literal["first-published", "revised"]
FIGURES: tuple[Figures, ...] = ("first-published", "revised")
GUIDE = "Bureau of Labor Statistics, price adjustment guide for the Producer Price Index"


@dataclass(frozen=True)
class Escalation:
    """One clause. `cap` and `floor` bound the change as fractions: 0.05 is five per cent, None is no bound.

    Raises MoneyError where the bounds are out of order or a word is missing.
    """

    series: str
    base_month: str
    base_index: Decimal
    figures: Figures
    if_series_ends: str
    text: str
    cap: Decimal | None = None
    floor: Decimal | None = None

    def __post_init__(self) -> None:
        for name in ("series", "base_month", "if_series_ends", "text"):
            if not getattr(self, name).strip():
                raise money.MoneyError(f"{name.replace('_', ' ')} is empty; expected what the clause says about it")
        if self.figures not in FIGURES:
            raise money.MoneyError(f"figures {self.figures!r} were read; expected one of {', '.join(FIGURES)}")
        if money.exact(self.base_index) <= 0:
            raise money.MoneyError(f"a base index of {self.base_index} was read; expected more than 0")
        low = -1 if self.floor is None else money.exact(self.floor)
        if not -1 <= low <= 0:
            raise money.MoneyError(f"a floor of {self.floor} was read; expected -1 to 0")
        if self.cap is not None and money.exact(self.cap) < 0:
            raise money.MoneyError(f"a cap of {self.cap} was read; expected 0 or more")


def change(clause: Escalation, index: Decimal) -> Fraction:
    """By what fraction an amount moves when the series stands at `index`. Raises MoneyError where it is not above 0."""
    if money.exact(index) <= 0:
        raise money.MoneyError(f"an index of {index} was read; expected more than 0")
    moved = money.exact(index) / money.exact(clause.base_index) - 1
    if clause.cap is not None:
        moved = min(moved, money.exact(clause.cap))
    return moved if clause.floor is None else max(moved, money.exact(clause.floor))


def adjustment(clause: Escalation, amount: Decimal, index: Decimal) -> Decimal:
    """What is added to `amount` when the series stands at `index`, rounded to the cent; negative where it falls."""
    return money.line(amount, change(clause, index))
