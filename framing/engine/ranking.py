"""Ranking: what each framed build comes to, which no other beats on all counts, and why each is where it is.

Stage: labor -> ranking, over several builds on one survey. Builds are held against each other by the figures as they
are shown, so that nobody reads a difference that is not there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framing.engine.assembly import Built
from framing.engine.checks import Check
from framing.engine.documents import Build
from framing.engine.json_reading import cut
from framing.engine.labor import Task
from framing.engine.plane import Plane
from framing.engine.takeoff import Quantity

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

HOUR = "labor/hour"  # the item key of a person-hour, beside those of the takeoff
STICKS = ("lumber", "decking")  # without prices of all of these there is no cost
CENT = Decimal("0.01")
MOST_NAME = 60  # characters of a build's name


@dataclass(frozen=True)
class Count:
    """One count that builds are ranked by; figures are held against each other at `places` decimals.

    Less is better, unless `more`.
    """

    key: str
    words: str
    unit: str
    places: int
    more: bool = False

    def shown(self, value: float) -> str:
        return f"{value:,.{self.places}f}"

    def apart(self, by: float) -> str:
        """What a figure is off another's, in words."""
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.words} {self.shown(abs(by))}{unit} {'more' if by > 0 else 'less'}"


COST = Count("cost", "cost", "", 2)
MATERIAL = (Count("lumber", "lumber", "board feet", 0), Count("boards", "boards", "ft", 0))  # where there is no cost
COUNTS = (
    Count("hours", "hours", "", 1),
    Count("pads", "pads", "", 0),
    Count("gap", "least gap", "in", 2, more=True),
    Count("cuts", "straight rips", "", 0),
    Count("weight", "weight", "lb", 0),
    Count("step", "step at the door", "in", 2),
    Count("cautions", "cautions", "", 0),
)
RANKED_BY = tuple(c.key for c in (COST, *MATERIAL, *COUNTS))


@dataclass(frozen=True)
class Bought:
    """One item of a build's bill: how many order units, and what the build itself says that one costs."""

    item: str
    order: Decimal
    price: Decimal | None = None

    @property
    def kind(self) -> str:
        """What is priced together or not at all: "lumber", "decking", "support/pad", "fixing/hidden", …"""
        first, second, *_ = f"{self.item}/".split("/")
        return first if first in STICKS and second != "packer" else f"{first}/{second}"


@dataclass(frozen=True)
class Figures:
    """What a framed build comes to.

    `counts` by key of a Count: hours, pads, cuts and cautions (kinds of them) as numbers; `gap`, the least clear gap
    over a pad, and `step`, the greatest step down at the governing door [in]; `weight` of wood and boards [lb];
    `lumber` in sticks [board feet], `boards` in sticks [ft]. `dead` and `load` are what all pads together bear of dead
    load, and of dead and live [lb].
    """

    counts: Mapping[str, float]
    bill: tuple[Bought, ...]
    dead: float
    load: float


@dataclass(frozen=True)
class Tried:
    """One build as it came out: its figures, or the stops that leave none.

    `changes` tells what was changed of the build it was made from; `cautions` are the codes that it brings;
    `directions` are those that joists and boards run in [degrees].
    """

    name: str
    changes: tuple[str, ...]
    build: Build
    figures: Figures | None
    stops: tuple[Check, ...] = ()
    cautions: tuple[str, ...] = ()
    directions: tuple[float, float] | None = None


@dataclass(frozen=True)
class LeftOut:
    """A build that was not framed, or is not told apart, and why."""

    name: str
    why: str


@dataclass(frozen=True)
class Placed:
    """One build in its place. `state` is "unbeaten", "beaten" or "stopped"; `beaten_by` numbers unbeaten builds."""

    number: int
    tried: Tried
    state: str
    figures: Mapping[str, float]
    ranks: Mapping[str, int]
    best_on: tuple[str, ...]
    beaten_by: tuple[int, ...]
    why: str

    def as_json(self) -> dict[str, Any]:
        t = self.tried
        build = as_document(t.build)
        if t.changes:
            build["name"] = cut(t.name, MOST_NAME)
        figures = {key: f"{v:.2f}" if key == COST.key else v for key, v in self.figures.items()}
        return {
            "number": self.number, "name": t.name, "changes": list(t.changes), "state": self.state,
            "figures": figures, "ranks": dict(self.ranks), "best_on": list(self.best_on),
            "beaten_by": list(self.beaten_by), "why": self.why, "cautions": list(t.cautions),
            "directions": dict(zip(("joists", "boards"), t.directions, strict=True)) if t.directions else {},
            "stops": [{k: v for k, v in c.as_json().items() if k != "clears"} for c in t.stops],
            "build": build,
        }


