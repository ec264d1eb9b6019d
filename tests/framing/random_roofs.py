"""Random roofs of one to four planes with the truth behind them, and the survey that a crew would bring home of each.

Everything follows from the seed. A roof is the lowest (ridges), the highest (valleys) or a mixture of its planes over
a crooked four-sided outline; its corners are taped, its readings located from the first side.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

Floats = NDArray[np.float64]
KINDS = ("plane", "ridge", "valley", "strips", "hips", "crossing valleys", "hip end")
PLANES = {"plane": 1, "ridge": 2, "valley": 2, "strips": 3, "hip end": 3, "hips": 4, "crossing valleys": 4}


@dataclass(frozen=True)
class TrueRoof:
    """What stands there: `combine` joins the planes (k, 3) of z = z0 + sx x + sy y [in], straight `folds` between."""

    seed: int
    kind: str
    corners: Floats  # (4, 2)
    planes: Floats
    combine: Callable[[Floats], Floats]  # (n, k) heights -> (n,)
    folds: tuple[tuple[str, LineString], ...]
    level_sigma: float
    tape_sigma: float

    def height(self, xy: Floats) -> Floats:
        return self.combine(self.planes[:, 0] + np.atleast_2d(xy) @ self.planes[:, 1:].T)

    @property
    def outline(self) -> Polygon:
        return Polygon(self.corners)

    @property
    def least_bend(self) -> float:
        """Least change of slope across a fold, in/ft; infinite on one plane."""
        pairs = [(a, b) for a, b in itertools.combinations(self.planes[:, 1:], 2)] if len(self.planes) == 2 else []
        return min((12 * float(np.hypot(*(a - b))) for a, b in pairs), default=np.inf)

    def places(self, count: int, rng: np.random.Generator) -> Floats:
        """Random places on the roof, shape (count, 2) [in]."""
        x0, y0, x1, y1 = self.outline.bounds
        some = rng.uniform((x0, y0), (x1, y1), (20 * count, 2))
        return some[shapely.contains_xy(self.outline, some)][:count]


def _plane(rng: np.random.Generator, through: Floats, down: float) -> list[float]:
    """A plane at z -6 through a place, falling toward `down` (radians) by 3/16 to 1/2 in/ft."""
    s = -rng.uniform(3 / 16, 1 / 2) / 12 * np.array([np.cos(down), np.sin(down)])
    return [-6 - float(s @ through), *s]


def planes_of(rng: np.random.Generator, kind: str, middle: Floats, wide: float,
              turn: float) -> tuple[list[list[float]], Callable[[Floats], Floats]]:
    """Planes of a kind of roof about its `middle`, and how they join; `wide` is its run along `turn` [radians]."""
    low = lambda h: h.min(axis=1)  # noqa: E731
    high = lambda h: h.max(axis=1)  # noqa: E731
    if kind == "plane":
        planes, combine = [_plane(rng, middle, rng.uniform(0, 2 * np.pi))], low
    elif kind in ("ridge", "valley"):
        down = turn + rng.choice([0, np.pi / 2])
        planes = [_plane(rng, middle, down), _plane(rng, middle, down + np.pi)]
        combine = low if kind == "ridge" else high
    elif kind == "strips":  # a ridge and a valley side by side, across the longer way
        way = np.array([np.cos(turn / 2), np.sin(turn / 2)])
        one, two = middle - wide * rng.uniform(0.14, 0.2) * way, middle + wide * rng.uniform(0.14, 0.2) * way
        back = _plane(rng, one, turn / 2)
        first = _plane(rng, one, turn / 2 + np.pi)
        level = back[0] + float(np.dot(back[1:], two))
        last = _plane(rng, two, turn / 2 + np.pi)
        last[0] += level + 6
        planes = [first, back, last]
        combine = lambda h: np.maximum(np.minimum(h[:, 0], h[:, 1]), h[:, 2])  # noqa: E731
    else:
        count = 3 if kind == "hip end" else 4
        down = turn + np.array([0, np.pi / 2, np.pi, -np.pi / 2][:count])
        planes = [_plane(rng, middle, d if kind != "crossing valleys" else d) for d in down]
        combine = high if kind == "crossing valleys" else low
        if kind == "crossing valleys":  # every plane falls toward the drain in the middle
            planes = [[-12 - p[0], -p[1], -p[2]] for p in planes]
            planes = [[-6 - float(np.dot(p[1:], middle)), *p[1:]] for p in planes]
    return planes, combine


def random_roof(seed: int, kinds: tuple[str, ...] = KINDS) -> TrueRoof:
    rng = np.random.default_rng([3, seed])
    kind = kinds[seed % len(kinds)]
    wide, deep = rng.uniform(200, 360), rng.uniform(150, 300)
    corners = np.array([(0, 0), (wide, 0), (wide, deep), (0, deep)]) + rng.uniform(-8, 8, (4, 2))
    corners[0], corners[1, 1] = 0, 0
    middle = corners.mean(axis=0) + rng.uniform(-0.12, 0.12, 2) * (wide, deep)
    turn = rng.uniform(-0.3, 0.3)
    planes, combine = planes_of(rng, kind, middle, wide, turn)
    truth = TrueRoof(seed, kind, corners, np.array(planes), combine, (), float(rng.uniform(1 / 24, 1 / 16)),
                     float(rng.uniform(1 / 16, 1 / 8)))
    return TrueRoof(**{**truth.__dict__, "folds": folds_of(truth)})


def folds_of(roof: TrueRoof) -> tuple[tuple[str, LineString], ...]:
    """Where two planes meet at the height of the roof: found along the line in which each pair of planes cuts."""
    found = []
    for a, b in itertools.combinations(roof.planes, 2):
        n = a[1:] - b[1:]
        if np.hypot(*n) < 1e-9:
            continue
        at = -(a[0] - b[0]) * n / (n @ n)
        u = np.array([-n[1], n[0]]) / np.hypot(*n)
        line = LineString([at - 2000 * u, at + 2000 * u]).intersection(roof.outline)
        if line.geom_type != "LineString" or line.length < 2:
            continue
        along = np.linspace(0, 1, 4001)[:, None]
        p, q = np.array(line.coords)
        xy = p + along * (q - p)
        on = np.abs(roof.height(xy) - (a[0] + xy @ a[1:])) < 1e-6
        if on.sum() < 20:
            continue
        ends = xy[np.flatnonzero(on)[[0, -1]]]
        side = np.array([-u[1], u[0]])
        middle = ends.mean(axis=0)
        bend = float(roof.height(np.array([middle + side, middle - side])).sum() - 2 * roof.height(middle)[0])
        found.append(("ridge" if bend < 0 else "valley", LineString(ends)))
    return tuple(found)


def survey_of(roof: TrueRoof, *, lines: bool, noise: bool = True, least: int = 10) -> dict[str, Any]:
    """The roof-survey/1 of a roof: 20 to 60 readings with at least `least` on every plane; break lines if `lines`."""
    rng = np.random.default_rng([4, roof.seed])
    count = int(rng.integers(20, 61))
    spots = spread(roof, count, least, rng)
    level, tape = (roof.level_sigma, roof.tape_sigma) if noise else (0.0, 0.0)
    positions = {f"r{i}": [float(v) for v in p] for i, p in enumerate(spots)}
    levels = [{"point": f"r{i}", "drop": float(-h), "on": "roof"} for i, h in enumerate(roof.height(spots))]
    breaklines = []
    for k, (kind, line) in enumerate(roof.folds if lines else ()):
        names = []
        for j, share in enumerate((0.03, 0.5, 0.97)):
            at = np.array(line.interpolate(share, normalized=True).coords[0])
            name = f"k{k}_{j}"
            positions[name] = [float(v) for v in at + (rng.normal(0, 0.5, 2) if noise else 0)]
            levels.append({"point": name, "drop": float(-roof.height(at)[0]), "on": kind})
            names.append(name)
        breaklines.append({"kind": kind, "points": names})
    door = roof.corners[0] + np.array([[0.4], [0.5], [0.6]]) * (roof.corners[1] - roof.corners[0])
    for i, at in enumerate(door):
        positions[f"t{i}"] = [float(v) for v in at]
        levels.append({"point": f"t{i}", "drop": 0.0, "on": "threshold"})
    for reading in levels:
        reading["drop"] += float(rng.normal(0, level)) if noise else 0.0
    names = "ABCD"
    tapes = [[names[i], names[j], float(np.hypot(*(roof.corners[i] - roof.corners[j])) + rng.normal(0, 1) * tape)]
             for i, j in itertools.combinations(range(4), 2)]
    return {"format": "roof-survey/1", "name": f"roof {roof.seed}", "corners": list(names), "tapes": tapes,
            "positions": positions, "levels": levels, "breaklines": breaklines, "threshold": ["t0", "t1", "t2"],
            "level_sigma": roof.level_sigma, "tape_sigma": roof.tape_sigma}


def spread(roof: TrueRoof, count: int, least: int, rng: np.random.Generator) -> Floats:
    """Places a few inches inside the walls, at least `least` where each plane is the roof."""
    inner = roof.outline.buffer(-4)
    many = roof.places(6000, rng)
    many = many[shapely.contains_xy(inner, many)]
    of = np.abs(roof.planes[:, 0] + many @ roof.planes[:, 1:].T - roof.height(many)[:, None]).argmin(axis=1)
    chosen = [np.flatnonzero(of == k)[:least] for k in range(len(roof.planes))]
    taken = np.concatenate(chosen)
    rest = np.setdiff1d(np.arange(len(many)), taken)[: max(0, count - len(taken))]
    return many[np.concatenate([taken, rest])]
