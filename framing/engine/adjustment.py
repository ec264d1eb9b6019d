"""Adjustment: the first stage, from tapes and level readings to points with standard errors and what does not close."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from scipy.special import ndtri

from framing.engine.checks import Check, check
from framing.engine.levels import AdjustedLevel, adjust_levels, compare_repeats, datum_drift
from framing.engine.network import Bools, Floats, Network, cofactors, fit, loose, misfits, shapes, slopes
from framing.reference import surveying

if TYPE_CHECKING:
    from framing.engine.documents import Fault, Survey

ON_ROOF = frozenset({"roof", "ridge", "valley", "paver", "ballast", "old-deck"})
"""Surfaces whose readings lie inside the outline; outlets, thresholds and parapets stand on its edge."""

_CHECKED = 1e-6  # redundancy number from which other readings check this one at all
_MISCLOSURE_FROM = 0.05  # and from which what the others give is worth calling a misclosure
_TIED = 1 - 1e-6  # correlation of residuals that rise and fall as one


@dataclass(frozen=True)
class PlanPoint:
    """A point in plan [in]; `se` is the standard error along the worst direction [in], 0 for a given position."""

    x: float
    y: float
    se: float

    def as_json(self) -> dict[str, float]:
        return {"x": self.x, "y": self.y, "se": self.se}


@dataclass(frozen=True)
class AdjustedTape:
    """A tape as read and as the points have it, `residual = measured - adjusted`. [in]

    `redundancy` (0 to 1) is the share of a slip in this tape that its residual shows; 0 means that nothing checks
    it. `standardised` is the residual over its standard error (0 where nothing checks it or it was left out).
    A `suspect` that could be told from all others was left out of the adjustment.
    """

    from_: str
    to: str
    measured: float
    adjusted: float
    residual: float
    suspect: bool
    redundancy: float
    standardised: float

    def as_json(self) -> dict[str, Any]:
        return {
            "from": self.from_, "to": self.to, "measured": self.measured, "adjusted": self.adjusted,
            "residual": self.residual, "suspect": self.suspect,
            "redundancy": self.redundancy, "standardised": self.standardised,
        }  # fmt: skip


@dataclass(frozen=True)
class Adjustment:
    """What the survey says once its readings have been made to agree.

    `area_sqft`, `area_se` [sq ft] and `angles` [degrees] are None and empty where a corner is not fixed.
    `covariance` [in2] runs over x and y of `covariance_points` in turn.
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
    covariance_points: tuple[str, ...] = ()
    covariance: Floats = field(default_factory=lambda: np.zeros((0, 0)), compare=False, repr=False)

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


def critical_value(readings: int) -> float:
    """Standardised residual that one of so many sound readings passes with a chance of 1 % in all.

    Two-sided normal, the risk shared out after Sidak (Journal of the American Statistical Association 62, 1967).
    """
    risk = 1 - (1 - surveying.FAMILY_RISK) ** (1 / max(readings, 1))
    return float(ndtri(1 - risk / 2))


def adjust(survey: Survey) -> Adjustment:
    """Points, tapes, suspects, misclosure and levels of a survey.

    Raises
    ------
    DocumentRefused
        If the outline crosses itself, a side has no length, or tapes cannot close.
    """
    whole, tape_of = _network(survey)
    net, lost, missing = _determined(whole)
    kept = np.array([not {survey.tapes[k].from_, survey.tapes[k].to} & lost for k in tape_of], dtype=bool)
    tape_of = tape_of[kept]
    _refuse_open_triangles(survey, net, tape_of)

    critical = critical_value(net.rows + len(survey.levels))
    levels, level_suspects = compare_repeats(
        adjust_levels(survey.levels, survey.datum_checks), survey.level_sigma, critical
    )
    xy, other = _shape(survey, net)
    flat = set[str]()
    while True:  # a point in line with all its tapes is fixed along them and nowhere else
        _, moving = loose(net, xy, surveying.LOST_POINT)
        if not moving.any():
            break
        flat |= {net.names[k] for k in np.flatnonzero(moving)}
        kept = ~moving[net.ends].any(axis=1)
        net, xy, tape_of, other = net.without(np.flatnonzero(moving)), xy[~moving], tape_of[kept], None
        xy = fit(net, xy[None])[0]

    found = _suspects(net, xy, critical)
    net_points = dict(zip(net.names, xy := found.xy, strict=True))
    _refuse_gross_slips(survey, net, tape_of, found)

    covariance = _full_covariance(net, found.covariance)
    error = np.sqrt(np.maximum(np.linalg.eigvalsh(_blocks(covariance))[:, -1], 0.0)) if len(net.names) else []
    points = {name: PlanPoint(float(p[0]), float(p[1]), float(e))
              for (name, p), e in zip(net_points.items(), error, strict=True)}  # fmt: skip
    for name, (x, y) in survey.positions.items():
        points.setdefault(name, PlanPoint(float(x), float(y), float(survey.position_sigma or 0.0)))
    points = {name: points[name] for name in _all_names(survey) if name in points}

    angles, area, area_se = _outline(survey, points, net, covariance)
    tapes = _tapes(survey, net, tape_of, found, points)
    suspects, tied = _named(survey, net, tape_of, found)
    figure = _misclosure(survey, net, tape_of, found)
    checks = [
        *_fixing_checks(survey, whole, lost, missing, flat, points),
        *_shape_checks(survey, net, xy, other),
        *_closing_checks(survey, net, tape_of, found, points, figure, tied),
        *_slip_checks(survey, tapes, critical),
        *_datum_checks(survey),
    ]
    return Adjustment(
        points=points,
        tapes=tapes,
        misclosure=None if figure is None else abs(figure.misses),
        suspects=(*suspects, *((name,) for name in level_suspects)),
        angles=angles,
        area_sqft=area,
        area_se=area_se,
        datum_drift=datum_drift(survey.datum_checks),
        levels=levels,
        checks=tuple(checks),
        covariance_points=net.names,
        covariance=covariance,
    )


