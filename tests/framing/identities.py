"""A reader of framings that knows the documents alone: every identity that an answer must keep, checked from outside.

Nothing of the engine is used, only the reference's weights, dressed sizes and production rates. Lengths in inches,
areas in square feet where the documents say so.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely
import shapely.affinity
from scipy.optimize import linprog
from shapely import LineString, Point, Polygon, STRtree
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient
from shapely.ops import nearest_points, substring, unary_union

from framing.reference.decking import decking_weight
from framing.reference.lumber import DRESSED, FRESH_TREATED_PCF, SPECIFIC_GRAVITY, density_pcf, species_key
from tests.framing.orders import orders

Array = np.ndarray
Document = Mapping[str, Any]

CLOSE = 1e-6  # what an exact identity may be off by [in]
SCRAP = 2.0  # a piece of board that is not worth laying [sq in]
NEAR = 0.02  # what a drawn place may be off by [in]
UNITS = {"in": 1.0, "ft": 12.0, "mm": 1 / 25.4, "m": 1000 / 25.4}
CODES_OF_UNITS = {"EA", "LF", "FTK", "GLL", "QTL", "LBR", "INH", "FOT", "HUR", "C62"}
PACKER = 1 / 4  # packers are made in steps of this
TYPED = 1e-3  # lengths typed as decimals of a foot are this near to what was meant
STICK = 1.5  # thickness of 2x stock
SAW_MARGIN = 1 / 8  # between two tapers out of one stick, beside the kerf
LAP = 24.0  # a lapped piece runs so far past the pad that it laps over
LOOSE = 1 / 16 + 0.01  # how far a lift-out panel stands off the boards beside it, so that it lifts
SEAT = 3.0  # how far beside a member's centre line, or past its end, its place is looked for
PANEL_REACH = 24.0  # an outlet this near the deck has a lift-out panel
WITHIN_SIDE = 6.0  # a side of the deck has a member this near
OCTAGON = np.stack([np.cos(np.arange(8) * np.pi / 4), np.sin(np.arange(8) * np.pi / 4)])  # how a mound's sides face
FLOORS = {"surface.reveal": 1 / 8, "supports.clear_gap.least": 3 / 4, "joists.minimum_depth": 1.5}


def inches(value: Any, unit: str) -> float:
    """A length as a document holds it."""
    if isinstance(value, (int, float)):
        return value * UNITS[unit]
    text = value.strip()
    sign = -1.0 if text.startswith("-") else 1.0
    text = text.lstrip("+-").strip()
    if metric := re.fullmatch(r"([\d.]+)\s*(mm|cm|m|ft|in)", text):
        return sign * float(metric[1]) * (UNITS | {"cm": 1 / 2.54})[metric[2]]
    feet, _, rest = text.rpartition("'")
    rest = rest.strip().lstrip("-").strip()
    marked = bool(feet) or rest.endswith('"') or "/" in rest
    parts = re.split(r"[\s-]+", rest.rstrip('"').strip()) if rest else []
    total = sum(float(p.split("/")[0]) / float(p.split("/")[1]) if "/" in p else float(p) for p in parts if p)
    if feet:
        total += 12 * float(feet)
    return sign * total * (1.0 if marked else UNITS[unit])


def sixteenths(depth: float) -> str:
    """The nearest 1/16, ties to the deeper, in lowest terms."""
    whole, part = divmod(math.floor(depth * 16 + 0.5 + 1e-6), 16)
    if not part:
        return str(whole)
    shared = math.gcd(part, 16)
    fraction = f"{part // shared}/{16 // shared}"
    return f"{whole} {fraction}" if whole else fraction


@dataclass(frozen=True)
class Answer:
    """The three documents with what several identities need of them."""

    survey: Document
    build: Document
    framing: Document

    def measured(self, value: Any) -> float:
        return inches(value, self.survey.get("unit", "in"))

    def asked(self, value: Any) -> float:
        return inches(value, self.build.get("unit", "in"))

    def want(self, section: str, field: str, default: float = 0.0) -> float:
        value = self.build[section].get(field)
        return default if value is None else self.asked(value)

    @property
    def points(self) -> dict[str, Array]:
        return {k: np.array([p["x"], p["y"]]) for k, p in self.framing["survey_adjustment"]["points"].items()}

    @cached_property
    def gross(self) -> Polygon:
        return Polygon([self.points[c] for c in self.survey["corners"]])

    @cached_property
    def sides(self) -> list[tuple[str, str]]:
        corners = self.survey["corners"]
        return list(zip(corners, (*corners[1:], corners[0]), strict=True))

    @cached_property
    def outline(self) -> Polygon:
        return Polygon(self.framing["outline"])

    @cached_property
    def holes(self) -> list[Polygon]:
        return [Polygon(h) for h in self.framing["holes"]]

    @cached_property
    def net(self) -> Polygon:
        """Outline less holes; where that falls in parts, the one that is framed."""
        shape = self.outline.difference(unary_union(self.holes)) if self.holes else self.outline
        return max(getattr(shape, "geoms", [shape]), key=lambda p: p.area)

    @cached_property
    def facets(self) -> list[tuple[Polygon, Array]]:
        return [(Polygon(f["polygon"]), np.array([f["plane"][k] for k in ("z0", "sx", "sy")]))
                for f in self.framing["roof"]["facets"]]

    def plain_roof(self, xy: Array) -> Array:
        """Height of the facets at (n, 2) places."""
        away = np.stack([shapely.distance(shapely.points(xy), p) for p, _ in self.facets])
        planes = np.array([plane for _, plane in self.facets])[np.argmin(away, axis=0)]
        return planes[:, 0] + (planes[:, 1:] * xy).sum(axis=1)

    def roof(self, xy: Array) -> Array:
        """Height of the membrane at (n, 2) places: the facets, and the humps and lows that stand on them."""
        height = self.plain_roof(xy)
        for m in self.framing["roof"].get("mounds", ()):
            off = ((xy - np.array(m["at"])) @ OCTAGON).max(axis=1)
            height = height + m["rise"] * np.clip((m["foot"] - off) / (m["foot"] - m["top"]), 0.0, 1.0)
        return height

    @cached_property
    def creases(self) -> list[shapely.Geometry]:
        """The edges of facets and the creases of mounds."""
        found = [polygon.boundary for polygon, _ in self.facets]
        turn = np.arange(8) * np.pi / 4 + np.pi / 8
        corner = np.column_stack([np.cos(turn), np.sin(turn)]) / np.cos(np.pi / 8)
        for m in self.framing["roof"].get("mounds", ()):
            top, foot = (np.array(m["at"]) + m[k] * corner for k in ("top", "foot"))
            found += [*(LineString(pair) for pair in zip(top, foot, strict=True)), LineString([*top, top[0]]),
                      LineString([*foot, foot[0]])]
        return found

    def bends(self, line: LineString) -> Array:
        """Where the roof under a line may bend: (n, 2) places."""
        return np.concatenate([shapely.get_coordinates(c.intersection(line)) for c in self.creases])

    def surface(self, xy: Array) -> Array:
        plane = self.framing["plane"]
        return plane["z0"] + plane["sx"] * xy[:, 0] + plane["sy"] * xy[:, 1]

    @cached_property
    def over(self) -> float:
        """From the finished surface down to the framing plane."""
        return self.want("decking", "thickness") + self.want("joists", "tape_thickness")

    @cached_property
    def members(self) -> dict[str, Document]:
        return {m["id"]: m for m in self.framing["members"]}

    @cached_property
    def on_member(self) -> dict[str, list[Document]]:
        """Supports of each member that has any."""
        found: dict[str, list[Document]] = {}
        for s in self.framing["supports"]:
            found.setdefault(s["member"], []).append(s)
        return found

    @cached_property
    def valleys(self) -> list[LineString]:
        """Break lines that were read as valleys."""
        return [LineString([self.points[p] for p in b["points"]]) for b in self.survey.get("breaklines", ())
                if b["kind"] == "valley" and all(p in self.points for p in b["points"])]

    @cached_property
    def stopped(self) -> bool:
        return any(c["status"] == "stop" for c in self.framing["checks"])

    def status(self, code: str) -> set[str]:
        return {c["status"] for c in self.framing["checks"] if c["code"] == code}

    @cached_property
    def packing(self) -> float:
        """The most that wood may be packed up by, in the whole steps that packers are made in."""
        return PACKER * math.floor((self.want("supports", "packer_most") + TYPED) / PACKER)

    @cached_property
    def most_shims(self) -> float:
        """The thickest sum of shims that a pad may carry: a pile that no shims make holds nothing up."""
        most = self.want("supports", "shim_most")
        return float(_sums([self.asked(v) for v in self.build["supports"]["shim_sizes"]], most).max())

    @cached_property
    def pads(self) -> list[tuple[float, float]]:
        given = self.build["supports"]["pad_size"]
        if not isinstance(given, (list, tuple)):
            return [(self.asked(given),) * 2]
        if not isinstance(given[0], (list, tuple)):
            return [(self.asked(given[0]), self.asked(given[1]))]
        return [(self.asked(a), self.asked(b)) for a, b in given]

    @cached_property
    def reach(self) -> float:
        longest = (self.survey.get("access") or {}).get("longest_stick")
        return math.inf if longest is None else self.measured(longest)

    def heights(self) -> list[tuple[str, str, float]]:
        """(point, on, z) of every reading, corrected for drift between datum checks and brought to the membrane."""
        readings = self.survey["levels"]
        known = [(0, 0.0)]
        for c in self.survey.get("datum_checks", ()):
            after = c["after"]
            if isinstance(after, str):
                after = 1 + [r["point"] for r in readings].index(after)
            known.append((after, self.measured(c["drop"])))
        number, drift = np.array(sorted(known)).T
        at = np.interp(np.arange(1, len(readings) + 1), number, drift)
        return [(r["point"], r["on"], -(self.measured(r["drop"]) - d + self.measured(r.get("depth_to_membrane") or 0)))
                for r, d in zip(readings, at, strict=True)]


def _line(m: Document) -> tuple[Array, Array, float]:
    """Start, unit vector and length of a member's centre line."""
    a, b = np.array(m["start"]), np.array(m["end"])
    run = float(np.hypot(*(b - a)))
    return a, (b - a) / run, run


