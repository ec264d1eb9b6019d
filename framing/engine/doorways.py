"""Step, landing and trip at every door, as cautions: the building official decides, the roofer on the sill.

Stage: roof -> doorways, for the plane.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from framing.engine import length
from framing.engine.adjustment import Adjustment
from framing.engine.checks import Check, check
from framing.engine.documents import Door, Survey
from framing.reference import doors

Array = NDArray[np.float64]

HAIR = 1e-3  # what the outline's own rounding leaves [in]
EXACT = 1e-6  # what arithmetic leaves of a step that was asked for to the inch [in]
SKEW = 2.0  # the deck's edge is square to the door within this over its width [in]


def door_checks(survey: Survey, adjusted: Adjustment, deck: Polygon, reveals: Mapping[str, float],
                slope: float) -> list[Check]:
    """What is to be told about every door with a sill reading.

    `deck` is the outline less its holes, `reveals` the step down from each threshold point [in], `slope` that of the
    finished surface [in/ft].
    """
    found = []
    for door in survey.all_doors:
        here = {p: reveals[p] for p in door.points if p in reveals}
        if not here:
            continue
        low, high = min(here, key=lambda p: here[p]), max(here, key=lambda p: here[p])
        if here[low] < -EXACT:
            found.append(check("deck-above-sill", "caution", value=here[low], limit=0.0, where=low, acknowledge=True,
                               over=length.write(-here[low]), door=door.name))
        limit, rule = step_rule(door, here[high])
        if here[high] > limit + EXACT:
            found.append(check("door-step", "caution", value=here[high], limit=limit, where=high,
                               step=length.write(here[high]), door=door.name, rule=rule))
        if here[low] < doors.FLUSH - EXACT:
            found.append(check("door-flush", "caution", value=here[low], limit=doors.FLUSH, where=low,
                               reveal=length.write(here[low]), door=door.name))
        level = max(here, key=lambda p: abs(here[p]))  # up or down
        if survey.site is not None and survey.site.accessible_route and abs(here[level]) > doors.ACCESSIBLE + EXACT:
            found.append(check("accessible-threshold", "caution", value=abs(here[level]), limit=doors.ACCESSIBLE,
                               where=level, step=length.write(abs(here[level])), door=door.name,
                               most=length.write(doors.ACCESSIBLE)))
        sill = np.array([[adjusted.points[p].x, adjusted.points[p].y] for p in door.points if p in adjusted.points])
        wide, deep = landing(sill, door.clear_width, deck)
        if deep < doors.LANDING_DEPTH - HAIR:
            found.append(check("door-landing", "caution", value=deep, limit=doors.LANDING_DEPTH, where=door.name,
                               door=door.name, deep=length.write(deep), wide=length.write(wide)))
        if slope > doors.LANDING_FALL + HAIR:
            found.append(check("landing-slope", "caution", value=slope, limit=doors.LANDING_FALL, unit="in/ft",
                               where=door.name, door=door.name, percent=f"{slope / 0.12:.1f}",
                               most=f"{doors.LANDING_FALL / 0.12:.0f}"))
    return found


def step_rule(door: Door, step: float) -> tuple[float, str]:
    """The most that a landing may lie below `door`'s sill [in], and the rule in words.

    What was not given is taken the strict way until the step is over both limits: then it is held against the larger.
    """
    near, clear = (length.write(v) for v in (doors.LANDING_BELOW, doors.LANDING_BELOW_CLEAR))
    if door.egress is False:
        return doors.LANDING_BELOW_CLEAR, f"a door that is not a required exit has its landing at most {clear} in below"
    if door.swing == "out":
        return doors.LANDING_BELOW, (f"it swings over the deck, and a required exit that does has its landing at most "
                                     f"{near} in below the threshold")
    if door.swing is not None:
        return doors.LANDING_BELOW_CLEAR, (f"it does not swing over the deck, and such a door has its landing at most "
                                           f"{clear} in below the threshold")
    limit = doors.LANDING_BELOW_CLEAR if step > doors.LANDING_BELOW_CLEAR else doors.LANDING_BELOW
    return limit, (f"a required egress door has its landing at most {near} in below the threshold, {clear} in where "
                   "the door does not swing over it; which way it swings was not given")


def landing(sill: Array, clear_width: float | None, deck: Polygon) -> tuple[float, float]:
    """Width that the door at `sill` (k, 2) asks of its landing and the depth of whole deck in front of it [in].

    The depth runs square to the sill from the deck's near edge, or is 0 where that lies further from the sill than a
    wall is thick or the deck is narrower than the door.
    """
    across = sill[-1] - sill[0]
    run = float(math.hypot(*across))
    wide = clear_width if clear_width is not None else run
    middle = (sill[0] + sill[-1]) / 2
    if run < 1.0:  # one point: the door lies along the nearest side of the deck
        across = _nearest_side(middle, deck)
    u = across / math.hypot(*across)
    ways = [_clear_depth(middle, u, np.array([-u[1], u[0]]) * side, wide, deck) for side in (1.0, -1.0)]
    return wide, max(ways)


def _nearest_side(at: Array, deck: Polygon) -> Array:
    corners = np.array(deck.exterior.coords)
    sides = [LineString(pair) for pair in zip(corners, corners[1:], strict=False)]
    a, b = np.array(min(sides, key=lambda s: s.distance(shapely.Point(at))).coords)
    return np.asarray(b - a)


def _clear_depth(middle: Array, along: Array, out: Array, wide: float, deck: Polygon) -> float:
    """Depth of whole deck in front of the middle of a sill, going `out` from it, over the door's width [in]."""
    frame = np.stack([along, out])

    def strip(start: float, end: float) -> Polygon:
        half = max(wide / 2, HAIR)
        return Polygon(middle + np.array([[-half, start], [half, start], [half, end], [-half, end]]) @ frame)

    def reach(shape: BaseGeometry) -> Array:
        return np.asarray((shapely.get_coordinates(shape) - middle) @ out)

    ahead = deck.intersection(strip(0.0, doors.SILL_BACK))
    if ahead.is_empty:
        return 0.0
    # the deck's near edge, as skewed to the sill as its gap to the wall may leave it
    begins = float(reach(ahead).min())
    gap = reach(strip(0.0, doors.SILL_BACK).difference(deck))
    start = max([begins, *gap[gap <= begins + SKEW].tolist()])
    beyond = reach(strip(start + HAIR, start + doors.LANDING_DEPTH).difference(deck.buffer(HAIR / 2)))
    return float(beyond.min()) - start if len(beyond) else doors.LANDING_DEPTH
