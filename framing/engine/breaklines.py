"""Ridges and valleys: those that the survey gives, made to meet, and one that its readings show though nobody gave it.

A part of the roof stage.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon

from framing.engine import length
from framing.engine.adjustment import Adjustment
from framing.engine.checks import Check, check
from framing.engine.documents import Survey
from framing.engine.plane_fit import against_the_others, least_squares, rms

Array = NDArray[np.float64]

STRAIGHT_WITHIN = 6.0  # a break line between two planes is straight; points further off it are told [in]
SAME_LINE = 12.0  # ends this near meet, lines this near are one [in]
FITS_WITHIN = 1.5  # readings whose residuals stay within this many standard errors (rms) lie in one plane
FOLD_SPREAD = 12.0  # readings this far from a fold and this far apart across it, on either side, to place it [in]


@dataclass(frozen=True)
class Break:
    """A straight ridge or valley from wall to wall or to another break line."""

    kind: str
    line: LineString
    given: bool = True

    def as_json(self) -> dict[str, Any]:
        return {"kind": self.kind, "points": [list(p) for p in self.line.coords], "given": self.given}


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
                     and not _end_to_end(k.line, b.line)), None)
        if twin is None:
            kept.append(b)
        else:
            checks.append(check("breakline-twice", "caution", value=twin.line.distance(b.line), limit=SAME_LINE,
                                where=where_words(b.line), kind=b.kind))
    return kept


def _end_to_end(one: LineString, other: LineString) -> bool:
    """Whether two lines in one direction meet at an end only, as opposite hips do at a peak."""
    u = np.array(one.coords[-1]) - np.array(one.coords[0])
    (a, b), (c, d) = (sorted(float(np.array(p) @ u) for p in (v.coords[0], v.coords[-1])) for v in (one, other))
    return min(b, d) - max(a, c) < SAME_LINE * float(np.hypot(*u))


def meet(breaks: list[Break], outline: Polygon) -> list[Break]:
    """Break lines run on to the walls, or to the place where they meet others.

    Ends within 12 in of each other meet in their middle (hips at a peak); an end as near to another line's run stops
    on it (a valley at a ridge); any other end is carried on to the walls.
    """
    reach = 2 * math.hypot(*(np.array(outline.bounds[2:]) - np.array(outline.bounds[:2])))
    ends = np.array([[b.line.coords[0], b.line.coords[-1]] for b in breaks]).reshape(-1, 2, 2)
    met = []
    for i, b in enumerate(breaks):
        along = (ends[i, 1] - ends[i, 0]) / np.hypot(*(ends[i, 1] - ends[i, 0]))
        new = []
        for end, out in ((ends[i, 0], -along), (ends[i, 1], along)):
            others = np.delete(ends, i, axis=0).reshape(-1, 2)
            near = others[np.hypot(*(others - end).T) < SAME_LINE]
            if len(near):
                new.append(np.vstack([near, end]).mean(axis=0))
                continue
            stop = next((o.line for o in breaks if o is not b and o.line.distance(Point(end)) < SAME_LINE), None)
            if stop is None:
                new.append(end + reach * out)
                continue
            # carried to the other line exactly, so that the facets close
            far = LineString([end - 24 * out, end + 24 * out]).intersection(carried(stop, reach))
            new.append(np.array(far.coords[0]) if far.geom_type == "Point" else end)
        clipped = LineString(new).intersection(outline)
        parts = list(getattr(clipped, "geoms", [clipped]))
        met += [Break(b.kind, p, b.given) for p in parts if p.length > 1]
    return met


def carried(line: LineString, reach: float) -> LineString:
    """The line's ends carried on by `reach` [in]."""
    a, b = np.array(line.coords[0]), np.array(line.coords[-1])
    u = (b - a) / np.hypot(*(b - a))
    return LineString([a - reach * u, b + reach * u])


def where_words(shape: Polygon | LineString) -> str:
    c = shape.centroid
    return f"x {c.x:.0f}, y {c.y:.0f}"


