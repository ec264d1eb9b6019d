"""The plan from above: roof with its falls, members on their pads, and what a crew tapes to set them out.

A part of the drawings. Drawn to scale, y up the page, so that on a letter page no word is smaller than 6 points; what
must be told apart differs by line and symbol, since plans are copied without colour.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon, get_parts, union_all

from framing.engine import length
from framing.engine.layout import obstacle_shape
from framing.engine.members import Member
from framing.engine.plan_dimensions import (
    LEGEND,
    corner_names,
    every_so_many,
    first_joist,
    page_extent,
    running_dimensions,
    side_lengths,
)
from framing.engine.plan_page import Page, box_along, coords, lowered, nearest_side, outward
from framing.engine.plan_symbols import (
    FILLS,
    MARK,
    PANEL_DASH,
    at_words,
    dash,
    datum_on,
    datum_symbol,
    governing_symbol,
    legend,
    outlet_symbol,
    spot_symbol,
)
from framing.engine.setting_out import Rows, Run, joist_rows
from framing.engine.sheet import Sheet
from framing.engine.svg import (
    INK,
    PALE,
    WATER,
    Words,
    line,
    polyline,
    ring,
    rings_path,
    strokes_path,
    svg,
    text,
    upright,
    width_of,
)

Array = NDArray[np.float64]

def plan_svg(sheet: Sheet) -> str:
    """The plan of a sheet; of a survey whose corners are not fixed, a page that says so."""
    names = [c for c in sheet.survey.corners if c in sheet.adjusted.points]
    xy = np.array([[sheet.adjusted.points[c].x, sheet.adjusted.points[c].y] for c in names]).reshape(-1, 2)
    if len(xy) < 3:
        said = "The corners are not fixed by the survey yet."
        return svg(240, 60, "plan", "Plan", said, [text(10, 30, said, 8)])
    runs = [Run(m.id, m.role, m.line.start, m.line.end) for m in sheet.frame.members] if sheet.frame else []
    rows = joist_rows(runs, _door_middle(sheet, xy))
    low, high, size = page_extent(xy, rows)
    _, needed = legend(sheet, rows, every_so_many(rows, size) if rows else 1, size, float(high[0] - low[0]), 0.0)
    if needed > LEGEND * size:
        low, high, size = page_extent(xy, rows, needed / size + 1)
    page = Page(float(low[0]), float(high[1]), size, Words(size, *(high - low).tolist()))
    _roof_outline(sheet, names, xy, page)
    if sheet.deck:
        _deck_area(sheet, page)
    _roof_lines(sheet, page)
    if sheet.frame:
        _pads_and_members(sheet.frame.members, sheet, page)
    elif sheet.layout:
        page.lines.append(strokes_path([page.all([n.start, n.end]) for n in sheet.layout.lines],
                                       f'fill="none" stroke="{INK}" stroke-width="0.5"'))
    _doors_and_datum(sheet, xy, page)
    _governing(sheet, page)
    _outlets(sheet, xy, page)
    corner_names(names, xy, page)
    side_lengths(sheet, names, xy, runs, page)
    named = 1
    if rows is not None:
        running_dimensions(rows, xy, page)
        first_joist(sheet, rows, runs, xy, page)
        named = every_so_many(rows, page.size)
    if sheet.frame:
        _member_names(sheet, rows, named, page)
    _obstacle_names(sheet, page)
    _slopes_and_spots(sheet, page)
    foot = float(high[1] - low[1])
    told, foot = legend(sheet, rows, named, page.size, float(high[0] - low[0]), foot)
    return svg(float(high[0] - low[0]), foot, "plan", f"Plan of {sheet.survey.name}", _about(sheet, len(names)),
               [*page.lines, *page.words.parts, *told])


def _about(sheet: Sheet, sides: int) -> str:
    count = sum(m.role == "joist" for m in sheet.frame.members) if sheet.frame else 0
    pads = len(sheet.frame.supports) if sheet.frame else 0
    slopes = "; ".join(f"{f.slope_in_per_ft:.2f} in a foot" for f in sheet.roof.facets) if sheet.roof else "not known"
    area = "not known" if sheet.adjusted.area_sqft is None else f"{sheet.adjusted.area_sqft:.1f} square feet"
    least = sheet.governing
    height = f" The height over the roof is least, {length.write(least.available, 32)} in, at {at_words(least)}." \
        if least else ""
    return (f"Roof of {sides} sides, area {area}, slopes {slopes}. {count} joists on {pads} pads; "
            f"{len(sheet.survey.outlets)} outlets.{height} House side and doors are marked.")


def _door_middle(sheet: Sheet, xy: Array) -> Array:
    doors = [sheet.plane.door] if sheet.plane else list(sheet.survey.all_doors)
    sills = [s for d in doors if len(s := sheet.sills(d))]
    return np.asarray(sills[0].mean(axis=0) if sills else xy[0])


# ------------------------------------------------------------------------------------------ roof and deck


def _against(sheet: Sheet, a: str, b: str) -> str | None:
    return next((e.against for e in sheet.survey.edges if {e.from_, e.to} == {a, b}), None)


def _roof_outline(sheet: Sheet, names: Sequence[str], xy: Array, page: Page) -> None:
    """The roof's outline with what each side stands against: hatched house wall, doubled parapet, dashed open edge."""
    page.lines.append(ring(page.all(xy), f'fill="none" stroke="{INK}" stroke-width="{page.size / 4:.2f}"'))
    hatch, double = [], []
    for name, after, a, b, out in zip(names, [*names[1:], names[0]], xy, np.roll(xy, -1, axis=0), outward(xy),
                                      strict=True):
        kind = _against(sheet, name, after)
        if kind == "house":
            u, run = (b - a) / max(math.dist(a, b), 1e-9), math.dist(a, b)
            for s in np.arange(page.size / 2, run, page.size):
                hatch.append(page.all([a + u * s, a + u * (s - 0.5 * page.size) + out * 0.5 * page.size]))
        elif kind == "parapet":
            double.append(page.all([a + out * 0.45 * page.size, b + out * 0.45 * page.size]))
        elif kind == "open":
            page.lines.append(line(page.at(a), page.at(b), f'stroke="#ffffff" stroke-width="{page.size / 3.6:.2f}" '
                                   f'stroke-dasharray="{page.size * 0.5:.2f} {page.size:.2f}"'))
    if hatch:
        page.lines.append(strokes_path(hatch, f'fill="none" stroke="{INK}" stroke-width="{page.size / 14:.2f}"'))
    if double:
        page.lines.append(strokes_path(double, f'fill="none" stroke="{INK}" stroke-width="{page.size / 12:.2f}"'))


