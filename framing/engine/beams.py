"""Tapered beams continuous over their pads: reactions, moments, shears and deflections under every pattern of load.

All beams are solved at once, end to end on one axis, by the three-moment equation with varying depth. A load on one
span bends the spans to one side of it in a shape that is theirs alone, whatever the load, so the worst of all
patterns needs two such shapes a span and not a solve a pattern. A part of the supports stage.
Moments are positive where they sag, shear where the left part pushes up, reactions upward, deflection downward.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import solve_banded

from framing.engine.beam_mesh import (
    ADDED,
    DEAD,
    LIVE,
    PANELS,
    STATIONS,
    TWICE,
    WHOLE,
    Beam,
    Bools,
    Floats,
    Ints,
    Load,
    LoadSets,
    Mesh,
    Row,
    refuse_unfit,
)
from framing.reference.loads import TIP_LOAD

__all__ = ["Beam", "Load", "Solution", "TipLoad", "solve"]

_LIFTS: Final = 1e-6  # part of the beam's load below which an upward pull is rounding


@dataclass(frozen=True)
class Solution:
    """What `solve` found, one array for each beam in the order given.

    At each pad [lb]: `reaction` with dead and live load on every span and nothing added, `reaction_dead` with what is
    added and stays, `reaction_most` under the worst of the live load's patterns with all that is added (each pad
    holding both ways, or a lifting pad let go: the greater; no less than `reaction`), `lift` the least (negative:
    pulls upward). At each station `s` [in] (both sides of every break in depth, load or slope): `depth` [in], `slope`
    of the depth, the envelopes `moment_most` and `moment_least` [lb in], `shear` [lb], `bending_stress` and
    `shear_stress` [psi], `deflection_dead` and the worst `deflection_live` [in]; `span` [in] is the length that
    deflection is held against, twice the length on an overhang.
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


def solve(beams: Sequence[Beam], load: Load, E: ArrayLike, *, tip_load: float = TIP_LOAD, panels: int = PANELS
          ) -> Solution:
    """Reactions, stresses and deflections of beams under dead load and every pattern of live load.

    Live load may lie on any of a beam's spans and overhangs; the worst is found exactly, by adding what each
    loaded span does for the worse. Where a pattern pulls a pad upward it is solved again with that pad let go.
    A point load, where there is one, stands alone with the dead load; the worse of both is taken everywhere.

    E : modulus of elasticity [psi], one for all or (beams,)
    tip_load : on the end of each overhang [lb], told apart as `Solution.tip`
    panels : that a span is cut into at least; an even number. With 4 the stress peak is met within 1 %

    Raises ValueError for a beam that cannot be one; the message names it.

    Notes: Euler-Bernoulli (no shear deflection), pads that do not settle, Clapeyron's three-moment equation with
    1/EI integrated along the taper (fifth-order between 16 or more panels a span).
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
        refuse_unfit(number, beam)

    row = Row(beams)
    mesh = Mesh(row, beams, load, panels)
    sets = LoadSets(row, mesh, beams, load)
    cases = _solve_cases(row, sets)
    shapes = _Shapes(row, mesh, sets)

    live, dead = cases.reactions[:, cases.live], cases.reactions[:, 0]
    point = load.point * cases.reactions[:, cases.point]
    # a point load may stand over a pad as well
    most = dead + np.maximum(np.maximum(live, 0).sum(axis=1), np.maximum(point.max(axis=1), load.point))
    least = dead + np.minimum(np.minimum(live, 0).sum(axis=1), point.min(axis=1))
    worst = _worst_of_patterns(row, mesh, shapes, cases, load.point)
    most_let_go, tips = _let_go(row, mesh, shapes, cases, worst, load.point)

    E_of = modulus[mesh.beam][:, None]
    section = mesh.thickness[:, None] * mesh.depth**2 / 6
    bending = np.maximum(np.abs(worst.moment_most), np.abs(worst.moment_least)) / section
    shear_stress = 1.5 * worst.shear / (mesh.thickness[:, None] * mesh.depth)
    overhang_twice = np.where(row.is_span, row.region_length, 2 * row.region_length)
    added = cases.reactions[:, cases.added] if sets.any_added else 0.0

    def at_pads(values: Floats) -> list[Floats]:
        return _cut(values, row.first_support)

    def at_stations(values: Floats) -> list[Floats]:
        return _cut(np.broadcast_to(values, mesh.s.shape).ravel(), mesh.first_panel_of_beam * STATIONS.size)

    reaction = dead + live.sum(axis=1) - added
    return Solution(
        reaction=at_pads(reaction),
        reaction_dead=at_pads(dead),
        reaction_most=at_pads(np.maximum.reduce([most, most_let_go, reaction])),  # what is added comes later
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


def _solve_cases(row: Row, sets: LoadSets) -> _Cases:
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

    def __init__(self, row: Row, mesh: Mesh, sets: LoadSets) -> None:
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


def _rise(row: Row, mesh: Mesh, moment: Floats) -> Floats:
    """Upward deflection times E (curves, panels, 5) by a moment along each region: nothing at its pads, and an
    overhang goes on level from its pad."""
    h = mesh.h[:, None]
    curvature = moment * mesh.give
    slope_before, slope_total = mesh.running(mesh.h * (curvature @ WHOLE))
    rise = (curvature @ TWICE.T) * h**2
    rise += slope_before[..., None] * (h * STATIONS)
    rise_before, rise_total = mesh.running(rise[..., -1])
    turn = np.where(row.is_span, -rise_total / row.safe_length, np.where(row.is_left, -slope_total, 0.0))
    start = np.where(row.is_left, slope_total * row.region_length - rise_total, 0.0)
    rise += (rise_before + start[..., mesh.region])[..., None]
    rise += mesh.along(turn) * mesh.from_start
    return np.asarray(rise)


def _carry_over(row: Row, sets: LoadSets) -> tuple[Floats, Floats]:
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


def _worst_of_patterns(row: Row, mesh: Mesh, shapes: _Shapes, cases: _Cases, point: float) -> _Envelope:
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


def _tip_load(row: Row, mesh: Mesh, shapes: _Shapes, cases: _Cases, section: Floats, E: Floats, load: float
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


def _let_go(row: Row, mesh: Mesh, shapes: _Shapes, cases: _Cases, worst: _Envelope, point: float
            ) -> tuple[Floats, Bools]:
    """Solve again, with the lifting pads let go, the patterns that pull a pad upward; widens `worst` by them.

    The patterns are no live load, all of it, every other span both ways, for each pad those that press and that
    lift it most, and a point load on each region in turn. Returns the greatest reaction (supports,) among them
    (minus infinity where no pad of the beam lifts) and which beams would tip.
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
    if point:  # further columns for the point load on each region, further patterns
        by_point = np.zeros_like(by_span)
        by_point[place] = cases.reactions[:, cases.point]
        by_span = np.concatenate([by_span, by_point], axis=2)
        one_each = np.concatenate([np.zeros((regions, regions)), point * np.eye(regions)], axis=1)
        pattern = np.concatenate([np.pad(pattern, ((0, 0), (0, 0), (0, regions))),
                                  np.broadcast_to(one_each, (row.beams, *one_each.shape))], axis=1)
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


