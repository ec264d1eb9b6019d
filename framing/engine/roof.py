"""The roof as it is: facets between break lines, fitted to the level round, continuous across every break.

Stage: adjustment -> roof -> drainage. Each facet is a plane; neighbouring planes agree along the break line
between them. Readings that do not fit are named, not averaged in.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.stats import norm
from shapely import LineString, Point, Polygon
from shapely.ops import polygonize, unary_union

from framing.engine import length
from framing.engine.adjustment import AdjustedLevel, Adjustment
from framing.engine.checks import Check, check
from framing.engine.documents import Survey

Array = NDArray[np.float64]

FITTED = ("roof", "ridge", "valley", "paver", "ballast", "old-deck")  # readings that show the membrane itself
ANOMALY_LEAST = 3 / 32  # an offset worth telling the crew about [in] (documents.md, deck-framing/1)
ANOMALY_SIGMAS = 1.5  # ... and beyond what one reading's own error makes usual
AGREE_WITHIN = 6.0  # two odd readings this near each other bear each other out [in]
SAME_LINE = 12.0  # ends this near meet, lines this near are one [in]
STRAIGHT_WITHIN = 6.0  # a break line between two planes is straight; points further off it are told [in]
FOLD_SPREAD = 12.0  # readings this far from a fold and this far apart across it, on either side, to place it [in]
STEEPEST = 3.0  # no low-slope roof is steeper; a facet that comes out so was not fixed by its readings [in/ft]
HUBER_ROUNDS = 8
FITS_WITHIN = 1.5  # readings whose residuals stay within this many standard errors (rms) lie in one plane
FAMILY_RISK = 0.01  # chance of calling any sound reading of the round suspect


@dataclass(frozen=True)
class Facet:
    """One plane of the roof, z = z0 + sx x + sy y [in], over `polygon`; `rms` of its readings about it [in]."""

    polygon: Polygon
    z0: float
    sx: float
    sy: float
    rms: float = 0.0

    @property
    def slope_in_per_ft(self) -> float:
        return 12 * math.hypot(self.sx, self.sy)

    @property
    def falls_toward(self) -> float:
        """Direction of the fall, degrees counter-clockwise from +x."""
        return math.degrees(math.atan2(-self.sy, -self.sx))

    def height(self, xy: Array) -> Array:
        """Height at points (n, 2) [in] -> (n,) [in]."""
        return self.z0 + xy[:, 0] * self.sx + xy[:, 1] * self.sy

    def as_json(self) -> dict[str, Any]:
        return {
            "polygon": ring(self.polygon),
            "plane": {"z0": self.z0, "sx": self.sx, "sy": self.sy},
            "slope_in_per_ft": self.slope_in_per_ft,
            "falls_toward": self.falls_toward,
            "rms": self.rms,
        }


@dataclass(frozen=True)
class Break:
    """A straight ridge or valley from wall to wall or to another break line."""

    kind: str
    line: LineString
    given: bool = True

    def as_json(self) -> dict[str, Any]:
        return {"kind": self.kind, "points": [list(p) for p in self.line.coords], "given": self.given}


@dataclass(frozen=True)
class Anomaly:
    """A reading off its fitted plane; `offset` [in] > 0 stands above the fitted roof."""

    point: str
    offset: float
    sigmas: float

    @property
    def kind(self) -> str:
        return "hump" if self.offset > 0 else "low"

    def as_json(self) -> dict[str, Any]:
        return {"point": self.point, "offset": self.offset, "sigmas": self.sigmas, "kind": self.kind}


@dataclass(frozen=True)
class Roof:
    """Facets over the whole surveyed area, with the covariance of their planes (3 parameters a facet)."""

    outline: Polygon
    facets: tuple[Facet, ...]
    breaks: tuple[Break, ...] = ()
    anomalies: tuple[Anomaly, ...] = ()
    suspects: tuple[tuple[str, ...], ...] = ()
    covariance: Array = field(default_factory=lambda: np.zeros((0, 0)))
    checks: tuple[Check, ...] = ()

    def facet_at(self, xy: Array) -> NDArray[np.intp]:
        """Index of the facet under (or nearest to) each of (n, 2) points."""
        points = shapely.points(np.asarray(xy, float))
        away = np.stack([shapely.distance(points, f.polygon) for f in self.facets])
        return np.asarray(np.argmin(away, axis=0))

    def height(self, xy: Array) -> Array:
        """Height of the membrane at (n, 2) points [in] -> (n,) [in]."""
        xy = np.atleast_2d(np.asarray(xy, float))
        planes = np.array([[f.z0, f.sx, f.sy] for f in self.facets])[self.facet_at(xy)]
        return np.asarray(planes[:, 0] + (planes[:, 1:] * xy).sum(axis=1))

    def standard_error(self, xy: Array) -> Array:
        """Standard error of the fitted height at (n, 2) points [in] -> (n,) [in]."""
        xy = np.atleast_2d(np.asarray(xy, float))
        rows = design_rows(xy, self.facet_at(xy), len(self.facets))
        return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", rows, self.covariance, rows)))

    def as_json(self) -> dict[str, Any]:
        return {
            "facets": [f.as_json() for f in self.facets],
            "breaklines": [b.as_json() for b in self.breaks],
            "anomalies": [a.as_json() for a in self.anomalies],
            "ponds": [],
        }


def ring(polygon: Polygon) -> list[list[float]]:
    """Corners of a polygon's outer ring, counter-clockwise, not closed."""
    return [[float(x), float(y)] for x, y in shapely.geometry.polygon.orient(polygon).exterior.coords[:-1]]


