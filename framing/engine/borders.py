"""Border courses: boards mitred round the deck's edge, the field inside them, and the wood that carries both.

Two parts: `border_lines` belongs to the layout stage and adds members of role "border", hung between members that
stand on pads; `lay_border` belongs to the boards stage.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from framing.engine.checks import Check, check
from framing.engine.documents import Build, Decking
from framing.engine.layout import Deck, Line
from framing.engine.openings import LEAST_PIECE, STICK

Array = NDArray[np.float64]

SHARPEST_MITRE = 20.0  # no corner that a survey may have is cut off [times the inset]
ALONG_JOISTS = 45.0  # a border nearer the joists' way than this is carried by blocks between them [degrees]
ALONG_BOARDS = 5.0  # a side nearer the boards' way rips them and ends none [degrees]
ON_JOIST = 0.25  # a seam this near a joist's middle leaves both boards a seat on it [in]; a judgement
BESIDE = 8.0  # a member this near a seam's way is doubled and not crossed [degrees]
TOUCH = 0.05  # [in]
OUT_OVER = 6.0  # a piece that hangs at one end only reaches no further [in]
SMALLEST = 1.0  # a smaller shape is no board [sq in]
NAMED = 6  # bare places that are told one by one


@dataclass(frozen=True)
class Course:
    """The boards of one course along one side: outermost course 1; `along` [degrees]; `shape` mitred at both ends."""

    number: int
    along: float
    shape: Polygon


@dataclass(frozen=True)
class Border:
    """Border courses as they fit, and the field that is left inside them and their gap."""

    courses: tuple[Course, ...]
    laid: int
    field: BaseGeometry
    checks: tuple[Check, ...] = ()


def inset(outline: BaseGeometry, by: float) -> BaseGeometry:
    """The outline with every side set in [in], mitred; empty where nothing is left."""
    return outline.buffer(-by, join_style="mitre", mitre_limit=SHARPEST_MITRE) if by else outline


def lay_border(deck: Deck, decking: Decking) -> Border:
    """The border courses that the build asks for, one board and one gap each, round the deck's outline.

    Obstacles cut them. Where a side is too short to keep all courses the boards of its corner butt there. As many
    courses are laid as leave a field inside them; fewer than asked is told.
    """
    width, pitch, asked = decking.width, decking.width + decking.gap, decking.border_courses
    if not asked:
        return Border((), 0, deck.net)
    courses: list[Course] = []
    laid = 0
    for k in range(asked):
        outer, inner, rest = (inset(deck.outline, k * pitch + v) for v in (0.0, width, pitch))
        if rest.intersection(deck.net).area < 144:
            break
        laid += 1
        for ring in (p for p in shapely.get_parts(outer) if p.geom_type == "Polygon"):
            for along, shape in _sides_of(ring, inner, width):
                parts = shapely.get_parts(shape.intersection(deck.net))
                courses += [Course(k + 1, along, p) for p in parts if p.geom_type == "Polygon" and p.area > SMALLEST]
    field = inset(deck.outline, laid * pitch).intersection(deck.net)
    told = check("border-courses", "note" if laid == asked else "caution", value=laid, limit=asked, unit="EA",
                 where="decking")
    return Border(tuple(courses), laid, field, (told,))


def _sides_of(ring: Polygon, inner: BaseGeometry, width: float) -> Iterator[tuple[float, BaseGeometry]]:
    """(direction [degrees], board) along each side of a ring: mitred, or butted where a side runs out."""
    corners, along = _corners(ring)
    after = np.roll(corners, -1, axis=0)
    within = _set_in(corners, along, width)
    quads = shapely.polygons(np.stack([corners, after, np.roll(within, -1, axis=0), within], axis=1))
    way = np.degrees(np.arctan2(along[:, 1], along[:, 0]))
    course = ring.difference(inner)
    mitred = shapely.is_valid(quads).all() and abs(shapely.area(quads).sum() - course.area) < 0.1
    if mitred and abs(shapely.area(shapely.union_all(quads)) - course.area) < 0.1:
        yield from zip(way.tolist(), quads, strict=True)
        return
    for k in np.argsort(-np.hypot(*(after - corners).T), kind="stable"):
        n = np.array([-along[k, 1], along[k, 0]]) * width
        reach = along[k] * width * 2
        strip = Polygon([corners[k] - reach, after[k] + reach, after[k] + reach + n, corners[k] - reach + n])
        board = course.intersection(strip)
        course = course.difference(strip)
        for part in shapely.get_parts(board):
            yield float(way[k]), part


def _corners(ring: Polygon) -> tuple[Array, Array]:
    """Corners (n, 2) counter-clockwise and the unit vector (n, 2) of the side that starts at each."""
    xy = shapely.get_coordinates(shapely.geometry.polygon.orient(ring).exterior)[:-1]
    run = np.roll(xy, -1, axis=0) - xy
    long = np.hypot(*run.T)
    return xy, run / np.maximum(long, 1e-9)[:, None]


def _set_in(corners: Array, along: Array, by: float) -> Array:
    """Where each corner (n, 2) comes to when both its sides are set in [in]."""
    before = np.roll(along, 1, axis=0)
    n, n_before = (np.column_stack([-v[:, 1], v[:, 0]]) * by for v in (along, before))
    cross = before[:, 0] * along[:, 1] - before[:, 1] * along[:, 0]
    apart = n - n_before
    t = (apart[:, 0] * along[:, 1] - apart[:, 1] * along[:, 0]) / np.where(np.abs(cross) < 1e-6, np.inf, cross)
    return np.asarray(corners + n_before + before * t[:, None])


# --- the wood under it


def border_lines(deck: Deck, lines: Sequence[Line], build: Build, boards: float) -> tuple[list[Line], list[Check]]:
    """Members of role "border" that carry the border courses and the field boards' ends at them, and what stays bare.

    Where a border runs with the joists, blocks hang square between edge joist and joists, no further apart than the
    joists' spacing; under the seam between border and field a piece hangs from block to block, or from joist to joist
    where joists cross the seam. A seam beside a joist has a piece alongside it. `boards` is their direction [degrees].
    """
    laid = lay_border(deck, build.decking).laid
    joist = next((n for n in lines if n.role == "joist"), None)
    if not laid or joist is None:
        return [], []
    depth = laid * (build.decking.width + build.decking.gap) - build.decking.gap / 2
    body = deck.net.buffer(-STICK / 2 + 0.01, join_style="mitre")
    seams = [s for ring in shapely.get_parts(inset(deck.outline, depth)) if ring.geom_type == "Polygon"
             for s in _seams(ring, depth)]
    wood = _Wood(lines)
    mitres = [m for ring in shapely.get_parts(inset(deck.outline, depth)) if ring.geom_type == "Polygon"
              for m in _mitres(ring, depth)]
    for ends in mitres:
        for piece in _under_seam(ends, build.joists.spacing, wood, body):
            wood.add(piece)
    for s in seams:
        if _between(_bearing(s.ends), _bearing(np.array([joist.start, joist.end]))) < ALONG_JOISTS:
            for block in _blocks(s, depth, build.joists.spacing, wood, body):
                wood.add(block)
    ending = [s.ends for s in seams if _between(_bearing(s.ends), boards) >= ALONG_BOARDS]
    for ends in [*ending, *mitres, *ending]:  # at a corner one piece may hang from the next
        for piece in _under_seam(ends, build.joists.spacing, wood, body):
            wood.add(piece)
    lie = [LineString(ends).intersection(body) for ends in [*ending, *mitres]]
    for ends, line in zip([*ending, *mitres], lie, strict=True):
        if wood.bare(line):
            for piece in _beside_seam(ends, build.joists.spacing, wood, body):
                wood.add(piece)
    bare = sorted((part for line in lie for part in wood.bare(line)), key=lambda part: -part.length)
    added = [Line(f"N{k}", "border", tuple(p[0].tolist()), tuple(p[1].tolist())) for k, p in enumerate(wood.added, 1)]
    if not bare:
        return added, []
    places = [f"x {p.x:.0f}, y {p.y:.0f}" for p in (part.centroid for part in bare)]
    more = [f"and {len(bare) - NAMED} more"] if len(bare) > NAMED else []
    return added, [check("border-bare", "caution", value=bare[0].length, limit=STICK, count=len(bare),
                         where="; ".join([*places[:NAMED], *more]))]


@dataclass(frozen=True)
class _Seam:
    """One side of the seam between border and field: `ends` (2, 2), and how far the deck's edge runs on past either."""

    ends: Array
    beyond: tuple[float, float]

    @property
    def run(self) -> float:
        return math.dist(*self.ends)

    @property
    def along(self) -> Array:
        return np.asarray((self.ends[1] - self.ends[0]) / self.run)

    @property
    def inwards(self) -> Array:
        return np.array([-self.along[1], self.along[0]])

    def edge(self) -> Array:
        """The seam run on to the deck's edge (2, 2)."""
        return self.ends + np.multiply.outer([-self.beyond[0], self.beyond[1]], self.along)