@dataclass(frozen=True)
class Comparison:
    """Builds side by side: the unbeaten first, then the beaten, each by the count asked for, then those that stop.

    `not_priced` names what has no price in every build and is in no build's cost.
    """

    name: str
    counts: tuple[Count, ...]
    builds: tuple[Placed, ...]
    not_priced: tuple[str, ...]
    left_out: tuple[LeftOut, ...] = ()

    def in_state(self, state: str) -> tuple[Placed, ...]:
        return tuple(p for p in self.builds if p.state == state)

    def as_json(self) -> dict[str, Any]:
        return {
            "name": self.name, "counts": [{"key": c.key, "words": c.words, "unit": c.unit,
                                           "better": "more" if c.more else "less"} for c in self.counts],
            "not_priced": list(self.not_priced), "builds": [p.as_json() for p in self.builds],
            "left_out": [asdict(v) for v in self.left_out],
        }


def as_document(build: Build) -> dict[str, Any]:
    """The build as a deck-build/1 document in inches."""
    plain: dict[str, Any] = build.model_dump(mode="json", by_alias=True, exclude_none=True)
    return plain | {"unit": "in"}


def figures(build: Build, built: Built, plane: Plane, quantities: Sequence[Quantity], tasks: Sequence[Task],
            weight: float, cautions: Sequence[str]) -> Figures:
    """What a framed build comes to; `weight` goes up to the roof [lb]."""
    frame, hours = built.frame, sum(t.hours for t in tasks)
    sold = [(p.stock, s.length) for p in built.plans for s in p.sticks]
    counts = {
        "lumber": sum(run / 144 * _section(stock.size) for stock, run in sold if stock.item.startswith("lumber/")),
        "boards": sum(run / 12 for stock, run in sold if stock.item.startswith("decking/")),
        "hours": hours,
        "pads": float(len(frame.supports)),
        "gap": min((s.clear_gap for s in frame.supports), default=0.0),
        "cuts": float(sum(len(m.profile) - 1 for m in frame.members if m.ripped)),
        "weight": weight,
        "step": max((plane.reveals[p] for p in plane.door.points if p in plane.reveals), default=0.0),
        "cautions": float(len(cautions)),
    }
    own = _own_prices(build)
    bill = [Bought(q.item, Decimal(q.order), own.get(q.item)) for q in quantities]
    bill.append(Bought(HOUR, Decimal(f"{hours:.2f}")))
    return Figures(counts, tuple(bill), sum(s.reaction_dead for s in frame.supports),
                   sum(s.reaction for s in frame.supports))


def _section(size: str) -> int:
    """Nominal section, as board feet are counted [sq in]."""
    return math.prod(int(v) for v in size.split("x"))


def _own_prices(build: Build) -> dict[str, Decimal]:
    """What the build says that sticks cost, by item key; a price of nothing is none."""
    found = {f"lumber/{size}/{length:g}": price for size, table in (build.joists.stock_prices or {}).items()
             for length, price in table.items()}
    found |= {f"decking/{build.decking.item}/{length:g}": price
              for length, price in (build.decking.stock_prices or {}).items()}
    return {item: price for item, price in found.items() if price > 0}


def costs(bills: Sequence[Sequence[Bought]], prices: Mapping[str, Decimal]) -> tuple[list[Decimal] | None, list[str]]:
    """The cost of each bill, and the kinds of item that are in none; no cost where a stick has no price.

    `prices` maps item keys, HOUR among them, to money for one order unit; they go before a build's own. A kind of which
    one bill holds an item without a price is left out of all, or what is not known would make a build look cheap.
    """
    priced = [[(b, prices.get(b.item, b.price)) for b in bill] for bill in bills]
    unknown = {b.kind for bill in priced for b, price in bill if price is None}
    if unknown & set(STICKS):
        return None, []
    return [sum((b.order * price for b, price in bill if b.kind not in unknown and price is not None),
                Decimal(0)).quantize(CENT) for bill in priced], sorted(unknown)


def table(found: Sequence[Figures], prices: Mapping[str, Decimal]) -> tuple[tuple[Count, ...], Array, list[str]]:
    """The counts that these builds can be held against each other on, their figures (builds, counts) as shown, and what
    is in no cost."""
    money, without = costs([f.bill for f in found], prices)
    counts = (*((COST,) if money is not None else MATERIAL), *COUNTS)
    values = np.array([[float(money[i]) if money is not None and c is COST else round(f.counts[c.key], c.places)
                        for c in counts] for i, f in enumerate(found)]).reshape(len(found), len(counts))
    return counts, values, without


def losses(counts: Sequence[Count], values: Array) -> Array:
    """The figures (builds, counts) turned so that less is better on every count."""
    return np.asarray(values * np.array([-1.0 if c.more else 1.0 for c in counts]))