def _depth(m: Document, s: Any) -> Array:
    profile = np.array(m["profile"])
    return np.interp(s, profile[:, 0], profile[:, 1])


def survey_adjustment(a: Answer) -> Iterator[str]:
    """Tapes as the points have them, area by shoelace, angles, given places kept, drift."""
    adjusted, xy = a.framing["survey_adjustment"], a.points
    given = a.survey.get("tapes", ())
    if len(adjusted["tapes"]) != len(given):
        yield f"{len(given)} tapes were given, {len(adjusted['tapes'])} came back"
    for tape, (one, other, length) in zip(adjusted["tapes"], given, strict=False):
        name = f"tape {one}-{other}"
        if {tape["from"], tape["to"]} != {one, other} or abs(tape["measured"] - a.measured(length)) > CLOSE:
            yield f"{name} is not as given"
        if abs(tape["residual"] - (tape["measured"] - tape["adjusted"])) > CLOSE:
            yield f"{name}: residual is not measured less adjusted"
        if one in xy and other in xy and abs(float(np.hypot(*(xy[one] - xy[other]))) - tape["adjusted"]) > 1e-3:
            yield f"{name}: adjusted is not the distance of its points"
        if tape["suspect"] and not any({one, other} == set(s) for s in adjusted["suspects"]):
            yield f"{name} is suspect and not among the suspects"
    if a.survey.get("position_sigma") is None:
        for name, at in a.survey.get("positions", {}).items():
            if np.abs(xy[name] - [a.measured(v) for v in at]).max() > 1e-6:
                yield f"{name} was moved from its exact position"
    if any(c not in xy for c in a.survey["corners"]):
        return
    corners = np.array([xy[c] for c in a.survey["corners"]])
    ahead, behind = np.roll(corners, -1, axis=0) - corners, np.roll(corners, 1, axis=0) - corners
    twice = float((corners[:, 0] * np.roll(corners[:, 1], -1) - np.roll(corners[:, 0], -1) * corners[:, 1]).sum())
    if abs(abs(twice) / 288 - adjusted["area_sqft"]) > 1e-4:
        yield f"area {adjusted['area_sqft']} is not the shoelace's {abs(twice) / 288}"
    turn = np.degrees(np.arctan2(behind[:, 1], behind[:, 0]) - np.arctan2(ahead[:, 1], ahead[:, 0]))
    inner = np.mod(turn if twice > 0 else -turn, 360)
    for c, angle in zip(a.survey["corners"], inner, strict=True):
        if abs((adjusted["angles"][c] - angle + 180) % 360 - 180) > 1e-3:
            yield f"angle at {c} is {angle}, not {adjusted['angles'][c]}"
    checks = a.survey.get("datum_checks", ())
    drift = a.measured(checks[-1]["drop"]) if checks else None
    said = adjusted["datum_drift"]
    if (drift is None) != (said is None) or abs((said or 0) - (drift or 0)) > CLOSE:
        yield f"datum drift {adjusted['datum_drift']} is not the last misclosure {drift}"


def roof(a: Answer) -> Iterator[str]:
    """Facets cover the roof once, agree along their edges, and say truly how they fall."""
    polygons = [p for p, _ in a.facets]
    if not all(p.is_valid for p in polygons):
        yield "a facet crosses itself"
        return
    slack = 1e-3 * a.gross.length + 0.1
    if a.gross.symmetric_difference(unary_union(polygons)).area > slack:
        yield "facets do not cover the roof"
    if sum(p.area for p in polygons) - unary_union(polygons).area > slack:
        yield "facets overlap"
    for i, (p, one) in enumerate(a.facets):
        for q, other in a.facets[:i]:
            shared = p.buffer(0.01).intersection(q.boundary)
            xy = shapely.get_coordinates(shared)
            apart = np.abs((one - other)[0] + xy @ (one - other)[1:]).max(initial=0)
            if shared.length > 0.1 and apart > 1 / 64 + NEAR * np.hypot(*(one - other)[1:]):
                yield f"planes part by {apart:.3f} at a shared edge"
    for f, (_, (_, sx, sy)) in zip(a.framing["roof"]["facets"], a.facets, strict=True):
        if abs(f["slope_in_per_ft"] - 12 * math.hypot(sx, sy)) > 1e-6:
            yield "a facet's slope is not its plane's"
        toward = math.degrees(math.atan2(-sy, -sx))
        if math.hypot(sx, sy) > 1e-9 and abs((f["falls_toward"] - toward + 180) % 360 - 180) > 1e-3:
            yield f"a facet falls toward {toward}, not {f['falls_toward']}"
    read: dict[str, list[float]] = {}
    for point, on, z in a.heights():
        if on not in ("threshold", "outlet", "parapet"):
            read.setdefault(point, []).append(z)
    for spot in a.framing["roof"]["anomalies"]:
        if (spot["offset"] > 0) != (spot["kind"] == "hump") or abs(spot["offset"]) < 3 / 32 - CLOSE:
            yield f"{spot['point']} is no anomaly: {spot}"
        off = np.array(read[spot["point"]]) - a.plain_roof(a.points[spot["point"]][None])
        if min(np.abs(off - spot["offset"]).min(), abs(off.mean() - spot["offset"])) > 0.05:
            yield f"{spot['point']} stands {off} off the roof, not {spot['offset']}"
    for pond in a.framing["roof"]["ponds"]:
        area = Polygon(pond["polygon"]).area / 144
        if abs(area - pond["area_sqft"]) > 0.05 * max(area, 1) + 0.1:
            yield f"a pond of {area} sq ft is said to have {pond['area_sqft']}"
        if not 0 < pond["volume_gal"] <= pond["area_sqft"] * 144 * pond["depth"] / 231 * 1.05 + 0.1:
            yield f"a pond holds {pond['volume_gal']} gal in {pond['area_sqft']} sq ft x {pond['depth']} in"