def _deck_area(sheet: Sheet, page: Page) -> None:
    assert sheet.deck is not None
    thin = f'stroke="{INK}" stroke-width="{page.size / 9:.2f}"'
    page.lines.append(ring(page.all(coords(sheet.deck.outline)), f'fill="{PALE}" {thin}'))
    for hole in sheet.deck.holes:
        page.lines.append(ring(page.all(coords(hole)), f'fill="#ffffff" {thin} stroke-dasharray="{page.size * 0.5:.2f} '
                               f'{page.size * 0.3:.2f}"'))
    if sheet.panels:
        page.lines.append(rings_path([page.all(coords(p)) for p in sheet.panels], f'class="panels" fill="none" '
                                     f'stroke="{INK}" stroke-width="{page.size / 10:.2f}" '
                                     f'stroke-dasharray="{PANEL_DASH * page.size:.2f}"'))
    for o in sheet.survey.obstacles:
        if _is_placed(sheet, o.points or (o.point or "",)):
            shape = obstacle_shape(o, sheet.adjusted)
            x0, y0, x1, y1 = shape.bounds
            page.lines.append(ring(page.all(coords(shape)), f'fill="#ffffff" stroke="{INK}" '
                                   f'stroke-width="{page.size / 6:.2f}"'))
            cross = [LineString([(x0, y0), (x1, y1)]), LineString([(x0, y1), (x1, y0)])]
            page.lines.append(strokes_path([page.all(c.coords) for c in
                                            get_parts(shapely.intersection(cross, shape)).tolist()
                                            if isinstance(c, LineString) and not c.is_empty],
                                           f'fill="none" stroke="{INK}" stroke-width="{page.size / 14:.2f}"'))


