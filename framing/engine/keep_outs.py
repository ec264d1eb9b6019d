"""Where no pad may stand: on the roof's edge, near an outlet, in a valley, on another pad; all lines at once.

Stage: roof -> layout, and again for the supports. Along a member's line each of these closes a stretch whose ends
are in closed form (a circle, a strip or a box against a straight line), so that placing pads is a matter of stretches.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.ops import unary_union

from framing.engine.adjustment import Adjustment
from framing.engine.documents import Build, Survey
from framing.engine.roof import Roof
from framing.reference import clearances

Array = NDArray[np.float64]
Size = tuple[float, float]

PAD_FROM_WALL = 0.25  # a pad stays this far inside the surveyed roof [in]
END_PAD = 3.0  # an end pad's centre stands this near the end where the pads at hand let it [in]
HAIR = 1e-4  # what just touches is clear, whatever the rounding [in]
BETWEEN_LINES = 1.0  # the lines of a row lie end to end on one axis, this far apart [in]


@dataclass(frozen=True)
class Ground:
    """What the pads stand on: the roof, the area that pads must stay within, and what they keep off.

    `outlets` (n, 2) [in]; `taken` (n, 4, 2) are the outlines of pads that stand already [in]; `strength` is the
    insulation's, rated [psi], None where it is not known; `cover` the thickness [in] of the board over it, 0 for none;
    `walls` (n, 2, 2) are the sides of the roof against a house or a parapet [in].
    """

    roof: Roof
    inside: Polygon
    outlets: Array
    valleys: tuple[LineString, ...]
    strength: float | None
    taken: Array
    cover: float = 0.0
    walls: Array = field(default_factory=lambda: np.zeros((0, 2, 2)))


def find_ground(survey: Survey, adjusted: Adjustment, roof: Roof, holes: Sequence[Polygon]) -> Ground:
    """Roof and keep-outs for the pads. Obstacles (`holes`) are kept clear of as the deck keeps clear of them."""
    xy = [(adjusted.points[o.point].x, adjusted.points[o.point].y) for o in survey.outlets
          if o.point in adjusted.points]
    walls = [[(adjusted.points[p].x, adjusted.points[p].y) for p in (e.from_, e.to)] for e in survey.edges
             if e.against in ("house", "parapet") and {e.from_, e.to} <= set(adjusted.points)]
    inside = roof.outline.buffer(-PAD_FROM_WALL, join_style="mitre")
    if holes:
        inside = inside.difference(unary_union(list(holes)))
    return Ground(roof, inside, np.array(xy, float).reshape(-1, 2),
                  tuple(b.line for b in roof.breaks if b.kind == "valley"),
                  survey.roof.insulation_strength if survey.roof else None, np.zeros((0, 4, 2)),
                  (survey.roof.cover_board.thickness or 0.0) if survey.roof and survey.roof.cover_board else 0.0,
                  np.array(walls, float).reshape(-1, 2, 2))


def without(ground: Ground, corners: Array) -> Ground:
    """The ground with the places of these pads, (n, 4, 2) [in], taken."""
    return replace(ground, taken=np.concatenate([ground.taken, corners.reshape(-1, 4, 2)]))


@dataclass(frozen=True)
class Stretches:
    """Closed stretches along a row of lines, apart and rising, on one axis on which line i begins at `origin[i]` [in].

    An open place may touch the end of a closed stretch.
    """

    origin: Array
    length: Array
    low: Array
    high: Array

    def closed(self, line: NDArray[np.intp], s: Array) -> NDArray[np.bool_]:
        """Whether places s (n,) [in] of lines (n,) are closed."""
        if not len(self.low):
            return np.zeros(len(s), bool)
        at = self.origin[line] + s
        i = np.searchsorted(self.low, at - HAIR, side="right") - 1
        return np.asarray((i >= 0) & (at < self.high[np.maximum(i, 0)] - HAIR))

    def nearest(self, line: NDArray[np.intp], s: Array) -> tuple[Array, Array]:
        """The nearest open place at or before s and at or after it, (n,) each [in]; they may lie off the line."""
        if not len(self.low):
            return s.copy(), s.copy()
        at = self.origin[line] + s
        i = np.maximum(np.searchsorted(self.low, at - HAIR, side="right") - 1, 0)
        shut = self.closed(line, s)
        return (np.where(shut, self.low[i] - self.origin[line], s), np.where(shut, self.high[i] - self.origin[line], s))

    def on(self, line: int) -> Array:
        """The closed stretches of one line, (k, 2) [in] from its start."""
        a, b = self.origin[line] - BETWEEN_LINES / 2, self.origin[line] + self.length[line] + BETWEEN_LINES / 2
        here = (self.high > a) & (self.low < b)
        return np.asarray(np.c_[self.low[here], self.high[here]] - self.origin[line])


class Row:
    """Lines (n, 2, 2) [in] of members that are asked together where a pad may stand."""

    def __init__(self, lines: Array) -> None:
        lines = np.asarray(lines, float).reshape(-1, 2, 2)
        run = lines[:, 1] - lines[:, 0]
        self.start, self.length = lines[:, 0], np.hypot(*run.T)
        self.along = run / self.length[:, None]
        self.origin = np.r_[0, np.cumsum(self.length + BETWEEN_LINES)][:-1]

    def local(self, xy: Array) -> tuple[Array, Array]:
        """How far points (m, 2) lie along each line and to its left, (n, m) each [in]."""
        off = xy[None] - self.start[:, None]
        u = self.along[:, None]
        return (off * u).sum(axis=2), u[..., 0] * off[..., 1] - u[..., 1] * off[..., 0]

    def stretches(self, parts: Sequence[tuple[Array, Array]]) -> Stretches:
        """The union of stretches low..high, each pair (n, m) [in]; where low is not under high there is none."""
        lows, highs = [], []
        for low, high in parts:
            low = np.maximum(low, -BETWEEN_LINES / 4)
            high = np.minimum(high, self.length[:, None] + BETWEEN_LINES / 4)
            line, k = np.nonzero(low < high - HAIR)
            lows.append(self.origin[line] + low[line, k])
            highs.append(self.origin[line] + high[line, k])
        low, high = np.concatenate([np.zeros(0), *lows]), np.concatenate([np.zeros(0), *highs])
        order = np.argsort(low, kind="stable")
        low, reach = low[order], np.maximum.accumulate(high[order])
        first = np.r_[True, low[1:] > reach[:-1] + HAIR] if len(low) else np.zeros(0, bool)
        last = np.r_[first[1:], True] if len(low) else first
        return Stretches(self.origin, self.length, low[first], reach[last])


def _circles(row: Row, at: Array, reach: float) -> tuple[Array, Array]:
    """Where a line runs within `reach` of points (m, 2)."""
    t, d = row.local(at)
    half = np.sqrt(np.maximum(reach**2 - d**2, 0))
    return t - half, t + half


def _near_box(row: Row, at: Array, size: Size, reach: float) -> tuple[Array, Array]:
    """Where the nearest edge of a pad stands within `reach` of points (m, 2), or the pad over one."""
    t, d = row.local(at)
    off = np.maximum(np.abs(d) - size[1] / 2, 0)
    half = np.where(off < reach, np.sqrt(np.maximum(reach**2 - off**2, 0)) + size[0] / 2, 0)
    return t - half, t + half


def _over(row: Row, at: Array, size: Size) -> tuple[Array, Array]:
    """Where a pad covers points (m, 2)."""
    t, d = row.local(at)
    half = np.where(np.abs(d) <= size[1] / 2 + HAIR, size[0] / 2 + 3 * HAIR, 0)
    return t - half, t + half


def _strips(row: Row, segments: Array, reach: float) -> tuple[Array, Array]:
    """Where a line runs within `reach` of segments (m, 2, 2): a circle at either end and the strip between."""
    (a_low, a_high), (b_low, b_high) = (_circles(row, segments[:, k], reach) for k in (0, 1))
    run = segments[:, 1] - segments[:, 0]
    size = np.hypot(*run.T)
    v = run / size[:, None]
    off = row.start[:, None] - segments[None, :, 0]
    aside, aside_step = v[:, 0] * off[..., 1] - v[:, 1] * off[..., 0], _cross(v, row.along)
    ahead, ahead_step = (off * v).sum(axis=2), row.along @ v.T
    s_low, s_high = _between(aside, aside_step, -reach, reach)
    e_low, e_high = _between(ahead, ahead_step, 0, size)
    low, high = np.maximum(s_low, e_low), np.minimum(s_high, e_high)
    parts = [(low, high), (a_low, a_high), (b_low, b_high)]  # their union is in one piece
    return (np.min([np.where(lo < hi, lo, np.inf) for lo, hi in parts], axis=0),
            np.max([np.where(lo < hi, hi, -np.inf) for lo, hi in parts], axis=0))


def _cross(v: Array, u: Array) -> Array:
    return np.asarray(v[None, :, 0] * u[:, None, 1] - v[None, :, 1] * u[:, None, 0])


def _between(value: Array, step: Array, low: Array | float, high: Array | float) -> tuple[Array, Array]:
    """The s where value + step * s lies within low..high."""
    flat = np.abs(step) < 1e-12
    safe = np.where(flat, 1.0, step)
    one, other = (low - value) / safe, (high - value) / safe
    always = (value >= low) & (value <= high)
    return (np.where(flat, np.where(always, -np.inf, np.inf), np.minimum(one, other)),
            np.where(flat, np.where(always, np.inf, -np.inf), np.maximum(one, other)))


def _boxes(row: Row, rings: Array, size: Size) -> tuple[Array, Array]:
    """Where a pad lies over any part of the edges of rings (m, k, 2, 2), each ring's edges taken as one piece."""
    half = size[1] / 2 - HAIR
    n, (m, k) = len(row.start), rings.shape[:2]
    t, d = row.local(rings.reshape(-1, 2))
    t, d = t.reshape(n, m, k, 2), d.reshape(n, m, k, 2)
    (t0, t1), (d0, d1) = (t[..., 0], t[..., 1]), (d[..., 0], d[..., 1])
    p_low, p_high = _between(d0, d1 - d0, -half, half)
    p_low, p_high = np.clip(p_low, 0, 1), np.clip(p_high, 0, 1)
    meets = (p_low < p_high) | ((p_low == p_high) & (np.abs(d0 + (d1 - d0) * p_low) <= half))
    one, other = t0 + (t1 - t0) * p_low, t0 + (t1 - t0) * p_high
    low = np.where(meets, np.minimum(one, other), np.inf).min(axis=2)
    high = np.where(meets, np.maximum(one, other), -np.inf).max(axis=2)
    return low - size[0] / 2 + HAIR, high + size[0] / 2 - HAIR


