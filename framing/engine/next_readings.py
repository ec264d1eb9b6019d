"""What to measure next: the readings that most lower the worst standard error, and the shots still missing.

Stage: adjustment, roof, plane -> here, beside all later stages; no finished survey is needed. What no reading fixes yet
has a spread far beyond any roof.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.linalg import block_diag, solve_triangular
from scipy.sparse import csc_array, csc_matrix, diags_array
from scipy.sparse.linalg import splu
from shapely import MultiPoint, Polygon

from framing.engine.adjustment import Adjustment
from framing.engine.candidate_readings import Candidates, Known, NextReading, in_feet
from framing.engine.checks import Check, check
from framing.engine.documents import Survey
from framing.engine.further_tapes import that_run
from framing.engine.plane import governing_door, threshold_heights
from framing.engine.roof import FITTED, NOT_READ, Facet, Roof, design_rows, fit_roof, split_outline
from framing.reference import surveying

Array = NDArray[np.float64]

READINGS = 3  # how many are advised
MOST_MISSING = 60  # shots asked for at once; a survey with these is worth asking again
MOST_EXCHANGED = 12  # ... and chosen together; more of them one by one
MOST_TOLD = 6  # missing shots that the note lists
PADS_APART = 24.0  # future pads and places to read are looked for on a grid this wide [in]
MOST_PADS = 60  # ... or on a wider one where the roof is large: the worst stands at a corner of a facet anyhow
OFF_WALL = 3.0  # a rod stands no nearer to a wall or a fold [in]
SAME_SPOT = 12.0  # a shot this near another needs none of its own [in]
UNREAD = 1e3  # standard error of a height that nothing fixes, and of what an unread facet falls in 100 in [in]
JOINED = 1e-3  # facets of a roof that is not fitted yet meet along their break lines within this [in]


def next_readings(survey: Survey, adjusted: Adjustment, roof: Roof | None, *, follow: bool = False,
                  keep_off: Sequence[Polygon] = ()) -> tuple[NextReading, ...]:
    """What to measure next, in order: what nothing fixes yet, the three best readings, then other missing shots.

    Parameters
    ----------
    roof : as fitted, or without facets; None where it was not tried
    follow : whether the deck follows the threshold's line, whose error then grows over the whole deck
    keep_off : areas in which nothing can be read [in]

    Notes
    -----
    The three are those after which the worst standard error is least among the places that matter: the threshold, the
    roof at every corner of a facet (the highest line runs between them), at high and low spots and under future pads,
    and the corners in plan. Heights count in units of the survey's level_sigma, plan in its closure_tolerance: a
    height goes into the shims whole, a corner into the deck's edge gap. What a corner's error does to heights, slope
    times error, is a fiftieth of it and left out.
    """
    placed = set(survey.corners) <= set(adjusted.points)
    if roof is None and placed:
        roof = fit_roof(survey, adjusted)
    tapes, fittings = _missing_tapes(survey, adjusted), _unread_fittings(survey, adjusted)
    if roof is None or not placed:
        unread = [] if any(r.on in FITTED for r in adjusted.levels) else [_EVERY_FACET]
        return (*tapes, *unread, *fittings)

    ground = _so_far(survey, adjusted, roof)
    door = _door_line(survey, adjusted, follow)
    heights, levels = _heights(survey, adjusted, ground, door), _levels(survey, adjusted, ground, door, keep_off)
    first, heights, taken = _fixing(heights, levels)
    if any(c.status == "stop" and c.code != "roof-not-measured" for c in roof.checks):
        three, more = _widest_gaps(adjusted, levels)
    else:
        three, more = _best_three(heights, levels, *_plan(survey, adjusted))
    rest = _unread_roof(survey, adjusted, ground, door, heights.with_all(levels, more), levels, [*taken, *more])
    said = {p for r in (*first, *three, *rest) if r.kind == "level" for p in r.points}
    return (*tapes, *first, *three, *(r for r in fittings if r.points[0] not in said), *rest)


def told(readings: Sequence[NextReading]) -> list[Check]:
    """The advice as one note to whoever stands on the roof."""
    if not readings:
        return []
    best = [k for k, r in enumerate(readings) if not r.missing] or [len(readings)]
    first, three, rest = readings[: best[0]], readings[best[0] : best[-1] + 1], readings[best[-1] + 1 :]
    parts = [_listed("missing", first), ", then ".join(f"{r.words} ({r.why})" for r in three),
             _listed("also missing", rest)]
    of = three or first
    return [check("measure-next", "note", value=of[-1].after, limit=of[0].before, where=of[0].place,
                  advice=" ".join(f"{p[0].upper()}{p[1:]}." for p in parts if p))]


def _listed(what: str, shots: Sequence[NextReading]) -> str:
    more = f"; and {len(shots) - MOST_TOLD} more in the answer" if len(shots) > MOST_TOLD else ""
    return f"{what}: {'; '.join(r.words for r in shots[:MOST_TOLD])}{more}" if shots else ""


# --- the choice ------------------------------------------------------------------------------------------------

def _fixing(heights: Known, levels: Candidates) -> tuple[list[NextReading], Known, list[int]]:
    """Readings that fix every height that nothing fixes yet, what is known with them, and which they are."""
    fixed, taken = heights, list[int]()
    while len(taken) < min(MOST_MISSING, len(levels.readings)) and fixed.worst()[0] > surveying.LOST_POINT:
        taken.append(fixed.best(levels, levels.but(taken)))
        fixed = fixed.with_one(levels, taken[-1])
    if len(taken) <= MOST_EXCHANGED:
        taken = heights.choose(levels, len(taken))
    first = list[NextReading]()
    for k in taken:
        place, heights = heights.worst()[1], heights.with_one(levels, k)
        first.append(replace(levels.readings[k], place=place, after=_figure(heights.worst()[0]),
                             why="no reading fixes the height there yet", missing=True))
    return first, heights, taken


def _best_three(heights: Known, levels: Candidates, plan: Known,
                tapes: Candidates) -> tuple[list[NextReading], list[int]]:
    """The best three readings in the order to take them, and which of the levels are among them.

    Levels say nothing about plan and tapes nothing about heights, so the best of each are chosen apart, for every
    share of the three that levels may have.
    """
    options = list[tuple[float, float, list[int], list[int]]]()
    for count in range(READINGS, -1, -1):
        high, flat = heights.choose(levels, count), plan.choose(tapes, READINGS - count)
        left = heights.with_all(levels, high).share, plan.with_all(tapes, flat).share
        options.append((round(max(left), 6), sum(left), high, flat))
        if left[1] <= left[0]:  # more tapes in place of levels could only make it worse
            break
    _, _, high, flat = min(options)
    return _in_turn(heights, levels, high, plan, tapes, flat), high


def _widest_gaps(adjusted: Adjustment, levels: Candidates) -> tuple[list[NextReading], list[int]]:
    """Places farthest from all readings, for a roof whose planes these do not tell: no error can be foretold then."""
    read = _places(adjusted, [r.point for r in adjusted.levels if r.on in FITTED and r.point in adjusted.points])
    at = np.array([r.at for r in levels.readings])
    away = np.hypot(*(at[:, None] - read).T).min(axis=0)
    chosen = list[int]()
    for _ in range(READINGS):
        chosen.append(int(away.argmax()))
        away = np.minimum(away, np.hypot(*(at - at[chosen[-1]]).T))
    why = "nothing is read near it, and the readings so far do not tell how the roof's planes lie"
    return [replace(levels.readings[k], place="the roof there", why=why) for k in chosen], chosen


def _in_turn(heights: Known, levels: Candidates, high: Sequence[int], plan: Known, tapes: Candidates,
             flat: Sequence[int]) -> list[NextReading]:
    """The chosen readings, always next where the error is worse, each with the worst before and after."""
    readings, high, flat = list[NextReading](), [*high], [*flat]
    while high or flat:
        level = bool(high) and (not flat or heights.share >= plan.share)
        known, among, k = (heights, levels, high.pop(0)) if level else (plan, tapes, flat.pop(0))
        after = known.with_one(among, k)
        (before, place), (least, _) = known.worst(), after.worst()
        why = f"the worst standard error of {'heights' if level else 'corners in plan'} goes from "
        why += f"{_said(before)}, {place}, to {_said(least)}"
        readings.append(replace(among.readings[k], place=place, before=_figure(before), after=_figure(least), why=why))
        heights, plan = (after, plan) if level else (heights, after)
    return readings


def _figure(error: float) -> float | None:
    """A standard error to be told [in]; None where it is that of a height or place that nothing fixes."""
    return None if error > surveying.LOST_POINT else error


def _said(error: float) -> str:
    return "unknown" if _figure(error) is None else f"{error:.2g} in"


# --- heights: the state is every facet's plane, every mound's rise, and the door's height and slope per 100 in -----

@dataclass(frozen=True)
class _Door:
    """The door that the deck hangs from: its points, their places (n, 2), and the line that the deck follows, if any.

    The state's part of it has one column, the mean height, or two where the deck `follows` it.
    """

    points: tuple[str, ...]
    at: Array
    readings: tuple[int, ...]
    follows: bool

    def rows(self, xy: Array) -> Array:
        """Rows (n, 1 or 2) that turn the door's part of the state into the finished height at (n, 2) places."""
        if not self.follows:
            return np.ones((len(xy), 1))
        run = self.at[-1] - self.at[0]
        along = (xy - self.at.mean(axis=0)) @ run / max(float(np.hypot(*run)), 1e-9)
        return np.column_stack([np.ones(len(xy)), along / 100])

    def covariance(self, sigma: float) -> Array:
        read = self.rows(np.repeat(self.at, self.readings, axis=0)) / sigma
        return _covariance(np.vstack([read, np.eye(read.shape[1]) / UNREAD]))