def plane(a: Answer) -> Iterator[str]:
    """The surface as its mode says, and reveals from the readings."""
    surface, reveals = a.framing["plane"], a.framing["plane"]["reveals"]
    doors = a.survey.get("doors") or [{"name": "door", "points": a.survey["threshold"]}]
    read: dict[str, list[float]] = {}
    for point, on, z in a.heights():
        if on == "threshold":
            read.setdefault(point, []).append(z)
    z = {p: float(np.mean(v)) for p, v in read.items()}
    for p, reveal in reveals.items():
        if p in z and abs(z[p] - a.surface(a.points[p][None])[0] - reveal) > 1e-5:
            yield f"the reveal at {p} is {z[p] - a.surface(a.points[p][None])[0]}, not {reveal}"
    known = [d for d in doors if any(p in z for p in d["points"])]
    missing = {p for d in known for p in d["points"] if p in z} - set(reveals)
    if missing or not known:
        yield f"no reveal at {missing or 'any door'}"
        return
    door = next((d for d in known if d.get("governs")), None) or min(
        known, key=lambda d: min(z[p] for p in d["points"] if p in z))
    own = [p for p in door["points"] if p in z]
    asked, mode = a.build["surface"], a.build["surface"]["mode"]
    reveal = a.asked(asked["reveal"])
    slope = np.array([surface["sx"], surface["sy"]])
    lowest = min(own, key=lambda p: z[p])
    if mode == "level":
        if np.abs(slope).max() > 0 or abs(reveals[lowest] - reveal) > 1e-5:
            yield f"not level {reveal} below {lowest}: {surface}"
    elif mode == "fall":
        toward = math.radians(asked["toward"])
        want = -a.asked(asked["fall_per_ft"]) / 12 * np.array([math.cos(toward), math.sin(toward)])
        if np.abs(slope - want).max() > 1e-7:
            yield f"falls by {slope}, not {want}"
        # below the lowest point; where the fall runs along the door, below the point that it comes nearest to
        if min(abs(reveals[lowest] - reveal), abs(min(reveals[p] for p in own) - reveal)) > 1e-5:
            yield f"does not pass {reveal} below the threshold {own}: {reveals}"
    else:
        xy = np.array([a.points[p] for p in own])
        along = (xy[-1] - xy[0]) / np.hypot(*(xy[-1] - xy[0]))
        t = (xy - xy.mean(axis=0)) @ along
        rise = float(t @ np.array([z[p] for p in own]) / (t @ t))
        if np.abs(slope - rise * along).max() > 1e-6:
            yield f"does not follow the threshold: slope {slope}, not {rise * along}"
        if abs(float(np.mean([reveals[p] for p in own])) - reveal) > 1e-5:
            yield f"the reveal along the threshold is not {reveal}"
        if not a.status("follows-threshold"):
            yield "nothing says how far the deck rises along the threshold"


def outline(a: Answer) -> Iterator[str]:
    """The outline stands off every side by its gap; holes are the obstacles with their clearance."""
    if not a.outline.is_valid or a.outline.difference(a.gross.buffer(NEAR)).area > 0.5:
        yield "the outline is not inside the roof"
        return
    house = [{e["from"], e["to"]} for e in a.survey.get("edges", ()) if e["against"] == "house"]
    given = {frozenset(k.split("-")): a.asked(v) for k, v in a.build["decking"].get("edge_gaps", {}).items()}
    convex = a.gross.convex_hull.area - a.gross.area < 1e-3
    for one, other in a.sides:
        gap = given.get(frozenset((one, other)), 0.5 if {one, other} in house else 1.0)
        side = LineString([a.points[one], a.points[other]])
        # past an inner corner the next side's gap counts: it may be the narrower
        away, middle = side.distance(a.outline), substring(side, 0.25, 0.75, normalized=True).distance(a.outline)
        if middle < gap - NEAR or (convex and side.length > 24 and gap < 12 and away > gap + NEAR):
            yield f"the deck stands {away:.3f} off {one}-{other}, not {gap}"
    for o in a.survey.get("obstacles", ()):
        if o.get("points"):
            shape = Polygon([a.points[p] for p in o["points"]])
        else:
            size = o["size"] if isinstance(o["size"], (list, tuple)) else (o["size"], o["size"])
            half = np.array([a.measured(v) for v in size]) / 2
            shape = shapely.box(*(a.points[o["point"]] - half), *(a.points[o["point"]] + half))
        grown = shape.buffer(a.measured(o.get("clearance") or 0)).intersection(a.outline)
        if grown.difference(unary_union(a.holes).buffer(NEAR)).area > 0.1:
            yield f"no hole clears {o['name']}"


def members(a: Answer) -> Iterator[str]:
    """Each member inside the deck, its profile in the stick and between the gap limits, its stations as cut."""
    if len(a.members) < len(a.framing["members"]):
        yield "two members have one id"
    gap = {k: a.asked(v) for k, v in a.build["supports"]["clear_gap"].items()}
    under = a.want("supports", "pad_thickness") + a.want("supports", "base_thickness")
    tight = max(gap["least"], under), min(gap["most"], under + a.most_shims)
    packed = a.packing if a.status("packed-up") else 0.0
    thinnest, sizes = a.want("joists", "minimum_depth", 1.5), a.build["joists"]["sizes"]
    deepest = max(DRESSED[k][1] for k in sizes)
    room = a.net.buffer(NEAR)
    for m in a.framing["members"]:
        name, (start, u, run) = m["id"], _line(m)
        profile = np.array(m["profile"])
        line = LineString([m["start"], m["end"]])
        if line.difference(room).length > NEAR:
            yield f"{name} leaves the deck by {line.difference(room).length:.2f} in"
        body = line.buffer(m["thickness"] / 2, cap_style="flat").difference(room).area
        if body > STICK**2:
            yield f"{name}: {body:.2f} sq in of its body lie outside the deck"
        if m["size"] not in sizes or abs(m["thickness"] - DRESSED[m["size"]][0]) > CLOSE:
            yield f"{name} is no stick that was asked for"
        if abs(profile[0, 0]) > CLOSE or abs(profile[-1, 0] - run) > 1e-4 or (np.diff(profile[:, 0]) <= 0).any():
            yield f"{name}: its profile does not run from end to end"
        if profile[:, 1].min() < thinnest - 1e-5 or profile[:, 1].max() > DRESSED[m["size"]][1] + 1e-5:
            yield f"{name}: depth {profile[:, 1].min()} to {profile[:, 1].max()} in a {m['size']}, least {thinnest}"
        kinks = np.clip(sorted([0.0, run, *(a.bends(line) - start) @ u]), 0, run)
        s = np.union1d(kinks, profile[:, 0])
        xy = start + s[:, None] * u
        height = a.surface(xy) - a.over - a.roof(xy)
        clear = height - _depth(m, s)
        if clear.min() < gap["least"] - 1e-3 or clear.max() > gap["most"] + packed + 1e-3:
            yield f"{name}: clear gap {clear.min():.4f} to {clear.max():.4f}, asked {gap['least']} to {gap['most']}"
        if len(profile) > 2:
            low, high = np.maximum(height - tight[1], thinnest), np.minimum(height - tight[0], deepest)
            rows = np.stack([1 - s / run, s / run], axis=1)
            if linprog([0, 0], A_ub=np.r_[rows, -rows], b_ub=np.r_[high, -low], bounds=[(None, None)] * 2).success:
                yield f"{name}: {len(profile)} points where one straight cut would do"
        yield from _stations(a, m, run)


