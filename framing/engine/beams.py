"""Tapered beams continuous over their pads: reactions, moments, shears and deflections under every pattern of load.

All beams are solved at once, end to end on one axis, by the three-moment equation with varying depth. A load on one
span bends the spans to one side of it in a shape that is theirs alone, whatever the load, so the worst of all
patterns needs two such shapes a span and not a solve a pattern. A part of the supports stage.
Moments are positive where they sag, shear where the left part pushes up, reactions upward, deflection downward.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import solve_banded

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

PANELS: Final = 16  # least number of panels a span is cut into; the stress peak is met within 0.03 %
TIP_PANELS: Final = 4  # ... and an overhang, where the worst is at its pad
STEP: Final = 0.1  # a step in the load of this part of the beam's greatest ends a panel; lesser ones lie within
# Stations within a panel, and what integrates a curve given at them: whole, once and twice up to each station.
_T: Final = np.linspace(0.0, 1.0, 5)
_FROM_VALUES: Final = np.linalg.inv(np.vander(_T, increasing=True))  # values at _T -> coefficients of a quartic
_POWER: Final = np.arange(5)
_ONCE: Final = (_T[:, None] ** (_POWER + 1) / (_POWER + 1)) @ _FROM_VALUES
_TWICE: Final = (_T[:, None] ** (_POWER + 2) / ((_POWER + 1) * (_POWER + 2))) @ _FROM_VALUES
_WHOLE: Final = _ONCE[-1]
_LIFTS: Final = 1e-6  # part of the beam's load below which an upward pull is rounding
LIVE, DEAD, ADDED = range(3)  # sets of load; last of all is one pound at the middle of a span or on a tip


@dataclass(frozen=True)
class Beam:
    """One piece of a member from splice to splice, carried by its pads.

    length : [in]
    profile : (k, 2), distance from the piece's start [in] and depth there [in], straight between
    supports : (n,), n >= 2, centres of the pads from the piece's start [in], rising. An end that shares a pad
        with the next piece has its support at the end itself.
    width : (m,), tributary width [in] of each of m equal parts of the length
    thickness : [in]
    point_loads : (p, 2), distance from the start [in] and tributary area [in2] of what hangs there
    density : weight of the wood [pcf], 0 where the dead load holds it already
    added : (2, m) or (2, 1), what lies on single places of the deck [lb/in]: that stays, and that comes and goes
    added_points : (q, 3), distance from the start [in], and what of either kind hangs there [lb]
    """

    length: float
    profile: Floats
    supports: Floats
    width: Floats
    thickness: float
    point_loads: Floats = field(default_factory=lambda: np.zeros((0, 2)))
    density: float = 0.0
    added: Floats = field(default_factory=lambda: np.zeros((2, 1)))
    added_points: Floats = field(default_factory=lambda: np.zeros((0, 3)))


@dataclass(frozen=True)
class Load:
    """Dead and live load on the deck [psf]; `point` [lb] stands alone at the middle of any span or on any tip."""

    dead: float
    live: float
    point: float = 0.0


@dataclass(frozen=True)
class Solution:
    """What `solve` found, one array for each beam in the order given.

    At each pad [lb]: `reaction` with dead and live load on every span and nothing added, `reaction_dead` with what is
    added and stays, `reaction_most` under the worst of the live load's patterns with all that is added (each pad
    holding both ways, or a lifting pad let go: the greater), `lift` the least (negative: pulls upward). At each
    station `s` [in] (both sides of every break in depth, load or slope): `depth` [in], `slope` of the depth, the
    envelopes `moment_most` and `moment_least` [lb in], `shear` [lb], `bending_stress` and `shear_stress` [psi],
    `deflection_dead` and the worst `deflection_live` [in]; `span` [in] is the length that deflection is held
    against, twice the length on an overhang.
    `tips` is true for a beam that some pattern of live load would tip off its pads.
    `tip` is what a load on the end of either overhang does.
    """

    reaction: list[Floats]
    reaction_dead: list[Floats]
    reaction_most: list[Floats]
    lift: list[Floats]
    s: list[Floats]
    depth: list[Floats]
    slope: list[Floats]
    span: list[Floats]
    moment_most: list[Floats]
    moment_least: list[Floats]
    shear: list[Floats]
    bending_stress: list[Floats]
    shear_stress: list[Floats]
    deflection_dead: list[Floats]
    deflection_live: list[Floats]
    tips: Bools
    tip: TipLoad


@dataclass(frozen=True)
class TipLoad:
    """Dead load and `load` [lb] on the end of the left and of the right overhang alone, all (beams, 2).

    `overhang` [in], 0 where there is none; `bending` and `shear` the greatest stress [psi] near that end;
    `deflection` [in] at the tip by the load alone; `lift` [lb] the least reaction of any pad.
    """

    load: float
    overhang: Floats
    bending: Floats
    shear: Floats
    deflection: Floats
    lift: Floats


def solve(beams: Sequence[Beam], load: Load, E: ArrayLike, *, tip_load: float = 0.0) -> Solution:
    """Reactions, stresses and deflections of beams under dead load and every pattern of live load.

    Live load may lie on any of a beam's spans and overhangs; the worst is found exactly, by adding what each
    loaded span does for the worse. Where a pattern pulls a pad upward it is solved again with that pad let go.
    A point load, where there is one, stands alone with the dead load; the worse of both is taken everywhere.

    E : modulus of elasticity [psi], one for all or (beams,)
    tip_load : on the end of each overhang [lb], told apart as `Solution.tip`

    Raises ValueError for a beam that cannot be one; the message names it.

    Notes: Euler-Bernoulli (no shear deflection), pads that do not settle, Clapeyron's three-moment equation with
    1/EI integrated along the taper (fourth-order between 16 or more panels a span).
    """
    modulus = np.broadcast_to(np.asarray(E, dtype=float), (len(beams),))
    if not np.all(modulus > 0):
        raise ValueError(f"E is {E!r} psi; it must be positive")
    if not (load.dead >= 0 and load.live >= 0 and load.point >= 0 and tip_load >= 0):
        raise ValueError(f"dead load {load.dead}, live load {load.live} psf, point loads {load.point} and "
                         f"{tip_load} lb; none may be negative")
    if not beams:
        return _nothing(tip_load)
    for number, beam in enumerate(beams):
        _refuse_unfit(number, beam)

    row = _Row(beams)
    mesh = _Mesh(row, beams, load)
    sets = _LoadSets(row, mesh, beams, load)
    cases = _solve_cases(row, sets)
    shapes = _Shapes(row, mesh, sets)

    live, dead = cases.reactions[:, cases.live], cases.reactions[:, 0]
    point = load.point * cases.reactions[:, cases.point]
    most = dead + np.maximum(np.maximum(live, 0).sum(axis=1), point.max(axis=1))
    least = dead + np.minimum(np.minimum(live, 0).sum(axis=1), point.min(axis=1))
    worst = _worst_of_patterns(row, mesh, shapes, cases, load.point)
    most_let_go, tips = _let_go(row, mesh, shapes, cases, worst)

    E_of = modulus[mesh.beam][:, None]
    section = mesh.thickness[:, None] * mesh.depth**2 / 6
    bending = np.maximum(np.abs(worst.moment_most), np.abs(worst.moment_least)) / section
    shear_stress = 1.5 * worst.shear / (mesh.thickness[:, None] * mesh.depth)
    overhang_twice = np.where(row.is_span, row.region_length, 2 * row.region_length)
    added = cases.reactions[:, cases.added] if sets.any_added else 0.0

    def at_pads(values: Floats) -> list[Floats]:
        return _cut(values, row.first_support)

    def at_stations(values: Floats) -> list[Floats]:
        return _cut(np.broadcast_to(values, mesh.s.shape).ravel(), mesh.first_panel_of_beam * _T.size)

    return Solution(
        reaction=at_pads(dead + live.sum(axis=1) - added),
        reaction_dead=at_pads(dead),
        reaction_most=at_pads(np.maximum(most, most_let_go)),
        lift=at_pads(least),
        s=at_stations(mesh.s),
        depth=at_stations(mesh.depth),
        slope=at_stations(mesh.depth_slope[:, None]),
        span=at_stations(overhang_twice[mesh.region][:, None]),
        moment_most=at_stations(worst.moment_most),
        moment_least=at_stations(worst.moment_least),
        shear=at_stations(worst.shear),
        bending_stress=at_stations(bending),
        shear_stress=at_stations(shear_stress),
        deflection_dead=at_stations(worst.deflection_dead / E_of),
        deflection_live=at_stations(worst.deflection_live / E_of),
        tips=tips,
        tip=_tip_load(row, mesh, shapes, cases, section, modulus, tip_load),
    )


def _nothing(tip_load: float) -> Solution:
    none = np.zeros((0, 2))
    return Solution([], [], [], [], [], [], [], [], [], [], [], [], [], [], [], np.zeros(0, dtype=bool),
                    TipLoad(tip_load, none, none, none, none, none))


def _cut(values: Floats, first: Ints) -> list[Floats]:
    edges = first.tolist()
    return [values[a:b] for a, b in zip(edges[:-1], edges[1:], strict=True)]


def _refuse_unfit(number: int, beam: Beam) -> None:
    """Raises ValueError, naming the beam by its place in the batch, for what cannot be a beam."""
    supports, profile, width = beam.supports, beam.profile, beam.width
    points = np.concatenate([np.reshape(beam.point_loads, (-1, 2))[:, 0], np.reshape(beam.added_points, (-1, 3))[:, 0]])

    def refuse(what: str) -> None:
        raise ValueError(f"beam {number}: {what}")

    if not (np.isfinite(beam.length) and beam.length > 0):
        refuse(f"length {beam.length} in; it must be positive")
    if not beam.thickness > 0:
        refuse(f"thickness {beam.thickness} in; it must be positive")
    if not beam.density >= 0:
        refuse(f"density {beam.density} pcf; it must not be negative")
    if len(supports) < 2:
        refuse(f"{len(supports)} support; it needs two or more")
    if not (supports[1:] - supports[:-1] > 1e-6).all():
        refuse(f"supports at {supports.tolist()} in; they must rise")
    if not (supports[0] >= -1e-6 and supports[-1] <= beam.length + 1e-6):
        refuse(f"supports from {supports[0]} to {supports[-1]} in; they must lie within 0 and {beam.length} in")
    if profile.ndim != 2 or profile.shape[0] < 2 or profile.shape[1] != 2:
        refuse(f"a profile of shape {profile.shape}; two or more rows of distance and depth are expected")
    s = profile[:, 0]
    if not ((s[1:] >= s[:-1]).all() and s[0] <= 1e-3 and s[-1] >= beam.length - 1e-3):
        refuse(f"a profile from {s[0]} to {s[-1]} in; it must run from 0 to {beam.length} in")
    if not (profile[:, 1] > 0).all():
        refuse(f"depth {profile[:, 1].min()} in; it must be positive")
    if not (width.size and (width >= 0).all()):
        refuse("tributary widths must be given and not negative")
    if np.shape(beam.added) not in ((2, 1), (2, width.size)) or not (np.asarray(beam.added) >= 0).all():
        refuse(f"added loads of shape {np.shape(beam.added)}; two rows, not negative, on the parts of the widths "
               "are expected")
    if points.size and not ((points >= -1e-6) & (points <= beam.length + 1e-6)).all():
        refuse(f"a point load outside 0 and {beam.length} in")


class _Row:
    """All beams laid end to end, in regions: a span or an overhang, each.

    Beam b with n pads has n + 1 regions, the first and the last being its overhangs, which may be of no length.
    Support j of all lies between regions left[j] and left[j] + 1.
    """

    def __init__(self, beams: Sequence[Beam]) -> None:
        self.beams = len(beams)
        beam = np.arange(self.beams)
        self.count = np.array([len(b.supports) for b in beams])
        self.length = np.array([b.length for b in beams], dtype=float)
        self.origin = np.concatenate([[0.0], np.cumsum(self.length[:-1] + 1.0)])  # of each beam on the common axis

        self.first_support = np.concatenate([[0], np.cumsum(self.count)])
        self.support_beam = np.repeat(beam, self.count)
        self.support_local = np.arange(self.first_support[-1]) - self.first_support[self.support_beam]
        supports = np.concatenate([b.supports for b in beams]).astype(float)
        self.supports = np.clip(supports, 0.0, self.length[self.support_beam])
        self.left = np.arange(supports.size) + self.support_beam
        self.is_first = self.support_local == 0
        self.is_last = self.support_local == self.count[self.support_beam] - 1

        self.first_region = self.first_support + np.arange(self.beams + 1)
        self.region_beam = np.repeat(beam, self.count + 1)
        self.region_local = np.arange(self.region_beam.size) - self.first_region[self.region_beam]
        self.is_right = self.region_local == self.count[self.region_beam]
        self.is_left = self.region_local == 0
        self.is_span = ~(self.is_left | self.is_right)
        start, end = np.zeros(self.region_beam.size), self.length[self.region_beam]
        start[self.left + 1] = self.supports
        end[self.left] = self.supports
        self.region_start, self.region_length = start, end - start
        self.safe_length = np.where(self.region_length > 1e-9, self.region_length, 1.0)
        self.most_regions = int(self.count.max()) + 1
        self.spans = np.flatnonzero(self.is_span)
        self.span_right = self.spans - self.region_beam[self.spans]  # the support at a span's right end

        # what hangs on single places, in order: tributary area [in2], and [lb] that stays and that comes and goes
        hung = [np.reshape(b.point_loads, (-1, 2)) for b in beams]
        added = [np.reshape(b.added_points, (-1, 3)) for b in beams]
        rows = np.zeros((sum(map(len, (*hung, *added))), 4))
        owner = np.concatenate([np.repeat(beam, [len(p) for p in each]) for each in (hung, added)])
        areas = sum(map(len, hung))
        rows[:areas, :2] = np.concatenate(hung)
        rows[areas:, [0, 2, 3]] = np.concatenate(added)
        rows[:, 0] = np.clip(rows[:, 0], 0, self.length[owner])
        order = np.argsort(self.origin[owner] + rows[:, 0], kind="stable")
        self.point_beam = owner[order]
        self.point_s, self.point_area, self.point_stays, self.point_goes = rows[order].T
        self.point_at = self.origin[self.point_beam] + self.point_s

    def region_of(self, beam: Ints, at: Floats) -> Ints:
        """The region of a beam that holds a place on the common axis; a pad belongs to what follows it."""
        found: Ints = np.searchsorted(self.origin[self.support_beam] + self.supports, at + 1e-8, side="right") + beam
        return found


class _Mesh:
    """Panels within the regions: straight in depth, without a great step in load; five stations in each."""

    def __init__(self, row: _Row, beams: Sequence[Beam], load: Load) -> None:
        pieces = np.where(row.is_span, PANELS, TIP_PANELS)
        first = np.cumsum(pieces + 1) - pieces - 1
        of = np.repeat(np.arange(pieces.size), pieces + 1)
        part = (np.arange(of.size) - first[of]) / pieces[of]
        cuts = (row.origin[row.region_beam] + row.region_start)[of] + part * row.region_length[of]
        knots = np.array([len(b.profile) for b in beams])
        knot_beam = np.repeat(np.arange(row.beams), knots)
        knot_s, knot_depth = np.concatenate([b.profile for b in beams]).T
        kinks = row.origin[knot_beam] + np.clip(knot_s, 0, row.length[knot_beam])
        at = np.sort(np.concatenate([cuts, kinks, row.point_at, _steps(row, beams, load)]))
        middle, extent = (at[1:] + at[:-1]) / 2, np.diff(at)
        beam = np.searchsorted(row.origin, middle, side="right") - 1
        keep = (extent > 1e-9) & (middle < row.origin[beam] + row.length[beam])
        self.beam, self.middle, self.h = beam[keep], middle[keep], extent[keep]
        start = at[:-1][keep]
        self.first_panel_of_beam = np.searchsorted(self.beam, np.arange(row.beams + 1))
        self.region = row.region_of(self.beam, self.middle)
        self.first_panel = np.searchsorted(self.region, np.arange(row.region_beam.size + 1))
        self.s = (start - row.origin[self.beam])[:, None] + self.h[:, None] * _T
        self.from_start = self.s - row.region_start[self.region][:, None]

        # depth: the straight stretch of profile that holds the panel's middle
        knot = row.origin[knot_beam] + knot_s
        last = np.cumsum(knots) - 1
        k = np.searchsorted(knot, self.middle, side="right") - 1
        k = np.clip(k, (last - knots + 1)[self.beam], last[self.beam] - 1)
        self.depth_slope = (knot_depth[k + 1] - knot_depth[k]) / (knot[k + 1] - knot[k])
        self.depth = (knot_depth[k] - self.depth_slope * knot_s[k])[:, None] + self.depth_slope[:, None] * self.s
        self.thickness = np.array([b.thickness for b in beams])[self.beam]
        self.give = 12 / (self.thickness[:, None] * self.depth**3)  # 1/I

    def running(self, step: Floats) -> tuple[Floats, Floats]:
        """Sum of `step` (..., panels) before each panel within its region, and (..., regions) each region's whole."""
        sums = np.zeros((*step.shape[:-1], step.shape[-1] + 1))
        np.cumsum(step, axis=-1, out=sums[..., 1:])
        before = sums[..., :-1] - sums[..., self.first_panel[self.region]]
        return before, sums[..., self.first_panel[1:]] - sums[..., self.first_panel[:-1]]

    def along(self, values: Floats) -> Floats:
        """Values of regions (..., regions) at their panels, (..., panels, 1)."""
        spread: Floats = values[..., self.region, None]
        return spread