def _edges(shape: shapely.Geometry) -> Array:
    """Every edge of a polygon's rings, (m, 2, 2)."""
    rings = [np.asarray(r.coords)[:, :2] for p in getattr(shape, "geoms", [shape]) if p.geom_type == "Polygon"
             for r in (p.exterior, *p.interiors)]
    return np.concatenate([np.zeros((0, 2, 2)), *(np.stack([r[:-1], r[1:]], axis=1) for r in rings if len(r) > 1)])


def _segments(lines: Sequence[LineString]) -> Array:
    parts = [np.asarray(v.coords)[:, :2] for v in lines]
    return np.concatenate([np.zeros((0, 2, 2)), *(np.stack([p[:-1], p[1:]], axis=1) for p in parts)])


def no_room(row: Row, ground: Ground, size: Size) -> Stretches:
    """Where a pad of `size` has no room: over the roof's edge or an obstacle, on an outlet, on another pad."""
    taken = np.stack([ground.taken, np.roll(ground.taken, -1, axis=1)], axis=2)  # (m, 4, 2, 2)
    parts = [_boxes(row, _edges(ground.inside)[:, None], size), _boxes(row, taken, size),
             _over(row, ground.outlets, size)]
    found = row.stretches(parts)
    # between two edges a line may run outside, where no edge is met: one look at each open stretch tells
    ends = row.origin + row.length
    low, high = np.r_[found.high, row.origin], np.r_[found.low, ends]
    low, high = np.sort(low), np.sort(high)
    line = np.clip(np.searchsorted(row.origin, low + HAIR, side="right") - 1, 0, None)
    high = np.minimum(high, ends[line])
    open_ = high > low + 2 * HAIR
    line, low, high = line[open_], low[open_], high[open_]
    middle = row.start[line] + ((low + high) / 2 - row.origin[line])[:, None] * row.along[line]
    out = ~shapely.contains_xy(ground.inside, middle)
    if not out.any():
        return found
    wide = np.full((len(row.start), int(out.sum()), 2), np.nan)
    wide[line[out], np.arange(int(out.sum()))] = np.c_[low[out], high[out]] - row.origin[line[out], None]
    return row.stretches([*parts, (wide[..., 0] - 2 * HAIR, wide[..., 1] + 2 * HAIR)])


