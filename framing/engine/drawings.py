"""Drawings as SVG: the plan from above, and a section through the door and the highest roof.

Stage: everything -> drawings. Line work in ink with one accent; each drawing carries a title and a description for
people who cannot see it. Plans are drawn as seen from above, y up the page.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon, get_parts, union_all

from framing.engine import length
from framing.engine.adjustment import Adjustment
from framing.engine.documents import Build, Survey
from framing.engine.layout import Deck, Layout
from framing.engine.members import Member
from framing.engine.plane import Plane, corner_places
from framing.engine.roof import Roof
from framing.engine.supports import Frame

Array = NDArray[np.float64]
_At = Callable[[Iterable[float]], tuple[float, float]]
_AtSection = Callable[[float, float], tuple[float, float]]

INK, PALE, ACCENT, WATER, WOOD = "#22201c", "#8d8779", "#9a4a1c", "#2f6d8a", "#e9dfca"
FONT = "font-family=\"'DejaVu Sans', Verdana, sans-serif\""
MARGIN = 26.0  # room for dimensions round the plan [in]
TIMBER = f'fill="#b98d5a" stroke="{INK}" stroke-width="0.3"'
PAD = f'fill="#6d6a63" fill-opacity="0.55" stroke="{INK}" stroke-width="0.2"'
SECTION_RUN = 40.0  # how far a section looks from the wall [in]
NEAR_MEMBER = 24.0  # a member this near a section's line is drawn in it [in]


@dataclass(frozen=True)
class Sheet:
    """What there is to draw; later stages are None where a stop ended the chain before them."""

    survey: Survey
    build: Build
    adjusted: Adjustment
    roof: Roof | None
    deck: Deck | None
    plane: Plane | None
    layout: Layout | None
    frame: Frame | None


def plan_svg(sheet: Sheet) -> str:
    """The plan: roof, slopes, break lines, outlets, deck, members, pads, door, dimensions of the roof's sides."""
    corners = [(c, sheet.adjusted.points[c]) for c in sheet.survey.corners if c in sheet.adjusted.points]
    xy = np.array([[p.x, p.y] for _, p in corners]).reshape(-1, 2)
    if len(xy) < 3:
        return _svg(240, 60, "Plan", "The corners are not fixed by the survey.",
                    [_text(10, 30, "The corners are not fixed by the survey yet.", 8)])
    low, high = xy.min(axis=0) - MARGIN, xy.max(axis=0) + MARGIN
    size = float(max(high - low)) / 52  # text height that stays readable on a letter page

    def at(p: Iterable[float]) -> tuple[float, float]:
        x, y = p
        return float(x) - low[0], float(high[1] - y)

    parts = [_ring(map(at, xy), f'fill="none" stroke="{INK}" stroke-width="1.2"')]
    if sheet.deck:
        parts.append(_ring(map(at, _coords(sheet.deck.outline)), f'fill="{WOOD}" fill-opacity="0.45" stroke="{ACCENT}"'
                           ' stroke-width="1.1"'))
        parts += [_ring(map(at, _coords(h)), f'fill="#ffffff" stroke="{ACCENT}" stroke-width="0.8"')
                  for h in sheet.deck.holes]
    if sheet.frame:
        parts += _member_parts(sheet.frame, at, size)
    elif sheet.layout:
        parts += [_line(at(n.start), at(n.end), f'stroke="{INK}" stroke-width="0.5"') for n in sheet.layout.lines]
    sills = [sheet.adjusted.points[p] for d in sheet.survey.all_doors for p in d.points if p in sheet.adjusted.points]
    door = np.array([[p.x, p.y] for p in sills]).mean(axis=0) if sills else xy[0]
    parts += _roof_parts(sheet.roof, at, size, door) + _reading_parts(sheet, at, size) if sheet.roof else []
    parts += _outlet_parts(sheet, at, size) + _door_parts(sheet, at, size) + _dimensions(corners, at, size)
    high_page = float(high[1] - low[1]) + 3.7 * size
    parts += _legend(sheet, size, float(high[1] - low[1]) + 0.4 * size)
    count = sum(m.role == "joist" for m in sheet.frame.members) if sheet.frame else 0
    pads = len(sheet.frame.supports) if sheet.frame else 0
    slopes = "; ".join(f"{f.slope_in_per_ft:.2f} in a foot" for f in sheet.roof.facets) if sheet.roof else "not known"
    area = "not known" if sheet.adjusted.area_sqft is None else f"{sheet.adjusted.area_sqft:.1f} square feet"
    about = (f"Roof of {len(corners)} sides, area {area}, slopes {slopes}. "
             f"{count} joists on {pads} pads; {len(sheet.survey.outlets)} outlets. House side and door are marked.")
    return _svg(float(high[0] - low[0]), high_page, f"Plan of {sheet.survey.name}", about, parts)


