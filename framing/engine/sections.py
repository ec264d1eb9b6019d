"""Sections: square off the wall at every door, where the roof stands highest, and along any member.

A part of the drawings. The first two kinds look 40 in far and are drawn to one scale, since a gap of 3/4 in is what
they show; a section along a member is long and low, so its heights are drawn larger than its lengths, and it says so.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon

from framing.engine import length
from framing.engine.documents import Door
from framing.engine.members import Member, kinks
from framing.engine.pads import Support
from framing.engine.sheet import Sheet
from framing.engine.supports import Frame
from framing.engine.svg import INK, QUIET, Place, Words, line, polyline, ring, strokes_path, svg, text, width_of

Array = NDArray[np.float64]
_At = Callable[[float, float], Place]

RUN = 40.0  # how far a section looks from the wall [in]
NEAR_MEMBER = 24.0  # a member this near a section's line is drawn in it [in]
WIDE, HIGH = 110.0, 36.0  # the page of one section [in]
LEFT, TOP = 14.0, 7.0  # where its drawing begins [in]
WORDS = 2.3  # text height [in]: 10 points where the page is 6.6 in wide
TIMBER, SAWN = "#dccdb4", "#b9a27c"  # seen from its side; cut across
ROOF, PAD, SHIM = "#d9d5cc", "#7a766e", "#3f3c37"


def section_svg(sheet: Sheet) -> str:
    """The sections that every deck has: at the governing door, at the highest roof, at the other doors."""
    if sheet.plane is None or sheet.roof is None or sheet.deck is None:
        said = "No section: the door or the roof is not measured yet."
        return svg(240, 60, "section", "Section at the door", said, [text(10, 30, said, 8)])
    views = [_door_view(sheet, sheet.plane.door), _highest_view(sheet)]
    views += [_door_view(sheet, d) for d in sheet.survey.all_doors
              if d is not sheet.plane.door and d.name != sheet.plane.door.name and len(sheet.sills(d))]
    parts, told = [], []
    for i, view in enumerate(views):
        drawn, words = _section(sheet, view)
        parts += [f'<g transform="translate(0 {i * HIGH:.0f})">', *drawn, "</g>"]
        told.append(words)
    title = "Sections at the door and at the highest roof" if len(views) == 2 else \
        "Sections at the doors and at the highest roof"
    return svg(WIDE, len(views) * HIGH, "section", title, " ".join(told), parts)


@dataclass(frozen=True)
class _View:
    """Where a section starts and which way it looks; `sill` is the height of the threshold that it starts at [in]."""

    title: str
    start: Array
    along: Array
    sill: float | None = None


def _door_view(sheet: Sheet, door: Door) -> _View:
    assert sheet.deck is not None and sheet.plane is not None
    sills = sheet.sills(door)
    middle = sills.mean(axis=0)
    read = {p: float(sheet.plane.height(np.array([[sheet.adjusted.points[p].x, sheet.adjusted.points[p].y]]))[0]) + up
            for p, up in sheet.plane.reveals.items() if p in door.points}
    return _View(f"Section at {door.name}", middle, _inward(middle, sheet.deck.outline, sills),
                 min(read.values()) if read else None)


def _highest_view(sheet: Sheet) -> _View:
    """A cut along the joists with the place of least height in its middle."""
    assert sheet.deck is not None and sheet.governing is not None
    top = np.array(sheet.governing.at)
    turn = math.radians(sheet.layout.direction) if sheet.layout else 0.0
    along = np.array([math.cos(turn), math.sin(turn)])
    inside = np.array(sheet.deck.net.representative_point().coords[0]) - top
    off = np.array([-along[1], along[0]])
    # a corner of a facet may lie on the deck's very side: step in to the nearest wood
    step = off * math.copysign(min(8.0, abs(float(inside @ off))), float(inside @ off))
    return _View("Section where the roof stands highest", np.asarray(top + step - along * RUN / 2), along)


def _inward(sill: Array, outline: Polygon, door: Array) -> Array:
    """The way from the door onto the deck, square to its threshold where that has a length."""
    if len(door) > 1 and math.dist(door[0], door[-1]) > 1:
        run = door[-1] - door[0]
        n = np.array([-run[1], run[0]]) / np.hypot(*run)
        back = outline.distance(Point(sill + n * 24)) > outline.distance(Point(sill - n * 24))
        return np.asarray(-n if back else n)
    to = np.array(outline.centroid.coords[0]) - sill
    return np.asarray(to / max(float(np.hypot(*to)), 1e-9))


def _section(sheet: Sheet, view: _View) -> tuple[list[str], str]:
    """One section, and its description. Drawn at the same scale both ways."""
    assert sheet.plane is not None and sheet.roof is not None and sheet.deck is not None
    start, along, sill = view.start, view.along, view.sill
    s = np.linspace(0, RUN, 89)
    xy = start + s[:, None] * along
    cut = LineString([xy[0], xy[-1]])
    roof_z, top_z = sheet.roof.height(xy), sheet.plane.height(xy)
    above = sheet.above
    zero = float(max(top_z.max(), sill if sill is not None else -math.inf)) + 3.0

    def at(distance: float, z: float) -> Place:
        return LEFT + distance, TOP + zero - z

    parts = [text(2, 4.2, view.title, 2.6, INK, bold=True), *_roof_band(s, roof_z, at, 2.5)]
    for low, high in _spans(cut, sheet.deck.net, start):
        t = np.interp([low, high], s, top_z)
        parts.append(ring([at(low, t[0]), at(high, t[1]), at(high, t[1] - above), at(low, t[0] - above)],
                          f'fill="#ffffff" stroke="{INK}" stroke-width="0.35"'))
    wood, there = _wood(sheet, cut, start, along, at)
    parts += wood
    rows: list[tuple[str, str, float, float]] = []  # words, figure, and the place that a leader points to
    if sill is not None:
        parts += _wall(at, sill, float(roof_z[0]))
        rows.append(("step-down at the sill", length.write(sill - float(top_z[0]), 32), (sill + top_z[0]) / 2, 0.2))
    x = there.x if there else 0.0
    here = start + np.array([[x]]) * along
    top_here, roof_here = float(sheet.plane.height(here)[0]), float(sheet.roof.height(here)[0])
    rows.append(("decking", length.write(above, 32), top_here - above / 2, RUN - 2))
    if there:
        gap = top_here - above - there.depth - roof_here
        rows += [("joist there", length.write(there.depth), top_here - above - there.depth / 2, x),
                 ("clearance over the roof there", length.write(gap, 32), roof_here + gap / 2, x)]
    rows.append(("deck over roof there", length.write(top_here - roof_here, 32), roof_here, x + 2.6))
    parts.append(_height_line(at, x + 2.6, top_here, roof_here))
    parts += _leaders(rows, at, f"({there.name})" if there else "")
    parts.append(text(LEFT + RUN + 3, 9.0 + 3.9 * len(rows), "heights and lengths drawn to one scale", 2.0, QUIET))
    return parts, f"{view.title}: " + ", ".join(f"{words} {figure} in" for words, figure, _, _ in rows) + "."


def _roof_band(s: Array, z: Array, at: _At, deep: float) -> list[str]:
    """The roof as a heavy line with its build-up hatched below."""
    ground = [at(float(a), float(b)) for a, b in zip(s, z, strict=True)]
    foot = float(z.min()) - deep
    return [ring([*ground, at(float(s[-1]), foot), at(float(s[0]), foot)], f'fill="{ROOF}" stroke="none"'),
            polyline(ground, f'fill="none" stroke="{INK}" stroke-width="0.6"')]


def _wall(at: _At, sill: float, roof: float) -> list[str]:
    """The house wall under the sill, hatched."""
    left, top = at(-6, sill)
    right, foot = at(0, roof)
    hatch = [[(left, y), (min(right, left + (y - top)), max(top, y - (right - left)))]
             for y in np.arange(top + 1.5, foot, 1.5)]
    return [ring([(left, top), (right, top), (right, foot), (left, foot)],
                 f'fill="#ffffff" stroke="{INK}" stroke-width="0.6"'),
            strokes_path(hatch, f'fill="none" stroke="{INK}" stroke-width="0.15"') if hatch else "",
            text(left - 0.8, top + 2.0, "sill", 2.2, INK, "end")]


def _height_line(at: _At, x: float, top: float, foot: float) -> str:
    """The height from roof to deck as a line with a tick at either end."""
    a, b = at(x, top), at(x, foot)
    return strokes_path([[a, b], [(a[0] - 0.7, a[1]), (a[0] + 0.7, a[1])], [(b[0] - 0.7, b[1]), (b[0] + 0.7, b[1])]],
                        f'fill="none" stroke="{INK}" stroke-width="0.3" stroke-dasharray="0.9 0.4"')


def _leaders(rows: Sequence[tuple[str, str, float, float]], at: _At, name: str) -> list[str]:
    """Figures in a column right of the drawing, each with a line to what it measures; leaders do not cross."""
    parts = []
    for i, (words, figure, z, at_x) in enumerate(rows):
        y, end = 9.0 + 3.9 * i, at(at_x, z)
        parts.append(polyline([end, (LEFT + RUN + 1.5, y - 0.8), (LEFT + RUN + 2.5, y - 0.8)],
                              f'fill="none" stroke="{INK}" stroke-width="0.18"'))
        parts.append(f'<circle cx="{end[0]:.2f}" cy="{end[1]:.2f}" r="0.28" fill="{INK}"/>')
        parts.append(text(LEFT + RUN + 3, y, f"{figure} in  {words}", WORDS, INK))
        if words == "joist there" and name:
            parts.append(text(LEFT + RUN + 3 + WORDS * width_of(f"{figure} in  {words} "), y, name, WORDS, QUIET))
    return parts


def _spans(cut: LineString, area: Polygon, start: Array) -> list[tuple[float, float]]:
    """Where a cut runs through an area: (from, to) along it [in]."""
    inside = cut.intersection(area)
    spans = []
    for run in getattr(inside, "geoms", [inside]):
        if run.geom_type == "LineString" and run.length > 0.1:
            d = sorted(float(np.hypot(*(np.array(p) - start))) for p in (run.coords[0], run.coords[-1]))
            spans.append((d[0], d[1]))
    return spans


@dataclass(frozen=True)
class _There:
    """The member whose figures a section gives: its name, its place along the cut and its depth there [in]."""

    name: str
    x: float
    depth: float


def _wood(sheet: Sheet, cut: LineString, start: Array, along: Array, at: _At) -> tuple[list[str], _There | None]:
    """Members in a section: those cut across on their pads, or one that runs with the cut, seen from its side."""
    if sheet.frame is None or sheet.plane is None or sheet.roof is None:
        return [], None
    members = sheet.frame.members
    ends = np.array([[m.line.start, m.line.end] for m in members]).reshape(-1, 2, 2)
    run = ends[:, 1] - ends[:, 0]
    with_it = np.abs(run @ along) > 0.7 * np.maximum(np.hypot(*run.T), 1e-9)
    beside = [m for m, w in zip(members, with_it, strict=True) if w and _seen(m, cut) is not None]
    if beside:
        return _side_view(sheet, sheet.frame, min(beside, key=lambda m: m.line.shape.distance(cut)), cut, start, along,
                          at)
    parts: list[str] = []
    last: _There | None = None
    for m in (m for m, w in zip(members, with_it, strict=True) if not w):
        p = m.line.shape.intersection(cut)
        if p.geom_type != "Point":
            continue
        here = np.array(p.coords)
        x = float(np.hypot(*(here[0] - start)))
        top = float(sheet.plane.height(here)[0]) - sheet.above
        s = float(m.line.shape.project(p))
        deep = float(m.depth(np.array([s]))[0])
        near = [v for v in sheet.frame.on(m.id) if abs(v.s - s) < NEAR_MEMBER]
        if near:
            parts += _pad(min(near, key=lambda v: abs(v.s - s)), at, x, top - deep, across=True,
                          foot=float(sheet.roof.height(here)[0]))
        parts += _cross_section(at, x, m.thickness, top, top - deep)
        if m.role != "rim" and (last is None or x > last.x):
            last = _There(m.id, x, deep)
    return parts, last


def _seen(m: Member, cut: LineString) -> LineString | None:
    """The part of a member that runs beside a cut, if it is near enough to be drawn."""
    if m.role == "blocking" or m.line.shape.distance(cut) >= NEAR_MEMBER:
        return None
    seen = m.line.shape.intersection(cut.buffer(NEAR_MEMBER * 1.5, cap_style="flat"))
    return seen if isinstance(seen, LineString) and seen.length > 1 else None


def _side_view(sheet: Sheet, frame: Frame, m: Member, cut: LineString, start: Array, along: Array,
               at: _At) -> tuple[list[str], _There]:
    """The member that runs with the cut, seen from its side on its pads; its depth in the middle of what is seen."""
    assert sheet.plane is not None and sheet.roof is not None
    seen = _seen(m, cut)
    assert seen is not None
    low, high = sorted(float(m.line.shape.project(Point(c))) for c in (seen.coords[0], seen.coords[-1]))
    inner = [float(v) for v in m.profile[:, 0] if low < v < high]
    s = np.array([low, *sorted(inner), high])
    xy = m.line.at(s)
    x, top = (xy - start) @ along, sheet.plane.height(xy) - sheet.above
    under = top - m.depth(s)
    outline = [at(float(v), float(w)) for v, w in zip((*x, *x[::-1]), (*top, *under[::-1]), strict=True)]
    parts = []
    for p in frame.on(m.id):
        if low <= p.s <= high:
            here = np.array([p.at])
            foot = float(sheet.plane.height(here)[0]) - sheet.above - float(m.depth(np.array([p.s]))[0])
            parts += _pad(p, at, float(((here - start) @ along)[0]), foot)
    parts.append(ring(outline, f'fill="{TIMBER}" stroke="{INK}" stroke-width="0.35"'))
    middle = float(np.clip(m.line.shape.project(Point(start + along * RUN / 2)), low, high))
    there = m.line.at(np.array([middle]))
    return parts, _There(m.id, float(((there - start) @ along)[0]), float(m.depth(np.array([middle]))[0]))


def _cross_section(at: _At, x: float, wide: float, top: float, foot: float) -> list[str]:
    """A member cut across: its box with the two diagonals that say so."""
    a, b, c, d = at(x - wide / 2, top), at(x + wide / 2, top), at(x + wide / 2, foot), at(x - wide / 2, foot)
    return [ring([a, b, c, d], f'fill="{SAWN}" stroke="{INK}" stroke-width="0.35"'),
            strokes_path([[a, c], [b, d]], f'fill="none" stroke="{INK}" stroke-width="0.15"')]


def _pad(p: Support, at: _At, x: float, top: float, *, across: bool = False, foot: float | None = None) -> list[str]:
    """Base, pad and shims under a member, the shims darker; `foot` is the roof, where that is not under the pad."""
    wide = p.pad_size[1 if across else 0]
    low = top - p.clear_gap if foot is None else foot
    mid = max(low, min(top, low + p.base + p.pad))
    parts = [_rect(at, x, wide, mid, low, PAD)]
    return parts + ([_rect(at, x, wide * 0.8, top, mid, SHIM)] if top - mid > 1e-6 else [])


def _rect(at: _At, x: float, wide: float, top: float, foot: float, fill: str) -> str:
    return ring([at(x - wide / 2, top), at(x + wide / 2, top), at(x + wide / 2, foot), at(x - wide / 2, foot)],
                f'fill="{fill}" stroke="{INK}" stroke-width="0.15"')


# ------------------------------------------------------------------------------------------ along a member

LONG_WIDE, LONG_WORDS = 200.0, 2.6  # the page of a section along a member, and its words: 6.2 points at 6.6 in


def section_along(sheet: Sheet, member_id: str) -> str:
    """A section along one member from end A to end B, over the roof as it lies under it.

    Raises KeyError where the frame has no such member.
    """
    m = next((m for m in sheet.frame.members if m.id == member_id), None) if sheet.frame else None
    if m is None or sheet.frame is None or sheet.plane is None or sheet.roof is None:
        raise KeyError(f"there is no member {member_id}")
    s = np.unique(np.r_[0.0, kinks(m.line, sheet.roof), m.line.length, m.profile[:, 0]])
    xy = m.line.at(s)
    deck_z, roof_z, depth = sheet.plane.height(xy), sheet.roof.height(xy), m.depth(s)
    supports = sheet.frame.on(m.id)
    left, wide = 6.0, LONG_WIDE - 12.0
    along = wide / m.line.length
    tall = float(deck_z.max() - roof_z.min())
    larger = max(1, math.floor(40.0 / tall / along)) if tall > 0 else 1
    up = along * larger
    head = 17.0

    def at(d: float, z: float) -> Place:
        return left + d * along, head + (float(deck_z.max()) - z) * up

    top = deck_z - sheet.above
    parts = [text(2, 4.2, f"Section along {m.id}, {m.role} of {m.size}, {length.write(m.line.length)} in", 3.2, INK,
                  bold=True),
             *_roof_band(s, roof_z, at, 6.0 / up),
             ring([at(float(a), float(z)) for a, z in zip((*s, *s[::-1]), (*deck_z, *top[::-1]), strict=True)],
                  f'fill="#ffffff" stroke="{INK}" stroke-width="0.35"')]
    for p in supports:
        here = np.array([p.at])
        foot = float(sheet.plane.height(here)[0]) - sheet.above - float(m.depth(np.array([p.s]))[0])
        parts += _pad(p, at, p.s, foot)
    under = top - depth
    parts.append(ring([at(float(a), float(z)) for a, z in zip((*s, *s[::-1]), (*top, *under[::-1]), strict=True)],
                      f'fill="{TIMBER}" stroke="{INK}" stroke-width="0.35"'))
    for splice in m.splices:
        z = float(sheet.plane.height(m.line.at(np.array([splice])))[0]) - sheet.above
        parts.append(line(at(splice, z), at(splice, z - float(m.depth(np.array([splice]))[0])),
                          f'class="splice" stroke="{INK}" stroke-width="0.9"'))
    words = Words(LONG_WORDS)
    low = at(0.0, float(roof_z.min()))[1] + 6.0 + 2 * LONG_WORDS
    marks: list[list[Place]] = []
    told = []
    for place, deep in m.stations([p.s for p in supports]):
        here = m.line.at(np.array([place]))
        z, ground = float(sheet.plane.height(here)[0]), float(sheet.roof.height(here)[0])
        gap = z - sheet.above - float(m.depth(np.array([place]))[0]) - ground
        x = at(place, z)[0]
        figures = (length.write(place), deep, length.write(gap, 32), length.write(z - ground, 32))
        told.append(f"at {figures[0]} depth {deep}, clearance {figures[2]}, deck over roof {figures[3]}")
        column = [(x, low + 1.4 * LONG_WORDS * i) for i in range(4)]
        needs = max(width_of(f) for f in figures) * LONG_WORDS
        box = np.array([[x - needs / 2 - 0.4, low - LONG_WORDS, x + needs / 2 + 0.4, low + 4.6 * LONG_WORDS]])
        if words.is_free(box):
            words.take(box)
            words.parts += [text(*c, f, LONG_WORDS, INK, "middle") for c, f in zip(column, figures, strict=True)]
            marks.append([at(place, ground), (x, low - 1.1 * LONG_WORDS)])
    parts.append(strokes_path(marks, f'fill="none" stroke="{INK}" stroke-width="0.12" stroke-dasharray="0.6 0.4"'))
    foot_rows = ("from end A", "depth of the member", "clearance over the roof", "deck over roof")
    note = f"Rows of figures, in inches: {'; '.join(foot_rows)}. Heights are drawn {larger} times as large as lengths."
    end = low + 1.4 * LONG_WORDS * 5
    parts += [text(left, head - 4.5, "A", 3.2, INK, "middle", bold=True),
              text(LONG_WIDE - 6, head - 4.5, "B", 3.2, INK, "middle", bold=True),
              *words.parts, text(2, end, note, LONG_WORDS, QUIET)]
    about = f"{m.role} {m.id} from end A to end B, in inches: " + "; ".join(told) + f". Heights drawn {larger} times."
    return svg(LONG_WIDE, end + 2, f"section-{m.id}", f"Section along {m.id}", about, parts)
