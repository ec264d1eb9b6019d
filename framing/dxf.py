"""The plan as DXF, for the drawing programs of architects, engineers and roofers.

Made from the documents alone: what was framed once gives the same drawing later. Inches, real coordinates of the
survey, named layers, members as outlines of their true thickness. The same documents give the same bytes.
"""

from __future__ import annotations

import io
import logging
import math
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from types import SimpleNamespace
from typing import Any, cast

import ezdxf
import numpy as np
from ezdxf import units
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts import Modelspace
from shapely import Polygon

from framing.engine import length
from framing.engine.adjustment import Adjustment
from framing.engine.documents import Door, Survey, parse_survey
from framing.engine.layout import obstacle_shape
from framing.engine.plan_page import nearest_side, outward
from framing.engine.setting_out import Rows, Run, datum_place, first_from_wall, joist_rows
from framing.engine.svg import upright

CONTENT_TYPE = "image/vnd.dxf"  # IANA media types
VERSION = "R2010"  # AC1024, read by every program of the last fifteen years

# Layer: (AutoCAD colour index, linetype, lineweight in 1/100 mm). Colour 7 is black on paper.
LAYERS = {
    "ROOF": (7, "CONTINUOUS", 50), "DECK": (30, "CONTINUOUS", 35), "OBSTACLE": (1, "CONTINUOUS", 35),
    "JOIST": (7, "CONTINUOUS", 25), "RIM": (7, "CONTINUOUS", 35), "EDGE": (7, "CONTINUOUS", 35),
    "BLOCKING": (8, "CONTINUOUS", 18), "BORDER": (8, "CONTINUOUS", 25), "SPLICE": (6, "CONTINUOUS", 25),
    "PAD": (3, "CONTINUOUS", 18), "OUTLET": (5, "CONTINUOUS", 35), "BREAKLINE": (5, "DASHED", 35),
    "SLOPE": (5, "CONTINUOUS", 18), "SPOT": (5, "CONTINUOUS", 18), "DOOR": (1, "CONTINUOUS", 70),
    "BOARD": (9, "CONTINUOUS", 9), "PANEL": (2, "DASHED", 25), "DIMENSION": (8, "CONTINUOUS", 13),
    "TEXT": (7, "CONTINUOUS", 13), "GOVERNING": (6, "CONTINUOUS", 35), "DATUM": (1, "CONTINUOUS", 35),
}
ROLE_LAYERS = {"joist": "JOIST", "rim": "RIM", "edge": "EDGE", "blocking": "BLOCKING", "border": "BORDER"}
LEAST_TEXT, TEXT_SHARE = 2.5, 90.0  # text is at least so high [in], and so small a share of the roof's longer side
FARTHEST_WALL = 60.0  # the first joist is held to no wall further off [in]
LONGEST_TEXT = 200  # signs; DXF holds 255 bytes in a text of the older formats

logging.getLogger("ezdxf").setLevel(logging.WARNING)  # it tells of every table that it makes
# Dates and identifiers of the moment are left out by this switch of the library.
ezdxf.options.write_fixed_meta_data_for_testing = True

Point = tuple[float, float]


def plan_dxf(framing: Mapping[str, Any], survey: Mapping[str, Any]) -> bytes:
    """The plan of a deck-framing/1 document on its roof-survey/1; what a stop left out is not in it."""
    parsed = parse_survey(survey)
    points = {name: (p["x"], p["y"]) for name, p in framing["survey_adjustment"]["points"].items()}
    corners = [points[c] for c in parsed.corners if c in points]
    document = ezdxf.new(VERSION, setup=["linetypes"], units=units.IN)
    document.header["$MEASUREMENT"] = 0
    document.header["$LUNITS"], document.header["$LUPREC"] = 4, 4  # feet and inches, to 1/16
    for name, (colour, linetype, weight) in LAYERS.items():
        document.layers.add(name, color=colour, linetype=linetype, lineweight=weight)
    sides = np.ptp(np.array(corners), axis=0) if corners else np.zeros(2)
    high = max(LEAST_TEXT, float(sides.max()) / TEXT_SHARE)
    space = _Space(document, document.modelspace(), high)
    _roof(space, framing, parsed, points, corners)
    _deck(space, framing, parsed, points)
    _frame(space, framing)
    _setting_out(space, framing, parsed, points, corners)
    # the library lists these from a set, in an order that changes from process to process
    for kind in sorted(document.entitydb.dxf_types_in_use()):
        document.classes.add_class(kind)
    out = io.StringIO(newline="")
    document.write(out)
    return out.getvalue().encode("utf-8")


