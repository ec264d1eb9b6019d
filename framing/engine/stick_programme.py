"""Sticks by linear programme: a proven bound on what any plan must buy, and patterns for a plan that comes near it.

Stage: part of cutting. Gilmore and Gomory's programme [1]_: buy x_j of pattern j at least cost so that every piece is
cut. A pattern's slot may serve any shorter piece too; that keeps the worth of pieces in the order of their lengths,
and a few rounds of new patterns are enough where worths that swing freely take hundreds (dual-optimal inequalities,
[2]_). Whole sticks come out of it by a dive: what the programme wants by half a stick or more is bought, and the rest
is solved again; a small tree of programmes deals the last pieces, and the sticks that lose most are dealt anew.

All work is bounded by counts, never by a clock: the same list gives the same plan on every machine.

.. [1] P. C. Gilmore and R. E. Gomory, Operations Research 9 (1961), pp. 849-859.
.. [2] J. M. Valerio de Carvalho, INFORMS Journal on Computing 17 (2005), pp. 175-182.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import csc_array, hstack

from framing.engine.stick_packing import SLACK, Floats, Job, Pattern, best_fit, best_of_rules, opening_rules

STEPS = 32  # an inch, grid of the knapsack tables
FINE, SHORT = 128, 200  # ... and of those that prove the bound, for lists of at most so many lengths
DUST = 1e-7  # what rounding to the grid forgives: lengths are kept to 1e-6 [in]
HAND = 15  # pieces dealt together when patterns are priced
APART = 10  # best patterns in a row that share no piece
ROUNDS = 40  # of new patterns, for the whole list
WORK = 10_000_000_000  # what the rounds may spend, in table cells
A_SOLVE = 60  # table cells that one solve of the programme is worth, a pair of distinct pieces
PIVOTS = 50_000  # simplex steps of one solve
CLOSE = 1e-4  # bound and programme this near each other are not brought nearer
LAST = 60  # pieces that the tree of programmes deals at once
NODES = 24  # of that tree
WHOLE = 1e-6  # a pattern's number this near a whole one is one
LISTED = 1_000  # patterns that it may choose from
KEPT = 4 * LISTED  # beginnings of them
TRIES, IN_VAIN = 24, 4  # times that the worst sticks are dealt anew at most, and in a row without gain
ANEW = 40  # ... and pieces of those, about
ENOUGH = 5e-4  # of the cost: long lists this near the bound are left as they are


@dataclass(frozen=True)
class Solved:
    """A programme's patterns, how many of each (in parts), and what one more of each piece would cost."""

    columns: list[Pattern]
    x: Floats
    worth: Floats
    value: float


def improve(job: Job, best: list[Pattern], coins: Sequence[Decimal]) -> tuple[list[Pattern], float, float]:
    """A plan no dearer than `best`, a bound that no plan can be cheaper than, and the programme's own bound.

    For any worths y of the pieces, let t be the most that they could pack into one stick per unit of its cost; then
    y/t is a feasible dual, so sum(demand * y) / t is a lower bound (Farley [3]_), converged or not. The bound for
    whole sticks is the least sum of their costs that is not below it.

    .. [3] A. A. Farley, Operations Research 38 (1990), pp. 922-923.
    """
    bought = job.total(best)
    rate = (job.cost / job.capacity).min()
    proven = float((job.demand * job.take).sum() * rate)
    bound = round_up(proven, coins, bought)
    if bought - bound <= SLACK:
        return best, bound, proven
    deal = np.random.default_rng(len(job.take))
    columns = _first_columns(job, best)
    solved, proven, worth = _generate(job, columns, deal, proven, rate * job.take)
    bound = round_up(proven, coins, bought)
    if solved is None:
        return best, bound, proven
    if bought - bound > SLACK:
        best = min(best, _dive(job, solved, worth, bound, coins, deal), key=job.total)
        if int(job.demand.sum()) <= LAST:
            best = _deal_whole(job, solved.columns, worth, best, coins)
        else:
            best = _mend(job, best, worth, bound, coins, deal)
    return best, bound, proven


def _first_columns(job: Job, best: Sequence[Pattern]) -> list[Pattern]:
    seen = dict.fromkeys(best)
    for rule in opening_rules(job):
        seen.update(dict.fromkeys(best_fit(job, rule)))
    seen.update(dict.fromkeys((job.cheapest((i,)), (i,)) for i in range(len(job.take))))
    return list(seen)


