"""Which part of the deck each member carries: the strips that share out the deck, or any load lying on it.

A part of the layout stage, in its turned frame: joists run along x.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

Array = NDArray[np.float64]
Hung = tuple[tuple[float, float], ...]

FAR = 1e3  # further than any rim strip is wide, and than it runs on past its ends [in]


@dataclass(frozen=True)
class Added:
    """What lies on single places of the deck, besides its even loads, on the members that carry it.

    line[member] : (2, parts), on equal parts of the member from end A, what stays and what comes and goes [lb/in]
    hung[member] : (q, 3), distance from end A [in], and what of either kind rims bring there [lb]
    """

    line: Mapping[str, Array] = field(default_factory=dict)
    hung: Mapping[str, Array] = field(default_factory=dict)

    def on(self, member: str, run: float, start: float, end: float, parts: int) -> tuple[Array, Array]:
        """Line loads (2, parts) [lb/in] and hung loads (q, 3) of a member's piece from start to end, from its start.

        `run` is the member's length [in]. What hangs where two pieces meet goes to the latter.
        """
        if member not in self.line:
            return np.zeros((2, 1)), np.zeros((0, 3))
        line, hung = self.line[member], self.hung[member]
        edges = np.linspace(0, run, line.shape[1] + 1)
        so_far = np.concatenate([np.zeros((2, 1)), np.cumsum(line, axis=1) * (run / line.shape[1])], axis=1)
        cuts = np.linspace(start, end, parts + 1)
        own = np.stack([np.diff(np.interp(cuts, edges, row)) for row in so_far]) / ((end - start) / parts)
        here = (hung[:, 0] >= start - 1e-6) & ((hung[:, 0] < end - 1e-6) | (end > run - 1e-6))
        return np.maximum(own, 0.0), np.c_[np.clip(hung[here, 0] - start, 0, end - start), hung[here, 1:]]


@dataclass(frozen=True)
class RimStrip:
    """The strip of deck over a rim that runs from `start` to `end` (2,): it hangs on the member ends along it."""

    area: Polygon
    start: Array
    end: Array


@dataclass(frozen=True)
class _Bay:
    """The part of a rim strip that hangs on one end, `s` from end A [in], of carrying member `member`."""

    member: int
    s: float
    area: BaseGeometry


@dataclass(frozen=True)
class Tributary:
    """The strips by which members carry the deck.

    Boards run square to the joists (or near it), so across each inch of the joists' run a member carries half-way
    to its neighbours on both sides; the strip over a rim hangs on the member ends that meet it.

    inner : the deck without its rim strips; net : the whole of it
    ends : (members, 2, 2), centre lines of the carrying members, end A at the lesser x
    x, step : (columns,), middles of the columns that the deck is cut into, and their width [in]
    below, above : (columns, members), what each member carries of a column; above < below where it carries nothing
    """

    net: Polygon
    inner: BaseGeometry
    ids: tuple[str, ...]
    ends: Array
    x: Array
    step: float
    below: Array
    above: Array
    bays: tuple[_Bay, ...]

    def of(self, shape: BaseGeometry) -> tuple[dict[str, Array], dict[str, Hung]]:
        """The area of `shape` on each member, so that it adds to the area of `shape` on the deck.

        Returns, by member, the width [in] on equal intervals (an inch or near it) of the member from end A, and
        the (s [in], area [sq in]) that rims bring.
        """
        lengths = np.hypot(*(self.ends[:, 1] - self.ends[:, 0]).T)
        bins = np.maximum(1, np.round(lengths)).astype(int)
        wanted = shape.intersection(self.net).area
        area = self._columns(shape.intersection(self.inner))
        whole = shape is self.net  # bays lie on the deck
        hung = [(bay, float((bay.area if whole else bay.area.intersection(shape)).area)) for bay in self.bays]
        total = area.sum() + sum(part for _, part in hung)
        if self.ids and total < wanted / 100:  # nothing runs under it: the nearest member bears it in one place
            hung, total = [*hung, self._nearest(shape.intersection(self.net))], total + wanted
        scale = wanted / total if total > 0 else 1.0
        a, b = self.ends[:, 0, 0], self.ends[:, 1, 0]
        width: dict[str, Array] = {}
        for j, member in enumerate(self.ids):
            s = np.clip((self.x - a[j]) / (b[j] - a[j]), 0, 1 - 1e-9) * bins[j]
            carried = np.bincount(s.astype(int), area[:, j], minlength=bins[j]) * scale
            width[member] = _smooth(carried) / (lengths[j] / bins[j])
        by_member: dict[str, list[tuple[float, float]]] = {member: [] for member in self.ids}
        for bay, part in hung:
            if part > 0:
                by_member[self.ids[bay.member]].append((bay.s, part * scale))
        return width, {member: tuple(parts) for member, parts in by_member.items()}

    def _nearest(self, shape: BaseGeometry) -> tuple[_Bay, float]:
        """The carrying member nearest to a shape, at the place nearest to its middle, and the shape's area."""
        middle = np.array(shape.centroid.coords[0])
        run = self.ends[:, 1] - self.ends[:, 0]
        part = np.clip(((middle - self.ends[:, 0]) * run).sum(axis=1) / (run**2).sum(axis=1), 0, 1)
        j = int(np.argmin(np.hypot(*(self.ends[:, 0] + part[:, None] * run - middle).T)))
        return _Bay(j, float(part[j] * np.hypot(*run[j])), shape), float(shape.area)

    def _columns(self, shape: BaseGeometry) -> Array:
        """Area of `shape` on each member in each column, (columns, members) [sq in]."""
        area = np.zeros_like(self.below)
        if shape.is_empty or not self.ids:
            return area
        first, last = np.searchsorted(self.x, [shape.bounds[0], shape.bounds[2]])
        low, high = intervals(shape, self.x[first:last])
        for piece in range(low.shape[1]):  # few: as many as an upright line has stretches inside the shape
            area[first:last] += np.clip(np.minimum(self.above[first:last], high[:, piece, None])
                                        - np.maximum(self.below[first:last], low[:, piece, None]), 0, None)
        return area * self.step