def _stations(a: Answer, m: Document, run: float) -> Iterator[str]:
    s = [v for v, _ in m["stations"]]
    if s != sorted(s):
        yield f"{m['id']}: its stations are not in order"
    here = np.array(s)
    needed = [*(v for piece in sawn(m) for v in piece), run, *(p for p, _ in m["profile"]),
              *(v["s"] for v in a.on_member.get(m["id"], ()))]
    if lacking := [v for v in needed if np.abs(here - v).min() > NEAR]:
        yield f"{m['id']}: no station at {lacking}"
    for v, text in m["stations"]:
        depth = float(_depth(m, v))
        tie = abs(depth * 16 % 1 - 0.5) < 1e-4  # as far as nine places of a document tell
        if text != sixteenths(depth) and not (tie and text in (sixteenths(depth + 1e-4), sixteenths(depth - 1e-4))):
            yield f"{m['id']} at {v}: {text}, not {sixteenths(depth)} ({depth})"


def layout(a: Answer) -> Iterator[str]:
    """Joists no further apart than asked; every side of the deck carried along its length."""
    carrying = [m for m in a.framing["members"] if m["role"] in ("joist", "edge")]
    joist = next((m for m in carrying if m["role"] == "joist"), None)
    if joist is None:
        yield "there is no joist"
        return
    spacing, (_, u, _) = a.want("joists", "spacing"), _line(joist)
    across = np.array([-u[1], u[0]])
    corners = shapely.get_coordinates(a.net)
    along, over = corners @ u, corners @ across
    lines = np.array([LineString([m["start"], m["end"]]) for m in a.framing["members"]])
    lines = np.array([LineString([m["start"], m["end"]]) for m in a.framing["members"]])
    near = unary_union(shapely.buffer(lines, SEAT, cap_style="square"))
    for t in np.arange(along.min() + 9, along.max() - 9, 17.3):
        probe = LineString([t * u + (over.min() - 1) * across, t * u + (over.max() + 1) * across])
        inside = probe.intersection(a.net)
        for part in getattr(inside, "geoms", [inside]):
            bare = part.difference(near)
            for run in (r for r in getattr(bare, "geoms", [bare]) if r.length > 0):
                at_side = run.boundary.distance(part.boundary) < NEAR
                most = (WITHIN_SIDE if at_side else spacing - SEAT) - SEAT
                if run.length > most + STICK / 2 + NEAR:
                    yield f"{run.length + SEAT:.1f} in {'from a side' if at_side else 'beside a member'} without " \
                          f"another at {t:.0f} along the joists, spacing {spacing}"
    boards, inner = _board_direction(a), a.net.buffer(-STICK)
    ring = shapely.get_coordinates(a.outline.exterior)
    rest = np.array([e for m in carrying for e in (m["start"], m["end"])])
    for p, q in zip(ring[:-1], ring[1:], strict=True):
        run = float(np.hypot(*(q - p)))
        if run < 18:
            continue
        side = (q - p) / run
        skew = math.degrees(math.asin(min(1.0, abs(side[0] * boards[1] - side[1] * boards[0])))) if boards is not None \
            else 90.0
        for t in np.arange(9, run - 9 + NEAR, max(6.0, run / 24)):
            place = p + t * side
            if shapely.distance(lines, Point(place)).min() <= WITHIN_SIDE + NEAR:
                continue
            if a.net.distance(Point(place)) > NEAR or not inner.intersects(Point(place).buffer(WITHIN_SIDE)):
                continue  # an obstacle leaves no deck here that a member could stand under
            if skew < 10 and np.hypot(*(rest - place).T).min() <= spacing:
                continue
            yield f"no member within {WITHIN_SIDE:g} in of the deck's side at {place.round(1)}"
            break


def supports(a: Answer) -> Iterator[str]:
    """Stacks close, shims are sums of sizes, reactions add up, pads stand where they may."""
    s, build = a.framing["supports"], a.build["supports"]
    if stray := {v["member"] for v in s} - set(a.members):
        yield f"supports of {stray}, which are no members"
        return
    at = np.array([v["at"] for v in s])
    sizes = [a.asked(v) for v in build["shim_sizes"]]
    limit = max(min(sizes) / 2, 1 / 32)
    sums = _sums(sizes, max(v["shim"] for v in s))
    surface, ground = a.surface(at), a.roof(at)
    pad, base = a.want("supports", "pad_thickness"), a.want("supports", "base_thickness")
    for i, v in enumerate(s):
        name = f"support of {v['member']} at {v['s']:.1f}"
        m = a.members[v["member"]]
        start, u, run = _line(m)
        if not -CLOSE <= v["s"] <= run + CLOSE or np.abs(start + v["s"] * u - at[i]).max() > 1e-4:
            yield f"{name} is not on its member"
        if abs(v["roof_z"] - ground[i]) > 1e-4:
            yield f"{name}: the roof is at {ground[i]}, not {v['roof_z']}"
        stack = v["pad"] + v["shim"] + v.get("base", 0)
        left = surface[i] - a.over - float(_depth(m, v["s"])) - stack
        if abs(left - v["roof_z"] - v["residual"]) > 1e-5:
            yield f"{name} does not close: {left} against {v['roof_z']} + {v['residual']}"
        own = v.get("base", 0) - v.get("packer", 0)
        if abs(v["clear_gap"] - stack) > CLOSE or abs(v["pad"] - pad) + abs(own - base) > CLOSE:
            yield f"{name}: its stack is not as asked"
        if np.abs(sums - v["shim"]).min() > 1e-4 or v["shim"] > a.want("supports", "shim_most") + 1e-4:
            yield f"{name}: {v['shim']} is no sum of shims"
        if abs(v["residual"]) > limit + 1e-4:
            yield f"{name} misses the roof by {v['residual']}, the step allows {limit}"
        if v["reaction_most"] < v["reaction"] - 1e-6 * abs(v["reaction"]) - 1e-6:
            yield f"{name}: the worst pattern gives less than all spans loaded"
        on_pad = v["pressure"] * np.prod(a.pads, axis=1)
        if np.abs(on_pad - v["reaction_most"]).min() > 1e-4 * v["reaction_most"] + 0.01:
            yield f"{name}: {v['pressure']} psi is {v['reaction_most']} lb on no pad asked for"
    if any(v.get("packer") for v in s) and not a.status("packed-up"):
        yield "wood is packed up and nothing says so"
    if max(abs(v["residual"]) for v in s) > 1 / 32 + 1e-4 and a.status("shim-too-coarse") != {"caution"}:
        yield "a residual over 1/32 and no caution"
    loads = a.framing["loads"]
    carried, asked = sum(v["reaction"] for v in s), (loads["dead"] + loads["live"]) * a.net.area / 144
    if abs(carried / asked - 1) > 0.02:
        yield f"reactions sum to {carried:.0f} lb, the deck weighs and bears {asked:.0f}"
    widest = build.get("maximum_spacing", "auto")
    # where outlets or the pads beside leave no room to keep it, how far apart pads stand is told
    told = max((c["value"] for c in a.framing["checks"] if c["code"] == "pad-spacing"), default=0.0)
    for name, m in a.members.items():
        places = np.array([v["s"] for v in a.on_member.get(name, ())])
        if m["role"] in ("joist", "edge") and len(places) < 2:
            yield f"{name} stands on {len(places)} pads"
        elif len(places) and (np.diff(places) <= 0).any():
            yield f"{name}: its supports are not in order"
        elif len(places) and widest != "auto" and np.diff(places).max() > max(a.asked(widest), told) + NEAR:
            yield f"{name}: pads {np.diff(places).max():.2f} apart, at most {widest} asked"
    boxes = [_pad(a, v) for v in s]
    for o in a.survey.get("outlets", ()):
        if o["point"] in a.points and shapely.contains(boxes, Point(a.points[o["point"]])).any():
            yield f"a pad stands on the outlet {o['point']}"
    inner = [b.buffer(-0.01) for b in boxes]
    if "pads-meet" not in {c["code"] for c in a.framing["checks"]}:
        i, j = STRtree(inner).query(inner, predicate="intersects")
        if (i < j).any():
            k = int(np.flatnonzero(i < j)[0])
            yield f"pads of {s[i[k]]['member']} and {s[j[k]]['member']} lie over each other and nothing says so"
    if not a.status("pad-at-wall") and not shapely.covers(a.gross.buffer(NEAR), boxes).all():
        yield "a pad stands over the roof's edge and nothing says so"


