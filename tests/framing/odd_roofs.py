"""Roofs that nobody designed for, made from a height function: outlines, folds, doors and fittings of any kind."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from shapely import Point, Polygon

from tests.framing.fixtures import good_build

Place = tuple[float, float]
FALL = 0.25 / 12  # 1/4 in/ft

RECTANGLE: list[Place] = [(0, 0), (192, 0), (192, 120), (0, 120)]
L_SHAPE: list[Place] = [(0, 0), (240, 0), (240, 96), (120, 96), (120, 216), (0, 216)]
U_SHAPE: list[Place] = [(0, 0), (300, 0), (300, 180), (204, 180), (204, 84), (96, 84), (96, 180), (0, 180)]
TRIANGLE: list[Place] = [(0, 0), (216, 0), (90, 160)]
OCTAGON: list[Place] = [(60, 0), (180, 0), (240, 60), (240, 150), (180, 210), (60, 210), (0, 150), (0, 60)]
SMALL: list[Place] = [(0, 0), (60, 0), (60, 48), (0, 48)]
LARGE: list[Place] = [(0, 0), (1440, 0), (1440, 720), (0, 720)]


def away_from_house(x: float, y: float) -> float:
    """A single fall square to the house, 8 in under the datum there [in]."""
    return -8.0 - FALL * y


def odd_survey(corners: Sequence[Place], height: Callable[[float, float], float] = away_from_house, *,
               lines: Sequence[tuple[str, Sequence[Place]]] = (), door: Sequence[Place] | None = None,
               sill: float | Sequence[float] = -2.0, outlets: Sequence[Place] = (), step: float | None = None,
               **more: Any) -> dict[str, Any]:
    """A survey of the roof z = height(x, y) [in], read on a grid `step` apart, every place by coordinates.

    `lines` are break lines; their points are read as well. `more` overrides whole fields; None takes one out.
    """
    outline = Polygon(corners)
    names = [chr(ord("A") + i) for i in range(len(corners))]
    positions: dict[str, Place] = dict(zip(names, corners, strict=True))
    x0, y0, x1, y1 = outline.bounds
    step = step or max(24.0, (x1 - x0) / 8)
    columns, rows = (np.arange(low + step / 3, high, step).tolist() for low, high in ((x0, x1), (y0, y1)))
    grid = ((x, y) for y in rows for x in columns)
    shots = {f"r{i}": at for i, at in enumerate(at for at in grid if outline.contains(Point(at)))}
    positions |= shots
    levels = [_reading(name, height(*at), "roof") for name, at in shots.items()]
    breaklines = []
    for i, (kind, points) in enumerate(lines):
        own = {f"k{i}_{j}": at for j, at in enumerate(points)}
        positions |= own
        levels += [_reading(name, height(*at), kind) for name, at in own.items()]
        breaklines.append({"kind": kind, "points": list(own)})
    middle = (corners[0][0] + corners[1][0]) / 2
    door = door or [(middle - 18, corners[0][1]), (middle, corners[0][1]), (middle + 18, corners[0][1])]
    sills = [float(sill)] * len(door) if isinstance(sill, (int, float)) else list(sill)
    for i, (at, z) in enumerate(zip(door, sills, strict=True)):
        positions[f"t{i}"] = at
        levels.append(_reading(f"t{i}", z, "threshold"))
    fitted = []
    for i, at in enumerate(outlets):
        positions[f"o{i}"] = at
        levels.append(_reading(f"o{i}", height(*at), "outlet"))
        fitted.append({"kind": "scupper", "purpose": "primary", "point": f"o{i}", "width": 6, "height": 4})
    survey = {
        "format": "roof-survey/1", "name": "odd roof", "corners": names,
        "positions": {name: [float(v) for v in at] for name, at in positions.items()},
        "levels": levels, "breaklines": breaklines, "threshold": [f"t{i}" for i in range(len(door))],
        "outlets": fitted,
        "edges": [{"from": a, "to": b, "against": "house" if i == 0 else "parapet", "height": 14}
                  for i, (a, b) in enumerate(zip(names, (*names[1:], names[0]), strict=True))],
        "roof": {"membrane": "EPDM", "age": 4, "insulation": "polyiso", "insulation_strength": 25},
        "access": {"floor": 3, "longest_stick": "16'", "lift": "hoist"},
    }
    survey |= more
    return {field: value for field, value in survey.items() if value is not None}


def odd_build(**more: Any) -> dict[str, Any]:
    """A build for any of these roofs: `more` maps "section__field" or a whole section to its value; None removes."""
    build = copy.deepcopy(good_build())
    build["access_panels"] = []
    build["decking"]["edge_gaps"] = {}
    build["decking"]["direction"] = "auto"
    build["supports"]["clear_gap"]["most"] = 4
    build["supports"]["shim_most"] = 4
    build["joists"]["sizes"] = ["2x4", "2x6", "2x8", "2x10", "2x12"]
    for path, value in more.items():
        *owners, last = path.split("__")
        at = build
        for owner in owners:
            at = at[owner]
        if value is None:
            at.pop(last, None)
        else:
            at[last] = value
    return build


def _reading(point: str, z: float, on: str) -> dict[str, Any]:
    return {"point": point, "drop": round(-z * 16) / 16, "on": on}


def turned(corners: Sequence[Place], degrees: float) -> list[Place]:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return [(x * c - y * s, x * s + y * c) for x, y in corners]
