"""The finished deck plane, its reveals at the door, and whether the height over the roof is enough.

Stage: drainage -> plane -> layout. The plane hangs from the threshold; everything under it (decking, wood, pad,
clear gap) must fit above the highest roof below it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from framing.engine import length
from framing.engine.adjustment import Adjustment
from framing.engine.checks import Change, Check, check
from framing.engine.documents import Build, Door, Survey
from framing.engine.doorways import door_checks
from framing.engine.falls import clearing_falls, least_fall, unit_vectors
from framing.engine.places import coordinates, in_words
from framing.engine.roof import Roof
from framing.engine.shims import TYPED, most_shims, shim_sums
from framing.reference import clearances, doors
from framing.reference.decking import least_thickness

Array = NDArray[np.float64]

LEAST_REVEAL = 1 / 8  # no change is offered that brings the deck nearer the sill [in] (documents.md)
LEAST_CLEAR_GAP = clearances.CLEAR_GAP  # ... or the wood nearer the roof [in]
LEAST_DEPTH = 1.5  # ... or a joist thinner than this [in]
LEAST_PAD = 1 / 8  # ... or a pad thinner than this [in]; a judgement
FULL_STEP = 1 / 16  # what a change is rounded to, on the safe side [in]
TO_HOUSE = ", to the house, so that water on the boards runs to the sill"
MOST_PLACES = 200  # the tightest that are told


@dataclass(frozen=True)
class Plane:
    """Finished surface z = z0 + sx x + sy y [in]; `reveals` is how far each threshold point stands above it [in].

    `threshold` holds x, y and z of the governing door's points that were read [in].
    """

    z0: float
    sx: float
    sy: float
    reveals: dict[str, float]
    door: Door
    sill: float  # the governing door's lowest threshold point, z [in]
    threshold: tuple[tuple[float, float, float], ...]

    def height(self, xy: Array) -> Array:
        """Height of the finished surface at (n, 2) points [in] -> (n,) [in]."""
        xy = np.atleast_2d(xy)
        return np.asarray(self.z0 + self.sx * xy[:, 0] + self.sy * xy[:, 1])

    def as_json(self) -> dict[str, Any]:
        return {"z0": self.z0, "sx": self.sx, "sy": self.sy, "reveals": dict(self.reveals)}


@dataclass(frozen=True)
class Layers:
    """What lies between sill and roof at one place [in]: `sill` and `roof` are heights, the rest is thickness.

    `reveal` is how far the finished surface lies under the sill there; `member` is the least depth asked; `gap` is the
    least clear gap that can be built, pad and base in it.
    """

    at: tuple[float, float]
    place: str
    sill: float
    reveal: float
    decking: float
    tape: float
    member: float
    pad: float
    base: float
    gap: float
    roof: float

    @property
    def available(self) -> float:
        return self.sill - self.reveal - self.roof

    @property
    def needed(self) -> float:
        return self.decking + self.tape + self.member + self.gap

    def as_json(self, *, governs: bool) -> dict[str, Any]:
        return {
            "at": list(self.at), "place": self.place, "governs": governs, "available": self.available,
            "needed": self.needed, "spare": self.available - self.needed,
            "parts": {"sill": self.sill, "reveal": self.reveal, "decking": self.decking, "tape": self.tape,
                      "member": self.member, "pad": self.pad, "base": self.base, "gap": self.gap, "roof": self.roof},
        }


@dataclass(frozen=True)
class Budget:
    """The height at every place where it can be least, the tightest first: that one governs."""

    places: tuple[Layers, ...]
    checks: tuple[Check, ...]

    @property
    def governing(self) -> Layers:
        return self.places[0]

    @property
    def at(self) -> tuple[float, float]:
        return self.governing.at

    @property
    def available(self) -> float:
        return self.governing.available

    @property
    def needed(self) -> float:
        return self.governing.needed

    @property
    def short(self) -> float:
        return self.needed - self.available

    def as_json(self) -> list[dict[str, Any]]:
        return [p.as_json(governs=i == 0) for i, p in enumerate(self.places)]


def threshold_heights(survey: Survey, adjusted: Adjustment) -> dict[str, float]:
    """Mean corrected reading at every threshold point that has one, z [in]."""
    named = {p for door in survey.all_doors for p in door.points}
    heights = {}
    for point in named:
        z = [r.z for r in adjusted.levels if r.point == point and r.on == "threshold"]
        z = z or [r.z for r in adjusted.levels if r.point == point]
        if z and point in adjusted.points:
            heights[point] = float(np.mean(z))
    return heights


def governing_door(survey: Survey, heights: dict[str, float]) -> Door | None:
    """The door marked as governing, else the one with the lowest threshold reading."""
    read = [d for d in survey.all_doors if any(p in heights for p in d.points)]
    marked = [d for d in read if d.governs]
    by_height = sorted(read, key=lambda d: min(heights[p] for p in d.points if p in heights))
    return next(iter(marked or by_height), None)


def find_plane(survey: Survey, build: Build, adjusted: Adjustment, deck: Polygon) -> tuple[Plane | None, list[Check]]:
    """The finished surface that the build asks for, hung from the governing door; `deck` is the outline less its holes.

    Returns no plane, and a `stop`, when no threshold point has a reading (or, to follow a threshold, fewer than
    two apart).
    """
    heights = threshold_heights(survey, adjusted)
    missing = [p for d in survey.all_doors for p in d.points if p not in heights]
    door = governing_door(survey, heights)
    if door is None:
        return None, [check("threshold-not-measured", "stop", value=0, limit=1, unit="EA",
                            where=", ".join(missing), points=", ".join(missing))]
    checks = [check("not-measured", "caution", unit="EA", where=", ".join(missing),
                    what=f"threshold points {', '.join(missing)} have no reading")] if missing else []
    points = [p for p in door.points if p in heights]
    xy = np.array([[adjusted.points[p].x, adjusted.points[p].y] for p in points])
    z = np.array([heights[p] for p in points])
    reveal = build.surface.reveal

    if build.surface.mode == "level":
        slope = np.zeros(2)
        z0 = float(z.min()) - reveal
    elif build.surface.mode == "fall":
        toward = math.radians(build.surface.toward or 0.0)
        slope = -(build.surface.fall_per_ft or 0.0) / 12 * np.array([math.cos(toward), math.sin(toward)])
        # the least reveal is the one asked for: where the fall runs along the door that is not at its lowest point
        z0 = float((z - xy @ slope).min()) - reveal
    else:
        run = xy[-1] - xy[0]
        if len(points) < 2 or math.hypot(*run) < 1:
            return None, [*checks, check("threshold-not-measured", "stop", value=len(points), limit=2, unit="EA",
                                         where=", ".join(door.points), points=", ".join(door.points))]
        along = run / math.hypot(*run)
        t = (xy - xy.mean(axis=0)) @ along
        rise = float((t * z).sum() / (t**2).sum())
        slope = rise * along
        z0 = float((z - xy @ slope).mean()) - reveal
        corners = np.array(deck.exterior.coords) @ along
        span = float(np.ptp(corners))
        error = survey.level_sigma / math.sqrt((t**2).sum()) * span
        checks.append(check("follows-threshold", "note", value=abs(rise) * span, limit=2 * error, where=door.name,
                            rise=length.write(abs(rise) * span), error=f"{error:.2f}", span=length.write(span)))
    sx, sy = float(slope[0]), float(slope[1])
    reveals = {p: heights[p] - (z0 + sx * adjusted.points[p].x + sy * adjusted.points[p].y)
               for d in survey.all_doors for p in d.points if p in heights}
    threshold = tuple((float(x), float(y), float(h)) for (x, y), h in zip(xy, z, strict=True))
    plane = Plane(z0, sx, sy, reveals, door, float(z.min()), threshold)
    return plane, checks + door_checks(survey, adjusted, deck, reveals, 12 * math.hypot(sx, sy))


def least_gap(build: Build) -> float:
    """The least clear gap that can be built: the one asked for, or what pad and base take up [in]."""
    return max(build.supports.clear_gap.least, build.supports.pad_thickness + build.supports.base_thickness)


def most_gap(build: Build) -> float:
    """The most clear gap: the one asked for, or the pad with the most that shims at hand make [in].

    One that a stack passes by no more than a decimal of another unit loses in typing is that stack.
    """
    s = build.supports
    stack, most = s.pad_thickness + s.base_thickness, s.clear_gap.most
    stacks = stack + shim_sums(tuple(s.shim_sizes), s.shim_most)[0]
    meant = stacks[(stacks > most) & (stacks <= most + TYPED)]
    return min(float(meant[0]) if len(meant) else most, stack + most_shims(build))


def corner_places(roof: Roof, deck: Polygon) -> Array:
    """The places (n, 2) where a roof of planes can be highest or lowest under the deck: where its creases cross or end
    there, and where they meet the deck's edge."""
    lines = shapely.intersection(np.array([*roof.creases(), deck.boundary]), deck)
    xy = shapely.get_coordinates(shapely.union_all(lines))
    return np.unique(np.round(xy, 6), axis=0)