def _roof_parts(roof: Roof, at: _At, size: float, door: Array) -> list[str]:
    """Slope arrows with their figures, and break lines."""
    parts = []
    for f in roof.facets:
        c = f.polygon.representative_point()
        run = 3.2 * size
        d = np.array([math.cos(math.radians(f.falls_toward)), math.sin(math.radians(f.falls_toward))])
        a, b = np.array([c.x, c.y]) - d * run, np.array([c.x, c.y]) + d * run
        side = np.array([-d[1], d[0]]) * size * 0.5
        head = [b, b - d * size + side, b - d * size - side]
        parts += [
            _line(at(a), at(b), f'stroke="{WATER}" stroke-width="{size / 7:.2f}"'),
            _ring(map(at, head), f'fill="{WATER}"'),
            _text(*at(np.array([c.x, c.y]) + np.array([0, size * 0.8])), f"{f.slope_in_per_ft:.2f} in/ft", size, WATER,
                  "middle", halo=True),
        ]
    for fold in roof.breaks:
        # named at the end away from the door
        ends = sorted(np.array(fold.line.coords)[[0, -1]], key=lambda p: float(np.hypot(*(p - door))))
        parts.append(_line(at(ends[0]), at(ends[-1]), f'stroke="{WATER}" stroke-width="{size / 5:.2f}" '
                           f'stroke-dasharray="{size:.1f} {size / 2:.1f}"'))
        parts.append(_text(*at(ends[-1] + (ends[0] - ends[-1]) * 0.06), fold.kind, size, WATER, "start", halo=True))
    return parts


def _reading_parts(sheet: Sheet, at: _At, size: float) -> list[str]:
    """High and low spots with their figures, and a dotted line round what was read."""
    parts = []
    read = union_all([f.read_over for f in sheet.roof.facets]) if sheet.roof else Polygon()
    for part in get_parts(read).tolist():
        if isinstance(part, Polygon):
            parts.append(_ring(map(at, _coords(part)), f'fill="none" stroke="{WATER}" stroke-width="{size / 12:.2f}" '
                               f'stroke-dasharray="{size / 8:.1f} {size / 3:.1f}"'))
    for a in sheet.roof.anomalies if sheet.roof else ():
        p = sheet.adjusted.points[a.point]
        x, y = at((p.x, p.y))
        word = "high" if a.offset > 0 else "low"
        parts += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{size / 3:.1f}" fill="none" stroke="{WATER}"/>',
                  _text(x, y + 1.3 * size, f"{word} {abs(a.offset):.2f}", 0.8 * size, WATER, "middle", halo=True)]
    return parts


def _member_parts(frame: Frame, at: _At, size: float) -> list[str]:
    parts = []
    for m in frame.members:
        wide = "1.5" if m.role != "blocking" else "1.0"
        parts.append(_line(at(m.line.start), at(m.line.end), f'stroke="{INK}" stroke-width="{wide}"'
                           ' stroke-opacity="0.8"'))
    squares = []
    for s in frame.supports:
        x, y = at(s.at)
        a, b = s.pad_size
        squares.append(f"M{x - a / 2:.1f} {y - b / 2:.1f}h{a:.1f}v{b:.1f}h{-a:.1f}z")
    parts.append(f'<path d="{"".join(squares)}" fill="#ffffff" fill-opacity="0.75" stroke="{INK}" '
                 'stroke-width="0.4"/>')
    for m in frame.members:
        if m.role in ("joist", "edge", "rim"):
            label = m.line.at(np.array([min(m.line.length / 2, (2 if m.role == "edge" else 5) * size)]))[0]
            parts.append(_text(*at(label), m.id, size * 0.8, INK, "middle", halo=True))
        for splice in m.splices:
            x, y = at(m.line.at(np.array([splice]))[0])
            parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{size / 4:.1f}" fill="{ACCENT}"/>')
    return parts