def _sums(sizes: Sequence[float], most: float) -> Array:
    """Every thickness that shims of these sizes make, up to `most`."""
    found, layer = {0.0}, {0.0}
    while layer:
        layer = {round(v + k, 6) for v in layer for k in sizes if v + k <= most + 1e-3} - found
        found |= layer
    return np.array(sorted(found))


def _pad(a: Answer, v: Document) -> Polygon:
    """The pad that its pressure tells, its first side along the member."""
    size = min(a.pads, key=lambda p: abs(v["pressure"] * p[0] * p[1] - v["reaction_most"]))
    size = v.get("pad_size", size)
    _, u, _ = _line(a.members[v["member"]])
    n, at = np.array([-u[1], u[0]]), np.array(v["at"])
    p, q = u * size[0] / 2, n * size[1] / 2
    return Polygon([at - p - q, at + p - q, at + p + q, at - p + q])


def sawn(m: Document) -> list[tuple[float, float]]:
    """From where to where along its member each piece is sawn: as it says where they lap, else splice to splice."""
    if m.get("pieces"):
        return [(p, q) for p, q, _ in m["pieces"]]
    cuts = [0.0, *m["splices"], _line(m)[2]]
    return list(zip(cuts, cuts[1:], strict=False))


def bodies(m: Document) -> list[LineString]:
    """The middle lines of its wood in plan: of every lapped piece, else of the whole member."""
    start, u, run = _line(m)
    n = np.array([-u[1], u[0]])
    return [LineString([start + p * u + off * n, start + q * u + off * n])
            for p, q, off in m.get("pieces") or [(0.0, run, 0.0)]]


def laps(a: Answer) -> Iterator[str]:
    """Lapped pieces run 24 in past the pad at their splice, lie face to face and on their pads; what butts is told."""
    asked = a.build["joists"].get("splice") == "lapped"
    spliced = [m for m in a.framing["members"] if m["splices"] and m["role"] in ("joist", "edge")]
    butted = [m["id"] for m in spliced if not m.get("pieces")]
    if asked and butted and not a.status("lap-not-laid"):
        yield f"{butted} butt, laps were asked for, and nothing says so"
    for m in a.framing["members"]:
        pieces, name, (_, _, run) = m.get("pieces") or [], m["id"], _line(m)
        if not pieces:
            continue
        if not asked or len(pieces) != len(m["splices"]) + 1:
            yield f"{name} has {len(pieces)} lapped pieces for {len(m['splices'])} splices"
            continue
        if abs(pieces[0][0]) > CLOSE or abs(pieces[-1][1] - run) > CLOSE:
            yield f"{name}: its pieces do not run from end to end"
        pads = {s: max(v["pad_size"][0] for v in a.on_member[name] if abs(v["s"] - s) < NEAR) for s in m["splices"]}
        for s, (_, end, one), (start, _, other) in zip(m["splices"], pieces, pieces[1:], strict=False):
            if min(end - s, s - start) < LAP + pads[s] / 2 - CLOSE:
                yield f"{name} laps from {start:.1f} to {end:.1f} over a pad of {pads[s]} at {s:.1f}"
            if abs(abs(one - other) - m["thickness"]) > CLOSE:
                yield f"{name}: its pieces lie {one} and {other} beside its line"
        for (_, end, off), (start, _, other) in zip(pieces, pieces[2:], strict=False):
            if off == other and end > start + NEAR:
                yield f"{name}: two of its pieces lie in one place"
        if any(abs(off) + m["thickness"] / 2 > v["pad_size"][1] / 2 + CLOSE for *_, off in pieces
               for v in a.on_member[name]):
            yield f"{name}: wood lies beside its pad"


def splices(a: Answer) -> Iterator[str]:
    """Splices of what stands on pads lie over a pad with 1 1/2 in for each end; of rims, over a joist's end."""
    ends = np.array([e for m in a.framing["members"] if m["role"] in ("joist", "edge") for e in (m["start"], m["end"])])
    for name, m in a.members.items():
        start, u, run = _line(m)
        for s in m["splices"]:
            if not 0 < s < run:
                yield f"{name} is spliced off its length at {s}"
            elif m["role"] in ("joist", "edge"):
                over = [v for v in a.on_member.get(name, ()) if abs(v["s"] - s) < NEAR]
                if not over:
                    yield f"{name} is spliced at {s:.1f} over no pad"
            elif m["role"] == "rim" and np.hypot(*(ends - (start + s * u)).T).min() > 4:
                yield f"{name} is spliced at {s:.1f} over no joist's end"


def _board_direction(a: Answer) -> Array | None:
    """Unit vector along the boards, as the answer says: boards wider than long would mislead."""
    if not any(b["kind"] == "field" for b in a.framing["boards"]):
        return None
    turn = math.radians(a.framing["directions"]["boards"])
    return np.array([math.cos(turn), math.sin(turn)])


