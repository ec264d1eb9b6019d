"""A page with a plan on it: survey coordinates to places on the page, and the geometry that plans share.

A part of the drawings.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Point, Polygon

from framing.engine.svg import Place, Words

Array = NDArray[np.float64]


@dataclass
class Page:
    """A page being drawn: survey coordinates to places on it, line work below and words above."""

    left: float
    top: float
    size: float  # text height, the least on the page [in of the roof]
    words: Words
    lines: list[str] = field(default_factory=list)

    def at(self, p: Iterable[float]) -> Place:
        x, y = p
        return float(x) - self.left, self.top - float(y)

    def all(self, points: Iterable[Iterable[float]]) -> list[Place]:
        return [self.at(p) for p in points]


def coords(polygon: Polygon) -> Array:
    return np.array(polygon.exterior.coords)[:-1]


def outward(xy: Array) -> Array:
    """Unit normals (n, 2) out of a ring's sides, whichever way round it is given."""
    run = np.roll(xy, -1, axis=0) - xy
    normal = np.stack([run[:, 1], -run[:, 0]], axis=1) / np.maximum(np.hypot(*run.T), 1e-9)[:, None]
    turn = float((xy[:, 0] * np.roll(xy[:, 1], -1) - np.roll(xy[:, 0], -1) * xy[:, 1]).sum())
    return np.asarray(normal if turn > 0 else -normal)


def nearest_side(xy: Array, p: Array) -> int:
    sides = shapely.linestrings(np.stack([xy, np.roll(xy, -1, axis=0)], axis=1))
    return int(np.argmin(shapely.distance(sides, Point(p))))


def box_along(start: Array, end: Array, wide: float) -> Array:
    """The outline (4, 2) of a stick of some thickness along a line."""
    u = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
    n = np.array([-u[1], u[0]]) * wide / 2
    return np.array([start - n, end - n, end + n, start + n])


def lowered(page: Page, p: Array, turn: float, size: float = 1.0) -> Place:
    """The foot of words whose middle is to stand at a place."""
    x, y = page.at(p)
    a = math.radians(turn)
    down = 0.32 * page.size * size
    return x - down * math.sin(a), y + down * math.cos(a)