def design_rows(xy: Array, facet: NDArray[np.intp], facets: int) -> Array:
    """Rows (n, 3 facets) that turn the planes' parameters into heights at (n, 2) points."""
    rows = np.zeros((len(xy), 3 * facets))
    at = np.arange(len(xy))
    rows[at, 3 * facet] = 1
    rows[at, 3 * facet + 1] = xy[:, 0]
    rows[at, 3 * facet + 2] = xy[:, 1]
    return rows


def fit_roof(survey: Survey, adjusted: Adjustment) -> Roof:
    """The roof's facets from the corrected level round.

    With break lines given, the outline is split along them; with none, one plane is tried and then one fold,
    which is taken only where the readings show it beyond doubt. A roof that its readings cannot carry comes back
    without facets and with a `stop` that says what to measure.
    """
    outline = Polygon([(adjusted.points[c].x, adjusted.points[c].y) for c in survey.corners])
    sound = {r.point for r in adjusted.levels if not r.suspect}
    # of repeats that disagree the one that stands alone is left out, where another remains
    readings = [r for r in adjusted.levels if r.on in FITTED and r.point in adjusted.points
                and not (r.suspect and r.point in sound)]
    xy = np.array([[adjusted.points[r.point].x, adjusted.points[r.point].y] for r in readings]).reshape(-1, 2)
    z = np.array([r.z for r in readings])
    checks: list[Check] = []

    given = [b for b in (_given_break(survey, adjusted, i, outline, checks)
                         for i in range(len(survey.breaklines))) if b is not None]
    if given:
        breaks = _meet(_once(given, checks), outline)
    else:
        fold, reach = find_fold(xy, z, outline, survey.level_sigma)
        breaks = [fold] if fold else []
        if fold:
            words: dict[str, Any] = {"where": _where(fold.line), "kind": fold.kind, "at": _where(fold.line)}
            if reach < FOLD_SPREAD:
                checks.append(check("breakline-not-placed", "stop", value=reach, limit=FOLD_SPREAD, **words))
                return Roof(outline, (), (), checks=tuple(checks))
            checks.append(check("breakline-found", "caution", value=reach, limit=FOLD_SPREAD, **words))
    return _fit(outline, breaks, readings, xy, z, survey.level_sigma, checks)


