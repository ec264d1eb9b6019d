"""Random terraces with a known truth, as survey and build documents, for tests over many roofs.

All figures are drawn, none comes from a real roof. `terrace(seed)` is the same for ever: the same seed gives the
same documents.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

Place = tuple[float, float]
Rng = np.random.Generator

IN_UNIT = {"in": 1.0, "ft": 1 / 12, "mm": 25.4, "m": 0.0254}
DATUM = 4.0  # the datum hangs this far over the sill, so that every drop is a plain positive reading [in]
LEVEL_NOISE, TAPE_NOISE = 1 / 24, 1 / 16  # of a reading [in]


@dataclass(frozen=True)
class Terrace:
    """Documents and the truth behind them: `planes` (p, 3) z0, sx, sy joined by min (ridge) or max (valley) [in]."""

    survey: dict[str, Any]
    build: dict[str, Any]
    corners: dict[str, Place]
    planes: np.ndarray
    valley: bool
    turned: bool  # the survey's frame starts from B: x runs the other way along the house

    def roof(self, xy: np.ndarray) -> np.ndarray:
        """True height of the roof below the datum at (n, 2) places of the survey's frame [in]."""
        xy = np.atleast_2d(xy)
        if self.turned:
            xy = np.array([self.corners["B"][0], 0]) - xy
        heights = self.planes[:, :1] + self.planes[:, 1:] @ xy.T
        return heights.max(axis=0) if self.valley else heights.min(axis=0)


def terrace(seed: int) -> Terrace:
    """A roof of four or five sides, with or without a fold square to the house or along it, and a deck for it."""
    rng = np.random.default_rng(seed)
    unit = str(rng.choice(["in", "ft", "mm", "m"], p=[0.5, 0.2, 0.2, 0.1]))
    corners = _corners(rng)
    wide, deep = corners["B"][0], max(y for _, y in corners.values())
    planes, valley, fold = _roof(rng, wide, deep)
    turned = bool(rng.random() < 0.3)
    truth = Terrace({}, {}, corners, planes, valley, turned=False)

    spots = [(fx * wide, fy * deep) for fy in (0.05, 0.5, 0.9) for fx in (0.04, 0.27, 0.5, 0.73, 0.96)]
    shots = {f"s{i}": at for i, at in enumerate(spots)}
    folds = {f"k{i}": at for i, at in enumerate(fold)}
    left = wide * rng.uniform(0.3, 0.5)
    thresholds = {f"t{i}": (left + 36.0 * i, 0.0) for i in range(3)}
    tilt = rng.uniform(-1, 1) * 3 / 16
    sills = {f"t{i}": -DATUM + tilt * (i - 1) / 2 for i in range(3)}
    second = bool(rng.random() < 0.2)
    if second:
        thresholds |= {"u0": (wide * 0.08, 0.0), "u1": (wide * 0.08 + 32, 0.0)}
        rise = rng.uniform(-0.3, 1.0)
        sills |= {"u0": -DATUM + rise, "u1": -DATUM + rise + 1 / 16}
    outlets = {"o1": (2.0, deep * 0.8), "o2": (wide - 2.0, deep * 0.75), "o3": (wide - 2.0, deep * 0.5)}

    readings = [(p, _true(truth, at) + rng.normal(0, LEVEL_NOISE), "roof") for p, at in shots.items()]
    kind = "valley" if valley else "ridge"
    readings += [(p, _true(truth, at) + rng.normal(0, LEVEL_NOISE), kind) for p, at in folds.items()]
    readings += [(p, z, "threshold") for p, z in sills.items()]
    drift, checks = _drift(rng, len(readings), unit)
    levels = [{"point": p, "drop": written(-z + drift * (i + 1) / len(readings), unit), "on": on}
              for i, (p, z, on) in enumerate(readings)]
    _laid_over(rng, levels, unit)

    names = list(corners)
    tapes = [(a, b, math.dist(corners[a], corners[b])) for i, a in enumerate(names) for b in names[i + 1:]]
    ties = ["s3", "s11"] if rng.random() < 0.25 else []  # placed by tapes from corners, not by coordinates
    tapes += [(tie, c, math.dist(shots[tie], corners[c])) for tie in ties for c in names[:3]]
    positions = {p: at for p, at in {**shots, **folds, **thresholds, **outlets}.items() if p not in ties}
    obstacles, vents = _obstacles(rng, wide, deep, unit)
    positions |= vents
    if turned:
        positions = {p: (wide - x, -y) for p, (x, y) in positions.items()}
    order = [names[1], names[0], *names[:1:-1]] if turned else names
    survey = {
        "format": "roof-survey/1", "name": f"terrace {seed}", "unit": unit,
        "datum": {"what": "cut cross in the sill", "where": "left jamb"}, "corners": order,
        "positions": {p: [v * IN_UNIT[unit] for v in at] for p, at in positions.items()},
        "tapes": [[a, b, written(run + rng.normal(0, TAPE_NOISE), unit)] for a, b, run in tapes],
        "levels": levels,
        "breaklines": [{"kind": kind, "points": list(folds)}] if folds and rng.random() < 0.9 else [],
        "outlets": _fitted(outlets, truth, unit), "obstacles": obstacles, "edges": _edges(rng, names, unit),
        "roof": {"membrane": "TPO", "age": 3, "insulation": "polyiso",
                 "insulation_strength": int(rng.choice([16, 20, 25]))},
        "access": {"floor": int(rng.integers(1, 6)), "longest_stick": "16 ft",
                   "lift": str(rng.choice(["stair", "elevator", "hoist", "boom"]))},
    }
    if checks:
        survey["datum_checks"] = checks
    if second:
        survey["doors"] = [
            {"name": "garden door", "points": ["t0", "t1", "t2"], "swing": "out", "egress": True},
            {"name": "side door", "points": ["u0", "u1"], "clear_width": "32 in", "swing": "in"},
        ]
    else:
        survey["threshold"] = ["t0", "t1", "t2"]
    return Terrace(survey, _build(rng, names, turned), corners, planes, valley, turned)


