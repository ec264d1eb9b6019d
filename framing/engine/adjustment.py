"""Adjustment: the first stage, from tapes and level readings to points with standard errors and what does not close."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from framing.engine import length
from framing.engine.checks import Check, check
from framing.engine.closure import CHECKED, Figure, Fit, critical_value, gross_slips, snoop, worst_figure
from framing.engine.documents import DocumentRefused, Fault, Survey
from framing.engine.first_shape import at_once, flipped, general_position, loose, shapes
from framing.engine.further_tapes import Extra, further_tapes, reachable
from framing.engine.levels import AdjustedLevel, adjust_levels, compare_repeats, datum_drift
from framing.engine.network import Floats, Network, Normal, fit, misfits, normal
from framing.reference import surveying

__all__ = ["AdjustedLevel", "AdjustedTape", "Adjustment", "PlanPoint", "adjust", "critical_value"]

ON_ROOF = frozenset({"roof", "ridge", "valley", "paver", "ballast", "old-deck"})
"""Surfaces whose readings lie inside the outline; outlets, thresholds and parapets stand on its edge."""

_SHAPES = 32  # first shapes that are fitted
_ASKED = 40  # tapes and points named in an advice
_NEAREST = 32  # points nearest to doubtful readings between which further tapes are sought
_DOUBTFUL = 40  # readings between which further tapes are to decide


@dataclass(frozen=True)
class Ellipse:
    """Standard ellipse of a point: semi-axes `a` >= `b` [in], `direction` of the longer, 0 to 180 [degrees from +x].

    Along each axis the point has that standard error; both are 0 for a given position.
    """

    a: float
    b: float
    direction: float

    def as_json(self) -> dict[str, float]:
        return {"a": self.a, "b": self.b, "direction": self.direction}


@dataclass(frozen=True)
class PlanPoint:
    """A point in plan [in] and what the readings leave uncertain of it."""

    x: float
    y: float
    ellipse: Ellipse

    @property
    def se(self) -> float:
        """Standard error along the worst direction [in], 0 for a given position."""
        return self.ellipse.a

    def as_json(self) -> dict[str, Any]:
        return {"x": self.x, "y": self.y, "se": self.se, "ellipse": self.ellipse.as_json()}


@dataclass(frozen=True)
class AdjustedTape:
    """A tape as read and as the points have it, `residual = measured - adjusted`. [in]

    `redundancy` (0 to 1) is the share of a slip in this tape that its residual shows; `standardised` is the residual
    over its standard error. Both are 0 where nothing checks the tape or it was left out: a suspect that could be
    told from all others was.
    """

    from_: str
    to: str
    measured: float
    adjusted: float
    residual: float
    suspect: bool
    redundancy: float
    standardised: float

    @property
    def name(self) -> str:
        return f"{self.from_}-{self.to}"

    def as_json(self) -> dict[str, Any]:
        return {
            "from": self.from_, "to": self.to, "measured": self.measured, "adjusted": self.adjusted,
            "residual": self.residual, "suspect": self.suspect,
            "redundancy": self.redundancy, "standardised": self.standardised,
        }  # fmt: skip


@dataclass(frozen=True)
class Adjustment:
    """What the survey says once its readings have been made to agree.

    `area_sqft`, `area_se` [sq ft] are None and `angles` [degrees] empty where a corner is not fixed.
    """

    points: Mapping[str, PlanPoint]
    tapes: tuple[AdjustedTape, ...]
    misclosure: float | None
    suspects: tuple[tuple[str, ...], ...]
    angles: Mapping[str, float]
    area_sqft: float | None
    area_se: float | None
    datum_drift: float | None
    levels: tuple[AdjustedLevel, ...]
    checks: tuple[Check, ...]

    def as_json(self) -> dict[str, Any]:
        """The `survey_adjustment` object of deck-framing/1."""
        return {
            "points": {name: point.as_json() for name, point in self.points.items()},
            "tapes": [tape.as_json() for tape in self.tapes],
            "misclosure": self.misclosure,
            "suspects": [list(names) for names in self.suspects],
            "angles": dict(self.angles),
            "area_sqft": self.area_sqft,
            "area_se": self.area_se,
            "datum_drift": self.datum_drift,
        }


def adjust(survey: Survey) -> Adjustment:
    """Points, tapes, suspects, misclosure and levels of a survey.

    Returns
    -------
    Adjustment
        Points that the readings do not fix are left out, and a check of status stop says what to measure.

    Raises
    ------
    DocumentRefused
        If the outline crosses itself, two corners fall on one spot, or tapes cannot close.
    """
    whole = _network(survey)
    net, lost, missing = _determined(whole)
    xy, other, reason = _shape(survey, net)
    shaped, taken = net, xy
    net, xy, in_line = _without_points_in_line(survey, net, xy)
    readings = whole.rows + len(survey.levels)
    critical = critical_value(readings)
    found = snoop(net, xy, critical)
    if gross := gross_slips(found):
        given = [f"about {length.write(float(net.length[k] - found.slip[k]))} in, as the others give" for k in gross]
        raise _cannot_close(survey, net, gross, given)

    points = _points(survey, found)
    angles, area, area_se = _outline(survey, points, found.normal)
    tapes = _tapes(survey, found, points)
    figure = worst_figure(found)
    levels, wild_levels = compare_repeats(
        adjust_levels(survey.levels, survey.datum_checks), survey.level_sigma, critical
    )
    suspects = dict.fromkeys(net.reading(row) for group in found.named for row in group)
    return Adjustment(
        points=points,
        tapes=tapes,
        misclosure=None if figure is None else abs(figure.misses),
        suspects=(*suspects, *((name,) for name in wild_levels)),
        angles=angles,
        area_sqft=area,
        area_se=area_se,
        datum_drift=datum_drift(survey.datum_checks),
        levels=levels,
        checks=(
            *_fixing_checks(survey, whole, lost, missing, in_line, points),
            *([] if in_line else _shape_checks(shaped, taken, other, reason)),
            *_closing_checks(survey, found, points, figure, readings),
            *_slip_checks(survey, tapes, critical),
            *_datum_checks(survey),
        ),
    )


# --- the network -----------------------------------------------------------------------------------------------

def _taped(survey: Survey) -> list[str]:
    return [name for tape in survey.tapes for name in (tape.from_, tape.to)]


def _network(survey: Survey) -> Network:
    """Corners and taped points; other positions stand as given."""
    names = tuple(dict.fromkeys([*survey.corners, *_taped(survey)]))
    at = {name: k for k, name in enumerate(names)}
    known = np.array([survey.positions.get(name, (np.nan, np.nan)) for name in names], dtype=float)
    given = ~np.isnan(known)
    observed = np.flatnonzero(given[:, 0]) if survey.position_sigma else np.zeros(0, dtype=int)
    free = np.ones_like(given) if survey.position_sigma else ~given
    axis = None
    if not any(corner in survey.positions for corner in survey.corners):
        axis = (at[survey.corners[0]], at[survey.corners[1]])
        known[axis[0]] = 0.0
        free[axis[0]] = False
        free[axis[1], 1] = False
    return Network(
        names=names,
        known=known,
        free=free,
        ends=np.array([(at[t.from_], at[t.to]) for t in survey.tapes], dtype=int).reshape(-1, 2),
        place=np.arange(len(survey.tapes)),
        length=np.array([t.length for t in survey.tapes], dtype=float),
        sigma=survey.tape_sigma,
        observed=observed,
        position_sigma=survey.position_sigma or 1.0,
        axis=axis,
    )


def _determined(net: Network) -> tuple[Network, set[str], int]:
    """The part of the network that its readings fix, the names of the rest, and how many readings that rest lacks."""
    missing, directions = loose(net)
    lost = set[str]()
    while (moving := np.abs(directions).max(axis=(1, 2), initial=0.0) > 1e-6).any():
        lost |= {net.names[k] for k in np.flatnonzero(moving)}
        net = net.without(np.flatnonzero(moving))
        directions = loose(net)[1]
    return net, lost, missing


def _shape(survey: Survey, net: Network) -> tuple[Floats, Floats | None, str]:
    """The fitted shape that is taken, the best other one (no mere mirror image) that fits as well, and why not that.

    Of shapes that fit alike, the one is taken whose outline does not cross itself, then that holds most roof
    readings, then that has the larger area, then that holds most ties, then that lies at y > 0.
    """
    if not len(net.names):
        return np.zeros((0, 2)), None, ""
    fits = fit(net, shapes(net)[: at_once(net, _SHAPES)], rounds=5)
    cost = (misfits(net, fits) ** 2).sum(axis=-1)
    fits = fit(net, fits[cost <= 10 * cost.min() + 1000.0], rounds=25)  # a shape still so far off will not come near
    cost = (misfits(net, fits) ** 2).sum(axis=-1)
    alike = fits[cost <= cost.min() + 9.0]  # as good within three standard errors of one reading
    alike = np.concatenate([alike, flipped(net, alike[0])])
    if net.two_sided:
        alike = np.concatenate([alike, alike * [1.0, -1.0]])
        alike = alike[np.argsort(-alike[..., 1].mean(axis=1), kind="stable")]
    if not set(survey.corners) <= set(net.names):
        return alike[0], None, ""
    ring = alike[:, : len(survey.corners)]
    outlines = shapely.polygons(ring)
    simple = shapely.is_valid(outlines)
    places, ties = _roof_readings(survey, net)
    held, within = np.zeros((2, len(ring)))
    for k in np.flatnonzero(simple):
        held[k] = shapely.contains_xy(outlines[k], np.concatenate([places, alike[k, ties]])).sum()
        within[k] = shapely.contains_xy(outlines[k], alike[k, len(survey.corners) :]).sum()
    area = np.round(shapely.area(outlines))
    rank = np.lexsort((ring[..., 1].mean(axis=1), within, area, held, simple))[::-1]
    best, spans = rank[0], _spans(alike[rank[0]])
    for k in rank[1:][simple[rank[1:]]]:
        if np.abs(_spans(alike[k]) - spans).max(initial=0.0) > 1.0:
            if held[best] > held[k] and np.abs(_spans(ring[k]) - _spans(ring[best])).max() < 1.0:
                continue  # a tie beside the roof that was read as on it
            reason = ("holds more of the roof readings" if held[best] > held[k] else
                      "has the larger area" if area[best] > area[k] else
                      "has more of the points on the roof" if within[best] > within[k] else
                      "fits no worse")  # fmt: skip
            return alike[best], alike[k], reason
    return alike[best], None, ""


def _roof_readings(survey: Survey, net: Network) -> tuple[Floats, list[int]]:
    """Where the roof was read: positions, shape (k, 2) [in], and ties that the tapes locate."""
    read = dict.fromkeys(level.point for level in survey.levels if level.on in ON_ROOF)
    places = [survey.positions[name] for name in read if name in survey.positions]
    at = {name: k for k, name in enumerate(net.names) if name not in survey.corners}
    ties = [at[name] for name in read if name in at and name not in survey.positions]
    return np.array(places, dtype=float).reshape(-1, 2), ties


def _spans(ring: Floats) -> Floats:
    """Distance between each pair of points, shape (..., pairs). [in]"""
    i, j = np.triu_indices(ring.shape[-2], 1)
    step = ring[..., i, :] - ring[..., j, :]
    return np.asarray(np.hypot(step[..., 0], step[..., 1]))


def _without_points_in_line(survey: Survey, net: Network, xy: Floats) -> tuple[Network, Floats, set[str]]:
    """The network without points that lie in line with all their tapes: nothing holds those sideways.

    Tapes too short to meet also end in a line, with a gap; they are refused.
    """
    in_line: set[str] = set()
    while (sideways := _swing(normal(net, xy), xy) > surveying.LOST_POINT).any():
        gap = misfits(net, xy)[: len(net.length)] * net.sigma
        open_ = np.flatnonzero((np.abs(gap) > max(1.0, 6 * net.sigma)) & sideways[net.ends].any(axis=1))
        if len(open_):
            given = [f"about {length.write(float(net.length[k] - gap[k]))} in" for k in open_]
            raise _cannot_close(survey, net, open_, given)
        in_line |= {net.names[k] for k in np.flatnonzero(sideways)}
        net, xy = net.without(np.flatnonzero(sideways)), xy[~sideways]
        xy = fit(net, xy[None])[0]
    return net, xy, in_line


# --- results ---------------------------------------------------------------------------------------------------

def _axes(covariance: Floats) -> tuple[Floats, Floats, Floats]:
    """Semi-axes a >= b [in] and direction of a [degrees, 0 to 180] of standard ellipses, from shape (n, 2, 2) [in2].

    Eigenvalues and eigenvectors of a symmetric 2 x 2 matrix in closed form.
    """
    xx, xy, yy = covariance[:, 0, 0], covariance[:, 0, 1], covariance[:, 1, 1]
    middle, reach = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    a, b = (np.sqrt(np.maximum(part, 0.0)) for part in (middle + reach, middle - reach))
    return a, b, np.degrees(np.arctan2(2 * xy, xx - yy)) / 2 % 180


def _swing(normal: Normal, xy: Floats) -> Floats:
    """Standard error of each point along its worst direction; in the figure itself where nothing else is given. [in]

    There the frame hangs on the first side alone, and the far end of a long figure swings with it as a whole. What
    the figure moves as a whole is taken out (S-transformation: W. Baarda, S-Transformations and Criterion Matrices,
    1973).
    """
    net, covariance = normal.net, normal.points
    swing = _axes(covariance)[0]
    if net.two_sided:
        off = xy - xy.mean(axis=0)
        whole = np.zeros((*xy.shape, 3))  # to move along x, along y, to turn
        whole[:, 0, 0] = whole[:, 1, 1] = 1.0
        whole[..., 2] = np.column_stack([-off[:, 1], off[:, 0]])
        moved = np.zeros_like(whole)
        moved[net.free] = normal.solve(whole[net.free])
        share = whole / (whole**2).sum(axis=(0, 1))
        both = np.einsum("nik,njk->nij", moved, share)
        spread = np.einsum("nik,nil->kl", whole, moved)
        covariance = covariance - both - both.transpose(0, 2, 1) + np.einsum("nik,kl,njl->nij", share, spread, share)
        swing = np.minimum(swing, _axes(covariance)[0])
    return swing


def _points(survey: Survey, found: Fit) -> dict[str, PlanPoint]:
    given = float(survey.position_sigma or 0.0)
    points = {name: PlanPoint(x, y, Ellipse(given, given, 0.0)) for name, (x, y) in survey.positions.items()}
    ellipses = np.column_stack(_axes(found.normal.points)).tolist()
    for name, (x, y), ellipse in zip(found.net.names, found.xy.tolist(), ellipses, strict=True):
        points[name] = PlanPoint(x, y, Ellipse(*ellipse))
    order = dict.fromkeys([*survey.corners, *survey.positions, *_taped(survey)])
    return {name: points[name] for name in order if name in points}


def _tapes(survey: Survey, found: Fit, points: Mapping[str, PlanPoint]) -> tuple[AdjustedTape, ...]:
    row_of = {int(k): row for row, k in enumerate(found.net.place)}
    named = {row for group in found.named for row in group}
    tapes = []
    for k, tape in enumerate(survey.tapes):
        row = row_of.get(k)
        if row is None:  # it runs to a point that is not fixed: nothing contradicts it
            tapes.append(AdjustedTape(tape.from_, tape.to, tape.length, tape.length, 0.0, False, 0.0, 0.0))
            continue
        a, b = points[tape.from_], points[tape.to]
        adjusted = float(np.hypot(a.x - b.x, a.y - b.y))
        tapes.append(AdjustedTape(
            tape.from_, tape.to, tape.length, adjusted, tape.length - adjusted, row in named,
            float(found.redundancy[row]), float(found.standardised[row]),
        ))  # fmt: skip
    return tuple(tapes)


def _outline(
    survey: Survey, points: Mapping[str, PlanPoint], normal: Normal
) -> tuple[dict[str, float], float | None, float | None]:
    """Interior angles [degrees], area and its standard error [sq ft]; refuses an outline that crosses itself."""
    corners, net = survey.corners, normal.net
    if not set(corners) <= set(net.names):
        return {}, None, None
    xy = np.array([(points[c].x, points[c].y) for c in corners])
    after, before = np.roll(xy, -1, axis=0) - xy, np.roll(xy, 1, axis=0) - xy
    if not shapely.Polygon(xy).is_valid or np.hypot(*after.T).min() < 0.5:
        around = np.argsort(np.arctan2(*(xy - xy.mean(axis=0)).T[::-1]), kind="stable")
        around = np.roll(around, -int(around.argmin()))
        raise DocumentRefused((Fault(
            "/corners", ", ".join(corners),
            "the corners in order round the roof, such as " + ", ".join(corners[k] for k in around),
            "by the tapes and positions the outline crosses itself, or two of its corners fall on one spot",
            "roof-survey/1",
        ),))  # fmt: skip

    twice = float(xy[:, 0] @ np.roll(xy[:, 1], -1) - xy[:, 1] @ np.roll(xy[:, 0], -1))
    cross = after[:, 0] * before[:, 1] - after[:, 1] * before[:, 0]
    angle = np.degrees(np.arctan2(np.sign(twice) * cross, (after * before).sum(axis=1))) % 360
    slope = np.zeros((len(net.names), 2))  # of the area by each coordinate [in]
    at = [net.names.index(c) for c in corners]
    slope[at, 0] = (np.roll(xy[:, 1], -1) - np.roll(xy[:, 1], 1)) / 2
    slope[at, 1] = (np.roll(xy[:, 0], 1) - np.roll(xy[:, 0], -1)) / 2
    variance = float(slope[net.free] @ normal.solve(slope[net.free]))
    angles = {c: float(a) for c, a in zip(corners, angle, strict=True)}
    return angles, abs(twice) / 288, float(np.sqrt(max(variance, 0.0))) / 144


def _cannot_close(survey: Survey, net: Network, rows: Iterable[int], expected: Iterable[str]) -> DocumentRefused:
    rows = [int(row) for row in rows]
    figure = _listed("-".join(net.reading(row)) for row in rows)
    return DocumentRefused(tuple(
        Fault(f"/tapes/{net.place[row]}/2", f"{length.write(float(net.length[row]))} in", words,
              f"the tapes {figure} cannot close", "roof-survey/1")
        for row, words in zip(rows, expected, strict=True)
    ))  # fmt: skip


# --- checks ----------------------------------------------------------------------------------------------------

def _listed(words: Iterable[str], last: str = "and") -> str:
    *most, end = words
    return f"{', '.join(most)} {last} {end}" if most else end


def _fixing_checks(
    survey: Survey, whole: Network, lost: set[str], missing: int, in_line: set[str], points: Mapping[str, PlanPoint]
) -> list[Check]:
    """Stops for corners and points in use that stand nowhere, cautions for ties, and points only weakly fixed."""
    checks = []
    needed = set(survey.corners) | _used_names(survey)
    unfixed = [name for name in whole.names if name in lost]
    if unfixed:
        tapes, rest = _missing_tapes(whole)
        asks = (("tape", tapes), ("give the position of", rest))
        advice = [f"{verb} {_listed(names)}" for verb, names in asks if names]
        checks.append(check(
            "corner-not-fixed", "stop" if set(unfixed) & needed else "caution", value=0, limit=missing,
            unit="readings", where=_listed(unfixed), advice=_listed(advice), missing=missing,
        ))  # fmt: skip
    for name in (name for name in whole.names if name in in_line):
        others = {t.to if t.from_ == name else t.from_: None for t in survey.tapes if name in (t.from_, t.to)}
        free = [c for c in survey.corners if c not in others and c != name and c in points]
        checks.append(check(
            "point-in-line", "stop" if name in needed else "caution", where=name, others=_listed(others),
            advice=f"tape it to {_listed(free, 'or')} as well" if free else "give its position",
        ))  # fmt: skip
    weak = {name: points[name].se for name in whole.names if name in points and points[name].se > surveying.WEAK_POINT}
    if weak:
        worst = max(weak, key=lambda name: weak[name])
        checks.append(check("point-weak", "caution", value=weak[worst], limit=surveying.WEAK_POINT,
                            where=_listed(weak), worst=worst))  # fmt: skip
    return checks


def _used_names(survey: Survey) -> set[str]:
    """Points that later stages need a place for."""
    names = {level.point for level in survey.levels} | {outlet.point for outlet in survey.outlets}
    names |= {name for line in survey.breaklines for name in line.points}
    names |= {name for door in survey.all_doors for name in door.points}
    names |= {name for obstacle in survey.obstacles for name in obstacle.points or ()}
    return names | {obstacle.point for obstacle in survey.obstacles if isinstance(obstacle.point, str)}


def _missing_tapes(net: Network) -> tuple[list[str], list[str]]:
    """Tapes that would fix every point, sides before diagonals; and points whose place must be given instead."""
    directions = loose(net)[1]
    general = general_position(net)
    n, tapes = len(net.names), list[str]()
    for step in range(1, n // 2 + 1):
        near = np.arange(n if 2 * step < n else step)  # each point and the one so many places further round
        ends = np.sort(np.column_stack([near, (near + step) % n]), axis=1)
        ends = ends[np.lexsort(ends.T[::-1])]
        apart = general[ends[:, 0]] - general[ends[:, 1]]
        apart /= np.maximum(np.hypot(*apart.T), 1e-9)[:, None]  # of two points on one spot neither way counts
        while directions.shape[2]:
            seen = np.einsum("pk,pkd->pd", apart, directions[ends[:, 0]] - directions[ends[:, 1]])
            held_by = np.flatnonzero(np.linalg.norm(seen, axis=1) > 1e-6)
            if not len(held_by):
                break
            k = held_by[0]
            directions = directions @ np.linalg.svd(seen[k : k + 1], full_matrices=True)[2][1:].T
            tapes.append("-".join(net.names[p] for p in ends[k]))
    size = np.abs(directions).max(axis=(1, 2), initial=0.0)
    return tapes, [net.names[int(size.argmax())]] if directions.shape[2] else []


def _shape_checks(net: Network, taken: Floats, other: Floats | None, reason: str) -> list[Check]:
    """Where tapes fit a second shape as well: which pair of points would settle it."""
    if other is None:
        return []
    first, second = _spans(taken), _spans(other)
    k = int(np.abs(first - second).argmax())
    i, j = np.triu_indices(len(net.names), 1)
    return [check(
        "shape-not-settled", "caution", value=float(first[k]), limit=float(second[k]),
        where=f"{net.names[i[k]]}-{net.names[j[k]]}", reason=reason,
    )]  # fmt: skip


def _closing_checks(
    survey: Survey, found: Fit, points: Mapping[str, PlanPoint], figure: Figure | None, readings: int
) -> list[Check]:
    net = found.net
    if not (found.redundancy > CHECKED).any() and not found.named:
        if not set(survey.corners) <= set(net.names):
            return []  # the stop says what to measure
        extra = _extras(survey, found, points, range(len(net.length)), readings)[:1]
        advice = (f"Tape {_again(found, extra[0].tapes[0], ' as well')}." if extra
                  else "Tape two corners that lie across the roof from each other, and compare.")  # fmt: skip
        return [check("no-redundancy", "caution", value=0, limit=1, unit="readings", where=_listed(survey.corners),
                      advice=advice)]  # fmt: skip
    if figure is None:
        return []
    over = abs(figure.misses) > survey.closure_tolerance
    tied = [row for group in found.named if found.used[group[0]] for row in group if row < len(net.length)]
    advice = f" {_advice(survey, found, points, figure, tied, readings)}" if over or tied else ""
    return [check(
        "misclosure", "caution" if over else "ok", value=abs(figure.misses), limit=survey.closure_tolerance,
        where=_listed(found.names(sorted(figure.rows))), tape=found.names([figure.row])[0],
        side="more" if figure.misses > 0 else "less", advice=advice,
    )]  # fmt: skip


def _extras(
    survey: Survey, found: Fit, points: Mapping[str, PlanPoint], doubtful: Sequence[int], readings: int
) -> tuple[Extra, ...]:
    """The best further tapes between corners, taped points and given points that are no mere spots on the roof."""
    doubtful = doubtful[:_DOUBTFUL]
    if not doubtful:
        return ()
    spots = {level.point for level in survey.levels if level.on in ON_ROOF} - set(found.net.names)
    places = {name: (p.x, p.y) for name, p in points.items() if name not in spots}
    middle = found.xy[[k for row in doubtful for k in found.net.ends[row]]].mean(axis=0)
    nearest = sorted(places, key=lambda name: np.hypot(*(places[name] - middle)))[:_NEAREST]
    names = [name for name in places if name in nearest]
    return further_tapes(
        found, doubtful, reachable(names, places, survey.corners, found), places,
        set(survey.positions) - set(survey.corners), outside_sigma=survey.position_sigma or 0.0, readings=readings,
    )  # fmt: skip


def _again(found: Fit, tape: tuple[str, str], new: str = "") -> str:
    return "-".join(tape) + (" again" if frozenset(tape) in found.net.taped else new)


def _advice(
    survey: Survey, found: Fit, points: Mapping[str, PlanPoint], figure: Figure, tied: Sequence[int], readings: int
) -> str:
    """Which further tapes to take, and how far they would settle the matter."""
    out = [group for group in found.named if not found.used[group[0]]]
    if {row for group in out for row in group} & set(figure.rows):
        return " ".join(_left_out(found, group) for group in out)
    doubtful = sorted(tied) or [row for row in sorted(figure.rows) if found.redundancy[row] > CHECKED]
    if (found.alike(doubtful) >= surveying.INSEPARABLE).sum() == len(doubtful):
        worst = max(doubtful, key=lambda row: abs(found.standardised[row]))
        return (f"One tape more would settle most: {found.names([worst])[0]} again. The others can tell each of these "
                "tapes from the rest, and it agrees least.")  # fmt: skip
    extras = _extras(survey, found, points, doubtful, readings)
    if not extras:
        return "Read each of these tapes a second time."
    one, *more = extras
    words = f"One tape more would settle most: {_again(found, one.tapes[0])}. {_parted(found, one)}"
    for several in more:
        words += (f" {_COUNTS[len(several.tapes)]} more tapes would settle it: "
                  f"{_listed(_again(found, tape) for tape in several.tapes)}; a slip under about {several.most:.1f} in "
                  f"in {found.names([several.weakest])[0]} stays hidden even then.")  # fmt: skip
    return words


def _left_out(found: Fit, group: Sequence[int]) -> str:
    worst, *others = found.names(group)
    if not others:
        return f"Tape {worst} again: it stands apart from all other readings and was left out of the adjustment."
    return (f"Tape {_listed([worst, *others])} again: {worst} stands apart most and was left out, but "
            f"the slip may as well be in {_listed(others, 'or')}.")  # fmt: skip


_COUNTS = {2: "Two", 3: "Three"}


def _parted(found: Fit, extra: Extra) -> str:
    """How far one further tape would tell the doubtful readings from each other."""
    hidden = f"a slip under about {extra.least:.1f} in stays hidden in what a tape may err."
    if len(extra.groups) == 1:
        return f"It would confirm a slip, yet not say in which of them; {hidden}"
    if extra.settle:
        return f"It would show which of them slipped; {hidden}"
    if all(len(group) == 1 for group in extra.groups):
        return f"It would tell them from each other, yet not each from every other reading; {hidden}"
    groups = ", or ".join(_listed(found.names(group), "or") for group in extra.groups)
    return (f"It would show where the slip is: in {groups}; within such a group it still could not say "
            f"in which, and {hidden}")  # fmt: skip


def _slip_checks(survey: Survey, tapes: Sequence[AdjustedTape], critical: float) -> list[Check]:
    """A note on tapes in which even a large slip would pass unseen."""
    power = (critical + surveying.POWER_QUANTILE) * survey.tape_sigma
    large = {tape.name: power / np.sqrt(tape.redundancy) if tape.redundancy > 1e-4 else np.inf
             for tape in tapes if not tape.suspect}  # fmt: skip
    large = {name: slip for name, slip in large.items() if slip > surveying.LARGE_SLIP}
    if not large or not any(tape.redundancy > CHECKED for tape in tapes):
        return []
    sized = [f"{slip:.1f} in in {name}" if np.isfinite(slip) else f"any size in {name}" for name, slip in large.items()]
    most = max((float(slip) for slip in large.values() if np.isfinite(slip)), default=None)
    return [check("undetected-slip", "note", value=most, limit=surveying.LARGE_SLIP, where=_listed(large),
                  slips=_listed(sized))]  # fmt: skip


def _datum_checks(survey: Survey) -> list[Check]:
    checks = []
    if survey.datum is None or not (survey.datum.what or survey.datum.where):
        checks.append(check("datum-not-described", "caution", unit="", where="datum"))
    drift = datum_drift(survey.datum_checks)
    if drift is not None:
        over = abs(drift) > surveying.DATUM_DRIFT
        checks.append(check(
            "datum-drift", "caution" if over else "ok", value=abs(drift), limit=surveying.DATUM_DRIFT, where="datum",
            way="lower" if drift > 0 else "higher", advice=" Read the levels again before cutting." if over else "",
        ))  # fmt: skip
    elif survey.levels:
        checks.append(check("datum-not-checked", "note", value=0, limit=1, unit="readings", where="datum"))
    return checks