def boards(a: Answer) -> Iterator[str]:
    """Rows one board and one gap apart; no overlap, joints closed and carried, nothing left bare."""
    field = [b for b in a.framing["boards"] if b["kind"] == "field"]
    shapes = np.array([Polygon(b["polygon"]) for b in a.framing["boards"]])
    if len({b["id"] for b in a.framing["boards"]}) < len(shapes):
        yield "two boards have one id"
    if not shapely.is_valid(shapes).all():
        yield "a board crosses itself"
        return
    room = a.net.buffer(NEAR)
    for k in np.flatnonzero(~shapely.covers(room, shapes)):
        yield f"{a.framing['boards'][k]['id']} leaves the deck"
    inner = shapely.buffer(shapes, -0.01, join_style="mitre")
    i, j = STRtree(inner).query(inner, predicate="intersects")
    for k in np.flatnonzero(i < j)[:3]:
        if inner[i[k]].intersection(inner[j[k]]).area > 0.05:
            yield f"{a.framing['boards'][i[k]]['id']} and {a.framing['boards'][j[k]]['id']} lie over each other"
    u = _board_direction(a)
    width, gap = a.want("decking", "width"), a.want("decking", "gap")
    n = np.array([-u[1], u[0]])
    low = np.array([(np.array(b["polygon"]) @ n).min() for b in field])
    high = np.array([(np.array(b["polygon"]) @ n).max() for b in field])
    whole = [k for k, b in enumerate(field) if b["rip"] is None]
    notched = unary_union(a.holes).buffer(NEAR)  # round an obstacle a board of full width is notched
    turns = unary_union(turned_back(a.net)).buffer(2 * NEAR)  # ... and, in one place, where the deck turns back
    for b in field:
        run = np.ptp(np.array(b["polygon"]) @ u)
        if abs(b["length"] - run) > NEAR:
            yield f"{b['id']} is {run} long, not {b['length']}"
        whole_here = b["rip"] is None and not notched.intersects(Polygon(b["polygon"]))
        found = _widths(np.array(b["polygon"]) @ np.stack([u, n], axis=1), width) if whole_here else []
        if len(found) > int(turns.intersects(Polygon(b["polygon"]))):
            yield f"{b['id']} is not ripped and {found} wide"
        if b["rip"] is not None and not all(-CLOSE <= w <= width + NEAR for w in b["rip"]):
            yield f"{b['id']} is ripped to {b['rip']}"
    if not whole:
        return
    pitch = width + gap
    first = low[whole[0]]
    row = np.floor((low - first + NEAR + CLOSE) / pitch)
    within = low - first - row * pitch
    if (off := np.abs(within[whole])).max() > 2 * NEAR:
        yield f"rows are {off.max():.3f} off one board and {gap} gap"
    for k in np.flatnonzero(high - first - row * pitch > width + 2 * NEAR):
        yield f"{field[k]['id']} fills its gap"
    yield from _rows(a, field, shapes, row, u, n, first, pitch, width)
    yield from _panels(a)


def _panels(a: Answer) -> Iterator[str]:
    """Every outlet in the deck or near it has a panel over it, or beside it at the deck's edge, or a reason why not."""
    refused = {p["over"] for p in a.build.get("access_panels", ()) if p.get("none")}
    laid, lifts = (unary_union([Polygon(b["polygon"]) for b in a.framing["boards"] if b["kind"] in kinds])
                   for kinds in (("field", "border", "panel"), ("panel",)))
    gap = a.want("decking", "gap")
    for o in a.survey.get("outlets", ()):
        at = Point(a.points[o["point"]])
        if o["point"] in refused or a.outline.distance(at) > PANEL_REACH:
            continue
        nearest = at if a.net.contains(at) else nearest_points(laid, at)[0]
        if lifts.is_empty or lifts.distance(nearest) > gap + NEAR:
            yield f"no panel lifts over {o['point']}"


def turned_back(net: BaseGeometry) -> list[Point]:
    """Corners at which the deck turns back on itself."""
    found = []
    for part in shapely.get_parts(net):
        ring = shapely.get_coordinates(orient(part).exterior)[:-1]
        into, out = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
        back = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0] < -NEAR
        found += [Point(xy) for xy in ring[back]]
    return found


def _widths(xy: Array, width: float) -> list[float]:
    """Of a board along x: widths in the middle and, where it is long, near both ends, that are not its full one."""
    shape, (begin, end) = Polygon(xy), (xy[:, 0].min(), xy[:, 0].max())
    places = [(begin + end) / 2] + [begin + 2 * width, end - 2 * width] * bool(end - begin > 6 * width)
    cuts = [LineString([(x, xy[:, 1].min() - 1), (x, xy[:, 1].max() + 1)]).intersection(shape).length for x in places]
    return [round(v, 3) for v in cuts if abs(v - width) > 2 * NEAR]


def _rows(a: Answer, field: Sequence[Document], shapes: Array, row: Array, u: Array, n: Array, first: float,
          pitch: float, width: float) -> Iterator[str]:
    """What a row's strip of the deck holds is covered; ends that meet inside the deck lie over a member."""
    lines = [shapely.affinity.scale(line, 1 + 4 * STICK / line.length, 1 + 4 * STICK / line.length)
             if m["role"] in ("joist", "edge") else line for m in a.framing["members"] for line in bodies(m)]
    seats = unary_union([k.buffer(STICK / 2 + NEAR, cap_style="flat") for k in lines])
    field_shapes = np.array([Polygon(b["polygon"]) for b in field])
    span = shapely.get_coordinates(a.net) @ u
    over = shapely.get_coordinates(a.net) @ n
    rows = np.arange(math.floor((over.min() - first) / pitch), math.ceil((over.max() - first) / pitch) + 1)
    border = a.want("decking", "gap") + NEAR
    stands_off = {"panel": border if a.build["decking"].get("border_courses") else LOOSE, "border": border}
    fixed = unary_union([s.buffer(stands_off[b["kind"]], join_style="mitre")
                         for s, b in zip(shapes, a.framing["boards"], strict=True) if b["kind"] != "field"])
    for r in rows:
        y0 = first + r * pitch
        ends = ((span.min() - 1, y0), (span.max() + 1, y0), (span.max() + 1, y0 + width), (span.min() - 1, y0 + width))
        strip = Polygon([x * u + y * n for x, y in ends])
        own = np.flatnonzero(np.abs(row - r) < 0.5)
        bare = strip.intersection(a.net).difference(unary_union(field_shapes[own]).union(fixed))
        left = [p for p in getattr(bare, "geoms", [bare]) if p.area > SCRAP
                and np.ptp(shapely.get_coordinates(p) @ n) > 0.27]
        if left:
            yield f"row {r:.0f} leaves {sum(p.area for p in left):.1f} sq in bare"
        ends = [_ends(field_shapes[k], u, n) for k in own]
        for i, (_, (end, *reach)) in enumerate(ends):
            for j, ((begin, *other), _) in enumerate(ends):
                both = min(reach[1], other[1]) - max(reach[0], other[0])  # how much of their ends face each other
                if i == j or abs(begin - end) > 0.5 or both < 1:
                    continue
                names = f"{field[own[i]]['id']} and {field[own[j]]['id']}"
                if abs(begin - end) > NEAR:
                    yield f"the joint of {names} is open"
                if not seats.covers(Point(end * u + (max(reach[0], other[0]) + both / 2) * n)):
                    yield f"the joint of {names} lies on no member"


def _ends(shape: Polygon, u: Array, n: Array) -> list[tuple[float, float, float]]:
    """Where a board begins and ends along u, and how far either end reaches along n."""
    xy = shapely.get_coordinates(shape)
    along, over = xy @ u, xy @ n
    return [(v, float(over[np.abs(along - v) < NEAR].min()), float(over[np.abs(along - v) < NEAR].max()))
            for v in (float(along.min()), float(along.max()))]