def _steps(row: _Row, beams: Sequence[Beam], load: Load) -> Floats:
    """Places on the common axis where a beam's load steps by a part of its greatest that is worth a panel's end."""
    found = []
    for i, b in enumerate(beams):
        if b.width.size > 1:
            line = (load.dead + load.live) * b.width / 144 + np.sum(b.added, axis=0)
            step = np.flatnonzero(np.abs(line[1:] - line[:-1]) > STEP * line.max())
            found.append(row.origin[i] + (step + 1) * (b.length / b.width.size))
    return np.concatenate(found) if found else np.zeros(0)


class _Line:
    """Line loads that are straight in each of a beam's parts: the load from the beam's start and its integral."""

    def __init__(self, first: Ints, start: Floats, extent: Floats, value: Floats, rise: Floats | None,
                 part_of: Callable[[Ints, Floats], Ints]) -> None:
        """start, extent (parts,) [in] of beam after beam, beam b's first at first[b]; value and rise (sets, parts)."""
        self.start, self.value, self.rise, self.part_of = start, value, rise, part_of
        owner = np.repeat(np.arange(first.size - 1), np.diff(first))

        def before(step: Floats) -> Floats:
            sums = np.cumsum(step, axis=-1) - step
            within: Floats = sums - sums[..., first[owner]]
            return within

        tilt = np.zeros(1) if rise is None else rise
        self.P = before(extent * (value + extent * tilt / 2))
        self.A = before(extent * (self.P + extent * (value / 2 + extent * tilt / 6)))

    def at(self, beam: Ints, s: Floats) -> tuple[Floats, Floats]:
        """Load up to places s of the beams, and its integral, (sets, ...)."""
        k = self.part_of(beam, s)
        x = s - self.start[k]
        P, q = self.P[:, k], self.value[:, k]
        half = q * x / 2
        A = self.A[:, k] + x * (P + half)
        P = P + 2 * half
        if self.rise is not None:
            bend = self.rise[:, k] * x**2
            P, A = P + bend / 2, A + bend * x / 6
        return P, A