def _seams(ring: Polygon, depth: float) -> Iterator[_Seam]:
    """The sides of a seam that lies `depth` inside the deck's edge [in]."""
    corners, along = _corners(ring)
    before = np.roll(along, 1, axis=0)
    turn = np.arctan2(before[:, 0] * along[:, 1] - before[:, 1] * along[:, 0], (before * along).sum(axis=1))
    past = np.maximum(depth * np.tan(turn / 2), 0.0)  # none at a corner that turns inwards
    for k, corner in enumerate(corners):
        after = (k + 1) % len(corners)
        if math.dist(corner, corners[after]) > LEAST_PIECE:
            yield _Seam(np.array([corner, corners[after]]), (float(past[k]), float(past[after])))


def _mitres(ring: Polygon, depth: float) -> Iterator[Array]:
    """The mitre at each corner of a border, from the deck's edge to the seam that lies `depth` inside it, (2, 2)."""
    corners, along = _corners(ring)
    yield from np.stack([_set_in(corners, along, -depth), corners], axis=1)


class _Wood:
    """Centre lines of the members so far, (n, 2, 2), and those added to them."""

    def __init__(self, lines: Sequence[Line]) -> None:
        self.lines = np.array([[n.start, n.end] for n in lines])
        self.given = len(self.lines)
        over_rim = [STICK if n.role in ("joist", "edge") else 0.0 for n in lines]
        self.seats = _bodies(self.lines, np.array(over_rim))

    def add(self, line: Array) -> None:
        self.lines = np.concatenate([self.lines, line[None]])
        self.seats = np.append(self.seats, _bodies(line[None]))

    @property
    def added(self) -> Array:
        return self.lines[self.given:]

    def near(self, shape: BaseGeometry) -> Array:
        """The members within two sticks of a shape, (k, 2, 2)."""
        close = shapely.dwithin(shapely.linestrings(self.lines), shape, 2 * STICK)
        return np.asarray(self.lines[close])

    def bare(self, line: BaseGeometry) -> list[LineString]:
        """The parts of a line, longer than a stick is thick, over no member nor a rim that a joist butts against."""
        found = self.seats[shapely.intersects(self.seats, line)]
        return [p for p in _strings(shapely.difference(line, shapely.union_all(found))) if p.length > STICK]


