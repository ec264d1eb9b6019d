"""Folds that nobody gave: how many planes the readings show, by evidence, and where one fold runs.

A part of the roof stage.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2
from shapely import LineString, Polygon

from framing.engine.breaklines import Break
from framing.engine.plane_fit import against_the_others, least_squares, rms
from framing.engine.plane_sets import (
    EVIDENCE,
    MOST_PLANES,
    OWN_READINGS,
    PlaneSet,
    best_set,
    grow_planes,
    sets_to_try,
)
from framing.engine.relief import cost_of, find_humps

Array = NDArray[np.float64]

FITS = 0.999  # a roof is of these planes where sound readings would scatter so far with a chance of 1 in 1,000
SOUGHT_AMONG = 200  # readings among which planes are sought
FITS_WITHIN = 1.5  # readings whose residuals stay within this many standard errors (rms) lie in one plane
FOLD_SPREAD = 12.0  # readings this far from a fold and this far apart across it, on either side, to place it [in]


def find_planes(xy: Array, z: Array, sigma: float) -> PlaneSet | None:
    """The planes that readings z (n,) at (n, 2) places lie in [in]; None where they show no set of them.

    One plane is tried, then two and so on, until the readings scatter about the surface as readings of `sigma` do.
    Of all these the one is taken that has enough evidence: every further plane must take `EVIDENCE` off the sum of
    squares, counted in the variance that the fullest set leaves where that is more than the readings' own. A hump that
    readings bear out counts as a plane does; the `cost` that is given back leaves humps out.
    """
    if len(z) < OWN_READINGS:
        return None
    if len(z) > SOUGHT_AMONG:  # as many say how the roof folds; all of them then place the planes
        few = np.random.default_rng(5).permutation(len(z))[:SOUGHT_AMONG]
        sought = find_planes(xy[few], z[few], sigma)
        placed = sought and best_set(xy, z, sigma, [sought.planes])
        return placed and _under_humps(placed, xy, z, sigma)[0]
    pool = grow_planes(xy, z, sigma)
    sets = [np.linalg.lstsq(np.c_[np.ones(len(z)), xy], z, rcond=None)[0][None], *(plane[None] for plane in pool)]
    found: list[PlaneSet] = []
    for _ in range(MOST_PLANES):
        if best := best_set(xy, z, sigma, sets):
            found.append(best)
            if fits(best, len(z)):
                break
            # what the set leaves unexplained may lie in a plane that was not grown among all readings
            off = np.abs(z - best.heights(xy)[np.arange(len(z)), best.label(xy)]) > 3 * sigma
            if off.sum() >= OWN_READINGS:
                pool = np.vstack([pool, grow_planes(xy[off], z[off], sigma)])
            sets = [best.planes, *sets]
        if not (sets := sets_to_try(xy, z, sigma, sets, pool)):
            break
    if not found:
        return None
    full = min(found, key=lambda s: s.cost)
    variance = max(1.0, full.cost / max(len(z) - 3 * len(full.planes), 1))
    weighed = [_under_humps(s, xy, z, sigma, variance) for s in found]
    return min(weighed, key=lambda w: w[0].cost / variance + EVIDENCE * (len(w[0].planes) + w[1]))[0]


def _under_humps(found: PlaneSet, xy: Array, z: Array, sigma: float, variance: float = 1.0) -> tuple[PlaneSet, int]:
    """The planes fitted under the humps that readings bear out, the cost of the rest, and how many humps those are."""

    def off(planes: PlaneSet) -> Array:
        return np.asarray((z - planes.heights(xy)[np.arange(len(z)), planes.label(xy)]) / sigma)

    def refitted(use: NDArray[np.bool_]) -> PlaneSet | None:
        return found if use.all() else best_set(xy[use], z[use], sigma, [found.planes])

    def fitted(use: NDArray[np.bool_]) -> Array | None:
        under = refitted(use)
        return None if under is None else off(under)

    humps = find_humps(xy, fitted, EVIDENCE * variance)
    use = np.ones(len(z), bool)
    use[[i for group in humps for i in group]] = False
    under = refitted(use)
    return (found, 0) if under is None else (replace(under, cost=cost_of(off(under), humps)), len(humps))


def fits(found: PlaneSet, readings: int) -> bool:
    """Whether so many readings scatter about these planes no more than sound ones do."""
    return found.cost <= usual_cost(readings, 3 * len(found.planes))


def usual_cost(readings: int, parameters: int) -> float:
    """The sum of squares [variances] that sound readings leave no more than once in 1,000 times."""
    return float(chi2.ppf(FITS, max(readings - parameters, 1)))


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


def find_fold(xy: Array, z: Array, outline: Polygon, sigma: float) -> tuple[Break | None, float, int]:
    """One straight fold, where the readings show beyond doubt that the roof is not one plane.

    With it, how far the readings on its poorer side reach across it [in], and how many they are: a single row of
    readings on a side says that there is a fold, but not where.

    Every direction and place of a line across the roof is tried: the hinge plane max(0, distance beyond the line)
    is added to the one-plane fit and the line with the least sum of squares is kept. It is taken when it lowers
    that sum by more than 30 variances of a reading (two more parameters than the plane's three would lower it by
    about 3 on a flat roof) and leaves at least two readings on both sides.
    """
    if len(z) < 7:
        return None, 0.0, 0
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
            return None, 0.0, 0
        t, o = turn[best], away[best]
        span = np.linspace(-1, 1, 21) * spread
        turn, away = (v.ravel() for v in np.meshgrid(t + span * math.radians(2), o + span * step))
    away0 = o + math.cos(t) * centre[0] + math.sin(t) * centre[1]
    if flat - float(total[best]) < 30 * sigma**2 or flat < 2 * float(total[best]):
        return None, 0.0, 0
    n, u = np.array([math.cos(t), math.sin(t)]), np.array([-math.sin(t), math.cos(t)])
    line = LineString([n * away0 - 1e4 * u, n * away0 + 1e4 * u]).intersection(outline)
    line = max(getattr(line, "geoms", [line]), key=lambda g: g.length)
    distance = xy @ n - away0
    bend = float(np.linalg.lstsq(np.c_[plane, np.maximum(distance, 0)], z, rcond=None)[0][3])
    sides = [distance[distance > 0], distance[distance <= 0]]
    fold = Break("ridge" if bend < 0 else "valley", line, given=False) if line.length > 1 else None
    return fold, min(float(np.ptp(side)) for side in sides), min(len(side) for side in sides)
