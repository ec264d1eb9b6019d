"""Decking: every board piece on the deck's outline, its rips, and butt joints over joists.

Stage: supports <-> structure -> boards. Rows run along the decking's direction, one board and one gap apart; the
start is shifted so that no strip along a parallel side is narrower than the least rip where that can be had.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon, STRtree, box

from framing.engine import length
from framing.engine.checks import Check, check
from framing.engine.documents import Build
from framing.engine.layout import Deck, Line
from framing.engine.openings import STICK
from framing.engine.panels import Panel
from framing.engine.roof import ring

Array = NDArray[np.float64]

LEAST_RIP = 1.5  # no strip narrower than this where the outline leaves a choice [in]; common practice
SHORTEST_PIECE = 12.0  # no joint nearer the end of a run, where sticks are long enough [in]
SLIVER = 0.25  # a strip that is nowhere wider than this is left as gap [in]
CROSSES = 0.34  # a member carries a joint where it crosses the board at 20 degrees or more (sine)
PANEL_SLACK = 1 / 8  # what a lift-out panel is shorter than the bay that it lies in [in]
JOINT_APART = 2  # joints of neighbouring rows keep this many joists apart where they can


@dataclass(frozen=True)
class Board:
    """One piece of board: `polygon` in plan [in], `length` along its run [in], `rip` widths at both ends or None."""

    id: str
    kind: str
    polygon: Polygon
    length: float
    rip: tuple[float, float] | None
    skew_ends: int

    def as_json(self) -> dict[str, Any]:
        return {"id": self.id, "kind": self.kind, "polygon": ring(self.polygon), "length": self.length,
                "rip": list(self.rip) if self.rip else None}


@dataclass(frozen=True)
class Decking:
    """All boards and the way they run [degrees]."""

    boards: tuple[Board, ...]
    direction: float
    checks: tuple[Check, ...]


def turned(xy: Array, degrees: float) -> Array:
    """Points (n, 2) turned counter-clockwise about the origin."""
    a = math.radians(degrees)
    return np.asarray(xy @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]]))


def lay_boards(deck: Deck, lines: Sequence[Line], build: Build, direction: float, longest: float,
               panels: Sequence[Panel] = ()) -> Decking:
    """Boards along `direction` [degrees] over the members; none longer than `longest` [in].

    A panel takes whole rows, from joist to joist, so that its boards and those beside it all end on wood.
    A bay between joists that no stick spans is left in one piece: the cutting plan then says that it is too long.
    """
    net = shapely.transform(deck.net, lambda xy: turned(xy, -direction))
    members = [shapely.transform(_over_rims(n), lambda xy: turned(xy, -direction)) for n in lines
               if n.role in ("joist", "edge") and abs(math.sin(math.radians(_bearing(n) - direction))) > CROSSES]
    width, pitch = build.decking.width, build.decking.width + build.decking.gap
    x0, low, x1, high = net.bounds
    start, narrowest = _start(net, width, build.decking.gap)
    rows = np.arange(math.floor((low - start) / pitch), math.ceil((high - start) / pitch) + 1)
    y = start + rows * pitch
    y = y[(y + width > low) & (y < high)]

    strips = shapely.box(x0 - 1, y, x1 + 1, y + width)
    parts, row = shapely.get_parts(shapely.intersection(strips, net), return_index=True)
    keep = (shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 0)
    parts, row = parts[keep], row[keep]
    bounds = shapely.bounds(parts)
    wide = bounds[:, 3] - bounds[:, 1] > SLIVER
    parts, row, bounds = parts[wide], row[wide], bounds[wide]

    crossing = _crossings(members, (bounds[:, 1] + bounds[:, 3]) / 2, x0, x1)
    boards: list[Board] = []
    joints_before: list[float] = []
    joints_here: list[float] = []
    sticks = sorted(v - build.saw.trim for v in build.decking.stock_lengths)
    bays = _bays(panels, direction, bounds, crossing)
    last_row = -1
    for i, (part, r, (a, _, b, _)) in enumerate(zip(parts, row, bounds, strict=True)):
        if r != last_row:
            joints_before, joints_here, last_row = (joints_here if r == last_row + 1 else []), [], int(r)
        ends = [a, *(v for bay in bays[i] for v in bay), b]
        for k, (p, q) in enumerate(zip(ends, ends[1:], strict=False)):
            if q - p < 1e-6:
                continue
            panel = k % 2 == 1
            joints = [] if panel else _joints(p, q, longest, crossing[i], joints_before, sticks)
            joints_here = [*joints_here, *joints]
            cuts = [p, *joints, q]
            slack = PANEL_SLACK / 2 if panel else 0.0  # a panel is held clear of the boards beside it, so that it lifts
            for c, d in zip(cuts, cuts[1:], strict=False):
                left, right = c + slack * (c > a), d - slack * (d < b)
                piece = part if (left, right) == (a, b) else part.intersection(
                    box(left, y[r] - 1, right, y[r] + width + 1))
                for one in getattr(piece, "geoms", [piece]):
                    if one.geom_type == "Polygon" and one.area > 0.5:
                        boards.append(_board(f"{'P' if panel else 'B'}{len(boards) + 1}", one, y[r], width, direction,
                                             "panel" if panel else "field"))
    return Decking(tuple(boards), direction, tuple(_checks(boards, net, build, narrowest)))


def _bays(panels: Sequence[Panel], direction: float, bounds: Array, crossing: Sequence[Array]) -> list[list[Array]]:
    """For each run (bounds (n, 4) in the turned frame) the stretches (from, to) that lift out as panels, in order."""
    bays: list[list[Array]] = [[] for _ in bounds]
    for panel in panels:
        x, y = turned(np.array([panel.at]), -direction)[0]
        long, across = panel.size if abs(math.cos(math.radians(direction))) > 0.7 else panel.size[::-1]
        over = ((bounds[:, 1] < y + across / 2) & (bounds[:, 3] > y - across / 2)
                & (bounds[:, 0] < x + long / 2) & (bounds[:, 2] > x - long / 2))
        for i in np.flatnonzero(over):
            bays[int(i)].append(_bay(x, long, bounds[i, 0], bounds[i, 2], crossing[int(i)]))
    return [_merged(sorted(b, key=lambda v: float(v[0]))) for b in bays]


def _bay(x: float, size: float, a: float, b: float, joists: Array) -> Array:
    """From joist to joist about x, nearest to the size asked; the run's own end where less than a board is left."""
    x = float(np.clip(x, a, b))
    seats = joists[(joists >= a + SHORTEST_PIECE) & (joists <= b - SHORTEST_PIECE)]
    left, right = np.r_[a, seats[seats <= x]], np.r_[seats[seats >= x], b]
    run = right[None, :] - left[:, None]
    # at an edge of the deck the panel is cut to the outline: half of it may be all there is
    off = np.abs(run - size) + np.abs((right[None, :] + left[:, None]) / 2 - x) / 2 + 1e6 * (run < size / 2)
    i, j = np.unravel_index(int(np.argmin(np.round(off, 6))), off.shape)
    return np.array([left[i], right[j]])


