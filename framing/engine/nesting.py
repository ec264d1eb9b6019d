"""Nesting: two tapers sawn side by side from one stick where that costs less than a stick for each.

Stage: members -> nesting -> cutting, once for all sizes. Whether two pieces lie side by side is geometry; whether they
should is cost, pair by pair; the plans with and without have the last word, so nesting never costs more. Costs are
money where every size that is cut has its prices, board feet otherwise: inches of different sizes do not compare.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from framing.engine.cutting import CutPlan, Piece, Stock, plan
from framing.reference.lumber import DRESSED

SAW_MARGIN = 1 / 8  # between two nested rips beside the kerf, as sticks are not straight: common practice [in]
SHARES = (1.0, 0.5, 0.25)  # of the pairs, those that promise most first, that are planned against none at all

HAIR = 1e-6  # depths, lengths and costs closer than this are one
LOOKED_AT = 4_000  # pairs of unlike shapes laid side by side at most, those that promise most first

Shape = tuple[float, tuple[tuple[float, float], ...]]
Job = tuple[Sequence[Piece], Stock]


@dataclass(frozen=True)
class Pair:
    """Two pieces out of one stick: `wide` is the job whose stock it is sawn from, `gain` what that promises to save."""

    first: Piece
    second: Piece
    wide: int
    gain: float

    @property
    def as_piece(self) -> Piece:
        """The longer one with the shorter beside it; of equals the first stays so."""
        a, b = (self.first, self.second) if self.first.length >= self.second.length else (self.second, self.first)
        return replace(a, beside=b)


def plan_all(jobs: Sequence[Job], *, kerf: float, trim: float) -> tuple[CutPlan, ...]:
    """Cutting plans of all items, those without sticks left out, with tapers nested where that is cheaper.

    A job of a lumber size with no pieces of its own offers its sticks for nesting. `kerf`, `trim` [in].
    """
    money = all(stock.measure == "cost" for pieces, stock in jobs if stock.size in DRESSED and pieces)
    lumber = [n for n, (pieces, stock) in enumerate(jobs)
              if stock.size in DRESSED and stock.lengths and (stock.measure == "cost" or not money)]
    alone = [plan(pieces, stock, kerf=kerf, trim=trim) for pieces, stock in jobs]
    pairs = _pairs(jobs, alone, lumber, money, kerf, trim)

    def cost(plans: Sequence[CutPlan]) -> float:
        return math.fsum(_cost(s.length, p.stock, money) for n in lumber for p in [plans[n]] for s in p.sticks)

    best = alone
    for share in SHARES if pairs else ():
        chosen = pairs[: math.ceil(share * len(pairs))]
        gone = {id(p) for pair in chosen for p in (pair.first, pair.second)}
        nested = list(alone)
        for n in lumber:
            pieces, stock = jobs[n]
            left = [p for p in pieces if id(p) not in gone]
            added = [pair.as_piece for pair in chosen if pair.wide == n]
            if added or len(left) < len(pieces):
                nested[n] = plan([*left, *added], stock, kerf=kerf, trim=trim)
        if cost(nested) < cost(best) - 1e-6:
            best = nested
    return tuple(p for p in best if p.sticks)


def side_by_side(a: Piece, b: Piece) -> float:
    """The least depth of wood that both take at once, one turned over, cuts between them not counted [in]."""
    return lay(a, b)[0]


def lay(a: Piece, b: Piece) -> tuple[float, float, bool]:
    """How they take least: the depth, where along the longer the shorter begins, whether with its end B first [in].

    The shorter lies flush with either end of the longer, with either of its own ends first: for straight tapers no
    place between is better. The sum of two profiles that are straight between points is greatest at one of these.
    """
    long, short = (a, b) if a.length >= b.length else (b, a)
    x, d = np.array(long.profile).T
    u, e = np.array(short.profile).T
    best = (math.inf, 0.0, False)
    for turned, v, f in ((False, u, e), (True, short.length - u[::-1], e[::-1])):
        for at in {0.0, long.length - short.length}:
            s = np.concatenate([x[(x >= at) & (x <= at + short.length)], v + at])
            depth = max(float((np.interp(s, x, d) + np.interp(s - at, v, f)).max()), float(d.max()))
            if depth < best[0]:
                best = depth, at, turned
    return best


def _pairs(jobs: Sequence[Job], alone: Sequence[CutPlan], lumber: Sequence[int], money: bool, kerf: float, trim: float,
           ) -> list[Pair]:
    """Pairs that together promise to save most, best first: each piece in one pair at most."""
    tapers = [(p, n) for n in lumber for p in jobs[n][0] if p.profile]
    if len(tapers) < 2:
        return []
    rate = {n: _rate(jobs[n][1], alone[n], money) for n in lumber}
    length = np.array([p.length for p, _ in tapers])
    worth = length * [rate[n] for _, n in tapers]
    thin, thick = (np.array([f(d for _, d in p.profile) for p, _ in tapers]) for f in (min, max))
    least = np.maximum(np.add.outer(thin, thick), np.add.outer(thick, thin)) + kerf + SAW_MARGIN
    longer = np.maximum.outer(length, length)
    promise = np.zeros((len(lumber), len(tapers), len(tapers)))  # what each pair saves in each wider stick
    for k, n in enumerate(lumber):
        saved = np.add.outer(worth, worth) - longer * rate[n]
        held = (least <= DRESSED[jobs[n][1].size][1] + HAIR) & (longer + trim <= max(jobs[n][1].lengths) + HAIR)
        promise[k] = np.triu(np.where(held & (saved > HAIR), saved, 0.0), 1)
    gain = np.zeros(longer.shape)
    wide = np.full(gain.shape, -1)
    needs: dict[tuple[Shape, Shape], float] = {}
    shapes = [(round(p.length, 3), tuple((round(s, 3), round(d, 3)) for s, d in p.profile)) for p, _ in tapers]
    for at in np.argsort(-promise, axis=None, kind="stable")[: np.count_nonzero(promise)].tolist():
        k, i, j = (int(v) for v in np.unravel_index(at, promise.shape))
        if wide[i, j] >= 0:
            continue
        if (pair := (shapes[i], shapes[j])) not in needs:
            if len(needs) == LOOKED_AT:
                break
            needs[pair] = side_by_side(tapers[i][0], tapers[j][0]) + kerf + SAW_MARGIN
        if needs[pair] <= DRESSED[jobs[lumber[k]][1].size][1] + HAIR:
            gain[i, j] = gain[j, i] = promise[k, i, j]
            wide[i, j] = wide[j, i] = lumber[k]
    found = [Pair(tapers[i][0], tapers[j][0], int(wide[i, j]), float(gain[i, j])) for i, j in _match(gain)]
    return sorted(found, key=lambda pair: -pair.gain)


def _match(gain: NDArray[np.float64]) -> Iterator[tuple[int, int]]:
    """Disjoint pairs of great total gain: an assignment of all to all, each of its rings cut into pairs.

    On rings of even length nothing is lost against the assignment, half of which no matching exceeds; an odd ring
    leaves one out, which is then tried with the others left.
    """
    left = np.arange(len(gain))
    while len(left) > 1:
        part = gain[np.ix_(left, left)]
        _, to = linear_sum_assignment(part, maximize=True)
        used: set[int] = set()
        seen: set[int] = set()
        for start in range(len(left)):
            ring: list[int] = []
            while start not in seen:
                seen.add(start)
                ring.append(start)
                start = int(to[start])
            for i, j in max(_ways(ring), key=lambda pairs: sum(float(part[p]) for p in pairs), default=[]):
                if part[i, j] > 0:
                    used |= {i, j}
                    yield int(left[i]), int(left[j])
        if not used:
            return
        left = np.array([v for n, v in enumerate(left.tolist()) if n not in used])


def _ways(ring: list[int]) -> Iterator[list[tuple[int, int]]]:
    """The ways to pair neighbours in a ring, one left out where their number is odd."""
    n = len(ring)
    for t in range(n if n % 2 else min(n, 2)):
        turned = ring[t:] + ring[:t]
        yield [(turned[i], turned[i + 1]) for i in range(0, n - 1, 2)]


def _rate(stock: Stock, alone: CutPlan, money: bool) -> float:
    """What an inch of a piece costs in sticks of this size: by the plan without nesting, or the best to be had."""
    cut = math.fsum(c.length for s in alone.sticks for c in s.cuts)
    if cut:
        return math.fsum(_cost(s.length, stock, money) for s in alone.sticks) / cut
    return min(_cost(length, stock, money) / length for length in stock.lengths)


def _cost(stick: float, stock: Stock, money: bool) -> float:
    """Money, or board feet of the nominal size: thickness x width [in] x length [ft] / 12."""
    if money:
        return float(stock.cost(stick))
    thick, wide = (float(v) for v in stock.size.split("x"))
    return thick * wide * stick / 144