def _generate(job: Job, columns: list[Pattern], deal: np.random.Generator, proven: float, steady: Floats,
              most_rounds: int = ROUNDS) -> tuple[Solved | None, float, Floats]:
    """The programme with the patterns that it lacked, the greatest proven bound, and the worths that prove it."""
    loose, tight = _Grid(job, np.floor, FINE if len(job.take) <= SHORT else STEPS), _Grid(job, np.ceil)
    rounds = int(min(most_rounds, WORK // (12 * tight.cells + A_SOLVE * len(job.take) ** 2) + 1))
    seen, solved = set(columns), None
    t = float((loose.most(steady) / job.cost).max())
    if float(job.demand @ steady) / t > proven:
        proven = float(job.demand @ steady) / t
    steady = steady / t
    for _ in range(rounds):
        again = _cover(job, columns)
        if again is None:
            break
        solved = again
        fresh: list[Pattern] = []
        # Half way back to the worths that proved most so far: those of an unfinished programme swing.
        for y in ((steady + solved.worth) / 2, solved.worth):
            t = float((loose.most(y) / job.cost).max())
            if t > 0 and (found := float(job.demand @ y) / t) > proven:
                proven, steady = found, y / t
            fresh = [c for c in dict.fromkeys([*loose.best(y), *tight.patterns(y, deal)])
                     if c not in seen and solved.worth[list(c[1])].sum() > job.cost[c[0]] * (1 + 1e-9)]
            if fresh:
                break
        if not fresh or solved.value - proven <= CLOSE * solved.value:
            break
        columns = columns + fresh
        seen.update(fresh)
    return solved, proven, steady


class _Grid:
    """Knapsack tables of a job on the grid, every stick length read from one table.

    Rounded down, every set of pieces that fits a stick fits it here too; rounded up, every set found can be cut.
    """

    def __init__(self, job: Job, rounding: Callable[[Floats], Floats], steps: int = STEPS) -> None:
        eps = -DUST if rounding is np.floor else DUST
        most = job.capacity[-1] / job.take[-1] + 2  # pieces in a stick: each may have been forgiven its dust
        room = job.capacity + SLACK + most * DUST if rounding is np.floor else job.capacity + DUST
        self.room = np.floor(room * steps).astype(int)
        self.job, self.items = job, []
        for i, take in enumerate(rounding((job.take - eps) * steps).astype(int).tolist()):
            many, left = 1, min(int(job.demand[i]), int(self.room[-1] // max(take, 1)))
            while left > 0:  # 1, 2, 4, … and the remainder make every count up to the demand
                many = min(many, left)
                self.items.append((i, many, take * many))
                left -= many
                many *= 2
        self.cells = len(self.items) * int(self.room[-1] + 1)

    def most(self, y: Floats) -> Floats:
        """The greatest worth that fits each stick, shape (k,), for the pieces' worths y, shape (n,)."""
        table = np.zeros(self.room[-1] + 1)
        for i, many, take in self.items:
            if y[i] > 0 and take < len(table):
                table[take:] = np.maximum(table[take:], table[: len(table) - take] + many * y[i])
        return np.asarray(table[self.room])

    def patterns(self, y: Floats, deal: np.random.Generator) -> list[Pattern]:
        """Sets of pieces of greatest worth for each stick: out of all, out of what those leave, out of random hands.

        The hands together fill no more table than all pieces do, and spare the programme many rounds.
        """
        worth = [item for item in self.items if y[item[0]] > 1e-12]
        found: dict[Pattern, None] = {}
        rest = worth
        for _ in range(APART):
            best = self._best(rest, y)
            good = [c for c in best if y[list(c[1])].sum() > self.job.cost[c[0]] * (1 - 1e-9)]
            found.update(dict.fromkeys(good))
            gone = {i for c in good for i in c[1]}
            rest = [item for item in rest if item[0] not in gone]
            if not good or not rest:
                break
        for hand in np.array_split(deal.permutation(len(worth)), max(1, len(worth) // HAND)):
            found.update(dict.fromkeys(self._best([worth[n] for n in sorted(hand.tolist())], y)))
        return list(found)

    def best(self, y: Floats) -> list[Pattern]:
        """A set of pieces of greatest worth for each stick, as far as it can be cut."""
        return self._best([item for item in self.items if y[item[0]] > 1e-12], y)

    def _best(self, items: Sequence[tuple[int, int, int]], y: Floats) -> list[Pattern]:
        table = np.zeros(self.room[-1] + 1)
        items = [item for item in items if item[2] < len(table)]
        better = np.zeros((len(items), len(table)), dtype=bool)
        for n, (i, many, take) in enumerate(items):
            with_it = table[: len(table) - take] + many * y[i]
            np.greater(with_it, table[take:] + 1e-12, out=better[n, take:])
            np.maximum(table[take:], with_it, out=table[take:])
        found = []
        for room in self.room.tolist():
            held: list[int] = []
            for n in range(len(items) - 1, -1, -1):
                if better[n, room]:
                    i, many, take = items[n]
                    held += [i] * many
                    room -= take
            if held and sum(self.job.single[i] for i in held) <= self.job.room[-1] + SLACK:
                held.sort()
                found.append((self.job.cheapest(held), tuple(held)))
        return found


def _matrix(job: Job, columns: Sequence[Pattern]) -> Any:
    """How many of each piece each pattern holds, then a slot of each length used for the next shorter one."""
    n = len(job.take)
    ends = np.cumsum([0, *(len(held) for _, held in columns)])
    rows = np.concatenate([held for _, held in columns])
    matrix = csc_array((np.ones(len(rows)), rows, ends), shape=(n, len(columns)))
    matrix.sum_duplicates()
    longer = np.arange(n - 1)
    passed = csc_array((np.repeat([-1.0, 1.0], n - 1), (np.r_[longer, longer + 1], np.r_[longer, longer])),
                       shape=(n, n - 1))
    return hstack([matrix, passed], format="csc")


def _costs(job: Job, columns: Sequence[Pattern]) -> Floats:
    return np.concatenate([job.cost[[k for k, _ in columns]], np.zeros(len(job.take) - 1)])


def _cover(job: Job, columns: list[Pattern]) -> Solved | None:
    """Patterns of least cost, in parts, that cut at least the demand; None where that takes too many steps."""
    solved = linprog(_costs(job, columns), A_ub=-_matrix(job, columns), b_ub=-job.demand.astype(float),
                     method="highs-ds", options={"maxiter": PIVOTS})
    if not solved.success:
        return None
    return Solved(columns, solved.x[: len(columns)], np.maximum(-solved.ineqlin.marginals, 0.0), float(solved.fun))


def _deal_whole(job: Job, columns: Sequence[Pattern], worth: Floats, best: list[Pattern], coins: Sequence[Decimal],
                ) -> list[Pattern]:
    """A few pieces dealt by the tree of programmes, or `best` where it finds nothing cheaper.

    A plan cheaper by a step than `best` can only hold patterns that lose less than the two lie apart, against worths
    that prove a bound. Where those are few enough to be listed, nothing that could be cheaper is left out.
    """
    spare = job.total(best) - _step(coins) - float(job.demand @ worth)
    if spare < -SLACK:
        return best
    listed = _patterns_within(job, worth, spare)
    if listed is None:
        loss = [job.cost[k] - worth[list(held)].sum() for k, held in columns]
        listed = [columns[j] for j in np.argsort(loss, kind="stable")[:LISTED] if loss[j] <= spare + SLACK]
    if not listed:
        return best
    return _search(job, listed, best, coins)


def _search(job: Job, listed: Sequence[Pattern], best: list[Pattern], coins: Sequence[Decimal]) -> list[Pattern]:
    """The cheapest plan met in a tree of programmes over the patterns listed, or `best`.

    Depth first, each time the pattern first that is nearest to one more being bought. At every node what is bought
    in whole is dealt, and best fit packs the rest. HiGHS has an integer programme of its own, but that one writes to
    the process's standard output when it mends a plan, whatever it is told, and has no limit on work at its root.
    """
    cost, matrix, n = _costs(job, listed), -_matrix(job, listed), len(listed)
    waiting = [(np.zeros(len(cost)), np.full(len(cost), np.inf))]  # least and most of each pattern
    for _ in range(NODES):
        if not waiting:
            break
        least, most = waiting.pop()
        solved = linprog(cost, A_ub=matrix, b_ub=-job.demand.astype(float), bounds=np.c_[least, most],
                         method="highs-ds", options={"maxiter": PIVOTS})
        bought = job.total(best)
        if not solved.success or round_up(float(solved.fun), coins, bought) > bought - SLACK:
            continue
        x = solved.x[:n]
        whole = np.floor(x + WHOLE)
        dealt = _dealt(job, [listed[j] for j in np.flatnonzero(whole).tolist() for _ in range(int(whole[j]))])
        if job.total(dealt) < bought - SLACK:
            best = dealt
        nearest = int(np.argmax(x - whole))
        if x[nearest] - whole[nearest] > WHOLE:
            fewer, more = most.copy(), least.copy()
            fewer[nearest], more[nearest] = whole[nearest], whole[nearest] + 1
            waiting += [(least, fewer), (more, most)]
    return best


def _patterns_within(job: Job, worth: Floats, spare: float) -> list[Pattern] | None:
    """All sets of pieces whose stick costs no more than `spare` above their worth; None where they are too many."""
    grid = _Grid(job, np.floor)
    n = len(job.take)
    take = np.floor((job.take + DUST) * STEPS).astype(int).tolist()
    most = np.zeros((n + 1, grid.room[-1] + 1))  # the greatest worth of pieces from i on, by room
    for i in range(n - 1, -1, -1):
        row = most[i + 1].copy()
        for count in range(1, min(int(job.demand[i]), len(row) // max(take[i], 1)) + 1):
            if count * take[i] < len(row):
                with_it = most[i + 1, : len(row) - count * take[i]] + count * worth[i]
                row[count * take[i]:] = np.maximum(row[count * take[i]:], with_it)
        most[i] = row
    held, used, value = np.zeros((1, 0), dtype=np.int64), np.zeros(1, dtype=int), np.zeros(1)
    for i in range(n):  # every set that is kept can be completed to one that costs no more: few are kept in vain
        counts = np.arange(min(int(job.demand[i]), int(grid.room[-1]) // max(take[i], 1)) + 1)
        held = np.column_stack([np.repeat(held, len(counts), axis=0), np.tile(counts, len(held))])
        used = (used[:, None] + counts * take[i]).ravel()
        value = (value[:, None] + counts * worth[i]).ravel()
        left = grid.room - used[:, None]
        above = np.where(left < 0, np.inf, job.cost - most[i + 1, np.maximum(left, 0)]).min(axis=1) - value
        kept = above <= spare + SLACK
        held, used, value = held[kept], used[kept], value[kept]
        if len(held) > KEPT:
            return None
    held = held[held.any(axis=1) & (held @ job.take <= job.room[-1] + SLACK)]
    if len(held) > LISTED:
        return None
    sets = [tuple(np.repeat(np.arange(n), row).tolist()) for row in held[::-1]]
    return [(job.cheapest(pieces), pieces) for pieces in sets]


def _dealt(job: Job, slots: Sequence[Pattern]) -> list[Pattern]:
    """The pieces dealt to the slots of patterns, each slot, the longest first, the longest piece left that it holds.

    Best fit packs what is left over; each stick is exchanged for the cheapest that holds its cuts.
    """
    left = job.demand.tolist()
    held: list[list[int]] = [[] for _ in slots]
    i = 0
    for slot, stick in sorted((i, n) for n, (_, pattern) in enumerate(slots) for i in pattern):
        i = max(i, slot)
        while i < len(left) and not left[i]:
            i += 1
        if i == len(left):
            break
        left[i] -= 1
        held[stick].append(i)
    dealt = [(job.cheapest(h), tuple(h)) for h in held if h]
    if not any(left):
        return dealt
    names = np.flatnonzero(left)
    rest = Job(job.take[names], np.array(left, dtype=np.int64)[names], job.capacity, job.cost)
    return dealt + [(k, tuple(names[list(h)].tolist())) for k, h in best_of_rules(rest)]


def _dive(job: Job, solved: Solved, worth: Floats, bound: float, coins: Sequence[Decimal],
          deal: np.random.Generator) -> list[Pattern]:
    """Buy what the programme wants by half a stick or more, solve the rest again, and so on to the last pieces.

    It ends where best fit brings the rest down to the bound; of many patterns those that lose least go on.
    """
    fixed: list[Pattern] = []
    names = np.arange(len(job.take))  # the pieces of `rest`, as `job` numbers them
    rest = job
    while True:
        if int(rest.demand.sum()) <= LAST:
            last = _deal_whole(rest, solved.columns, worth, best_of_rules(rest), coins)
            return fixed + [(k, tuple(names[list(held)].tolist())) for k, held in last]
        left = rest.demand.tolist()
        bought = 0
        order = np.argsort(-np.round(solved.x, 6), kind="stable")
        for j in order.tolist():
            wanted = int(solved.x[j] + 0.5)
            if not wanted and bought:
                break
            for _ in range(max(wanted, 1)):
                held = _fill(solved.columns[j][1], left)
                if held is None or (bought and solved.worth[list(held)].sum()
                                    < solved.worth[list(solved.columns[j][1])].sum() - 0.005 * job.cost[0]):
                    break
                for i in held:
                    left[i] -= 1
                bought += 1
                fixed.append((job.cheapest(named := names[list(held)].tolist()), tuple(named)))
        alive = np.flatnonzero(left)
        if not len(alive):
            return fixed
        names = names[alive]
        small = Job(rest.take[alive], np.array(left, dtype=np.int64)[alive], job.capacity, job.cost)
        packed = best_of_rules(small)
        if not bought or job.total(fixed) + job.total(packed) <= bound + SLACK:
            return fixed + [(k, tuple(names[list(held)].tolist())) for k, held in packed]
        loss = np.array([job.cost[k] - solved.worth[list(held)].sum() for k, held in solved.columns])
        kept = [solved.columns[j] for j in np.argsort(loss, kind="stable")[:LISTED]]
        shrunk = _shrunk(kept, alive, len(rest.take))
        rest = small
        columns = _first_columns(rest, [(rest.cheapest(held), held) for held in shrunk])
        again, _, worth = _generate(rest, columns, deal, 0.0, solved.worth[alive] + DUST, most_rounds=3)
        if again is None:
            return fixed + [(k, tuple(names[list(held)].tolist())) for k, held in packed]
        solved = again


def _fill(slots: Sequence[int], left: list[int]) -> tuple[int, ...] | None:
    """For each slot the longest piece left that it holds; None where a slot stays empty."""
    used: dict[int, int] = {}
    held = []
    for i in slots:
        while i < len(left) and left[i] - used.get(i, 0) <= 0:
            i += 1
        if i == len(left):
            return None
        used[i] = used.get(i, 0) + 1
        held.append(i)
    return tuple(sorted(held))


def _shrunk(columns: Sequence[Pattern], alive: NDArray[np.intp], count: int) -> list[tuple[int, ...]]:
    """What patterns can still hold: each slot the longest length left that is no longer."""
    at = np.searchsorted(alive, np.arange(count)).tolist()
    shrunk = (tuple(at[i] for i in held if at[i] < len(alive)) for _, held in columns)
    return [held for held in dict.fromkeys(shrunk) if held]


def _mend(job: Job, best: list[Pattern], worth: Floats, bound: float, coins: Sequence[Decimal],
          deal: np.random.Generator) -> list[Pattern]:
    """The sticks that lose most against the worth of what they hold, dealt anew with a few others."""
    in_vain = 0
    for _ in range(TRIES):
        if in_vain == IN_VAIN or job.total(best) - bound <= max(SLACK, ENOUGH * bound):
            break
        in_vain += 1
        loss = np.array([job.cost[k] - worth[list(held)].sum() for k, held in best])
        order = np.argsort(-loss * (0.5 + deal.random(len(best))), kind="stable").tolist()
        pieces = np.cumsum([len(best[n][1]) for n in order])
        chosen = order[: max(2, int(np.searchsorted(pieces, ANEW)))]
        names, demand = np.unique([i for n in chosen for i in best[n][1]], return_counts=True)
        part = Job(job.take[names], demand.astype(np.int64), job.capacity, job.cost)
        at = {int(name): i for i, name in enumerate(names)}
        old = [(best[n][0], tuple(at[i] for i in best[n][1])) for n in chosen]
        solved, _, tuned = _generate(part, _first_columns(part, old), deal, 0.0, worth[names] + DUST, ROUNDS // 2)
        new = _deal_whole(part, solved.columns, tuned, old, coins) if solved else old
        if new is not old:
            gone, in_vain = set(chosen), 0
            best = [stick for n, stick in enumerate(best) if n not in gone]
            best += [(k, tuple(names[list(held)].tolist())) for k, held in new]
    return best


def _step(coins: Sequence[Decimal]) -> float:
    """What two sums of stick costs differ by at least; next to nothing where the costs have no common step."""
    units, scale = _units(coins)
    return math.gcd(*units) / scale if units else 2 * SLACK


def _units(coins: Sequence[Decimal]) -> tuple[list[int], int]:
    """The costs in whole parts of 1/scale; none where they have no common part that a list of sums can be made of."""
    exact = [Fraction(c).limit_denominator(100_000) for c in coins]  # 0.1 mm in inches is 1/254
    if any(abs(e - Fraction(c)) > Fraction(1, 10**9) for e, c in zip(exact, coins, strict=True)):
        return [], 1
    scale = math.lcm(*(e.denominator for e in exact))
    return [int(e * scale) for e in exact], scale


def round_up(bound: float, coins: Sequence[Decimal], most: float) -> float:
    """The least sum of stick costs that is not below `bound`, nor above `most`, which is such a sum itself.

    Where the costs have no common step that a list of sums can be made of, the next multiple of the step, or `bound`.
    """
    units, scale = _units(coins)
    if not units:
        return min(bound, most)
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