def _outlet_parts(sheet: Sheet, at: _At, size: float) -> list[str]:
    parts = []
    centre = _centre(sheet)
    for o in sheet.survey.outlets:
        if o.point in sheet.adjusted.points:
            p = sheet.adjusted.points[o.point]
            x, y = at((p.x, p.y))
            r = size * 0.6
            mark = (f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:.1f}" fill="{WATER}"/>' if o.kind == "drain" else
                    f'<rect x="{x - r:.1f}" y="{y - r:.1f}" width="{2 * r:.1f}" height="{2 * r:.1f}" fill="{WATER}"/>')
            out = np.array([p.x, p.y]) - centre
            dx = 1.2 * size * math.copysign(1, float(out[0]))  # beside its wall, off the deck
            side = "start" if dx > 0 else "end"
            parts += [mark, _text(x + dx, y + 0.35 * size, o.point, size, WATER, side, halo=True)]
    return parts


def _legend(sheet: Sheet, size: float, y: float) -> list[str]:
    """What the marks mean, in words under the plan."""
    outlets = [f"{o.point} {'overflow ' if o.purpose == 'overflow' else ''}{o.kind}" for o in sheet.survey.outlets]
    rows = [f"outlets: {', '.join(outlets) or 'none given'}",
            "squares under members: pads; dots: splices; arrows: the way the roof falls; broken line: ridge or valley",
            "rings: high and low spots of the roof, in inches; dotted line: how far the roof was read"]
    return [_text(2, y + 1.3 * size * i, row, 0.8 * size, INK) for i, row in enumerate(rows)]


def _centre(sheet: Sheet) -> Array:
    """The middle of those of the roof's corners that are fixed, in plan [in]."""
    points = [sheet.adjusted.points[c] for c in sheet.survey.corners if c in sheet.adjusted.points]
    return np.array([np.mean([p.x for p in points]), np.mean([p.y for p in points])])


def _door_parts(sheet: Sheet, at: _At, size: float) -> list[str]:
    parts = []
    centre = _centre(sheet)
    for d in sheet.survey.all_doors:
        points = [sheet.adjusted.points[p] for p in d.points if p in sheet.adjusted.points]
        if points:
            a, b = at((points[0].x, points[0].y)), at((points[-1].x, points[-1].y))
            sill = np.array([(points[0].x + points[-1].x) / 2, (points[0].y + points[-1].y) / 2])
            inward = (centre - sill) / max(float(np.hypot(*(centre - sill))), 1e-9)
            middle = at(sill + inward * 2.2 * size)
            parts += [_line(a, b, f'stroke="{ACCENT}" stroke-width="{size / 2:.1f}"'),
                      _text(*middle, d.name, size, ACCENT, "middle", halo=True)]
    return parts


def _dimensions(corners: Sequence[tuple[str, Point]], at: _At, size: float) -> list[str]:
    """Corner names, and each side's adjusted length with what it stands against left to the survey."""
    parts = []
    xy = np.array([[p.x, p.y] for _, p in corners])
    centre = xy.mean(axis=0)
    for (name, _), here, then in zip(corners, xy, np.roll(xy, -1, axis=0), strict=True):
        out = (here - centre) / max(float(np.hypot(*(here - centre))), 1e-9)
        parts.append(_text(*at(here + out * size * 1.4), name, size * 1.2, INK, "middle"))
        middle, run = (here + then) / 2, then - here
        normal = np.array([run[1], -run[0]]) / max(float(np.hypot(*run)), 1e-9)
        normal = normal if normal @ (middle - centre) > 0 else -normal
        x, y = at(middle + normal * size * 1.7)
        turn = -math.degrees(math.atan2(run[1], run[0]))
        turn = (turn + 90) % 180 - 90
        parts.append(_text(x, y, length.write(float(np.hypot(*run)), feet=True), size, INK, "middle", turn=turn))
    return parts


