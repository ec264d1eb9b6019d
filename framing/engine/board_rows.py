"""Where the first row of boards starts, so that no side of the deck is left with a strip too narrow to keep.

A part of the boards stage, in its turned frame: boards run along x, rows follow one another up y.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from framing.reference.decking import LEAST_RIP

Array = NDArray[np.float64]

RIP_SLOPE = 0.5  # a side no steeper than this to the boards rips them, a steeper one cuts their ends [dy/dx]
LEVEL = 0.05  # a side that rises by less runs with the boards [in]
BY_DOOR = 12.0  # a side this near the door is its wall's [in]
TRIED = 64  # starts tried within a row, besides those at which some strip comes to nothing, the least rip or a board


@dataclass(frozen=True)
class Start:
    """Lower edge of a row [in], and the length of sides along which strips stay narrower than the least rip [in]."""

    y: float
    thin: float


@dataclass(frozen=True)
class _Sides:
    """Sides that rip boards: `y` (k, 2) at both ends, the lower first, `run` (k,) along x, deck on the upper side."""

    y: Array
    run: Array
    middle: Array
    above: NDArray[np.bool_]


def _sides(field: BaseGeometry, width: float) -> _Sides:
    rings = [r for p in shapely.get_parts(field) for q in [shapely.geometry.polygon.orient(p)]
             for r in (q.exterior, *q.interiors)]
    ends = np.concatenate([np.stack([xy[:-1], xy[1:]], axis=1) for xy in map(shapely.get_coordinates, rings)])
    run = ends[:, 1] - ends[:, 0]
    kept = (np.abs(run[:, 1]) <= RIP_SLOPE * np.abs(run[:, 0])) & (np.abs(run[:, 0]) > width)
    ends, run = ends[kept], run[kept]
    return _Sides(np.sort(ends[:, :, 1], axis=1), np.abs(run[:, 0]), ends.mean(axis=1), run[:, 0] > 0)


def _tips(field: BaseGeometry) -> tuple[Array, NDArray[np.bool_]]:
    """The corners in which the field ends along y (k,), and whether it lies above each."""
    y: list[float] = []
    above: list[bool] = []
    for part in shapely.get_parts(field):
        xy = shapely.get_coordinates(shapely.geometry.polygon.orient(part).exterior)[:-1]
        back, on = np.roll(xy, 1, axis=0) - xy, np.roll(xy, -1, axis=0) - xy
        convex = on[:, 0] * back[:, 1] > on[:, 1] * back[:, 0]
        tip = convex & (back[:, 1] * on[:, 1] > 0)
        y += xy[tip, 1].tolist()
        above += (on[tip, 1] > 0).tolist()
    return np.array(y), np.array(above, bool)


def start_rows(field: BaseGeometry, width: float, gap: float, door: Array | None = None,
               least_rip: float = LEAST_RIP) -> Start:
    """The start that leaves the least length of strips under the least rip along the sides that rip boards.

    Of such starts the one that keeps a whole board along the wall of the `door` (2,), so that a taper falls away from
    it, else along the lowest side; where none does, the one whose narrowest strip is widest, which shares what is left
    between two sides. Length under the least rip turns only at starts where some side's end lies at a board's edge or
    the least rip from one, so trying those finds the least there is. Where no side rips boards the
    rows start at the lowest corner or, where that leaves a corner a scrap that reaches no wood, so that none is left.
    """
    low, pitch = float(field.bounds[1]), width + gap
    sides, least = _sides(field, width), min(least_rip, width)
    if not len(sides.run):
        y, above = _tips(field)
        starts = low + np.arange(TRIED) / TRIED * pitch
        tips = _Sides(np.stack([y, y], axis=1), np.zeros(len(y)), np.zeros((len(y), 2)), above)
        deep = np.minimum(_strip(tips, starts, width, pitch), least).min(axis=1)
        return Start(float(starts[np.argmax(np.round(deep, 3))]), 0.0)
    turns = (sides.y.ravel()[:, None] - low - np.array([0.0, width, width - least, least])).ravel()
    shifts = np.r_[0.0, np.mod(turns, pitch), np.arange(TRIED) / TRIED * pitch]
    starts = low + shifts
    thin = _thin(sides, starts, width, pitch, least)
    level = np.diff(sides.y)[:, 0] <= LEVEL
    strips = np.where(level, _strip(sides, starts, width, pitch), np.inf)
    first = _first(sides, level, door)
    if first is None:
        whole = shifts < 1e-9
    else:  # the board's edge at the side itself, and not a gap more
        off = sides.y[first].mean() - (0.0 if sides.above[first] else width) - starts
        whole = np.abs(off - np.round(off / pitch) * pitch) < 1e-6
    order = np.lexsort((shifts, -np.round(strips.min(axis=1), 3), ~whole, np.round(thin, 2)))
    return Start(float(starts[order[0]]), float(thin[order[0]]))


def _first(sides: _Sides, level: NDArray[np.bool_], door: Array | None) -> int | None:
    """The side along which a whole board is wanted: by the door if one runs with the boards there, else the lowest."""
    if not level.any():
        return None
    if door is not None:
        off = np.abs(sides.middle - door)
        away = np.where(level, off[:, 1] + np.maximum(off[:, 0] - sides.run / 2, 0), np.inf)
        if away.min() <= BY_DOOR:
            return int(np.argmin(away))
    return int(np.argmin(np.where(level, sides.y[:, 0], np.inf)))


def _strip(sides: _Sides, starts: Array, width: float, pitch: float) -> Array:
    """Width of the strip along each side's middle (starts, sides); a whole board where the side lies in a gap. [in]"""
    into = np.mod(sides.y.mean(axis=1) - starts[:, None] + 1e-9, pitch) - 1e-9
    above = np.where(into < width - 1e-9, width - into, width)
    below = np.where((into < 1e-9) | (into > width), width, into)
    return np.where(sides.above, above, below)


def _thin(sides: _Sides, starts: Array, width: float, pitch: float, least: float) -> Array:
    """Length of sides along which the strip is narrower than `least`, (starts,) [in]."""
    lowest = np.where(sides.above, width - least, 0.0)

    def passed(y: Array) -> Array:
        """How much of the way up to y lies where a side leaves too narrow a strip."""
        t = y - starts[:, None]
        turns = np.floor(t / pitch)
        return np.asarray(turns * least + np.clip(t - turns * pitch - lowest, 0, least))

    rise = np.diff(sides.y)[:, 0]
    share = (passed(sides.y[:, 1]) - passed(sides.y[:, 0])) / np.maximum(rise, 1e-9)
    strip = _strip(sides, starts, width, pitch)
    share = np.where(rise > LEVEL, share, strip < least - 1e-6)
    return np.asarray((share * sides.run).sum(axis=1))
