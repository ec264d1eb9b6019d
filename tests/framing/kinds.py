"""Three whole inputs of their own kind, with the truth they were made from: all places, readings and sizes drawn up.

A single fall away from the house with a strongly skewed far side; a ridged roof surveyed and built in millimetres; a
roof that lies too near under its door.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

Place = tuple[float, float]

# [in] house along AB; the far side runs 26 degrees off the house
SKEWED: dict[str, Place] = {"A": (0.0, 0.0), "B": (236.0, 0.0), "C": (240.0, 82.0), "D": (-6.0, 202.0)}
SKEWED_FALL = 0.1875 / 12  # in/in, straight out from the house
SKEWED_AT_HOUSE = -9.0

# [mm] house along AB, a ridge square to it near the middle: 5.2 x 3.4 m
METRIC: dict[str, Place] = {"A": (0, 0), "B": (5200, 0), "C": (5240, 3400), "D": (-30, 3460)}
METRIC_RIDGE = 2500.0
METRIC_FALL = 0.018
METRIC_AT_RIDGE = -210.0

LOW: dict[str, Place] = {"A": (0.0, 0.0), "B": (200.0, 0.0), "C": (200.0, 140.0), "D": (0.0, 140.0)}
LOW_AT_HOUSE = -5.25
LOW_FALL = 0.25 / 12


def skewed_height(x: float, y: float) -> float:
    return SKEWED_AT_HOUSE - SKEWED_FALL * y


def metric_height(x: float, y: float) -> float:
    """Height of the millimetre roof [mm]."""
    return METRIC_AT_RIDGE - METRIC_FALL * abs(x - METRIC_RIDGE)


def low_height(x: float, y: float) -> float:
    return LOW_AT_HOUSE - LOW_FALL * y


def _sixteenths(inches: float) -> str:
    """A length as a crew writes it down, e.g. 12' 3 5/16"."""
    feet, rest = divmod(round(inches * 16), 192)
    whole, part = divmod(rest, 16)
    divisor = math.gcd(part, 16)
    fraction = f" {part // divisor}/{16 // divisor}" if part else ""
    return f"{feet}' {whole}{fraction}\"" if feet else f"{whole}{fraction}\""


def _survey(name: str, corners: Mapping[str, Place], height: Callable[[float, float], float],
            written: Callable[[float], Any], shots: Mapping[str, Place], sills: Mapping[str, tuple[Place, float]],
            outlets: Mapping[str, Place]) -> dict[str, Any]:
    """Six tapes, a level round over shots, sills and outlets, and the datum read again."""
    names = list(corners)
    pairs = [(a, b) for i, a in enumerate(names) for b in names[i + 1:]]
    levels = [{"point": p, "drop": written(-height(*at)), "on": "roof"} for p, at in shots.items()]
    levels += [{"point": p, "drop": written(-z), "on": "threshold"} for p, (_, z) in sills.items()]
    levels += [{"point": p, "drop": written(-height(*at)), "on": "outlet"} for p, at in outlets.items()]
    places = {**shots, **{p: at for p, (at, _) in sills.items()}, **outlets}
    return {
        "format": "roof-survey/1", "name": name,
        "datum": {"what": "chisel mark", "where": "right door jamb"},
        "corners": names, "positions": {p: list(at) for p, at in places.items()},
        "tapes": [[a, b, written(math.dist(corners[a], corners[b]))] for a, b in pairs],
        "levels": levels, "datum_checks": [{"after": len(levels), "drop": 0}],
        "threshold": list(sills),
        "roof": {"membrane": "PVC", "age": 6, "insulation": "XPS", "insulation_strength": 40},
        "access": {"floor": 3, "longest_stick": "16 ft", "lift": "hoist"},
        "edges": [{"from": "A", "to": "B", "against": "house"},
                  *({"from": a, "to": b, "against": "parapet", "height": "12 in", "drop_beyond": "20 ft"}
                    for a, b in zip(names[1:], (*names[2:], names[0]), strict=True))],
    }