def _lines(row: _Row, beams: Sequence[Beam], load: Load, sets: int) -> list[_Line]:
    """The first `sets` sets of line load [lb/in]: what the widths carry, and the wood's own weight where asked."""
    parts = np.array([b.width.size for b in beams])
    first = np.concatenate([[0], np.cumsum(parts)])
    owner = np.repeat(np.arange(row.beams), parts)
    extent = row.length / parts
    width = np.concatenate([b.width for b in beams]) / 144
    value = np.stack([load.live * width, load.dead * width, np.zeros(width.size)])[:sets]
    if sets > ADDED:
        added = np.concatenate([np.broadcast_to(b.added, (2, b.width.size)) for b in beams], axis=1)
        value += np.stack([added[1], added[0], added.sum(axis=0)])

    def part_of(beam: Ints, s: Floats) -> Ints:
        local: Ints = np.clip((s / extent[beam]).astype(np.intp), 0, parts[beam] - 1)
        return local + first[beam]

    start = (np.arange(owner.size) - first[owner]) * extent[owner]
    lines = [_Line(first, start, extent[owner], value, None, part_of)]
    if any(b.density for b in beams):
        lines.append(_own_weight(row, beams, sets))
    return lines


def _own_weight(row: _Row, beams: Sequence[Beam], sets: int) -> _Line:
    parts = np.array([len(b.profile) - 1 for b in beams])
    first = np.concatenate([[0], np.cumsum(parts)])
    owner = np.repeat(np.arange(row.beams), parts)
    start, extent = (np.concatenate(v) for v in
                     zip(*((b.profile[:-1, 0], np.diff(b.profile[:, 0])) for b in beams), strict=True))
    depth, deepens = (np.concatenate(v) for v in
                      zip(*((b.profile[:-1, 1], np.diff(b.profile[:, 1])) for b in beams), strict=True))
    weight = np.array([b.density * b.thickness / 1728 for b in beams])[owner]
    value, rise = np.zeros((2, sets, owner.size))
    value[DEAD] = weight * depth
    rise[DEAD] = weight * deepens / np.where(extent > 0, extent, np.inf)
    on_axis = row.origin[owner] + start

    def part_of(beam: Ints, s: Floats) -> Ints:
        found: Ints = np.searchsorted(on_axis, row.origin[beam] + s, side="right") - 1
        return np.clip(found, first[beam], first[beam] + parts[beam] - 1)

    return _Line(first, start, extent, value, rise, part_of)