def share_out(net: Polygon, inner: BaseGeometry, rims: Sequence[RimStrip], members: Sequence[tuple[str, LineString]],
              *, thickness: float) -> Tributary:
    """The strips of the carrying members (id, centre line), each so thick [in].

    A member that stops short of a skewed rim by less than its own thickness still carries there.
    """
    if not members:
        none = np.zeros((1, 0))
        return Tributary(net, inner, (), np.zeros((0, 2, 2)), np.zeros(1), 0.0, none, none, ())
    ends = np.array([[p.coords[0], p.coords[-1]] for _, p in members], dtype=float)
    ends = np.take_along_axis(ends, np.argsort(ends[:, :, 0], axis=1)[:, :, None], axis=1)
    x0, _, x1, _ = inner.bounds
    columns = max(2, math.ceil(x1 - x0))
    step = (x1 - x0) / columns
    x = x0 + step * (np.arange(columns) + 0.5)

    a, b = ends[:, 0], ends[:, 1]
    y = a[:, 1] + (x[:, None] - a[:, 0]) * ((b[:, 1] - a[:, 1]) / (b[:, 0] - a[:, 0]))  # (columns, members)
    y = np.where((x[:, None] >= a[:, 0] - thickness) & (x[:, None] <= b[:, 0] + thickness), y, np.inf)
    order = np.argsort(y, axis=1)
    ranked = np.take_along_axis(y, order, axis=1)
    here = np.isfinite(ranked)
    middle = np.where(here[:, 1:], (np.where(here, ranked, 0)[:, 1:] + np.where(here, ranked, 0)[:, :-1]) / 2, np.inf)
    below, above = np.full_like(y, np.inf), np.full_like(y, -np.inf)
    np.put_along_axis(below, order, np.where(here, np.c_[np.full(columns, -np.inf), middle], np.inf), axis=1)
    np.put_along_axis(above, order, np.where(here, np.c_[middle, np.full(columns, np.inf)], -np.inf), axis=1)
    return Tributary(net, inner, tuple(i for i, _ in members), ends, x, step, below, above,
                     _bays(net, rims, ends, thickness))


def _bays(net: Polygon, rims: Sequence[RimStrip], ends: Array, near: float) -> tuple[_Bay, ...]:
    """Every rim strip, shared out along the rim half-way from member end to member end; corners go to the first."""
    lengths = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    points = shapely.points(ends)
    taken: BaseGeometry = Polygon()
    bays = []
    for rim in rims:
        strip = rim.area.intersection(net)
        own = strip.difference(taken)
        taken = taken.union(strip)
        meets = np.argwhere(shapely.distance(points, strip) < near)
        if not len(meets):
            continue
        along = (rim.end - rim.start) / np.hypot(*(rim.end - rim.start))
        across = np.array([-along[1], along[0]]) * FAR
        t = (ends[meets[:, 0], meets[:, 1]] - rim.start) @ along
        rank = np.argsort(t, kind="stable")
        cuts = np.r_[-FAR, (t[rank][1:] + t[rank][:-1]) / 2, np.hypot(*(rim.end - rim.start)) + FAR]
        for (j, e), low, high in zip(meets[rank], cuts[:-1], cuts[1:], strict=True):
            p, q = rim.start + along * low, rim.start + along * high
            slab = Polygon([p - across, q - across, q + across, p + across])
            bays.append(_Bay(int(j), float(lengths[j]) if e else 0.0, own.intersection(slab)))
    return tuple(bays)


def _smooth(carried: Array) -> Array:
    """Area in one-inch bins without the beat between columns and bins; the sum stays."""
    if len(carried) < 3:
        return carried
    padded = np.r_[carried[0], carried, carried[-1]]
    mean = (padded[:-2] + padded[1:-1] + padded[2:]) / 3
    return np.asarray(mean * (carried.sum() / mean.sum() if mean.sum() > 0 else 1.0))


def intervals(shape: BaseGeometry, x: Array) -> tuple[Array, Array]:
    """Where the upright lines at x (n,) run inside `shape`: lower and upper ends (n, pieces), empty ones zero long."""
    rings = [np.array(r.coords)[:, :2] for part in shapely.get_parts(shape) if isinstance(part, Polygon)
             for r in (part.exterior, *part.interiors)]
    sides = np.concatenate([np.zeros((0, 2, 2)), *(np.stack([r[:-1], r[1:]], axis=1) for r in rings)])
    a, b = sides[:, 0], sides[:, 1]
    # a line through a corner crosses one of its two sides, or both or none where it only touches
    crosses = (a[:, 0] <= x[:, None]) != (b[:, 0] <= x[:, None])
    run = np.where(a[:, 0] == b[:, 0], 1.0, b[:, 0] - a[:, 0])
    y = np.sort(np.where(crosses, a[:, 1] + (x[:, None] - a[:, 0]) * (b[:, 1] - a[:, 1]) / run, np.inf), axis=1)
    pieces = max(1, int(crosses.sum(axis=1).max(initial=0)) // 2)
    ends = np.full((len(x), 2 * pieces), np.inf)
    ends[:, :min(2 * pieces, y.shape[1])] = y[:, :2 * pieces]
    ends = np.where(np.isfinite(ends), ends, 0.0)
    return ends[:, ::2], ends[:, 1::2]