# --- the network -----------------------------------------------------------------------------------------------

def _all_names(survey: Survey) -> list[str]:
    taped = (name for tape in survey.tapes for name in (tape.from_, tape.to))
    return list(dict.fromkeys([*survey.corners, *survey.positions, *taped]))


def _network(survey: Survey) -> tuple[Network, np.ndarray]:
    """The network of corners and taped points, and for each of its tapes the place in the survey's list."""
    taped = (name for tape in survey.tapes for name in (tape.from_, tape.to))
    names = tuple(dict.fromkeys([*survey.corners, *taped]))
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
    ends = np.array([(at[t.from_], at[t.to]) for t in survey.tapes], dtype=int).reshape(-1, 2)
    length = np.array([t.length for t in survey.tapes], dtype=float)
    net = Network(names, known, free, ends, length, survey.tape_sigma, observed, survey.position_sigma or 1.0, axis)
    return net, np.arange(len(length))


def _determined(net: Network) -> tuple[Network, set[str], int]:
    """The part of the network that its readings fix, the names of the rest, and how many readings that rest lacks."""
    directions, moving = loose(net)
    missing, lost = directions.shape[1], set[str]()
    while moving.any():
        lost |= {net.names[k] for k in np.flatnonzero(moving)}
        net = net.without(np.flatnonzero(moving))
        _, moving = loose(net)
    return net, lost, missing


def _shape(survey: Survey, net: Network) -> tuple[Floats, Floats | None]:
    """The fitted shape that is taken, and the best other one (not just its mirror image) that fits as well."""
    if not len(net.names):
        return np.zeros((0, 2)), None
    fits = fit(net, shapes(net)[:32])
    cost = (misfits(net, fits) ** 2).sum(axis=-1)
    alike = fits[cost <= cost.min() + 9.0]  # as good within three standard errors of one reading
    if not set(survey.corners) <= set(net.names):
        return alike[0], None
    ring = alike[:, : len(survey.corners)]
    readings = _roof_readings(survey)
    outlines = shapely.polygons(ring)
    simple = shapely.is_valid(outlines)
    held = np.zeros(len(ring))
    for k in np.flatnonzero(simple):
        located = [p if isinstance(p, tuple) else tuple(alike[k, net.names.index(p)]) for p in readings]
        held[k] = shapely.contains_xy(outlines[k], located).sum() if located else 0
    rank = np.lexsort((ring[..., 1].mean(axis=1), np.round(shapely.area(outlines)), held, simple))[::-1]
    best = rank[0]
    spans = _spans(ring)
    others = [k for k in rank[1:] if simple[k] and np.abs(spans[k] - spans[best]).max(initial=0.0) > 1.0]
    return alike[best], alike[others[0]] if others else None


def _roof_readings(survey: Survey) -> list[tuple[float, float] | str]:
    """Where the roof was read: a position, or the name of a point that the tapes locate."""
    taped = {name for tape in survey.tapes for name in (tape.from_, tape.to)} - set(survey.corners)
    names = dict.fromkeys(level.point for level in survey.levels if level.on in ON_ROOF)
    return [
        survey.positions[name] if name in survey.positions else name
        for name in names
        if name in survey.positions or name in taped
    ]


def _spans(ring: Floats) -> Floats:
    """Distance between each pair of corners, shape (..., pairs). [in]"""
    i, j = np.triu_indices(ring.shape[-2], 1)
    return np.linalg.norm(ring[..., i, :] - ring[..., j, :], axis=-1)