def _merged(bays: Sequence[Array]) -> list[Array]:
    """Stretches that meet or overlap, as one."""
    kept: list[Array] = []
    for bay in bays:
        if kept and bay[0] <= kept[-1][1] + SHORTEST_PIECE:
            kept[-1] = np.array([kept[-1][0], max(kept[-1][1], bay[1])])
        else:
            kept.append(bay)
    return kept


def _bearing(line: Line) -> float:
    """Direction of a member in plan [degrees]."""
    return math.degrees(math.atan2(line.end[1] - line.start[1], line.end[0] - line.start[0]))


def _over_rims(line: Line) -> LineString:
    """Where a board end is carried by a joist or edge joist: the seat runs on over the rim that it butts against."""
    return LineString(line.at(np.array([-STICK, line.length + STICK])))


def _start(net: Polygon, width: float, gap: float) -> tuple[float, float]:
    """Where the first row starts, and the narrowest strip that leaves along sides that run with the boards [in].

    The first board is kept whole against the lowest such side unless that leaves a strip under the least rip
    elsewhere; then the shift that leaves the widest narrowest strip is taken.
    """
    pitch = width + gap
    xy = np.concatenate([np.array(r.coords) for r in [shapely.geometry.polygon.orient(net).exterior,
                                                      *shapely.geometry.polygon.orient(net).interiors]])
    run = np.diff(xy, axis=0)
    level = (np.abs(run[:, 1]) <= 0.05) & (np.abs(run[:, 0]) > width)
    sides = xy[:-1][level][:, 1]
    deck_above = run[level][:, 0] > 0  # the deck lies on the left of its ring
    low = float(net.bounds[1])
    if not len(sides):
        return low, width
    shifts = np.r_[0.0, np.arange(0, pitch, pitch / 64)]
    # how far into its row each side falls; what is left of that board is the strip along the side
    into = np.mod(sides[None, :] - (low + shifts[:, None]), pitch)
    above = np.where(into < width, width - into, width)
    below = np.where(into > width, width, into)
    left = np.where(deck_above, above, np.where(below < 1e-6, width, below))
    narrowest = left.min(axis=1)
    best = 0 if narrowest[0] >= LEAST_RIP else int(np.argmax(np.round(narrowest, 3)))
    return low + float(shifts[best]) - (pitch if shifts[best] > 0 else 0), float(narrowest[best])


