"""Strength of the frame: tapered joists continuous over their pads, wood stresses, deflection, bearing on the roof.

All beams are solved at once, end to end on one axis, by the three-moment equation with varying depth.
Moments are positive where they sag, shear where the left part pushes up, reactions upward, deflection downward.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import solve_banded

from framing.reference import design_values as nds
from framing.reference import insulation
from framing.reference.lumber import DRESSED, species_key

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

PANELS: Final = 16  # least number of panels a span is cut into; the stress peak is met within 0.03 %
# Stations within a panel, and what integrates a curve given at them: whole, once and twice up to each station.
_T: Final = np.linspace(0.0, 1.0, 5)
_FROM_VALUES: Final = np.linalg.inv(np.vander(_T, increasing=True))  # values at _T -> coefficients of a quartic
_POWER: Final = np.arange(5)
_ONCE: Final = (_T[:, None] ** (_POWER + 1) / (_POWER + 1)) @ _FROM_VALUES
_TWICE: Final = (_T[:, None] ** (_POWER + 2) / ((_POWER + 1) * (_POWER + 2))) @ _FROM_VALUES
_WHOLE: Final = _ONCE[-1]
_LIFTS: Final = 1e-6  # part of the beam's load below which an upward pull is rounding


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
    """

    length: float
    profile: Floats
    supports: Floats
    width: Floats
    thickness: float
    point_loads: Floats = field(default_factory=lambda: np.zeros((0, 2)))
    density: float = 0.0


@dataclass(frozen=True)
class Load:
    """Dead and live load on the deck [psf]."""

    dead: float
    live: float


