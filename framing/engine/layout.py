"""Where the deck lies and where its members run: outline, holes, rims, edge joists, joists.

Stage: plane -> layout -> members. Everything is worked in a frame turned so that joists run along x; `Layout`
is given back in the survey's frame.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Polygon
from shapely.affinity import rotate
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from framing.engine.adjustment import Adjustment
from framing.engine.checks import Check, check
from framing.engine.documents import Build, Obstacle, Survey
from framing.engine.keep_outs import PAD_FROM_WALL
from framing.engine.openings import (
    LEAST_JOIST,
    LEAST_PIECE,
    STICK,
    Footing,
    Lines,
    clear_of,
    head_off,
    header_along,
)
from framing.engine.tributary import Added, Hung, RimStrip, Tributary, share_out
from framing.engine.wide_bays import halved, over_no_wood

Array = NDArray[np.float64]

HOUSE_GAP, OTHER_GAP = 0.5, 1.0  # edge gaps where none is asked [in] (documents.md, decking.edge_gaps)
WIDEST_INSET = 3.5  # an edge joist stands no further in from the boards' ends than this, to make room for its pads [in]
CROWDED = 6.0  # a row this near the far edge joist is one too many [in]
SAME_ROW = 0.01  # a row this near an edge joist's middle is that edge joist [in]
MOST_CLOSED_UP = 0.9  # rows close up to no less than this share of their spacing for an edge joist between
LEAST_STRIP = 6.0  # a strip of deck narrower than this beside an obstacle is left out [in]
BARE = 3.0  # a side of the deck with no wood this near gets a piece of its own [in]
HAIR = 0.05  # [in]
STRAIGHT_ON = 0.02  # sides that turn by less (sine) run on in one line
LEAST_TRIMMER = 48.0  # shorter sides of an obstacle are trimmed by wood hung between its headers [in]
SEAT_BESIDE = 4.0  # a joist this near an obstacle's side carries the boards' ends there [in]


@dataclass(frozen=True)
class Deck:
    """The deck's area: outline after edge gaps, one ring for each obstacle in it, and what is left between."""

    outline: Polygon
    holes: tuple[Polygon, ...]
    net: Polygon

    @property
    def net_sqft(self) -> float:
        return float(self.net.area / 144)


@dataclass(frozen=True)
class Line:
    """A member's centre line in plan, from end A to end B [in]; a `header` is a rim that hangs between joists."""

    id: str
    role: str
    start: tuple[float, float]
    end: tuple[float, float]
    header: bool = False

    @property
    def length(self) -> float:
        return math.dist(self.start, self.end)

    def at(self, s: Array) -> Array:
        """Points (n, 2) at distances s (n,) from end A [in]."""
        a, b = np.array(self.start), np.array(self.end)
        return np.asarray(a + np.multiply.outer(np.asarray(s, float) / self.length, b - a))

    @property
    def shape(self) -> LineString:
        return LineString([self.start, self.end])


@dataclass(frozen=True)
class Layout:
    """Every member's line, and the area of deck that each carries.

    `width[id]` is the tributary width [in] on equal intervals of the member from end A; `hung[id]` lists
    (s [in], area [sq in]) brought by rims and blocking that hang on it; `added` is what lies on single places.
    """

    direction: float
    lines: tuple[Line, ...]
    width: dict[str, Array]
    hung: dict[str, Hung]
    tributary: Tributary
    added: Added = field(default_factory=Added)

    def carried(self, shape: BaseGeometry) -> tuple[dict[str, Array], dict[str, Hung]]:
        """`width` and `hung` of what lies on `shape`, an area in the survey's frame."""
        return self.tributary.of(rotate(shape, -self.direction, origin=(0, 0)))


