"""What is told of the boards as laid: strips too narrow, tapers, joints, cover, movement, and how to choose boards.

A part of the boards stage.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from framing.engine import length
from framing.engine.board_joints import JOINT_APART
from framing.engine.board_movement import movement_check
from framing.engine.board_pieces import Board
from framing.engine.checks import Check, check
from framing.engine.documents import Build

NAMED = 6  # narrow boards that are named one by one
TAPER = 1 / 16  # a rip that changes by less from end to end is straight [in]
COVER = 0.005  # of the deck that boards may cover more or less than the deck without its gaps
HALF_A_FOOT = 72.0  # ... and no more than this [sq in]: less than any board that would be missed


@dataclass(frozen=True)
class Laid:
    """The boards; the deck's area and what of it is no gap [sq in]; the length of sides where no start of the rows
    leaves strips of the least rip [in]; butt joints, and how many joists those of neighbouring rows are apart."""

    boards: Sequence[Board]
    area: float
    to_cover: float
    thin: float
    joints: int
    apart: float


def told(laid: Laid, build: Build) -> list[Check]:
    """Every check of the boards."""
    found = [_narrow(laid, build), _cover(laid, build), *_tapers(laid)]
    if laid.joints and math.isfinite(laid.apart):
        near = laid.apart < JOINT_APART + 0.75
        found.append(check("board-joints", "caution" if near else "ok", value=laid.apart, limit=JOINT_APART + 1,
                           unit="EA", where="decking", joints=laid.joints))
    return [*found, movement_check(build.decking), check("best-face", "note", where="decking")]


def _narrow(laid: Laid, build: Build) -> Check:
    """Boards that get narrower than the least rip, the narrowest first, and why there are any."""
    width = build.decking.width
    least = min(build.decking.least_rip, width)
    thin = sorted((b for b in laid.boards if b.narrowest < least - 1e-6), key=lambda b: b.narrowest)
    if not thin:
        value = min((b.narrowest for b in laid.boards), default=width)
        return check("feather-edge", "ok", value=value, limit=least, where="decking", count=0,
                     least=length.write(least), places=f"the narrowest is {value:.2f} in", why="")
    named = [f"{b.id} {b.narrowest:.2f} in at x {b.polygon.centroid.x:.0f}, y {b.polygon.centroid.y:.0f}"
             for b in thin[:NAMED]]
    more = [f"and {len(thin) - NAMED} more"] if len(thin) > NAMED else []
    why = (f" No start of the rows leaves less than {laid.thin / 12:.1f} ft of such strips along the deck's sides."
           if laid.thin > 0.5 else " They lie at corners or beside obstacles.")
    return check("feather-edge", "caution", value=thin[0].narrowest, limit=least, where=thin[0].id, count=len(thin),
                 least=length.write(least), places=", ".join([*named, *more]), why=why)


def _cover(laid: Laid, build: Build) -> Check:
    """The boards' area against the deck's less its gaps: the gaps are measured between the rows, not the boards."""
    covered, wanted = sum(b.polygon.area for b in laid.boards), laid.to_cover
    most = min(COVER * laid.area, HALF_A_FOOT)
    d = build.decking
    return check("cover", "ok" if abs(covered - wanted) <= most else "caution", value=covered / laid.area,
                 limit=wanted / laid.area, unit="C62", where="decking", plain=d.width / (d.width + d.gap))


def _tapers(laid: Laid) -> list[Check]:
    """The boards that are ripped from one width to another."""
    by = [abs(b.rip[0] - b.rip[1]) for b in laid.boards if b.rip and b.kind != "border"]
    tapered = [v for v in by if v > TAPER]
    return [check("wall-rips", "note", value=max(tapered), where="decking", count=len(tapered))] if tapered else []
