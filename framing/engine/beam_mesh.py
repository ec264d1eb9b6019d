"""Beams laid end to end and cut into panels, and what their loads do to each span and overhang cut free at its pads.

A part of the supports stage, under beams.py.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

PANELS: Final = 16  # least number of panels a span is cut into; the stress peak is met within 0.05 %
TIP_PANELS: Final = 4  # ... and an overhang, where the worst is at its pad
STEP: Final = 0.1  # a step in the load of this part of the beam's greatest ends a panel; lesser ones lie within
# Stations within a panel, and what integrates a curve given at them: whole, once and twice up to each station.
STATIONS: Final = np.linspace(0.0, 1.0, 5)
_FROM_VALUES: Final = np.linalg.inv(np.vander(STATIONS, increasing=True))  # values there -> a quartic
_POWER: Final = np.arange(5)
_ONCE: Final = (STATIONS[:, None] ** (_POWER + 1) / (_POWER + 1)) @ _FROM_VALUES
TWICE: Final = (STATIONS[:, None] ** (_POWER + 2) / ((_POWER + 1) * (_POWER + 2))) @ _FROM_VALUES
WHOLE: Final = _ONCE[-1]
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


def refuse_unfit(number: int, beam: Beam) -> None:
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


class Row:
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


class Mesh:
    """Panels within the regions: straight in depth, without a great step in load; five stations in each."""

    def __init__(self, row: Row, beams: Sequence[Beam], load: Load, panels: int) -> None:
        pieces = np.where(row.is_span, panels, TIP_PANELS)
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
        self.s = (start - row.origin[self.beam])[:, None] + self.h[:, None] * STATIONS
        self.from_start = self.s - row.region_start[self.region][:, None]

        # depth: the straight stretch of profile that holds the panel's middle
        knot = row.origin[knot_beam] + knot_s
        last = np.cumsum(knots) - 1
        k = np.searchsorted(knot, self.middle, side="right") - 1
        k = np.clip(k, (last - knots + 1)[self.beam], last[self.beam] - 1)
        self.depth_slope = (knot_depth[k + 1] - knot_depth[k]) / (knot[k + 1] - knot[k])
        self.depth = (knot_depth[k] - self.depth_slope * knot_s[k])[:, None] + self.depth_slope[:, None] * self.s
        self.thickness = np.array([b.thickness for b in beams])[self.beam]
        self.give = 12 / (self.thickness[:, None] * self.depth * self.depth * self.depth)  # 1/I

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


def _steps(row: Row, beams: Sequence[Beam], load: Load) -> Floats:
    """Places on the common axis where a beam's load steps by a part of its greatest that is worth a panel's end."""
    parts = np.array([b.width.size for b in beams])
    first, owner = np.cumsum(parts) - parts, np.repeat(np.arange(row.beams), parts)
    line = np.concatenate([(load.dead + load.live) * b.width / 144 + (b.added[0] + b.added[1]) for b in beams])
    greatest = np.maximum.reduceat(line, first)
    steps = np.abs(line[1:] - line[:-1]) > STEP * greatest[owner[1:]]
    after = 1 + np.flatnonzero(steps & (owner[1:] == owner[:-1]))
    own = owner[after]
    return np.asarray(row.origin[own] + (after - first[own]) * (row.length / parts)[own])


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


def _lines(row: Row, beams: Sequence[Beam], load: Load, sets: int) -> list[_Line]:
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
        local = np.clip((s / extent[beam]).astype(np.intp), 0, parts[beam] - 1)
        return np.asarray(local + first[beam])

    start = (np.arange(owner.size) - first[owner]) * extent[owner]
    lines = [_Line(first, start, extent[owner], value, None, part_of)]
    if any(b.density for b in beams):
        lines.append(_own_weight(row, beams, sets))
    return lines


def _own_weight(row: Row, beams: Sequence[Beam], sets: int) -> _Line:
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
        found = np.searchsorted(on_axis, row.origin[beam] + s, side="right") - 1
        return np.asarray(np.clip(found, first[beam], first[beam] + parts[beam] - 1))

    return _Line(first, start, extent, value, rise, part_of)


class LoadSets:
    """What each set of load does to the regions cut free at their pads, (sets, regions) and (sets, panels, 5).

    Moment M0 = c0 + c1 x - A and shear c1 - P at x from the region's start, P being the load so far and A its
    integral; the sets are LIVE, DEAD, ADDED (all that is added, at once; left out where there is nothing) and last
    one pound at the middle of a span or on a tip.
    """

    def __init__(self, row: Row, mesh: Mesh, beams: Sequence[Beam], load: Load) -> None:
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
        give = WHOLE * mesh.h[:, None] * mesh.give
        left, right = give * (1 - part), give * part

        def total(weight: Floats, curve: Floats) -> Floats:
            return mesh.running((weight * curve).sum(axis=-1))[1]

        self.flex_left, self.flex_right = total(left, 1 - part), total(right, part)
        self.flex_cross = total(left, part)
        self.turn_left, self.turn_right = total(left, self.M0), total(right, self.M0)

    def _carried(self, row: Row, mesh: Mesh, beams: Sequence[Beam], load: Load
                 ) -> tuple[Floats, Floats, Floats, Floats]:
        """P and A from each region's start at the stations, and both over the whole of each region."""
        long, start, of = row.region_length, row.region_start, row.region_beam
        sets = 3 if self.any_added else 2
        P, A = np.zeros((2, sets + 1, mesh.h.size, STATIONS.size))
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
