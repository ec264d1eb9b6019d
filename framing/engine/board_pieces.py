"""One piece of board: its shape, its rip, how narrow it gets and whether its ends are skew.

A part of the boards stage. Pieces are read in the frame of their run, boards along x.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from framing.engine.board_rows import RIP_SLOPE
from framing.engine.roof import ring

Array = NDArray[np.float64]

FULL = 0.02  # a board that lacks less is of full width [in]
TOUCH = 1e-3  # widths are read this far inside a corner [in]


@dataclass(frozen=True)
class Board:
    """One piece of board: `polygon` in plan [in], `length` along its run [in], `rip` widths at both ends or None.

    `narrowest` is the width of its narrowest place between its end cuts [in]; `along` the direction of its run
    [degrees]; `skew_ends` 1 where an end is not square.
    """

    id: str
    kind: str
    polygon: Polygon
    length: float
    rip: tuple[float, float] | None
    skew_ends: int
    narrowest: float
    along: float

    def as_json(self) -> dict[str, Any]:
        return {"id": self.id, "kind": self.kind, "polygon": ring(self.polygon), "length": self.length,
                "rip": list(self.rip) if self.rip else None}


@dataclass(frozen=True)
class Cut:
    """How pieces (n,) are cut [in]: `rip` (n, 2) widths at their ends, NaN at full width; the rest (n,)."""

    rip: Array
    narrowest: Array
    run: Array
    skew: NDArray[np.bool_]


def turned(xy: Array, degrees: float) -> Array:
    """Points (n, 2) turned counter-clockwise about the origin."""
    a = math.radians(degrees)
    return np.asarray(xy @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]]))


def turn(shapes: Any, degrees: float) -> Any:
    """Geometries turned counter-clockwise about the origin."""
    return shapely.transform(shapes, lambda xy: turned(xy, degrees))


def read_cuts(pieces: NDArray[np.object_], y: Array, width: float) -> Cut:
    """The cuts of pieces (n,) of boards that lie between y (n,) and y + width [in].

    Widths at the ends are those between a piece's end cuts: a skew end alone is no rip.
    """
    bounds = shapely.bounds(pieces).reshape(-1, 4)
    run = bounds[:, 2] - bounds[:, 0]
    count = len(pieces)
    rip, narrowest, skew = np.full((count, 2), np.nan), np.full(count, float(width)), np.zeros(count, bool)
    # a long board may lack a notch that is little of its area
    odd = np.flatnonzero((shapely.area(pieces) < run * (width - FULL / 2)) | (shapely.get_num_coordinates(pieces) > 5))
    if len(odd):
        left, right, skew[odd] = _between_ends(pieces[odd], bounds[odd], width)
        across = _widths(pieces[odd], np.stack([left, (bounds[odd, 0] + bounds[odd, 2]) / 2, right], axis=1))
        ends = across[:, [0, 2]]
        narrowest[odd] = np.minimum(_narrowest(pieces[odd], left, right), ends.min(axis=1))
        edges = shapely.linestrings([[[(a, v), (b, v)] for v in (lo + 1e-6, lo + width - 1e-6)]
                                     for (a, _, b, _), lo in zip(bounds[odd], y[odd], strict=True)])
        kept = shapely.length(shapely.intersection(edges, pieces[odd][:, None])).min(axis=1)
        # the long edges are still there but for what the ends' skew takes of them
        whole = (kept >= right - left - 0.01 - 2 * TOUCH) & (across.min(axis=1) >= width - FULL)
        rip[odd[~whole]] = ends[~whole]
    return Cut(rip, narrowest, run, skew)


def _between_ends(pieces: NDArray[np.object_], bounds: Array, width: float) -> tuple[Array, Array, NDArray[np.bool_]]:
    """From where to where each piece runs between its end cuts (n,), and whether one of those is skew."""
    xy, owner = shapely.get_coordinates(shapely.get_exterior_ring(pieces), return_index=True)
    a, b = xy[:-1], xy[1:]
    same, owner = owner[:-1] == owner[1:], owner[:-1]
    ccw = shapely.is_ccw(shapely.get_exterior_ring(pieces))
    rise = (b[:, 1] - a[:, 1]) * np.where(ccw[owner], 1, -1)
    end = same & (np.abs(b[:, 1] - a[:, 1]) > RIP_SLOPE * np.abs(b[:, 0] - a[:, 0]))
    low, high = np.minimum(a[:, 0], b[:, 0]), np.maximum(a[:, 0], b[:, 0])
    reach = width / RIP_SLOPE + TOUCH  # what is further in is a notch
    left, right = bounds[:, 0].copy(), bounds[:, 2].copy()
    at_left = end & (rise < 0) & (high <= bounds[owner, 0] + reach)
    at_right = end & (rise > 0) & (low >= bounds[owner, 2] - reach)
    np.maximum.at(left, owner[at_left], high[at_left])
    np.minimum.at(right, owner[at_right], low[at_right])
    skew = np.zeros(len(pieces), bool)
    np.logical_or.at(skew, owner[at_left | at_right], (high - low)[at_left | at_right] > 0.1)
    middle, half = (bounds[:, 0] + bounds[:, 2]) / 2, (bounds[:, 2] - bounds[:, 0]) / 4
    none = right - left < TOUCH * 4  # all ends: a corner's scrap is read about its middle
    left = np.where(none, middle - half, left + TOUCH)
    return left, np.where(none, middle + half, right - TOUCH), skew


def _widths(pieces: NDArray[np.object_], x: Array) -> Array:
    """Widths of pieces (n,) at x (n, k) [in]."""
    across = shapely.linestrings(np.stack([np.stack([x, np.full_like(x, -1e5)], axis=-1),
                                           np.stack([x, np.full_like(x, 1e5)], axis=-1)], axis=-2))
    return np.asarray(shapely.length(shapely.intersection(across, pieces[:, None])))


def _narrowest(pieces: NDArray[np.object_], left: Array, right: Array) -> Array:
    """The narrowest strip of each piece between left and right: width turns only at corners, so it is read there."""
    xy, owner = shapely.get_coordinates(pieces, return_index=True)
    x = np.concatenate([xy[:, 0] - TOUCH, xy[:, 0] + TOUCH])
    owner = np.tile(owner, 2)
    inside = (x > left[owner]) & (x < right[owner])
    x, owner = x[inside], owner[inside]
    found = np.full(len(pieces), np.inf)
    if len(x):
        across = shapely.linestrings(np.stack([np.c_[x, np.full_like(x, -1e5)], np.c_[x, np.full_like(x, 1e5)]], 1))
        strips, of = shapely.get_parts(shapely.intersection(across, pieces[owner]), return_index=True)
        long = shapely.length(strips)
        np.minimum.at(found, owner[of][long > 0], long[long > 0])
    return found