def stock(a: Answer) -> Iterator[str]:
    """Every piece cut once, from a stick that exists, reaches the roof and is long enough."""
    pieces: dict[tuple[str, str, int], float] = {}
    for m in a.framing["members"]:
        pieces |= {("member", m["id"], i): q - p for i, (p, q) in enumerate(sawn(m), 1)}
    pieces |= {("board", b["id"], 1): b["length"] for b in a.framing["boards"]}
    saw = a.build.get("saw") or {}
    kerf, trim = a.asked(saw.get("kerf", "1/8")), a.asked(saw.get("trim", "1/4"))
    lengths = {k: [a.asked(v) for v in a.build[k]["stock_lengths"]] for k in ("joists", "decking")}
    used: Counter[tuple[str, str, int]] = Counter()
    for n, stick in enumerate(a.framing["stock_plan"], 1):
        count, cuts = stick.get("count", 1), {_piece(c)[1:]: c for c in stick["cuts"]}
        kind = "decking" if any("board" in c for c in stick["cuts"]) else "joists"
        long: list[float] = []
        for c in stick["cuts"]:
            key = _piece(c)
            used[key] += count
            if key not in pieces or c["length"] < pieces[key] - 1e-4:
                yield f"stick {n}: {key} is cut {c['length']} long, {pieces.get(key)} is needed"
            if not c.get("nested_with"):
                long.append(c["length"])
                if key[0] == "member" and key[1] in a.members and stick["size"] != a.members[key[1]]["size"]:
                    yield f"stick {n}: {key[1]} is sawn from {stick['size']}"
                continue
            name, _, piece = c["nested_with"].rpartition("/")
            other = cuts.get((name, int(piece)))
            if other is None or other.get("nested_with") != f"{key[1]}/{key[2]}":
                yield f"stick {n}: {key} is nested with {c['nested_with']}, which is elsewhere or does not say so"
            elif key[1:] < (name, int(piece)):  # of a pair once, and only the longer one's length
                long.append(max(c["length"], other["length"]))
                wide = DRESSED[stick["size"]][1]
                if {key[1], name} <= set(a.members) and (
                        needs := _beside(a, key, _piece(other)) + kerf + SAW_MARGIN) > wide + 1e-4:
                    yield f"stick {n}: {key} beside {c['nested_with']} takes {needs} of {wide} in"
        if not any(abs(stick["length"] - v) < 1e-4 for v in lengths[kind]) or stick["length"] > a.reach + 1e-4:
            yield f"stick {n} of {stick['length']} is not to be had or does not reach the roof"
        total = sum(long) + kerf * (len(long) - 1) + trim
        if total > stick["length"] + 1e-4:
            yield f"stick {n}: cuts, kerfs and trim take {total} of {stick['length']}"
        if not -1e-4 <= stick["offcut"] <= stick["length"] - sum(long) + 1e-4:
            yield f"stick {n}: an offcut of {stick['offcut']} is left of {stick['length']}, {sum(long)} used"
    for key in pieces:
        if used[key] != 1:
            yield f"{key} is cut {used[key]} times"
    yield from _bounds(a)


def _piece(cut: Document) -> tuple[str, str, int]:
    kind = "board" if cut.get("board") else "member"
    return kind, cut[kind], cut["piece"]


def _beside(a: Answer, one: tuple[str, str, int], other: tuple[str, str, int]) -> float:
    """Depth of wood that two pieces of members take side by side, flush at an end, in the best of their four ways [in].

    Their top edges are the stick's two edges, so that their depths add up wherever both have wood.
    """
    runs = []
    for _, name, piece in (one, other):
        m = a.members[name]
        runs.append((m, *sawn(m)[piece - 1]))
    (long, p, q), (short, v, w) = sorted(runs, key=lambda run: run[1] - run[2])
    both, whole = w - v, q - p
    kinks = {x - o for m, o in ((long, p), (short, v)) for x, _ in m["profile"]} | {0.0, both, whole}
    kinks |= {x - (whole - both) for x in kinks} | {both - x for x in kinks} | {whole - x for x in kinks}
    s = np.array(sorted(x for x in kinks if 0 <= x <= both))
    beside = np.stack([_depth(long, p + s), _depth(long, q - both + s)])[:, None] + np.stack(
        [_depth(short, v + s), _depth(short, w - s)])
    return max(float(beside.max(axis=-1).min()), *(float(_depth(m, np.linspace(b, e, 99)).max()) for m, b, e in runs))


def _bounds(a: Answer) -> Iterator[str]:
    for bound in a.framing["stock_bound"]:
        item = bound["item"]
        sticks = [s for s in a.framing["stock_plan"] if s["item"] == item]
        if bound["bound"] > bound["bought"] + 1e-6:
            yield f"{item}: the bound {bound['bound']} is over what is bought, {bound['bought']}"
        gap = 100 * (bound["bought"] - bound["bound"]) / bound["bought"] if bound["bought"] else 0.0
        if abs(gap - bound["gap_percent"]) > 1e-3:
            yield f"{item}: gap {bound['gap_percent']} %, not {gap}"
        if bound["measure"] == "length":
            bought = sum(s["length"] * s.get("count", 1) for s in sticks)
            whole = sum(c["length"] for s in sticks for c in s["cuts"] if not c.get("nested_with"))
            if abs(bought - bound["bought"]) > 1e-3:
                yield f"{item}: {bought} in are bought, not {bound['bought']}"
            if bound["bound"] < whole - 1e-3:
                yield f"{item}: the bound {bound['bound']} is less than the wood that is needed, {whole}"
        else:
            table = a.build["decking"].get("stock_prices") if item.startswith("decking/") else \
                (a.build["joists"].get("stock_prices") or {}).get(sticks[0]["size"])
            price = {round(a.asked(k), 3): float(v) for k, v in (table or {}).items()}
            cost = sum(price.get(round(s["length"], 3), math.inf) * s.get("count", 1) for s in sticks)
            if abs(cost - bound["bought"]) > 0.005:
                yield f"{item}: the sticks cost {cost}, not {bound['bought']}"


def checks(a: Answer) -> Iterator[str]:
    """Every check says where its limit comes from and who decides; a stop, by how much, where and what clears it."""
    for c in a.framing["checks"]:
        if not c["source"].strip() or not c["decided_by"].strip() or not c["text"].strip():
            yield f"{c['code']} says nothing, or not whence or who decides"
        if c["status"] == "stop" and (c["value"] is None or c["limit"] is None or not c["where"]):
            yield f"the stop {c['code']} does not say by how much or where"
        if re.search(r"(?i)\bcompl(y|ies|iant|iance)\b|\bapproved\b", c["text"]):
            yield f"{c['code']} passes judgement: {c['text']}"
        if re.search(r"\{\w*\}|\bnan\b|\binf\b|None", c["text"]):
            yield f"{c['code']}: an unfinished sentence: {c['text']}"
        for change in c["clears"]:
            floor = FLOORS.get(change["change"], -math.inf)
            if isinstance(change["to"], (int, float)) and change["to"] < floor - CLOSE:
                yield f"{c['code']} offers {change}, under {floor}"


