"""What the deck leaves its plane by as its joists dry: deep wood shrinks more than thin.

Stage: members -> drying. Wood stands on its pads, so its top edge comes down by what its depth shrinks.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from framing.engine import length
from framing.engine.checks import Check, check
from framing.engine.documents import Build
from framing.engine.members import Member
from framing.reference.decking import SERVICE_MOISTURE, STOCK_MOISTURE, depth_after_drying
from framing.reference.lumber import species_key

MARKED_TO = 1 / 16  # depths are marked and sawn to this: less out of plane than that is not seen [in]
RULED_FOR = "southern pine"  # what the rule of depth_after_drying was measured on


def drying(members: Sequence[Member], build: Build, door: tuple[float, float]) -> Check:
    """How much more the deck sinks over its deepest wood than over its thinnest, and by how much at the door (x, y)."""
    joists = build.joists
    wet, dry = STOCK_MOISTURE[joists.moisture or "wet"], SERVICE_MOISTURE
    shrink = 1 - depth_after_drying(1.0, wet, dry)
    deepest = max(members, key=lambda m: float(m.profile[:, 1].max()))
    thinnest = min(members, key=lambda m: float(m.profile[:, 1].min()))
    deep, thin = float(deepest.profile[:, 1].max()), float(thinnest.profile[:, 1].min())
    at = float(deepest.profile[np.argmax(deepest.profile[:, 1]), 0])
    near = min(members, key=lambda m: _away(m, door)[1])
    there = float(near.depth(np.array([_away(near, door)[0]]))[0])
    out = (deep - thin) * shrink
    judged = "" if species_key(joists.species) == RULED_FOR else (
        f" The rule was measured on {RULED_FOR}; for {joists.species} it is a judgement.")
    judged += "" if joists.moisture else " The stock's moisture is not given: wet stock was taken."
    return check("drying", "caution" if out > MARKED_TO + 1e-9 else "ok", value=out, limit=MARKED_TO,
                 where=f"{deepest.id}, {length.write(at)} in from end A", wet=wet, dry=dry, deep=length.write(deep),
                 thin=length.write(thin), most=f"{deep * shrink:.3f}", least=f"{thin * shrink:.3f}",
                 door=f"{there * shrink:.3f}", judged=judged)


def _away(m: Member, at: tuple[float, float]) -> tuple[float, float]:
    """The place s on a member nearest to a point, and how far off it lies [in]."""
    start, end = np.array(m.line.start), np.array(m.line.end)
    along = (end - start) / m.line.length
    s = float(np.clip((np.array(at) - start) @ along, 0.0, m.line.length))
    return s, float(np.hypot(*(start + s * along - at)))
