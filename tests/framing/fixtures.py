"""A small terrace of our own making, as fresh documents that a test may bend: house along AB, a ridge at mid."""

from __future__ import annotations

import math
from typing import Any

# The truth behind the readings [in]: a slightly skewed four-sided terrace, the house along y = 0.
CORNERS = {"A": (0.0, 0.0), "B": (192.0, 0.0), "C": (196.0, 120.0), "D": (-3.0, 126.0)}
RIDGE_X = 96.0
RIDGE_DROP = 8.0
FALL = 0.25 / 12  # 1/4 in/ft to either side, level along the ridge
_SHOTS = {
    "r1": (6.0, 10.0), "r2": (50.0, 10.0), "r3": (140.0, 10.0), "r4": (186.0, 10.0),
    "r5": (6.0, 64.0), "r6": (50.0, 64.0), "r7": (140.0, 64.0), "r8": (186.0, 64.0),
    "r9": (6.0, 116.0), "r10": (50.0, 116.0), "r11": (140.0, 116.0), "r12": (186.0, 112.0),
}
_RIDGE = {"k1": (96.0, 6.0), "k2": (96.0, 62.0), "k3": (96.0, 118.0)}
_THRESHOLD = {"t1": ((78.0, 0.0), 2.0), "t2": ((96.0, 0.0), 2.0625), "t3": ((114.0, 0.0), 2.125)}
_OUTLETS = {"s1": (-2.5, 100.0), "s2": (194.5, 96.0), "s3": (194.0, 60.0)}


def roof_drop(x: float) -> float:
    """True drop of the roof [in] at x [in], the same at every y."""
    return RIDGE_DROP + FALL * abs(x - RIDGE_X)


def _tape(one: str, other: str) -> list[Any]:
    """The distance to the nearest 1/16 in, written as a crew writes it."""
    steps = round(math.dist(CORNERS[one], CORNERS[other]) * 16)
    feet, steps = divmod(steps, 192)
    inches, part = divmod(steps, 16)
    return [one, other, f"{feet}' {inches} {part}/16\"" if part else f"{feet}' {inches}\""]


def _reading(point: str, drop: float, on: str) -> dict[str, Any]:
    return {"point": point, "drop": round(drop * 16) / 16, "on": on}


def good_survey() -> dict[str, Any]:
    """A whole roof-survey/1: four tapes round, both diagonals, 21 levels, a datum check, two scuppers, an overflow."""
    plan = _SHOTS | _RIDGE | {name: at for name, (at, _) in _THRESHOLD.items()} | _OUTLETS
    return {
        "format": "roof-survey/1",
        "name": "Our terrace",
        "unit": "in",
        "surveyed_on": "2026-03-14",
        "surveyor": "R. Finch",
        "datum": {"what": "cut cross in the door sill", "where": "left jamb", "photo": "datum.jpg"},
        "corners": ["A", "B", "C", "D"],
        "positions": {name: list(at) for name, at in plan.items()},
        "tapes": [_tape(*pair) for pair in ("AB", "BC", "CD", "DA", "AC", "BD")],
        "levels": [
            *(_reading(name, roof_drop(x), "roof") for name, (x, _) in _SHOTS.items()),
            *(_reading(name, RIDGE_DROP, "ridge") for name in _RIDGE),
            *(_reading(name, drop, "threshold") for name, (_, drop) in _THRESHOLD.items()),
            *(_reading(name, roof_drop(x), "outlet") for name, (x, _) in _OUTLETS.items()),
        ],
        "datum_checks": [{"after": "s3", "drop": 0}],
        "breaklines": [{"kind": "ridge", "points": ["k1", "k2", "k3"]}],
        "threshold": ["t1", "t2", "t3"],
        "outlets": [
            {"kind": "scupper", "purpose": "primary", "point": "s1", "width": 6, "height": 4},
            {"kind": "scupper", "purpose": "primary", "point": "s2", "width": 6, "height": 4},
            {"kind": "scupper", "purpose": "overflow", "point": "s3", "width": 6, "height": 4, "invert_drop": 8},
        ],
        "edges": [
            {"from": "A", "to": "B", "against": "house"},
            {"from": "B", "to": "C", "against": "parapet", "height": 24, "drop_beyond": "12'"},
            {"from": "C", "to": "D", "against": "parapet", "height": 24, "drop_beyond": "36'"},
            {"from": "D", "to": "A", "against": "parapet", "height": 24, "drop_beyond": "36'"},
        ],
        "roof": {
            "membrane": "EPDM", "age": 4, "insulation": "polyiso", "insulation_strength": 25,
            "cover_board": {"material": "gypsum", "thickness": "1/2"}, "inspected_on": "2026-02-20",
        },
        "site": {"height_above_grade": "36'", "stories": 4, "occupancy": "dwelling", "accessible_route": False},
        "access": {"floor": 4, "longest_stick": "16'", "lift": "hoist"},
    }


def good_build() -> dict[str, Any]:
    """A whole deck-build/1 that the terrace of `good_survey` can carry."""
    return {
        "format": "deck-build/1",
        "name": "Level deck",
        "surface": {"mode": "level", "reveal": "1/8"},
        "decking": {
            "item": "hardwood 5/4x6", "species": "garapa", "thickness": 1, "width": 5.5, "gap": "3/16",
            "direction": 90, "border_courses": 0, "edge_gaps": {"A-B": "1/2", "C-B": 1}, "fastening": "hidden",
            "stock_lengths": ["8'", "10'", "12'", "14'", "16'"],
        },
        "joists": {
            "species": "Southern Pine", "grade": "No.2", "moisture": "kdat", "sizes": ["2x4", "2x6", "2x8"],
            "stock_lengths": [96, 120, 144, 168, 192], "spacing": 16, "direction": "auto", "minimum_depth": 1.5,
            "splice": "over-support",
        },
        "supports": {
            "base_thickness": 0.125, "pad_thickness": "1/2", "pad_size": [6, 6],
            "clear_gap": {"least": "3/4", "target": "3/4", "most": 2}, "shim_sizes": ["1/16", "1/8", "1/4"],
            "shim_most": 1.25, "maximum_spacing": "auto",
        },
        "loads": {"live": 40, "dead_extra": 0, "basis": "dwelling-40"},
        "rain": {"primary": 4, "secondary": 8, "source": "test value"},
        "saw": {"kerf": "1/8", "trim": "1/4"},
        "access_panels": [{"over": "s1", "none": "reached from the parapet side"}],
        "labor": {"difficulty": {"stair carry": 1.2}, "crew": 3},
    }