def _is_placed(sheet: Sheet, points: Iterable[str]) -> bool:
    return all(p in sheet.adjusted.points for p in points)


def _roof_lines(sheet: Sheet, page: Page) -> None:
    """Ridges and valleys, and a dotted line round what was read."""
    if sheet.roof is None:
        return
    dots = f'stroke-dasharray="{page.size / 9:.2f} {page.size / 3:.2f}"'
    for part in get_parts(union_all([f.read_over for f in sheet.roof.facets])).tolist():
        if isinstance(part, Polygon):
            page.lines.append(ring(page.all(coords(part)), f'fill="none" stroke="{WATER}" '
                                   f'stroke-width="{page.size / 9:.2f}" {dots}'))
    for fold in sheet.roof.breaks:
        style = f'stroke="{WATER}" stroke-width="{page.size / 4.5:.2f}" stroke-dasharray="{dash(fold.kind, page.size)}"'
        page.lines.append(polyline(page.all(fold.line.coords), f'class="{fold.kind}" fill="none" {style}'))


# ------------------------------------------------------------------------------------------ the frame


def _pads_and_members(members: Sequence[Member], sheet: Sheet, page: Page) -> None:
    """Pads below, members of true thickness on them, splices and the marks of end A."""
    assert sheet.frame is not None
    supports = sheet.frame.supports
    way = {m.id: (np.array(m.line.end) - np.array(m.line.start)) / m.line.length for m in members}
    if supports:
        at, size = np.array([s.at for s in supports]), np.array([s.pad_size for s in supports])
        along = np.array([way[s.member] for s in supports]) * size[:, :1] / 2
        side = np.array([[-way[s.member][1], way[s.member][0]] for s in supports]) * size[:, 1:] / 2
        pads = np.stack([at - along - side, at + along - side, at + along + side, at - along + side], axis=1)
        page.lines.append(rings_path([page.all(p) for p in pads.tolist()], f'class="pads" fill="#ffffff" '
                                     f'stroke="{INK}" stroke-width="{page.size / 12:.2f}"'))
    for role, fill in FILLS.items():
        boxes = [page.all(box_along(a, b, m.thickness)) for m in members if m.role == role for a, b in m.centre_lines]
        if boxes:
            page.lines.append(rings_path(boxes, f'class="{role}" fill="{fill}" stroke="{INK}" '
                                         f'stroke-width="{page.size / 20:.2f}"'))
    starts, ties = [], []
    for m in members:
        a, u = np.array(m.line.start), way[m.id]
        n, reach = np.array([-u[1], u[0]]), 0.45 * page.size
        if m.role != "blocking":
            starts.append(page.all([a, a + u * 1.3 * reach + n * reach, a + u * 1.3 * reach - n * reach]))
        for p in m.line.at(np.array(m.splices)) if m.splices else ():
            for k in (1, -1):
                ties.append(page.all([p, p + k * u * reach + n * reach, p + k * u * reach - n * reach]))
    if starts:
        page.lines.append(rings_path(starts, f'class="end-a" fill="#ffffff" stroke="{INK}" '
                                     f'stroke-width="{page.size / 14:.2f}"'))
    if ties:
        page.lines.append(rings_path(ties, f'class="splice" fill="{INK}" stroke="#ffffff" '
                                     f'stroke-width="{page.size / 20:.2f}"'))