def _blocks(covariance: Floats) -> Floats:
    n = len(covariance) // 2
    return covariance.reshape(n, 2, n, 2)[np.arange(n), :, np.arange(n), :]


def _full_covariance(net: Network, free: Floats) -> Floats:
    full = np.zeros((2 * len(net.names),) * 2)
    at = np.flatnonzero(net.free.ravel())
    full[np.ix_(at, at)] = free
    return full


# --- suspects --------------------------------------------------------------------------------------------------

@dataclass(frozen=True)
class _Found:
    """The final fit: `residual` [in] and `redundancy` by reading; `named` rows, worst first, each with its ties."""

    xy: Floats
    used: Bools
    covariance: Floats
    cofactor: Floats
    misfit: Floats
    named: tuple[tuple[int, ...], ...]

    @property
    def redundancy(self) -> Floats:
        return np.clip(np.diag(self.cofactor), 0.0, 1.0)

    @property
    def standardised(self) -> Floats:
        return _standardised(self.misfit * self.used, self.redundancy)

    @property
    def tied(self) -> tuple[int, ...]:
        return tuple(row for group in self.named if len(group) > 1 for row in group)


def _standardised(misfit: Floats, redundancy: Floats) -> Floats:
    checked = redundancy > _CHECKED
    return np.where(checked, misfit / np.sqrt(np.where(checked, redundancy, 1.0)), 0.0)


def correlation(cofactor: Floats) -> Floats:
    """Size of the correlation between standardised residuals, 0 to 1; 0 where nothing checks a reading."""
    size = np.sqrt(np.clip(np.diagonal(cofactor, axis1=-2, axis2=-1), 0.0, None))
    size = np.where(size**2 > _CHECKED, size, np.inf)
    return np.abs(cofactor) / size[..., :, None] / size[..., None, :]


def _suspects(net: Network, xy: Floats, critical: float) -> _Found:
    """Data snooping: the worst reading that fails its test goes out, and the rest is adjusted again.

    Notes
    -----
    W. Baarda, A Testing Procedure for Use in Geodetic Networks, 1968, one reading at a time. Where readings tie,
    one of them is set aside only to look for further suspects; the final fit keeps them all.
    """
    used, aside = np.ones(net.rows, dtype=bool), np.zeros(net.rows, dtype=bool)
    named: list[tuple[int, ...]] = []
    at = xy
    while True:
        at = fit(net, at[None], used & ~aside)[0]
        _, cofactor = cofactors(net, at, used & ~aside)
        w = np.abs(_standardised(misfits(net, at), np.where(used & ~aside, np.diag(cofactor), 0.0)))
        if not len(w) or w.max() <= critical:
            break
        worst = int(w.argmax())
        group = tuple(int(k) for k in np.flatnonzero(correlation(cofactor)[worst] >= _TIED))
        named.append(group)
        (used if len(group) == 1 else aside)[worst] = len(group) > 1
    xy = fit(net, at[None], used)[0]
    covariance, cofactor = cofactors(net, xy, used)
    return _Found(xy, used, covariance, cofactor, misfits(net, xy), tuple(named))