def beats(loss: Array) -> Bools:
    """Whether build i (rows) beats build j (columns): no worse on any count and better on one. Less is better."""
    ahead, behind = loss[:, None] < loss[None], loss[:, None] > loss[None]
    return np.asarray(ahead.any(axis=2) & ~behind.any(axis=2))


def unbeaten(loss: Array) -> Bools:
    """Which builds no other beats, (builds,)."""
    return np.asarray(~beats(loss).any(axis=0))


def rank(tried: Sequence[Tried], *, name: str, prices: Mapping[str, Decimal], by: str = COST.key,
         left_out: Sequence[LeftOut] = ()) -> Comparison:
    """The builds in their places, ordered by the count `by`, or the first one where there is none such.

    The first of `tried` is what the others are held against in words where it was framed, else the first in place.
    """
    framed = [t for t in tried if t.figures is not None]
    counts, values, without = table([t.figures for t in framed if t.figures], prices)
    loss = losses(counts, values)
    beating, free = beats(loss), unbeaten(loss)
    column = next((k for k, c in enumerate(counts) if c.key == by), 0)
    order = sorted(range(len(framed)), key=lambda i: (not free[i], *loss[i, column:column + 1], *loss[i], i))
    number = {i: n for n, i in enumerate(order, 1)}
    best = (loss == loss.min(axis=0, initial=np.inf)) & (loss != loss.max(axis=0, initial=-np.inf))
    ranks = 1 + (loss[:, None] > loss[None]).sum(axis=1)
    against = 0 if tried and tried[0].figures is not None else order[0] if order else 0
    placed = []
    for i in order:
        over = [j for j in order if beating[j, i] and free[j]]
        best_on = tuple(c.key for k, c in enumerate(counts) if best[i, k])
        same = [number[j] for j in order if j != i and (loss[j] == loss[i]).all()]
        if over:
            why = [f"Beaten by No. {number[over[0]]}: {_apart(counts, values[over[0]] - values[i])}."]
            held = len(framed[i].changes) == 1 and over[0] != against  # what a single change costs is always asked for
        else:
            why, held = list(_standing(counts, best[i], same)), not same
        if held and i != against:
            why += _against(counts, values[i] - values[against], framed[i], framed[against], number[against])
        placed.append(Placed(number[i], framed[i], "beaten" if over else "unbeaten",
                             {c.key: float(values[i, k]) for k, c in enumerate(counts)},
                             {c.key: int(ranks[i, k]) for k, c in enumerate(counts)}, best_on,
                             tuple(number[j] for j in over), " ".join(why)))
    stopped = [t for t in tried if t.figures is None]
    placed += [Placed(len(order) + n, t, "stopped", {}, {}, (), (),
                      " ".join(c.text for c in t.stops) or "No frame came out.") for n, t in enumerate(stopped, 1)]
    return Comparison(name, counts, tuple(placed), tuple(without), tuple(left_out))


def _standing(counts: Sequence[Count], best: Bools, same: Sequence[int]) -> Iterator[str]:
    """Why an unbeaten build stands where it does, among all."""
    if best.any():
        yield f"Best of all on {_listed([c.words for c, first in zip(counts, best, strict=True) if first])}."
    elif not same:
        yield "Best on no single count, but none is as good on all."
    if same:
        yield f"The same on all counts as No. {', '.join(map(str, same))}."


def _against(counts: Sequence[Count], off: Array, one: Tried, other: Tried, number: int) -> Iterator[str]:
    """What a build gives and takes against another, `off` being its figures less the other's."""
    better, worse = _sides(counts, off)
    yield f"Against No. {number} ({other.name}): {', '.join(better) or 'nothing better'}" + (
        f"; but {', '.join(worse)}." if worse else ".")
    for words, codes in (("Cautions that it adds", set(one.cautions) - set(other.cautions)),
                         ("Cautions that it is rid of", set(other.cautions) - set(one.cautions))):
        if codes:
            yield f"{words}: {', '.join(sorted(codes))}."


def _apart(counts: Sequence[Count], off: Array) -> str:
    """What a build that beats another has over it, and on what they are even."""
    better, _ = _sides(counts, off)
    even = [c.words for c, by in zip(counts, off, strict=True) if by == 0]
    return ", ".join(better) + (f"; the same on {_listed(even)}" if even else "")


def _sides(counts: Sequence[Count], off: Array) -> tuple[list[str], list[str]]:
    """On what a build is better and on what worse, in words, `off` being its figures less the other's."""
    better: list[str] = []
    worse: list[str] = []
    for c, by in zip(counts, off.tolist(), strict=True):
        if abs(by) >= 0.5 * 10.0**-c.places:
            (better if (by > 0) == c.more else worse).append(c.apart(by))
    return better, worse


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