def _member_names(sheet: Sheet, rows: Rows | None, every: int, page: Page) -> None:
    """Names on the members between their pads, near end A; of dense rows every so many, the first and the last."""
    assert sheet.frame is not None
    under: dict[str, list[float]] = {}
    for p in sheet.frame.supports:
        under.setdefault(p.member, []).append(p.s)
    count = len(rows.ids) if rows else 0
    skipped = {i for k, ids in enumerate(rows.ids) for i in ids if k % every and k != count - 1} if rows else set()
    small = every > 1
    for m in sheet.frame.members:
        if m.id in skipped or (m.role in ("blocking", "border") and small):
            continue
        s = np.unique(np.r_[0.0, under.get(m.id, []), m.line.length])
        middles = (s[1:] + s[:-1]) / 2
        wide = np.diff(s) > 1.4 * page.size  # room for a name between two pads
        elsewhere = m.line.length * np.array([0.4, 0.6, 0.25, 0.75, 0.12, 0.88])
        places = m.line.at(np.r_[middles[wide], elsewhere, middles[~wide]])
        down = 0.3 * page.size
        page.words.put([(x, y + down) for x, y in page.all(places)], m.id)


# ------------------------------------------------------------------------------------------ doors, water, heights


def _doors_and_datum(sheet: Sheet, xy: Array, page: Page) -> None:
    """Doors as gaps in the wall with their names outside, and the datum mark where the survey's words place it."""
    out = outward(xy)
    for d in sheet.survey.all_doors:
        sills = sheet.sills(d)
        if not len(sills):
            continue
        a, b, n = sills[0], sills[-1], out[nearest_side(xy, sills.mean(axis=0))]
        wide = page.size * 0.42
        if math.dist(a, b) > 1:
            page.lines.append(ring(page.all(box_along(a, b, wide)), f'class="door" fill="#ffffff" stroke="{INK}" '
                                   f'stroke-width="{page.size / 9:.2f}"'))
        middle = sills.mean(axis=0)
        turn = upright(-math.degrees(math.atan2(-n[0], n[1])))
        places = [lowered(page, middle + n * page.size * r, turn) for r in (4.1, 5.0)]
        page.words.put(places, d.name, turn=turn, bold=True)
    if (where := datum_on(sheet)) is not None:
        n = out[nearest_side(xy, where)]
        x, y = page.at(where + n * page.size * 1.0)
        page.words.parts.append(datum_symbol(x, y, MARK * page.size))
        page.words.take(np.array([x, y, x, y]) + MARK * page.size * np.array([-1, -1, 1, 1]))


def _governing(sheet: Sheet, page: Page) -> None:
    """The place where the height over the roof is least, a black diamond with a G."""
    if sheet.governing is None:
        return
    x, y = page.at(sheet.governing.at)
    page.words.parts.append(governing_symbol(x, y, page.size))
    page.words.take(np.array([x, y, x, y]) + page.size * np.array([-1, -1, 1, 1]))


def _outlets(sheet: Sheet, xy: Array, page: Page) -> None:
    """Drains round, scuppers square; overflows open, primary outlets black."""
    out = outward(xy)
    for o in sheet.survey.outlets:
        if o.point not in sheet.adjusted.points:
            continue
        p = np.array([sheet.adjusted.points[o.point].x, sheet.adjusted.points[o.point].y])
        page.words.parts.append(outlet_symbol(*page.at(p), MARK * page.size, o.kind, o.purpose))
        n = out[nearest_side(xy, p)]
        x, y = page.at(p)
        r = MARK * page.size
        page.words.take(np.array([x - r, y - r, x + r, y + r]))
        # outside its wall, then all round
        ways = [n, *(np.array([math.cos(a), math.sin(a)]) for a in np.radians(range(0, 360, 45)))]
        wide = width_of(o.point) / 2
        places = [lowered(page, p + w * page.size * (0.3 + MARK + max(wide * abs(w[0]), 0.7 * abs(w[1]))) * k, 0.0)
                  for k in (1.0, 1.7) for w in ways]
        page.words.put(places, o.point)


