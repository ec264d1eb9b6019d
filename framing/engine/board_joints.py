"""Butt joints of one run of boards: over joists only, clear of the row before's, in few pieces.

A part of the boards stage, in the frame of the run: boards along x.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SHORTEST_PIECE = 12.0  # no joint nearer the end of a run, where sticks are long enough [in]; common practice
SHORT_PIECE = 32.0  # pieces under this, two joists or so, are put up with only where the rest asks for it [in]
JOINT_APART = 2  # joints of neighbouring rows are never within this many joists where another piece helps

# What weighs in the choice, as inches of wood bought: a judgement. One more piece is taken before two joints of
# neighbouring rows come within two joists, and never only to save wood.
_PIECE = 1000.0
_NEAR = 5000.0  # for each joist that a joint is too near
_SHORT = 300.0
_LEAN = 200.0  # every other row leans the other way, so that neighbours leave one another room


def find_joints(a: float, b: float, seats: Array, *, longest: float, before: Sequence[float] = (),
                sticks: Sequence[float] = (), lean: int = 1) -> tuple[float, ...]:
    """Joints of the run from a to b [in], none where `longest` reaches, else each over one of `seats` (n,), ascending.

    `before` are the joints of the row before, `sticks` what can be had of wood, ascending [in]; `lean` 1 or -1 says
    towards which end joints go where it is all one. A bay between seats that no stick spans is left in one piece: the
    cutting plan then says that it is too long.
    """
    if b - a <= longest + 1e-6:
        return ()
    short = min(SHORTEST_PIECE, longest / 2)
    inside = seats[(seats > a + short) & (seats < b - short)]
    places = np.r_[a, inside, b]
    at = np.zeros(len(places))
    if len(inside) and len(before):
        number = _numbers(seats)
        apart = np.abs(np.interp(inside, seats, number)[:, None] - np.interp(before, seats, number)).min(axis=1)
        at[1:-1] = _NEAR * np.clip(np.ceil(JOINT_APART + 0.75 - apart), 0, JOINT_APART + 1)
    at[1:-1] += _LEAN * lean * (inside - a) / (b - a)
    to_be_had = np.array(sticks if len(sticks) else [longest])
    cost, came = np.full(len(places), np.inf), np.zeros(len(places), int)
    cost[0] = 0.0
    for j in range(1, len(places)):
        run = places[j] - places[:j]
        bought = to_be_had[np.minimum(np.searchsorted(to_be_had, run - 1e-6), len(to_be_had) - 1)]
        step = np.where(run <= longest + 1e-6, _PIECE + bought + _SHORT * (run < min(SHORT_PIECE, longest / 2)),
                        1e6 * run)
        total = cost[:j] + step + at[j]
        came[j] = int(np.argmin(total))
        cost[j] = total[came[j]]
    joints: list[float] = []
    j = int(came[-1])
    while j > 0:
        joints.insert(0, float(places[j]))
        j = int(came[j])
    return tuple(joints)


def _numbers(seats: Array) -> Array:
    """The seats counted, one closer to the last than joists usually stand for the part of a bay that it is."""
    bays = np.diff(seats)
    usual = max(float(np.median(bays)), 1.0) if len(bays) else 1.0
    return np.asarray(np.r_[0.0, np.cumsum(np.minimum(bays / usual, 1.0))][: len(seats)])


def nearest_rows(one: Sequence[float], other: Sequence[float], seats: Array) -> float:
    """How many joists the nearest joints of two neighbouring rows are apart; infinite where one has none."""
    if not (len(one) and len(other) and len(seats) > 1):
        return float("inf")
    number = _numbers(seats)
    a, b = np.interp(one, seats, number), np.interp(other, seats, number)
    return float(np.abs(a[:, None] - b).min())