class _Space:
    """Model space with the few ways that this plan draws in."""

    def __init__(self, document: Drawing, model: Modelspace, high: float) -> None:
        self.document, self.model, self.high = document, model, high
        document.dimstyles.new("DECK", dxfattribs={
            "dimtxt": high, "dimasz": 0.0, "dimtsz": high / 2, "dimexe": high / 2, "dimexo": high / 2,
            "dimgap": high / 3, "dimtad": 1, "dimlunit": 4, "dimdec": 4, "dimscale": 1.0,
        })

    def ring(self, points: Iterable[Sequence[float]], layer: str) -> None:
        self.model.add_lwpolyline([(float(p[0]), float(p[1])) for p in points], close=True,
                                  dxfattribs={"layer": layer})

    def line(self, a: Sequence[float], b: Sequence[float], layer: str) -> None:
        self.model.add_line((float(a[0]), float(a[1])), (float(b[0]), float(b[1])), dxfattribs={"layer": layer})

    def circle(self, at: Sequence[float], radius: float, layer: str) -> None:
        self.model.add_circle((float(at[0]), float(at[1])), radius, dxfattribs={"layer": layer})

    def text(self, words: str, at: Sequence[float], layer: str = "TEXT", *, turn: float = 0.0,
             align: TextEntityAlignment = TextEntityAlignment.MIDDLE_CENTER) -> None:
        if words := plain(words):
            self.model.add_text(words, height=self.high, rotation=turn, dxfattribs={"layer": layer}).set_placement(
                (float(at[0]), float(at[1])), align=align)

    def dimension(self, a: Sequence[float], b: Sequence[float], off: float, words: str) -> None:
        """A dimension along a-b, its line `off` to the left of the way from a to b [in]; read from below or right."""
        way = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
        if abs(readable(way) - way) > 1e-6:
            a, b, off = b, a, -off
        if math.dist(a, b) > 1e-6:
            self.model.add_aligned_dim(p1=(float(a[0]), float(a[1])), p2=(float(b[0]), float(b[1])), distance=off,
                                       text=words, dimstyle="DECK", dxfattribs={"layer": "DIMENSION"}).render()


def plain(words: str) -> str:
    """Words as a DXF text may hold them: one line, no control signs, no codes that a reader would take for its own."""
    kept = "".join(" " if unicodedata.category(c)[0] in "CZ" else c for c in words)
    return " ".join(kept.replace("^", "'").replace("%%", "%").split())[:LONGEST_TEXT]


def readable(degrees: float) -> float:
    """The angle, counter-clockwise, at which words along a line of this angle are read from below or from the right."""
    return -upright(-degrees)


def box_along(start: Sequence[float], end: Sequence[float], wide: float) -> list[Point]:
    """The outline of a stick of some thickness along its centre line [in]."""
    a, b = np.asarray(start, float), np.asarray(end, float)
    u = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
    n = np.array([-u[1], u[0]]) * wide / 2
    return [(float(p[0]), float(p[1])) for p in (a - n, b - n, b + n, a + n)]