def _bodies(lines: Array, beyond: Array | float = 0.0, wide: Array | float = STICK) -> NDArray[np.object_]:
    """Members (n, 2, 2) in plan, run on `beyond` both ends [in]."""
    run = lines[:, 1] - lines[:, 0]
    u = run / np.hypot(*run.T)[:, None]
    n = np.column_stack([-u[:, 1], u[:, 0]]) * np.broadcast_to(wide, len(lines))[:, None] / 2
    a, b = (lines[:, k] + s * u * np.broadcast_to(beyond, len(lines))[:, None] for k, s in ((0, -1), (1, 1)))
    return np.asarray(shapely.polygons(np.stack([a - n, b - n, b + n, a + n], axis=1)))


def _bearing(ends: Array) -> float:
    return math.degrees(math.atan2(ends[1, 1] - ends[0, 1], ends[1, 0] - ends[0, 0]))


def _between(one: float, other: float) -> float:
    """The angle between two directions, 0 to 90 [degrees]."""
    return abs((one - other + 90) % 180 - 90)


def _blocks(seam: _Seam, depth: float, spacing: float, wood: _Wood, body: BaseGeometry) -> Iterator[Array]:
    """Blocks square to a seam, from the wood nearest the deck's edge to the first beyond the seam.

    No two of them, and none and the deck's edge, are further apart than the spacing; one hangs at a corner that turns
    inwards, where the seam ends within the deck.
    """
    a, b = seam.edge()
    first, last = (0 if past <= 0 else 1 for past in seam.beyond)
    parts = math.ceil(math.dist(a, b) / spacing - 1e-9)
    for t in np.arange(first, parts + 1 - last) / parts:
        p = a + (b - a) * t
        ray = LineString([p - seam.inwards * depth, p + seam.inwards * (spacing + 2 * STICK)])
        found = wood.near(ray)
        free = ray.intersection(body).difference(shapely.union_all(_bodies(found)))
        for part in _strings(free):
            ends = np.array(part.coords)
            ends = ends[np.argsort((ends - p) @ seam.inwards)]
            begins = float((ends[0] - p) @ seam.inwards)
            if begins < STICK and part.length >= LEAST_PIECE and _hung(ends, found) == 2:
                yield ends