def _crossings(members: Sequence[LineString], y: Array, x0: float, x1: float) -> list[Array]:
    """For each run's middle line at y (n,), where members cross it, x sorted [in]."""
    middle = shapely.linestrings(np.stack([np.c_[np.full_like(y, x0 - 1), y], np.c_[np.full_like(y, x1 + 1), y]], 1))
    tree = STRtree(members)
    pairs = tree.query(middle, predicate="intersects")
    points = shapely.intersection(middle[pairs[0]], np.array(members, object)[pairs[1]])
    x = np.where(shapely.get_type_id(points) == 0, shapely.get_x(points), np.nan)
    return [np.sort(x[(pairs[0] == i) & np.isfinite(x)]) for i in range(len(y))]


def _joints(a: float, b: float, longest: float, joists: Array, before: Sequence[float],
            sticks: Sequence[float]) -> list[float]:
    """Butt joints of one run from a to b, over joists: fewest pieces, clear of the row before's, least wood bought."""
    if b - a <= longest + 1e-6:
        return []
    short = min(SHORTEST_PIECE, longest / 2)
    inside = joists[(joists > a + short) & (joists < b - short)]
    spacing = float(np.median(np.diff(joists))) if len(joists) > 1 else 0.0
    places = np.r_[a, inside, b]
    cost = np.full(len(places), np.inf)
    came = np.zeros(len(places), int)
    cost[0] = 0
    near = np.array([any(abs(p - q) < JOINT_APART * spacing + 1 for q in before) for p in places])
    for j in range(1, len(places)):
        run = places[j] - places[:j]
        bought = np.array([next((s for s in sticks if s >= r - 1e-6), sticks[-1]) for r in run])
        # a bay wider than any stick is taken only where nothing else is left; the cutting plan then names it
        step = cost[:j] + np.where(run <= longest + 1e-6, 1000 + bought, 1e6 * run) + (500 if near[j] else 0)
        came[j] = int(np.argmin(step))
        cost[j] = step[came[j]]
    joints = []
    j = int(came[-1])
    while j > 0:
        joints.append(float(places[j]))
        j = int(came[j])
    return joints[::-1]


def _board(name: str, piece: Polygon, y: float, width: float, direction: float, kind: str) -> Board:
    """One piece with its rip read off near both ends, given back in the survey's frame."""
    a, low, b, high = piece.bounds
    run = b - a
    inset = min(width, run / 4)
    ends = shapely.linestrings([[(x, low - 1), (x, high + 1)] for x in (a + inset, b - inset)])
    across = shapely.length(shapely.intersection(ends, piece))
    # the share of both long edges that is still there: square or skew ends leave it, a rip does not
    edges = shapely.linestrings([[(a, v), (b, v)] for v in (y + 1e-6, y + width - 1e-6)])
    kept = shapely.length(shapely.intersection(edges, piece))
    slant = _slant(piece, y, width)
    whole = bool((kept >= run - slant - 0.01).all()) and bool((across >= width - 0.02).all())
    rip = None if whole else (float(across[0]), float(across[1]))
    shape = shapely.transform(piece, lambda xy: turned(xy, direction))
    return Board(name, kind, shape, float(run), rip, int(slant > 0.1))


def _slant(piece: Polygon, y: float, width: float) -> float:
    """How much of the run its two ends' skew takes up together [in]: at most what a 45 degree end does, each."""
    xy = np.array(piece.exterior.coords)
    run = np.diff(xy, axis=0)
    end = np.abs(run[:, 1]) > np.abs(run[:, 0]) * 0.5
    return float(np.minimum(np.abs(run[end][:, 0]), width).sum())


def _checks(boards: Sequence[Board], net: Polygon, build: Build, narrowest: float) -> list[Check]:
    found = []
    thin = [b for b in boards if b.rip and min(b.rip) < LEAST_RIP - 1e-6]
    if thin:
        worst = min(thin, key=lambda b: min(b.rip or (0.0,)))
        found.append(check("feather-edge", "caution", value=min(worst.rip or (0.0,)), limit=LEAST_RIP, where=worst.id,
                           count=len(thin), least=length.write(LEAST_RIP)))
    else:
        found.append(check("feather-edge", "ok", value=min((min(b.rip) for b in boards if b.rip),
                                                            default=build.decking.width),
                           limit=LEAST_RIP, where="decking", count=0, least=length.write(LEAST_RIP)))
    cover = sum(b.polygon.area for b in boards) / net.area
    asked = build.decking.width / (build.decking.width + build.decking.gap)
    found.append(check("cover", "ok", value=cover, limit=asked, unit="C62", where="decking"))
    return found
