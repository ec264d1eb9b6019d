"""Random decks with a known truth, as survey and build documents: any outline, roofs of up to four planes, every mode.

All figures are drawn, none comes from a real roof. `deck(seed)` is the same for ever: the same seed gives the same
documents. The height over the roof is drawn so that about four in five can be framed and the rest cannot, each for a
reason of its own. Everything in inches unless a document's unit says otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon
from shapely.ops import polygonize

from framing.reference.lumber import DRESSED
from tests.framing.deck_builds import build_of, inches, need_of, slope_of
from tests.framing.deck_shapes import outline
from tests.framing.random_roofs import TrueRoof, folds_of, planes_of, spread
from tests.framing.terraces import DATUM, IN_UNIT, LEVEL_NOISE, TAPE_NOISE, written

Floats = NDArray[np.float64]
Rng = np.random.Generator

ROOFS = ("plane", "ridge", "valley", "strips", "hips", "crossing valleys", "hip end")
MOST_FOLDS = 4
LEAST_FACET = 8 * 144.0  # a facet has at least so much of the roof [sq in]
LEAST_FOLD = 16.0  # a shorter fold is not read as a break line [in]
WALL = 2.0  # a scupper's place is taken this far inside the wall [in]


@dataclass(frozen=True)
class Frame:
    """From the truth's plan to the survey's frame: xy' = (xy - origin) @ turn."""

    origin: Floats
    turn: Floats  # (2, 2)

    def to(self, xy: Any) -> Floats:
        return np.asarray((np.asarray(xy, float) - self.origin) @ self.turn)

    def back(self, xy: Any) -> Floats:
        return np.asarray(np.atleast_2d(np.asarray(xy, float)) @ self.turn.T + self.origin)


@dataclass(frozen=True)
class Mound:
    """A blister in the roof: `rise` [in] at its top, nothing `reach` [in] away, straight between."""

    at: Floats
    rise: float
    reach: float

    def height(self, xy: Floats) -> Floats:
        return np.asarray(self.rise * np.clip(1 - np.hypot(*(xy - self.at).T) / self.reach, 0, None))


@dataclass(frozen=True)
class Deck:
    """Documents and the truth behind them."""

    seed: int
    survey: dict[str, Any]
    build: dict[str, Any]
    shape: str
    concave: bool
    roof: TrueRoof  # in the truth's plan
    mound: Mound | None
    frame: Frame
    corners: dict[str, Floats]  # true places in the survey's frame

    def height(self, xy: Floats) -> Floats:
        """True height of the membrane below the datum at (n, 2) places of the survey's frame [in]."""
        plan = self.frame.back(xy)
        return self.roof.height(plan) + (self.mound.height(plan) if self.mound else 0.0)


def deck(seed: int) -> Deck:
    rng = np.random.default_rng([7, seed])
    concave = bool(seed % 2)
    shape, corners = outline(rng, concave)
    ring = Polygon(corners)
    names = list("ABCDEFGHIJ"[: len(corners)])
    sides = list(zip(names, (*names[1:], names[0]), strict=True))
    house = _house(rng, len(corners))
    door, second = _doors(rng, corners, house)
    kind, roof = _roof(rng, ring)
    mound = _mound(rng, ring, roof) if rng.random() < 0.08 else None
    vents = _obstacles(rng, ring, door, written)
    outlets = _outlets(rng, ring, roof, corners, house, vents)
    points = [f"s{i}" for i in range(3)]
    build = build_of(rng, sides, points, [o["point"] for o, _ in outlets], [o["name"] for o, _ in vents])
    tilt = float(rng.uniform(-1, 1) * 3 / 16 / 72)
    if build["surface"]["mode"] == "follow-threshold" and len(door) < 2:
        build["surface"]["mode"] = "level"
    roof = _hung(rng, roof, mound, ring, build, door, tilt)
    frame, located = _frame(rng, corners)
    truth = Deck(seed, {}, build, shape, concave, roof, mound, frame, dict(zip(names, frame.to(corners), strict=True)))
    survey = _survey(rng, truth, corners, names, sides, house, door, second, tilt, vents, outlets, located, kind)
    _turn_build(build, frame)
    return Deck(**{**truth.__dict__, "survey": survey})


def _house(rng: Rng, count: int) -> tuple[int, ...]:
    """Sides against the house, by number: the first, sometimes a neighbour of it too."""
    draw = rng.random()
    return (0,) if draw < 0.65 else (0, 1) if draw < 0.85 else (0, count - 1)