def kept_off(row: Row, ground: Ground, size: Size, *, by_edge: bool = True, part: float = 1.0) -> Stretches:
    """Where a pad of `size` stands too near an outlet or a valley line.

    Off an outlet by 12 in from the pad's nearest edge (`by_edge`) or from its centre; off a valley by half the pad
    and 3 in from its centre. `part` of these distances is asked where the whole of them cannot be had.
    """
    near = (_near_box(row, ground.outlets, size, part * clearances.OUTLET) if by_edge
            else _circles(row, ground.outlets, part * clearances.OUTLET))
    valleys = _strips(row, _segments(ground.valleys), part * (max(size) / 2 + clearances.VALLEY))
    return row.stretches([near, valleys])


def over_outlets(row: Row, ground: Ground, size: Size) -> Stretches:
    """Where a pad of `size` would cover an outlet."""
    return row.stretches([_over(row, ground.outlets, size)])


def joined(*rows: Stretches) -> Stretches:
    """What is closed by any of several rules."""
    first = rows[0]
    low, high = (np.concatenate([getattr(r, k) for r in rows]) for k in ("low", "high"))
    order = np.argsort(low, kind="stable")
    low, reach = low[order], np.maximum.accumulate(high[order]) if len(low) else high
    head = np.r_[True, low[1:] > reach[:-1] + HAIR] if len(low) else np.zeros(0, bool)
    return Stretches(first.origin, first.length, low[head], reach[np.r_[head[1:], True]] if len(low) else reach)


def end_inset(build: Build) -> float:
    """How far in from a free end its pad's centre stands at least: half the largest pad that is still near [in]."""
    sides = [a for a, _ in build.supports.pad_sizes]
    return max([a / 2 for a in sides if a / 2 <= END_PAD], default=min(sides) / 2)


def end_reach(lines: Array, ground: Ground, size: Size, inset: float) -> Array:
    """How far in from each end of lines (n, 2, 2) the nearest place lies where a pad of `size` may stand, (n, 2) [in].

    No nearer than `inset` [in], clear of the roof's edge, obstacles, outlets (12 in from the pad's edge) and valleys;
    infinite where the line has no such place.
    """
    row = Row(lines)
    shut = joined(no_room(row, ground, size), kept_off(row, ground, size))
    index, least = np.arange(len(row.start)), np.minimum(inset, row.length / 4)
    _, near_a = shut.nearest(index, least)
    near_b, _ = shut.nearest(index, row.length - least)
    reach = np.stack([near_a, row.length - near_b], axis=1)
    return np.where(reach <= row.length[:, None] - least[:, None] + HAIR, reach, math.inf)
