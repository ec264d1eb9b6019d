"""Distances, areas and hulls in the plane by plain arithmetic, for the reader of notes."""

from __future__ import annotations

import math
from collections.abc import Sequence

Place = Sequence[float]


def to_segment(p: Place, a: Place, b: Place) -> float:
    run = [b[0] - a[0], b[1] - a[1]]
    long = run[0] ** 2 + run[1] ** 2
    t = 0.0 if long == 0 else min(1.0, max(0.0, ((p[0] - a[0]) * run[0] + (p[1] - a[1]) * run[1]) / long))
    return math.hypot(p[0] - a[0] - t * run[0], p[1] - a[1] - t * run[1])


def sides(ring: Sequence[Place]) -> list[tuple[Place, Place]]:
    return [(ring[i], ring[(i + 1) % len(ring)]) for i in range(len(ring))]


def inside(p: Place, ring: Sequence[Place]) -> bool:
    odd = False
    for a, b in sides(ring):
        if (a[1] > p[1]) != (b[1] > p[1]) and p[0] < a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]):
            odd = not odd
    return odd


def to_ring(p: Place, ring: Sequence[Place]) -> float:
    return 0.0 if inside(p, ring) else min(to_segment(p, a, b) for a, b in sides(ring))


def side_to_ring(a: Place, b: Place, ring: Sequence[Place]) -> float:
    """From a side of the roof to the deck, which never crosses it."""
    return min([to_ring(a, ring), to_ring(b, ring), *(to_segment(p, a, b) for p in ring)])


def area(ring: Sequence[Place]) -> float:
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in sides(ring))) / 2


def hull(places: Sequence[Place]) -> list[Place]:
    places = sorted({(float(x), float(y)) for x, y in places})

    def half(row: Sequence[Place]) -> list[Place]:
        kept: list[Place] = []
        for p in row:
            while len(kept) > 1 and ((kept[-1][0] - kept[-2][0]) * (p[1] - kept[-2][1])
                                     - (kept[-1][1] - kept[-2][1]) * (p[0] - kept[-2][0])) <= 0:
                kept.pop()
            kept.append(p)
        return kept[:-1]

    return half(places) + half(places[::-1]) if len(places) > 2 else list(places)