@dataclass(frozen=True)
class Solution:
    """What `solve` found, one array for each beam in the order given.

    At each pad [lb]: `reaction` with dead and live load on every span, `reaction_dead`, `reaction_most` under the
    worst pattern of live load (each pad holding both ways, or a lifting pad let go: the greater), `lift` the least
    (negative: pulls upward). At each station `s` [in] (both sides of every break in depth, load or slope):
    `depth` [in], `slope` of the depth, the envelopes `moment_most` and `moment_least` [lb in], `shear` [lb],
    `bending_stress` and `shear_stress` [psi], `deflection_dead` and the worst `deflection_live` [in]; `span` [in]
    is the length that deflection is held against, twice the length on an overhang.
    `tips` is true for a beam that some pattern of live load would tip off its pads.
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
    tips: NDArray[np.bool_]


_NOTHING: Final = Solution([], [], [], [], [], [], [], [], [], [], [], [], [], [], [], np.zeros(0, dtype=bool))


def solve(beams: Sequence[Beam], load: Load, E: ArrayLike) -> Solution:
    """Reactions, stresses and deflections of beams under dead load and every pattern of live load.

    Live load may lie on any of a beam's spans and overhangs; the worst is found exactly, by adding what each
    loaded span does for the worse. Where a pattern pulls a pad upward it is solved again with that pad let go.

    E : modulus of elasticity [psi], one for all or (beams,)

    Raises ValueError for a beam that cannot be one; the message names it.

    Notes: Euler-Bernoulli (no shear deflection), pads that do not settle, Clapeyron's three-moment equation with
    1/EI integrated along the taper (fourth-order between 16 or more panels a span).
    """
    for number, beam in enumerate(beams):
        _refuse_unfit(number, beam)
    modulus = np.broadcast_to(np.asarray(E, dtype=float), (len(beams),))
    if not np.all(modulus > 0):
        raise ValueError(f"E is {E!r} psi; it must be positive")
    if not (load.dead >= 0 and load.live >= 0):
        raise ValueError(f"dead load {load.dead} and live load {load.live} psf; neither may be negative")
    if not beams:
        return _NOTHING

    mesh = _Mesh(beams, load)
    unit = _unit_cases(mesh)
    dead, live = unit.reactions[:, 0], unit.reactions[:, 1 : 1 + mesh.spans]
    most = dead + np.maximum(live, 0).sum(axis=1)
    least = dead + np.minimum(live, 0).sum(axis=1)

    fields = _fields(mesh, unit.live, unit.dead, unit.moments[:, : 1 + mesh.spans])
    sag, hog = _with_live(fields.moment)
    push, pull = _with_live(fields.shear)
    envelope = _Envelope(
        moment_most=sag,
        moment_least=hog,
        shear=np.maximum(np.abs(push), np.abs(pull)),
        deflection_dead=fields.deflection[0],
        deflection_live=np.maximum(fields.deflection[1:], 0).sum(axis=0),
    )
    most_let_go, tips = _let_go(beams, load, mesh, unit, envelope)

    E_of = modulus[mesh.region_beam[mesh.region]][:, None]
    section = mesh.thickness[:, None] * mesh.depth**2 / 6
    bending = np.maximum(np.abs(envelope.moment_most), np.abs(envelope.moment_least)) / section
    shear_stress = 1.5 * envelope.shear / (mesh.thickness[:, None] * mesh.depth)
    overhang_twice = np.where(mesh.is_span, mesh.region_length, 2 * mesh.region_length)

    def at_pads(values: Floats) -> list[Floats]:
        return np.split(values, mesh.first_support[1:-1])

    def at_stations(values: Floats) -> list[Floats]:
        return np.split(np.broadcast_to(values, mesh.s.shape).ravel(), mesh.first_panel_of_beam[1:-1] * _T.size)

    return Solution(
        reaction=at_pads(dead + live.sum(axis=1)),
        reaction_dead=at_pads(dead),
        reaction_most=at_pads(np.maximum(most, most_let_go)),
        lift=at_pads(least),
        s=at_stations(mesh.s),
        depth=at_stations(mesh.depth),
        slope=at_stations(mesh.depth_slope[:, None]),
        span=at_stations(overhang_twice[mesh.region][:, None]),
        moment_most=at_stations(envelope.moment_most),
        moment_least=at_stations(envelope.moment_least),
        shear=at_stations(envelope.shear),
        bending_stress=at_stations(bending),
        shear_stress=at_stations(shear_stress),
        deflection_dead=at_stations(envelope.deflection_dead / E_of),
        deflection_live=at_stations(envelope.deflection_live / E_of),
        tips=tips,
    )


def _refuse_unfit(number: int, beam: Beam) -> None:
    """Raises ValueError, naming the beam by its place in the batch, for what cannot be a beam."""
    supports, profile = np.asarray(beam.supports, dtype=float), np.asarray(beam.profile, dtype=float)
    points = np.asarray(beam.point_loads, dtype=float).reshape(-1, 2)
    width = np.asarray(beam.width, dtype=float)

    def refuse(what: str) -> None:
        raise ValueError(f"beam {number}: {what}")

    if not (np.isfinite(beam.length) and beam.length > 0):
        refuse(f"length {beam.length} in; it must be positive")
    if not beam.thickness > 0:
        refuse(f"thickness {beam.thickness} in; it must be positive")
    if not beam.density >= 0:
        refuse(f"density {beam.density} pcf; it must not be negative")
    if supports.size < 2:
        refuse(f"{supports.size} support; it needs two or more")
    if not np.all(np.diff(supports) > 1e-6):
        refuse(f"supports at {supports.tolist()} in; they must rise")
    if not (supports[0] >= -1e-6 and supports[-1] <= beam.length + 1e-6):
        refuse(f"supports from {supports[0]} to {supports[-1]} in; they must lie within 0 and {beam.length} in")
    if profile.ndim != 2 or profile.shape[0] < 2 or profile.shape[1] != 2:
        refuse(f"a profile of shape {profile.shape}; two or more rows of distance and depth are expected")
    if not (np.all(np.diff(profile[:, 0]) >= 0) and profile[0, 0] <= 1e-3 and profile[-1, 0] >= beam.length - 1e-3):
        refuse(f"a profile from {profile[0, 0]} to {profile[-1, 0]} in; it must run from 0 to {beam.length} in")
    if not np.all(profile[:, 1] > 0):
        refuse(f"depth {profile[:, 1].min()} in; it must be positive")
    if not (width.size and np.all(width >= 0)):
        refuse("tributary widths must be given and not negative")
    if points.size and not (np.all((points[:, 0] >= -1e-6) & (points[:, 0] <= beam.length + 1e-6))):
        refuse(f"a point load outside 0 and {beam.length} in")


class _Mesh:
    """All beams laid end to end and cut into panels: straight in depth, even in load, within one span.

    A region is a span or an overhang; beam b with n pads has n + 1 of them, the first and the last being its
    overhangs, which may be of no length. Support j of all lies between regions left[j] and left[j] + 1.
    """

    def __init__(self, beams: Sequence[Beam], load: Load) -> None:
        count = np.array([len(b.supports) for b in beams])
        length = np.array([b.length for b in beams])
        beam = np.arange(len(beams))
        origin = np.concatenate([[0.0], np.cumsum(length[:-1] + 1.0)])  # of each beam on the common axis

        self.first_support = np.concatenate([[0], np.cumsum(count)])
        self.support_beam = np.repeat(beam, count)
        self.support_local = np.arange(self.first_support[-1]) - self.first_support[self.support_beam]
        supports = np.concatenate([b.supports for b in beams]).astype(float)
        supports = np.clip(supports, 0.0, length[self.support_beam])
        self.left = np.arange(supports.size) + self.support_beam
        self.is_end = (self.support_local == 0) | (self.support_local == count[self.support_beam] - 1)

        self.first_region = self.first_support + np.arange(len(beams) + 1)
        self.region_beam = np.repeat(beam, count + 1)
        self.region_local = np.arange(self.region_beam.size) - self.first_region[self.region_beam]
        self.is_span = (self.region_local > 0) & (self.region_local < count[self.region_beam])
        start, end = np.zeros(self.region_beam.size), length[self.region_beam]
        start[self.left + 1] = supports
        end[self.left] = supports
        self.region_start, self.region_length = start, end - start
        self.spans = int(count.max()) + 1

        # where panels begin and end, on the common axis
        region_origin = origin[self.region_beam] + start
        cuts = region_origin[:, None] + np.linspace(0, 1, PANELS + 1) * self.region_length[:, None]
        kinks = np.concatenate([o + np.clip(b.profile[:, 0], 0, b.length) for o, b in zip(origin, beams, strict=True)])
        points = [np.reshape(b.point_loads, (-1, 2)) for b in beams]
        point_beam = np.repeat(beam, [len(p) for p in points])
        point_s, point_area = np.concatenate(points).T
        point_at = origin[point_beam] + np.clip(point_s, 0, length[point_beam])
        widths = [np.asarray(b.width, dtype=float) for b in beams]
        steps = np.concatenate(
            [
                o + (np.flatnonzero(np.diff(w)) + 1) * (b.length / w.size)
                for o, w, b in zip(origin, widths, beams, strict=True)
            ]
        )
        at = np.sort(np.concatenate([cuts.ravel(), kinks, steps, point_at]))
        middle, extent = (at[1:] + at[:-1]) / 2, np.diff(at)
        of = np.searchsorted(origin, middle, side="right") - 1
        keep = (extent > 1e-9) & (middle < origin[of] + length[of])
        of, middle, self.h = of[keep], middle[keep], extent[keep]
        panel_at = at[:-1][keep]
        self.first_panel_of_beam = np.searchsorted(of, np.arange(len(beams) + 1))

        self.region = np.searchsorted(origin[self.support_beam] + supports, middle) + of
        self.first_panel = np.searchsorted(self.region, np.arange(self.region_beam.size + 1))
        self.s = (panel_at - origin[of])[:, None] + self.h[:, None] * _T
        self.from_start = self.s - start[self.region][:, None]

        # depth: the straight stretch of profile that holds the panel's middle
        knot = np.concatenate([o + b.profile[:, 0] for o, b in zip(origin, beams, strict=True)])
        knot_depth = np.concatenate([b.profile[:, 1] for b in beams])
        knots = np.array([len(b.profile) for b in beams])
        last_knot = np.cumsum(knots) - 1
        k = np.clip(np.searchsorted(knot, middle, side="right") - 1, (last_knot - knots + 1)[of], last_knot[of] - 1)
        self.depth_slope = (knot_depth[k + 1] - knot_depth[k]) / (knot[k + 1] - knot[k])
        from_knot = panel_at[:, None] + self.h[:, None] * _T - knot[k][:, None]
        self.depth = knot_depth[k][:, None] + self.depth_slope[:, None] * from_knot
        self.thickness = np.array([b.thickness for b in beams])[of]
        self.inertia = self.thickness[:, None] * self.depth**3 / 12

        # line load [lb/in] of live and of dead load at a panel's two ends, point loads [lb] at its start and end
        parts = np.array([w.size for w in widths])
        first_part = np.cumsum(parts) - parts
        part = np.minimum(((middle - origin[of]) / length[of] * parts[of]).astype(int), parts[of] - 1)
        width = np.concatenate(widths)[first_part[of] + part] / 144
        weight = np.array([b.density for b in beams])[of] * self.thickness / 1728
        own = weight[:, None] * self.depth[:, [0, -1]]
        line = np.stack([np.tile(load.live * width[:, None], 2), load.dead * width[:, None] + own])
        at_start, at_end = np.zeros((2, 2, self.h.size))
        point = np.array([[load.live], [load.dead]]) * point_area / 144
        holder = np.searchsorted(panel_at, point_at - 1e-8)
        after = holder >= self.first_panel_of_beam[point_beam + 1]  # at the very end of its beam
        for case in (0, 1):
            np.add.at(at_start[case], holder[~after], point[case, ~after])
            np.add.at(at_end[case], self.first_panel_of_beam[point_beam[after] + 1] - 1, point[case, after])

        # load so far P and its integral A from the start of each region, at the stations: ([live, dead], panels, 5)
        h, even, rise = self.h[:, None], line[..., :1], np.diff(line)
        within = at_start[..., None] + h * (even * _T + rise * _T**2 / 2)
        P_start, self.P_total = self.running(within[..., -1] + at_end)
        self.P = P_start[..., None] + within
        A_within = h * _T * (P_start + at_start)[..., None] + h**2 * (even * _T**2 / 2 + rise * _T**3 / 6)
        A_start, A_total = self.running(A_within[..., -1])
        self.A = A_start[..., None] + A_within

        # moment M0 = c0 + c1 (s - start) - A of each region cut free at its pads
        long = self.region_length
        right_overhang = self.region_local == count[self.region_beam]
        self.safe_length = np.where(long > 0, long, 1.0)
        self.c1 = np.where(self.is_span, A_total / self.safe_length, np.where(right_overhang, self.P_total, 0.0))
        self.c0 = np.where(right_overhang, A_total - self.P_total * long, 0.0)
        self.pad_moment = np.where(right_overhang, self.c0, np.where(self.is_span, 0.0, -A_total))  # of an overhang
        self.M0 = self.c0[:, self.region, None] + self.c1[:, self.region, None] * self.from_start - self.A

        # flexibility of each span and the turn of its ends under load
        part_of_span = self.from_start / self.safe_length[self.region][:, None]
        give = _WHOLE * self.h[:, None] / self.inertia
        give_left, give_right = give * (1 - part_of_span), give * part_of_span
        self.flex_left = self.total((give_left * (1 - part_of_span)).sum(axis=-1))
        self.flex_cross = self.total((give_left * part_of_span).sum(axis=-1))
        self.flex_right = self.total((give_right * part_of_span).sum(axis=-1))
        self.turn_left = self.total((give_left * self.M0).sum(axis=-1))
        self.turn_right = self.total((give_right * self.M0).sum(axis=-1))

    def running(self, step: Floats) -> tuple[Floats, Floats]:
        """Sum of `step` (..., panels) before each panel within its region, and (..., regions) each region's whole."""
        sums = np.zeros((*step.shape[:-1], step.shape[-1] + 1))
        np.cumsum(step, axis=-1, out=sums[..., 1:])
        before = sums[..., :-1] - sums[..., self.first_panel[self.region]]
        return before, sums[..., self.first_panel[1:]] - sums[..., self.first_panel[:-1]]

    def total(self, step: Floats) -> Floats:
        return self.running(step)[1]

    def tilt(self, moments: Floats) -> Floats:
        """Slope (regions, cases) of the straight line of pad moments (supports, cases) over each span, else 0."""
        slope = np.zeros((self.region_beam.size, moments.shape[1]))
        spans = np.flatnonzero(self.is_span)
        right = spans - self.region_beam[spans]  # the support at a span's right end
        slope[spans] = (moments[right] - moments[right - 1]) / self.region_length[spans, None]
        return slope

    def at_left_end(self, values: Floats) -> Floats:
        """Pad values (supports, cases) at the left end of each span (regions, cases), 0 for overhangs."""
        result = np.zeros((self.region_beam.size, values.shape[1]))
        spans = np.flatnonzero(self.is_span)
        result[spans] = values[spans - self.region_beam[spans] - 1]
        return result