def _doors(rng: Rng, corners: Floats, house: Sequence[int]) -> tuple[Floats, Floats | None]:
    """Threshold points of the governing door (n, 2), and of a second one; each somewhere along a side of the house,
    left to right as seen from inside."""
    def one(points: int) -> Floats:
        side = int(rng.choice(house))
        a, b = corners[side], corners[(side + 1) % len(corners)]
        run = float(np.hypot(*(b - a)))
        wide = min(float(rng.uniform(30, 96)), 0.8 * run)
        left = float(rng.uniform(2, max(2.5, run - wide - 2)))
        t = left + np.linspace(0, wide, points) if points > 1 else np.array([left + wide / 2])
        return np.asarray(a + t[:, None] * (b - a) / run)

    door = one(int(rng.choice([1, 2, 3, 3, 3], p=[0.05, 0.15, 0.3, 0.3, 0.2])))
    return door, (one(2) if rng.random() < 0.15 else None)


def _roof(rng: Rng, ring: Polygon) -> tuple[str, TrueRoof]:
    """A roof of one to four planes over the outline, at no height yet."""
    kind = str(rng.choice(ROOFS, p=[0.24, 0.18, 0.14, 0.12, 0.12, 0.1, 0.1]))
    x0, y0, x1, y1 = ring.bounds
    core = ring.buffer(-min(x1 - x0, y1 - y0) / 10)
    corners = np.array(ring.exterior.coords)[:-1]
    hull = np.array(ring.convex_hull.exterior.coords)[:-1]
    for _ in range(40):
        middle = np.array((core if not core.is_empty else ring).representative_point().coords[0])
        middle = middle + rng.uniform(-10, 10, 2)
        turn = float(rng.choice([0.0, rng.uniform(-0.3, 0.3)]))
        planes, combine = planes_of(rng, kind, middle, x1 - x0, turn)
        whole = TrueRoof(0, kind, hull, np.array(planes), combine, (), LEVEL_NOISE, TAPE_NOISE)
        folds, whole_folds = [], folds_of(whole)
        for k, line in whole_folds:
            inside = line.intersection(ring.buffer(-1))
            folds += [(k, p) for p in getattr(inside, "geoms", [inside])
                      if p.geom_type == "LineString" and p.length >= LEAST_FOLD]
        roof = TrueRoof(**{**whole.__dict__, "corners": corners, "folds": tuple(folds)})
        if len(folds) <= MOST_FOLDS and _least_facet(ring, [line for _, line in whole_folds]) >= LEAST_FACET:
            return kind, roof
    planes, combine = planes_of(rng, "plane", corners.mean(axis=0), x1 - x0, 0.0)
    return "plane", TrueRoof(0, "plane", corners, np.array(planes), combine, (), LEVEL_NOISE, TAPE_NOISE)


def _least_facet(ring: Polygon, folds: Sequence[LineString]) -> float:
    """The least area that folds cut off the roof [sq in]; a corner of it with no reading could not be known."""
    cells = polygonize(shapely.union_all([ring.exterior, *folds]))
    return float(min(c.area for c in cells if ring.contains(c.representative_point())))


def _mound(rng: Rng, ring: Polygon, roof: TrueRoof) -> Mound | None:
    inner = ring.buffer(-30)
    if inner.is_empty:
        return None
    many = roof.places(200, rng)
    many = many[shapely.contains_xy(inner, many)]
    return Mound(many[0], float(rng.uniform(3 / 16, 7 / 16)), float(rng.uniform(20, 30))) if len(many) else None


def _obstacles(rng: Rng, ring: Polygon, door: Floats, crew: Any) -> list[tuple[dict[str, Any], dict[str, Floats]]]:
    """(obstacle as a document has it, its points' places): none in two of three, else up to three, some at the edge."""
    found: list[tuple[dict[str, Any], dict[str, Floats]]] = []
    if rng.random() > 0.36:
        return found
    taken = LineString(np.r_[door, door + 0.1]).buffer(36)
    for k in range(int(rng.choice([1, 1, 2, 3]))):
        w, h = rng.uniform(5, 12, 2) if rng.random() < 0.5 else rng.uniform(16, 36, 2)
        room = ring.buffer(-math.hypot(w, h) / 2 - 1).difference(taken)
        if rng.random() < 0.35 and not room.is_empty:  # hard by the edge
            room = room.boundary.buffer(1).intersection(room)
        if room.is_empty:
            continue
        x0, y0, x1, y1 = room.bounds
        many = rng.uniform((x0, y0), (x1, y1), (400, 2))
        many = many[shapely.contains_xy(room, many)]
        if not len(many):
            continue
        at = many[0]
        clear = float(rng.choice([0, 1, 3, 6]))
        if rng.random() < 0.5:
            named = {f"v{k}": at}
            found.append(({"name": f"vent {k}", "point": f"v{k}", "size": (w, h) if rng.random() < 0.5 else min(w, h),
                           "clearance": clear}, named))
        else:
            count = int(rng.choice([3, 4, 4, 6]))
            turn = rng.uniform(0, np.pi) + 2 * np.pi * np.arange(count) / count
            shape = at + np.stack([w / 2 * np.cos(turn), h / 2 * np.sin(turn)], axis=1)
            named = {f"h{k}{i}": p for i, p in enumerate(shape)}
            found.append(({"name": f"hatch {k}", "points": list(named), "clearance": clear}, named))
        taken = taken.union(Point(at).buffer(math.hypot(w, h) / 2 + 10))
    return found