def _corners(rng: Rng) -> dict[str, Place]:
    """The house along y = 0, the sides and the far side skewed."""
    wide, deep = rng.uniform(120, 330), rng.uniform(80, 220)
    far = [(x + rng.uniform(-14, 14), deep + rng.uniform(-16, 16)) for x in (wide, 0.0)]
    if rng.random() < 0.25:  # a fifth corner that bends the far side outward
        far.insert(1, (wide * rng.uniform(0.35, 0.65), deep + rng.uniform(24, 40)))
    return dict(zip("ABCDE", [(0.0, 0.0), (wide, 0.0), *far], strict=False))


def _roof(rng: Rng, wide: float, deep: float) -> tuple[np.ndarray, bool, list[Place]]:
    """Planes [in], whether they meet in a valley, and the points read along the fold."""
    one, other = rng.uniform(3 / 16, 3 / 8, 2) / 12
    kind = rng.choice(["none", "across", "along", "valley across", "valley along"], p=[0.3, 0.22, 0.22, 0.13, 0.13])
    valley = str(kind).startswith("valley")
    high = -DATUM - (rng.uniform(3.0, 4.5) if rng.random() < 0.08 else rng.uniform(5.2, 8.0))
    if kind == "none":
        return np.array([[high, 0.0, -one]]), False, []
    if "across" in kind:
        x = wide * rng.uniform(0.3, 0.7)
        fold = [(x, 6.0), (x, deep / 2), (x, deep - 18)]
        axis, at, run = (1.0, 0.0), x, max(x, wide - x)
    else:
        y = deep * rng.uniform(0.35, 0.65)
        fold = [(10.0, y), (wide / 2, y), (wide - 10, y)]
        axis, at, run = (0.0, 1.0), y, max(y, deep + 24 - y)
    if valley:  # the fold lies lowest, the highest edge at `high`
        low = high - max(one, other) * run
        return np.array([[low + one * at, -one * axis[0], -one * axis[1]],
                         [low - other * at, other * axis[0], other * axis[1]]]), True, fold
    return np.array([[high - one * at, one * axis[0], one * axis[1]],
                     [high + other * at, -other * axis[0], -other * axis[1]]]), False, fold


