"""Cutting: which pieces come out of which sticks, and how far from the least possible the purchase can be.

Stage: boards -> cutting. One call plans one item of stock. Plans come from best-fit decreasing (`stick_packing.py`) and
from the linear programme (`stick_programme.py`); whichever is cheapest is kept. The bound is proven: no plan whatever
can buy less.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Literal

import numpy as np

from framing.engine.stick_packing import SLACK, Job, best_of_rules
from framing.engine.stick_programme import improve


class PieceTooLong(ValueError):
    """A piece that no usable stick can give."""

    def __init__(self, piece: Piece, longest: float, trim: float = 0.0) -> None:
        self.piece, self.longest, self.needed = piece, longest, piece.length + trim
        super().__init__(
            f"{piece.kind} {piece.owner} piece {piece.piece} needs a stick of {self.needed:.2f} in with its trim;"
            f" the longest usable stick is {longest:.2f} in"
        )


@dataclass(frozen=True)
class Piece:
    """One piece to be cut, the `piece`-th of its owner counted from 1 along it; `length` [in].

    `profile` is (s, depth) [in] from the piece's own start where it is ripped to a taper, else empty. `beside` is a
    shorter taper sawn beside this one from the same length of stick.
    """

    owner: str
    kind: Literal["member", "board"]
    piece: int
    length: float
    profile: tuple[tuple[float, float], ...] = ()
    beside: Piece | None = None

    @property
    def name(self) -> str:
        return f"{self.owner}/{self.piece}"

    def cut(self, nested_with: Piece | None = None) -> list[dict[str, Any]]:
        """The `cuts` of a row of `stock_plan`: this piece's own, then that of the one beside it."""
        other = self.beside or nested_with
        own = {self.kind: self.owner, "piece": self.piece, "length": self.length,
               "nested_with": other.name if other else None}
        return [own, *(self.beside.cut(self) if self.beside else [])]


@dataclass(frozen=True)
class Stock:
    """The sticks of one item that may be bought: usable `lengths` [in], already limited to what reaches the roof.

    `prices` maps a length to money a stick. Where it is absent, or any usable length has no price above zero in
    it, the cost goes by length: a part-priced list would make the unpriced sticks look free or unobtainable.
    """

    item: str
    size: str
    lengths: tuple[float, ...]
    prices: dict[float, Decimal] | None = None

    @property
    def measure(self) -> Literal["cost", "length"]:
        return "cost" if self.prices and all(self._price(length) > 0 for length in self.lengths) else "length"

    def cost(self, length: float) -> Decimal:
        """Money for a stick of `length`, or its inches where the measure is length."""
        return self._price(length) if self.measure == "cost" else Decimal(str(length))

    def _price(self, length: float) -> Decimal:
        return next((p for at, p in (self.prices or {}).items() if abs(at - length) < 1e-3), Decimal(0))


@dataclass(frozen=True)
class Stick:
    """One stick to buy and its cuts, longest first. `offcut` [in] is what is left after the last cut's own kerf."""

    length: float
    cuts: tuple[Piece, ...]
    offcut: float


@dataclass(frozen=True)
class CutPlan:
    """The sticks of one item, long ones first and like settings together; `bound <= least possible <= bought`.

    `bought` and `bound` are money where every usable length is priced, inches otherwise (`measure`). `relaxed` is the
    linear programme's own bound, which `bound` lifts to a sum that whole sticks can cost.
    """

    stock: Stock
    sticks: tuple[Stick, ...]
    bought: float
    bound: float
    relaxed: float
    measure: Literal["cost", "length"]

    @property
    def gap_percent(self) -> float:
        return 100 * (self.bought - self.bound) / self.bought if self.bought else 0.0

    @property
    def counts(self) -> dict[float, int]:
        """Sticks to buy by length, long ones first."""
        return dict(Counter(stick.length for stick in self.sticks))

    def stock_plan(self) -> list[dict[str, Any]]:
        """Rows of `stock_plan`, one a stick."""
        return [
            {
                "item": self.stock.item, "size": self.stock.size, "length": stick.length, "count": 1,
                "cuts": [row for c in stick.cuts for row in c.cut()],
                "offcut": round(stick.offcut, 4),
            }
            for stick in self.sticks
        ]

    def stock_bound(self) -> dict[str, Any]:
        """The row of `stock_bound` for this item."""
        return {
            "item": self.stock.item, "bought": self.bought, "bound": self.bound,
            "gap_percent": round(self.gap_percent, 3), "measure": self.measure,
        }


def check_lengths(pieces: Sequence[Piece], stock: Stock, trim: float) -> None:
    """Raises PieceTooLong for the longest piece, if no usable stick holds it with its trim [in]."""
    most = max(stock.lengths, default=0.0)
    if pieces and (longest := max(pieces, key=lambda p: p.length)).length + trim > most + SLACK:
        raise PieceTooLong(longest, most, trim)


def plan(pieces: Sequence[Piece], stock: Stock, *, kerf: float, trim: float) -> CutPlan:
    """The cheapest cutting plan found for `pieces`, with a proven bound on any plan.

    Parameters
    ----------
    pieces : sequence of Piece
        Everything to be cut from this item. Order settles ties only.
    stock : Stock
        The usable sticks.
    kerf : float
        Lost to each cut between two pieces. [in]
    trim : float
        Lost once a stick, to square its end. [in]

    Raises
    ------
    PieceTooLong
        For the longest piece, if no usable stick holds it with its trim.
    ValueError
        If a piece has no length, or kerf or trim is negative.
    """
    if kerf < 0 or trim < 0:
        raise ValueError(f"kerf {kerf} in and trim {trim} in must not be negative")
    if bad := [p for p in pieces if not p.length > 0]:
        raise ValueError(f"{bad[0].kind} {bad[0].owner} piece {bad[0].piece} has a length of {bad[0].length} in")
    lengths = tuple(sorted(set(stock.lengths)))
    check_lengths(pieces, stock, trim)

    by_length: dict[float, list[Piece]] = defaultdict(list)
    for p in pieces:
        by_length[round(p.length, 6)].append(p)
    order = sorted(by_length, reverse=True)
    job = Job(
        take=np.array([length + kerf for length in order]),
        demand=np.array([len(by_length[length]) for length in order], dtype=np.int64),
        capacity=np.array([length - trim + kerf for length in lengths]),
        cost=np.array([float(stock.cost(length)) for length in lengths]),
    )
    coins = [stock.cost(length) for length in lengths]
    patterns, bound, least = improve(job, best_of_rules(job), coins) if pieces else ([], 0.0, 0.0)

    waiting = {length: iter(by_length[length]) for length in order}
    cut = [(lengths[k], tuple(next(waiting[order[i]]) for i in sorted(held))) for k, held in sorted(
        patterns, key=lambda pattern: (-lengths[pattern[0]], sorted(pattern[1])))]
    sticks = tuple(
        Stick(length, cuts, max(0.0, length - trim - sum(c.length + kerf for c in cuts))) for length, cuts in cut
    )
    bought = float(sum((stock.cost(s.length) for s in sticks), Decimal(0)))
    return CutPlan(stock, sticks, bought, min(_floor(bound), bought), min(_floor(least), bought), stock.measure)


def _floor(bound: float) -> float:
    """Rounded down to four places, so that rounding never lifts a bound."""
    return math.floor(bound * 1e4 + 1e-3) / 1e4
