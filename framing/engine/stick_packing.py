"""Best-fit decreasing: sticks filled piece by piece, under several rules for the stick to open.

Stage: part of cutting. Cuts fit a stick when `sum(lengths) + kerf between cuts + trim once <= stick length`; with
`capacity = stick - trim + kerf` and `take = length + kerf` that is a plain knapsack, `sum(takes) <= capacity`.
"""

from __future__ import annotations

import math
from bisect import bisect_left, insort
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Pattern = tuple[int, tuple[int, ...]]  # index of the stick length, indices of the piece lengths cut from it

SLACK = 1e-6  # [in] far below what a saw can do, far above what adding floats loses


@dataclass(frozen=True)
class Job:
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


Rule = Callable[[int, Sequence[int]], int]  # (longest piece waiting, all pieces waiting) -> stick to open


def opening_rules(job: Job) -> list[Rule]:
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


def _filled(job: Job, room: float, waiting: Sequence[int]) -> float:
    """Inches that the longest pieces waiting fill of `room`, each taken as it fits. `waiting` is longest first."""
    used, at = 0.0, 0
    while (at := bisect_left(waiting, used - room - SLACK, lo=at, key=lambda i: -job.single[i])) < len(waiting):
        used += job.single[waiting[at]]
        at += 1
    return used


def best_of_rules(job: Job) -> list[Pattern]:
    return min((best_fit(job, rule) for rule in opening_rules(job)), key=job.total)


def best_fit(job: Job, opens: Rule) -> list[Pattern]:
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


