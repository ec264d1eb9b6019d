"""Ridges and valleys that the survey gives, made to meet.

A part of the roof stage.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components
from shapely import LineString, Point, Polygon

from framing.engine import length
from framing.engine.adjustment import Adjustment
from framing.engine.checks import Check, check
from framing.engine.documents import Survey

Array = NDArray[np.float64]

STRAIGHT_WITHIN = 6.0  # a break line between two planes is straight; points further off it are told [in]
SAME_LINE = 12.0  # lines this near are one [in]
MEET_WITHIN = 24.0  # an end read this near to others, or to another line, meets them [in]


@dataclass(frozen=True)
class Break:
    """A straight ridge or valley from wall to wall or to another break line.

    `se` is the standard error of its place across it, at its worse end, where the readings placed it [in].
    """

    kind: str
    line: LineString
    given: bool = True
    se: float | None = None

    def as_json(self) -> dict[str, Any]:
        plain = {"kind": self.kind, "points": [list(p) for p in self.line.coords], "given": self.given}
        return plain if self.se is None else {**plain, "se": self.se}


def given_break(survey: Survey, adjusted: Adjustment, i: int, outline: Polygon,
                 checks: list[Check]) -> Break | None:
    """Break line `i` of the survey as one straight line through its points."""
    given = survey.breaklines[i]
    points = np.array([[adjusted.points[p].x, adjusted.points[p].y] for p in given.points if p in adjusted.points])
    if len(points) < 2 or np.ptp(points, axis=0).max() < SAME_LINE:
        checks.append(check("breakline-short", "caution", value=0.0, limit=SAME_LINE, where="-".join(given.points),
                            kind=given.kind))
        return None
    middle = points.mean(axis=0)
    along = np.linalg.svd(points - middle)[2][0]
    s = (points - middle) @ along
    off = float(np.abs((points - middle) @ np.array([-along[1], along[0]])).max())
    if off > STRAIGHT_WITHIN:
        checks.append(check("breakline-not-straight", "caution", value=off, limit=STRAIGHT_WITHIN,
                            where="-".join(given.points), kind=given.kind, off=length.write(off)))
    return Break(given.kind, LineString([middle + s.min() * along, middle + s.max() * along]))


def once_each(breaks: list[Break], checks: list[Check]) -> list[Break]:
    """The break lines, each once: one that lies along another is left out, and told."""
    kept: list[Break] = []
    for b in breaks:
        twin = next((k for k in kept if all(carried(k.line, 1e5).distance(Point(end)) < SAME_LINE
                                            for end in b.line.coords) and k.line.distance(b.line) < SAME_LINE
                     and _beside(k.line, b.line) >= SAME_LINE), None)  # opposite hips meet at an end only
        if twin is None:
            kept.append(b)
        else:
            checks.append(check("breakline-twice", "caution", value=twin.line.distance(b.line), limit=SAME_LINE,
                                where=where_words(b.line), kind=b.kind))
    return kept


def _beside(one: LineString, other: LineString) -> float:
    """How far two lines in one direction run beside each other; less than nought by how far they lie apart [in]."""
    u = np.array(one.coords[-1]) - np.array(one.coords[0])
    (a, b), (c, d) = (sorted(float(np.array(p) @ u) for p in (v.coords[0], v.coords[-1])) for v in (one, other))
    return (min(b, d) - max(a, c)) / float(np.hypot(*u))


def meet(breaks: list[Break], outline: Polygon) -> list[Break]:
    """Break lines run on to the walls, or to the place where they meet others.

    Ends within 24 in of each other meet (hips at a peak), if the lines are longer than the gap; an end as near to
    another line's run stops on it (a valley at a ridge); any other end is carried on to the walls, past a notch too
    where no other line was read along there.
    """
    reach = 2 * math.hypot(*(np.array(outline.bounds[2:]) - np.array(outline.bounds[:2])))
    ends = np.array([[b.line.coords[0], b.line.coords[-1]] for b in breaks]).reshape(-1, 2, 2)
    near = np.minimum(MEET_WITHIN, np.hypot(*(ends[:, 1] - ends[:, 0]).T) / 2)
    group = _meeting(ends.reshape(-1, 2), np.repeat(near, 2)).reshape(-1, 2)
    peaks = _peaks(ends, group)
    met = []
    for i, b in enumerate(breaks):
        along = (ends[i, 1] - ends[i, 0]) / np.hypot(*(ends[i, 1] - ends[i, 0]))
        new = []
        for k, (end, out) in enumerate(((ends[i, 0], -along), (ends[i, 1], along))):
            if (number := int(group[i, k])) in peaks:
                new.append(peaks[number])
                continue
            stop = next((o.line for o in breaks if o is not b and o.line.distance(Point(end)) < near[i]), None)
            if stop is None:
                new.append(end + reach * out)
                continue
            # carried to the other line exactly, so that the facets close
            step = 2 * MEET_WITHIN * out
            far = LineString([end - step, end + step]).intersection(carried(stop, reach))
            new.append(np.array(far.coords[0]) if far.geom_type == "Point" else end)
        clipped = LineString(new).intersection(outline)
        others = [o.line for o in breaks if o is not b]
        for part in getattr(clipped, "geoms", [clipped]):
            own = part if _beside(part, b.line) > 0 else _past_notch(part, b.line, others, list(peaks.values()))
            if own is not None and own.length > 1:
                met.append(Break(b.kind, own, b.given))
    return met


def _past_notch(part: LineString, read: LineString, others: Sequence[LineString], peaks: Sequence[Array]
                ) -> LineString | None:
    """What is carried past a notch in the walls, up to where others meet on it; None along a line read there itself."""
    near, far = sorted((np.array(xy) for xy in part.coords), key=lambda xy: read.distance(Point(xy)))
    along = (far - near) / np.hypot(*(far - near))
    for o in others:
        if all(carried(part, 1e5).distance(Point(end)) < SAME_LINE for end in o.coords):
            first, last = sorted((np.array(o.coords) - near) @ along)
            if first < SAME_LINE and last > 0:
                return None
    on = [p for p in peaks if part.distance(Point(p)) < SAME_LINE and (p - near) @ along > SAME_LINE]
    return LineString([near, min(on, key=lambda p: float((p - near) @ along), default=far)])


def _peaks(ends: Array, group: NDArray[np.intp]) -> dict[int, Array]:
    """Where the lines of each group of more than one of the ends (n, 2, 2) meet, by the group's number."""
    found = {}
    for number in np.flatnonzero(np.bincount(group.ravel()) > 1).tolist():
        line, side = np.nonzero(group == number)
        found[number] = _common_point(ends[line, side], ends[line, 1 - side])
    return found