def section_svg(sheet: Sheet) -> str:
    """Two sections at true proportion: square off the wall through the door, and along a member at the highest roof."""
    if sheet.plane is None or sheet.roof is None or sheet.deck is None:
        return _svg(240, 60, "Section at the door", "The door or the roof is not measured yet.",
                    [_text(10, 30, "No section: the door or the roof is not measured yet.", 8)])
    door = [sheet.adjusted.points[p] for p in sheet.plane.door.points if p in sheet.adjusted.points]
    sill = np.array([np.mean([p.x for p in door]), np.mean([p.y for p in door])])
    inward = _inward(sill, sheet.deck.outline, door)
    first, words = _section(sheet, sill, inward, f"Section at {sheet.plane.door.name}", wall=True)
    xy = corner_places(sheet.roof, sheet.deck.net)
    top = xy[int(np.argmin(sheet.plane.height(xy) - sheet.roof.height(xy)))]
    start, along = _highest_cut(sheet, top)
    second, more = _section(sheet, start, along, "Section where the roof stands highest", wall=False)
    parts = [*first, f'<g transform="translate(0 {_HEIGHT})">', *second, "</g>"]
    return _svg(_WIDTH, 2 * _HEIGHT, "Sections at the door and at the highest roof", f"{words} {more}", parts)


_WIDTH, _HEIGHT = 101.0, 33.0


def _inward(sill: Array, outline: Polygon, door: Sequence[Point]) -> Array:
    """The way from the door onto the deck, square to its threshold where that has a length."""
    if len(door) > 1 and math.hypot(door[-1].x - door[0].x, door[-1].y - door[0].y) > 1:
        run = np.array([door[-1].x - door[0].x, door[-1].y - door[0].y])
        n = np.array([-run[1], run[0]]) / np.hypot(*run)
        back = outline.distance(Point(sill + n * 24)) > outline.distance(Point(sill - n * 24))
        return np.asarray(-n if back else n)
    to = np.array(outline.centroid.coords[0]) - sill
    return np.asarray(to / max(float(np.hypot(*to)), 1e-9))


def _highest_cut(sheet: Sheet, top: Array) -> tuple[Array, Array]:
    """Start and direction of a cut along the joists, with the highest place in its middle."""
    turn = math.radians(sheet.layout.direction) if sheet.layout else 0.0
    along = np.array([math.cos(turn), math.sin(turn)])
    assert sheet.deck is not None
    inside = np.array(sheet.deck.outline.centroid.coords[0]) - top
    off = np.array([-along[1], along[0]])
    # a corner of a facet may lie on the deck's very side: step in to the nearest wood
    step = off * math.copysign(min(8.0, abs(float(inside @ off))), float(inside @ off))
    return np.asarray(top + step - along * SECTION_RUN / 2), along


