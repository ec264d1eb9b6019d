"""What a crew needs to set the frame out: joist rows, the first joist from its wall, edges, the datum mark.

A part of the drawings. Works on plain coordinates, so that a drawing made from a document uses it too.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely import LineString, Polygon

from framing.engine.documents import Door, Survey

Array = NDArray[np.float64]

SAME_ROW = 1 / 16  # joists whose lines are this near are one row [in]
PARALLEL = 1.0  # [degrees]
BESIDE_WALL = 12.0  # a member this near a wall is set out from it [in]
FROM_END = 12.0  # the first joist is held to its wall this far from its ends [in]


class Run(NamedTuple):
    """A member's centre line in plan [in]."""

    id: str
    role: str
    start: tuple[float, float]
    end: tuple[float, float]


@dataclass(frozen=True)
class Rows:
    """Joist rows in order from the first, the one nearest the door's side.

    `along` is the joists' unit vector, `across` the one in which rows follow one another; `offsets` (k,) run from the
    first row along `across` [in]; `ids` names the joists of each row; `first` is a point on the first row.
    """

    along: Array
    across: Array
    offsets: Array
    ids: tuple[tuple[str, ...], ...]
    first: Array


@dataclass(frozen=True)
class ToWall:
    """A tape from the centre line of the first joist square across to the wall [in]."""

    joist: str
    at: Array
    wall: Array

    @property
    def length(self) -> float:
        return float(np.hypot(*(self.wall - self.at)))


def joist_rows(runs: Sequence[Run], door: ArrayLike) -> Rows | None:
    """The rows that the joists lie in; None where there are no joists."""
    joists = [r for r in runs if r.role == "joist"]
    if not joists:
        return None
    a, b = np.array([r.start for r in joists]), np.array([r.end for r in joists])
    along = (b - a)[int(np.argmax(np.hypot(*(b - a).T)))]
    along = along / np.hypot(*along)
    across = np.array([-along[1], along[0]])
    v = ((a + b) / 2) @ across
    order = np.argsort(v, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(v[order]) > SAME_ROW])
    groups = np.split(order, starts[1:])
    levels = np.array([v[g].mean() for g in groups])
    if abs(levels[-1] - np.asarray(door) @ across) < abs(levels[0] - np.asarray(door) @ across):
        levels, groups, across = -levels[::-1], groups[::-1], -across
    return Rows(along, across, levels - levels[0], tuple(tuple(joists[i].id for i in g) for g in groups),
                a[groups[0][0]])


def first_from_wall(runs: Sequence[Run], rows: Rows, roof: Polygon, most: float) -> list[ToWall]:
    """Tapes from near both ends of the first joist back to its wall, those no longer than `most` [in]."""
    first = max((r for r in runs if r.id in rows.ids[0]), key=lambda r: math.dist(r.start, r.end))
    start, run = np.array(first.start), math.dist(first.start, first.end)
    u = (np.array(first.end) - start) / run
    step = min(FROM_END, run / 4)
    found = []
    for s in (step, run - step):
        at = start + u * s
        ray = LineString([at, at - rows.across * most])
        hits = shapely.get_coordinates(ray.intersection(roof.exterior))
        if len(hits):
            found.append(ToWall(first.id, at, hits[int(np.argmin(np.hypot(*(hits - at).T)))]))
    return found


def beside(runs: Sequence[Run], a: Sequence[float], b: Sequence[float]) -> list[tuple[str, float]]:
    """Rims and edge joists that run along the wall a-b, with the distance of their centre line from it [in]."""
    start, end = np.asarray(a, float), np.asarray(b, float)
    long = float(np.hypot(*(end - start)))
    u = (end - start) / long
    n = np.array([-u[1], u[0]])
    found = []
    for r in runs:
        if r.role not in ("rim", "edge"):
            continue
        p, q = np.array(r.start) - start, np.array(r.end) - start
        turn = math.degrees(math.asin(min(1.0, abs(float((q - p) @ n)) / max(math.dist(r.start, r.end), 1e-9))))
        middle = (p + q) / 2
        if turn < PARALLEL and abs(float(middle @ n)) <= BESIDE_WALL and 0 <= float(middle @ u) <= long:
            found.append((r.id, abs(float(middle @ n))))
    return found


def datum_place(survey: Survey, points: Mapping[str, tuple[float, float]], governing: Door | None) -> Array | None:
    """Where the datum mark is in plan [in], as far as the survey's words place it: at a door's sill or a named point.

    `points` are the survey's points that are placed. A name of one letter counts only after a word such as "corner".
    """
    if survey.datum is None:
        return None
    said = f"{survey.datum.what or ''} {survey.datum.where or ''}".lower()
    doors = [d for d in survey.all_doors if re.search(rf"\b{re.escape(d.name.lower())}\b", said)]
    if not doors and governing is not None and re.search(r"\b(sill|threshold|door|jamb)\b", said):
        doors = [governing]
    sills = [points[p] for p in (doors[0].points if doors else ()) if p in points]
    if sills and (side := re.search(r"\b(left|right)\b", said)):
        return np.array(sills[0] if side[0] == "left" else sills[-1])
    for name, at in points.items():
        before = r"(?:corner|point|outlet|scupper|drain) " if len(name) < 2 else ""
        if re.search(rf"\b{before}{re.escape(name.lower())}\b", said):
            return np.array(at)
    return np.mean(sills, axis=0) if sills else None
