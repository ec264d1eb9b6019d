"""Boards on random decks, and what they must be, read from their outlines alone. Lengths in inches.

`laid(seed)` lays the boards of a random deck over its layout, with no profile, pad or cutting plan; every third one has
border courses and every fourth one short sticks. `read` holds them against the deck and the members under them.
"""

from __future__ import annotations

import copy
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon

from framing.engine.boards import Board, Decking, lay_boards
from framing.engine.borders import border_lines
from framing.engine.checks import Check
from framing.engine.documents import Build, parse_build, parse_survey
from framing.engine.layout import Deck, Line
from framing.engine.panels import find_panels
from framing.reference.decking import joist_spacing
from tests.framing.decks import deck
from tests.framing.staged import Staged

Floats = NDArray[np.float64]

NEAR = 1e-4
STICK = 1.5
LEAST_RIP = 1.5
SIDE = 6.0  # a member stands this near a side of the deck
SEAT = 1 / 16  # an end this far from wood, at most, has a seat
LEAST_END = 1.0  # a lesser side of a board is a nick and no end
SLIVER = 0.25  # what is nowhere wider is left as gap [in]
SCRAP = 2.0  # a piece that is not worth laying [sq in]
COVER = 0.005
SHORT_STICKS = 96.0


@dataclass(frozen=True)
class Laid:
    seed: int
    build: Build
    deck: Deck
    lines: tuple[Line, ...]
    decking: Decking
    longest: float
    bare: tuple[Check, ...]


def laid(seed: int) -> Laid:
    """The boards of one random deck."""
    drawn = deck(seed)
    build = copy.deepcopy(drawn.build)
    build["decking"]["border_courses"] = seed // 3 % 3 + 1 if seed % 3 == 2 else 0
    parsed = parse_build(build)
    boards = parsed.decking.direction
    joists = parsed.joists.direction
    if joists == "auto":
        joists = 90.0 * (seed % 2) if boards == "auto" else float(boards) - 90
    boards = float(joists) + 90 if boards == "auto" else float(boards)
    widest = joist_spacing(parsed.decking.species or "", parsed.decking.thickness, abs(boards - float(joists))).most
    spacing = min(parsed.joists.spacing, widest or math.inf)
    parsed = parsed.model_copy(update={"joists": parsed.joists.model_copy(update={"spacing": spacing})})
    staged = Staged(parse_survey(drawn.survey), parsed, float(joists))
    lines = staged.layout.lines
    border, bare = border_lines(staged.deck, lines, parsed, boards)
    lines = (*lines, *border)
    panels, _ = find_panels(staged.survey, parsed, staged.adjusted, staged.deck)
    longest = min(max(parsed.decking.stock_lengths), SHORT_STICKS if seed % 4 == 3 else math.inf) - parsed.saw.trim
    decking = lay_boards(staged.deck, lines, parsed, boards, longest, panels)
    return Laid(seed, parsed, staged.deck, lines, decking, longest, tuple(bare))


def read(found: Laid) -> Iterator[tuple[str, str]]:
    """(kind, words) of everything that the boards are not."""
    boards, net = found.decking.boards, found.deck.net
    shapes = np.array([b.polygon for b in boards])
    i, j = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    # on a grid: two boards along one mitre, told apart by the last digit, else count as one upon the other
    over = shapely.area(shapely.intersection(shapes[i[i < j]], shapes[j[i < j]], grid_size=1e-6))
    if over.max(initial=0.0) > NEAR:
        k = int(over.argmax())
        one, other = boards[i[i < j][k]].id, boards[j[i < j][k]].id
        yield "overlap", f"{one} and {other} lie over each other by {over[k]:.4f} sq in"
    out = shapely.area(shapely.difference(shapes, net.buffer(NEAR)))
    if out.max() > NEAR:
        yield "outside", f"{boards[int(out.argmax())].id} leaves the deck by {out.max():.4f} sq in"
    yield from gaps(found)
    yield from cover(found)
    yield from narrow(found)
    yield from ends(found)
    yield from joints(found)


def frame_of(found: Laid) -> tuple[Floats, Floats]:
    """Unit vectors along the field boards and across them."""
    turn = math.radians(found.decking.direction)
    return np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])


def _phase(found: Laid) -> tuple[list[Board], Floats, Floats, float] | None:
    """The field boards, how far up they reach from and to, and where a row starts by its whole boards."""
    _, n = frame_of(found)
    field = [b for b in found.decking.boards if b.kind == "field"]
    low, high = np.array([[v.min(), v.max()] for b in field
                          for v in [shapely.get_coordinates(b.polygon) @ n]]).reshape(-1, 2).T
    whole = np.flatnonzero(np.abs(high - low - found.build.decking.width) < 1e-6)
    return (field, low, high, float(low[whole[0]])) if len(whole) else None