def _outlets(rng: Rng, ring: Polygon, roof: TrueRoof, corners: Floats, house: Sequence[int],
             vents: Sequence[Any]) -> list[tuple[dict[str, Any], Floats]]:
    """(outlet, place): scuppers at the walls' lowest places or a drain at the lowest place inside, and an overflow."""
    if rng.random() < 0.05:
        return []
    walls = shapely.union_all([LineString([corners[i], corners[(i + 1) % len(corners)]]) for i in house])
    inner = ring.buffer(-WALL, join_style="mitre").exterior
    edge = np.array([inner.interpolate(v).coords[0] for v in np.arange(0, inner.length, 5.0)])
    edge = edge[shapely.distance(shapely.points(edge), walls) > 10]
    found: list[tuple[dict[str, Any], Floats]] = []
    z = roof.height(edge)
    if roof.kind in ("crossing valleys", "valley") and rng.random() < (0.9 if roof.kind == "crossing valleys" else 0.4):
        many = roof.places(3000, rng)
        blocked = shapely.union_all([Point(p).buffer(14) for _, named in vents for p in named.values()] or [Polygon()])
        many = many[shapely.contains_xy(ring.buffer(-12).difference(blocked), many)]
        if len(many):
            at = many[np.argmin(roof.height(many))]
            found.append(({"kind": "drain", "purpose": "primary", "point": "d1", "diameter": 4.0}, at))
    if not found:
        at = edge[np.argmin(z)]
        found.append(({"kind": "scupper", "purpose": "primary", "point": "o1", "width": 6.0, "height": 4.0}, at))
    apart = np.hypot(*(edge - found[0][1]).T) > 60
    if apart.any():
        at = edge[apart][np.argmin(z[apart])]
        over = bool(rng.random() < 0.6)
        found.append(({"kind": "scupper", "purpose": "overflow" if over else "primary", "point": "o2", "width": 8.0,
                       "height": 4.0}, at))
    return found


def _hung(rng: Rng, roof: TrueRoof, mound: Mound | None, ring: Polygon, build: dict[str, Any], door: Floats,
          tilt: float) -> TrueRoof:
    """The roof under the finished surface, at a height and with slopes that mostly leave room for a frame."""
    need, play = need_of(build)
    along = (door[-1] - door[0]) / np.hypot(*(door[-1] - door[0])) if len(door) > 1 else np.array([1.0, 0.0])
    deepest = max(DRESSED[k][1] for k in build["joists"]["sizes"])
    draw = rng.random()
    spare = float(rng.uniform(0.3, 2.0) if draw < 0.87 else rng.uniform(-1.5, -0.1) if draw < 0.92
                  else rng.uniform(2.0, 5.0))
    room = deepest - inches(build["joists"]["minimum_depth"], build["unit"]) + play - max(spare, 0) - 0.4
    x0, y0, x1, y1 = ring.bounds
    x, y = np.meshgrid(np.linspace(x0, x1, 140), np.linspace(y0, y1, 140))
    xy = np.c_[x.ravel(), y.ravel()]
    xy = np.r_[xy[shapely.contains_xy(ring, xy)], np.array(ring.exterior.coords)]
    surface = xy @ slope_of(build, along, tilt)
    bare = roof.height(xy)
    bump = mound.height(xy) if mound else 0.0
    bare -= bare.max()
    steep = 1.0
    if rng.random() > 0.07:  # flattened until the deepest stick serves
        while np.ptp(surface - steep * bare - bump) > max(room, 1.2) and steep > 0.15:
            steep *= 0.9
    sill = -DATUM - inches(build["surface"]["reveal"], build["unit"])
    surface = surface - float(door[0] @ slope_of(build, along, tilt)) + sill
    lift = float((surface - steep * bare - bump).min()) - need - spare  # what the roof may rise by
    planes = roof.planes * steep
    planes[:, 0] += lift - steep * float(roof.height(xy).max())
    return TrueRoof(**{**roof.__dict__, "planes": planes})


