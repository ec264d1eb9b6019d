"""Seeded cutting lists, and solvers that share nothing with the engine's: best fit, CP-SAT and arc flow.

A list is cut with a kerf of 1/8 in and a trim of 1/4 in from sticks of 8 to 16 ft.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from decimal import Decimal

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from framing.engine.cutting import CutPlan, Piece, Stock

YARD = (96.0, 120.0, 144.0, 168.0, 192.0)  # [in]
KERF, TRIM = 0.125, 0.25  # [in]
DEARER = {length: Decimal(f"{length / 12 * (1 + 0.1 * n):.2f}") for n, length in enumerate(YARD)}
UNIT = 16  # lists are in whole sixteenths of an inch: kerf, trim and stick lengths too


def stock(prices: dict[float, Decimal] | None = None, lengths: Sequence[float] = YARD) -> Stock:
    return Stock("lumber/2x8", "2x8", tuple(lengths), prices)


def pieces_of(lengths: Sequence[float]) -> list[Piece]:
    return [Piece(f"J{n}", "member", 1, float(v)) for n, v in enumerate(lengths, 1)]


def random_lengths(count: int, longest: float, seed: int) -> list[float]:
    """`count` pieces from 12 in to what a stick of `longest` gives, each a whole sixteenth."""
    deal = np.random.default_rng([count, int(longest), seed])
    return (deal.integers(12 * UNIT, int((longest - TRIM) * UNIT), count, endpoint=True) / UNIT).tolist()


def costs(stock: Stock) -> dict[float, float]:
    return {length: float(stock.cost(length)) for length in stock.lengths}


def best_fit_decreasing(lengths: Sequence[float], cost: dict[float, float]) -> float:
    """What the best of its openings buys: a new stick of each length in turn, or of the one cheapest an inch.

    Each stick is exchanged for the cheapest one that holds its cuts, once all are cut.
    """
    def bought(opening: float) -> float:
        used: list[float] = []  # length, kerfs and trim taken of each stick
        room: list[float] = []
        for piece in sorted(lengths, reverse=True):
            fits = [(room[n] - used[n], n) for n in range(len(used)) if used[n] + KERF + piece <= room[n] + 1e-6]
            if fits:
                used[min(fits)[1]] += KERF + piece
            else:
                used.append(piece + TRIM)
                room.append(max(opening, min(k for k in cost if piece + TRIM <= k + 1e-6)))
        return math.fsum(min(c for k, c in cost.items() if u <= k + 1e-6) for u in used)

    return min(bought(k) for k in (*cost, min(cost, key=lambda k: (cost[k] / k, -k))))


def _grid(lengths: Sequence[float], cost: dict[float, float]) -> tuple[Counter[int], dict[int, int]]:
    """What pieces take and sticks give in sixteenths, kerf with each piece; costs in cents."""
    takes = Counter(round((v + KERF) * UNIT) for v in lengths)
    return takes, {round((k - TRIM + KERF) * UNIT): round(100 * c) for k, c in cost.items()}


def by_cp_sat(lengths: Sequence[float], cost: dict[float, float], seconds: float, workers: int = 2,
              ) -> tuple[float, float]:
    """(least cost found, bound) by OR-tools' CP-SAT: a stick for each piece at most, in falling order of cost."""
    from ortools.sat.python import cp_model

    takes, rooms = _grid(lengths, cost)
    model = cp_model.CpModel()
    sizes = sorted(takes, reverse=True)
    kinds, total = sorted(rooms), sum(t * n for t, n in takes.items())
    sticks = math.floor(best_fit_decreasing(lengths, cost) / min(cost.values()) + 1e-6)  # more would cost more
    paid, spent = [], []
    cut: dict[int, list[cp_model.IntVar]] = {t: [] for t in sizes}
    for _ in range(sticks):
        open_as = [model.new_bool_var("") for _ in kinds]
        model.add_at_most_one(open_as)
        held = []
        for t in sizes:
            n = model.new_int_var(0, min(takes[t], max(rooms) // t), "")
            cut[t].append(n)
            held.append(t * n)
        model.add(sum(held) <= sum(r * b for r, b in zip(kinds, open_as, strict=True)))
        pay = model.new_int_var(0, max(rooms.values()), "")
        model.add(pay == sum(rooms[r] * b for r, b in zip(kinds, open_as, strict=True)))
        if paid:
            model.add(pay <= paid[-1])
        paid.append(pay)
        spent.append(sum(r * b for r, b in zip(kinds, open_as, strict=True)))
    for t in sizes:
        model.add(sum(cut[t]) == takes[t])
    model.add(sum(spent) >= total)
    model.minimize(sum(paid))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = 1
    status = solver.solve(model)
    found = solver.objective_value / 100 if status in (cp_model.OPTIMAL, cp_model.FEASIBLE) else math.inf
    return found, solver.best_objective_bound / 100


def by_arc_flow(lengths: Sequence[float], cost: dict[float, float]) -> float:
    """The least possible cost, proven by HiGHS: sticks as paths of pieces from 0 to what the stick gives.

    J. M. Valerio de Carvalho, Exact solution of bin-packing problems using column generation and branch-and-bound,
    Annals of Operations Research 86 (1999), pp. 629-659: arcs are pieces in falling order, and what is left over.
    """
    takes, rooms = _grid(lengths, cost)
    longest = max(rooms)
    reached, arcs = {0}, set()
    for t in sorted(takes, reverse=True):
        for _ in range(min(takes[t], longest // t)):  # each turn lays one piece more after what lies already
            new = {(a, a + t, t) for a in reached if a + t <= longest} - arcs
            arcs |= new
            reached |= {b for _, b, _ in new}
            if not new:
                break
    nodes = sorted(reached | set(rooms))
    at = {v: n for n, v in enumerate(nodes)}
    flow = [*sorted(arcs), *((a, b, 0) for a, b in zip(nodes, nodes[1:], strict=False))]
    kinds, sizes = sorted(rooms), sorted(takes)
    rows, columns, values = [], [], []
    for n, (a, b, t) in enumerate(flow):
        rows += [at[a], at[b]]
        columns += [n, n]
        values += [-1.0, 1.0]
        if t:
            rows.append(len(nodes) + sizes.index(t))
            columns.append(n)
            values.append(1.0)
    for n, r in enumerate(kinds, len(flow)):  # a stick bought: a path that begins at 0 and ends at its room
        rows += [0, at[r]]
        columns += [n, n]
        values += [1.0, -1.0]
    matrix = coo_array((values, (rows, columns)), shape=(len(nodes) + len(sizes), len(flow) + len(kinds))).tocsc()
    need = np.array([*np.zeros(len(nodes)), *(float(takes[t]) for t in sizes)])
    most = np.array([*np.zeros(len(nodes)), *np.full(len(sizes), np.inf)])
    price = np.array([*np.zeros(len(flow)), *(rooms[r] / 100 for r in kinds)])
    solved = milp(price, constraints=LinearConstraint(matrix, need, most), integrality=np.ones(len(price)),
                  bounds=Bounds(0, np.inf), options={"mip_rel_gap": 0.0, "time_limit": 120.0})
    return round(float(solved.fun), 2) if solved.status == 0 else math.nan


def kept_sticks(before: CutPlan, after: CutPlan) -> float:
    """Share of the sticks of `before` that `after` has too: the same stick with cuts of the same lengths."""
    def sticks(plan: CutPlan) -> Counter[tuple[float, ...]]:
        return Counter((s.length, *sorted(round(c.length, 6) for c in s.cuts)) for s in plan.sticks)

    return (sticks(before) & sticks(after)).total() / max(len(before.sticks), 1)