@dataclass(frozen=True)
class _Unit:
    """Unit cases: dead load, live load on each region in turn, each pad raised by 1/E in turn.

    moments, reactions : (supports, 1 + regions + pads); live : (regions, 1 + regions); dead : (1 + regions,)
    """

    moments: Floats
    reactions: Floats
    live: Floats
    dead: Floats


def _unit_cases(mesh: _Mesh) -> _Unit:
    """Pad moments and reactions of the unit cases by the three-moment equation."""
    n, pads = mesh.support_beam.size, mesh.spans - 1
    left, right, j = mesh.left, mesh.left + 1, np.arange(n)
    first, last = mesh.support_local == 0, mesh.is_end & (mesh.support_local > 0)
    inner = ~mesh.is_end

    rhs = np.zeros((n, 1 + mesh.spans + pads))
    rhs[inner, 0] = -(mesh.turn_right[1, left] + mesh.turn_left[1, right])[inner]
    rhs[first, 0], rhs[last, 0] = mesh.pad_moment[1, left[first]], mesh.pad_moment[1, right[last]]
    rhs[j[inner], 1 + mesh.region_local[left[inner]]] = -mesh.turn_right[0, left[inner]]
    rhs[j[inner], 1 + mesh.region_local[right[inner]]] = -mesh.turn_left[0, right[inner]]
    rhs[j[first], 1 + mesh.region_local[left[first]]] = mesh.pad_moment[0, left[first]]
    rhs[j[last], 1 + mesh.region_local[right[last]]] = mesh.pad_moment[0, right[last]]
    raised = 1 + mesh.spans + mesh.support_local[inner]
    by_left, by_right = 1 / mesh.safe_length[left[inner]], 1 / mesh.safe_length[right[inner]]
    rhs[j[inner], raised - 1] = by_left
    rhs[j[inner], raised] = -by_left - by_right
    rhs[j[inner], raised + 1] = by_right

    bands = np.zeros((3, n))
    bands[1] = np.where(inner, mesh.flex_right[left] + mesh.flex_left[right], 1.0)
    bands[0, 1:] = np.where(inner, mesh.flex_cross[right], 0.0)[:-1]
    bands[2, :-1] = np.where(inner, mesh.flex_cross[left], 0.0)[1:]
    moments = solve_banded((1, 1), bands, rhs)

    live = np.zeros((mesh.region_beam.size, rhs.shape[1]))
    live[np.arange(live.shape[0]), 1 + mesh.region_local] = 1.0
    dead = np.zeros(rhs.shape[1])
    dead[0] = 1.0
    reactions = _reactions(mesh, live, dead, moments)
    return _Unit(moments, reactions, live[:, : 1 + mesh.spans], dead[: 1 + mesh.spans])