def _section(sheet: Sheet, start: Array, along: Array, title: str, *, wall: bool) -> tuple[list[str], str]:
    """One section from `start`, and its description. Drawn at the same scale both ways."""
    assert sheet.plane is not None and sheet.roof is not None and sheet.deck is not None
    s = np.linspace(0, SECTION_RUN, 89)
    xy = start + s[:, None] * along
    cut = LineString([xy[0], xy[-1]])
    roof_z, top_z = sheet.roof.height(xy), sheet.plane.height(xy)
    above = sheet.build.decking.thickness + sheet.build.joists.tape_thickness
    zero = float(max(top_z.max(), sheet.plane.sill if wall else -1e9)) + 3.0
    left, top = 14.0, 7.0

    def at(distance: float, z: float) -> tuple[float, float]:
        return left + distance, top + zero - z

    parts = [_text(2, 4.2, title, 2.6, INK, weight="bold")]
    ground = [at(a, z) for a, z in zip(s, roof_z, strict=True)]
    parts.append(_ring([*ground, at(SECTION_RUN, float(roof_z.min()) - 2.5), at(0, float(roof_z.min()) - 2.5)],
                       'fill="#d9d4c7" stroke="none"'))
    parts.append(_path(ground, f'fill="none" stroke="{INK}" stroke-width="0.5"'))
    on_deck = cut.intersection(sheet.deck.net)
    for run in getattr(on_deck, "geoms", [on_deck]):
        if run.geom_type == "LineString" and run.length > 0.1:
            d = np.array([np.hypot(*(np.array(p) - start)) for p in run.coords])[[0, -1]]
            t = np.interp(d, s, top_z)
            parts.append(_ring([at(d[0], t[0]), at(d[1], t[1]), at(d[1], t[1] - above), at(d[0], t[0] - above)],
                               f'fill="{WOOD}" stroke="{INK}" stroke-width="0.3"'))
    wood, depth, x = _cut_members(sheet, cut, start, along, at, above)
    parts += wood
    rows: list[tuple[str, str, float, float]] = []  # words, figure, and the place that a leader points to
    if wall:
        sill = sheet.plane.sill
        parts.append(_ring([at(-6, sill), at(0, sill), at(0, float(roof_z[0])), at(-6, float(roof_z[0]))],
                           f'fill="#c9b8a0" stroke="{ACCENT}" stroke-width="0.5"'))
        parts.append(_text(*at(-6.8, sill - 1.2), "sill", 2.2, ACCENT, "end"))
        rows.append(("step-down at the sill", length.write(sill - float(top_z[0]), 32), sill, 0.0))
    here = start + np.array([[x]]) * along
    top_here, roof_here = float(sheet.plane.height(here)[0]), float(sheet.roof.height(here)[0])
    rows.append(("decking", length.write(above, 32), top_here - above / 2, SECTION_RUN - 2))
    if depth is not None:
        gap = top_here - above - depth - roof_here
        rows += [("joist there", length.write(depth), top_here - above - depth / 2, x),
                 ("clearance over the roof there", length.write(gap, 32), roof_here + gap / 2, x)]
    rows.append(("deck over roof there", length.write(top_here - roof_here, 32), roof_here, x))
    for i, (words, figure, z, at_x) in enumerate(rows):
        y, end = 9.0 + 3.9 * i, at(at_x, z)
        parts.append(_path([end, (left + SECTION_RUN + 1.5, y - 0.8), (left + SECTION_RUN + 2.5, y - 0.8)],
                           f'fill="none" stroke="{ACCENT}" stroke-width="0.18"'))
        parts.append(f'<circle cx="{end[0]:.2f}" cy="{end[1]:.2f}" r="0.35" fill="{ACCENT}"/>')
        parts.append(_text(left + SECTION_RUN + 3, y, f"{figure} in  {words}", 2.3, INK))
    parts.append(_text(left + SECTION_RUN + 3, 9.0 + 3.9 * len(rows), "drawn to one scale", 2.0, PALE))
    return parts, f"{title}: " + ", ".join(f"{words} {figure} in" for words, figure, _, _ in rows) + "."


def _cut_members(sheet: Sheet, cut: LineString, start: Array, along: Array, at: _AtSection,
                 above: float) -> tuple[list[str], float | None, float]:
    """Members in a section: cut ones as their cross-section on a pad, one that runs with the cut along its side.

    Returns the drawing, and the depth of one of them with its place along the cut, for the figures.
    """
    if sheet.frame is None or sheet.plane is None or sheet.roof is None:
        return [], None, 0.0
    beside, across = [], []
    for m in sheet.frame.members:
        u = (np.array(m.line.end) - np.array(m.line.start)) / m.line.length
        if abs(float(u @ along)) > 0.7:
            seen = m.line.shape.intersection(cut.buffer(NEAR_MEMBER * 1.5, cap_style="flat"))
            if m.line.shape.distance(cut) < NEAR_MEMBER and m.role != "blocking" and seen.length > 1:
                beside.append(m)
        elif m.line.shape.intersection(cut).geom_type == "Point":
            across.append(m)
    if beside:
        nearest = min(beside, key=lambda m: m.line.shape.distance(cut))
        return _beside(sheet, sheet.frame, nearest, cut, start, along, at, above)
    parts: list[str] = []
    last: tuple[float, float] | None = None
    for m in across:
        p = m.line.shape.intersection(cut)
        here = np.array(p.coords)
        x = float(np.hypot(*(here[0] - start)))
        top = float(sheet.plane.height(here)[0]) - above
        deep = float(m.depth(np.array([m.line.shape.project(p)]))[0])
        parts.append(_box(at, x, 1.5, top, top - deep, TIMBER))
        if sheet.frame.on(m.id):
            parts.append(_box(at, x, 4.0, top - deep, float(sheet.roof.height(here)[0]), PAD))
        if m.role != "rim" and (last is None or x > last[0]):
            last = (x, deep)
    return (parts, last[1], last[0]) if last else (parts, None, 0.0)