def lay_deck(survey: Survey, build: Build, adjusted: Adjustment) -> tuple[Deck | None, list[Check]]:
    """The roof's outline less its edge gaps, and the obstacles grown by their clearance."""
    corners = np.array([[adjusted.points[c].x, adjusted.points[c].y] for c in survey.corners])
    gross = Polygon(corners)
    sides = zip(survey.corners, (*survey.corners[1:], survey.corners[0]), strict=True)
    outline = _set_in(gross, corners, [edge_gap(survey, build, a, b) for a, b in sides])
    checks: list[Check] = []
    if outline is None or outline.area < 144:
        return None, [check("outline-empty", "stop", value=gross.area / 144, limit=1.0, unit="FTK", where="outline")]
    outline = outline.simplify(0.01)
    holes = _with_necks(outline, [h for h in _holes(survey, adjusted) if h.intersects(outline)])
    net = outline.difference(unary_union(holes)) if holes else outline
    left = _largest(net)
    if left is None or left.area < 144:
        return None, [check("outline-empty", "stop", value=gross.area / 144, limit=1.0, unit="FTK", where="outline")]
    if net.area - left.area > 144:
        checks.append(check("outline-split", "caution", value=(net.area - left.area) / 144, limit=0.0, unit="FTK",
                            where="outline"))
    return Deck(outline, tuple(holes), left), checks


def _set_in(gross: Polygon, corners: Array, gaps: Sequence[float]) -> Polygon | None:
    """The polygon of `corners` (n, 2) with every side set in by its gap [in], mitred where sides meet."""
    if not gross.exterior.is_ccw:
        corners, gaps = corners[::-1], [*gaps[-2::-1], gaps[-1]]
    run = np.roll(corners, -1, axis=0) - corners
    along = run / np.hypot(*run.T)[:, None]
    inward = np.column_stack([-along[:, 1], along[:, 0]]) * np.array(gaps)[:, None]
    ring: list[Array] = []
    for i, corner in enumerate(corners):
        u, v = along[i - 1], along[i]
        cross = float(u[0] * v[1] - u[1] * v[0])
        if abs(cross) < STRAIGHT_ON:  # sides in one line with gaps of their own: a step
            ring += [corner + inward[i - 1], corner + inward[i]]
        else:  # where the two lines set in meet
            apart = inward[i] - inward[i - 1]
            ring.append(corner + inward[i - 1] + u * float(apart[0] * v[1] - apart[1] * v[0]) / cross)
    mitred = Polygon(ring)
    if mitred.is_valid and mitred.exterior.is_ccw and gross.buffer(1e-6).covers(mitred):
        return mitred
    # a side shorter than its gaps take up: what no side's strip covers is left
    strips = [LineString([a, a + r]).buffer(gap, cap_style="square")
              for a, r, gap in zip(corners, run, gaps, strict=True) if gap > 0]
    return _largest(gross.difference(unary_union(strips)) if strips else gross)


def edge_gap(survey: Survey, build: Build, a: str, b: str) -> float:
    """The gap asked for along side a-b, else 1/2 in against a house and 1 in elsewhere [in]."""
    gaps = build.decking.edge_gaps
    for key in (f"{a}-{b}", f"{b}-{a}"):
        if key in gaps:
            return gaps[key]
    house = any({e.from_, e.to} == {a, b} and e.against == "house" for e in survey.edges)
    return HOUSE_GAP if house else OTHER_GAP


def _largest(shape: Polygon | MultiPolygon) -> Polygon | None:
    parts = [p for p in getattr(shape, "geoms", [shape]) if p.geom_type == "Polygon" and p.area > 0]
    return max(parts, key=lambda p: p.area) if parts else None


def obstacle_shape(o: Obstacle, adjusted: Adjustment) -> Polygon:
    """The outline of an obstacle's own faces in plan."""
    if o.points:
        return Polygon([(adjusted.points[p].x, adjusted.points[p].y) for p in o.points])
    p, (w, h) = adjusted.points[o.point or ""], o.size or (0.0, 0.0)
    return shapely.box(p.x - w / 2, p.y - h / 2, p.x + w / 2, p.y + h / 2)


def _holes(survey: Survey, adjusted: Adjustment) -> list[Polygon]:
    return [obstacle_shape(o, adjusted).buffer(o.clearance, join_style="mitre") for o in survey.obstacles]