def height_budget(build: Build, plane: Plane, roof: Roof, deck: Polygon,
                  named: Mapping[str, tuple[float, float]] | None = None) -> Budget:
    """The height at every place under the deck where it can be least, against what decking, wood and gap need.

    Roof and plane are flat between facet corners, so the least stands at one of them: no search. `named` are the
    survey's points [in], by which the places are described. A shortfall is a `stop` with the single changes that make
    up for it, each the least in sixteenths, within the floors of documents.md; whether the wood then carries is not
    looked at here.
    """
    xy = corner_places(roof, deck)
    ground, surface = roof.height(xy), plane.height(xy)
    s = build.supports
    places = [
        Layers((float(xy[i, 0]), float(xy[i, 1])), in_words((float(xy[i, 0]), float(xy[i, 1])), roof, named or {}),
               plane.sill, plane.sill - float(surface[i]), build.decking.thickness, build.joists.tape_thickness,
               build.joists.minimum_depth, s.pad_thickness, s.base_thickness, least_gap(build), float(ground[i]))
        for i in np.argsort(surface - ground, kind="stable")[:MOST_PLACES]
    ]
    worst = places[0]
    above = worst.decking + worst.tape
    words: dict[str, Any] = {
        "place": f" ({worst.place})" if worst.place else "", "available": length.write(worst.available, 32),
        "needed": length.write(worst.needed, 32), "reveal": length.write(build.surface.reveal, 32),
        "decking": length.write(above, 32), "wood": length.write(worst.member, 32), "gap": length.write(worst.gap, 32),
    }
    short = worst.needed - worst.available
    if short <= 1e-9:
        found = check("height", "ok", value=worst.available, limit=worst.needed, where=coordinates(worst.at), **words)
        return Budget(tuple(places), (found,))
    clears = (*_thinner(build, short), *_other_surface(build, plane, deck, xy, ground + worst.needed))
    left = worst.available - above - worst.gap
    advice = "" if clears else (f" No single change within the limits clears {short:.2f} in: raise the door or have "
                                "an engineer design flat sleepers.")
    if 0 < left < LEAST_DEPTH - 1e-9:
        advice += f" {length.write(left, 32)} in would be left there for flat sleepers, which an engineer designs."
    found = check("height-short", "stop", value=worst.available, limit=worst.needed, where=coordinates(worst.at),
                  clears=clears, short=f"{short:.2f}", advice=advice, **words)
    return Budget(tuple(places), (found,))