def _frame(rng: Rng, corners: Floats) -> tuple[Frame, str]:
    """How the survey lies on the truth, and whether corners are taped from the first or located from a baseline.

    "on": the first side is the x axis; "back": corners are named the other way round, so the roof lies at y < 0;
    "baseline": corners are located from a line of their own.
    """
    draw = rng.random()
    if draw < 0.6:
        return Frame(np.zeros(2), np.eye(2)), "on"
    if draw < 0.8:
        return Frame(corners[1], -np.eye(2)), "back"
    a = float(rng.uniform(0, 2 * np.pi))
    turn = np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
    return Frame(rng.uniform(-100, 100, 2), turn), "baseline"


def _turn_build(build: dict[str, Any], frame: Frame) -> None:
    """Directions of the build, drawn in the truth's plan, as the survey's frame has them [degrees]."""
    by = math.degrees(math.atan2(frame.turn[0, 1], frame.turn[0, 0]))
    for part, field in (("surface", "toward"), ("decking", "direction"), ("joists", "direction")):
        value = build[part].get(field)
        if isinstance(value, (int, float)):
            build[part][field] = round((value + by + 180) % 360 - 180, 6)


def _survey(rng: Rng, truth: Deck, corners: Floats, names: list[str], sides: list[tuple[str, str]],
            house: Sequence[int], door: Floats, second: Floats | None, tilt: float, vents: Sequence[Any],
            outlets: Sequence[Any], located: str, kind: str) -> dict[str, Any]:
    unit = str(rng.choice(["in", "ft", "mm", "m"], p=[0.5, 0.2, 0.2, 0.1]))
    ring = Polygon(corners)

    def crew(v: float) -> Any:
        return written(v, unit)

    shots = {f"s{i}": p for i, p in enumerate(spread(truth.roof, int(rng.integers(18, 50)), 9, rng))}
    if truth.mound:
        turn = rng.uniform(0, 2 * np.pi) + 2 * np.pi * np.arange(4) / 4
        shots["m"] = truth.mound.at
        shots |= {f"m{i}": truth.mound.at + 7 * np.array([math.cos(t), math.sin(t)]) for i, t in enumerate(turn)}
    folds, lines = _breaklines(rng, truth.roof)
    doors = {f"t{i}": p for i, p in enumerate(door)}
    others = {f"u{i}": p for i, p in enumerate(second)} if second is not None else {}
    rise = float(rng.uniform(0, 1.0))
    sills = {p: -DATUM + tilt * float(np.hypot(*(at - door[0]))) for p, at in doors.items()}
    sills |= {p: -DATUM + rise for p in others}

    def membrane(at: Floats) -> float:
        bump = float(truth.mound.height(at[None])[0]) if truth.mound else 0.0
        return float(truth.roof.height(at)[0]) + bump

    readings = [(p, membrane(at) + rng.normal(0, LEVEL_NOISE), "roof") for p, at in shots.items()]
    kinds = {p: k for k, points in lines for p in points}
    readings += [(p, membrane(at) + rng.normal(0, LEVEL_NOISE), kinds[p]) for p, at in folds.items()]
    readings += [(p, z + rng.normal(0, LEVEL_NOISE / 2), "threshold") for p, z in sills.items()]
    drift = round(float(rng.uniform(-0.15, 0.15)) * 16) / 16 if rng.random() < 0.3 else None
    levels: list[dict[str, Any]] = [
        {"point": p, "drop": crew(-z + (drift or 0.0) * (i + 1) / len(readings)), "on": on}
        for i, (p, z, on) in enumerate(readings)]
    if rng.random() < 0.1:
        deep = 2.0
        for k in (3, 4):
            p, z, _ = readings[k]
            levels[k] = {"point": p, "on": "paver", "depth_to_membrane": crew(deep),
                         "drop": crew(-z + (drift or 0.0) * (k + 1) / len(readings) - deep)}
    places = {**shots, **folds, **doors, **others, **{o["point"]: at for o, at in outlets}}
    for _, named in vents:
        places |= named
    # places on tape or baseline are written to full length: how well points are located is the networks' test
    positions = {p: truth.frame.to(at) for p, at in places.items()}
    if located == "baseline":
        positions |= {c: truth.corners[c] for c in names}
    order = [names[1], names[0], *names[:1:-1]] if located == "back" else list(names)
    survey: dict[str, Any] = {
        "format": "roof-survey/1", "name": f"deck {truth.seed}", "unit": unit,
        "datum": {"what": "cut cross in the sill", "where": "left jamb"}, "corners": order,
        "positions": {p: [float(v) * IN_UNIT[unit] for v in at] for p, at in positions.items()},
        "tapes": [[a, b, crew(run + rng.normal(0, TAPE_NOISE))]
                  for a, b, run in _tapes(rng, ring, corners, names, shots)],
        "levels": levels,
        "breaklines": [{"kind": k, "points": list(points)} for k, points in lines],
        "outlets": [_outlet(o, membrane(at), crew) for o, at in outlets],
        "obstacles": [_obstacle(o, crew) for o, _ in vents],
        "edges": _edges(rng, sides, house, crew),
        "access": {"floor": int(rng.integers(1, 6)), "longest_stick": "16 ft",
                   "lift": str(rng.choice(["stair", "elevator", "hoist", "boom"]))},
    }
    if rng.random() < 0.9:
        survey["roof"] = {"membrane": "TPO", "age": 3, "insulation": "polyiso",
                          "insulation_strength": int(rng.choice([16, 20, 25]))}
        if rng.random() < 0.3:
            survey["roof"]["cover_board"] = {"material": "gypsum", "thickness": crew(0.5)}
    if drift is not None:
        survey["datum_checks"] = [{"after": len(readings), "drop": crew(drift)}]
    if located == "baseline" and rng.random() < 0.4:
        survey["position_sigma"] = crew(1 / 16)
    if second is not None:
        survey["doors"] = [
            {"name": "garden door", "points": list(doors), "swing": str(rng.choice(["out", "in", "slide"])),
             "egress": True, "governs": True},
            {"name": "side door", "points": list(others), "clear_width": crew(32), "swing": "in"}]
    else:
        survey["threshold"] = list(doors)
    return survey


