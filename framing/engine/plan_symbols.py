"""The symbols of a plan, and the legend under it that says what they mean.

A part of the drawings.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from framing.engine import length
from framing.engine.plane import Layers
from framing.engine.setting_out import Rows, datum_place
from framing.engine.sheet import Sheet
from framing.engine.svg import INK, WATER, Place, line, ring, rings_path, strokes_path, text, width_of

Array = NDArray[np.float64]

LEADING = 1.35  # from one line of the legend to the next [ems]
MARK = 0.62  # half the size of a symbol [ems]
PANEL_DASH = 0.3  # [ems]
WALL = {"house": "house wall", "parapet": "parapet", "open": "open edge"}
FILLS = {"joist": "#6b665d", "edge": "#2b2824", "rim": "#2b2824", "blocking": "#ffffff", "border": "#b9b3a7"}
RIDGE_DASH, VALLEY_DASH = (1.6, 0.5), (1.2, 0.35, 0.2, 0.35, 0.2, 0.35)  # [ems]


def dash(kind: str, size: float) -> str:
    return " ".join(f"{v * size:.2f}" for v in (VALLEY_DASH if kind == "valley" else RIDGE_DASH))


def datum_on(sheet: Sheet) -> Array | None:
    """Where on the plan the datum mark is; None where the survey's words do not place it."""
    points = {name: (p.x, p.y) for name, p in sheet.adjusted.points.items()}
    return datum_place(sheet.survey, points, sheet.plane.door if sheet.plane else None)


def at_words(place: Layers) -> str:
    """A place in words: its coordinates, and how it lies from points of the survey."""
    return f"x {place.at[0]:.0f}, y {place.at[1]:.0f}" + (f" ({place.place})" if place.place else "")


def datum_symbol(x: float, y: float, r: float) -> str:
    """A level mark: a circle in quarters, two of them black."""
    return (f'<g class="datum"><circle cx="{x:.2f}" cy="{y:.2f}" r="{r:.2f}" fill="#ffffff" stroke="{INK}" '
            f'stroke-width="{r / 5:.2f}"/><path d="M{x:.2f} {y:.2f}v{-r:.2f}a{r:.2f} {r:.2f} 0 0 1 {r:.2f} {r:.2f}z'
            f'M{x:.2f} {y:.2f}v{r:.2f}a{r:.2f} {r:.2f} 0 0 1 {-r:.2f} {-r:.2f}z" fill="{INK}"/></g>')


def governing_symbol(x: float, y: float, size: float) -> str:
    r = 1.05 * size
    diamond = ring([(x - r, y), (x, y - r), (x + r, y), (x, y + r)],
                   f'class="governing" fill="{INK}" stroke="#ffffff" stroke-width="{size / 10:.2f}"')
    return diamond + text(x, y + 0.35 * size, "G", size, "#ffffff", "middle", bold=True)


def spot_symbol(x: float, y: float, size: float, high: bool) -> str:
    """A high spot of the roof, a triangle that points up, or a low one that points down."""
    r, up = MARK * size, -1 if high else 1
    return ring([(x - r, y - up * r * 0.7), (x + r, y - up * r * 0.7), (x, y + up * r)],
                f'class="spot" fill="#ffffff" stroke="{WATER}" stroke-width="{size / 9:.2f}"')


def outlet_symbol(x: float, y: float, r: float, kind: str, purpose: str) -> str:
    fill = "#ffffff" if purpose == "overflow" else INK
    style = f'class="outlet" fill="{fill}" stroke="{INK}" stroke-width="{r / 4:.2f}"'
    return (f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{r:.2f}" {style}/>' if kind == "drain" else
            f'<rect x="{x - r:.2f}" y="{y - r:.2f}" width="{2 * r:.2f}" height="{2 * r:.2f}" {style}/>')


def legend(sheet: Sheet, rows: Rows | None, every: int, e: float, wide: float,
           top: float) -> tuple[list[str], float]:
    """What the marks mean, in symbols and words under the plan; and where the page ends. `e` is the text height."""
    parts: list[str] = []
    x, y = 0.3 * e, top + e
    for symbol, words in _symbols(sheet, every):
        need = (3.0 + width_of(words) + 1.2) * e
        if x > e and x + need > wide:
            x, y = 0.3 * e, y + LEADING * e
        parts += [_sample(symbol, x + 1.1 * e, y - 0.3 * e, e), text(x + 2.6 * e, y, words, e)]
        x += need
    y += 1.7 * e
    for row in _rows_of_words(sheet, rows, every):
        for part in _wrapped(row, wide / e - 0.6):
            parts.append(text(0.3 * e, y, part, e))
            y += LEADING * e
    return parts, y


def _wrapped(words: str, wide: float) -> list[str]:
    """Words in lines no wider than so much [ems]."""
    lines: list[list[str]] = []
    left = 0.0
    for word in words.split():
        need = width_of(word) + width_of(" ")
        if not lines or left < need:
            lines.append([])
            left = wide
        lines[-1].append(word)
        left -= need
    return [" ".join(one) for one in lines]