def _obstacle_names(sheet: Sheet, page: Page) -> None:
    for o in sheet.survey.obstacles:
        if _is_placed(sheet, o.points or (o.point or "",)):
            shape = obstacle_shape(o, sheet.adjusted)
            x0, y0, x1, y1 = shape.bounds
            middle, e = np.array([(x0 + x1) / 2, (y0 + y1) / 2]), page.size
            reach = [(0, 0), (0, (y1 - y0) / 2 + e), (0, -(y1 - y0) / 2 - e), (0, (y1 - y0) / 2 + 2.2 * e)]
            page.words.put([lowered(page, middle + np.array(v), 0.0) for v in reach], o.name)
            (left, foot), (right, top) = page.at((x0, y0)), page.at((x1, y1))
            page.words.take(np.array([left, top, right, foot]))


def _slopes_and_spots(sheet: Sheet, page: Page) -> None:
    """Arrows down the falls with their figures, names of ridges and valleys, high and low spots."""
    if sheet.roof is None:
        return
    for fold in sheet.roof.breaks:
        at = [lowered(page, np.array(fold.line.interpolate(f, normalized=True).coords[0]), 0.0)
              for f in (0.92, 0.08, 0.5, 0.75, 0.25, 0.62, 0.38, 0.85, 0.15)]
        page.words.put(at, fold.kind, fill=WATER)
    for a in sheet.roof.anomalies:
        p = sheet.adjusted.points[a.point]
        x, y = page.at((p.x, p.y))
        r = MARK * page.size
        page.words.parts.append(spot_symbol(x, y, page.size, a.offset > 0))
        page.words.take(np.array([x - r, y - r, x + r, y + r]))
        words = f"{'high' if a.offset > 0 else 'low'} {abs(a.offset):.2f}"
        e, wide = page.size, width_of(words) * page.size / 2
        page.words.put([(x, y + 1.7 * e), (x, y - e), (x + wide + e, y + 0.3 * e), (x - wide - e, y + 0.3 * e),
                        (x, y + 2.8 * e), (x, y - 2.1 * e)], words, fill=WATER)
    for f in sheet.roof.facets:
        words, e = f"{f.slope_in_per_ft:.2f} in/ft", page.size
        d = np.array([math.cos(math.radians(f.falls_toward)), math.sin(math.radians(f.falls_toward))])
        turn = upright(-f.falls_toward)
        places = _inside(f.polygon, 3.2 * e)
        i = page.words.put([lowered(page, p, turn) for p in places], words, fill=WATER, turn=turn)
        half = (width_of(words) / 2 + 0.3) * e
        tail, neck, tip = (places[i or 0] + d * v for v in (-half - 1.6 * e, half, half + 2.0 * e))
        page.words.parts.append(line(page.at(tail), page.at(tail + d * 1.6 * e),
                                     f'stroke="{WATER}" stroke-width="{e / 6:.2f}"'))
        side = np.array([-d[1], d[0]]) * 0.5 * e
        page.words.parts.append(line(page.at(neck), page.at(tip), f'stroke="{WATER}" stroke-width="{e / 6:.2f}"'))
        page.words.parts.append(ring(page.all([tip + d * 0.3 * e, tip - d * e + side, tip - d * e - side]),
                                     f'class="fall" fill="{WATER}"'))


def _inside(polygon: Polygon, room: float) -> Array:
    """Places (n, 2) within an area, from its middle out; those with room to its edge where there are any."""
    middle = np.array(polygon.representative_point().coords[0])
    x0, y0, x1, y1 = polygon.bounds
    grid = np.array([[x, y] for y in np.linspace(y0, y1, 13)[1:-1] for x in np.linspace(x0, x1, 9)[1:-1]])
    for inner in (polygon.buffer(-room), polygon):
        if not inner.is_empty:
            kept = grid[shapely.contains_xy(inner, grid[:, 0], grid[:, 1])]
            if len(kept):
                order = np.argsort(np.hypot(*(kept - middle).T), kind="stable")
                return np.asarray(kept[order])
    return middle[None]