def _door_line(survey: Survey, adjusted: Adjustment, follow: bool) -> _Door:
    doors = sorted(survey.all_doors, key=lambda d: not d.governs)
    door = governing_door(survey, threshold_heights(survey, adjusted)) or doors[0]
    points = tuple(p for p in door.points if p in adjusted.points)
    times = tuple(sum(r.point == p for r in adjusted.levels) for p in points)
    return _Door(points, _places(adjusted, points), times, follow and len(points) > 1)


def _covariance(whitened: Array) -> Array:
    """Covariance of parameters from their readings' rows over their standard errors, by QR: no normal equations."""
    inverse = solve_triangular(np.linalg.qr(whitened, mode="r"), np.eye(whitened.shape[1]))
    return np.asarray(inverse @ inverse.T)


def _so_far(survey: Survey, adjusted: Adjustment, roof: Roof) -> Roof:
    """The roof as its readings have it so far: as fitted, or its facets with all that is not fixed left open.

    Every facet then starts with a spread beyond any roof; readings and the neighbours, which it meets along the break
    lines, narrow that down.
    """
    if roof.facets:
        return roof
    xy = _places(adjusted, [r.point for r in adjusted.levels if r.on in FITTED and r.point in adjusted.points])
    polygons = split_outline(roof.outline, roof.breaks) or [roof.outline]
    bare = Roof(roof.outline, tuple(Facet(p, 0.0, 0.0, 0.0) for p in polygons), roof.breaks)
    n, under = len(polygons), bare.facet_at(xy)
    scale = np.tile([1.0, 0.01, 0.01], n)  # slopes count per 100 in, so that all parameters are of one size
    corners, own = shapely.get_coordinates(polygons), np.repeat(np.arange(n), shapely.get_num_coordinates(polygons))
    touch = shapely.distance(shapely.points(corners)[:, None], np.array(polygons)) < 0.1
    at, other = np.nonzero(touch & (own[:, None] < np.arange(n)))
    joined = design_rows(corners[at], own[at], n) - design_rows(corners[at], other, n)
    unread = np.kron(np.eye(n), np.diag([1.0, 100.0, 100.0]))
    unread[::3] = design_rows(np.array([p.centroid.coords[0] for p in polygons]), np.arange(n), n)
    rows = np.vstack([design_rows(xy, under, n) / survey.level_sigma, joined / JOINED, unread / UNREAD]) * scale
    facets = tuple(replace(f, read_over=MultiPoint(xy[under == k]).convex_hull) for k, f in enumerate(bare.facets))
    return replace(bare, facets=facets, covariance=_covariance(rows) * np.outer(scale, scale))