def _roof(space: _Space, framing: Mapping[str, Any], survey: Survey, points: Mapping[str, Point],
          corners: Sequence[Point]) -> None:
    """Outline, break lines, slopes, spots, outlets, obstacles, doors."""
    if len(corners) > 2:
        space.ring(corners, "ROOF")
    xy = np.array(corners).reshape(-1, 2)
    out = outward(xy) if len(corners) > 2 else np.zeros((len(corners), 2))
    for name, at_, n in zip([c for c in survey.corners if c in points], xy, out + np.roll(out, 1, axis=0), strict=True):
        space.text(name, at_ + n / max(float(np.hypot(*n)), 1e-9) * 1.5 * space.high)
    roof = framing["roof"]
    for fold in roof["breaklines"]:
        for a, b in zip(fold["points"], fold["points"][1:], strict=False):
            space.line(a, b, "BREAKLINE")
        space.text(fold["kind"], np.mean(fold["points"], axis=0), "BREAKLINE")
    for facet in roof["facets"]:
        at = Polygon(facet["polygon"]).representative_point()
        turn = math.radians(facet["falls_toward"])
        d, e = np.array([math.cos(turn), math.sin(turn)]), space.high
        tip, side = np.array([at.x, at.y]) + d * 4 * e, np.array([-d[1], d[0]]) * e * 0.5
        space.line(tip - d * 8 * e, tip, "SLOPE")
        space.line(tip, tip - d * e + side, "SLOPE")
        space.line(tip, tip - d * e - side, "SLOPE")
        turned = readable(facet["falls_toward"])
        across = np.array([-math.sin(math.radians(turned)), math.cos(math.radians(turned))])
        space.text(f"{facet['slope_in_per_ft']:.2f} in/ft", np.array([at.x, at.y]) + across * e, "SLOPE", turn=turned)
    for spot in roof["anomalies"]:
        if spot["point"] in points:
            at_ = np.array(points[spot["point"]])
            space.circle(at_, space.high / 2, "SPOT")
            space.text(f"{'high' if spot['offset'] > 0 else 'low'} {abs(spot['offset']):.2f}",
                       at_ - [0, 1.5 * space.high], "SPOT")
    for o in survey.outlets:
        if o.point in points:
            at_ = np.array(points[o.point])
            wide = (o.diameter if o.kind == "drain" else o.width) or 2 * space.high
            if o.kind == "drain":
                space.circle(at_, wide / 2, "OUTLET")
            else:
                space.ring(box_along(at_ - [wide / 2, 0], at_ + [wide / 2, 0], wide), "OUTLET")
            n = out[nearest_side(xy, at_)] if len(corners) > 2 else np.array([1.0, 0.0])
            align = (TextEntityAlignment.MIDDLE_LEFT if n[0] > 0.5 else TextEntityAlignment.MIDDLE_RIGHT if n[0] < -0.5
                     else TextEntityAlignment.MIDDLE_CENTER)
            space.text(f"{o.point} {o.purpose} {o.kind}", at_ + n * (wide / 2 + space.high), "OUTLET", align=align)
    placed = cast(Adjustment, SimpleNamespace(points={k: SimpleNamespace(x=x, y=y) for k, (x, y) in points.items()}))
    for obstacle in survey.obstacles:
        if all(p in points for p in obstacle.points or (obstacle.point or "",)):
            shape = obstacle_shape(obstacle, placed)
            space.ring(list(shape.exterior.coords)[:-1], "OBSTACLE")
            space.text(obstacle.name, shape.centroid.coords[0], "OBSTACLE")
    for door in survey.all_doors:
        sills = [points[p] for p in door.points if p in points]
        if sills:
            for a, b in zip(sills, sills[1:], strict=False):
                space.line(a, b, "DOOR")
            space.text(door.name, np.mean(sills, axis=0) - [0, space.high], "DOOR")


def _deck(space: _Space, framing: Mapping[str, Any], survey: Survey, points: Mapping[str, Point]) -> None:
    """The deck's outline, its holes and boards, and the datum mark."""
    for ring, layer in ((framing["outline"], "DECK"), *((hole, "DECK") for hole in framing["holes"]),
                        *((b["polygon"], "PANEL" if b["kind"] == "panel" else "BOARD") for b in framing["boards"])):
        if len(ring) > 2:
            space.ring(ring, layer)
    where = datum_place(survey, points, _governing(framing, survey))
    if survey.datum is not None:
        said = ", ".join(w for w in (survey.datum.what, survey.datum.where) if w) or "not described"
        if where is not None:
            r = space.high / 2
            space.circle(where, r, "DATUM")
            space.line(where - [2 * r, 0], where + [2 * r, 0], "DATUM")
            space.line(where - [0, 2 * r], where + [0, 2 * r], "DATUM")
        space.text(f"datum: {said}", _below(points, space.high), "DATUM", align=TextEntityAlignment.LEFT)
    for place in framing.get("height_budget") or ():
        if place["governs"]:
            r = space.high
            at = np.array(place["at"])
            space.ring([at - [r, 0], at - [0, r], at + [r, 0], at + [0, r]], "GOVERNING")
            space.text(f"least height over the roof {length.write(place['available'], 32)}", at + [0, 1.6 * r],
                       "GOVERNING")


def _below(points: Mapping[str, Point], high: float) -> Any:
    """A place under the plan's left corner."""
    xy = np.array(list(points.values())).reshape(-1, 2)
    return xy.min(axis=0) - [0, 12 * high] if len(xy) else np.zeros(2)


