"""Trials of heights: readings drawn anew within their standard errors, what that moves, and what the pads then take.

A part of the uncertainty stage. A trial is a roof and a sill as they may truly be, given what was read. The wood stays
as it was cut; the deck hangs from the true sill, so that the stacks take up the difference and the gap under the wood
changes by it. All trials go through matrices at once: the roof's planes are linear in its readings.

Left out, each small beside a level's own error: places in plan (an inch off moves a height by the roof's slope,
1/48 in at 1/4 in a foot), the datum's checks (they move roof and sill together), which door governs.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from framing.engine.adjustment import Adjustment
from framing.engine.documents import Build, Survey
from framing.engine.members import Member, heights
from framing.engine.pads import Support
from framing.engine.plane import Plane, least_gap, most_gap
from framing.engine.roof import Roof, design_rows
from framing.engine.shims import nearest_sum, packing, shim_sums
from framing.reference.lumber import DRESSED

Array = NDArray[np.float64]

AT_ONCE = 32_000  # heights worked on at a time, so that memory stays small and the cache holds them
DRAWN = 500  # trials drawn at a time
TIE = 1e-9  # what rounding may put a height off [in]
SURELY = 6.0  # what lies further than this many standard errors off is not looked at: 1 chance in 10^9
CLOSE_STACK = 1 / 32  # what a stack may always miss its height by [in]


@dataclass(frozen=True)
class Moves:
    """How far trials move the finished plane and the roof under it.

    `by` (trials, q) begins with 1, for a height that no trial moves; then z0, sx and sy of the finished plane, those of
    every facet with their sign turned, and the rise of every mound likewise. So `by @ rows.T` is how much higher the
    deck stands over the roof at places. [in]
    """

    roof: Roof
    by: Array
    spread: Array = field(repr=False)  # (q, sources) of one standard error of each source: readings of the roof, mounds

    def rows(self, xy: Array) -> Array:
        """Rows (n, q) for (n, 2) places."""
        facet = self.roof.facet_at(xy)
        return np.hstack([np.zeros((len(xy), 1)), np.ones((len(xy), 1)), xy,
                          design_rows(xy, facet, len(self.roof.facets)),
                          *(m.share(xy)[:, None] for m in self.roof.mounds)])

    def standard_error(self, rows: Array) -> Array:
        """Standard error over the trials of what `rows` (n, q) give -> (n,) [in]."""
        covariance = self.by[:, 1:].T @ self.by[:, 1:] / len(self.by)
        moved = np.einsum("ij,jk,ik->i", rows[:, 1:], covariance, rows[:, 1:])
        return np.asarray(np.sqrt(np.maximum(moved, 0.0)))

    def lifts(self, rows: Array, constant: Array, wide: int = 1) -> Iterator[tuple[slice, Array]]:
        """`constant` (n,) and what the trials add to it, some trials (t,) at a time -> (t, n) [in].

        `wide` is what else has as many numbers a trial.
        """
        rows = rows.copy()
        rows[:, 0] = constant
        moving = self.by.any(axis=0)
        by, columns = self.by[:, moving], np.ascontiguousarray(rows[:, moving].T)
        size = max(1, AT_ONCE // max(1, len(rows), wide))
        for start in range(0, len(by), size):
            part = slice(start, min(start + size, len(by)))
            yield part, by[part] @ columns


def draw(survey: Survey, build: Build, adjusted: Adjustment, plane: Plane, roof: Roof, trials: int,
         seed: int) -> Moves:
    """Moves of `trials` roofs and sills.

    Every reading that the roof rests on is drawn with the standard error that its weight in the fit gives it, every
    end of a break line read by eye, every mound and every threshold point with its own. Errors are normal and each by
    itself.
    """
    streams = [np.random.Generator(np.random.PCG64(s)) for s in np.random.SeedSequence(seed).spawn(3)]
    planes = np.empty((trials, len(roof.gain)))
    for start in range(0, trials, DRAWN):
        part = planes[start : start + DRAWN]
        part[:] = streams[0].standard_normal((len(part), roof.gain.shape[1])) @ roof.gain.T
    se = np.array([m.se for m in roof.mounds])
    mounds = streams[1].standard_normal((trials, len(se))) * se
    xyz = np.array(plane.threshold)
    z = xyz[:, 2] + streams[2].standard_normal((trials, len(xyz))) * threshold_errors(survey, adjusted, plane)
    # the truth lies as far from the plan as the plan from another reading, the other way: so the least of several
    # readings, which is the least partly by its error, is not taken too low once more (basic bootstrap: Davison and
    # Hinkley, Bootstrap Methods and their Application, 1997, ch. 5)
    deck = hung(build, plane, xyz[:, :2], xyz[None, :, 2]) - hung(build, plane, xyz[:, :2], z)
    sources, first = roof.gain.shape[1], 4 + len(roof.gain)
    spread = np.zeros((first + len(se), sources + len(se)))
    spread[4:first, :sources], spread[first:, sources:] = roof.gain, np.diag(se)
    return Moves(roof, np.hstack([np.ones((trials, 1)), deck, -planes, -mounds]), spread)


def threshold_errors(survey: Survey, adjusted: Adjustment, plane: Plane) -> Array:
    """Standard error of each threshold point that the plane hangs from, the mean of its readings (k,) [in]."""
    points = [p for p in plane.door.points if p in plane.reveals]
    read = [[r.on for r in adjusted.levels if r.point == p] for p in points]
    times = [on.count("threshold") or len(on) for on in read]
    return np.asarray(survey.level_sigma / np.sqrt(np.array(times, float)))


def hung(build: Build, plane: Plane, xy: Array, z: Array) -> Array:
    """z0, sx and sy (trials, 3) of planes hung from threshold points (k, 2) at z (trials, k) as the build asks [in].

    The reveal, which no trial changes, is left out.
    """
    if build.surface.mode != "follow-threshold":  # at the least reveal, its slope given
        slope = np.array([plane.sx, plane.sy])
        z0 = (z - xy @ slope).min(axis=1)
        return np.column_stack([z0, np.broadcast_to(slope, (len(z), 2))])
    run = xy[-1] - xy[0]
    along = run / math.hypot(*run)
    t = (xy - xy.mean(axis=0)) @ along
    slopes = (z @ t / (t @ t))[:, None] * along
    return np.column_stack([(z - slopes @ xy.T).mean(axis=1), slopes])


@dataclass(frozen=True)
class Stacks:
    """Shims under all pads in each trial, (trials, sizes), and whether some stack cannot be closed, (trials,)."""

    shims: NDArray[np.int_]
    open: NDArray[np.bool_]


def stacks(moves: Moves, supports: Sequence[Support], build: Build) -> Stacks:
    """What the stacks take where the deck is held at its true height on the true roof.

    Every stack takes the shims whose sum is nearest, of two as near the lesser, made with the fewest; packers stay as
    planned. A stack is open where it misses by more than half the least difference of two sums, or 1/32 in.
    """
    sums, made = shim_sums(tuple(build.supports.shim_sizes), build.supports.shim_most)
    planned = np.array([s.shim + s.residual for s in supports]) - TIE
    rows = moves.rows(np.array([s.at for s in supports]).reshape(-1, 2))
    shims, gaping = np.zeros((len(moves.by), made.shape[1]), int), np.zeros(len(moves.by), bool)
    edges = (sums[1:] + sums[:-1]) / 2
    off = max(CLOSE_STACK, float(np.diff(sums).min()) / 2 if len(edges) else 0.0)
    lowest, highest = -off, float(sums[-1]) + off
    step = _common_step(sums, np.array([lowest, *edges, highest]))
    if not step:
        for part, wanted in moves.lifts(rows, planned):
            shims[part] = made[nearest_sum(sums, wanted)].sum(axis=1)
            gaping[part] = (wanted.min(axis=1) < lowest) | (wanted.max(axis=1) > highest)
        return Stacks(shims, gaping)

    # cells of `step`, numbered down from the highest that a stack may want; the first and last hold what is beyond
    cells = round((highest - lowest) / step) + 2
    in_cell = made[np.searchsorted(edges, highest - step * (np.arange(cells) - 0.5))].astype(float)
    for part, cell in moves.lifts(-rows / step, (highest - planned) / step + 1, cells):
        number = np.clip(cell, 0, cells - 1, out=cell).astype(np.intp)
        number += cells * np.arange(len(cell))[:, None]
        often = np.bincount(number.ravel(), minlength=cells * len(cell)).reshape(len(cell), cells)
        shims[part] = often @ in_cell
        gaping[part] = often[:, 0] + often[:, -1] > 0
    return Stacks(shims, gaping)


def _common_step(sums: Array, limits: Array) -> float:
    """The step that `limits` between sums (rising) are whole steps apart by, 0 where there is none.

    With one, a height over it tells its sum without a search.
    """
    least = float(np.diff(sums).min()) if len(sums) > 1 else CLOSE_STACK
    for step in (least, least / 2):
        apart = (limits - limits[0]) / step
        if np.abs(apart - np.round(apart)).max() < TIE * len(limits):
            return step
    return 0.0


@dataclass(frozen=True)
class Wood:
    """What the trials leave between wood and roof.

    `least` (trials,) is the least clear gap anywhere [in], `tightest` (2,) the place where it is planned. `deeper` and
    `thinner` (trials, members) say of which members no cut from their size keeps within the most gap, or none thick
    enough keeps over the least; `members` are those of which either may be.
    """

    least: Array
    tightest: Array
    members: tuple[Member, ...]
    deeper: NDArray[np.bool_]
    thinner: NDArray[np.bool_]


def wood(moves: Moves, members: Sequence[Member], build: Build, plane: Plane, roof: Roof) -> Wood:
    """The gap under the wood as cut, and whether the wood could still be cut so had the true roof been read.

    Roof and wood are straight between kinks and corners, so those places are all that counts.
    """
    count = len(moves.by)
    if not members:
        return Wood(np.full(count, np.inf), np.zeros(2), (), np.zeros((count, 0), bool), np.zeros((count, 0), bool))
    s, over = [], []
    for m, (places, height) in zip(members, heights([m.line for m in members], build, plane, roof), strict=True):
        both = np.union1d(places, m.profile[:, 0].clip(0, m.line.length))
        s.append(both)
        over.append(np.interp(both, places, height))
    owner = np.repeat(np.arange(len(members)), [len(v) for v in s])
    xy = np.concatenate([m.line.at(v) for m, v in zip(members, s, strict=True)])
    depth = np.concatenate([m.depth(v) for m, v in zip(members, s, strict=True)])
    top = np.concatenate(over)
    rows = moves.rows(xy)
    error, gap = moves.standard_error(rows), top - depth

    near = gap - SURELY * error <= (gap + SURELY * error).min()
    least = np.empty(count)
    for part, gaps in moves.lifts(rows[near], gap[near]):
        least[part] = gaps.min(axis=1)

    size = np.array([DRESSED[m.size][1] for m in members])[owner]
    short = top - most_gap(build) - packing(build) - size  # how much too low the stick ends: above nought it does
    thick = build.joists.minimum_depth - (top - least_gap(build))
    risky = np.unique(owner[np.maximum(short, thick) + SURELY * error > 0])
    at = np.isin(owner, risky)
    first = np.searchsorted(owner[at], risky)
    deeper, thinner = np.zeros((2, count, len(risky)), bool)
    if len(risky):
        for part, ends_short in moves.lifts(rows[at], short[at]):
            deeper[part] = np.maximum.reduceat(ends_short, first, axis=1) > TIE
        for part, too_thick in moves.lifts(-rows[at], thick[at]):
            thinner[part] = np.maximum.reduceat(too_thick, first, axis=1) > TIE
    return Wood(least, xy[int(np.argmin(gap))], tuple(members[i] for i in risky), deeper, thinner)


def shares(moves: Moves, at: Array) -> list[tuple[str, float, str]]:
    """Where the variance of the mean lift at (n, 2) places comes from: source, its share, the point it owes most to.

    The parts are independent and the roof's are linear, so the shares add up to 1; none where nothing varies.
    """
    row = moves.rows(at).mean(axis=0)
    roof, readings = moves.roof, moves.roof.gain.shape[1]
    own = (row @ moves.spread) ** 2
    named = np.array([bool(p) for p in roof.sources] + [False] * len(roof.mounds))
    eyed = np.append(~named[:readings], np.zeros(len(roof.mounds), bool))
    parts = [("threshold readings", float((moves.by[:, 1:4] @ row[1:4]).var()), ""),
             ("roof readings", float(own[named].sum()),
              roof.sources[int(np.argmax(np.where(named, own, -1.0)))] if named.any() else ""),
             ("places of break lines", float(own[eyed].sum()), ""),
             ("humps and lows", float(own[readings:].sum()), "")]
    whole = sum(v for _, v, _ in parts)
    found = [(name, v / whole, point) for name, v, point in parts if v > 0]
    return sorted(found, key=lambda p: -p[1])