def _thinner(build: Build, short: float) -> list[Change]:
    """The changes of one thickness that make up a shortfall [in], each within the floors of documents.md."""
    def down(now: float, floor: float) -> float | None:
        to = math.floor((now - short) / FULL_STEP + 1e-9) * FULL_STEP
        return to if to >= floor - 1e-9 else None

    s = build.supports
    stack, gap = s.pad_thickness + s.base_thickness, s.clear_gap.least
    offers: list[tuple[str, float, float | None]] = [
        ("surface.reveal", build.surface.reveal, down(build.surface.reveal, LEAST_REVEAL)),
        ("decking.thickness", build.decking.thickness, down(build.decking.thickness, least_decking(build))),
        ("joists.minimum_depth", build.joists.minimum_depth, down(build.joists.minimum_depth, LEAST_DEPTH)),
    ]
    # the gap needed is the larger of the two: one alone clears only where the other leaves room
    if stack <= gap - short:
        offers.append(("supports.clear_gap.least", gap, down(gap, max(LEAST_CLEAR_GAP, stack))))
    if gap <= stack - short:
        pad = down(s.pad_thickness, LEAST_PAD)
        if pad is not None and max(pad + s.base_thickness, gap) >= LEAST_CLEAR_GAP:
            offers.append(("supports.pad_thickness", s.pad_thickness, pad))
    return [Change(what, now, to) for what, now, to in offers if to is not None]


