"""Outlines of random decks: three to ten corners, half of them with a corner that turns inward.

Corners run counter-clockwise, A at the origin, the first side along x: the house stands under it. All in inches.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

Floats = NDArray[np.float64]
Rng = np.random.Generator

LEAST_SIDE = 24.0  # [in]
LEAST_ANGLE, WIDEST_ANGLE = 25.0, 335.0  # of a corner, inside [degrees]
LEAST_ACROSS = 20.0  # the roof is nowhere narrower than this between sides that do not meet [in]
CONVEX = ("triangle", "quad", "quad", "pentagon", "hexagon", "bent")
CONCAVE = ("L", "L", "U", "T", "Z", "notch", "chamfered L", "random", "random", "two notches")


def outline(rng: Rng, concave: bool) -> tuple[str, Floats]:
    """(kind of shape, corners (n, 2) [in]) of a simple polygon without slivers."""
    kind = str(rng.choice(CONCAVE if concave else CONVEX))
    while True:
        wide, deep = float(rng.uniform(130, 380)), float(rng.uniform(100, 280))
        corners = _on_the_house(_corners(rng, kind, wide, deep))
        if is_sound(corners) and (_turns_in(corners) == concave):
            return kind, corners


def is_sound(corners: Floats) -> bool:
    """A simple ring of sides of 2 ft or more, no corner too sharp, no waist."""
    ring = Polygon(corners)
    if not ring.is_valid or len(corners) < 3 or ring.area < 40 * 144:
        return False
    ahead = np.roll(corners, -1, axis=0) - corners
    behind = np.roll(corners, 1, axis=0) - corners
    if np.hypot(*ahead.T).min() < LEAST_SIDE:
        return False
    inner = np.degrees(np.arctan2(behind[:, 1], behind[:, 0]) - np.arctan2(ahead[:, 1], ahead[:, 0])) % 360
    if inner.min() < LEAST_ANGLE or inner.max() > WIDEST_ANGLE or np.abs(inner - 180).min() < 8:
        return False
    thin = ring.buffer(-LEAST_ACROSS / 2)
    return bool(thin.geom_type == "Polygon" and thin.area > 0)


def _turns_in(corners: Floats) -> bool:
    ring = Polygon(corners)
    return bool(ring.convex_hull.area - ring.area > 1.0)


def _on_the_house(corners: Floats) -> Floats:
    """Turned so that the first side runs from the origin along x."""
    run = corners[1] - corners[0]
    c, s = run / np.hypot(*run)
    turned = (corners - corners[0]) @ np.array([[c, -s], [s, c]])
    turned[0], turned[1, 1] = 0.0, 0.0
    return np.asarray(turned)


def _corners(rng: Rng, kind: str, w: float, d: float) -> Floats:
    """Corners of a kind of shape about `w` wide and `d` deep, most of them a little out of square."""
    u = rng.uniform
    if kind == "random":
        return _star(rng, int(rng.integers(5, 11)), w, d)
    a, b = u(0.3, 0.65), u(0.35, 0.65)
    cut = u(0.25, 0.45)
    shapes: dict[str, list[tuple[float, float]]] = {
        "triangle": [(0, 0), (w, 0), (w * u(0.1, 0.9), d)],
        "quad": [(0, 0), (w, 0), (w, d), (0, d)],
        "pentagon": [(0, 0), (w, 0), (w, d * u(0.5, 0.8)), (w * u(0.35, 0.65), d * 1.2), (0, d * u(0.5, 0.8))],
        "hexagon": [(0, 0), (w * 0.7, 0), (w, d * 0.4), (w * 0.8, d), (w * 0.2, d * 1.1), (-w * 0.2, d * 0.5)],
        "bent": [(0, 0), (w, 0), (w * 1.1, d * 0.5), (w, d), (w * 0.4, d * 1.15), (-10, d), (-30, d * 0.4)],
        "L": [(0, 0), (w, 0), (w, d * b), (w * a, d * b), (w * a, d), (0, d)],
        "U": [(0, 0), (w, 0), (w, d), (w * (1 - 0.3), d), (w * (1 - 0.3), d * b), (w * 0.3, d * b), (w * 0.3, d),
              (0, d)],
        "T": [(0, 0), (w * (1 - cut), 0), (w * (1 - cut), d * b), (w * 1.25, d * b), (w * 1.25, d), (-w * 0.4, d),
              (-w * 0.4, d * b), (0, d * b)],
        "Z": [(0, 0), (w, 0), (w, d * b), (w * 1.5, d * b), (w * 1.5, d * 1.2), (w * a, d * 1.2), (w * a, d * 0.8),
              (0, d * 0.8)],
        "notch": [(0, 0), (w, 0), (w, d), (w * 0.65, d), (w * 0.65, d * 0.7), (w * 0.4, d * 0.7), (w * 0.4, d),
                  (0, d)],
        "chamfered L": [(0, 0), (w, 0), (w, d * b), (w * a + 30, d * b), (w * a, d * b + 30), (w * a, d), (0, d)],
        "two notches": [(0, 0), (w, 0), (w, d * 0.3), (w * 0.75, d * 0.3), (w * 0.75, d * 0.65), (w, d * 0.65),
                        (w, d), (w * 0.3, d), (w * 0.3, d * 0.6), (0, d * 0.6)],
    }
    corners = np.array(shapes[kind], float)
    square = rng.random() < 0.3
    return np.asarray(corners + (0 if square else rng.uniform(-14, 14, corners.shape)))


def _star(rng: Rng, count: int, w: float, d: float) -> Floats:
    """Corners seen round from a middle, at distances of their own."""
    angle = 2 * np.pi * (np.arange(count) + rng.uniform(-0.32, 0.32, count)) / count - np.pi * 0.75
    away = rng.uniform(0.35, 1.0, count)
    return np.asarray(np.stack([w / 2 * away * np.cos(angle), d / 2 * away * np.sin(angle)], axis=1) * 1.3)