def gaps(found: Laid) -> Iterator[tuple[str, str]]:
    """Rows one board and one gap apart to a millionth; the border one gap off the field."""
    width, gap = found.build.decking.width, found.build.decking.gap
    if (rows := _phase(found)) is not None:
        field, low, high, start = rows
        into = np.mod(low - start + NEAR, width + gap) - NEAR
        whole = np.abs(high - low - width) < 1e-6
        if np.abs(into[whole]).max() > 1e-6:
            yield "gaps", f"a row lies {np.abs(into[whole]).max():.6f} in off its gap"
        if (into + high - low).max() > width + 1e-6:
            yield "gaps", f"{field[int(np.argmax(into + high - low))].id} reaches into a gap"
    border = shapely.union_all([b.polygon for b in found.decking.boards if b.kind == "border"])
    inner = shapely.union_all([b.polygon for b in found.decking.boards if b.kind == "field"])
    if not border.is_empty and (found.deck.holes or abs(border.distance(inner) - gap) > 1e-6) \
            and border.distance(inner) < gap - 1e-6:
        yield "gaps", f"border and field are {border.distance(inner):.6f} in apart, {gap} asked"


def formula(found: Laid) -> float | None:
    """The share of the deck that boards cover: all of it less a gap between every two rows and inside every course.

    1 - (g L + C) / A, with g the gap, L the length of all lines between rows, as far as they lie on the field inside
    the border, C the area of the gap rings of the courses, and A the deck's area. For n whole boards across a width W
    it is 1 - (n - 1) g / W, and w / (w + g) where W grows. Strips too thin to lay are gap too.
    """
    if (rows := _phase(found)) is None:
        return None
    d = found.build.decking
    courses = next((int(c.value) for c in found.decking.checks if c.code == "border-courses"), 0)

    def inside(by: float) -> shapely.Geometry:
        return found.deck.outline.buffer(-by, join_style="mitre", mitre_limit=20).intersection(found.deck.net)

    pitch = d.width + d.gap
    rings = sum(inside(k * pitch + d.width).area - inside((k + 1) * pitch).area for k in range(courses))
    field = inside(courses * pitch)
    u, n = frame_of(found)
    xy = shapely.get_coordinates(field)
    first = rows[3] + pitch * math.floor(((xy @ n).min() - rows[3]) / pitch)
    at = np.arange(first, (xy @ n).max() + pitch, pitch)
    reach = np.array([(xy @ u).min() - 1, (xy @ u).max() + 1])
    between = at + d.width + d.gap / 2
    lines = shapely.linestrings([[u * v + n * y for v in reach] for y in between])
    length = shapely.length(shapely.intersection(lines, field)).sum()
    return float(1 - (d.gap * length + rings) / found.deck.net.area)


def cover(found: Laid) -> Iterator[tuple[str, str]]:
    told = next(c for c in found.decking.checks if c.code == "cover")
    covered = sum(b.polygon.area for b in found.decking.boards) / found.deck.net.area
    wanted = formula(found)
    if wanted is not None and abs(covered - wanted) > COVER:
        yield "cover", f"boards cover {covered:.4f}, the formula gives {wanted:.4f}"
    if told.status != "ok" or abs(told.value - covered) > NEAR:
        yield "cover", f"told {told.status}: {told.text}"
    # on a grid: the union of thousands of boards that meet along skew cuts is not always sound without
    bare = found.deck.net.difference(shapely.union_all([b.polygon for b in found.decking.boards], grid_size=1e-5))
    wide = bare.buffer(-(found.build.decking.gap + SLIVER) / 2 - 0.01)
    for hole in shapely.get_parts(wide):
        if hole.area > SCRAP:
            yield "bare", f"{hole.area:.1f} sq in of deck in a hole wider than gap and sliver at {hole.centroid.wkt}"


def narrow(found: Laid) -> Iterator[tuple[str, str]]:
    """No strip under the least rip but those that the check counts."""
    told = next(c for c in found.decking.checks if c.code == "feather-edge")
    count = 0
    for b in found.decking.boards:
        a = math.radians(b.along)
        xy = shapely.get_coordinates(b.polygon) @ np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])
        shape, (x0, x1) = Polygon(xy), (xy[:, 0].min(), xy[:, 0].max())
        places = np.linspace(x0, x1, 9)[1:-1]
        long = min(2 * found.build.decking.width, (x1 - x0) / 3)  # as far in as an end may be cut skew
        places = places[(places > x0 + long) & (places < x1 - long)]
        cuts = [LineString([(x, -1e5), (x, 1e5)]).intersection(shape).length for x in places]
        count += min(cuts, default=math.inf) < LEAST_RIP - 1e-3
    if count and told.status == "ok":
        yield "narrow", f"{count} boards under {LEAST_RIP} in and no flag"
    flagged = sum(b.narrowest < LEAST_RIP - 1e-6 for b in found.decking.boards)
    if flagged < count:
        yield "narrow", f"{count} boards under {LEAST_RIP} in, {flagged} flagged"


