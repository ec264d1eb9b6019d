"""Bays wider than the joists' spacing, as beside a corner that no row reaches, and strips of deck over no wood at all.

A part of the layout stage, in its turned frame: joists run along x, lines are (role, centre line).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from framing.engine.openings import LEAST_JOIST, STICK, Lines
from framing.engine.tributary import intervals

Array = NDArray[np.float64]

PROBE = 1.0  # bays are looked at this often along the joists [in]
BESIDE = 0.02  # ... and this near to either side of where something ends [in]
LEVEL = 1e-3  # a member that turns off the joists' way by less (slope) runs with them
BEYOND = 6.0  # a piece runs on so far past where the bay is too wide [in]
LEAST_BARE = 0.5  # smaller parts of the deck are no boards [sq in]
ROUNDS = 2  # a half may be too wide again
SET_OUT = 0.05  # joists are set out within this [in]


def halved(lines: Lines, net: Polygon, room: shapely.Geometry, most: float) -> Lines:
    """The pieces half-way across the bays of the deck `net` where members stand further apart than `most` [in].

    They run through `room`, as far as the bay is too wide and on to what ends them where that is near: a joist, or
    blocking where that is too short to stand on pads.
    """
    found: Lines = []
    for _ in range(ROUNDS if lines else 0):
        more = _half_way([*lines, *found], net, room, most)
        found += more
        if not more:
            break
    return found


def _half_way(lines: Lines, net: Polygon, room: shapely.Geometry, most: float) -> Lines:
    """Pieces half-way across every bay that is too wide as the lines run now."""
    found: Lines = []
    for x, low, high in _wide_bays([line for _, line in lines], net, most):
        k = int(np.argmax(high - low))
        y = float(low[k] + high[k]) / 2
        across = LineString([(net.bounds[0] - 1, y), (net.bounds[2] + 1, y)]).intersection(room)
        for part in getattr(across, "geoms", [across]):
            if part.geom_type != "LineString" or part.length < STICK / 2:
                continue
            first, _, last, _ = part.bounds
            here = x[(x >= first) & (x <= last) & (low < y) & (high > y)]
            if len(here):
                beyond = max(BEYOND, LEAST_JOIST - float(here[-1] - here[0]) / 2)
                a, b = here[0] - beyond, here[-1] + beyond
                a, b = first if a - first < LEAST_JOIST else a, last if last - b < LEAST_JOIST else b
                piece = LineString([(a, y), (b, y)])
                found.append(("joist" if piece.length >= LEAST_JOIST else "blocking", piece))
    return found


def _wide_bays(lines: Sequence[LineString], net: Polygon, most: float) -> list[tuple[Array, Array, Array]]:
    """Bays over `most` [in] from middle to middle of the wood: x (n,) and the faces of the wood there, low and high.

    At a side of the deck those over half of it, from the wood to the side. Beside a skewed edge joist a row ends at its
    face, half a stick before their middles meet: so much is let pass.
    """
    # a bay is widest where wood or a side of the deck ends or turns
    turns = np.r_[shapely.get_coordinates(net)[:, 0], shapely.get_coordinates(list(lines))[:, 0]]
    x = np.unique(np.r_[np.arange(net.bounds[0] + PROBE / 2, net.bounds[2], PROBE), turns - BESIDE, turns + BESIDE])
    x = x[(x > net.bounds[0]) & (x < net.bounds[2])]
    low, high = _across(lines, x)
    at_sides = _to_sides(low, high, *intervals(net, x), most / 2 + SET_OUT)
    run = np.diff(np.array([line.coords for line in lines]), axis=1)[:, 0]
    level = np.abs(run[:, 1]) < LEVEL * np.abs(run[:, 0])
    order = np.argsort(low, axis=1)  # no wood sorts last
    low, high = np.take_along_axis(low, order, axis=1), np.take_along_axis(high, order, axis=1)
    reach = np.fmax.accumulate(high, axis=1)
    last = np.maximum.accumulate(np.where(high == reach, np.arange(len(lines)), 0), axis=1)
    bounded = level[np.take_along_axis(order, last, axis=1)][:, :-1] & level[order][:, 1:]
    over = low[:, 1:] - reach[:, :-1] + STICK - most - SET_OUT - np.where(bounded, 0.0, STICK / 2)
    at, k = np.nonzero(over > 0)
    low, high = reach[at, k], low[at, k + 1]
    held = shapely.covers(net, shapely.linestrings(np.stack([np.c_[x[at], low], np.c_[x[at], high]], axis=1)))
    at, low, high = (np.r_[one[held], other] for one, other in zip((at, low, high), at_sides, strict=True))
    order = np.argsort(at, kind="stable")
    at, low, high = at[order], low[order], high[order]

    bays: list[list[int]] = []
    for i in range(len(at)):  # few: those too wide alone
        own = next((b for b in bays if at[i] - at[b[-1]] <= 1 and low[i] < high[b[-1]] and low[b[-1]] < high[i]
                    and at[i] != at[b[-1]]), None)
        if own is None:
            bays.append([i])
        else:
            own.append(i)
    return [(x[at[b]], low[b], high[b]) for b in bays]


def _to_sides(low: Array, high: Array, first: Array, last: Array, most: float) -> tuple[NDArray[np.intp], Array, Array]:
    """Where the outermost wood of a stretch of deck is over `most` [in] from its end: number of the place, and the
    stretch between.

    low, high : (places, members), the wood; first, last : (places, stretches), the deck
    """
    met = (low[:, None] < last[..., None]) & (high[:, None] > first[..., None])
    inner = np.where(met, low[:, None], np.inf).min(axis=2)
    outer = np.where(met, high[:, None], -np.inf).max(axis=2)
    below, above = (np.nonzero(met.any(axis=2) & (gap > most)) for gap in (inner - first, last - outer))
    return np.r_[below[0], above[0]], np.r_[first[below], outer[above]], np.r_[inner[below], last[above]]


def over_no_wood(lines: Sequence[LineString], net: Polygon) -> BaseGeometry:
    """The strips of the deck `net` across the joists that no wood lies under, as in the tips of sharp corners."""
    x = np.arange(net.bounds[0] + PROBE / 2, net.bounds[2], PROBE)
    low, high = intervals(net, x)  # (places, stretches)
    wood_low, wood_high = _across(lines, x)
    held = ((wood_low[:, None] < high[..., None]) & (wood_high[:, None] > low[..., None])).any(axis=2)
    at, k = np.nonzero(~held & (high > low))
    strips = shapely.box(x[at] - PROBE / 2, low[at, k] - PROBE, x[at] + PROBE / 2, high[at, k] + PROBE)
    parts = shapely.get_parts(shapely.union_all(shapely.intersection(strips, net)))
    return shapely.union_all(parts[shapely.area(parts) > LEAST_BARE])


def _across(lines: Sequence[LineString], x: Array) -> tuple[Array, Array]:
    """Between which y lines across the joists at x (n,) meet the wood of each member, (n, members), NaN where nowhere.

    Seats of boards run on over the rims that members butt against.
    """
    ends = np.array([line.coords for line in lines]).reshape(-1, 2, 2)
    run = ends[:, 1] - ends[:, 0]
    along = run / np.hypot(*run.T)[:, None] * STICK
    aside = np.stack([-along[:, 1], along[:, 0]], axis=1) / 2
    a, b = ends[:, 0] - along, ends[:, 1] + along
    p = np.stack([a - aside, b - aside, b + aside, a + aside], axis=1)
    q = np.roll(p, -1, axis=1)
    share = (x[:, None, None] - p[..., 0]) / np.where(p[..., 0] == q[..., 0], np.inf, q[..., 0] - p[..., 0])
    y = np.where((share >= 0) & (share <= 1) & (p[..., 0] != q[..., 0]), p[..., 1] + share * (q[..., 1] - p[..., 1]),
                 np.nan)
    return np.fmin.reduce(y, axis=2), np.fmax.reduce(y, axis=2)
