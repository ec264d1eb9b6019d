"""Random terraces with a known truth, as survey and build documents, for tests over many roofs.

All figures are drawn, none comes from a real roof. `terrace(seed)` is the same for ever: the same seed gives the
same documents.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

INCH = 25.4  # [mm]


@dataclass(frozen=True)
class Terrace:
    survey: dict[str, Any]
    build: dict[str, Any]
    corners: np.ndarray  # (n, 2) true corners [in]
    planes: np.ndarray  # (p, 3) true planes z0, sx, sy; the roof is the lower of them (ridges) [in]
    sill: float  # true height of the lowest threshold point [in]

    def roof(self, xy: np.ndarray) -> np.ndarray:
        return (self.planes[:, :1] + self.planes[:, 1:] @ np.atleast_2d(xy).T).min(axis=0)


def _written(inches: float, unit: str) -> str | float:
    """A length as a crew writes it down: to 1/16 in, or to the millimetre."""
    if unit == "mm":
        return f"{round(inches * INCH)} mm"
    whole, part = divmod(round(inches * 16), 16)
    return f"{whole} {part}/16" if part else f"{whole}"


def terrace(seed: int) -> Terrace:
    """A roof of four or five sides, with no ridge, a ridge square to the house or one along it."""
    rng = np.random.default_rng(seed)
    unit = "mm" if rng.random() < 0.25 else "in"
    wide, deep = rng.uniform(130, 330), rng.uniform(90, 220)
    corners = [(0.0, 0.0), (wide, 0.0), (wide + rng.uniform(-14, 14), deep + rng.uniform(-16, 16)),
               (rng.uniform(-14, 14), deep + rng.uniform(-16, 16))]
    if rng.random() < 0.25:  # a fifth corner that bends the far side outward
        corners.insert(3, (wide * rng.uniform(0.35, 0.65), deep + rng.uniform(24, 40)))
    corners = np.array(corners)

    slope = rng.uniform(3 / 16, 3 / 8, 2) / 12
    kind = rng.choice(["none", "across", "along"])
    sill_over_ridge = rng.uniform(5.2, 8.0)
    high = -sill_over_ridge
    if kind == "none":
        planes = np.array([[high, 0.0, -slope[0]]])
    elif kind == "across":
        x = wide * rng.uniform(0.3, 0.7)
        planes = np.array([[high - slope[0] * x, slope[0], 0.0], [high + slope[1] * x, -slope[1], 0.0]])
        ridge = [(x, 6.0), (x, deep / 2), (x, deep - 14)]
    else:
        y = deep * rng.uniform(0.35, 0.65)
        planes = np.array([[high - slope[0] * y, 0.0, slope[0]], [high + slope[1] * y, 0.0, -slope[1]]])
        ridge = [(8.0, y), (wide / 2, y), (wide - 8, y)]

    def true(xy: tuple[float, float]) -> float:
        return float((planes[:, 0] + planes[:, 1:] @ np.array(xy)).min())

    names = [chr(ord("A") + i) for i in range(len(corners))]
    shots = {
        f"s{i}": (fx * wide, fy * deep)
        for i, (fx, fy) in enumerate((fx, fy) for fy in (0.05, 0.5, 0.92) for fx in (0.04, 0.27, 0.5, 0.73, 0.96))
    }
    door = wide * rng.uniform(0.3, 0.5)
    tilt = rng.uniform(-1, 1) * 3 / 16
    thresholds = {f"t{i}": (door + 36 * i, 0.0) for i in range(3)}
    heights = {f"t{i}": tilt * (i - 1) / 2 for i in range(3)}
    outlets = {"o1": (1.5, deep * 0.8), "o2": (wide - 1.5, deep * 0.75), "o3": (wide - 1.0, deep * 0.5)}
    positions = {**shots, **thresholds, **outlets}
    levels = [{"point": p, "drop": _written(-true(xy) + rng.normal(0, 1 / 24), unit), "on": "roof"}
              for p, xy in shots.items()]
    breaklines = []
    if kind != "none":
        points = {f"k{i}": xy for i, xy in enumerate(ridge)}
        positions |= points
        levels += [{"point": p, "drop": _written(-true(xy) + rng.normal(0, 1 / 24), unit), "on": "ridge"}
                   for p, xy in points.items()]
        breaklines = [{"kind": "ridge", "points": list(points)}]
    # the datum hangs 4 in over the sill, so that every drop is a plain positive reading
    levels += [{"point": p, "drop": _written(h * -1 + 4, unit), "on": "threshold"} for p, h in heights.items()]
    for reading in levels[: len(shots) + (3 if breaklines else 0)]:
        reading["drop"] = _shifted(reading["drop"], 4, unit)
    pairs = [(i, j) for i in range(len(names)) for j in range(i + 1, len(names))]
    tapes = [[names[i], names[j], _written(math.dist(corners[i], corners[j]) + rng.normal(0, 1 / 16), unit)]
             for i, j in pairs]
    low = {p: _written(4 - true(xy), unit) for p, xy in outlets.items()}
    survey = {
        "format": "roof-survey/1", "name": f"terrace {seed}", "unit": unit,
        "corners": names if rng.random() < 0.5 else names[:1] + names[:0:-1],
        "positions": {p: [x * INCH, y * INCH] if unit == "mm" else [x, y] for p, (x, y) in positions.items()},
        "tapes": tapes, "levels": levels, "breaklines": breaklines, "threshold": list(thresholds),
        "outlets": [
            {"kind": "scupper", "purpose": "primary", "point": p, "invert_drop": low[p], "width": "6 in",
             "height": "4 in"}
            for p in ("o1", "o2")
        ] + [{"kind": "scupper", "purpose": "overflow", "point": "o3", "invert_drop": _shifted(low["o3"], -2, unit),
              "width": "8 in", "height": "4 in"}],
        "edges": [{"from": names[0], "to": names[1], "against": "house", "height": 0}] + [
            {"from": a, "to": b, "against": "parapet", "height": "14 in"}
            for a, b in zip(names[1:], (*names[2:], names[0]), strict=True)],
        "roof": {"membrane": "TPO", "age": 3, "insulation": "polyiso",
                 "insulation_strength": int(rng.choice([16, 20, 25]))},
        "access": {"floor": 4, "longest_stick": "16 ft", "lift": "boom"},
    }
    if survey["corners"] != names:  # the other way round: the same house side first
        survey["corners"] = [names[1], names[0], *names[:1:-1]]
        survey["positions"] = {p: _mirrored(xy, wide, unit) for p, xy in survey["positions"].items()}
    return Terrace(survey, _build(rng, kind), corners, planes - np.array([4.0, 0, 0]), -4.0 - abs(tilt) / 2)


def _shifted(written: str, by: float, unit: str) -> str:
    if unit == "mm":
        return f"{round(float(written.removesuffix(' mm')) + by * INCH)} mm"
    whole, _, part = written.partition(" ")
    return f"{int(whole) + by:g}" + (f" {part}" if part else "")


def _mirrored(xy: list[float], wide: float, unit: str) -> list[float]:
    """The same point in a frame whose first side runs from B to A, the roof on its other hand."""
    return [wide * (INCH if unit == "mm" else 1) - xy[0], -xy[1]]


def _build(rng: np.random.Generator, kind: str) -> dict[str, Any]:
    thick = rng.random() < 0.2
    gap = float(rng.choice([0.5, 0.75]))
    return {
        "format": "deck-build/1",
        "surface": {"mode": str(rng.choice(["level", "level", "follow-threshold"])),
                    "reveal": float(rng.choice([0.125, 0.25, 0.5]))},
        "decking": {
            "item": "board", "species": str(rng.choice(["cumaru", "western redcedar", "ipe"])),
            "thickness": 1.5 if thick else 1.0, "width": float(rng.choice([3.5, 5.5])),
            "gap": float(rng.choice([0.125, 0.1875, 0.25])), "direction": [0, 90, "auto"][rng.integers(3)],
            "fastening": str(rng.choice(["hidden", "face"])), "stock_lengths": [96, 120, 144, 168, 192],
        },
        "joists": {
            "species": str(rng.choice(["Southern Pine", "Hem-Fir", "DFL"])), "grade": "No.2", "moisture": "kdat",
            "sizes": ["2x4", "2x6", "2x8", "2x10", "2x12"], "stock_lengths": [96, 120, 144, 168, 192],
            "spacing": float(rng.choice([12, 16, 24] if thick else [12, 16])), "direction": "auto",
            "minimum_depth": 1.5,
        },
        "supports": {
            "pad_thickness": 0.375, "pad_size": [[4, 4], [6, 6], [8, 8]] if rng.random() < 0.6 else [6, 6],
            "clear_gap": {"least": gap, "target": gap + 0.125, "most": gap + 1.25},
            "shim_sizes": [0.0625, 0.125, 0.25], "shim_most": 2.0, "maximum_spacing": "auto",
        },
        "loads": {"live": int(rng.choice([40, 60, 100])), "basis": "drawn"},
        "rain": {"primary": 3.6, "secondary": 7.2, "source": "drawn"},
        "saw": {"kerf": 0.125, "trim": 0.25},
    }