def _row_names(survey: Survey, net: Network, tape_of: np.ndarray, row: int) -> tuple[str, ...]:
    if row < len(tape_of):
        tape = survey.tapes[tape_of[row]]
        return (tape.from_, tape.to)
    return (net.names[net.observed[(row - len(tape_of)) // 2]],)


def _named(
    survey: Survey, net: Network, tape_of: np.ndarray, found: _Found
) -> tuple[tuple[tuple[str, ...], ...], tuple[tuple[str, ...], ...]]:
    """Suspects by their points, worst first; and those among them that tie."""
    def names(rows: Iterable[int]) -> tuple[tuple[str, ...], ...]:
        return tuple(dict.fromkeys(_row_names(survey, net, tape_of, row) for row in rows))

    return names(row for group in found.named for row in group), names(found.tied)


def _tapes(
    survey: Survey, net: Network, tape_of: np.ndarray, found: _Found, points: Mapping[str, PlanPoint]
) -> tuple[AdjustedTape, ...]:
    row_of = {int(k): row for row, k in enumerate(tape_of)}
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
            float(found.redundancy[row]) if found.used[row] else 0.0, float(found.standardised[row]),
        ))  # fmt: skip
    return tuple(tapes)


# --- refusals --------------------------------------------------------------------------------------------------

def _refuse(faults: Sequence[Fault]) -> None:
    from framing.engine.documents import DocumentRefused

    raise DocumentRefused(tuple(faults))


def _fault(pointer: str, read: str, expected: str, detail: str) -> Fault:
    from framing.engine.documents import Fault

    return Fault(pointer=pointer, read=read, expected=expected, detail=detail)


def _refuse_open_triangles(survey: Survey, net: Network, tape_of: np.ndarray) -> None:
    """Refuse three tapes of which one is longer than the other two together, by more than they can be misread."""
    by_pair: dict[tuple[int, int], list[int]] = {}
    for row, (a, b) in enumerate(net.ends.tolist()):
        by_pair.setdefault((min(a, b), max(a, b)), []).append(row)
    neighbours: dict[int, set[int]] = {}
    for a, b in by_pair:
        neighbours.setdefault(a, set()).add(b)
        neighbours.setdefault(b, set()).add(a)
    faults: dict[int, Fault] = {}
    for a, b in by_pair:
        for c in (k for k in neighbours[a] & neighbours[b] if k > b):
            pairs = [(a, b), (b, c), (a, c)]
            lengths = [float(np.median(net.length[by_pair[pair]])) for pair in pairs]
            longest = int(np.argmax(lengths))
            most = sum(lengths) - lengths[longest]
            if lengths[longest] - most > max(2.0, 5 * survey.tape_sigma):
                detail = (f"the tapes {', '.join(f'{net.names[i]}-{net.names[j]}' for i, j in pairs)} make no triangle: "
                          f"{lengths[longest]:.2f} in is longer than the other two together, {most:.2f} in")
                for pair in pairs:
                    for row in by_pair[pair]:
                        limit = (f"at most {most:.2f} in" if pair == pairs[longest]
                                 else f"with the third side at least {lengths[longest]:.2f} in")
                        faults.setdefault(row, _tape_fault(survey, tape_of, row, limit, detail))
    if faults:
        _refuse([faults[row] for row in sorted(faults)])


def _tape_fault(survey: Survey, tape_of: np.ndarray, row: int, expected: str, detail: str) -> Fault:
    tape = survey.tapes[tape_of[row]]
    return _fault(f"/tapes/{tape_of[row]}", f"{tape.from_}-{tape.to} {tape.length:.2f} in", expected, detail)


def _refuse_gross_slips(survey: Survey, net: Network, tape_of: np.ndarray, found: _Found) -> None:
    """Refuse tapes that stay in the fit and miss the others by more than any reading of them could be misread."""
    rows = np.flatnonzero((found.redundancy[: len(tape_of)] > _MISCLOSURE_FROM) & found.used[: len(tape_of)])
    if not len(rows):
        return
    slip = found.misfit[rows] * survey.tape_sigma / found.redundancy[rows]
    foot, share = surveying.GROSS_SLIP
    over = np.abs(slip) / np.maximum(foot, share * net.length[rows])
    alike = correlation(found.cofactor)[np.ix_(rows, rows)] >= _TIED
    gross = np.array([over[group].min() > 1 for group in alike])
    if gross.any():
        figure = ", ".join("-".join(_row_names(survey, net, tape_of, int(row))) for row in rows[gross])
        _refuse([
            _tape_fault(
                survey, tape_of, int(row), f"about {net.length[row] - s:.2f} in, as the other tapes give",
                f"the tapes {figure} cannot close",
            )
            for row, s in zip(rows[gross], slip[gross], strict=True)
        ])  # fmt: skip


# --- outline ---------------------------------------------------------------------------------------------------

def _outline(
    survey: Survey, points: Mapping[str, PlanPoint], net: Network, covariance: Floats
) -> tuple[dict[str, float], float | None, float | None]:
    """Interior angles [degrees], area and its standard error [sq ft]; refuses an outline that crosses itself."""
    corners = survey.corners
    if not set(corners) <= set(points) or not set(corners) <= set(net.names):
        return {}, None, None
    xy = np.array([(points[c].x, points[c].y) for c in corners])
    after, before = np.roll(xy, -1, axis=0) - xy, np.roll(xy, 1, axis=0) - xy
    side = np.hypot(*after.T)
    ring = shapely.LinearRing(xy) if len(xy) > 2 else None
    if ring is None or not ring.is_simple or side.min() < surveying.WEAK_POINT / 2 or shapely.Polygon(xy).area < 1.0:
        middle = xy.mean(axis=0)
        turn = np.argsort(np.arctan2(*(xy - middle).T[::-1]), kind="stable")
        turn = np.roll(turn, -int(np.flatnonzero(turn == 0)[0]))
        _refuse([_fault(
            "/corners", ", ".join(corners),
            "the corners in order round the roof, such as " + ", ".join(corners[k] for k in turn),
            "the outline crosses itself, or two of its corners fall on one spot",
        )])  # fmt: skip

    twice = float(xy[:, 0] @ np.roll(xy[:, 1], -1) - xy[:, 1] @ np.roll(xy[:, 0], -1))
    cross = after[:, 0] * before[:, 1] - after[:, 1] * before[:, 0]
    angle = np.degrees(np.arctan2(np.sign(twice) * cross, (after * before).sum(axis=1))) % 360
    slope = np.zeros((len(net.names), 2))
    at = [net.names.index(c) for c in corners]
    slope[at, 0] = (np.roll(xy[:, 1], -1) - np.roll(xy[:, 1], 1)) / 2
    slope[at, 1] = (np.roll(xy[:, 0], 1) - np.roll(xy[:, 0], -1)) / 2
    variance = float(slope.ravel() @ covariance @ slope.ravel())
    angles = {c: float(a) for c, a in zip(corners, angle, strict=True)}
    return angles, abs(twice) / 288, float(np.sqrt(max(variance, 0.0))) / 144


# --- what does not close ---------------------------------------------------------------------------------------

@dataclass(frozen=True)
class _Figure:
    """What one tape (`row`) misses from the others of its figure (`rows`), measured less given by them. [in]"""

    misses: float
    row: int
    rows: tuple[int, ...]


def _misclosure(survey: Survey, net: Network, tape_of: np.ndarray, found: _Found) -> _Figure | None:
    """The figure that closes worst: four points with all six tapes; in a network without any, a tape with all others.

    In a figure of six, the longest tape is compared with what the other five give. Where a tape was read more than
    once its first reading stands for it.
    """
    row_of: dict[tuple[int, int], int] = {}
    for row, (a, b) in enumerate(net.ends.tolist()):
        row_of.setdefault((min(a, b), max(a, b)), row)
    fours = [
        tuple(row_of[pair] for pair in combinations(four, 2))
        for four in combinations(sorted({k for pair in row_of for k in pair}), 4)
        if all(pair in row_of for pair in combinations(four, 2))
    ]
    if fours:
        return max((_six(net, found.xy, rows) for rows in fours), key=lambda figure: abs(figure.misses))
    redundancy = np.where(found.used, found.redundancy, 0.0)[: len(tape_of)]
    if not len(redundancy) or redundancy.max() <= _MISCLOSURE_FROM:
        return None
    checked = redundancy > _MISCLOSURE_FROM
    misses = np.where(checked, found.misfit[: len(tape_of)] * survey.tape_sigma / np.where(checked, redundancy, 1), 0.0)
    row = int(np.abs(misses).argmax())
    alike = np.flatnonzero(correlation(found.cofactor)[row, : len(tape_of)] >= surveying.INSEPARABLE)
    return _Figure(float(misses[row]), row, tuple(int(k) for k in alike))


def _six(net: Network, xy: Floats, rows: tuple[int, ...]) -> _Figure:
    """The longest of six tapes against the distance that the other five give (law of cosines from the opposite side).

    Of the two distances that five tapes allow, the one on the side where the adjusted points lie counts.
    """
    last = max(rows, key=lambda row: net.length[row])
    p, q = net.ends[last].tolist()
    r, s = ({k for row in rows for k in net.ends[row].tolist()} - {p, q})
    distance = {frozenset(net.ends[row].tolist()): float(net.length[row]) for row in rows}
    base = distance[frozenset((r, s))]
    place = []
    for k in (p, q):
        to_r, to_s = distance[frozenset((k, r))], distance[frozenset((k, s))]
        along = (base**2 + to_r**2 - to_s**2) / (2 * base)
        step, arm = xy[s] - xy[r], xy[k] - xy[r]
        side = np.sign(step[0] * arm[1] - step[1] * arm[0])
        place.append((along, side * np.sqrt(max(to_r**2 - along**2, 0.0))))
    given = float(np.hypot(place[0][0] - place[1][0], place[0][1] - place[1][1]))
    return _Figure(float(net.length[last]) - given, last, rows)


@dataclass(frozen=True)
class _Extra:
    """One more tape: its ends, whether it repeats one, and which of the doubtful readings it would tell apart."""

    ends: tuple[str, str]
    repeat: bool
    told: tuple[int, ...]
    least: float


def _best_extra(
    survey: Survey, net: Network, found: _Found, points: Mapping[str, PlanPoint], doubtful: Sequence[int]
) -> _Extra | None:
    """The one further tape after which the doubtful readings can best be told from each other.

    Each candidate is added to the normal equations in thought. It is better the fewer pairs of doubtful readings
    stay inseparable, then the smaller the slips that show, then if it runs from a corner to a given point, then the
    shorter it is. A tape that would leave the roof is no candidate, nor is one under a foot.
    """
    candidates = _candidates(survey, net, points)
    if not candidates or not len(doubtful):
        return None
    rows = np.array([_candidate_slopes(net, found.xy, points, pair) for pair in candidates])
    rows = rows[:, net.free.ravel()]
    variance = np.full(len(candidates), survey.tape_sigma**2)
    if survey.position_sigma:
        outside = [sum(name not in net.names for name in pair) for pair in candidates]
        variance += np.array(outside) * survey.position_sigma**2
    design = slopes(net, found.xy)[list(doubtful)]
    shift = rows @ found.covariance @ design.T  # (candidates, doubtful)
    scale = variance + np.einsum("ki,ij,kj->k", rows, found.covariance, rows)
    now = found.cofactor[np.ix_(doubtful, doubtful)]
    after = now + shift[:, :, None] * shift[:, None, :] / scale[:, None, None]
    mixed = correlation(after) >= surveying.INSEPARABLE
    mixed &= ~np.eye(len(doubtful), dtype=bool)
    redundancy = np.clip(np.diagonal(after, axis1=1, axis2=2), 1e-9, 1.0)
    unchecked = (redundancy < _MISCLOSURE_FROM).sum(axis=1)
    taped = {frozenset(net.names[k] for k in pair) for pair in net.ends.tolist()}
    length = [np.hypot(points[a].x - points[b].x, points[a].y - points[b].y) for a, b in candidates]
    practical = [not any(name in survey.positions and name not in survey.corners for name in pair)
                 for pair in candidates]  # fmt: skip
    best = min(
        range(len(candidates)),
        key=lambda k: (unchecked[k] + mixed[k].sum() / 2, -round(float(redundancy[k].min()), 1), practical[k],
                       round(float(length[k]), 3)),
    )  # fmt: skip
    power = critical_value(net.rows + 1 + len(survey.levels)) + surveying.POWER_QUANTILE
    told = tuple(row for row, m, r in zip(doubtful, mixed[best].any(axis=1), redundancy[best], strict=True)
                 if not m and r >= _MISCLOSURE_FROM)  # fmt: skip
    least = power * survey.tape_sigma / float(np.sqrt(redundancy[best].max()))
    return _Extra(candidates[best], frozenset(candidates[best]) in taped, told, least)


def _candidates(survey: Survey, net: Network, points: Mapping[str, PlanPoint]) -> list[tuple[str, str]]:
    """Pairs of points that a tape can run between: corners, taped points and given points that are no mere spots."""
    spots = {level.point for level in survey.levels if level.on in ON_ROOF} - set(survey.corners) - set(net.names)
    marks = [name for name in points if name not in spots]
    at = {name: k for k, name in enumerate(net.names)}
    fixed = {name for name in marks if name not in at or not net.free[at[name]].any()}
    taped = {frozenset(net.names[k] for k in pair) for pair in net.ends.tolist()}
    pairs = [pair for pair in combinations(marks, 2) if not set(pair) <= fixed]
    if not pairs:
        return []
    ends = np.array([[(points[name].x, points[name].y) for name in pair] for pair in pairs])
    if set(survey.corners) <= set(points):
        roof = shapely.Polygon([(points[c].x, points[c].y) for c in survey.corners]).buffer(3.0)
        inside = shapely.covers(roof, shapely.linestrings(ends))
    else:
        inside = np.ones(len(pairs), dtype=bool)
    long = np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1) >= 12.0
    return [pair for pair, ok in zip(pairs, inside & long, strict=True) if ok or frozenset(pair) in taped]