def skewed() -> tuple[dict[str, Any], dict[str, Any]]:
    """Survey and build of the single fall with the skewed far side, in feet and inches."""
    shots = {f"p{i}": at for i, at in enumerate(
        [(8, 10), (80, 10), (160, 10), (228, 10), (8, 60), (80, 60), (160, 60), (230, 60), (4, 120), (70, 120),
         (130, 120), (0, 180), (36, 170)])}
    sills = {"d1": ((90.0, 0.0), -3.0), "d2": ((126.0, 0.0), -3.0)}
    survey = _survey("Skewed far side", SKEWED, skewed_height, _sixteenths, shots, sills,
                     {"w1": (-4.0, 196.0), "w2": (238.0, 78.0)})
    survey["outlets"] = [{"kind": "scupper", "purpose": "primary", "point": "w1", "width": 8, "height": 4},
                         {"kind": "scupper", "purpose": "overflow", "point": "w2", "width": 8, "height": 4}]
    return survey, _build()


def metric() -> tuple[dict[str, Any], dict[str, Any]]:
    """Survey and build of the ridged roof, every length in millimetres."""
    def whole(mm: float) -> int:
        return round(mm)

    shots = {f"p{i}": (x, y) for i, (x, y) in enumerate(
        (x, y) for y in (150, 1700, 3250) for x in (120, 1300, 2500, 3800, 5050))}
    sills = {"d1": ((2100.0, 0.0), -70.0), "d2": ((3000.0, 0.0), -70.0)}
    survey = _survey("In millimetres", METRIC, metric_height, whole, shots, sills, {"w1": (-20.0, 3000.0)})
    survey |= {
        "unit": "mm", "breaklines": [{"kind": "ridge", "points": ["p2", "p7", "p12"]}],
        "outlets": [{"kind": "scupper", "purpose": "primary", "point": "w1", "width": 150, "height": 100}],
    }
    build = _build()
    build |= {
        "unit": "mm", "surface": {"mode": "level", "reveal": 6},
        "decking": build["decking"] | {"thickness": 25, "width": 140, "gap": 5,
                                       "stock_lengths": [3000, 3600, 4200, 4800]},
        "joists": build["joists"] | {"stock_lengths": [2400, 3000, 3600, 4800], "spacing": 400, "minimum_depth": 38},
        "supports": {"pad_thickness": 10, "pad_size": [[100, 100], [150, 150]], "shim_sizes": [2, 3, 5],
                     "clear_gap": {"least": 20, "target": 20, "most": 45}, "shim_most": 60},
        "saw": {"kerf": 3, "trim": 6},
    }
    return survey, build


def low() -> tuple[dict[str, Any], dict[str, Any]]:
    """Survey and build of the roof that is too near: 2 1/4 in under the sill at the house."""
    shots = {f"p{i}": (x, y) for i, (x, y) in enumerate((x, y) for y in (8, 70, 132) for x in (8, 70, 130, 192))}
    sills = {"d1": ((80.0, 0.0), -3.0), "d2": ((116.0, 0.0), -3.0)}
    survey = _survey("Too near", LOW, low_height, _sixteenths, shots, sills, {"w1": (2.0, 136.0)})
    survey["outlets"] = [{"kind": "drain", "purpose": "primary", "point": "w1", "diameter": 3}]
    return survey, _build()


def _build() -> dict[str, Any]:
    return {
        "format": "deck-build/1", "surface": {"mode": "level", "reveal": "1/4"},
        "decking": {"item": "larch", "species": "western redcedar", "thickness": "1", "width": "5 1/2", "gap": "1/4",
                    "direction": "auto", "fastening": "face", "stock_lengths": ["8'", "10'", "12'", "14'", "16'"]},
        "joists": {"species": "hem-fir", "grade": "No.2", "moisture": "dry", "sizes": ["2x4", "2x6", "2x8"],
                   "stock_lengths": ["8'", "10'", "12'", "16'"], "spacing": 16, "minimum_depth": "1 1/2"},
        "supports": {"pad_thickness": "1/2", "pad_size": [[4, 4], [6, 6]], "shim_sizes": ["1/16", "1/8", "1/4"],
                     "clear_gap": {"least": "3/4", "target": "3/4", "most": "1 3/4"}, "shim_most": 2},
        "loads": {"live": 60, "basis": "occupiable-60"},
        "rain": {"primary": 3, "secondary": 6, "source": "drawn up"},
        "saw": {"kerf": "1/8", "trim": "1/2"},
    }