def _without_wild(xy: Array, z: Array, sigma: float) -> NDArray[np.bool_]:
    """Readings (n,) that a single plane leaves once up to a tenth of them, the wildest, are out.

    All stay where that does not make the rest fit: then the roof is no plane, and wildness cannot be told yet.
    """
    rows = np.c_[np.ones(len(z)), xy]
    use = np.ones(len(z), bool)
    for _ in range(max(1, len(z) // 10)):
        fit = least_squares(rows, z, np.eye(3), use)
        offset, sigmas = against_the_others(fit, use, sigma)
        use[int(np.argmax(np.where(use, sigmas, 0)))] = False
        rest = least_squares(rows, z, np.eye(3), use)
        if rms(rest.residual[use]) <= FITS_WITHIN * sigma:
            return use
    return np.ones(len(z), bool)


def find_fold(xy: Array, z: Array, outline: Polygon, sigma: float) -> tuple[Break | None, float]:
    """One straight fold, where the readings show beyond doubt that the roof is not one plane.

    With it, how far the readings on its poorer side reach across it [in]: a single row of readings on a side says
    that there is a fold, but not where.

    Every direction and place of a line across the roof is tried: the hinge plane max(0, distance beyond the line)
    is added to the one-plane fit and the line with the least sum of squares is kept. It is taken when it lowers
    that sum by more than 30 variances of a reading (two more parameters than the plane's three would lower it by
    about 3 on a flat roof) and leaves at least two readings on both sides.
    """
    if len(z) < 7:
        return None, 0.0
    use = _without_wild(xy, z, sigma)
    xy, z = xy[use], z[use]
    plane = np.c_[np.ones(len(z)), xy]
    flat = float(((z - plane @ np.linalg.lstsq(plane, z, rcond=None)[0]) ** 2).sum())

    def sums(theta: Array, offset: Array) -> Array:
        distance = xy @ np.stack([np.cos(theta), np.sin(theta)]) - offset  # (n, lines)
        hinge = np.maximum(distance, 0)
        # a row of readings along the line itself does not fix the slope beyond it
        sides = np.minimum((distance > FOLD_SPREAD).sum(axis=0), (distance < -FOLD_SPREAD).sum(axis=0))
        # the hinge column made orthogonal to the plane, then its own share of the sum of squares
        q, _ = np.linalg.qr(plane)
        rest = hinge - q @ (q.T @ hinge)
        r = z - q @ (q.T @ z)
        share = (rest * r[:, None]).sum(axis=0) ** 2 / np.maximum((rest**2).sum(axis=0), 1e-9)
        return np.where(sides >= 2, flat - share, np.inf)

    centre = xy.mean(axis=0)
    radius = float(np.hypot(*(xy - centre).T).max())
    theta, step = np.radians(np.arange(0, 180, 2.0)), radius / 40
    turn, away = (v.ravel() for v in np.meshgrid(theta, np.arange(-radius, radius, step)))
    for spread in (1.0, 0.2, 0.04):
        away0 = away + np.cos(turn) * centre[0] + np.sin(turn) * centre[1]
        total = sums(turn, away0)
        best = int(np.argmin(total))
        if not np.isfinite(total[best]):
            return None, 0.0
        t, o = turn[best], away[best]
        span = np.linspace(-1, 1, 21) * spread
        turn, away = (v.ravel() for v in np.meshgrid(t + span * math.radians(2), o + span * step))
    away0 = o + math.cos(t) * centre[0] + math.sin(t) * centre[1]
    if flat - float(total[best]) < 30 * sigma**2 or flat < 2 * float(total[best]):
        return None, 0.0
    n, u = np.array([math.cos(t), math.sin(t)]), np.array([-math.sin(t), math.cos(t)])
    line = LineString([n * away0 - 1e4 * u, n * away0 + 1e4 * u]).intersection(outline)
    line = max(getattr(line, "geoms", [line]), key=lambda g: g.length)
    distance = xy @ n - away0
    bend = float(np.linalg.lstsq(np.c_[plane, np.maximum(distance, 0)], z, rcond=None)[0][3])
    reach = min(float(np.ptp(distance[side])) for side in (distance > 0, distance <= 0))
    return (Break("ridge" if bend < 0 else "valley", line, given=False) if line.length > 1 else None), reach