def _candidate_slopes(net: Network, xy: Floats, points: Mapping[str, PlanPoint], pair: tuple[str, str]) -> Floats:
    row = np.zeros((len(net.names), 2))
    a, b = (np.array([points[name].x, points[name].y]) for name in pair)
    unit = (a - b) / np.hypot(*(a - b))
    for name, sign in zip(pair, (1.0, -1.0), strict=True):
        if name in net.names:
            row[net.names.index(name)] = sign * unit
    return row.ravel()


# --- checks ----------------------------------------------------------------------------------------------------

def _tape_name(names: Sequence[str]) -> str:
    return "-".join(names)


def _listed(words: Iterable[str], last: str = "and") -> str:
    *most, end = words
    return f"{', '.join(most)} {last} {end}" if most else end


def _closing_checks(
    survey: Survey, net: Network, tape_of: np.ndarray, found: _Found, points: Mapping[str, PlanPoint],
    figure: _Figure | None, tied: Sequence[tuple[str, ...]],
) -> list[Check]:  # fmt: skip
    def names(rows: Iterable[int]) -> list[str]:
        return [_tape_name(_row_names(survey, net, tape_of, row)) for row in rows]

    checked = bool((found.redundancy > _CHECKED).any())
    if not checked and not found.named:
        if lacking := not set(survey.corners) <= set(net.names):
            return []
        extra = _best_extra(survey, net, found, points, range(len(tape_of)))
        if lacking or not len(tape_of):
            advice = "Tape two corners apart that lie across the roof from each other and compare."
        elif extra is None:
            advice = "Read each tape a second time."
        else:
            advice = f"Tape {_tape_name(extra.ends)} {'again' if extra.repeat else 'as well'}."
        return [check("no-redundancy", "caution", value=0, limit=1, unit="tapes", where=_listed(survey.corners),
                      advice=advice)]  # fmt: skip
    if figure is None:
        return []

    over = abs(figure.misses) > survey.closure_tolerance
    rows = sorted(figure.rows)
    advice = ""
    if over or tied:
        advice = " " + _advice(survey, net, tape_of, found, points, figure)
    return [check(
        "misclosure", "caution" if over else "ok", value=abs(figure.misses), limit=survey.closure_tolerance,
        where=_listed(names(rows)), tape=_tape_name(_row_names(survey, net, tape_of, figure.row)),
        side="more" if figure.misses > 0 else "less", advice=advice,
    )]  # fmt: skip


