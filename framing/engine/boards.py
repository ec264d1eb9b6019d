"""Decking: every board piece on the deck's outline, its rips, and butt joints over joists.

Stage: supports <-> structure -> boards. Border courses lie mitred round the edge; inside them rows run along the
decking's direction, one board and one gap apart, from a start that leaves no strip under the least rip where that can
be had (`board_rows.py`). Boards along walls are cut to them, so that the gap at a wall out of square is even.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from framing.engine.board_checks import Laid, told
from framing.engine.board_joints import SHORTEST_PIECE, find_joints, nearest_rows
from framing.engine.board_pieces import Board, read_cuts, turn, turned
from framing.engine.board_rows import start_rows
from framing.engine.borders import lay_border
from framing.engine.checks import Check
from framing.engine.documents import Build
from framing.engine.layout import WIDEST_INSET, Deck, Line
from framing.engine.openings import STICK
from framing.engine.panels import Panel

__all__ = ["Board", "Decking", "lay_boards", "turned"]

Array = NDArray[np.float64]
Shapes = NDArray[np.object_]

SLIVER = 0.25  # a strip that is nowhere wider than this is left as gap [in]
SCRAP = 2.0  # a smaller piece, as in a sharp corner, is left out: no fixing holds it; a judgement [sq in]
CROSSES = 0.34  # a member carries a joint where it crosses the board at 20 degrees or more (sine)
BORDER_CROSSES = 0.7  # ... and a border's, at 45 degrees: nearer its way it has blocks of its own (sine)
SQUARE = 0.09  # joints over members nearer to square than 5 degrees are sawn square [dx/dy]
PANEL_SLACK = 1 / 8  # what a lift-out panel is shorter than the bay that it lies in [in]
NECK = 0.02  # what hangs together by less is two boards [in]
HAIR = 1.0  # what is narrower than a neck for longer than this is no wood [in]
ON_SEAT = STICK / 2 - 0.25  # a board that ends this far off a member's middle still has a seat to be fastened to [in]


@dataclass(frozen=True)
class Decking:
    """All boards and the way that those of the field run [degrees]."""

    boards: tuple[Board, ...]
    direction: float
    checks: tuple[Check, ...]


@dataclass(frozen=True)
class _Seats:
    """Members that boards cross, in the frame of the boards: `ends` (m, 2, 2), and dx/dy of each (m,)."""

    ends: Array
    slant: Array

    def at(self, low: Array, high: Array) -> Array:
        """Where each member crosses the middle of boards that lie from `low` to `high` (n,): x (n, m) [in].

        NaN where it does not reach over the middle half of the board.
        """
        ax, ay = self.ends[:, 0].T
        least, most = self.ends[:, :, 1].min(axis=1) - 1e-9, self.ends[:, :, 1].max(axis=1) + 1e-9
        y, quarter = (low + high) / 2, (high - low) / 4
        held = ((y - quarter)[:, None] >= least) & ((y + quarter)[:, None] <= most)
        return np.where(held, ax + (y[:, None] - ay) * self.slant, np.nan)


@dataclass(frozen=True)
class _Runs:
    """Stretches of rows to be cut into boards, boards along x: `parts` (n,), rows ascending, seats of each."""

    parts: Shapes
    row: NDArray[np.intp]
    y: Array  # of the row's lower edge (n,) [in]
    bounds: Array
    seats: list[Array] = field(repr=False)  # (k, 2) each: x and dx/dy of the members under the middle, x ascending


@dataclass(frozen=True)
class _Pieces:
    """What runs are cut into: shapes (p,), the run of each, which are panels; joints of each run."""

    shapes: Shapes
    of: NDArray[np.intp]
    panel: NDArray[np.bool_]
    joints: list[tuple[float, ...]]
    slack: float  # area that panels leave beside themselves [sq in]


def lay_boards(deck: Deck, lines: Sequence[Line], build: Build, direction: float, longest: float,
               panels: Sequence[Panel] = (), door: tuple[float, float] | None = None) -> Decking:
    """Boards along `direction` [degrees] over the members; none longer than `longest` [in].

    A panel takes whole rows, from joist to joist, so that its boards and those beside it all end on wood; a whole
    board lies along the wall of the `door` where the boards run with it. A bay between joists that no stick spans is
    left in one piece: the cutting plan then says that it is too long.
    """
    d, sticks = build.decking, sorted(v - build.saw.trim for v in build.decking.stock_lengths)
    pitch = d.width + d.gap
    border = lay_border(deck, d)
    net = turn(border.field, -direction)
    at_door = None if door is None else turned(np.array([door]), -direction)[0]
    start = start_rows(net, d.width, d.gap, at_door, d.least_rip)
    seats = _seats(lines, direction, ("joist", "edge"))

    runs, slivers = _rows(net, start.y, d.width, pitch, seats)
    bays = _bays(panels, direction, runs)
    pieces = _cut(runs, d.width, longest, sticks, bays)
    boards = _boards(pieces, runs, d.width, direction, "field", 0)
    for way in sorted({c.along for c in border.courses}):
        own = [c for c in border.courses if c.along == way]
        carried = _seats(lines, way, ("joist", "edge", "border"), BORDER_CROSSES)
        side = _runs(np.array([turn(c.shape, -way) for c in own], object), np.array([c.number for c in own]), carried)
        cut = _cut(side, d.width, longest, sticks, _bays(panels, way, side))
        boards += _boards(cut, side, d.width, way, "border", len(boards))
    y = _strips(net, start.y, d.width, pitch)
    gaps = shapely.box(net.bounds[0] - 1, y + d.width, net.bounds[2] + 1, y + pitch)
    bare = float(shapely.area(shapely.intersection(gaps, net)).sum()) + slivers + pieces.slack
    course = sum(c.shape.area for c in border.courses)
    laid = Laid(boards, deck.net.area, course + net.area - bare, start.thin,
                sum(len(j) for j in pieces.joints), _least_apart(pieces, runs))
    return Decking(tuple(boards), direction, (*border.checks, *told(laid, build)))


def _strips(net: BaseGeometry, start: float, width: float, pitch: float) -> Array:
    """Lower edges of the rows over `net`, and of the one below them (n,) [in]."""
    low, high = net.bounds[1], net.bounds[3]
    return start + pitch * np.arange(math.floor((low - start) / pitch) - 1, math.ceil((high - start) / pitch) + 1)


def _rows(net: BaseGeometry, start: float, width: float, pitch: float, seats: _Seats) -> tuple[_Runs, float]:
    """The stretches of every row that lie on the deck, and the area of those too thin to lay [sq in]."""
    y = _strips(net, start, width, pitch)
    strips = shapely.box(net.bounds[0] - 1, y, net.bounds[2] + 1, y + width)
    shapely.prepare(net)
    parts, row = shapely.get_parts(shapely.intersection(strips, net), return_index=True)
    keep = (shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 0)
    parts, row = _without_necks(parts[keep], row[keep])
    bounds = shapely.bounds(parts)
    wide = bounds[:, 3] - bounds[:, 1] > SLIVER
    slivers = float(shapely.area(parts[~wide]).sum())
    return _runs(parts[wide], row[wide], seats, y[row[wide]]), slivers


def _without_necks(parts: Shapes, row: NDArray[np.intp]) -> tuple[Shapes, NDArray[np.intp]]:
    """The parts, with those apart that hang together by a hair, as beside an obstacle that a whole row ends at, and
    without the hair where nothing hangs on it."""
    odd = np.flatnonzero(shapely.get_num_coordinates(parts) > 5)
    opened = shapely.buffer(shapely.buffer(parts[odd], -NECK / 2, join_style="mitre"), NECK / 2, join_style="mitre")
    hairy = shapely.hausdorff_distance(parts[odd], opened) > HAIR
    split = (shapely.get_num_geometries(opened) > 1) | (hairy & ~shapely.is_empty(opened))
    pieces, of = shapely.get_parts(opened[split], return_index=True)
    kept = np.delete(np.arange(len(parts)), odd[split])
    return np.r_[parts[kept], pieces], np.r_[row[kept], row[odd[split]][of]]


def _runs(parts: Shapes, row: NDArray[np.intp], seats: _Seats, y: Array | None = None) -> _Runs:
    """Parts in the order of their rows, each with the seats under its middle."""
    bounds = shapely.bounds(parts).reshape(-1, 4)
    order = np.lexsort((bounds[:, 0], row))
    parts, row, bounds = parts[order], row[order], bounds[order]
    x = seats.at(bounds[:, 1], bounds[:, 3])
    own = []
    for places in x:
        here = np.flatnonzero(np.isfinite(places))
        here = here[np.argsort(places[here], kind="stable")]
        own.append(np.c_[places[here], seats.slant[here]])
    return _Runs(parts, row, bounds[:, 1] if y is None else y[order], bounds, own)


def _seats(lines: Sequence[Line], direction: float, roles: Sequence[str], crosses: float = CROSSES) -> _Seats:
    """The members of some roles that cross boards along `direction`.

    A joist's seat runs on over the rim that it butts against, a block's over the edge joist that it hangs on: a border
    board lies along that.
    """
    found = np.array([n.at(np.array([-v[0], n.length + v[1]])) for n, v in zip(lines, _beyond(lines), strict=True)
                      if n.role in roles])
    if not len(found):
        return _Seats(np.zeros((0, 2, 2)), np.zeros(0))
    ends = turned(found.reshape(-1, 2), -direction).reshape(-1, 2, 2)
    run = ends[:, 1] - ends[:, 0]
    across = np.abs(run[:, 1]) > crosses * np.hypot(*run.T)
    ends, run = ends[across], run[across]
    return _Seats(ends, run[:, 0] / run[:, 1])


def _beyond(lines: Sequence[Line]) -> Array:
    """How far the seat that each member gives runs on past its two ends (n, 2) [in]."""
    over = np.array([[STICK if n.role in ("joist", "edge") else 0.0] * 2 for n in lines])
    of = np.array([k for k, n in enumerate(lines) if n.role == "border"], int)
    if len(of):
        edges = shapely.union_all([n.shape for n in lines if n.role == "edge"])
        ends = shapely.points(np.array([[lines[k].start, lines[k].end] for k in of]))
        over[of] = np.where(shapely.distance(ends, edges) < STICK / 2 + 0.1, WIDEST_INSET + STICK, 0.0)
    return over


def _cut(runs: _Runs, width: float, longest: float, sticks: Sequence[float], bays: list[list[Array]]) -> _Pieces:
    """The runs cut at their panels and joints."""
    known: dict[tuple[object, ...], tuple[float, ...]] = {}
    joints: list[tuple[float, ...]] = []
    before: tuple[float, ...] = ()
    here: tuple[float, ...] = ()
    last = -1
    cells: list[tuple[int, float, float, float, float, bool]] = []
    for i, (a, _, b, _) in enumerate(runs.bounds.tolist()):
        if (r := int(runs.row[i])) != last:
            before, here, last = (here if r == last + 1 else ()), (), r
        seats, slants = runs.seats[i].T
        skew = np.where(np.abs(slants) > SQUARE, slants, 0.0)
        reach = longest - width * float(np.abs(skew).max(initial=0.0))
        ends = [a, *(float(v) for bay in bays[i] for v in bay), b]
        own: list[float] = []
        for k, (p, q) in enumerate(zip(ends, ends[1:], strict=False)):
            if q - p < 1e-6:
                continue
            panel = k % 2 == 1
            found: tuple[float, ...] = ()
            if not panel and q - p > (longest if (p, q) == (a, b) else reach):  # skew cuts take some of the stick
                key = (round(p, 3), round(q, 3), seats.round(3).tobytes(), before, r % 2)
                if key not in known:
                    known[key] = find_joints(p, q, seats, longest=reach, before=before, sticks=sticks,
                                             lean=1 if r % 2 else -1)
                found = known[key]
            own += found
            cuts = [p, *found, q]
            cells += [(i, c, d, _slant(seats, skew, c), _slant(seats, skew, d), panel)
                      for c, d in zip(cuts, cuts[1:], strict=False)]
        here = (*here, *own)
        joints.append(tuple(own))
    return _sawn(runs, cells, joints)


def _slant(seats: Array, skew: Array, x: float) -> float:
    """dx/dy of the cut at x: along the member that it lies over, square over none."""
    at = int(np.searchsorted(seats, x - 1e-9))
    return float(skew[at]) if at < len(seats) and abs(seats[at] - x) < 1e-6 else 0.0


def _sawn(runs: _Runs, cells: list[tuple[int, float, float, float, float, bool]],
          joints: list[tuple[float, ...]]) -> _Pieces:
    """The pieces of runs that cells (run, from, to, dx/dy there and there, panel) cut them into."""
    if not cells:
        return _Pieces(np.zeros(0, object), np.zeros(0, np.intp), np.zeros(0, bool), joints, 0.0)
    of = np.array([c[0] for c in cells])
    left, right, tilt_left, tilt_right = np.array([c[1:5] for c in cells]).T
    panel = np.array([c[5] for c in cells])
    a, low, b, high = runs.bounds[of].T
    at_a, at_b = left <= a + 1e-9, right >= b - 1e-9
    # a panel is held clear of the boards beside it, so that it lifts
    slack = np.where(panel, PANEL_SLACK / 2, 0.0)
    left, right = left + slack * ~at_a, right - slack * ~at_b
    shapes = runs.parts[of].copy()
    sawn = np.flatnonzero(~(at_a & at_b))
    if len(sawn):
        left, right = np.where(at_a, a - 1e3, left)[sawn], np.where(at_b, b + 1e3, right)[sawn]
        half = ((high - low) / 2 + 1)[sawn]
        middle = ((high + low) / 2)[sawn]
        tl, tr = tilt_left[sawn] * half, tilt_right[sawn] * half
        ring = np.stack([np.c_[left - tl, middle - half], np.c_[right - tr, middle - half],
                         np.c_[right + tr, middle + half], np.c_[left + tl, middle + half]], axis=1)
        shapes[sawn] = shapely.intersection(shapes[sawn], shapely.polygons(ring))
    pieces, cell = shapely.get_parts(shapes, return_index=True)
    kept = (shapely.get_type_id(pieces) == 3) & (shapely.area(pieces) > SCRAP)
    lost = float((slack * (~at_a * 1.0 + ~at_b) * (high - low)).sum())
    return _Pieces(pieces[kept], of[cell[kept]], panel[cell[kept]], joints, lost)


def _boards(pieces: _Pieces, runs: _Runs, width: float, direction: float, kind: str, named: int) -> list[Board]:
    """The pieces as boards in the survey's frame, numbered on from `named`; each kind has its letter."""
    cuts = read_cuts(pieces.shapes, runs.y[pieces.of], width)
    shapes = turn(pieces.shapes, direction)
    kinds = np.where(pieces.panel, "panel", kind)
    letters = {"field": "B", "panel": "P", "border": "C"}
    return [Board(f"{letters[k]}{named + i}", str(k), shape, float(run),
                  None if math.isnan(rip[0]) else (float(rip[0]), float(rip[1])), int(skew), float(narrow), direction)
            for i, (k, shape, run, rip, skew, narrow) in
            enumerate(zip(kinds, shapes, cuts.run, cuts.rip, cuts.skew, cuts.narrowest, strict=True), 1)]


