"""The finished deck plane, its reveals at the door, and whether the height over the roof is enough.

Stage: drainage -> plane -> layout. The plane hangs from the threshold; everything under it (decking, wood, pad,
clear gap) must fit above the highest roof below it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
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
from framing.engine.roof import Roof
from framing.reference import clearances, doors
from framing.reference.decking import least_thickness

Array = NDArray[np.float64]

LEAST_REVEAL = 1 / 8  # no change is offered that brings the deck nearer the sill [in] (documents.md)
LEAST_CLEAR_GAP = clearances.CLEAR_GAP  # ... or the wood nearer the roof [in]
LEAST_DEPTH = 1.5  # ... or a joist thinner than this [in]
FULL_STEP = 1 / 16  # what a change is rounded to, on the safe side [in]


@dataclass(frozen=True)
class Plane:
    """Finished surface z = z0 + sx x + sy y [in]; `reveals` is how far each threshold point stands above it [in]."""

    z0: float
    sx: float
    sy: float
    reveals: dict[str, float]
    door: Door
    sill: float  # the governing door's lowest threshold point, z [in]
    checks: tuple[Check, ...] = ()

    def height(self, xy: Array) -> Array:
        """Height of the finished surface at (n, 2) points [in] -> (n,) [in]."""
        xy = np.atleast_2d(xy)
        return np.asarray(self.z0 + self.sx * xy[:, 0] + self.sy * xy[:, 1])

    def as_json(self) -> dict[str, Any]:
        return {"z0": self.z0, "sx": self.sx, "sy": self.sy, "reveals": dict(self.reveals)}


@dataclass(frozen=True)
class Budget:
    """Where the height is least: what lies between roof and finished surface there, and what the build needs [in]."""

    at: tuple[float, float]
    available: float
    needed: float
    checks: tuple[Check, ...]

    @property
    def short(self) -> float:
        return self.needed - self.available


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
    """The finished surface that the build asks for, hung from the governing door.

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
    plane = Plane(z0, float(slope[0]), float(slope[1]), {}, door, float(z.min()))
    reveals = {
        p: heights[p] - float(plane.height(np.array([[adjusted.points[p].x, adjusted.points[p].y]]))[0])
        for d in survey.all_doors for p in d.points if p in heights
    }
    return Plane(plane.z0, plane.sx, plane.sy, reveals, door, plane.sill), checks + _door_checks(survey, door, reveals)


def _door_checks(survey: Survey, door: Door, reveals: dict[str, float]) -> list[Check]:
    """Step, landing and trip at every door, as cautions: the building official decides."""
    found = []
    for d in survey.all_doors:
        here = {p: reveals[p] for p in d.points if p in reveals}
        if not here:
            continue
        low, high = min(here, key=lambda p: here[p]), max(here, key=lambda p: here[p])
        if here[low] < 0:
            found.append(check("deck-above-sill", "caution", value=here[low], limit=0.0, where=low, acknowledge=True,
                               over=length.write(-here[low]), door=d.name))
        if here[high] > doors.LANDING_BELOW:
            limit = doors.LANDING_BELOW_CLEAR if here[high] > doors.LANDING_BELOW_CLEAR else doors.LANDING_BELOW
            found.append(check("door-step", "caution", value=here[high], limit=limit, where=high,
                               step=length.write(here[high]), door=d.name, near=length.write(doors.LANDING_BELOW),
                               clear=length.write(doors.LANDING_BELOW_CLEAR)))
        if here[low] < doors.FLUSH:
            found.append(check("door-flush", "caution", value=here[low], limit=doors.FLUSH, where=low,
                               reveal=length.write(here[low]), door=d.name))
        if survey.site is not None and survey.site.accessible_route and max(map(abs, here.values())) > doors.ACCESSIBLE:
            found.append(check("accessible-threshold", "caution", value=here[high], limit=doors.ACCESSIBLE, where=high,
                               step=length.write(here[high]), door=d.name, most=length.write(doors.ACCESSIBLE)))
    return found