def _with_necks(outline: Polygon, holes: Sequence[Polygon]) -> list[Polygon]:
    """The holes, each with the strips beside it, to the deck's side or the next hole, that are too narrow to frame."""
    if not holes:
        return []
    net = outline.difference(unary_union(list(holes)))
    wide = net.buffer(-LEAST_STRIP / 2, join_style="mitre").buffer(LEAST_STRIP / 2, join_style="mitre")
    kept = list(holes)
    for neck in getattr(left := net.difference(wide.buffer(HAIR, join_style="mitre")), "geoms", [left]):
        if neck.geom_type != "Polygon" or neck.area < 1:
            continue
        beside = [i for i, h in enumerate(holes) if h.distance(neck) < HAIR]
        if len(beside) > 1 or (beside and outline.exterior.distance(neck) < HAIR):
            # a hair wider, so that no sliver is left between strip and hole
            whole = kept[beside[0]].union(neck.buffer(2 * HAIR, join_style="mitre"))
            if isinstance(whole, Polygon):
                kept[beside[0]] = Polygon(whole.exterior)
    return kept


@dataclass(frozen=True)
class _Side:
    """One side of the net deck, the deck on its left; `inset` from it to the member's centre line [in]."""

    a: Array
    b: Array
    role: str
    inset: float
    of_hole: bool = False

    @property
    def along(self) -> Array:
        return np.asarray((self.b - self.a) / np.hypot(*(self.b - self.a)))

    def strip(self) -> Polygon:
        """What the member and all outside of it take up; joists end at its inner face."""
        n = np.array([-self.along[1], self.along[0]]) * (self.inset + STICK / 2)
        u = self.along * 0.01
        return Polygon([self.a - u, self.b + u, self.b + u + n, self.a - u + n])

    def needs_wood(self, rows: Array) -> bool:
        """Whether no joist runs so near this side of an obstacle that it carries the boards' ends there."""
        level = sorted((self.a[1], self.b[1]))
        outward = math.copysign(1.0, self.along[0])  # the deck lies on the left
        beyond = (rows - (level[1] if outward > 0 else level[0])) * outward
        skew = level[1] - level[0]
        return not bool(((beyond >= STICK / 2) & (beyond + skew <= SEAT_BESIDE)).any())

    def ends(self) -> tuple[Array, Array]:
        """Both ends of the member's centre line as long as the side."""
        n = np.array([-self.along[1], self.along[0]]) * self.inset
        return np.asarray(self.a + n), np.asarray(self.b + n)

    def line(self) -> LineString:
        """The member's centre line, run on far enough to meet its neighbours; between headers it ends with its side."""
        a, b = self.ends()
        between = self.of_hole and np.hypot(*(self.b - self.a)) < LEAST_TRIMMER
        run = self.along * (0.0 if between else self.inset + 3 * STICK)
        return LineString([a - run, b + run])


def _sides(net: Polygon, pads: Sequence[float], roof: Polygon) -> list[_Side]:
    """The sides of the turned deck: edge where they run with the joists (x), rim where they cross them.

    An edge joist stands on pads, so it keeps half a pad from the wall: half of the widest pad that leaves it near
    the boards' ends. A rim hangs on the joist ends and runs right under the boards' edge.
    """
    found = []
    for k, ring in enumerate([net.exterior, *net.interiors]):
        xy = np.array(shapely.get_coordinates(ring))[:-1]
        if ring.is_ccw != (k == 0):
            xy = xy[::-1]
        for a, b in zip(xy, np.roll(xy, -1, axis=0), strict=True):
            run = b - a
            if np.hypot(*run) < LEAST_PIECE:
                continue
            edge = abs(run[0]) >= abs(run[1])
            inset = STICK / 2
            if edge and not (k and np.hypot(*run) < LEAST_TRIMMER):
                # the gap between deck and wall is room for its pads too; round an obstacle there is none
                room = 0.0 if k else float(roof.exterior.distance(shapely.Point((a + b) / 2)))
                reach = [pad / 2 + PAD_FROM_WALL - room for pad in pads]
                inset = max(inset, max([v for v in reach if v <= WIDEST_INSET], default=WIDEST_INSET))
            found.append(_Side(a, b, "edge" if edge else "rim", inset, k > 0))
    return found


def _boxed(net: Polygon) -> Polygon:
    """The turned deck with a box about every pipe, whose own sides are too short for wood along them."""
    boxes = []
    for ring in net.interiors:
        run = np.hypot(*np.diff(shapely.get_coordinates(ring), axis=0).T)
        if run[run >= LEAST_PIECE].sum() < ring.length / 2:
            boxes.append(shapely.box(*ring.bounds))
    if not boxes:
        return net
    left = net.difference(unary_union(boxes)).simplify(1e-6)  # no corner where a pipe touches its box
    return _largest(left) or net