class _LoadSets:
    """What each set of load does to the regions cut free at their pads, (sets, regions) and (sets, panels, 5).

    Moment M0 = c0 + c1 x - A and shear c1 - P at x from the region's start, P being the load so far and A its
    integral; the sets are LIVE, DEAD, ADDED (all that is added, at once; left out where there is nothing) and last
    one pound at the middle of a span or on a tip.
    """

    def __init__(self, row: _Row, mesh: _Mesh, beams: Sequence[Beam], load: Load) -> None:
        self.any_added = any(len(b.added_points) or np.any(b.added) for b in beams)
        P, A, self.total, A_total = self._carried(row, mesh, beams, load)
        long = row.region_length
        self.c1 = np.where(row.is_span, A_total / row.safe_length, np.where(row.is_right, self.total, 0.0))
        c0 = np.where(row.is_right, A_total - self.total * long, 0.0)
        self.pad_moment = np.where(row.is_right, c0, np.where(row.is_span, 0.0, -A_total))  # of an overhang
        self.M0 = mesh.along(self.c1) * mesh.from_start
        self.M0 += mesh.along(c0)
        self.M0 -= A
        self.shear = mesh.along(self.c1) - P

        # flexibility of each span and the turn of its ends under load
        part = mesh.from_start / mesh.along(row.safe_length)
        give = _WHOLE * mesh.h[:, None] * mesh.give
        left, right = give * (1 - part), give * part

        def total(weight: Floats, curve: Floats) -> Floats:
            return mesh.running((weight * curve).sum(axis=-1))[1]

        self.flex_left, self.flex_right = total(left, 1 - part), total(right, part)
        self.flex_cross = total(left, part)
        self.turn_left, self.turn_right = total(left, self.M0), total(right, self.M0)

    def _carried(self, row: _Row, mesh: _Mesh, beams: Sequence[Beam], load: Load
                 ) -> tuple[Floats, Floats, Floats, Floats]:
        """P and A from each region's start at the stations, and both over the whole of each region."""
        long, start, of = row.region_length, row.region_start, row.region_beam
        sets = 3 if self.any_added else 2
        P, A = np.zeros((2, sets + 1, mesh.h.size, _T.size))
        total, A_total = np.zeros((2, sets + 1, of.size))
        for line in _lines(row, beams, load, sets):
            P0, A0 = line.at(of, start)
            P1, A1 = line.at(of, start + long)
            total[:sets] += P1 - P0
            A_total[:sets] += A1 - A0 - P0 * long
            Ps, As = line.at(mesh.beam[:, None], mesh.s)
            P[:sets] += Ps - mesh.along(P0)
            A[:sets] += As - mesh.along(A0) - mesh.along(P0) * mesh.from_start
        weight = np.stack([load.live * row.point_area / 144 + row.point_goes,
                           load.dead * row.point_area / 144 + row.point_stays,
                           row.point_goes + row.point_stays])[:sets]
        if weight.size:
            region = row.region_of(row.point_beam, row.point_at)
            region -= row.is_right[region] & (long[region] <= 1e-9)  # at a beam's very end: a load of its last span
            first = np.searchsorted(region, np.arange(of.size + 1))
            so_far = np.zeros((2, sets, region.size + 1))  # weight, and weight times place
            np.cumsum([weight, weight * row.point_s], axis=-1, out=so_far[..., 1:])
            hung = so_far[..., first[1:]] - so_far[..., first[:-1]]
            total[:sets] += hung[0]
            A_total[:sets] += hung[0] * (start + long) - hung[1]
            passed = np.searchsorted(row.point_at, mesh.middle)
            hung = so_far[..., np.maximum(passed, first[mesh.region])] - so_far[..., first[mesh.region]]
            P[:sets] += hung[0][..., None]
            A[:sets] += hung[0][..., None] * mesh.s - hung[1][..., None]
        # one pound at the middle of a span, on the tip of an overhang
        past = np.where(row.is_span, long / 2, np.where(row.is_right, long, 0.0))
        total[-1], A_total[-1] = 1.0, long - past
        beyond = mesh.from_start - mesh.along(past)
        P[-1] = beyond.mean(axis=1, keepdims=True) > 0
        A[-1] = np.maximum(beyond, 0.0)
        return P, A, total, A_total