def _given_break(survey: Survey, adjusted: Adjustment, i: int, outline: Polygon,
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


def _once(breaks: list[Break], checks: list[Check]) -> list[Break]:
    """The break lines, each once: one that lies along another is left out, and told."""
    kept: list[Break] = []
    for b in breaks:
        twin = next((k for k in kept if all(_carried(k.line, 1e5).distance(Point(end)) < SAME_LINE
                                            for end in b.line.coords) and k.line.distance(b.line) < SAME_LINE
                     and not _end_to_end(k.line, b.line)), None)
        if twin is None:
            kept.append(b)
        else:
            checks.append(check("breakline-twice", "caution", value=twin.line.distance(b.line), limit=SAME_LINE,
                                where=_where(b.line), kind=b.kind))
    return kept


def _end_to_end(one: LineString, other: LineString) -> bool:
    """Whether two lines in one direction meet at an end only, as opposite hips do at a peak."""
    u = np.array(one.coords[-1]) - np.array(one.coords[0])
    (a, b), (c, d) = (sorted(float(np.array(p) @ u) for p in (v.coords[0], v.coords[-1])) for v in (one, other))
    return min(b, d) - max(a, c) < SAME_LINE * float(np.hypot(*u))


def _meet(breaks: list[Break], outline: Polygon) -> list[Break]:
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
            far = LineString([end - 24 * out, end + 24 * out]).intersection(_carried(stop, reach))
            new.append(np.array(far.coords[0]) if far.geom_type == "Point" else end)
        clipped = LineString(new).intersection(outline)
        parts = list(getattr(clipped, "geoms", [clipped]))
        met += [Break(b.kind, p, b.given) for p in parts if p.length > 1]
    return met


def _carried(line: LineString, reach: float) -> LineString:
    """The line's ends carried on by `reach` [in]."""
    a, b = np.array(line.coords[0]), np.array(line.coords[-1])
    u = (b - a) / np.hypot(*(b - a))
    return LineString([a - reach * u, b + reach * u])


def split_outline(outline: Polygon, breaks: Sequence[Break]) -> list[Polygon]:
    """The outline cut along its break lines; slivers under 1 sq in are dropped."""
    # carried a little past the wall or line that they end at, so that no rounding leaves a facet open
    lines = unary_union([outline.exterior, *(_carried(b.line, 0.05) for b in breaks)])
    return [p for p in polygonize(lines) if p.area > 1 and outline.buffer(0.01).covers(p)]


def _continuity(polygons: Sequence[Polygon]) -> Array:
    """Rows (c, 3 facets) that vanish when neighbouring planes agree at both ends of their common edge."""
    rows = []
    for i, p in enumerate(polygons):
        for j in range(i + 1, len(polygons)):
            shared = p.exterior.buffer(1e-4).intersection(polygons[j].exterior)
            for part in getattr(shared, "geoms", [shared]):
                if part.geom_type != "LineString" or part.length < 1:
                    continue
                for x, y in (part.coords[0], part.coords[-1]):
                    row = np.zeros(3 * len(polygons))
                    row[3 * i : 3 * i + 3] = 1, x, y
                    row[3 * j : 3 * j + 3] = -1, -x, -y
                    rows.append(row)
    return np.array(rows).reshape(-1, 3 * len(polygons))


@dataclass(frozen=True)
class _Planes:
    """A least-squares fit: parameters, residuals, redundancy numbers and covariance for unit weight."""

    x: Array
    residual: Array
    redundancy: Array
    cofactor: Array
    free: int  # parameters that no reading fixes


def _least_squares(rows: Array, z: Array, basis: Array, weight: Array | NDArray[np.bool_]) -> _Planes:
    """Planes in the span of `basis` that fit z by `weight` (n,); readings of no weight are only held against them."""
    a, root = rows @ basis, np.sqrt(np.asarray(weight, float))
    u, s, vt = np.linalg.svd(a * root[:, None], full_matrices=False)
    keep = s > 1e-9 * max(1.0, s[0] if s.size else 1.0)
    free = basis.shape[1] - int(keep.sum())
    inverse = (vt[keep].T / s[keep]) @ u[:, keep].T
    y = inverse @ (z * root)
    q = (vt[keep].T / s[keep] ** 2) @ vt[keep]
    leverage = np.einsum("ij,jk,ik->i", a, q, a)
    redundancy = np.where(root > 0, 1 - root**2 * leverage, 1 + leverage)
    return _Planes(basis @ y, z - a @ y, redundancy, basis @ q @ basis.T, free)


def _fit(outline: Polygon, breaks: Sequence[Break], readings: Sequence[AdjustedLevel], xy: Array, z: Array,
         sigma: float, checks: list[Check]) -> Roof:
    polygons = split_outline(outline, breaks) or [outline]
    n = len(polygons)
    bare = Roof(outline, tuple(Facet(p, 0, 0, 0) for p in polygons), tuple(breaks))
    if len(readings) < 3:
        stop = check("roof-not-measured", "stop", value=len(readings), limit=3, unit="EA", where="roof",
                     what="the roof", need=3)
        return Roof(outline, (), tuple(breaks), checks=(*checks, stop))

    facet = bare.facet_at(xy)
    rows = design_rows(xy, facet, n)
    scale = np.tile([1.0, 0.01, 0.01], n)  # slopes count per 100 in, so that the system is well scaled
    rows, constraint = rows / scale, _continuity(polygons) / scale
    basis = _null_space(constraint)
    use = np.ones(len(z), bool)
    critical = float(norm.isf(FAMILY_RISK / (2 * len(z))))

    fit = _least_squares(rows, z, basis, use)
    if fit.free:
        return Roof(outline, (), tuple(breaks), checks=(*checks, *_unmeasured(polygons, facet, fit, basis, rows)))

    wild: list[int] = []
    while use.sum() > basis.shape[1] + 1:
        offset, sigmas = _against_the_others(fit, use, sigma)
        open_to_doubt = np.where(use & (np.abs(offset) >= ANOMALY_LEAST), sigmas, 0.0)
        worst = int(np.argmax(open_to_doubt))
        trial = use.copy()
        trial[worst] = False
        without = _least_squares(rows, z, basis, trial)
        if open_to_doubt[worst] <= critical or without.free:
            break
        use, fit = trial, without
        wild.append(worst)
    if len(wild) > max(2, len(z) // 5):
        # so many cannot all be slips: the roof is not of these planes, and all readings say so
        wild, use = [], np.ones(len(z), bool)
        fit = _least_squares(rows, z, basis, use)

    # wild readings are out; lesser ones stay, but beyond the anomaly's limit the further off the less they pull (the
    # square of Huber's weights, P. J. Huber, Ann. Math. Statist. 35, 1964)
    for _ in range(HUBER_ROUNDS):
        _, sigmas = _against_the_others(fit, use, sigma)
        fit = _least_squares(rows, z, basis, use * np.minimum(1.0, ANOMALY_SIGMAS / np.maximum(sigmas, 1e-9)) ** 2)
    offset, sigmas = _against_the_others(fit, use, sigma)
    lone, borne_out = _lone(wild, readings, xy, offset, sigma)
    odd = np.flatnonzero(use & (sigmas >= ANOMALY_SIGMAS) & (np.abs(fit.residual) >= ANOMALY_LEAST))
    anomalies = tuple(
        Anomaly(readings[i].point, float(fit.residual[i]), float(sigmas[i]))
        for i in sorted([*borne_out, *odd], key=lambda i: -abs(fit.residual[i]))
    )
    planes = (fit.x / scale).reshape(n, 3)
    facets = tuple(
        Facet(p, float(plane[0]), float(plane[1]), float(plane[2]), _rms(fit.residual[use & (facet == k)]))
        for k, (p, plane) in enumerate(zip(polygons, planes, strict=True))
    )
    cofactor = fit.cofactor
    if any(not b.given for b in breaks):
        # a fold that was found moves with the readings: its planes are as sure as two that need not meet
        apart = _least_squares(rows, z, np.eye(3 * n), use)
        cofactor = cofactor if apart.free else apart.cofactor
    covariance = sigma**2 * cofactor / np.outer(scale, scale)
    suspected = [(readings[i].point, float(offset[i])) for i in lone]
    checks += _roof_checks(facets, breaks, anomalies, suspected, _rms(fit.residual[use]), sigma)
    suspects = tuple((readings[i].point,) for i in lone)
    return Roof(outline, facets, tuple(breaks), anomalies, suspects, covariance, tuple(checks))


def _null_space(constraint: Array) -> Array:
    """Columns that span the parameters meeting every continuity row exactly."""
    if not len(constraint):
        return np.eye(constraint.shape[1])
    _, s, vt = np.linalg.svd(constraint)
    rank = int((s > 1e-9 * s[0]).sum())
    return np.asarray(vt[rank:].T)


def _against_the_others(fit: _Planes, use: NDArray[np.bool_], sigma: float) -> tuple[Array, Array]:
    """How far each reading stands above the roof that the other readings show [in], and in its standard errors.

    Nought where the others hardly check it.
    """
    checked = fit.redundancy > 0.1
    r = np.where(use, np.maximum(fit.redundancy, 0.1), 1.0)
    offset = np.where(checked, fit.residual / r, 0.0)
    spread = sigma * np.where(use, 1 / np.sqrt(r), np.sqrt(np.maximum(fit.redundancy, 1.0)))
    return offset, np.abs(offset) / spread


def _unmeasured(polygons: Sequence[Polygon], facet: NDArray[np.intp], fit: _Planes, basis: Array,
                rows: Array) -> list[Check]:
    """A stop for every facet whose plane its readings and its neighbours' do not fix."""
    stops = []
    null = basis @ _null_space(rows @ basis)
    for k, p in enumerate(polygons):
        if np.abs(null[3 * k : 3 * k + 3]).max() > 1e-9:
            have = int((facet == k).sum())
            stops.append(check("roof-not-measured", "stop", value=have, limit=max(3, have + 1), unit="EA",
                               where=_where(p), what=f"the facet at {_where(p)}", need=max(3, have + 1)))
    return stops


def _lone(wild: Sequence[int], readings: Sequence[AdjustedLevel], xy: Array, residual: Array,
          sigma: float) -> tuple[list[int], list[int]]:
    """Wild readings split into lone ones and ones that a repeat or a near neighbour bears out."""
    lone: list[int] = []
    borne_out: list[int] = []
    for i in wild:
        near = np.hypot(*(xy - xy[i]).T) <= AGREE_WITHIN
        agree = near & (np.abs(residual - residual[i]) <= 4 * sigma) & (np.arange(len(xy)) != i)
        (borne_out if agree.any() else lone).append(i)
    return lone, borne_out


def _rms(residual: Array) -> float:
    return float(np.sqrt(np.mean(residual**2))) if residual.size else 0.0


def _where(shape: Polygon | LineString) -> str:
    c = shape.centroid
    return f"x {c.x:.0f}, y {c.y:.0f}"


def _roof_checks(facets: Sequence[Facet], breaks: Sequence[Break], anomalies: Sequence[Anomaly],
                 lone: Sequence[tuple[str, float]], rms: float, sigma: float) -> list[Check]:
    found = []
    for point, off in lone:
        found.append(check("level-suspect", "caution", value=off, limit=4 * sigma, where=point,
                           off=length.write(abs(off)), side="above" if off > 0 else "below"))
    for a in anomalies:
        found.append(check(f"roof-{a.kind}", "note", value=abs(a.offset), limit=ANOMALY_LEAST, where=a.point,
                           off=f"{abs(a.offset):.2f}"))
    limit = max(3 * sigma, 3 / 16)
    if rms > 2 * limit:
        found.append(check("roof-shape", "stop", value=rms, limit=2 * limit, where="roof", count=len(facets)))
    elif rms > limit:
        found.append(check("roof-shape", "caution", value=rms, limit=limit, where="roof", count=len(facets)))
    else:
        found.append(check("roof-shape", "ok", value=rms, limit=limit, where="roof", count=len(facets)))
    steep = max(facets, key=lambda f: f.slope_in_per_ft)
    if steep.slope_in_per_ft > STEEPEST:
        found.append(check("roof-too-steep", "stop", value=steep.slope_in_per_ft, limit=STEEPEST, unit="in/ft",
                           where=_where(steep.polygon)))
    for b in breaks:
        middle = np.array(b.line.interpolate(0.5, normalized=True).coords[0])
        u = np.diff(np.array(b.line.coords)[[0, -1]], axis=0)[0] / b.line.length
        side = np.array([middle + 12 * np.array([-u[1], u[0]]), middle - 12 * np.array([-u[1], u[0]])])
        k = Roof(facets[0].polygon, tuple(facets)).facet_at(side)
        fold = sum(float(facets[j].height(p[None])[0]) for j, p in zip(k, side, strict=True)) / 2 - float(
            facets[k[0]].height(middle[None])[0])
        wrong = fold > 1 / 32 if b.kind == "ridge" else fold < -1 / 32
        if wrong and k[0] != k[1]:
            found.append(check("breakline-kind", "caution", value=abs(fold), limit=0.0, where=_where(b.line),
                               kind=b.kind, other="valley" if b.kind == "ridge" else "ridge"))
    return found


def _without_wild(xy: Array, z: Array, sigma: float) -> NDArray[np.bool_]:
    """Readings (n,) that a single plane leaves once up to a tenth of them, the wildest, are out.

    All stay where that does not make the rest fit: then the roof is no plane, and wildness cannot be told yet.
    """
    rows = np.c_[np.ones(len(z)), xy]
    use = np.ones(len(z), bool)
    for _ in range(max(1, len(z) // 10)):
        fit = _least_squares(rows, z, np.eye(3), use)
        offset, sigmas = _against_the_others(fit, use, sigma)
        use[int(np.argmax(np.where(use, sigmas, 0)))] = False
        rest = _least_squares(rows, z, np.eye(3), use)
        if _rms(rest.residual[use]) <= FITS_WITHIN * sigma:
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