def lay_members(build: Build, deck: Deck, direction: float, *, roof: Polygon, anchor: tuple[float, float],
                footing: Footing, bowls: Sequence[Polygon] = ()) -> Layout:
    """Rims, edge joists and joists at the build's spacing, joists along `direction` [degrees].

    `roof` is the surveyed outline, up to which pads may stand; `anchor` is a point of the door, from whose side the
    joists are spaced; `footing` says where the joists' pads may stand; no wood lies over `bowls`.
    """
    net, outline, *free = (rotate(shape, -direction, origin=(0, 0)) for shape in (deck.net, roof, *bowls))
    boxed = _boxed(net)
    sides = _sides(boxed, [b for _, b in build.supports.pad_sizes], outline)
    rims, edges = ([s for s in sides if s.role == role and not s.of_hole] for role in ("rim", "edge"))
    around = [s for s in sides if s.of_hole]
    rows = clear_of(free, _rows(net, edges, build.joists.spacing, _turn(np.array([anchor]), -direction)[0]))
    body = boxed.buffer(-STICK / 2 + 0.01, join_style="mitre")

    lines: Lines = []
    taken = Polygon()
    for s in rims:
        lines += [("rim", part) for part in _parts(s.line().intersection(body).difference(taken))]
        taken = taken.union(s.strip())
    inner = _solid(net.difference(unary_union([s.strip() for s in rims]))) if rims else net
    between = _solid(body.intersection(inner).difference(unary_union([s.strip() for s in edges])))
    headers = [part for s in around if s.role == "rim"
               for part in _parts(header_along(*s.ends(), rows, between, s.inset + 3 * STICK))]
    lines += [("header", h) for h in headers]
    # no member's body in an obstacle or over the deck's side; none through a header
    left = _solid(inner.intersection(body).difference(
        unary_union([h.buffer(STICK / 2, cap_style="flat") for h in headers])))
    for s in [*edges, *(s for s in around if s.role == "edge" and s.needs_wood(rows))]:
        own = LEAST_TRIMMER if s.of_hole else LEAST_JOIST
        lines += [("edge" if part.length >= own else "blocking", part) for part in _parts(s.line().intersection(left))]
        left = _solid(left.difference(s.strip()))
    x0, _, x1, _ = net.bounds
    for v in rows:
        lines += [("joist" if part.length >= LEAST_JOIST else "blocking", part)
                  for part in _parts(LineString([(x0 - 1, v), (x1 + 1, v)]).intersection(left))]
    bowl = unary_union([b.buffer(STICK / 2 + 0.01) for b in free])
    lines += halved(lines, net, left.difference(bowl), build.joists.spacing)
    lines = head_off(lines, footing, body, lambda xy: _turn(xy, direction))
    lines += [("blocking", part) for part in _along_bare_sides(sides, lines, net, body)]

    named = _named(lines, direction)
    carrying = [(n.id, line) for n, (role, line) in zip(named, lines, strict=True) if role in ("joist", "edge")]
    tributary = share_out(net, inner, [RimStrip(s.strip(), s.a, s.b) for s in rims], carrying, thickness=STICK)
    return Layout(direction, tuple(named), *tributary.of(net), tributary)


def _along_bare_sides(sides: Sequence[_Side], lines: Lines, net: Polygon, body: Polygon) -> list[LineString]:
    """Pieces along the deck's sides where no wood lies near or none across the joists, as in sharp corners, from which
    it runs on to some."""
    tips = over_no_wood([line for _, line in lines], net)
    wood = unary_union(shapely.buffer([line for _, line in lines], STICK / 2, cap_style="flat"))
    near = wood.buffer(BARE)
    added: list[LineString] = []
    for s in sides:
        n = np.array([-s.along[1], s.along[0]]) * STICK / 2
        side = LineString([s.a + n, s.b + n]).intersection(body)
        left = side.difference(near).union(side.intersection(tips))
        for bare in getattr(left, "geoms", [left]):
            if bare.geom_type == "LineString" and bare.length > HAIR:
                reach = side.intersection(bare.buffer(3 * BARE)).difference(wood)
                found = [p for p in getattr(reach, "geoms", [reach]) if p.geom_type == "LineString"
                         and p.length >= STICK / 2 and p.intersects(bare.buffer(0.01))]
                added += found
                if found:
                    wood = unary_union([wood, *(p.buffer(STICK / 2, cap_style="flat") for p in found)])
                    near = wood.buffer(BARE)
                for p in found:  # boards over the tip end on it
                    tips = tips.difference(shapely.box(p.bounds[0] - STICK / 2, net.bounds[1], p.bounds[2] + STICK / 2,
                                                       net.bounds[3]))
    return added