def _reactions(mesh: _Mesh, live: Floats, dead: Floats, moments: Floats) -> Floats:
    """Reactions (supports, cases): the jump of the shear over each pad."""
    tilt = mesh.tilt(moments)
    starts = mesh.c1[0][:, None] * live + mesh.c1[1][:, None] * dead + tilt
    ends = starts - mesh.P_total[0][:, None] * live - mesh.P_total[1][:, None] * dead
    jump: Floats = starts[mesh.left + 1] - ends[mesh.left]
    return jump


def _with_live(cases: Floats) -> tuple[Floats, Floats]:
    """The most and the least of a dead load case followed by live load cases of which any may act."""
    return cases[0] + np.maximum(cases[1:], 0).sum(axis=0), cases[0] + np.minimum(cases[1:], 0).sum(axis=0)


@dataclass(frozen=True)
class _Fields:
    """Moment, shear and E times deflection, (cases, panels, 5)."""

    moment: Floats
    shear: Floats
    deflection: Floats


def _fields(mesh: _Mesh, live: Floats, dead: Floats, moments: Floats, raised: Floats | None = None) -> _Fields:
    """Moment, shear and deflection along the beams, from the moments over the pads.

    live : (regions, cases) and dead : (cases,), the parts of each load that act
    moments, raised : (supports, cases), moment over each pad [lb in] and E times its rise [lb/in]
    """
    raised = np.zeros_like(moments) if raised is None else raised

    def along(values: Floats) -> Floats:  # (regions, cases) -> (cases, panels, 1)
        spread: Floats = values.T[:, mesh.region, None]
        return spread

    tilt, on, dead_on = mesh.tilt(moments), along(live), dead[:, None, None]
    moment = mesh.M0[0] * on
    moment += mesh.M0[1] * dead_on
    moment += along(mesh.at_left_end(moments))
    moment += along(tilt) * mesh.from_start
    load_shear = mesh.c1[:, mesh.region, None] - mesh.P
    shear = load_shear[0] * on
    shear += load_shear[1] * dead_on
    shear += along(tilt)

    # curvature integrated twice from the start of each region, then turned and raised to fit the pads
    h = mesh.h
    curvature = moment / mesh.inertia
    slope_before, slope_total = mesh.running(h * (curvature @ _WHOLE))
    rise = (curvature @ _TWICE.T) * h[:, None] ** 2
    rise += slope_before[..., None] * (h[:, None] * _T)
    rise_before, rise_total = mesh.running(rise[..., -1])
    rise += rise_before[..., None]
    slope_total, rise_total = slope_total.T, rise_total.T

    turn = mesh.tilt(raised) - np.where(mesh.is_span[:, None], rise_total / mesh.safe_length[:, None], 0.0)
    at_start = mesh.at_left_end(raised)
    before_first, after_last = mesh.first_region[:-1], mesh.first_region[1:] - 1
    long = mesh.region_length[before_first, None]
    turn[before_first] = turn[before_first + 1] - slope_total[before_first]
    at_start[before_first] = raised[mesh.first_support[:-1]] - turn[before_first] * long - rise_total[before_first]
    turn[after_last] = turn[after_last - 1] + slope_total[after_last - 1]
    at_start[after_last] = raised[mesh.first_support[1:] - 1]
    rise += along(turn) * mesh.from_start
    rise += along(at_start)
    return _Fields(moment, shear, np.negative(rise, out=rise))