def _advice(
    survey: Survey, net: Network, tape_of: np.ndarray, found: _Found, points: Mapping[str, PlanPoint], figure: _Figure
) -> str:
    """Which one further tape to take, and how far it would settle the matter."""
    def names(rows: Iterable[int]) -> list[str]:
        return [_tape_name(_row_names(survey, net, tape_of, row)) for row in rows]

    alone = [group[0] for group in found.named if len(group) == 1]
    if alone and set(alone) & set(figure.rows):
        return (f"Tape {_listed(names(alone))} again: {'it stands' if len(alone) == 1 else 'they stand'} apart from "
                "all other tapes and was left out of the adjustment.")  # fmt: skip
    doubtful = sorted(found.tied) or [row for row in sorted(figure.rows) if found.redundancy[row] > _CHECKED]
    doubtful = [row for row in doubtful if row < len(tape_of)]
    mixed = correlation(found.cofactor)[np.ix_(doubtful, doubtful)] >= surveying.INSEPARABLE
    if doubtful and mixed.sum() == len(doubtful):
        worst = max(doubtful, key=lambda row: abs(found.standardised[row]))
        return (f"Tape {names([worst])[0]} again: of the figure's tapes it agrees least with the whole survey, "
                "which can tell each of them from the others.")  # fmt: skip
    extra = _best_extra(survey, net, found, points, doubtful)
    if extra is None:
        return "Read each of these tapes a second time."
    rest = [row for row in doubtful if row not in extra.told]
    size = f"if it is over about {extra.least:.1f} in; a smaller one hides in what a tape may err"
    words = f"One tape more would settle most: {_tape_name(extra.ends)}{' again' if extra.repeat else ''}."
    if not rest:
        return f"{words} It would show which of {_listed(names(doubtful))} slipped, {size}."
    if not extra.told:
        return f"{words} It would confirm that one slipped, yet not which of {_listed(names(rest), 'or')}."
    return (f"{words} It would show a slip in {_listed(names(extra.told), 'or')}, {size}; "
            f"a slip in {_listed(names(rest), 'or')} still could not be told from one in another of these.")  # fmt: skip