def _under_seam(ends: Array, spacing: float, wood: _Wood, body: BaseGeometry) -> Iterator[Array]:
    """Pieces under a seam or mitre (2, 2) between the members that it crosses, and nailed beside those that it runs
    along."""
    line = LineString(ends)
    for m in wood.near(line):
        if _between(_bearing(m), _bearing(ends)) >= BESIDE or math.dist(*m) < LEAST_PIECE:
            continue
        u = (m[1] - m[0]) / math.dist(*m)
        for side in (1.0, -1.0):
            n = np.array([-u[1], u[0]]) * side
            band = Polygon(np.concatenate([m + n * ON_JOIST, m[::-1] + n * 1.5 * STICK]))
            for part in _strings(line.intersection(band)):
                s = np.sort((np.array(part.coords) - m[0]) @ u)
                if s[1] - s[0] > STICK:
                    yield from _along(m[0] + np.multiply.outer(s, u) + n * STICK, 0.0, STICK, wood, body, nailed=True)
    yield from _along(ends, spacing + 2 * STICK, STICK, wood, body)


def _beside_seam(ends: Array, spacing: float, wood: _Wood, body: BaseGeometry) -> Iterator[Array]:
    """Pieces a little beside a seam (2, 2), which still seat both boards, where other wood keeps them from under it."""
    u = (ends[1] - ends[0]) / math.dist(*ends)
    for off in (STICK / 2 - ON_JOIST) * np.array([0.5, -0.5, 1.0, -1.0]):
        yield from _along(ends + off * np.array([-u[1], u[0]]), spacing + 2 * STICK, STICK, wood, body)


def _along(ends: Array, reach: float, least: float, wood: _Wood, body: BaseGeometry, *,
           nailed: bool = False) -> Iterator[Array]:
    """Pieces along a line (2, 2) between the members that it crosses; past its ends they run on to the first wood
    within `reach` [in]. One `nailed` to the member beside it needs none at its ends."""
    u = (ends[1] - ends[0]) / math.dist(*ends)
    line = LineString(ends + np.multiply.outer([-reach, reach], u))
    found = wood.near(line)
    wide = [2 * STICK - 2 * TOUCH if _between(_bearing(m), _bearing(ends)) < BESIDE else STICK for m in found]
    solid = _bodies(found, wide=np.array(wide))
    middle = LineString(ends)
    for part in _strings(line.intersection(body).difference(shapely.union_all(solid))):
        held = 2 if nailed else _hung(np.array(part.coords), found)
        hangs = held == 2 or (held == 1 and part.length <= OUT_OVER)
        if hangs and part.length >= least and part.dwithin(middle, STICK):
            yield np.array(part.coords)


def _hung(ends: Array, found: Array) -> int:
    """How many of the two ends (2, 2) touch a member."""
    apart = shapely.distance(shapely.points(ends)[:, None], _bodies(found)[None])
    return int((apart.min(axis=1, initial=np.inf) < TOUCH).sum())


def _strings(shape: BaseGeometry) -> list[LineString]:
    return [p for p in shapely.get_parts(shape) if p.geom_type == "LineString" and p.length > TOUCH]