@dataclass
class _Envelope:
    """The worst at each station, (panels, 5), deflections times E."""

    moment_most: Floats
    moment_least: Floats
    shear: Floats
    deflection_dead: Floats
    deflection_live: Floats


def _let_go(
    beams: Sequence[Beam], load: Load, mesh: _Mesh, unit: _Unit, envelope: _Envelope
) -> tuple[Floats, NDArray[np.bool_]]:
    """Solve again, with the lifting pads let go, the patterns that pull a pad upward; widens `envelope` by them.

    The patterns are no live load, all of it, every other span both ways, and for each pad those that press and
    that lift it most. Returns the greatest reaction (supports,) among them (minus infinity where no pad of the
    beam lifts) and which beams would tip.
    """
    cases, pads = 1 + mesh.spans, mesh.spans - 1
    count = np.diff(mesh.first_support)
    shape = (len(beams), pads)
    place = (mesh.support_beam, mesh.support_local)
    by_span = np.zeros((*shape, mesh.spans))
    by_span[place] = unit.reactions[:, 1:cases]
    dead = np.zeros(shape)
    dead[place] = unit.reactions[:, 0]
    raise_one = np.zeros((*shape, pads))
    raise_one[place] = unit.reactions[:, cases:]

    odd = np.arange(mesh.spans) % 2
    fixed = np.stack([0 * odd, 0 * odd + 1, odd, 1 - odd])
    pattern = np.concatenate(
        [np.broadcast_to(fixed, (len(beams), *fixed.shape)), by_span > 0, by_span < 0], axis=1
    ).astype(float)  # (beams, patterns, regions)
    held = dead[:, None] + np.einsum("bpk,bjk->bpj", pattern, by_span)
    whole = dead.sum(axis=1) + by_span.sum(axis=(1, 2))
    slack = _LIFTS * np.maximum(whole, 1e-12)[:, None, None]

    most = np.full(mesh.support_beam.size, -np.inf)
    tips = np.zeros(len(beams), dtype=bool)
    pulled = np.any(held < -slack, axis=2)
    who = np.flatnonzero(pulled.any(axis=1))
    if not who.size:
        return most, tips
    # of each such beam no live load and the patterns that pull, packed to the front; all, where dead load alone
    # pulls and live load deflects from there
    pulled[pulled[:, 0]] = True
    pulled[:, 0] |= pulled.any(axis=1)
    packed = np.argsort(~pulled[who], axis=1, kind="stable")[:, : pulled[who].sum(axis=1).max()]
    held = np.take_along_axis(held[who], packed[..., None], axis=1)
    on = np.take_along_axis(pattern[who], packed[..., None], axis=1).transpose(0, 2, 1)  # (beams, regions, patterns)
    reaction, rise, unstable = _release(held, raise_one[who][:, None], count[who][:, None, None], slack[who])
    raised = rise.transpose(0, 2, 1)  # (beams, pads, patterns)
    tips[who] = unstable.any(axis=1)

    chosen_support, chosen_region = np.isin(mesh.support_beam, who), np.isin(mesh.region_beam, who)
    pad = (np.searchsorted(who, mesh.support_beam[chosen_support]), mesh.support_local[chosen_support])
    most[chosen_support] = reaction.max(axis=1)[pad]
    moments = unit.moments[chosen_support]
    moments = (
        moments[:, :1]
        + np.einsum("jk,jkp->jp", moments[:, 1:cases], on[pad[0]])
        + np.einsum("ji,jip->jp", moments[:, cases:], raised[pad[0]])
    )
    live = on[np.searchsorted(who, mesh.region_beam[chosen_region]), mesh.region_local[chosen_region]]
    sub = mesh if who.size == len(beams) else _Mesh([beams[int(b)] for b in who], load)
    fields = _fields(sub, live, np.ones(live.shape[1]), moments, raised[pad])

    here = np.isin(mesh.region_beam[mesh.region], who)
    no_live = fields.deflection[0]
    wider = {
        "moment_most": fields.moment.max(axis=0),
        "shear": np.abs(fields.shear).max(axis=0),
        "deflection_dead": no_live,
        "deflection_live": fields.deflection.max(axis=0) - no_live,
    }
    for name, values in wider.items():
        at = getattr(envelope, name)
        at[here] = np.maximum(at[here], values)
    envelope.moment_least[here] = np.minimum(envelope.moment_least[here], fields.moment.min(axis=0))
    return most, tips


