"""Where joists cannot run or stand: headers round obstacles, rows moved off drains, ends headed off to neighbours.

A part of the layout stage, in its turned frame: joists run along x, lines are (role, centre line).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from framing.engine.keep_outs import END_PAD, Ground, end_reach
from framing.reference import clearances
from framing.reference.lumber import DRESSED

Array = NDArray[np.float64]
Lines = list[tuple[str, LineString]]

STICK = DRESSED["2x4"][0]  # thickness of 2x stock, whatever its depth [in]
LEAST_JOIST = 18.0  # shorter runs are blocked between rim and edge joist instead of padded [in]
LEAST_PIECE = 3.0  # shorter runs are left out [in]
LONGEST_STUB = 12.0  # a header runs on to the deck's side no further past its stub than this, a judgement [in]
LONGEST_TAIL = 36.0  # boards are not hung on rim and header over more of a joist than this [in]
NEARLY_ALONG = 2.0  # a valley this near the joists' way would lie under one of them for its whole length [degrees]
WIDEST_GROUP = 24.0  # ends of neighbours this far out of line are headed off by headers of their own [in]


@dataclass(frozen=True)
class Footing:
    """Where pads may stand, the smallest at hand, and how far wood may run past its last pad.

    `overhang` takes places (n, 2) in the survey's frame and gives (n,) [in].
    """

    ground: Ground
    size: tuple[float, float]
    overhang: Callable[[Array], Array]


def header_along(at: Array, to: Array, rows: Array, body: Polygon, stub: float) -> shapely.Geometry:
    """The header along an obstacle's side from `at` to `to` (2,): on past it to the first whole joist each way.

    Where the deck ends before there is one the header runs on to what frames the deck's side there, where that is not
    far off, else by `stub` [in].
    """
    along = (to - at) / np.hypot(*(to - at))
    ends = []
    for corner, way in ((at, -along), (to, along)):
        reach = (rows - corner[1]) / way[1]
        reach = np.sort(reach[reach > STICK / abs(way[1])])
        places = corner + reach[:, None] * way
        held = shapely.contains_xy(body, places[:, 0], places[:, 1])
        if held.any():
            far = reach[held][0] - STICK / 2 / abs(way[1])  # to the face of that joist
        else:
            side = _to_side(corner, way, body)
            far = side if side < stub + LONGEST_STUB else stub
        ends.append(corner + way * far)
    return LineString(ends).intersection(body)


def _to_side(corner: Array, way: Array, body: Polygon) -> float:
    """How far the deck runs on from a place in it [in]."""
    left = LineString([corner, corner + 1e3 * way]).intersection(body)
    first = min(getattr(left, "geoms", [left]), key=lambda part: part.distance(shapely.Point(corner)), default=left)
    return float(np.hypot(*(shapely.get_coordinates(first) - corner).T).max(initial=0.0))


def clear_of(bowls: Sequence[Polygon], rows: Array) -> Array:
    """The rows, each that would lie over a bowl given way to one on either side of it."""
    for bowl in bowls:
        _, low, _, high = bowl.bounds
        low, high = low - STICK / 2, high + STICK / 2
        over = (rows > low + 1e-9) & (rows < high - 1e-9)
        if over.any():
            near = (np.abs(rows - low) < STICK) | (np.abs(rows - high) < STICK)
            rows = np.sort(np.r_[rows[~over & ~near], low, high])
    return rows


def valleys_along(valleys: Sequence[LineString], pad: tuple[float, float], spacing: float,
                  joist: float) -> list[Polygon]:
    """The strips along valleys that run with the joists (at `joist` degrees), where no pad of a joist could stand.

    None where two joists astride of it would stand further apart than their spacing [in].
    """
    clear = max(pad) / 2 + clearances.VALLEY
    strips = []
    for valley in valleys:
        (ax, ay), *_, (bx, by) = valley.coords
        turn = (np.degrees(np.arctan2(by - ay, bx - ax)) - joist + 90) % 180 - 90
        drift = valley.length * abs(np.sin(np.radians(turn)))  # across the joists from end to end
        if abs(turn) < NEARLY_ALONG and 2 * clear + drift + STICK <= spacing:
            strips.append(valley.buffer(clear))
    return strips


def head_off(lines: Lines, footing: Footing, body: Polygon, turn: Callable[[Array], Array]) -> Lines:
    """The lines, with every joist end that would run too far past its last pad headed off to its neighbours.

    The joist ends at a header between the joists beside it; from there a short piece carries the boards to the rim.
    `turn` takes points (n, 2) to the survey's frame. An end whose neighbours do not reach far enough is left.
    """
    for end in (0, 1):
        joists = [i for i, (role, _) in enumerate(lines) if role == "joist"]
        if not joists:
            return lines
        ends = np.array([_rising(lines[i][1]) for i in joists])
        places = turn(ends.reshape(-1, 2)).reshape(-1, 2, 2)
        reach = end_reach(places, footing.ground, footing.size, min(END_PAD, footing.size[0] / 2))[:, end]
        long = ends[:, 1, 0] - ends[:, 0, 0]
        off = (reach > footing.overhang(places[:, end]) + 1e-9) & (reach < np.minimum(long - LEAST_JOIST, LONGEST_TAIL))
        sign = 1.0 if end == 0 else -1.0
        # to the header's middle: its inner face lies where the joist's pad leaves the joist its usual end
        back = reach - max(END_PAD, footing.size[0] / 2) - STICK / 2
        off &= back > LEAST_PIECE + STICK / 2
        at = ends[:, end, 0] + sign * back
        for group in _groups(np.flatnonzero(off), ends[:, 0, 1], ends[:, end, 0]):
            x = float((at[group] * sign).max() * sign)
            others = [line for k, (role, line) in enumerate(lines) if role in ("joist", "edge")
                      and k not in {joists[g] for g in group}]
            header = _between_neighbours(x, ends[group, 0, 1], others)
            if header is None or not body.contains(header):
                continue
            lines = [*lines, ("header", header)]
            for g in group:
                y, face = float(ends[g, 0, 1]), x + sign * STICK / 2
                near, far = float(ends[g, end, 0]), float(ends[g, 1 - end, 0])
                rest = LineString([(face, y), (far, y)])
                lines[joists[g]] = ("joist" if rest.length >= LEAST_JOIST else "blocking", rest)
                tail = LineString([(near, y), (x - sign * STICK / 2, y)])
                if tail.length >= LEAST_PIECE:
                    lines.append(("blocking", tail))
    return lines


def _rising(line: LineString) -> list[tuple[float, ...]]:
    """Both ends of a line, the one of lesser x first."""
    return sorted(line.coords)


def _groups(which: NDArray[np.intp], y: Array, x: Array) -> list[NDArray[np.intp]]:
    """Neighbours among the joists `which`: next to each other, ends about in line."""
    rank = np.argsort(np.argsort(y, kind="stable"), kind="stable")
    which = which[np.argsort(rank[which])]
    if not len(which):
        return []
    apart = (np.diff(rank[which]) > 1) | (np.abs(np.diff(x[which])) > WIDEST_GROUP)
    return np.split(which, np.flatnonzero(apart) + 1)


def _between_neighbours(x: float, y: Array, others: Sequence[LineString]) -> LineString | None:
    """The header at x across rows y, from the face of the nearest member below to that above; None without both."""
    crossing = []
    for line in others:
        (ax, ay), (bx, by) = _rising(line)
        if ax <= x <= bx:
            crossing.append(ay + (by - ay) * (x - ax) / max(bx - ax, 1e-9))
    at = np.array(crossing)
    below, above = at[at < y.min() - STICK], at[at > y.max() + STICK]
    if not (len(below) and len(above)):
        return None
    return LineString([(x, below.max() + STICK / 2), (x, above.min() - STICK / 2)])
