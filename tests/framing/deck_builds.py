"""The build documents of random decks: every mode, load, spacing, stock and unit that a contractor may ask for."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

Rng = np.random.Generator

UNITS = {"in": 1.0, "ft": 12.0, "mm": 1 / 25.4, "m": 1000 / 25.4}
STICKS = (96.0, 120.0, 144.0, 168.0, 192.0)
SIZES = ("2x3", "2x4", "2x6", "2x8", "2x10", "2x12")


def asked(inches: float, unit: str) -> float | str:
    """A length of a build document in its unit: whole feet and the rest as text, metric to a tenth of a millimetre."""
    if unit == "in":
        return inches
    if unit == "ft":
        return inches / 12 if inches % 12 == 0 else f'{inches:.6g}"' if inches * 16 % 1 else _sixteenths(inches)
    return round(inches * 25.4, 1) if unit == "mm" else f"{round(inches * 25.4, 1) / 1000:.6g} m"


def _sixteenths(inches: float) -> str:
    whole, part = divmod(round(inches * 16), 16)
    return f'{whole} {part}/16"' if part else f'{whole}"'


def inches(value: float | str, unit: str) -> float:
    """What `asked` wrote."""
    if not isinstance(value, str):
        return value * UNITS[unit]
    if value.endswith(" m"):
        return float(value.removesuffix(" m")) * UNITS["m"]
    whole, _, part = value.rstrip('"').partition(" ")
    return float(whole) + (float(part.split("/")[0]) / 16 if part else 0.0)


def build_of(rng: Rng, sides: list[tuple[str, str]], points: list[str], outlets: list[str],
             obstacles: list[str]) -> dict[str, Any]:
    """A deck-build/1 for a roof with these sides, points to lay heavy things between, outlets and obstacles."""
    unit = str(rng.choice(["in", "ft", "mm", "m"], p=[0.5, 0.15, 0.25, 0.1]))

    def size(v: float) -> Any:
        return asked(v, unit)

    decking = _decking(rng, size, sides)
    thick = inches(decking["thickness"], unit) >= 1.49
    sticks = [size(v) for v in STICKS]
    joists = _joists(rng, size, thick, sticks)
    across = float(rng.choice([90, 90, 90, 45, -60]))
    if decking["direction"] != "auto" and joists["direction"] != "auto":  # boards have to cross the joists
        decking["direction"] = joists["direction"] + across
    build: dict[str, Any] = {
        "format": "deck-build/1", "unit": unit, "surface": _surface(rng, size),
        "decking": decking, "joists": joists, "supports": _supports(rng, size, unit),
        "loads": _loads(rng, points), "rain": {"primary": 3.6, "secondary": 7.2, "source": "drawn"},
        "saw": {"kerf": size(0.125), "trim": size(0.25)},
    }
    over = [*outlets, *obstacles]
    if over and rng.random() < 0.3:
        where = str(rng.choice(over))
        build["access_panels"] = [{"over": where, "size": size(24.0)} if rng.random() < 0.6
                                  else {"over": where, "none": "reached from the parapet"}]
    return build


def _surface(rng: Rng, size: Any) -> dict[str, Any]:
    mode = str(rng.choice(["level", "follow-threshold", "fall"], p=[0.45, 0.2, 0.35]))
    surface: dict[str, Any] = {"mode": mode, "reveal": size(float(rng.choice([0.0, 0.125, 0.25, 0.5, 1.0])))}
    if mode == "fall":
        surface |= {"fall_per_ft": size(float(rng.choice([1 / 16, 1 / 8, 3 / 16]))),
                    "toward": float(rng.choice([90, 90, 270, 0, 180, 117, -35]))}
    return surface


def _decking(rng: Rng, size: Any, sides: list[tuple[str, str]]) -> dict[str, Any]:
    thickness = float(rng.choice([0.75, 1.0, 1.0, 1.0, 1.25, 1.5, 1.5]))
    angle = rng.choice(["auto", "0", "90", "45", "30", "127"], p=[0.35, 0.2, 0.2, 0.12, 0.08, 0.05])
    decking: dict[str, Any] = {
        "item": "board", "thickness": size(thickness), "width": size(float(rng.choice([3.5, 5.5]))),
        "gap": size(float(rng.choice([0.125, 0.1875, 0.25]))), "direction": "auto" if angle == "auto" else float(angle),
        "fastening": str(rng.choice(["hidden", "face"])), "stock_lengths": [size(v) for v in STICKS],
    }
    species = str(rng.choice(["cumaru", "western redcedar", "ipe", "composite", "unlisted", ""]))
    if species:
        decking["species"] = species
    if rng.random() < 0.3:
        a, b = sides[int(rng.integers(1, len(sides)))]
        decking["edge_gaps"] = {"A-B": size(float(rng.choice([0.0, 0.75]))), f"{b}-{a}": size(1.5)}
    if rng.random() < 0.25:
        prices = (21, 27, 32, 39, 46)
        keys = [v if isinstance(v, str) else f"{v:g}" for v in decking["stock_lengths"]]
        decking["stock_prices"] = {k: f"{p}" for k, p in zip(keys, prices, strict=True)}
    if rng.random() < 0.1:
        decking["border_courses"] = 1
    return decking


def _joists(rng: Rng, size: Any, thick: bool, sticks: list[Any]) -> dict[str, Any]:
    kind = rng.random()
    sizes = list(SIZES[1:]) if kind < 0.7 else list(SIZES) if kind < 0.8 else ["2x6", "2x8", "2x12"] if kind < 0.9 \
        else ["2x4"] if kind < 0.94 else ["2x4", "2x6"]
    joists: dict[str, Any] = {
        "species": str(rng.choice(["Southern Pine", "Hem-Fir", "DFL", "SPF"])),
        "grade": str(rng.choice(["No.2", "#2"])), "sizes": sizes, "stock_lengths": sticks,
        "spacing": size(float(rng.choice([12, 16, 19.2, 24] if thick else [12, 12, 16, 16, 24]))),
        "direction": "auto" if rng.random() < 0.6 else float(rng.choice([0, 90, 90, 45, 20])),
        "minimum_depth": size(float(rng.choice([1.5, 1.5, 2.0, 2.5]))),
    }
    moisture = str(rng.choice(["kdat", "wet", "dry", "unknown"]))
    if moisture != "unknown":
        joists["moisture"] = moisture
    if rng.random() < 0.3:
        joists["tape_thickness"] = size(1 / 16)
    if rng.random() < 0.15:
        joists["splice"] = "lapped"
    return joists


def _supports(rng: Rng, size: Any, unit: str) -> dict[str, Any]:
    least = float(rng.choice([0.5, 0.75, 0.75, 1.0]))
    pads: Any = [[size(v), size(v)] for v in (4.0, 6.0, 8.0)]
    draw = rng.random()
    if draw < 0.25:
        pads = [[size(v), size(v)] for v in (4.0, 6.0, 8.0, 12.0)]
    elif draw < 0.4:
        pads = size(6.0)
    elif draw < 0.5:
        pads = [size(4.0), size(8.0)]
    elif draw < 0.56:
        pads = [size(10.0), size(10.0)]
    metric = unit in ("mm", "m")
    shims = (1.5, 3.0, 6.0) if metric else (0.0625, 0.125, 0.25)
    supports: dict[str, Any] = {
        "pad_thickness": size(float(rng.choice([0.375, 0.375, 0.5, 1.25]))), "pad_size": pads,
        "clear_gap": {"least": size(least), "target": size(least + float(rng.choice([0.0, 0.125, 0.25]))),
                      "most": size(least + float(rng.choice([0.5, 1.25, 1.25, 2.0])))},
        "shim_sizes": [round(v / 1000, 6) if unit == "m" else v for v in shims] if metric else [size(v) for v in shims],
        "shim_most": size(float(rng.choice([1.0, 2.0, 2.0, 3.0]))),
        "maximum_spacing": size(float(rng.choice([18, 24, 36]))) if rng.random() < 0.25 else "auto",
    }
    if rng.random() < 0.3:
        supports["base_thickness"] = size(0.125)
    if (own := rng.spawn(1)[0]).random() < 0.12:
        supports["packer_most"] = size(float(own.choice([0.5, 1.5, 3.0])))
    return supports


def _loads(rng: Rng, points: list[str]) -> dict[str, Any]:
    live = int(rng.choice([40, 40, 60, 75, 100]))
    loads: dict[str, Any] = {"live": live, "basis": {40: "dwelling-40", 60: "occupiable-60", 100: "assembly-100"}.get(
        live, "drawn")}
    if rng.random() < 0.25:
        loads |= {"snow": int(rng.choice([30, 70])), "dead_extra": 2}
    if rng.random() < 0.1 and len(points) >= 3:
        loads["heavy"] = [{"points": points[:3], "psf": 60}]
    return loads


def need_of(build: dict[str, Any]) -> tuple[float, float]:
    """(height that decking, tape, least wood and least gap take; play between least and most gap) [in]."""
    unit = build["unit"]
    s, j = build["supports"], build["joists"]
    under = inches(s["pad_thickness"], unit) + inches(s.get("base_thickness", 0.0), unit)
    least = max(inches(s["clear_gap"]["least"], unit), under)
    most = min(inches(s["clear_gap"]["most"], unit), under + inches(s["shim_most"], unit))
    over = inches(build["decking"]["thickness"], unit) + inches(j.get("tape_thickness", 0.0), unit)
    return over + inches(j["minimum_depth"], unit) + least, max(0.0, most - least)


def slope_of(build: dict[str, Any], along: np.ndarray, rise: float) -> np.ndarray:
    """Slope (2,) of the finished surface; `rise` is the threshold's along the unit vector `along` [in/in]."""
    surface = build["surface"]
    if surface["mode"] == "fall":
        toward = math.radians(surface["toward"])
        return np.asarray(-inches(surface["fall_per_ft"], build["unit"]) / 12
                          * np.array([math.cos(toward), math.sin(toward)]))
    return along * rise if surface["mode"] == "follow-threshold" else np.zeros(2)