@dataclass(frozen=True)
class _Cases:
    """Pad moments and reactions (supports, cases) of the unit cases, and what turns the ends of the regions.

    The cases: dead load, live load on each region in turn, one pound on each region in turn, each pad raised by 1/E
    in turn, and where there is any all that is added. `left` and `right` (regions, cases) are what bends a region
    from outside: of a span the moments over its two pads, of an overhang (left) the turn of the span beside it.
    """

    moments: Floats
    reactions: Floats
    left: Floats
    right: Floats
    live: slice
    point: slice
    raised: slice
    added: int


def _solve_cases(row: _Row, sets: _LoadSets) -> _Cases:
    """The unit cases by the three-moment equation."""
    k, pads = row.most_regions, row.most_regions - 1
    live, point, raised = slice(1, 1 + k), slice(1 + k, 1 + 2 * k), slice(1 + 2 * k, 1 + 2 * k + pads)
    cases = raised.stop + sets.any_added
    regions = np.arange(row.region_beam.size)
    # how much of each set lies on each region
    on = np.zeros((sets.total.shape[0], regions.size, cases))
    on[DEAD, :, 0] = 1.0
    on[LIVE, regions, live.start + row.region_local] = 1.0
    on[-1, regions, point.start + row.region_local] = 1.0
    if sets.any_added:
        on[ADDED, :, -1] = 1.0

    def loaded(values: Floats) -> Floats:
        whole: Floats = np.einsum("sr,src->rc", values, on)
        return whole

    turn_left, turn_right, over_pad = loaded(sets.turn_left), loaded(sets.turn_right), loaded(sets.pad_moment)
    left, right = row.left, row.left + 1
    inner = np.flatnonzero(~(row.is_first | row.is_last))
    rhs = -turn_right[left] - turn_left[right]
    rhs[row.is_first] = over_pad[left[row.is_first]]
    rhs[row.is_last] = over_pad[right[row.is_last]]
    lift = raised.start + row.support_local[inner]
    by_left, by_right = 1 / row.safe_length[left[inner]], 1 / row.safe_length[right[inner]]
    rhs[inner, lift - 1] += by_left
    rhs[inner, lift] -= by_left + by_right
    rhs[inner, lift + 1] += by_right

    is_inner = ~(row.is_first | row.is_last)
    bands = np.zeros((3, left.size))
    bands[1] = np.where(is_inner, sets.flex_right[left] + sets.flex_left[right], 1.0)
    bands[0, 1:] = np.where(is_inner, sets.flex_cross[right], 0.0)[:-1]
    bands[2, :-1] = np.where(is_inner, sets.flex_cross[left], 0.0)[1:]
    moments = solve_banded((1, 1), bands, rhs)

    # reactions: the jump of the shear over each pad
    from_left, from_right = np.zeros((2, regions.size, cases))
    from_left[row.spans], from_right[row.spans] = moments[row.span_right - 1], moments[row.span_right]
    tilt = (from_right - from_left) / row.safe_length[:, None]
    starts = loaded(sets.c1) + tilt
    ends = starts - loaded(sets.total)
    reactions = starts[right] - ends[left]

    first, last = row.first_region[:-1], row.first_region[1:] - 1
    f, l = first + 1, last - 1
    from_left[first] = -(from_left[f] * sets.flex_left[f, None] + from_right[f] * sets.flex_cross[f, None]
                         + turn_left[f])
    from_left[last] = (from_left[l] * sets.flex_cross[l, None] + from_right[l] * sets.flex_right[l, None]
                       + turn_right[l])
    tilt = np.zeros((regions.size, cases))  # of the line through raised pads
    pad_raised = np.zeros((left.size, cases))
    pad_raised[np.arange(left.size), raised.start + row.support_local] = 1.0
    tilt[row.spans] = ((pad_raised[row.span_right] - pad_raised[row.span_right - 1])
                       / row.region_length[row.spans, None])
    from_left[first] += tilt[f]
    from_left[last] += tilt[l]
    return _Cases(moments, reactions, from_left, from_right, live, point, raised, cases - 1)


class _Shapes:
    """How moment, shear and rise (upward, times E) run within each region, (panels, 5) or (regions,).

    own : (sets, panels, 5) by the sets of load on the region itself, its pads at rest and its ends turning freely;
    left, right : by one of what bends it from outside (`_Cases`); onward, back : by a load further right or further
    left, which bends a span by the moments over its two pads in a ratio that is the span's own.
    """

    def __init__(self, row: _Row, mesh: _Mesh, sets: _LoadSets) -> None:
        span = mesh.along(row.is_span)
        part = np.where(span, mesh.from_start / mesh.along(row.safe_length), 0.0)
        self.moment_left, self.moment_right = np.where(span, 1 - part, 0.0), part
        keep = [LIVE, DEAD, -1]
        self.own_moment, self.own_shear = sets.M0[keep], sets.shear[keep]
        self.tilt = np.where(row.is_span, 1 / row.safe_length, 0.0)
        rise = _rise(row, mesh, np.concatenate([self.own_moment, self.moment_left[None], self.moment_right[None]]))
        self.own_rise = rise[:3]
        lever = mesh.from_start - mesh.along(np.where(row.is_left, row.region_length, 0.0))
        self.rise_left, self.rise_right = np.where(span, rise[3], lever), rise[4]

        back, onward = _carry_over(row, sets)
        self.back_moment = self.moment_left + mesh.along(back) * self.moment_right
        self.back_rise = self.rise_left + mesh.along(back) * self.rise_right
        self.back_shear = (back - 1) * self.tilt
        self.onward_moment = mesh.along(onward) * self.moment_left + self.moment_right
        self.onward_rise = mesh.along(onward) * self.rise_left + self.rise_right
        self.onward_shear = (1 - onward) * self.tilt


