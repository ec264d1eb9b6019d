"""Cutting: which pieces come out of which sticks, and how far from the least possible the purchase can be.

One call plans one item of stock. Cuts fit a stick when `sum(lengths) + kerf between cuts + trim once <= stick length`;
with `capacity = stick - trim + kerf` and `take = length + kerf` that is a plain knapsack, `sum(takes) <= capacity`.

Plans come from best-fit decreasing under several rules for opening a stick and from the columns of the linear
programme below; whichever is cheapest is kept. The bound is proven: no plan whatever can buy less.
"""

from __future__ import annotations

import math
from bisect import bisect_left, insort
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from fractions import Fraction
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import csc_array

Floats = NDArray[np.float64]
Pattern = tuple[int, tuple[int, ...]]  # index of the stick length, indices of the piece lengths cut from it

SLACK = 1e-6  # [in] far below what a saw can do, far above what adding floats loses
STEPS_PER_INCH = 32  # grid of the knapsack tables
HAND = 15  # pieces dealt together when patterns are priced
PIVOTS = 2_000  # simplex steps of one solve: a list that wants more is long, and best fit serves it well
DIVES = 25  # solves on the way down to whole sticks, at most about so many
WORK = 150_000_000  # what the bound may spend, in table cells; a count, not a clock, so that answers repeat
A_SOLVE = 40  # table cells that one solve of the programme is worth, a pair of distinct pieces
DIVE_MOST = 100_000  # pieces times patterns; larger programmes take seconds a solve, for a gap that is small by then


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
    """One piece to be cut, the `piece`-th of its owner counted from 1 along it; `length` [in]."""

    owner: str
    kind: Literal["member", "board"]
    piece: int
    length: float


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

    `bought` and `bound` are money where every usable length is priced, inches otherwise (`measure`).
    """

    stock: Stock
    sticks: tuple[Stick, ...]
    bought: float
    bound: float
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
                "cuts": [{c.kind: c.owner, "piece": c.piece, "length": c.length, "nested_with": None}
                         for c in stick.cuts],
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
    job = _Job(
        take=np.array([length + kerf for length in order]),
        demand=np.array([len(by_length[length]) for length in order], dtype=np.int64),
        capacity=np.array([length - trim + kerf for length in lengths]),
        cost=np.array([float(stock.cost(length)) for length in lengths]),
    )
    coins = [stock.cost(length) for length in lengths]
    best = _best_of_rules(job) if pieces else []
    patterns, bound = _improve(job, best, coins) if pieces else ([], 0.0)

    waiting = {length: iter(by_length[length]) for length in order}
    cut = [(lengths[k], tuple(next(waiting[order[i]]) for i in sorted(held))) for k, held in sorted(
        patterns, key=lambda pattern: (-lengths[pattern[0]], sorted(pattern[1])))]
    sticks = tuple(
        Stick(length, cuts, max(0.0, length - trim - sum(c.length + kerf for c in cuts))) for length, cuts in cut
    )
    bought = float(sum((stock.cost(s.length) for s in sticks), Decimal(0)))
    return CutPlan(stock, sticks, bought, min(_floor(bound), bought), stock.measure)


@dataclass(frozen=True)
class _Job:
    """The bare problem: distinct pieces, longest first, and sticks, shortest first."""

    take: Floats  # (n,) length and kerf [in]
    demand: NDArray[np.int64]  # (n,) how many of each
    capacity: Floats  # (k,) [in]
    cost: Floats  # (k,)
    single: list[float] = field(init=False)  # plain floats for the loops below, faster than array items
    room: list[float] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "single", self.take.tolist())
        object.__setattr__(self, "room", self.capacity.tolist())

    def total(self, patterns: Sequence[Pattern]) -> float:
        return math.fsum(self.cost[k] for k, _ in patterns)

    def cheapest(self, held: Sequence[int]) -> int:
        """The cheapest stick that holds the pieces, the shorter of equals."""
        need = sum(self.single[i] for i in held)
        return min((k for k, room in enumerate(self.room) if need <= room + SLACK),
                   key=lambda k: (self.cost[k], self.room[k]))


# -- best-fit decreasing -------------------------------------------------------------------------------------

Rule = Callable[[int, Sequence[int]], int]  # (longest piece waiting, all pieces waiting) -> stick to open


def _opening_rules(job: _Job) -> list[Rule]:
    """Ways to choose the stick to open for a piece: each length in turn, the cheapest an inch, look ahead.

    None is best everywhere; on short pieces with dear long sticks the best changes from list to list.
    """
    def holding(piece: int) -> range:
        return range(bisect_left(job.room, job.single[piece] - SLACK), len(job.room))

    def always(k: int) -> Rule:
        return lambda piece, waiting: max(k, holding(piece)[0])

    def cheapest_an_inch(piece: int, waiting: Sequence[int]) -> int:
        return min(holding(piece), key=lambda k: (job.cost[k] / job.room[k], k))

    def look_ahead(piece: int, waiting: Sequence[int]) -> int:
        return min(holding(piece), key=lambda k: (job.cost[k] / _filled(job, job.room[k], waiting), k))

    return [*(always(k) for k in range(len(job.room))), cheapest_an_inch, look_ahead]


def _filled(job: _Job, room: float, waiting: Sequence[int]) -> float:
    """Inches that the longest pieces waiting fill of `room`, each taken as it fits. `waiting` is longest first."""
    used, at = 0.0, 0
    while (at := bisect_left(waiting, used - room - SLACK, lo=at, key=lambda i: -job.single[i])) < len(waiting):
        used += job.single[waiting[at]]
        at += 1
    return used


def _best_of_rules(job: _Job) -> list[Pattern]:
    return min((_best_fit(job, rule) for rule in _opening_rules(job)), key=job.total)


def _best_fit(job: _Job, opens: Rule) -> list[Pattern]:
    """Each piece, longest first, into the open stick that it leaves least of; then each stick as cheap as it may be."""
    waiting = np.repeat(np.arange(len(job.take)), job.demand).tolist()
    left: list[tuple[float, int]] = []  # (room left, stick), least room first
    held: list[list[int]] = []
    for n, piece in enumerate(waiting):
        take = job.single[piece]
        at = bisect_left(left, (take - SLACK, -1))
        if at < len(left):
            room, stick = left.pop(at)
            held[stick].append(piece)
        else:
            room, stick = job.room[opens(piece, waiting[n:])], len(held)
            held.append([piece])
        insort(left, (room - take, stick))
    return [(job.cheapest(h), tuple(h)) for h in held]


# -- linear programme: a proven bound, and columns for a better plan ---------------------------------------------

def _improve(job: _Job, best: list[Pattern], coins: Sequence[Decimal]) -> tuple[list[Pattern], float]:
    """A plan no dearer than `best` and a bound that no plan can be cheaper than.

    Gilmore and Gomory's programme [1]_ by column generation: buy x_j of pattern j at least cost so that every piece
    is cut. For any values y of the pieces, let t be the most that y could pack into one stick per unit of its cost;
    then y/t is a feasible dual, so sum(demand * y) / t is a lower bound (Farley [2]_), converged or not. Its knapsack
    takes are rounded DOWN to the grid and the capacity with them: every set of pieces that fits a stick also fits it
    there, so t is never understated. Patterns are priced with takes rounded UP, so that each can be cut.

    .. [1] P. C. Gilmore and R. E. Gomory, Operations Research 9 (1961), pp. 849-859.
    .. [2] A. A. Farley, Operations Research 38 (1990), pp. 922-923.
    """
    bought = job.total(best)
    bound = _round_up(float((job.demand * job.take).sum() * (job.cost / job.capacity).min()), coins, bought)
    seen: dict[Pattern, None] = dict.fromkeys(best)
    for rule in _opening_rules(job):
        seen.update(dict.fromkeys(_best_fit(job, rule)))
    seen.update(dict.fromkeys((job.cheapest((i,)), (i,)) for i in range(len(job.take))))
    columns = list(seen)

    loose = _Grid(job, np.floor)
    tight = _Grid(job, np.ceil)
    rounds = int(min(120, WORK // (loose.cells + tight.cells + A_SOLVE * len(job.take) ** 2) + 1))
    steady = np.zeros(len(job.take))
    deal = np.random.default_rng(len(job.take))
    proven = 0.0
    for _ in range(rounds):
        if bought - bound <= SLACK:
            return best, bound
        solved = _cover(np.array([job.cost[k] for k, _ in columns]), _matrix(job, columns), job.demand.astype(float))
        if not solved.success:
            break
        y, value = np.maximum(-solved.ineqlin.marginals, 0.0), float(solved.fun)
        # Half way back to the values that proved most so far: duals of an unfinished programme swing wildly.
        for trial in ((steady + y) / 2, y):
            t = float((loose.most(trial) / job.cost).max())
            if t > 0 and (found := float(job.demand @ trial) / t) > proven:
                proven, steady = found, trial / t
            fresh = [c for c in tight.patterns(trial, deal)
                     if c not in seen and y[list(c[1])].sum() > job.cost[c[0]] * (1 + 1e-9)]
            if fresh:
                break
        bound = max(bound, _round_up(proven, coins, bought))
        columns += fresh
        seen.update(dict.fromkeys(fresh))
        # `value` only falls from here on: where it rounds to the bound already, more columns cannot lift that.
        if not fresh or value - proven <= 1e-4 * value or _round_up(value, coins, bought) <= bound + SLACK:
            break
    if bought - bound > SLACK and len(job.take) * len(columns) <= DIVE_MOST:
        best = _dive(job, columns, best, bound)
    return best, bound


class _Grid:
    """Knapsack tables of a job on the grid, every stick length read from one table."""

    def __init__(self, job: _Job, rounding: Callable[[Floats], Floats]) -> None:
        eps = SLACK * (1 if rounding is np.floor else -1)
        self.room = np.floor((job.capacity + SLACK) * STEPS_PER_INCH).astype(int)
        self.job, self.items = job, []
        for i, take in enumerate(rounding((job.take - eps) * STEPS_PER_INCH).astype(int).tolist()):
            many, most = 1, min(int(job.demand[i]), int(self.room[-1] // max(take, 1)))
            while most > 0:  # 1, 2, 4, … and the remainder make every count up to the demand
                many = min(many, most)
                self.items.append((i, many, take * many))
                most -= many
                many *= 2
        self.cells = len(self.items) * int(self.room[-1] + 1)

    def most(self, y: Floats) -> Floats:
        """The greatest value that fits each stick, shape (k,), for piece values y, shape (n,)."""
        table = np.zeros(self.room[-1] + 1)
        for i, many, take in self.items:
            if y[i] > 0 and take < len(table):
                table[take:] = np.maximum(table[take:], table[: len(table) - take] + many * y[i])
        return np.asarray(table[self.room])

    def patterns(self, y: Floats, deal: np.random.Generator) -> list[Pattern]:
        """A set of pieces of greatest value for each stick, out of all pieces and out of random hands of them.

        The hands together fill no more table than all pieces do, and spare the programme many rounds.
        """
        worth = [n for n, (i, _, _) in enumerate(self.items) if y[i] > 1e-12]
        hands = np.array_split(deal.permutation(worth), max(1, len(worth) // HAND))
        found: dict[Pattern, None] = {}
        for hand in [worth, *(sorted(h.tolist()) for h in hands)]:
            found.update(dict.fromkeys(self._best([self.items[n] for n in hand], y)))
        return list(found)

    def _best(self, items: Sequence[tuple[int, int, int]], y: Floats) -> list[Pattern]:
        table = np.zeros(self.room[-1] + 1)
        items = [item for item in items if item[2] < len(table)]
        better = np.zeros((len(items), len(table)), dtype=bool)
        for n, (i, many, take) in enumerate(items):
            with_it = table[: len(table) - take] + many * y[i]
            np.greater(with_it, table[take:] + 1e-12, out=better[n, take:])
            table[take:] = np.maximum(table[take:], with_it)
        found = []
        for room in self.room.tolist():
            held: list[int] = []
            for n in range(len(items) - 1, -1, -1):
                if better[n, room]:
                    i, many, take = items[n]
                    held += [i] * many
                    room -= take
            if held:
                held.sort()
                found.append((self.job.cheapest(held), tuple(held)))
        return found


def _matrix(job: _Job, columns: Sequence[Pattern]) -> Any:
    """How many of each piece each pattern holds, sparse, shape (n, columns)."""
    ends = np.cumsum([0, *(len(held) for _, held in columns)])
    rows = np.concatenate([held for _, held in columns])
    matrix = csc_array((np.ones(len(rows)), rows, ends), shape=(len(job.take), len(columns)))
    matrix.sum_duplicates()
    return matrix


def _cover(cost: Floats, matrix: Any, demand: Floats) -> Any:
    """Patterns of least cost, in parts, that cut at least the demand; `success` is false where it takes too long."""
    return linprog(cost, A_ub=-matrix, b_ub=-demand, method="highs-ds", options={"maxiter": PIVOTS})


def _dive(job: _Job, columns: Sequence[Pattern], best: list[Pattern], bound: float) -> list[Pattern]:
    """Buy the patterns that the programme wants most, solve it again for what is left, and so on.

    After each step the rest is packed by best fit, and the cheapest whole plan met on the way down is kept.
    """
    matrix, cost = _matrix(job, columns), np.array([job.cost[k] for k, _ in columns])
    dense = matrix.toarray()
    fixed: list[Pattern] = []
    left, bought = job.demand.astype(float), job.total(best)
    a_step = max(1, len(best) // DIVES)
    while left.any() and bought - bound > SLACK:
        usable = np.flatnonzero((dense <= left[:, None]).all(axis=0))
        solved = _cover(cost[usable], matrix[:, usable], left)
        if not solved.success:
            break
        x = solved.x
        wanted = usable[np.argsort(-np.round(x, 6), kind="stable")]
        for j in wanted[: max(a_step, int((x > 1 - 1e-6).sum()))]:  # whole ones together, else the greatest
            if (dense[:, j] <= left).all():
                fixed.append(columns[j])
                left = left - dense[:, j]
        rest = _best_of_rules(replace(job, demand=left.astype(np.int64)))
        if job.total(fixed) + job.total(rest) < bought - SLACK:
            best = [(job.cheapest(held), held) for _, held in [*fixed, *rest]]
            bought = job.total(best)
    return best


def _round_up(bound: float, coins: Sequence[Decimal], most: float) -> float:
    """The least sum of stick costs that is not below `bound`, nor above `most`, which is such a sum itself.

    Where the costs have no common step that a list of sums can be made of, the next multiple of the step, or `bound`.
    """
    exact = [Fraction(c).limit_denominator(100_000) for c in coins]  # 0.1 mm in inches is 1/254
    if any(abs(e - Fraction(c)) > Fraction(1, 10**9) for e, c in zip(exact, coins, strict=True)):
        return min(bound, most)
    scale = math.lcm(*(e.denominator for e in exact))
    units = [int(e * scale) for e in exact]
    step = math.gcd(*units) / scale
    first, limit = math.ceil(bound / step - 1e-6), round(most / step)
    if first < limit < 1 << 20:
        reach, mask = 1, (1 << limit + 1) - 1  # bit s is set where some number of sticks costs s steps
        for unit in units:
            shift = unit // math.gcd(*units)
            while shift <= limit:
                reach = (reach | reach << shift) & mask
                shift *= 2
        above = reach >> first
        first += (above & -above).bit_length() - 1
    return min(max(bound, first * step), most)


def _floor(bound: float) -> float:
    """Rounded down to four places, so that rounding never lifts a bound."""
    return math.floor(bound * 1e4 + 1e-3) / 1e4