def least_decking(build: Build) -> float:
    """The thinnest decking that the table lets span the joists asked for, infinite where it says nothing [in]."""
    joists, boards = build.joists.direction, build.decking.direction
    angle = 90.0 if joists == "auto" or boards == "auto" else abs((float(boards) - float(joists) + 90) % 180 - 90)
    return least_thickness(build.joists.spacing, build.decking.species or "", angle)


def surface_words(build: Build) -> str:
    """The surface asked for, in words."""
    s = build.surface
    if s.mode == "fall":
        return fall_words(s.fall_per_ft or 0.0, s.toward or 0.0)
    return "level" if s.mode == "level" else "following the threshold"


def fall_words(per_ft: float, toward: float) -> str:
    return f"a fall of {length.write(per_ft, 64)} in a foot toward {toward:g} degrees"


def to_fall(build: Build, per_ft: float, toward: float, *, to_house: bool) -> Change:
    """The change of the surface to one with this fall [in/ft], `toward` [degrees]; lengths with their mark, so that
    the patch serves in any unit."""
    patch = {"surface": {"mode": "fall", "fall_per_ft": f'{per_ft:.10g}"', "toward": toward}}
    words = fall_words(per_ft, toward) + (TO_HOUSE if to_house else "")
    return Change("surface", surface_words(build), words, patch)


def _other_surface(build: Build, plane: Plane, deck: Polygon, places: Array, least: Array) -> list[Change]:
    """The other surfaces that reach `least` (k,) at the places (k, 2) [in]: level, or the least fall that does.

    No fall is offered over a landing's most; one that runs away from the house or along it comes before one toward it.
    """
    sills = np.array(plane.threshold) - np.array([0, 0, build.surface.reveal])
    offers = []
    if build.surface.mode == "fall":
        offers += _same_way(build, sills, places, least)
    if build.surface.mode != "level" and float(sills[:, 2].min()) >= float(least.max()) - 1e-9:
        patch = {"surface": {"mode": "level", "fall_per_ft": None, "toward": None}}
        return [*offers, Change("surface", surface_words(build), "level", patch)]
    falls = np.arange(FULL_STEP, doors.LANDING_FALL + 1e-9, FULL_STEP).tolist()
    toward = np.arange(0.0, 360.0)
    out = np.array(shapely.get_coordinates(deck.centroid)[0]) - sills[:, :2].mean(axis=0)
    along = sills[-1, :2] - sills[0, :2]
    if math.hypot(*along) >= 1:  # the way out of the door is square to its sill
        out -= (out @ along) / (along @ along) * along
    away = unit_vectors(toward) @ out >= -1e-9 * math.hypot(*out)
    # first the falls that carry no water to the sill
    for to_house in (False, True):
        found = least_fall(falls, toward[away != to_house], sills, places, least)
        if found is not None:
            return [*offers, to_fall(build, *found, to_house=to_house)]
    return offers


def _same_way(build: Build, sills: Array, places: Array, least: Array) -> list[Change]:
    """The fall nearest the one asked for that clears in the direction asked for."""
    asked, toward = build.surface.fall_per_ft or 0.0, build.surface.toward or 0.0
    (low,), (high,) = (12 * v for v in clearing_falls(toward, sills, places, least))
    if low > high or not math.isfinite(low):
        return []
    if asked > high:
        to = math.floor(min(high, doors.LANDING_FALL) / FULL_STEP + 1e-9) * FULL_STEP
        fits = to >= max(low, FULL_STEP) - 1e-9
    else:
        to = math.ceil(low / FULL_STEP - 1e-9) * FULL_STEP
        fits = to <= min(high, doors.LANDING_FALL) + 1e-9
    return [Change("surface.fall_per_ft", asked, to)] if fits else []