def _release(
    held: Floats, raise_one: Floats, count: Ints, slack: Floats
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Let go the pads that pull, until every pad left presses and every pad let go has risen.

    held : (beams, patterns, pads), reactions with every pad holding; raise_one : (beams, 1, pads, pads), what each
    pad's rise by 1/E adds. Returns reactions, E times rises, and (beams, patterns) where fewer than two pads
    would be left: there the pads are kept holding and the beam is unstable.
    """
    pads = held.shape[-1]
    real = np.arange(pads) < count
    free = (held < -slack) & real
    rise, reaction = np.zeros_like(held), held
    unstable = np.zeros(held.shape[:-1], dtype=bool)
    for _ in range(2 * pads):
        unstable |= free.sum(axis=-1) > count[..., 0] - 2
        free &= ~unstable[..., None]
        both = free[..., None] & free[..., None, :]
        lhs = np.where(both, raise_one, np.eye(pads))
        rise = np.linalg.solve(lhs, np.where(free, -held, 0.0)[..., None])[..., 0]
        reaction = held + np.einsum("bpij,bpj->bpi", np.broadcast_to(raise_one, lhs.shape), rise)
        again = np.where(free, rise > 0, (reaction < -slack) & real) & ~unstable[..., None]
        if np.array_equal(again, free):
            break
        free = again
    return reaction, rise, unstable


@dataclass(frozen=True)
class AdjustedValues:
    """Design values [psi] after adjustment, the creep factor, and the factors that made them, for the papers."""

    Fb: float
    Fv: float
    Fcp: float
    E: float
    Emin: float
    kcr: float
    factors: tuple[tuple[str, float], ...]


def adjusted_values(
    species: str,
    grade: str,
    parent_size: str,
    *,
    depth: float | None = None,
    moisture: str = "kdat",
    incised: bool | None = None,
    spacing: float = 16.0,
    members: int = 3,
    duration: str = "ten years",
) -> AdjustedValues:
    """Design values of framing outdoors, ripped or whole, by the NDS (framing.reference.design_values).

    Wood in a deck is in wet service whatever its moisture when bought; `moisture` ("kdat", "dry", "wet") decides
    on creep alone. A ripped piece keeps the values of the size it was ripped from (`parent_size`), without the
    gain in size factor of a smaller one: a judgement, and only once it is graded again (NDS 4.1.7.1).

    depth : greatest depth [in] of the ripped piece, to be refused where the parent does not hold it
    incised : None takes what is usual for the species when treated
    spacing [in], members : for the repetitive member factor

    Raises KeyError for an unknown species, grade, size, moisture or duration, ValueError for a depth too great.
    """
    species, size = species_key(species), nds.size_key(parent_size)
    values = nds.reference_values(species, grade, size)
    if depth is not None and depth > DRESSED[size][1] + 1e-6:
        raise ValueError(f"a depth of {depth} in cannot be ripped from a {size}, {DRESSED[size][1]} in deep")
    for word, known in ((moisture, nds.KCR), (duration, nds.CD)):
        if word not in known:
            raise KeyError(f"{word!r} is not known; known are {', '.join(known)}")
    CF, CD = nds.size_factor(species, size), nds.CD[duration]
    Cr = nds.CR if members >= nds.CR_MEMBERS and spacing <= nds.CR_SPACING + 1e-6 else 1.0
    CM_Fb = nds.CM.Fb if values.Fb * CF > nds.CM_FB_EXEMPT else 1.0
    Ci = nds.CI if (species in nds.INCISED if incised is None else incised) else nds.Factors(1.0, 1.0, 1.0, 1.0)
    return AdjustedValues(
        Fb=values.Fb * CF * CD * CM_Fb * Ci.Fb * Cr,
        Fv=values.Fv * CD * nds.CM.Fv * Ci.Fv,
        Fcp=values.Fcp * nds.CM.Fcp * Ci.Fcp,
        E=values.E * nds.CM.E * Ci.E,
        Emin=values.Emin * nds.CM.E * Ci.E,
        kcr=nds.KCR[moisture],
        factors=(
            ("CF", CF), ("CD", CD), ("Cr", Cr),
            ("CM Fb", CM_Fb), ("CM Fv", nds.CM.Fv), ("CM Fcp", nds.CM.Fcp), ("CM E", nds.CM.E),
            ("Ci Fb", Ci.Fb), ("Ci Fv", Ci.Fv), ("Ci Fcp", Ci.Fcp), ("Ci E", Ci.E),
        ),
    )  # fmt: skip


def allowable_span(
    depth: ArrayLike, values: AdjustedValues, load: Load, width: ArrayLike, thickness: float = 1.5
) -> Floats:
    """Longest simple span [in] of an even depth [in] carrying a tributary width [in]; an estimate to place pads by.

    The least of bending, shear and live load deflection; broadcasts over depth and width. Infinite without load.
    """
    depth, width = np.asarray(depth, dtype=float), np.asarray(width, dtype=float)
    with np.errstate(divide="ignore"):
        total, live = (load.dead + load.live) * width / 144, load.live * width / 144
        bending = np.sqrt(8 * values.Fb * thickness * depth**2 / 6 / total)
        shear = 4 / 3 * values.Fv * thickness * depth / total
        stiff = np.cbrt(384 * values.E * thickness * depth**3 / 12 / (5 * nds.LIVE_DEFLECTION * live))
    result: Floats = np.minimum(np.minimum(bending, shear), stiff)
    return result


@dataclass(frozen=True)
class MemberDesign:
    """What a member is held against: its design values, and the length [in] of the pads along it."""

    values: AdjustedValues
    pad_length: float
    live_limit: float = nds.LIVE_DEFLECTION
    total_limit: float = nds.TOTAL_DEFLECTION


@dataclass(frozen=True)
class Worst:
    """The worst place of each beam, all (beams,): `ratio` is demand to limit (over 1 fails), at `s` [in]."""

    ratio: Floats
    demand: Floats
    limit: Floats
    s: Floats


@dataclass(frozen=True)
class Strength:
    """How far each beam is used, check by check.

    bending, shear : stress [psi]; taper : bending, shear and cross-grain stress at the tapered edge together (sum
    of squares, limit 1); deflection_live, deflection_total : [in], total with creep; bearing : wood on pad [psi]
    """

    bending: Worst
    shear: Worst
    taper: Worst
    deflection_live: Worst
    deflection_total: Worst
    bearing: Worst

    @cached_property
    def ratios(self) -> dict[str, Floats]:
        return {name: getattr(self, name).ratio for name in self.__dataclass_fields__}

    @property
    def passes(self) -> NDArray[np.bool_]:
        """(beams,): no check is over its limit (a rounding error apart)."""
        fit: NDArray[np.bool_] = np.all(np.stack(list(self.ratios.values())) <= 1 + 1e-9, axis=0)
        return fit

    @property
    def governs(self) -> list[str]:
        """The check with the greatest ratio, for each beam; the taper, made of two others, only if it alone fails."""
        ratios = dict(self.ratios)
        taper = ratios.pop("taper")
        names, table = list(ratios), np.stack(list(ratios.values()))
        greatest = zip(np.argmax(table, axis=0), table.max(axis=0), taper, strict=True)
        return ["taper" if ratio <= 1 < tapered else names[i] for i, ratio, tapered in greatest]


def strength(solution: Solution, beams: Sequence[Beam], design: MemberDesign | Sequence[MemberDesign]) -> Strength:
    """Hold every beam against its design values; `design` is one for all or one for each beam.

    Bending and shear at every station without the relief of depth near a pad; the tapered edge by Wood Handbook
    Eq. 9-15 (GTR-190 Ch. 9, interaction V; fxy = fx tan, fy = fx tan2 M) with tension across the grain at a third
    of Fv; deflection L/360 and L/240, dead load times the creep factor (NDS 3.5.2, M); bearing by the length of pad
    that lies under the piece (NDS 3.10, without the gain of a short bearing).
    """
    designs = [design] * len(beams) if isinstance(design, MemberDesign) else list(design)
    if len(designs) != len(beams):
        raise ValueError(f"{len(designs)} designs for {len(beams)} beams")
    sizes = [s.size for s in solution.s]

    def each(values: list[float]) -> Floats:
        return np.repeat(np.array(values, dtype=float), sizes)

    def worst(demand: Floats, limit: Floats, at: list[Floats]) -> Worst:
        if not beams:
            return Worst(*np.zeros((4, 0)))
        where, counts = np.concatenate(at), np.array([a.size for a in at])
        first: Ints = np.cumsum(counts) - counts
        ratio = demand / limit
        greatest = np.maximum.reduceat(ratio, first)
        hits = np.flatnonzero(ratio == np.repeat(greatest, counts))
        index = hits[np.searchsorted(hits, first)]
        return Worst(greatest, demand[index], limit[index], where[index])

    if not beams:
        empty = worst(np.zeros(0), np.zeros(0), [])
        return Strength(empty, empty, empty, empty, empty, empty)

    bending, shear = np.concatenate(solution.bending_stress), np.concatenate(solution.shear_stress)
    slope, span = np.concatenate(solution.slope), np.concatenate(solution.span)
    dead, live = np.concatenate(solution.deflection_dead), np.concatenate(solution.deflection_live)
    Fb, Fv = each([d.values.Fb for d in designs]), each([d.values.Fv for d in designs])
    taper = (
        (bending / Fb) ** 2
        + (bending * slope / Fv) ** 2
        + (bending * slope**2 / (nds.TENSION_ACROSS_OVER_FV * Fv)) ** 2
    )
    total = each([d.values.kcr for d in designs]) * np.maximum(dead, 0) + live

    pads = [np.asarray(b.supports, dtype=float) for b in beams]
    counts = [p.size for p in pads]
    half = np.repeat([d.pad_length / 2 for d in designs], counts)
    end, at = np.repeat([b.length for b in beams], counts), np.concatenate(pads)
    bearing_length = np.minimum(at + half, end) - np.maximum(at - half, 0)
    thickness = np.repeat([b.thickness for b in beams], counts)
    bearing = np.concatenate(solution.reaction_most) / (thickness * bearing_length)
    return Strength(
        bending=worst(bending, Fb, solution.s),
        shear=worst(shear, Fv, solution.s),
        taper=worst(taper, np.ones_like(taper), solution.s),
        deflection_live=worst(live, span / each([d.live_limit for d in designs]), solution.s),
        deflection_total=worst(total, span / each([d.total_limit for d in designs]), solution.s),
        bearing=worst(bearing, np.repeat([d.values.Fcp for d in designs], counts), pads),
    )


def allowable_pressure(insulation_strength: float) -> tuple[float, float]:
    """Pressure [psi] that insulation of a rated strength [psi] may bear: dead load alone, dead and live together.

    See framing.reference.insulation for the parts and their sources. Raises ValueError unless positive.
    """
    if not insulation_strength > 0:
        raise ValueError(f"insulation strength {insulation_strength} psi; it must be positive")
    return insulation_strength * insulation.SUSTAINED, insulation_strength * insulation.TOTAL


def bearing_area(pad: tuple[float, float], spread_thickness: float = 0.0) -> float:
    """Area [in2] a pad [in] presses on, a rigid board of a thickness [in] spreading it at 45 degrees (a judgement)."""
    return (pad[0] + 2 * spread_thickness) * (pad[1] + 2 * spread_thickness)