def least_gap(build: Build) -> float:
    """The least clear gap that can be built: the one asked for, or what pad and base take up [in]."""
    return max(build.supports.clear_gap.least, build.supports.pad_thickness + build.supports.base_thickness)


def most_gap(build: Build) -> float:
    """The most clear gap: the one asked for, or the pad with all the shim it may carry [in]."""
    s = build.supports
    return min(s.clear_gap.most, s.pad_thickness + s.base_thickness + s.shim_most)


def corner_places(roof: Roof, deck: Polygon) -> Array:
    """The places (n, 2) where a roof of planes can be highest or lowest under the deck: where its creases cross or end
    there, and where they meet the deck's edge."""
    lines = shapely.intersection(np.array([*roof.creases(), deck.boundary]), deck)
    xy = shapely.get_coordinates(shapely.union_all(lines))
    return np.unique(np.round(xy, 6), axis=0)


def height_budget(build: Build, plane: Plane, roof: Roof, deck: Polygon) -> Budget:
    """The height at the place under the deck where it is least, against what decking, wood and gap need.

    Roof and plane are flat between facet corners, so the least stands at one of them: no search.
    """
    xy = corner_places(roof, deck)
    height = plane.height(xy) - roof.height(xy)
    i = int(np.argmin(height))
    above = build.decking.thickness + build.joists.tape_thickness
    needed = above + build.joists.minimum_depth + least_gap(build)
    at = (float(xy[i, 0]), float(xy[i, 1]))
    available = float(height[i])
    where = f"x {at[0]:.0f}, y {at[1]:.0f}"
    words: dict[str, Any] = {
        "available": length.write(available, 32), "needed": length.write(needed, 32), "reveal":
        length.write(build.surface.reveal, 32), "decking": length.write(above, 32), "wood":
        length.write(build.joists.minimum_depth, 32), "gap": length.write(least_gap(build), 32),
    }
    short = needed - available
    if short > 1e-9:
        clears = _clearing(build, short)
        offers = "; ".join(f"{c.change} {c.from_} to {c.to} in" for c in clears)
        found = check("height-short", "stop", value=available, limit=needed, where=where, clears=clears,
                      short=f"{short:.2f}", offers=f"Any one of these clears it: {offers}." if offers else
                      f"No single change within the limits clears {short:.2f} in: raise the door or have an engineer "
                      "design flat sleepers.", **words)
    else:
        found = check("height", "ok", value=available, limit=needed, where=where, **words)
    return Budget(at, available, needed, (found,))


def _clearing(build: Build, short: float) -> Sequence[Change]:
    """The single changes that would clear a shortfall [in], each within the floors of documents.md."""
    def down(now: float, floor: float) -> float | None:
        to = math.floor((now - short) / FULL_STEP + 1e-9) * FULL_STEP
        return to if to >= floor - 1e-9 else None

    s = build.supports
    stack, gap = s.pad_thickness + s.base_thickness, s.clear_gap.least
    offers: list[tuple[str, float, float | None]] = [
        ("surface.reveal", build.surface.reveal, down(build.surface.reveal, LEAST_REVEAL)),
        ("decking.thickness", build.decking.thickness,
         down(build.decking.thickness, least_thickness(build.joists.spacing))),
        ("joists.minimum_depth", build.joists.minimum_depth, down(build.joists.minimum_depth, LEAST_DEPTH)),
    ]
    # the gap needed is the larger of the two: one alone clears only where the other leaves room
    if stack <= gap - short:
        offers.append(("supports.clear_gap.least", gap, down(gap, max(LEAST_CLEAR_GAP, stack))))
    if gap <= stack - short:
        pad = down(s.pad_thickness, 1 / 8)
        if pad is not None and pad + s.base_thickness >= LEAST_CLEAR_GAP:
            offers.append(("supports.pad_thickness", s.pad_thickness, pad))
    return [Change(what, now, to) for what, now, to in offers if to is not None]
