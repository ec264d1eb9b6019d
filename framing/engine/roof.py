"""The roof as it is: facets between break lines, fitted to the level round, continuous across every break.

Stage: adjustment -> roof -> drainage. Each facet is a plane; neighbouring planes agree along the break line
between them. Readings that do not fit are named, not averaged in.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points, polygonize, unary_union

from framing.engine import length
from framing.engine.adjustment import AdjustedLevel, Adjustment
from framing.engine.breaklines import SAME_LINE, Break, carried, given_break, meet, once_each, where_words
from framing.engine.checks import Check, check
from framing.engine.closure import critical_value
from framing.engine.documents import Survey
from framing.engine.folds import FOLD_SPREAD, find_fold, find_planes, fits, usual_cost
from framing.engine.plane_fit import PlaneFit, against_the_others, least_squares, rms
from framing.engine.plane_sets import OWN_READINGS, PlaneSet, areas_of, doubt, folds_of
from framing.engine.relief import Mound, cost_of, find_humps, raise_mounds

Array = NDArray[np.float64]

FITTED = ("roof", "ridge", "valley", "paver", "ballast", "old-deck")  # readings that show the membrane itself
ANOMALY_LEAST = 3 / 32  # an offset worth telling the crew about [in] (documents.md, deck-framing/1)
ANOMALY_SIGMAS = 1.5  # ... and beyond what one reading's own error makes usual
AGREE_WITHIN = 6.0  # two odd readings this near each other bear each other out [in]
STEEPEST = 3.0  # no low-slope roof is steeper; a facet that comes out so was not fixed by its readings [in/ft]
FOLD_WITHIN = 6.0  # a fold placed to within this needs no second look before wood is set out [in]: common practice
JOIN_DOUBT = 0.25  # planes that could join in ways further apart than this make two roofs, not one [in]
PLACE_SIGMA = 0.5  # standard error of a break line read by eye, across it [in]: common practice
LEAST_FACET = 144.0  # a smaller part of the roof has no slope of its own to measure [sq in]
TOUCH = 0.02  # what the sides of neighbouring facets may be apart by, cut from lines that rounding moved [in]
ONE_PLACE = 0.25  # ends of folds this near each other are one place [in]
SHORT_EDGE = 6.0  # facets that touch along less than this meet in a point [in]
NOT_READ = 48.0  # a roof carried on this far beyond its readings is told [in]: common practice, a reading every 4 ft
HUBER_ROUNDS = 8


@dataclass(frozen=True)
class Facet:
    """One plane of the roof, z = z0 + sx x + sy y [in], over `polygon`; `rms` of its readings about it [in].

    `read_over` is the convex hull of the readings on it and on its folds: beyond it the plane is carried on, not
    measured. `read_percent` in the answer is the share of the facet that lies within.
    """

    polygon: Polygon
    z0: float
    sx: float
    sy: float
    rms: float = 0.0
    read_over: BaseGeometry = field(default_factory=Polygon)

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
            "read_percent": 100 * self.polygon.intersection(self.read_over).area / self.polygon.area,
        }


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
    """Facets over the whole surveyed area and the humps and lows on them.

    `covariance` is that of the facets' planes, 3 parameters a facet. `gain` (3 facets, sources) is how far one standard
    error of each source moves them: of each reading, by its point, and of each place that a break line was read at, "".
    """

    outline: Polygon
    facets: tuple[Facet, ...]
    breaks: tuple[Break, ...] = ()
    anomalies: tuple[Anomaly, ...] = ()
    suspects: tuple[tuple[str, ...], ...] = ()
    covariance: Array = field(default_factory=lambda: np.zeros((0, 0)))
    checks: tuple[Check, ...] = ()
    mounds: tuple[Mound, ...] = ()
    gain: Array = field(default_factory=lambda: np.zeros((0, 0)))
    sources: tuple[str, ...] = ()

    def facet_at(self, xy: Array) -> NDArray[np.intp]:
        """Index of the facet under (or nearest to) each of (n, 2) points."""
        points = shapely.points(np.asarray(xy, float))
        away = np.stack([shapely.distance(points, f.polygon) for f in self.facets])
        return np.asarray(np.argmin(away, axis=0))

    def height(self, xy: Array) -> Array:
        """Height of the membrane at (n, 2) points [in] -> (n,) [in]."""
        xy = np.atleast_2d(np.asarray(xy, float))
        planes = np.array([[f.z0, f.sx, f.sy] for f in self.facets])[self.facet_at(xy)]
        plain = planes[:, 0] + (planes[:, 1:] * xy).sum(axis=1)
        return np.asarray(sum((m.rise * m.share(xy) for m in self.mounds), plain))

    def standard_error(self, xy: Array) -> Array:
        """Standard error of the fitted height at (n, 2) points [in] -> (n,) [in]."""
        xy = np.atleast_2d(np.asarray(xy, float))
        rows = design_rows(xy, self.facet_at(xy), len(self.facets))
        variance = np.einsum("ij,jk,ik->i", rows, self.covariance, rows)
        return np.asarray(np.sqrt(sum(((m.se * m.share(xy)) ** 2 for m in self.mounds), np.maximum(variance, 0.0))))

    def beyond_readings(self, xy: Array) -> Array:
        """How far (n, 2) points lie beyond the readings of the facet under them -> (n,) [in]; 0 among them."""
        xy = np.atleast_2d(np.asarray(xy, float))
        hulls = np.array([f.read_over for f in self.facets])[self.facet_at(xy)]
        return np.asarray(shapely.distance(shapely.points(xy), hulls))

    def creases(self) -> list[BaseGeometry]:
        """All lines in which the surface bends; between them it is flat."""
        return [*(f.polygon.exterior for f in self.facets), *(line for m in self.mounds for line in m.creases())]

    def as_json(self) -> dict[str, Any]:
        return {
            "facets": [f.as_json() for f in self.facets],
            "breaklines": [b.as_json() for b in self.breaks],
            "anomalies": [a.as_json() for a in self.anomalies],
            "mounds": [m.as_json() for m in self.mounds],
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

    given = [b for b in (given_break(survey, adjusted, i, outline, checks)
                         for i in range(len(survey.breaklines))) if b is not None]
    if given:
        breaks = meet(once_each(given, checks), outline)
        return _fit(_Shape.of_breaks(outline, breaks), readings, xy, z, survey.level_sigma, checks)
    found = find_planes(xy, z, survey.level_sigma)
    if found is not None and len(found.planes) > 1:
        apart, at = doubt(found, outline)
        if apart > JOIN_DOUBT:
            checks.append(check("folds-in-doubt", "stop", value=apart, limit=JOIN_DOUBT,
                                where=f"x {at[0]:.0f}, y {at[1]:.0f}", count=len(found.planes)))
            return Roof(outline, (), (), checks=tuple(checks))
        return _fit(_Shape.of_planes(outline, found), readings, xy, z, survey.level_sigma, checks)
    if found is None or not fits(found, len(z)):
        fold, reach, count = find_fold(xy, z, outline, survey.level_sigma)
        if fold and (reach < FOLD_SPREAD or count < OWN_READINGS):
            checks.append(check("breakline-not-placed", "stop", value=reach, limit=FOLD_SPREAD, kind=fold.kind,
                                where=where_words(fold.line), count=count, need=OWN_READINGS))
            return Roof(outline, (), (), checks=tuple(checks))
    return _fit(_Shape.of_breaks(outline, []), readings, xy, z, survey.level_sigma, checks)


@dataclass(frozen=True)
class _Shape:
    """How the roof is divided: facets' polygons, the number of the plane that each lies in, and the breaks between.

    `found` is set where nobody gave the breaks: its planes are free, and where they cut is where the breaks run.
    """

    outline: Polygon
    polygons: tuple[Polygon, ...]
    plane: tuple[int, ...]
    breaks: tuple[Break, ...]
    found: PlaneSet | None = None

    @classmethod
    def of_breaks(cls, outline: Polygon, breaks: Sequence[Break]) -> _Shape:
        polygons = tuple(split_outline(outline, breaks)) or (outline,)
        return cls(outline, polygons, tuple(range(len(polygons))), tuple(breaks))

    @classmethod
    def of_planes(cls, outline: Polygon, found: PlaneSet) -> _Shape:
        parts = areas_of(found, outline)
        breaks = tuple(b for b, *_ in folds_of(found, outline) if b.line.length >= SAME_LINE)
        return cls(outline, tuple(p for p, _ in parts), tuple(k for _, k in parts), breaks, found)

    @property
    def planes(self) -> int:
        return max(self.plane) + 1 if self.found is None else len(self.found.planes)

    def plane_under(self, xy: Array) -> NDArray[np.intp]:
        """The plane under each of (n, 2) places."""
        if self.found is not None:
            return self.found.label(xy)
        bare = Roof(self.outline, tuple(Facet(p, 0, 0, 0) for p in self.polygons))
        return np.array(self.plane)[bare.facet_at(xy)]


def split_outline(outline: Polygon, breaks: Sequence[Break]) -> list[Polygon]:
    """The outline cut along its break lines; a scrap that a line clips off a corner goes with its neighbour."""
    # carried a little past the wall or line that they end at, so that no rounding leaves a facet open; by way of their
    # own ends, where two that run on in one line meet
    lines = unary_union([outline.exterior, *(_through(b.line, carried(b.line, 0.05)) for b in breaks)])
    parts = [p for p in polygonize(lines) if p.area > 1 and outline.buffer(0.01).covers(p)]
    for scrap in sorted((p for p in parts if p.area < LEAST_FACET), key=lambda p: p.area):
        if not any(p is scrap for p in parts):  # it has taken a smaller one in
            continue
        others = [p for p in parts if p is not scrap]
        shared = [p.exterior.intersection(scrap.exterior).length for p in others]
        if shared and max(shared) > 0:
            host = others.pop(int(np.argmax(shared)))
            whole = host.union(scrap)
            if isinstance(whole, Polygon):
                parts = [*others, whole]
    return parts


def _through(line: LineString, beyond: LineString) -> LineString:
    """A line run on to the ends of another along it, with its own corners."""
    return LineString([beyond.coords[0], *line.coords, beyond.coords[-1]])


def _continuity(polygons: Sequence[Polygon]) -> Array:
    """Rows (c, 3 facets) that vanish when neighbouring planes agree at both ends of their common edge.

    Ends that rounding put a hair apart are one place: where four facets meet, three agreements then make the fourth.
    """
    pairs, ends = [], []
    for i, p in enumerate(polygons):
        for j in range(i + 1, len(polygons)):
            shared = shapely.line_merge(polygons[j].exterior.intersection(p.exterior.buffer(TOUCH)))
            corners = shapely.multipoints(shapely.get_coordinates([p, polygons[j]]))
            for part in getattr(shared, "geoms", [shared]):
                if part.geom_type == "LineString" and part.length >= SHORT_EDGE:
                    for end in (part.coords[0], part.coords[-1]):
                        pairs.append((i, j))
                        ends.append(nearest_points(corners, Point(end))[0].coords[0])
    if not ends:
        return np.zeros((0, 3 * len(polygons)))
    at = np.array(ends)
    near = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1)) < ONE_PLACE
    _, place = connected_components(near, directed=False)
    at = np.array([at[place == k].mean(axis=0) for k in place])
    one, other = np.array(pairs).T
    height = np.column_stack([np.ones(len(at)), at])
    rows = np.zeros((len(at), len(polygons), 3))
    rows[np.arange(len(at)), one], rows[np.arange(len(at)), other] = height, -height
    return rows.reshape(len(at), -1)


def _fit(shape: _Shape, readings: Sequence[AdjustedLevel], xy: Array, z: Array, sigma: float,
         checks: list[Check]) -> Roof:
    outline, n = shape.outline, shape.planes
    if len(readings) < 3:
        stop = check("roof-not-measured", "stop", value=len(readings), limit=3, unit="EA", where="roof",
                     what="the roof", need=3)
        return Roof(outline, (), shape.breaks, checks=(*checks, stop))

    under = shape.plane_under(xy)
    scale = np.tile([1.0, 100.0, 100.0], n)  # slopes count per 100 in, so that the system is well scaled
    rows = design_rows(xy, under, n) / scale
    basis = _null_space(_continuity(shape.polygons) / scale) if shape.found is None else np.eye(3 * n)
    fit = least_squares(rows, z, basis, np.ones(len(z), bool))
    if fit.free:
        return Roof(outline, (), shape.breaks, checks=(*checks, *_unmeasured(shape.polygons, under, fit, basis, rows)))

    humps = _humps(rows, xy, z, basis, sigma)
    use, fit, wild = _without_wild(rows, z, basis, fit, sigma, [i for group in humps for i in group])
    # wild readings are out; lesser ones stay, but beyond the anomaly's limit the further off the less they pull (the
    # square of Huber's weights, P. J. Huber, Ann. Math. Statist. 35, 1964)
    for _ in range(HUBER_ROUNDS):
        _, sigmas = against_the_others(fit, use, sigma)
        fit = least_squares(rows, z, basis, use * np.minimum(1.0, ANOMALY_SIGMAS / np.maximum(sigmas, 1e-9)) ** 2)
    offset, sigmas = against_the_others(fit, use, sigma)
    lone, borne_out = _lone(wild, xy, offset, sigma, humps)
    planes = (fit.x / scale).reshape(n, 3)
    if shape.found is not None:  # the planes moved a hair since they were found, and so did the folds
        shape = _Shape.of_planes(outline, replace(shape.found, planes=planes))
    left = z - design_rows(xy, shape.plane_under(xy), n) @ planes.ravel()  # a reading may have changed sides of a fold
    odd = np.flatnonzero(use & (sigmas >= ANOMALY_SIGMAS) & (np.abs(left) >= ANOMALY_LEAST))
    anomalies = tuple(
        Anomaly(readings[i].point, float(left[i]), float(sigmas[i]))
        for i in sorted({i for group in borne_out for i in group} | set(odd.tolist()), key=lambda i: -abs(left[i]))
        if abs(left[i]) >= ANOMALY_LEAST  # beside a hump that left the fit a reading may be on the roof again
    )
    facets = tuple(
        Facet(p, float(planes[k, 0]), float(planes[k, 1]), float(planes[k, 2]), rms(fit.residual[use & (under == k)]),
              _read_over(p, xy[use]))
        for p, k in zip(shape.polygons, shape.plane, strict=True)
    )
    gain = sigma * fit.gain / scale[:, None]
    if shape.found is None:
        gain = np.hstack([gain, _of_places(_continuity(shape.polygons), rows[use], basis, scale, planes)])
    covariance = gain @ gain.T
    sources = tuple(r.point for r in readings)
    breaks = _with_error(shape, planes, covariance)
    each = (3 * np.array(shape.plane)[:, None] + np.arange(3)).ravel()
    roof = Roof(outline, facets, breaks, anomalies, tuple((readings[i].point,) for i in lone),
                covariance[np.ix_(each, each)], (), raise_mounds(borne_out, xy, left, sigma), gain[each],
                sources + ("",) * (gain.shape[1] - len(sources)))
    suspected = [(readings[i].point, float(offset[i])) for i in lone]
    checks += _roof_checks(roof, suspected, rms(fit.residual[use]), sigma)
    return replace(roof, checks=tuple(checks))


def _read_over(polygon: Polygon, xy: Array) -> BaseGeometry:
    """The hull of the readings on a facet and its folds; of all, where it has none and its neighbours' fix it."""
    spots = shapely.points(xy)
    own = shapely.distance(spots, polygon) <= AGREE_WITHIN
    return shapely.multipoints(spots[own] if own.any() else spots).convex_hull