def ends(found: Laid) -> Iterator[tuple[str, str]]:
    """Every end inside the deck on half a stick's width of wood, and no more than a stick's width of it bare in one
    place, but where the seam of a border is told to be; at a side of the deck, wood under the board within 6 in of its
    end.

    An end is a side of a board that is steeper than 1 in 2 to its run: flatter ones are rips.
    """
    # joists run on over the rim that they butt against; a border's pieces are sawn to the faces that they meet
    beyond = {"rim": 0.0, "blocking": 0.0, "border": STICK / 2}
    bodies = [LineString(n.at(np.array([-v, n.length + v]))).buffer(STICK / 2 + SEAT, cap_style="flat")
              for n in found.lines for v in [beyond.get(n.role, STICK)]]
    wood = shapely.union_all(bodies)
    shapely.prepare(wood)
    edge = found.deck.net.boundary
    loose: dict[str, list[str]] = {"ends": [], "ends at sides": []}
    for b in found.decking.boards:
        if b.polygon.area < 12:
            continue
        a = math.radians(b.along)
        u = np.array([math.cos(a), math.sin(a)])
        n = np.array([-u[1], u[0]])
        xy = shapely.get_coordinates(b.polygon.exterior.simplify(0.05))
        run = np.diff(xy, axis=0)
        cut = (np.abs(run @ n) > np.abs(run @ u) / 2) & (np.abs(run @ n) > LEAST_END)
        for p, q in zip(xy[:-1][cut], xy[1:][cut], strict=True):
            end, middle = LineString([p, q]), (p + q) / 2
            bare = [v.length for v in shapely.get_parts(end.difference(wood))]
            if sum(bare) <= end.length - min(STICK, end.length) / 2 and max(bare, default=0.0) <= STICK:
                continue
            if edge.distance(Point(middle)) < SIDE:
                on = b.polygon.intersection(wood)
                if on.is_empty or on.distance(Point(middle)) > SIDE + np.ptp(xy @ n) / 2:
                    loose["ends at sides"].append(f"{b.id} at {np.round(middle, 1)}")
            elif not any(_near(c, middle) for c in found.bare):
                loose["ends"].append(f"{b.id} at {np.round(middle, 1)}")
    for kind, names in loose.items():
        if names:
            yield kind, f"{len(names)} on no wood: {', '.join(names[:3])}"


def _near(told: Check, place: Floats) -> bool:
    """Whether a place lies on a stretch of a border's seam that is told to be bare."""
    spots = re.findall(r"x (-?\d+), y (-?\d+)", told.where)
    return any(math.dist((float(x), float(y)), place) < (told.value or 0.0) / 2 + STICK for x, y in spots)


def joints(found: Laid) -> Iterator[tuple[str, str]]:
    """Pieces no longer than their sticks but in a bay that none spans; neighbouring rows' joints three joists apart."""
    u, n = frame_of(found)
    pitch = found.build.decking.width + found.build.decking.gap
    field = [b for b in found.decking.boards if b.kind == "field"]
    at: dict[int, list[float]] = {}
    where = [(shapely.get_coordinates(b.polygon) @ u, shapely.get_coordinates(b.polygon) @ n) for b in field]
    low = min((v.min() for _, v in where), default=0.0)
    rows: dict[int, list[tuple[float, float]]] = {}
    for t, v in where:
        rows.setdefault(round((v.mean() - low) / pitch), []).append((float(t.min()), float(t.max())))
    for r, spans in rows.items():
        spans.sort()
        at[r] = [q for (_, q), (p, _) in zip(spans, spans[1:], strict=False) if abs(p - q) < 0.01]
    joists = [s for s in found.lines if s.role == "joist"]
    if len(joists) < 4 or abs(abs(np.subtract(joists[0].end, joists[0].start) @ u) / joists[0].length) > 0.02:
        return
    spacing = found.build.joists.spacing
    told = next((c for c in found.decking.checks if c.code == "board-joints"), None)
    worst = min((abs(p - q) for r, own in at.items() for p in own for q in at.get(r + 1, ())), default=math.inf)
    if worst < 2 * spacing + 0.4 and (told is None or told.status == "ok"):
        near = told.value if told else None
        yield "joints", f"joints of neighbouring rows {worst:.1f} in apart at joists {spacing} in apart, told {near}"


def without(found: Laid, board: Board) -> Laid:
    """The same deck with one board missing."""
    kept = tuple(b for b in found.decking.boards if b is not board)
    return replace(found, decking=replace(found.decking, boards=kept))