def _rise(row: _Row, mesh: _Mesh, moment: Floats) -> Floats:
    """Upward deflection times E (curves, panels, 5) by a moment along each region: nothing at its pads, and an
    overhang goes on level from its pad."""
    h = mesh.h[:, None]
    curvature = moment * mesh.give
    slope_before, slope_total = mesh.running(mesh.h * (curvature @ _WHOLE))
    rise = (curvature @ _TWICE.T) * h**2
    rise += slope_before[..., None] * (h * _T)
    rise_before, rise_total = mesh.running(rise[..., -1])
    turn = np.where(row.is_span, -rise_total / row.safe_length, np.where(row.is_left, -slope_total, 0.0))
    start = np.where(row.is_left, slope_total * row.region_length - rise_total, 0.0)
    rise += (rise_before + start[..., mesh.region])[..., None]
    rise += mesh.along(turn) * mesh.from_start
    return np.asarray(rise)


def _carry_over(row: _Row, sets: _LoadSets) -> tuple[Floats, Floats]:
    """Of each span, moment over its right pad to that over its left by loads further left, and the other way round."""
    back, onward = np.zeros((2, row.region_beam.size))
    d = np.zeros(row.region_beam.size)  # of the pad at a span's right end
    d[:-1] = sets.flex_right[:-1] + sets.flex_left[1:]
    cross = sets.flex_cross
    for k in range(2, row.most_regions - 1):  # spans 2, 3, … from either end; the outermost carry nothing over
        held = np.flatnonzero(row.count - 1 >= k)
        i = row.first_region[held] + k
        onward[i] = -cross[i] / (d[i - 1] + cross[i - 1] * onward[i - 1])
        j = row.first_region[held + 1] - 1 - k
        back[j] = -cross[j] / (d[j] + cross[j + 1] * back[j + 1])
    return back, onward


@dataclass
class _Envelope:
    """The worst at each station, (panels, 5), deflections times E."""

    moment_most: Floats
    moment_least: Floats
    shear: Floats
    deflection_dead: Floats
    deflection_live: Floats


def _worst_of_patterns(row: _Row, mesh: _Mesh, shapes: _Shapes, cases: _Cases, point: float) -> _Envelope:
    """The worst of dead load with live load on any of the regions, or with a point load on any one of them."""
    own = np.arange(row.region_beam.size), row.region_local
    other = np.arange(row.most_regions) - row.region_local[:, None]  # of each case, how far right its region lies
    from_left = np.where(row.is_span[:, None], other < 0, other != 0)
    from_right = row.is_span[:, None] & (other > 0)
    left, right = mesh.along(cases.left[:, 0]), mesh.along(cases.right[:, 0])
    tilt = shapes.tilt * (cases.right[:, 0] - cases.left[:, 0])
    dead_moment = shapes.own_moment[DEAD] + left * shapes.moment_left + right * shapes.moment_right
    dead_shear = shapes.own_shear[DEAD] + mesh.along(tilt)
    dead_rise = shapes.own_rise[DEAD] + left * shapes.rise_left + right * shapes.rise_right

    def spread(which: slice, size: float, set_: int, together: Callable[..., Floats]) -> tuple[Floats, ...]:
        """Most and least moment, most and least shear, least rise of loads on the regions, `together` or apart."""
        outer_left, outer_right = size * cases.left[:, which], size * cases.right[:, which]
        a, b = mesh.along(outer_left[own]), mesh.along(outer_right[own])
        tilt = mesh.along(shapes.tilt * (outer_right[own] - outer_left[own]))
        by_left, by_right = np.where(from_left, outer_left, 0.0), np.where(from_right, outer_right, 0.0)
        (l_up, r_up), (l_down, r_down) = (
            [sign * np.max(sign * v, axis=1, initial=0.0) if together is np.maximum
             else np.sum(np.maximum(sign * v, 0.0), axis=1) * sign for v in (by_left, by_right)] for sign in (1, -1))
        up, down = [mesh.along(v) for v in (l_up, r_up)], [mesh.along(v) for v in (l_down, r_down)]

        def most_least(mine: Floats, back: Floats, onward: Floats) -> tuple[Floats, Floats]:
            most, least = np.maximum(mine, 0.0), np.minimum(mine, 0.0)
            for shape, u, d in ((back, up[0], down[0]), (onward, up[1], down[1])):
                above, below = np.maximum(shape, 0.0), np.minimum(shape, 0.0)
                if together is np.maximum:
                    most = np.maximum(most, np.maximum(u * above, d * below))
                    least = np.minimum(least, np.minimum(u * below, d * above))
                else:
                    most, least = most + u * above + d * below, least + u * below + d * above
            return most, least

        moment = most_least(size * shapes.own_moment[set_] + a * shapes.moment_left + b * shapes.moment_right,
                            shapes.back_moment, shapes.onward_moment)
        shear = most_least(size * shapes.own_shear[set_] + tilt, mesh.along(shapes.back_shear),
                           mesh.along(shapes.onward_shear))
        rise = most_least(size * shapes.own_rise[set_] + a * shapes.rise_left + b * shapes.rise_right,
                          shapes.back_rise, shapes.onward_rise)
        return *moment, *shear, rise[1]

    sag, hog, push, pull, sink = spread(cases.live, 1.0, LIVE, np.add)
    if point:
        alone = spread(cases.point, point, 2, np.maximum)
        sag, push = np.maximum(sag, alone[0]), np.maximum(push, alone[2])
        hog, pull, sink = np.minimum(hog, alone[1]), np.minimum(pull, alone[3]), np.minimum(sink, alone[4])
    return _Envelope(
        moment_most=dead_moment + sag,
        moment_least=dead_moment + hog,
        shear=np.maximum(np.abs(dead_shear + push), np.abs(dead_shear + pull)),
        deflection_dead=-dead_rise,
        deflection_live=-sink,
    )