def _symbols(sheet: Sheet, every: int) -> list[tuple[str, str]]:
    """The symbols that this plan has, with their words."""
    kinds = {e.against for e in sheet.survey.edges}
    found: list[tuple[str, str]] = [(k, WALL[k]) for k in WALL if k in kinds]
    if sheet.frame:
        roles = {m.role for m in sheet.frame.members}
        found += [(r, w) for r, w in (("joist", "joist"), ("edge", "rim, edge joist"), ("blocking", "blocking"),
                                      ("border", "border member")) if r in roles or (r == "edge" and "rim" in roles)]
        found += [("pad", "pad under it"), ("end-a", "end A")]
        if any(m.splices for m in sheet.frame.members):
            found.append(("splice", "splice"))
    if sheet.roof:
        found += [(k, k) for k in ("ridge", "valley") if any(b.kind == k for b in sheet.roof.breaks)]
        found += [("fall", "the way the roof falls"), ("read", "how far the roof was read")]
        found += [(k, f"{k} spot of the roof [in]") for k, up in (("high", True), ("low", False))
                  if any((a.offset > 0) == up for a in sheet.roof.anomalies)]
    if sheet.panels:
        found.append(("panel", "panel that lifts out"))
    if sheet.survey.obstacles:
        found.append(("obstacle", "obstacle, and its clearance"))
    if sheet.governing:
        found.append(("governing", "least height over the roof"))
    if datum_on(sheet) is not None:
        found.append(("datum", "datum mark"))
    return found


def _rows_of_words(sheet: Sheet, rows: Rows | None, every: int) -> list[str]:
    told = []
    outlets = [f"{o.point} {'overflow ' if o.purpose == 'overflow' else ''}{o.kind}" for o in sheet.survey.outlets]
    told.append(f"Outlets (drains round, scuppers square, overflows white): {', '.join(outlets)}." if outlets else
                "Outlets: none given.")
    if rows is not None:
        told.append(f"Joists: distances stand beside the roof, from the first joist {rows.ids[0][0]}, centre line to "
                    "centre line, square to the joists; its distance from the wall is given near both its ends. Beside "
                    "the walls: how far off the edge of the deck lies, and the centre line of rim or edge joist. "
                    "Inches.")
    if every > 1:
        told.append(f"Every {every}{'nd' if every == 2 else 'rd' if every == 3 else 'th'} row of joists is named; the "
                    "numbers count on between them.")
    if (least := sheet.governing) is not None:
        told.append(f"G: the height from roof to finished deck is least, {length.write(least.available, 32)} in, where "
                    f"the build needs {length.write(least.needed, 32)}: at {at_words(least)}.")
    if (datum := sheet.survey.datum) is not None:
        said = ", ".join(w for w in (datum.what, datum.where) if w)
        told.append(f"Datum: {said or 'not described'}" + ("." if datum_on(sheet) is not None else
                                                         " (the words do not say where on this plan)."))
    return told


def _sample(symbol: str, x: float, y: float, e: float) -> str:
    """One symbol of the legend, its middle at a place."""
    r = MARK * e
    ink = f'stroke="{INK}" stroke-width="{e / 9:.2f}"'
    left, right = (x - 0.95 * e, y), (x + 0.95 * e, y)
    heavy = line(left, right, f'stroke="{INK}" stroke-width="{e / 4:.2f}"')
    if symbol in FILLS:
        return ring(_flat_box(x, y, 1.9 * e, 0.45 * e), f'fill="{FILLS[symbol]}" {ink}')
    if symbol in ("ridge", "valley"):
        return line((x - 1.1 * e, y), (x + 1.1 * e, y), f'stroke="{WATER}" stroke-width="{e / 4.5:.2f}" '
                    f'stroke-dasharray="{dash(symbol, e * 0.6)}"')
    if symbol in ("high", "low"):
        return spot_symbol(x, y, e, symbol == "high")
    drawn = {
        "house": lambda: heavy + strokes_path([[(x + v * e, y), (x + (v - 0.4) * e, y - 0.45 * e)] for v in
                                               (-0.5, 0.1, 0.7)], f'fill="none" {ink}'),
        "parapet": lambda: heavy + line((left[0], y - 0.4 * e), (right[0], y - 0.4 * e), ink),
        "open": lambda: line(left, right, f'stroke="{INK}" stroke-width="{e / 4:.2f}" stroke-dasharray='
                             f'"{e:.2f} {e / 2:.2f}"'),
        "pad": lambda: ring(_flat_box(x, y, 1.2 * e, 1.0 * e), f'fill="#ffffff" {ink}'),
        "end-a": lambda: ring([(x - r, y), (x + r, y - r), (x + r, y + r)], f'fill="#ffffff" {ink}'),
        "splice": lambda: rings_path([[(x, y), (x + w * r, y - r), (x + w * r, y + r)] for w in (1, -1)],
                                     f'fill="{INK}"'),
        "fall": lambda: line(left, (x + 0.3 * e, y), f'stroke="{WATER}" stroke-width="{e / 6:.2f}"') + ring(
            [(x + e, y), (x + 0.1 * e, y - 0.45 * e), (x + 0.1 * e, y + 0.45 * e)], f'fill="{WATER}"'),
        "read": lambda: line(left, right, f'stroke="{WATER}" stroke-width="{e / 9:.2f}" stroke-dasharray='
                             f'"{e / 9:.2f} {e / 3:.2f}"'),
        "obstacle": lambda: ring(_flat_box(x, y, 1.7 * e, 1.2 * e), f'fill="#ffffff" {ink} stroke-dasharray='
                                 f'"{e / 4:.2f} {e / 6:.2f}"') + ring(_flat_box(x, y, 1.0 * e, 0.6 * e),
                                                                     f'fill="#ffffff" {ink}'),
        "panel": lambda: ring(_flat_box(x, y, 1.7 * e, 1.0 * e), f'fill="none" {ink} stroke-dasharray='
                              f'"{PANEL_DASH * e:.2f}"'),
        "governing": lambda: governing_symbol(x, y, e),
        "datum": lambda: datum_symbol(x, y, r),
    }
    return drawn[symbol]()


def _flat_box(x: float, y: float, wide: float, high: float) -> list[Place]:
    return [(x - wide / 2, y - high / 2), (x + wide / 2, y - high / 2), (x + wide / 2, y + high / 2),
            (x - wide / 2, y + high / 2)]