def _governing(framing: Mapping[str, Any], survey: Survey) -> Door | None:
    """The door marked as governing, else the one that stands least over the finished surface."""
    reveals = framing["plane"]["reveals"]
    read = [d for d in survey.all_doors if any(p in reveals for p in d.points)]
    lowest = sorted(read, key=lambda d: min(reveals[p] for p in d.points if p in reveals))
    return next(iter([d for d in read if d.governs] or lowest), None)


def _frame(space: _Space, framing: Mapping[str, Any]) -> None:
    """Members as outlines of their true thickness with their names and splices, pads under them."""
    members = {m["id"]: m for m in framing["members"]}
    for s in framing["supports"]:
        m = members[s["member"]]
        u = np.subtract(m["end"], m["start"]) / max(math.dist(m["start"], m["end"]), 1e-9)
        a, b = s.get("pad_size") or (6.0, 6.0)
        space.ring(box_along(np.asarray(s["at"]) - u * a / 2, np.asarray(s["at"]) + u * a / 2, b), "PAD")
    for m in framing["members"]:
        run = max(math.dist(m["start"], m["end"]), 1e-9)
        u = np.subtract(m["end"], m["start"]) / run
        n = np.array([-u[1], u[0]])
        for start, end, beside in m.get("pieces") or [(0.0, run, 0.0)]:
            a = np.asarray(m["start"]) + n * beside
            space.ring(box_along(a + u * start, a + u * end, m["thickness"]), ROLE_LAYERS[m["role"]])
        for splice in m["splices"]:
            at, across = np.asarray(m["start"]) + u * splice, n * m["thickness"]
            space.line(at - across, at + across, "SPLICE")
        turned = readable(math.degrees(math.atan2(u[1], u[0])))
        near_a = np.asarray(m["start"]) + u * min(run / 2, 20.0)
        over = np.array([-math.sin(math.radians(turned)), math.cos(math.radians(turned))])
        space.text(m["id"], near_a + over * (m["thickness"] / 2 + 0.7 * space.high), turn=turned)


def _setting_out(space: _Space, framing: Mapping[str, Any], survey: Survey, points: Mapping[str, Point],
                 corners: Sequence[Point]) -> None:
    """Lengths of the roof's sides, joist rows from the first, the first joist from its wall."""
    if len(corners) < 3:
        return
    roof = Polygon(corners)
    way = -1.0 if roof.exterior.is_ccw else 1.0  # the outside is right of a ring that runs counter-clockwise
    for a, b in zip(corners, [*corners[1:], corners[0]], strict=True):
        space.dimension(a, b, way * 4 * space.high, length.write(math.dist(a, b), feet=True))
    runs = [Run(m["id"], m["role"], tuple(m["start"]), tuple(m["end"])) for m in framing["members"]]
    door = _governing(framing, survey)
    sills = [points[p] for p in (door.points if door else ()) if p in points]
    rows = joist_rows(runs, np.mean(sills or [corners[0]], axis=0))
    if rows is None:
        return
    for tape in first_from_wall(runs, rows, roof, FARTHEST_WALL):
        space.dimension(tape.at, tape.wall, 0.0, length.write(tape.length))
    _running(space, rows, np.array(corners))


def _running(space: _Space, rows: Rows, corners: Any) -> None:
    """A line beside the roof, square to the joists, with every row's distance from the first."""
    out, e = -rows.along, space.high
    base = rows.first + out * (float((corners @ out).max()) + 9 * e - float(rows.first @ out))
    turn = readable(math.degrees(math.atan2(out[1], out[0])))
    reads_out = math.cos(math.radians(turn)) * out[0] + math.sin(math.radians(turn)) * out[1] > 0
    align = TextEntityAlignment.MIDDLE_LEFT if reads_out else TextEntityAlignment.MIDDLE_RIGHT
    if len(rows.offsets) > 1:
        space.line(base, base + rows.across * rows.offsets[-1], "DIMENSION")
    for k, offset in enumerate(rows.offsets):
        at = base + rows.across * offset
        words = length.write(float(offset)) if k else f"{rows.ids[0][0]} = 0"
        space.line(at - out * e / 2, at + out * e / 2, "DIMENSION")
        space.text(words, at + out * e, "DIMENSION", turn=turn, align=align)