def _beside(sheet: Sheet, frame: Frame, m: Member, cut: LineString, start: Array, along: Array, at: _AtSection,
            above: float) -> tuple[list[str], float, float]:
    """The member that runs with the cut, seen from its side on its pads; its depth in the middle of what is seen."""
    assert sheet.plane is not None
    seen = m.line.shape.intersection(cut.buffer(NEAR_MEMBER * 1.5, cap_style="flat"))
    low, high = sorted(float(m.line.shape.project(Point(c))) for c in (seen.coords[0], seen.coords[-1]))
    inner = [float(v) for v in (*m.profile[:, 0], *(p.s for p in frame.on(m.id))) if low < v < high]
    s = np.array([low, *sorted(inner), high])
    xy = m.line.at(s)
    x, top = (xy - start) @ along, sheet.plane.height(xy) - above
    under = top - m.depth(s)
    outline = [at(float(v), float(w)) for v, w in zip((*x, *x[::-1]), (*top, *under[::-1]), strict=True)]
    parts = [_ring(outline, TIMBER)]
    for p in frame.on(m.id):
        if low <= p.s <= high:
            here = np.array([p.at])
            foot = float(sheet.plane.height(here)[0]) - above - float(m.depth(np.array([p.s]))[0])
            parts.append(_box(at, float(((here - start) @ along)[0]), p.pad_size[0], foot, foot - p.clear_gap, PAD))
    middle = np.clip(m.line.shape.project(Point(start + along * SECTION_RUN / 2)), low, high)
    there = m.line.at(np.array([middle]))
    return parts, float(m.depth(np.array([middle]))[0]), float(((there - start) @ along)[0])


def _box(at: _AtSection, x: float, wide: float, top: float, foot: float, style: str) -> str:
    return _ring([at(x - wide / 2, top), at(x + wide / 2, top), at(x + wide / 2, foot), at(x - wide / 2, foot)], style)


# ------------------------------------------------------------------------------------------------- SVG in small





def _coords(polygon: Polygon) -> Array:
    return np.array(polygon.exterior.coords)[:-1]


def _svg(width: float, height: float, title: str, about: str, parts: Sequence[str]) -> str:
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.1f} {height:.1f}" role="img" {FONT}>'
            f"<title>{escape(title)}</title><desc>{escape(about)}</desc>" + "".join(parts) + "</svg>\n")


def _ring(points: Iterable[tuple[float, float]], style: str) -> str:
    return f'<polygon points="{" ".join(f"{x:.2f},{y:.2f}" for x, y in points)}" {style}/>'


def _path(points: Iterable[tuple[float, float]], style: str) -> str:
    return f'<polyline points="{" ".join(f"{x:.2f},{y:.2f}" for x, y in points)}" {style}/>'


def _line(a: tuple[float, float], b: tuple[float, float], style: str) -> str:
    return f'<line x1="{a[0]:.2f}" y1="{a[1]:.2f}" x2="{b[0]:.2f}" y2="{b[1]:.2f}" {style}/>'


def _text(x: float, y: float, words: str, size: float, fill: str = INK, anchor: str = "start", *, turn: float = 0.0,
          halo: bool = False, weight: str = "normal") -> str:
    """Words at a place; a halo is a pale ground that keeps them readable over line work."""
    wide = 0.62 * size * len(words)
    shift = {"start": 0.0, "middle": -wide / 2, "end": -wide}[anchor]
    around = (f'<rect x="{x + shift:.2f}" y="{y - 0.82 * size:.2f}" width="{wide:.2f}" height="{1.1 * size:.2f}" '
              'fill="#ffffff" fill-opacity="0.8"/>') if halo else ""
    spin = f' transform="rotate({turn:.1f} {x:.2f} {y:.2f})"' if turn else ""
    bold = f' font-weight="{weight}"' if weight != "normal" else ""
    return (f'{around}<text x="{x:.2f}" y="{y:.2f}" font-size="{size:.2f}" fill="{fill}" text-anchor="{anchor}"{bold}'
            f"{spin}>{escape(words)}</text>")