def _widen(row: Row, mesh: Mesh, shapes: _Shapes, cases: _Cases, worst: _Envelope, many: Ints, rank: Ints,
           starts: Ints, on: Floats, rise: Floats) -> None:
    """Widens `worst` by patterns of load with pads risen by rise / E (pairs, pads).

    on : (pairs, regions) how much of the live load lies on each, or twice as wide, then [lb] of point load

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
    total, part = np.empty_like(x), np.empty_like(x)  # worked in again and again

    # what bends each region from outside, and the line through its raised pads, (pairs, regions)
    regions = row.first_region[many][rank][:, None] + np.arange(row.most_regions)
    real = np.arange(row.most_regions) <= row.count[many][rank][:, None]
    regions = np.where(real, regions, 0)
    weights = np.concatenate([np.ones((rank.size, 1)), on, rise], axis=1)
    points = on.shape[1] > row.most_regions
    columns = np.r_[0, np.arange(cases.live.start, (cases.point if points else cases.live).stop),
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
        own = [(LIVE, live), *([(-1, here(on, r=r + row.most_regions))] if points else [])]
        moment = _summed(own_moment, own, ((moment_left, a), (moment_right, b)), total[:n], part[:n])
        np.maximum(most[:n], moment, out=most[:n])
        np.minimum(least[:n], moment, out=least[:n])
        force = _summed(own_shear, own, (), total[:n], part[:n])
        force += here(tilt)
        np.maximum(shear[:n], np.abs(force, out=force), out=shear[:n])
        up = _summed(own_rise, own, ((rise_left, a), (rise_right, b), (x, here(lines))), total[:n], part[:n])
        up += here(at_start)
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


def _summed(field: Floats, own: Sequence[tuple[int, Floats]], outer: Sequence[tuple[Floats, Floats]], total: Floats,
            part: Floats) -> Floats:
    """Dead load's field and so much of each of the regions' own loads and of what bends them from outside, in `total`.

    `part` is room to work in: both are used again and again.
    """
    n = len(total)
    total[:] = field[DEAD, :n]
    for shape, size in (*((field[k], size) for k, size in own), *outer):
        np.multiply(shape[:n], size, out=part)
        total += part
    return total