def _height_rows(ground: Roof, door: _Door, roof_xy: Array, door_xy: Array) -> Array:
    """Rows over the state of the roof's height at (n, 2) places, then of the deck's line at (m, 2) places."""
    roof = [design_rows(roof_xy, ground.facet_at(roof_xy), len(ground.facets)),
            *(m.share(roof_xy)[:, None] for m in ground.mounds)]
    line = door.rows(door_xy)
    rows = np.zeros((len(roof_xy) + len(door_xy), sum(r.shape[1] for r in roof) + line.shape[1]))
    rows[: len(roof_xy), : -line.shape[1]] = np.hstack(roof)
    rows[len(roof_xy) :, -line.shape[1] :] = line
    return rows


def _heights(survey: Survey, adjusted: Adjustment, ground: Roof, door: _Door) -> Known:
    """Heights that matter: facet corners, mounds, pads, and the deck where it hangs from the door."""
    corners = shapely.get_coordinates([f.polygon for f in ground.facets])
    tops = np.array([m.at for m in ground.mounds]).reshape(-1, 2)
    roof_xy = np.unique(np.round(np.vstack([corners, tops, _grid(ground.outline)]), 3), axis=0)
    deck_xy = shapely.get_coordinates(ground.outline) if door.follows else door.at[:1]
    deck = "the deck, following the threshold, at" if door.follows else "the threshold at"
    names = [f"{what} {_where(survey, adjusted, at)}" for what, places in (("the roof at", roof_xy), (deck, deck_xy))
             for at in places.tolist()]
    rows = _height_rows(ground, door, roof_xy, deck_xy)
    blocks = [ground.covariance, *([[m.se**2]] for m in ground.mounds), door.covariance(survey.level_sigma)]
    return Known(block_diag(*blocks), rows[:, None], tuple(names), survey.level_sigma)