def _true(truth: Terrace, at: Place) -> float:
    return float(truth.roof(np.array(at))[0])


def written(inches: float, unit: str) -> str | float:
    """A length as a crew writes it down: to 1/16 in, or to the millimetre."""
    if unit == "mm":
        return round(inches * 25.4)
    if unit == "m":
        return f"{round(inches * 25.4) / 1000} m"
    whole, part = divmod(round(abs(inches) * 16), 16)
    sign = "-" if inches < 0 else ""
    if unit == "ft":
        feet, whole = divmod(whole, 12)
        return f"{sign}{feet}' {whole} {part}/16\"" if part else f"{sign}{feet}' {whole}\""
    return f"{sign}{whole} {part}/16" if part else f"{sign}{whole}"


def _drift(rng: Rng, readings: int, unit: str) -> tuple[float, list[dict[str, Any]]]:
    """How far the level had sunk after the last reading [in], and the datum read again then."""
    if rng.random() < 0.6:
        return 0.0, []
    drift = round(rng.uniform(-0.2, 0.2) * 16) / 16
    return drift, [{"after": readings, "drop": written(drift, unit)}]


def _laid_over(rng: Rng, levels: list[dict[str, Any]], unit: str) -> None:
    """In a few surveys two readings were taken on pavers, the membrane so much deeper."""
    if rng.random() < 0.15:
        for level in levels[4:6]:
            level |= {"on": "paver", "depth_to_membrane": written(2.0, unit),
                      "drop": written(_inches(level["drop"], unit) - 2.0, unit)}


def _inches(written: str | float, unit: str) -> float:
    """What `written` wrote."""
    if isinstance(written, (int, float)):
        return written / IN_UNIT[unit]
    if written.endswith(" m"):
        return float(written.removesuffix(" m")) / IN_UNIT["m"]
    sign = -1 if written.startswith("-") else 1
    feet, _, rest = written.strip('-"').rpartition("'")
    whole, _, part = rest.strip().partition(" ")
    return sign * (12 * float(feet or 0) + float(whole) + (float(part.split("/")[0]) / 16 if part else 0))


def _obstacles(rng: Rng, wide: float, deep: float, unit: str) -> tuple[list[dict[str, Any]], dict[str, Place]]:
    """None, a vent, or a vent and a hatch of four points."""
    count = int(rng.choice([0, 0, 0, 1, 2]))
    found: list[dict[str, Any]] = []
    points: dict[str, Place] = {}
    if count:
        points["v"] = (wide * rng.uniform(0.15, 0.4), deep * rng.uniform(0.4, 0.7))
        found.append({"name": "vent", "point": "v", "size": written(6, unit), "clearance": written(3, unit)})
    if count == 2:
        x, y = wide * rng.uniform(0.6, 0.7), deep * rng.uniform(0.5, 0.6)
        w, h = rng.uniform(18, 30, 2).tolist()
        points |= {"h1": (x, y), "h2": (x + w, y), "h3": (x + w, y + h), "h4": (x, y + h)}
        found.append({"name": "hatch", "points": ["h1", "h2", "h3", "h4"], "clearance": written(1, unit)})
    return found, points


def _fitted(outlets: dict[str, Place], truth: Terrace, unit: str) -> list[dict[str, Any]]:
    """Two primary scuppers at the roof's height, an overflow 2 in over it."""
    fitted = [{"kind": "scupper", "purpose": "primary", "point": p, "width": "6 in", "height": "4 in",
               "invert_drop": written(-_true(truth, outlets[p]), unit)} for p in ("o1", "o2")]
    return [*fitted, {"kind": "scupper", "purpose": "overflow", "point": "o3", "width": "8 in", "height": "4 in",
                      "invert_drop": written(-_true(truth, outlets["o3"]) - 2, unit)}]


def _edges(rng: Rng, names: list[str], unit: str) -> list[dict[str, Any]]:
    open_ = set(rng.choice(names[1:], int(rng.choice([0, 0, 1, 2])), replace=False))
    sides = list(zip(names, (*names[1:], names[0]), strict=True))
    return [{"from": "A", "to": "B", "against": "house"}] + [
        {"from": a, "to": b, "against": "open", "drop_beyond": written(130, unit)} if a in open_
        else {"from": a, "to": b, "against": "parapet", "height": written(14, unit)} for a, b in sides[1:]]