def _tip_load(row: _Row, mesh: _Mesh, shapes: _Shapes, cases: _Cases, section: Floats, E: Floats, load: float
              ) -> TipLoad:
    """Dead load and `load` on each tip alone: stress in the overhang and the span behind it, sag, least reaction."""
    first, last = row.first_region[:-1], row.first_region[1:] - 1
    overhang = np.stack([row.region_length[first], row.region_length[last]], axis=1)
    bending, shear, sag, lift = np.zeros((4, row.beams, 2))
    for side in (0, 1):
        tip, behind = (first, first + 1) if side == 0 else (last, last - 1)
        who = np.flatnonzero(overhang[:, side] > 1e-6)
        if not (load and who.size):
            continue
        case = cases.point.start + row.region_local[tip]
        near = np.zeros((2, row.region_beam.size))  # what bends the regions near the tip from outside
        for k, outer in enumerate((cases.left, cases.right)):
            for region in (tip, behind):
                near[k, region] = outer[region, 0] + load * outer[region, case]
        wanted = np.zeros(row.region_beam.size, dtype=bool)
        wanted[tip[who]] = wanted[behind[who]] = True
        p = np.flatnonzero(wanted[mesh.region])
        region = mesh.region[p]
        is_tip = (~row.is_span[region])[:, None]
        a, b = near[:, region, None]
        moment = (shapes.own_moment[DEAD, p] + is_tip * load * shapes.own_moment[-1, p]
                  + a * shapes.moment_left[p] + b * shapes.moment_right[p])
        force = (shapes.own_shear[DEAD, p] + is_tip * load * shapes.own_shear[-1, p]
                 + (shapes.tilt[region] * (near[1, region] - near[0, region]))[:, None])
        stress = (np.abs(moment) / section[p]).max(axis=1)
        shearing = (1.5 * np.abs(force) / (mesh.thickness[p, None] * mesh.depth[p])).max(axis=1)
        np.maximum.at(bending[:, side], mesh.beam[p], stress)
        np.maximum.at(shear[:, side], mesh.beam[p], shearing)
        # the free end is the first station of all on the left, the last on the right
        end = mesh.first_panel_of_beam[:-1] if side == 0 else mesh.first_panel_of_beam[1:] - 1
        at = 0 if side == 0 else -1
        turned = cases.left[tip, case]
        sag[:, side] = -load * (shapes.own_rise[-1, end, at] + turned * shapes.rise_left[end, at]) / E
        pads = cases.reactions[:, 0] + load * cases.reactions[np.arange(row.support_beam.size), case[row.support_beam]]
        lift[:, side] = np.minimum.reduceat(pads, row.first_support[:-1])
        none = np.setdiff1d(np.arange(row.beams), who)
        sag[none, side] = lift[none, side] = 0.0
    return TipLoad(load, overhang, bending, shear, sag, lift)


def _let_go(row: _Row, mesh: _Mesh, shapes: _Shapes, cases: _Cases, worst: _Envelope) -> tuple[Floats, Bools]:
    """Solve again, with the lifting pads let go, the patterns that pull a pad upward; widens `worst` by them.

    The patterns are no live load, all of it, every other span both ways, and for each pad those that press and
    that lift it most. Returns the greatest reaction (supports,) among them (minus infinity where no pad of the
    beam lifts) and which beams would tip.
    """
    regions, pads = row.most_regions, row.most_regions - 1
    place = (row.support_beam, row.support_local)
    dead, by_span = np.zeros((row.beams, pads)), np.zeros((row.beams, pads, regions))
    dead[place], by_span[place] = cases.reactions[:, 0], cases.reactions[:, cases.live]
    odd = np.arange(regions) % 2
    fixed = np.broadcast_to(np.stack([0 * odd, 0 * odd + 1, odd, 1 - odd]), (row.beams, 4, regions))
    slack = _LIFTS * np.maximum(dead.sum(axis=1) + by_span.sum(axis=(1, 2)), 1e-12)
    felt = 1e-3 * slack[:, None, None]
    pattern = np.concatenate([fixed, by_span > felt, by_span < -felt], axis=1).astype(float)
    held = dead[:, None] + pattern @ by_span.transpose(0, 2, 1)  # (beams, patterns, pads)
    pulled = (held < -slack[:, None, None]).any(axis=2)
    # live load deflects from where no live load leaves the beam: where that alone pulls, every pattern counts
    pulled |= pulled[:, :1]

    most = np.full(row.support_beam.size, -np.inf)
    tips = np.zeros(row.beams, dtype=bool)
    many = np.argsort(-pulled.sum(axis=1), kind="stable")  # beams with the most such patterns first
    many = many[pulled[many].any(axis=1)]
    if not many.size:
        return most, tips
    rank, which = np.nonzero(pulled[many])
    who = many[rank]  # the beam of each pair of beam and pattern
    raise_one = np.zeros((row.beams, pads, pads))
    raise_one[place] = cases.reactions[:, cases.raised]
    reaction, rise, unstable = _release(held[who, which], raise_one, who, row.count, slack[who])
    tips[who[unstable]] = True
    starts = np.flatnonzero(np.r_[True, np.diff(rank) > 0])
    on_beam = np.full((row.beams, pads), -np.inf)
    on_beam[many] = np.maximum.reduceat(reaction, starts, axis=0)
    most = on_beam[place]

    _widen(row, mesh, shapes, cases, worst, many, rank, starts, pattern[who, which], rise)
    return most, tips