def _least_apart(pieces: _Pieces, runs: _Runs) -> float:
    """How many joists the nearest joints of neighbouring rows are apart; infinite where no two have joints."""
    by_row: dict[int, list[int]] = {}
    for i, own in enumerate(pieces.joints):
        if own:
            by_row.setdefault(int(runs.row[i]), []).append(i)
    pairs = {(pieces.joints[i], pieces.joints[k]): runs.seats[k][:, 0]
             for r, here in by_row.items() for i in here for k in by_row.get(r + 1, ())}
    return min((nearest_rows(one, other, seats) for (one, other), seats in pairs.items()), default=math.inf)


def _bays(panels: Sequence[Panel], direction: float, runs: _Runs) -> list[list[Array]]:
    """For each run the stretches (from, to) that lift out as panels, in order."""
    bounds = runs.bounds
    bays: list[list[Array]] = [[] for _ in bounds]
    for panel in panels:
        x, y = turned(np.array([panel.at]), -direction)[0]
        long, across = panel.size if abs(math.cos(math.radians(direction))) > 0.7 else panel.size[::-1]
        over = ((bounds[:, 1] < y + across / 2) & (bounds[:, 3] > y - across / 2)
                & (bounds[:, 0] < x + long / 2) & (bounds[:, 2] > x - long / 2))
        for i in np.flatnonzero(over):
            bays[int(i)].append(_bay(x, long, bounds[i, 0], bounds[i, 2], runs.seats[int(i)][:, 0]))
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