def _levels(survey: Survey, adjusted: Adjustment, ground: Roof, door: _Door,
            keep_off: Sequence[Polygon]) -> Candidates:
    """Levels that could be read: the roof on a grid, in the facets' corners and at points named before; the door."""
    read = [r.point for r in adjusted.levels if r.on in FITTED and r.point in adjusted.points]
    names = list(dict.fromkeys([*_unread_marks(survey, adjusted), *read]))
    inside = [f.polygon.buffer(-OFF_WALL, join_style="mitre") for f in ground.facets]
    free = np.vstack([shapely.get_coordinates(inside), _grid(ground.outline.buffer(-OFF_WALL))])
    free = np.unique(np.round(free), axis=0)
    marked = MultiPoint(_places(adjusted, _unread_marks(survey, adjusted)))  # these places are found already
    spots = shapely.points(free)
    free = free[~shapely.intersects(spots, shapely.union_all(list(keep_off)))
                & ~(shapely.distance(spots, marked) < SAME_SPOT)]
    readings = [*(NextReading("level", (x, y), ()) for x, y in free.tolist()),
                *(NextReading("level", _place(adjusted, p), (p,)) for p in (*names, *door.points))]
    rows = _height_rows(ground, door, np.vstack([free, _places(adjusted, names)]), door.at)
    return Candidates(rows, np.full(len(rows), survey.level_sigma**2), tuple(readings))


def _unread_marks(survey: Survey, adjusted: Adjustment) -> list[str]:
    """Points of break lines that nobody read."""
    read = {level.point for level in survey.levels}
    marks = dict.fromkeys(p for b in survey.breaklines for p in b.points)
    return [p for p in marks if p not in read and p in adjusted.points]