def _slip_checks(survey: Survey, tapes: Sequence[AdjustedTape], critical: float) -> list[Check]:
    """A note on tapes in which even a large slip would pass unseen."""
    checked = any(tape.redundancy > _CHECKED for tape in tapes)
    least = {
        _tape_name((t.from_, t.to)): (critical + surveying.POWER_QUANTILE) * survey.tape_sigma / np.sqrt(t.redundancy)
        if t.redundancy > 1e-4 else np.inf
        for t in tapes if not t.suspect
    }  # fmt: skip
    large = {name: float(slip) for name, slip in least.items() if slip > surveying.LARGE_SLIP}
    if not checked or not large:
        return []
    sized = [f"{slip:.1f} in in {name}" if np.isfinite(slip) else f"any size in {name}" for name, slip in large.items()]
    finite = [slip for slip in large.values() if np.isfinite(slip)]
    return [check("undetected-slip", "note", value=max(finite, default=None), limit=surveying.LARGE_SLIP,
                  where=_listed(large), slips=_listed(sized))]  # fmt: skip


def _fixing_checks(
    survey: Survey, whole: Network, lost: set[str], missing: int, flat: set[str], points: Mapping[str, PlanPoint]
) -> list[Check]:
    """Stops for corners and readings that stand nowhere, cautions for ties, and points that are only weakly fixed."""
    checks = []
    needed = set(survey.corners) | _used_names(survey)
    nowhere = sorted(_used_names(survey) - set(points) - lost - flat)
    unfixed = [name for name in [*whole.names] if name in lost]
    if unfixed:
        tapes, rest = _missing_tapes(whole)
        advice = f"tape {_listed(tapes)}" if tapes else ""
        if rest:
            given = f"give the position of {rest}"
            advice = f"{advice}, and {given}" if advice else given
        have = whole.rows
        checks.append(check(
            "corner-not-fixed", "stop" if set(unfixed) & needed else "caution", value=have, limit=have + missing,
            unit="readings", where=_listed(unfixed), advice=advice, missing=missing,
        ))  # fmt: skip
    for name in (name for name in whole.names if name in flat):
        others = [t.to if t.from_ == name else t.from_ for t in survey.tapes if name in (t.from_, t.to)]
        free = [c for c in survey.corners if c not in others and c != name and c in points]
        checks.append(check(
            "point-in-line", "stop" if name in needed else "caution", value=None, limit=surveying.LOST_POINT, where=name,
            others=_listed(dict.fromkeys(others)), advice=f"tape it to {_listed(free, 'or')} as well" if free
            else "give its position",
        ))  # fmt: skip
    if nowhere:
        checks.append(check("point-not-located", "stop", value=0, limit=2, unit="tapes", where=_listed(nowhere)))
    weak = {name: points[name].se for name in whole.names if name in points and points[name].se > surveying.WEAK_POINT}
    if weak:
        worst = max(weak, key=lambda name: weak[name])
        checks.append(check("point-weak", "caution", value=weak[worst], limit=surveying.WEAK_POINT,
                            where=_listed(weak), worst=worst))  # fmt: skip
    return checks