def _release(held: Floats, raise_one: Floats, who: Ints, count: Ints, slack: Floats) -> tuple[Floats, Floats, Bools]:
    """Let go the pads that pull, until every pad left presses and every pad let go has risen.

    held : (pairs, pads), reactions of pairs of beam and pattern with every pad holding; raise_one : (beams, pads,
    pads), what each pad's rise by 1/E adds; who, slack : (pairs,). Returns reactions, E times rises, and (pairs,)
    where fewer than two pads would be left: there the pads are kept holding and the beam is unstable.
    """
    pairs, pads = held.shape
    real = np.arange(pads) < count[who][:, None]
    free = (held < -slack[:, None]) & real
    reaction, rise = held.copy(), np.zeros_like(held)
    unstable = np.zeros(pairs, dtype=bool)
    open_ = np.arange(pairs)
    for _ in range(2 * pads):
        out = free[open_].sum(axis=1) > count[who[open_]] - 2
        unstable[open_[out]] = True
        free[open_[out]] = False
        let = free[open_]
        size = max(1, int(let.sum(axis=1).max()))
        i = np.argsort(~let, axis=1, kind="stable")[:, :size]  # the pads let go, packed to the front
        taken = np.take_along_axis(let, i, axis=1)
        own = raise_one[who[open_]]
        lhs = own[np.arange(open_.size)[:, None, None], i[:, :, None], i[:, None, :]]
        lhs = np.where(taken[:, :, None] & taken[:, None, :], lhs, np.eye(size))
        pull = np.where(taken, -np.take_along_axis(held[open_], i, axis=1), 0.0)
        risen = np.linalg.solve(lhs, pull[..., None])[..., 0]
        here = np.zeros((open_.size, pads))
        np.put_along_axis(here, i, np.where(taken, risen, 0.0), axis=1)
        rise[open_] = here
        reaction[open_] = held[open_] + (own @ here[..., None])[..., 0]
        again = np.where(let, here > 0, (reaction[open_] < -slack[open_, None]) & real[open_])
        again &= ~unstable[open_, None]
        moved = (again != let).any(axis=1)
        free[open_] = again
        open_ = open_[moved]
        if not open_.size:
            break
    return reaction, rise, unstable


def _widen(row: _Row, mesh: _Mesh, shapes: _Shapes, cases: _Cases, worst: _Envelope, many: Ints, rank: Ints,
           starts: Ints, on: Floats, rise: Floats) -> None:
    """Widens `worst` by patterns of live load, on (pairs, regions), with pads risen by rise / E (pairs, pads).

    Pairs come beam by beam in the order of `many`, beams with more patterns first; the k-th patterns of all beams
    that have as many are worked together.
    """
    panels = np.diff(mesh.first_panel_of_beam)[many]
    ends = np.cumsum(panels)
    order = np.repeat(mesh.first_panel_of_beam[many] - (ends - panels), panels) + np.arange(ends[-1])
    region, x = mesh.region[order], mesh.from_start[order]
    local, beam_at = row.region_local[region], np.repeat(np.arange(many.size), panels)
    own_moment, own_shear, own_rise = (v[:, order] for v in (shapes.own_moment, shapes.own_shear, shapes.own_rise))
    moment_left, moment_right = shapes.moment_left[order], shapes.moment_right[order]
    rise_left, rise_right = shapes.rise_left[order], shapes.rise_right[order]
    most, least, shear, sink = (np.full(x.shape, f) for f in (-np.inf, np.inf, 0.0, -np.inf))
    no_live = worst.deflection_dead[order]

    # what bends each region from outside, and the line through its raised pads, (pairs, regions)
    regions = row.first_region[many][rank][:, None] + np.arange(row.most_regions)
    real = np.arange(row.most_regions) <= row.count[many][rank][:, None]
    regions = np.where(real, regions, 0)
    weights = np.concatenate([np.ones((rank.size, 1)), on, rise], axis=1)
    columns = np.r_[0, np.arange(cases.live.start, cases.live.stop),
                    np.arange(cases.raised.start, cases.raised.stop)]
    padded = np.zeros((many.size, 2, row.most_regions, columns.size))
    index = np.where(np.arange(row.most_regions) <= row.count[many][:, None],
                     row.first_region[many][:, None] + np.arange(row.most_regions), 0)
    padded[:, 0], padded[:, 1] = cases.left[index][..., columns], cases.right[index][..., columns]
    outer = np.einsum("pkrc,pc->pkr", padded[rank], weights)
    tilt = np.where(row.is_span[regions], 1 / row.safe_length[regions], 0.0) * (outer[:, 1] - outer[:, 0])
    at_start = np.zeros((rank.size, row.most_regions))  # the raised pads' line; an overhang's turn is in `outer`
    at_start[:, 1:] = rise
    lines = np.zeros_like(at_start)
    lines[:, 1:-1] = np.diff(rise, axis=1)
    lines = np.where(row.is_span[regions] & real, lines / row.safe_length[regions], 0.0)
    at_start[:, 0] = rise[:, 0]

    sizes = np.diff(np.append(starts, rank.size))
    for k in range(int(sizes[0])):
        beams = int((sizes > k).sum())
        n = int(ends[beams - 1])
        pair = starts[:beams][beam_at[:n]] + k
        r = local[:n]

        def here(values: Floats, pair: Ints = pair, r: Ints = r) -> Floats:
            found: Floats = values[pair, r][:, None]
            return found

        live, a, b = here(on), here(outer[:, 0]), here(outer[:, 1])
        moment = own_moment[LIVE, :n] * live
        moment += own_moment[DEAD, :n]
        moment += a * moment_left[:n]
        moment += b * moment_right[:n]
        np.maximum(most[:n], moment, out=most[:n])
        np.minimum(least[:n], moment, out=least[:n])
        force = own_shear[LIVE, :n] * live
        force += own_shear[DEAD, :n]
        force += here(tilt)
        np.maximum(shear[:n], np.abs(force, out=force), out=shear[:n])
        up = own_rise[LIVE, :n] * live
        up += own_rise[DEAD, :n]
        up += a * rise_left[:n]
        up += b * rise_right[:n]
        up += here(at_start)
        up += here(lines) * x[:n]
        np.negative(up, out=up)
        if k == 0:  # the first pattern is no live load, where dead load alone pulls
            alone = (on[pair].sum(axis=1) == 0)[:, None]
            no_live[:n] = np.where(alone, up, no_live[:n])
        np.maximum(sink[:n], up, out=sink[:n])
    worst.moment_most[order] = np.maximum(worst.moment_most[order], most)
    worst.moment_least[order] = np.minimum(worst.moment_least[order], least)
    worst.shear[order] = np.maximum(worst.shear[order], shear)
    worst.deflection_dead[order] = np.maximum(worst.deflection_dead[order], no_live)
    worst.deflection_live[order] = np.maximum(worst.deflection_live[order], sink - no_live)