def _grid(area: Polygon) -> Array:
    """Places (n, 2) over an area, on a square grid round its middle. [in]"""
    if area.is_empty:
        return np.zeros((0, 2))
    step = max(PADS_APART, math.sqrt(area.area / MOST_PADS))
    x0, y0, x1, y1 = area.bounds
    x, y = (np.arange((low + high) / 2 - step * ((high - low) / 2 // step), high, step)
            for low, high in ((x0, x1), (y0, y1)))
    xy = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    return np.asarray(xy[shapely.contains_xy(area, xy)])


def _unread_roof(survey: Survey, adjusted: Adjustment, ground: Roof, door: _Door, heights: Known,
                 levels: Candidates, taken: Sequence[int]) -> list[NextReading]:
    """Points of break lines that nobody read, and corners far beyond all readings, where none of those taken is."""
    on_roof = len(levels.readings) - len(door.points)
    at = np.array([r.at for r in levels.readings]).reshape(-1, 2)
    under = ground.facet_at(at[:on_roof])
    marks = set(_unread_marks(survey, adjusted))
    found = [(k, "a break line runs through it and nobody read it") for k, r in enumerate(levels.readings[:on_roof])
             if marks & set(r.points)]
    for j, facet in enumerate(ground.facets):
        mine = [k for k in taken if k < on_roof and under[k] == j]
        over = MultiPoint([*shapely.get_coordinates(facet.read_over), *at[mine]]).convex_hull
        corners = shapely.get_coordinates(facet.polygon)[:-1]
        for corner in corners[shapely.distance(shapely.points(corners), over) > NOT_READ]:
            own = np.flatnonzero(under == j)
            if len(own):
                k = int(own[np.hypot(*(at[own] - corner).T).argmin()])
                found.append((k, f"the roof is carried on more than {NOT_READ:g} in beyond its readings there"))
    shots, spots = list[NextReading](), [at[k] for k in taken]
    for k, why in found:
        if len(shots) == MOST_MISSING or any(np.hypot(*(at[k] - spot)) < SAME_SPOT for spot in spots):
            continue
        spots.append(at[k])
        now = max(float(levels.rows[k] @ heights.covariance @ levels.rows[k]), 0.0)
        then = now * levels.variance[k] / (now + levels.variance[k])
        shots.append(replace(levels.readings[k], place=f"the roof at {in_feet(at[k].tolist())}", missing=True,
                             before=_figure(math.sqrt(now)), after=_figure(math.sqrt(then)), why=why))
    return shots


# --- plan: the state is x and y of all corners ------------------------------------------------

def _plan(survey: Survey, adjusted: Adjustment) -> tuple[Known, Candidates]:
    """The corners, and the tapes that could be read to the worst of them from corners and places that are given."""
    corners, n = survey.corners, len(survey.corners)
    known = Known(_corner_covariance(survey, adjusted), np.eye(2 * n).reshape(n, 2, 2 * n),
                   tuple(f"corner {c}" for c in corners), survey.closure_tolerance)
    spots = {r.point for r in adjusted.levels if r.on in FITTED}
    given = [p for p in survey.positions if p not in spots and p not in corners]
    worst = sorted(corners, key=lambda c: -adjusted.points[c].se)[:READINGS]
    pairs = [(a, b) for i, a in enumerate(worst) for b in (*corners, *given) if b not in worst[: i + 1]]
    places = {name: (p.x, p.y) for name, p in adjusted.points.items()}
    pairs = that_run(pairs, places, corners, {frozenset((t.from_, t.to)) for t in survey.tapes})
    rows = np.zeros((len(pairs), 2 * n))
    variance = np.full(len(pairs), survey.tape_sigma**2)
    for k, (a, b) in enumerate(pairs):
        p, q = _places(adjusted, (a, b))
        unit = (p - q) / np.hypot(*(p - q))
        i = 2 * corners.index(a)
        rows[k, i : i + 2] = unit
        if b in corners:
            rows[k, 2 * corners.index(b) : 2 * corners.index(b) + 2] = -unit
        else:
            variance[k] += (survey.position_sigma or 0.0) ** 2
    return known, Candidates(rows, variance, tuple(NextReading("tape", None, pair) for pair in pairs))


def _corner_covariance(survey: Survey, adjusted: Adjustment) -> Array:
    """Joint covariance of x and y of all corners, (2 c, 2 c) [in2], from the tapes and positions in use."""
    sound = [t for t in adjusted.tapes if not t.suspect or t.redundancy]  # the others were left out
    used = [t for t in sound if t.from_ in adjusted.points and t.to in adjusted.points]
    names = list(dict.fromkeys([*survey.corners, *(p for t in used for p in (t.from_, t.to))]))
    number = {name: k for k, name in enumerate(names)}
    a, b = np.array([(number[t.from_], number[t.to]) for t in used], dtype=int).reshape(-1, 2).T
    xy = _places(adjusted, names)
    unit = (xy[a] - xy[b]) / np.hypot(*(xy[a] - xy[b]).T)[:, None] / survey.tape_sigma
    columns = np.column_stack([2 * a, 2 * a + 1, 2 * b, 2 * b + 1])
    tape = np.repeat(np.arange(len(used)), 4)
    slopes = csc_array((np.hstack([unit, -unit]).ravel(), (tape, columns.ravel())), shape=(len(used), 2 * len(names)))
    given = np.repeat([name in survey.positions for name in names], 2)
    normal = slopes.T @ slopes
    if survey.position_sigma:
        normal, free = normal + diags_array(given / survey.position_sigma**2), np.ones(len(given), bool)
    else:
        free = ~given
    if not any(c in survey.positions for c in survey.corners):
        free[[0, 1, 3]] = False  # the frame is the first side's own: origin at its start, x along it
    place = np.flatnonzero(free)
    corner = np.flatnonzero(place < 2 * len(survey.corners))
    covariance = np.zeros((2 * len(survey.corners),) * 2)
    if len(corner):
        solved = splu(csc_matrix(normal.tocsc()[place][:, place])).solve(np.eye(len(place))[:, corner])
        covariance[np.ix_(place[corner], place[corner])] = solved[corner]
    return covariance


# --- what is missing whatever it costs ----------------------------------------------------------------------------

_EVERY_FACET = NextReading("level", None, (), "3 places of every facet", missing=True,
                           why="the roof has no reading yet; as far apart as each facet allows")


def _missing_tapes(survey: Survey, adjusted: Adjustment) -> list[NextReading]:
    """Tapes to all that the tapes do not fix: to each point two from corners beside it, or a third off their line.

    Where every point has its two and the figure gives way all the same, one tape across the roof to each.
    """
    corners, n = survey.corners, len(survey.corners)
    taped = {frozenset((t.from_, t.to)) for t in survey.tapes}
    names = [p for p in dict.fromkeys([*corners, *(p for t in survey.tapes for p in (t.from_, t.to))])
             if p not in adjusted.points]

    def beside(name: str, some: Sequence[str]) -> list[str]:
        """Some corners, the nearest round the roof first."""
        if name not in corners:
            return [*some]
        steps = [(corners.index(c) - corners.index(name)) % n for c in some]
        return [c for _, c in sorted(zip((min(k, n - k) for k in steps), some, strict=True), key=lambda p: p[0])]

    pairs, fixed = list[tuple[str, str]](), [c for c in corners if c in adjusted.points]
    for name in names:
        near = beside(name, fixed)
        held = [c for c in near if frozenset((c, name)) in taped]
        in_line = len(held) > 1 and all(c in adjusted.points for c in held)
        lacking = max(2 - len(held), int(in_line)) if len(near) > 1 else len(near) - len(held)
        pairs += [(c, name) for c in near if c not in held][:lacking]
        fixed += [name] if name in corners else []
    if not pairs:
        across = [(next((c for c in reversed(beside(name, corners)) if frozenset((c, name)) not in taped), name), name)
                  for name in names]
        pairs = [pair for pair in across if pair[0] != pair[1]]
    return [NextReading("tape", None, pair, pair[1], why=f"the tapes do not fix {pair[1]} yet", missing=True)
            for pair in pairs[:MOST_MISSING]]


def _unread_fittings(survey: Survey, adjusted: Adjustment) -> list[NextReading]:
    """Thresholds and outlets' inverts that nobody read."""
    read, sigma = {level.point for level in survey.levels}, survey.level_sigma
    wanted = [(p, f"the threshold at {p}", "a threshold point without a reading") for d in survey.all_doors
              for p in d.points]
    wanted += [(o.point, f"the {o.kind} at {o.point}", f"the invert of a {o.kind} that was not read")
               for o in survey.outlets if o.invert_drop is None]
    return [NextReading("level", _place(adjusted, p), (p,), place, None, sigma, why, True)
            for p, place, why in wanted if p not in read]


# --- words and places ---------------------------------------------------------------------------------------------

def _place(adjusted: Adjustment, name: str) -> tuple[float, float] | None:
    point = adjusted.points.get(name)
    return None if point is None else (point.x, point.y)


def _places(adjusted: Adjustment, names: Iterable[str]) -> Array:
    """Where named points lie, (n, 2) [in]."""
    return np.array([(adjusted.points[p].x, adjusted.points[p].y) for p in names], dtype=float).reshape(-1, 2)


def _where(survey: Survey, adjusted: Adjustment, at: Sequence[float]) -> str:
    """A corner's name, or a place to measure off."""
    near = (c for c in survey.corners if math.dist(_place(adjusted, c) or at, at) < 1)
    return next((f"corner {c}" for c in near), in_feet(at))