def _solid(shape: shapely.Geometry) -> shapely.Geometry:
    """The parts of a difference that have an area: a sliver along a cut would let lines through it run outside."""
    parts = [p for p in getattr(shape, "geoms", [shape]) if p.geom_type == "Polygon" and p.buffer(-0.01).area > 1]
    return unary_union(parts) if parts else Polygon()


def _parts(shape: shapely.Geometry) -> list[LineString]:
    return [p for p in getattr(shape, "geoms", [shape]) if p.geom_type == "LineString" and p.length >= LEAST_PIECE]


def _rows(net: Polygon, edges: Sequence[_Side], spacing: float, anchor: Array) -> Array:
    """Heights y (n,) of the joist rows in the turned frame, spaced from the edge joist on the door's side [in].

    Where the last row would crowd the edge joist on the far side, all close up a little and it falls away; they do too
    where an edge joist between takes a row's place and stands a little further from the row before.
    """
    _, low, _, high = net.bounds
    level = [s for s in edges if abs(s.along[1]) < 0.01 and np.hypot(*(s.b - s.a)) > LEAST_JOIST]
    if level:
        y = np.array([(s.a[1] + s.b[1]) / 2 + math.copysign(s.inset, s.along[0]) for s in level])
        outward = -np.sign([s.along[0] for s in level])  # the deck lies on the left of its sides
        order = np.lexsort((y, np.round(np.abs(y - anchor[1]), 6)))
        start = float(y[order[0]])
        spacing = _closed_up((outward * (y - start))[order], spacing)
    else:
        start = low + STICK / 2
    k = np.arange(math.floor((low - start) / spacing), math.ceil((high - start) / spacing) + 1)
    rows = start + spacing * k
    return np.asarray(rows[(rows > low) & (rows < high)])


def _closed_up(runs: Array, spacing: float) -> float:
    """The spacing, or the next less of it that no edge joist stands in the way of [in].

    `runs` (n,) are how far edge joists stand from the one that rows are set out from, counted toward their sides of
    the deck, the furthest last. Only for that one do rows close up by more than a little, where it is a row away.
    """
    far = float(abs(runs[-1]))

    def hindered(s: float) -> bool:
        beyond = runs % s  # the last row, which falls away where it lies in an edge joist
        return bool(((beyond > SAME_ROW) & (beyond < STICK / 2)).any()) or SAME_ROW < far % s < CROWDED

    even = [float(abs(r)) / math.ceil(abs(r) / spacing - 1e-9) for r in runs if abs(r) > SAME_ROW]
    for s in sorted((spacing, *even), reverse=True):
        if s >= MOST_CLOSED_UP * spacing and not hindered(s):
            return float(s)
    return far / math.ceil(far / spacing) if far > spacing and SAME_ROW < far % spacing < CROWDED else spacing


def _turn(xy: Array, degrees: float) -> Array:
    a = math.radians(degrees)
    return np.asarray(xy @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]]))


def _named(lines: Sequence[tuple[str, LineString]], direction: float) -> list[Line]:
    """Lines in the survey's frame, numbered by role in order across the deck; end A has the lesser x in the turned
    frame (joists), or the lesser y (rims)."""
    letters = {"rim": "R", "header": "H", "edge": "E", "joist": "J", "blocking": "K"}
    count = dict.fromkeys(letters, 0)
    named = []
    for role, part in lines:
        count[role] += 1
        ends = np.array([part.coords[0], part.coords[-1]])
        across = role in ("rim", "header")
        ends = ends[np.lexsort((ends[:, 0], ends[:, 1]) if across else (ends[:, 1], ends[:, 0]))]
        (ax, ay), (bx, by) = _turn(ends, direction)
        named.append(Line(f"{letters[role]}{count[role]}", "rim" if role == "header" else role,
                          (float(ax), float(ay)), (float(bx), float(by)), role == "header"))
    return named