def _build(rng: Rng, names: list[str], turned: bool) -> dict[str, Any]:
    """A deck for the terrace, in inches or in millimetres."""
    mm = bool(rng.random() < 0.2)

    def size(inches: float) -> float:
        return round(inches * 25.4, 1) if mm else inches

    thick, gap = bool(rng.random() < 0.25), float(rng.choice([0.5, 0.75]))
    sticks = [size(v) for v in (96, 120, 144, 168, 192)]
    mode = str(rng.choice(["level", "level", "follow-threshold", "fall"]))
    surface: dict[str, Any] = {"mode": mode, "reveal": size(float(rng.choice([0.125, 0.25, 0.5])))}
    if mode == "fall":
        away = 270.0 if turned else 90.0  # from the house, or nearly
        surface |= {"fall_per_ft": size(float(rng.choice([1 / 16, 1 / 8]))),
                    "toward": away + float(rng.choice([0, 0, 20, -35, 90]))}
    angle = rng.choice(["auto", "0", "90", "45", "30"], p=[0.3, 0.25, 0.25, 0.1, 0.1])
    decking: dict[str, Any] = {
        "item": "board", "species": str(rng.choice(["cumaru", "western redcedar", "ipe"])),
        "thickness": size(1.5 if thick else 1.0), "width": size(float(rng.choice([3.5, 5.5]))),
        "gap": size(float(rng.choice([0.125, 0.1875, 0.25]))), "direction": "auto" if angle == "auto" else float(angle),
        "fastening": str(rng.choice(["hidden", "face"])), "stock_lengths": sticks,
    }
    if rng.random() < 0.3:
        decking["edge_gaps"] = {"A-B": size(0.75), f"{names[-1]}-{names[-2]}": size(1.5)}
    if rng.random() < 0.3:
        decking["stock_prices"] = {f"{v:g}": f"{price}" for v, price in zip(sticks, (21, 27, 32, 39, 46), strict=True)}
    supports = {
        "pad_thickness": size(0.375), "pad_size": [[size(v), size(v)] for v in (4, 6, 8)] if rng.random() < 0.6
        else [size(6), size(6)],
        "clear_gap": {"least": size(gap), "target": size(gap + 0.125), "most": size(gap + 1.25)},
        "shim_sizes": [1.5, 3, 6] if mm else [0.0625, 0.125, 0.25], "shim_most": size(2.0),
        "maximum_spacing": size(float(rng.choice([24, 36]))) if rng.random() < 0.2 else "auto",
    }
    if rng.random() < 0.3:
        supports["base_thickness"] = size(0.125)
    joists = {
        "species": str(rng.choice(["Southern Pine", "Hem-Fir", "DFL"])), "grade": str(rng.choice(["No.2", "#2"])),
        "sizes": ["2x4", "2x6", "2x8", "2x10", "2x12"], "stock_lengths": sticks,
        "spacing": size(float(rng.choice([12, 16, 24] if thick else [12, 16]))), "direction": "auto",
        "minimum_depth": size(1.5),
    }
    moisture = str(rng.choice(["kdat", "kdat", "wet", "dry", "unknown"]))
    if moisture != "unknown":
        joists["moisture"] = moisture
    if rng.random() < 0.3:
        joists["tape_thickness"] = size(1 / 16)
    loads: dict[str, Any] = {"live": int(rng.choice([40, 60, 100])), "basis": "drawn"}
    if rng.random() < 0.25:
        loads |= {"snow": int(rng.choice([30, 70])), "dead_extra": 2}
    return {
        "format": "deck-build/1", "unit": "mm" if mm else "in", "surface": surface, "decking": decking,
        "joists": joists, "supports": supports, "loads": loads,
        "rain": {"primary": 3.6, "secondary": 7.2, "source": "drawn"},
        "saw": {"kerf": size(0.125), "trim": size(0.25)},
    }