def quantities(a: Answer) -> Iterator[str]:
    """Orders cover net, waste and spare, in whole packs; what the plan and the supports need is bought."""
    found = {q["item"]: q for q in a.framing["quantities"]}
    if len(found) < len(a.framing["quantities"]):
        yield "an item stands twice"
    for item, q in found.items():
        if min(q["net"], q["waste"], q["spare"]) < -CLOSE or q["order"] != int(q["order"]) or not q["basis"]:
            yield f"{item}: {q}"
        if q["order"] * q.get("pack", 1) < q["net"] + q["waste"] + q["spare"] - 1e-4:
            yield f"{item}: {q['order']} x {q.get('pack', 1)} is less than {q['net']} + {q['waste']} + {q['spare']}"
        if q["unit"] not in CODES_OF_UNITS or q["order_unit"] not in CODES_OF_UNITS:
            yield f"{item}: unit {q['unit']} or {q['order_unit']}"
    sticks: Counter[str] = Counter()
    for s in a.framing["stock_plan"]:
        sticks[f"{s['item']}/{s['length']:g}"] += s.get("count", 1)
    for item, n in sticks.items():
        if item not in found or found[item]["order"] < n:
            yield f"{n} of {item} are sawn, {found.get(item, {}).get('order')} ordered"
    pads = sum(q["net"] for item, q in found.items() if item.startswith("support/pad"))
    if pads != len(a.framing["supports"]):
        yield f"{pads} pads for {len(a.framing['supports'])} supports"
    shims = sum(q["net"] * float(item.rsplit("/", 1)[1]) for item, q in found.items() if "/shim/" in item)
    if abs(shims - sum(s["shim"] for s in a.framing["supports"])) > 1e-3 * (1 + len(a.framing["supports"])):
        yield f"shims of {shims} in are bought, the stacks hold {sum(s['shim'] for s in a.framing['supports'])}"


def labor(a: Answer) -> Iterator[str]:
    rates = (a.build.get("labor") or {}).get("rates") or {}
    for t in a.framing["labor"]:
        worked = t["quantity"] * t["hours_per_unit"] * t["factor"]
        if abs(t["hours"] - worked) > 1e-4 or t["hours"] < 0 or not t["basis"]:
            yield f"{t['task']}: {t}"
        if t["task"] in rates and abs(t["hours_per_unit"] - rates[t["task"]]["typical"]) > CLOSE:
            yield f"{t['task']} does not take the build's own rate"


def ordered(a: Answer) -> Iterator[str]:
    """Wastes both ways, bundles, hours in their bands and working days, counted again."""
    yield from orders(a.build, a.framing)


def loads(a: Answer) -> Iterator[str]:
    """Dead: decking as laid, framing averaged over the net area, and what was asked besides."""
    asked, used = a.build["loads"], a.framing["loads"]
    if abs(used["live"] - max(asked["live"], asked.get("snow", 0))) > CLOSE:
        yield f"live load {used['live']}, asked {asked['live']}, snow {asked.get('snow', 0)}"
    pcf = density_pcf(SPECIFIC_GRAVITY[species_key(a.build["joists"]["species"])], 19.0)
    if a.build["joists"].get("moisture") == "wet":
        pcf = max(pcf, FRESH_TREATED_PCF)
    weight = 0.0
    for m in a.framing["members"]:
        for p, q in sawn(m):
            s = np.array([p, *(v for v, _ in m["profile"] if p < v < q), q])
            depth = _depth(m, s)
            weight += pcf * m["thickness"] * float((np.diff(s) * (depth[1:] + depth[:-1]) / 2).sum()) / 1728
    laid = decking_weight(a.build["decking"].get("species") or "", a.want("decking", "thickness"),
                          a.want("decking", "width"), a.want("decking", "gap")).psf
    dead = laid + weight / (a.net.area / 144) + asked.get("dead_extra", 0)
    if abs(dead - used["dead"]) > 0.005 * dead + 0.01:
        yield f"dead load {used['dead']}, its parts add to {dead}"


def uncertainty(a: Answer) -> Iterator[str]:
    """Bands in order, chances from 0 to 1, and everything told of what is in the answer."""
    found = a.framing["uncertainty"]
    gap, risk, hours = found.get("least_gap"), found["at_risk"], found["hours"]
    bands = {**found["shims"], **found["quantities"], **hours, "sticks at risk": risk["sticks"],
             **({"least gap": gap} if gap else {})}
    for name, v in bands.items():
        if not v["p10"] <= v["p50"] <= v["p90"]:
            yield f"{name}: {v}"
    chances = {"gap below least": found["gap_below_least"], "open stacks": found["stack_open"],
               "hours over": hours["total"]["over"], "deeper": risk["deeper"], "thinner": risk["thinner"],
               **found["order_short"], **found["culls"],
               **{f"{m['member']} {k}": m[k] for m in risk["members"] for k in ("deeper", "thinner")}}
    for name, chance in chances.items():
        if not 0 <= chance <= 1:
            yield f"{name}: a chance of {chance}"
    if stray := {m["member"] for m in risk["members"]} - set(a.members):
        yield f"{stray} are at risk and no members"
    known = {q["item"] for q in a.framing["quantities"]} | {f"support/shim/{size}" for size in found["shims"]}
    if stray := set(found["order_short"]) - known:  # shims may be short though none are ordered
        yield f"{stray} are short, no shims and not ordered"
    if abs(hours["total"]["planned"] - sum(t["hours"] for t in a.framing["labor"])) > 1e-4:
        yield f"{hours['total']['planned']} hours planned are not those of the tasks"
    for what, parts in found["contributions"].items():
        if sum(p["share"] for p in parts) > 1 + 1e-6 or any(not 0 <= p["share"] <= 1 + 1e-6 for p in parts):
            yield f"shares of {what}: {parts}"
    if any(not words.strip() for words in found["told"].values()):
        yield "something told is empty"


def provenance(a: Answer) -> Iterator[str]:
    for name, document in (("survey", a.survey), ("build", a.build)):
        text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        if a.framing["provenance"][f"{name}_sha256"] != hashlib.sha256(text.encode()).hexdigest():
            yield f"the {name}'s hash is not that of its canonical JSON"


# identity, and what the answer must hold for it to be asked
IDENTITIES = (
    (survey_adjustment, "survey_adjustment"), (roof, "facets"), (plane, "reveals"), (outline, "outline"),
    (members, "members"), (layout, "supports"), (supports, "supports"), (splices, "supports"), (laps, "supports"),
    (boards, "boards"),
    (stock, "stock_plan"), (checks, "checks"), (quantities, "quantities"), (labor, "labor"), (ordered, "schedule"),
    (loads, "supports"), (uncertainty, "quantities"), (provenance, "provenance"),
)


def _holds(framing: Document, part: str) -> bool:
    owner = {"facets": framing["roof"], "reveals": framing["plane"]}.get(part, framing)
    return bool(owner and owner.get(part))


def identities(survey: Document, build: Document, framing: Document) -> list[str]:
    """Every identity of the three documents that this answer breaks, in words; with a stop, as far as it came."""
    answer = Answer(survey, build, framing)
    broken = [f"{kind.__name__}: {words}" for kind, part in IDENTITIES if _holds(framing, part)
              for words in kind(answer)]
    if not answer.stopped:
        broken += [f"whole: no {part} and no stop" for _, part in IDENTITIES if not _holds(framing, part)]
    return broken


def asked_of(framing: Document) -> int:
    """How many identities the answer goes far enough to be asked."""
    return sum(_holds(framing, part) for _, part in IDENTITIES)