def _meeting(ends: Array, near: Array) -> NDArray[np.intp]:
    """Numbers (n,) of the groups of ends (n, 2) that meet, each nearer to another than either's `near` (n,) [in]."""
    apart = np.hypot(*(ends[:, None] - ends[None]).T)
    return np.asarray(connected_components(apart < np.minimum(near[:, None], near[None]), directed=False)[1])


def _common_point(ends: Array, others: Array) -> Array:
    """Where lines meet that end at `ends` (n, 2) and come from `others`: the place nearest to all of them [in].

    Lines in one direction say nothing along it; the middle of their ends does.
    """
    u = (ends - others) / np.hypot(*(ends - others).T)[:, None]
    across = np.eye(2) - u[:, :, None] * u[:, None, :]
    middle = ends.mean(axis=0)
    slack = 1e-3 * np.eye(2)
    point = np.linalg.solve(across.sum(axis=0) + slack, (across @ ends[..., None])[..., 0].sum(axis=0) + slack @ middle)
    return np.asarray(point if np.hypot(*(point - middle)) < MEET_WITHIN else middle)


def carried(line: LineString, reach: float) -> LineString:
    """The line's ends carried on by `reach` [in]."""
    a, b = np.array(line.coords[0]), np.array(line.coords[-1])
    u = (b - a) / np.hypot(*(b - a))
    return LineString([a - reach * u, b + reach * u])


def where_words(shape: Polygon | LineString) -> str:
    c = shape.centroid
    return f"x {c.x:.0f}, y {c.y:.0f}"