def _used_names(survey: Survey) -> set[str]:
    """Points that later stages need a place for."""
    names = {level.point for level in survey.levels}
    names |= {name for line in survey.breaklines for name in line.points}
    names |= {name for door in survey.all_doors for name in door.points}
    names |= {outlet.point for outlet in survey.outlets if outlet.point}
    for obstacle in survey.obstacles:
        names |= set(obstacle.points or ()) | ({obstacle.point} if obstacle.point else set())
    return names


def _missing_tapes(net: Network) -> tuple[list[str], str]:
    """Tapes that would fix every point, sides first, then the next corners; and a point whose place must be given."""
    directions, _ = loose(net)
    random = np.random.default_rng(3)
    general = np.where(np.isnan(net.known), random.uniform(-100, 100, net.known.shape), net.known)
    n, tapes = len(net.names), list[str]()
    taped = {frozenset(pair) for pair in net.ends.tolist()}
    order = sorted(combinations(range(n), 2), key=lambda p: (min(p[1] - p[0], n - p[1] + p[0]), p))
    for a, b in order:
        if not directions.shape[1]:
            break
        if frozenset((a, b)) in taped:
            continue
        row = np.zeros((n, 2))
        row[a], row[b] = general[a] - general[b], general[b] - general[a]
        seen = row[net.free] @ directions
        if np.linalg.norm(seen) > 1e-6 * np.linalg.norm(row):
            _, _, turn = np.linalg.svd(seen[None], full_matrices=True)
            directions = directions @ turn[1:].T
            tapes.append(f"{net.names[a]}-{net.names[b]}")
    if not directions.shape[1]:
        return tapes, ""
    size = np.zeros(net.free.shape)
    size[net.free] = np.abs(directions).max(axis=1)
    return tapes, net.names[int(size.max(axis=1).argmax())]


def _shape_checks(survey: Survey, net: Network, xy: Floats, other: Floats | None) -> list[Check]:
    """Where tapes fit a second shape as well: which pair of corners would settle it."""
    if other is None or len(other) != len(xy):
        return []
    n = len(survey.corners)
    taken, second = _spans(xy[:n]), _spans(other[:n])
    k = int(np.abs(taken - second).argmax())
    i, j = np.triu_indices(n, 1)
    pair = _tape_name((survey.corners[i[k]], survey.corners[j[k]]))
    return [check("shape-not-settled", "caution", value=float(taken[k]), limit=float(second[k]), where=pair,
                  reason="holds the roof readings" if _roof_readings(survey) else "has the larger area")]  # fmt: skip


def _datum_checks(survey: Survey) -> list[Check]:
    checks = []
    datum: Any = survey.datum
    words = [datum.get(k) if isinstance(datum, Mapping) else getattr(datum, k, None) for k in ("what", "where")]
    if not any(word and str(word).strip() for word in words):
        checks.append(check("datum-not-described", "caution", unit="", where="datum"))
    drift = datum_drift(survey.datum_checks)
    if drift is None:
        if survey.levels:
            checks.append(check("datum-not-checked", "note", value=0, limit=1, unit="readings", where="datum"))
        return checks
    over = abs(drift) > surveying.DATUM_DRIFT
    checks.append(check(
        "datum-drift", "caution" if over else "ok", value=abs(drift), limit=surveying.DATUM_DRIFT, where="datum",
        way="lower" if drift > 0 else "higher",
        advice=" Read the levels again before cutting." if over else "",
    ))  # fmt: skip
    return checks