def _humps(rows: Array, xy: Array, z: Array, basis: Array, sigma: float) -> list[list[int]]:
    """Groups of readings that stand on a hump or in a low, where what is left fits the planes as sound readings do."""

    def fitted(use: NDArray[np.bool_]) -> Array | None:
        under = least_squares(rows, z, basis, use)
        return None if under.free else under.residual / sigma

    humps = find_humps(xy, fitted)
    use = np.ones(len(z), bool)
    use[[i for group in humps for i in group]] = False
    off = fitted(use) if humps else None
    return humps if off is not None and cost_of(off[use], []) <= usual_cost(int(use.sum()), basis.shape[1]) else []


def _without_wild(rows: Array, z: Array, basis: Array, fit: PlaneFit, sigma: float,
                  on_humps: Sequence[int]) -> tuple[NDArray[np.bool_], PlaneFit, list[int]]:
    """The readings in use once the wild ones are out, worst first, the fit of those, and which are wild."""
    use, whole = np.ones(len(z), bool), fit
    use[list(on_humps)] = False
    if len(on_humps):
        fit = whole = least_squares(rows, z, basis, use)
    critical = critical_value(len(z))
    wild: list[int] = []
    while use.sum() > basis.shape[1] + 1:
        offset, sigmas = against_the_others(fit, use, sigma)
        open_to_doubt = np.where(use & (np.abs(offset) >= ANOMALY_LEAST), sigmas, 0.0)
        worst = int(np.argmax(open_to_doubt))
        trial = use.copy()
        trial[worst] = False
        without = least_squares(rows, z, basis, trial)
        if open_to_doubt[worst] <= critical or without.free:
            break
        use, fit = trial, without
        wild.append(worst)
    if len(wild) > max(2, len(z) // 5):
        # so many cannot all be slips: the roof is not of these planes, and all readings say so
        return np.isin(np.arange(len(z)), on_humps, invert=True), whole, []
    return use, fit, wild


def _of_places(constraint: Array, rows: Array, basis: Array, scale: Array, planes: Array) -> Array:
    """How far each end of a given break line, read by eye and off by `PLACE_SIGMA`, moves the planes (3 facets, ends).

    Along the line as given the planes are made to agree; in truth they differ there by how much the slope changes
    across it, times how far off it was read. `rows` and `basis` count slopes by `scale`.
    """
    if not len(constraint):
        return np.zeros((len(scale), 0))
    one, other = (constraint[:, ::3] == 1).argmax(axis=1), (constraint[:, ::3] == -1).argmax(axis=1)
    apart = PLACE_SIGMA * np.hypot(*(planes[one, 1:] - planes[other, 1:]).T)
    moved = np.linalg.pinv(constraint / scale)
    return np.asarray((moved - basis @ (np.linalg.pinv(rows @ basis) @ (rows @ moved))) * apart / scale[:, None])


def _with_error(shape: _Shape, planes: Array, covariance: Array) -> tuple[Break, ...]:
    """The breaks; a found one with the standard error of its place [in], at its worse end."""
    if shape.found is None:
        return shape.breaks
    placed = []
    for b, i, j in folds_of(shape.found, shape.outline):
        if b.line.length < SAME_LINE:  # where four planes all but meet in a point
            continue
        ends = np.array(b.line.coords)
        rows = design_rows(ends, np.full(2, i), len(planes)) - design_rows(ends, np.full(2, j), len(planes))
        height = np.sqrt(np.einsum("ij,jk,ik->i", rows, covariance, rows)).max()
        placed.append(replace(b, se=float(height / np.hypot(*(planes[i, 1:] - planes[j, 1:])))))
    return tuple(placed)


def _null_space(constraint: Array) -> Array:
    """Columns that span the parameters for which every row vanishes."""
    if not len(constraint):
        return np.eye(constraint.shape[1])
    _, s, vt = np.linalg.svd(constraint)
    rank = int((s > 1e-9 * s[0]).sum())
    return np.asarray(vt[rank:].T)


def _unmeasured(polygons: Sequence[Polygon], facet: NDArray[np.intp], fit: PlaneFit, basis: Array,
                rows: Array) -> list[Check]:
    """A stop for every facet whose plane its readings and its neighbours' do not fix."""
    stops = []
    null = basis @ _null_space(rows @ basis)
    for k, p in enumerate(polygons):
        if np.abs(null[3 * k : 3 * k + 3]).max() > 1e-9:
            have = int((facet == k).sum())
            stops.append(check("roof-not-measured", "stop", value=have, limit=max(3, have + 1), unit="EA",
                               where=where_words(p), what=f"the facet at {where_words(p)}", need=max(3, have + 1)))
    return stops


def _lone(wild: Sequence[int], xy: Array, offset: Array, sigma: float,
          humps: Sequence[list[int]]) -> tuple[list[int], list[list[int]]]:
    """Wild readings split into lone ones, and groups that a repeat or a near neighbour bears out, with the `humps`."""
    lone: list[int] = []
    groups = list(humps)
    for i in wild:
        if any(i in group for group in groups):
            continue
        near = np.hypot(*(xy - xy[i]).T) <= AGREE_WITHIN
        agree = np.flatnonzero(near & (np.abs(offset - offset[i]) <= 4 * sigma)).tolist()
        agree = [k for k in agree if not any(k in group for group in groups)]
        if len(agree) > 1:
            groups.append(agree)
            lone = [k for k in lone if k not in agree]
        else:
            lone.append(i)
    return lone, groups


def _roof_checks(roof: Roof, lone: Sequence[tuple[str, float]], rms: float, sigma: float) -> list[Check]:
    found = []
    facets, breaks = roof.facets, roof.breaks
    for point, off in lone:
        found.append(check("level-suspect", "caution", value=off, limit=4 * sigma, where=point,
                           off=length.write(abs(off)), side="above" if off > 0 else "below"))
    for a in roof.anomalies:
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
                           where=where_words(steep.polygon)))
    for b in breaks:
        if b.se is not None:
            found.append(check("breakline-found", "caution", value=2 * b.se, limit=FOLD_WITHIN, kind=b.kind,
                               where=where_words(b.line)))
    corners = np.concatenate([shapely.get_coordinates(f.polygon) for f in facets])
    beyond, error = roof.beyond_readings(corners), roof.standard_error(corners)
    far = int(np.argmax(beyond))
    found.append(check("roof-extrapolated", "caution" if beyond[far] > NOT_READ else "ok", value=float(beyond[far]),
                       limit=NOT_READ, where=f"x {corners[far, 0]:.0f}, y {corners[far, 1]:.0f}",
                       error=f"{error[far]:.2f}"))
    for b in breaks:
        middle = np.array(b.line.interpolate(0.5, normalized=True).coords[0])
        u = np.diff(np.array(b.line.coords)[[0, -1]], axis=0)[0] / b.line.length
        side = np.array([middle + 12 * np.array([-u[1], u[0]]), middle - 12 * np.array([-u[1], u[0]])])
        k = roof.facet_at(side)
        fold = sum(float(facets[j].height(p[None])[0]) for j, p in zip(k, side, strict=True)) / 2 - float(
            facets[k[0]].height(middle[None])[0])
        wrong = fold > 1 / 32 if b.kind == "ridge" else fold < -1 / 32
        if wrong and k[0] != k[1]:
            found.append(check("breakline-kind", "caution", value=abs(fold), limit=0.0, where=where_words(b.line),
                               kind=b.kind, other="valley" if b.kind == "ridge" else "ridge"))
    return found