def _breaklines(rng: Rng, roof: TrueRoof) -> tuple[dict[str, Floats], list[tuple[str, tuple[str, ...]]]]:
    """Points read along the folds and the break lines through them; in a tenth of surveys the engine must find them."""
    points: dict[str, Floats] = {}
    lines: list[tuple[str, tuple[str, ...]]] = []
    if rng.random() < 0.1 and len(roof.planes) <= 2:
        return points, lines
    for k, (kind, line) in enumerate(roof.folds):
        names = []
        for j, share in enumerate((0.03, 0.35, 0.66, 0.97)):
            name = f"k{k}_{j}"
            points[name] = np.array(line.interpolate(share, normalized=True).coords[0])
            names.append(name)
        lines.append((kind, tuple(names)))
    return points, lines


def _tapes(rng: Rng, ring: Polygon, corners: Floats, names: list[str],
           shots: dict[str, Floats]) -> list[tuple[str, str, float]]:
    """Every side, most of the diagonals that can be taped on the roof, and ties from located points to the corners."""
    within = ring.buffer(0.5)
    count = len(names)
    tapes = []
    for i in range(count):
        for j in range(i + 1, count):
            side = j == i + 1 or (i == 0 and j == count - 1)
            if side or (within.covers(LineString([corners[i], corners[j]])) and (count < 6 or rng.random() < 0.8)):
                tapes.append((names[i], names[j], math.dist(corners[i], corners[j])))
    if count > 3:
        near = list(shots.items())
        for name, at in list(zip(names, corners, strict=True))[2:]:
            seen = [(p, q) for p, q in near if within.covers(LineString([at, q])) and math.dist(at, q) > 24]
            tapes += [(p, name, math.dist(at, q)) for p, q in seen[:2]]
    return tapes


def _outlet(o: dict[str, Any], z: float, crew: Any) -> dict[str, Any]:
    lengths = {k: crew(v) for k, v in o.items() if k in ("width", "height", "diameter")}
    return {**o, **lengths, "invert_drop": crew(-z - (2 if o["purpose"] == "overflow" else 0))}


def _obstacle(o: dict[str, Any], crew: Any) -> dict[str, Any]:
    found = {**o, "clearance": crew(o["clearance"])}
    if "size" in o:
        found["size"] = [crew(v) for v in o["size"]] if isinstance(o["size"], tuple) else crew(o["size"])
    return found


def _edges(rng: Rng, sides: Sequence[tuple[str, str]], house: Sequence[int], crew: Any) -> list[dict[str, Any]]:
    found = []
    for i, (a, b) in enumerate(sides):
        if i in house:
            found.append({"from": a, "to": b, "against": "house"})
        elif rng.random() < 0.25:
            found.append({"from": a, "to": b, "against": "open", "drop_beyond": crew(130)})
        else:
            found.append({"from": a, "to": b, "against": "parapet", "height": crew(14)})
    return found
