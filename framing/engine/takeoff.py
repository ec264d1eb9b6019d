"""Quantities to buy: net, waste and spare of every item, in whole packs.

Stage: cutting -> takeoff. Lumber and boards come from the cutting plan, stick by stick; the rest from counts of
pieces, crossings and pads. Waste is added on to net, never taken as a yield.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from framing.engine import length
from framing.engine.boards import Decking
from framing.engine.cutting import CutPlan
from framing.engine.documents import Build
from framing.engine.layout import Deck
from framing.engine.openings import STICK
from framing.engine.supports import Frame
from framing.reference import production


@dataclass(frozen=True)
class Quantity:
    """One item: `net`, `waste` (added on) and `spare` in `unit`; `order` packs of `pack` units in `order_unit`."""

    item: str
    description: str
    unit: str
    net: float
    waste: float
    spare: float
    pack: float
    order_unit: str
    basis: str

    @property
    def order(self) -> int:
        return max(1, math.ceil((self.net + self.waste + self.spare) / self.pack - 1e-6))

    def as_json(self) -> dict[str, Any]:
        return {
            "item": self.item, "description": self.description, "unit": self.unit, "net": self.net,
            "waste": self.waste, "spare": self.spare, "order": self.order, "pack": self.pack,
            "order_unit": self.order_unit, "basis": self.basis,
        }


def take_off(plans: Sequence[CutPlan], frame: Frame, decking: Decking, deck: Deck, build: Build) -> list[Quantity]:
    """Everything to buy for the frame and its decking; an item of which nothing is needed is left out."""
    found = [q for p in plans for q in _sticks(p)]
    pads = Counter(s.pad_size for s in frame.supports)
    found += [
        _each(f"support/pad/{a:g}x{b:g}", f"pad {a:g} x {b:g} x {length.write(build.supports.pad_thickness)} in", n,
              "one under each support")
        for (a, b), n in sorted(pads.items())
    ]
    shims = Counter(v for s in frame.supports for v in s.shims)
    found += [
        _each(f"support/shim/{size:g}", f"shim {length.write(size, 32)} in", n, "the stack at each support",
              waste=math.ceil(n * production.FASTENER_WASTE))
        for size, n in sorted(shims.items())
    ]
    packed = Counter(s.packer for s in frame.supports if s.packer > 0)
    found += [
        _each(f"lumber/packer/{thick:g}", f"treated packer {length.write(thick)} in, as wide and long as its pad", n,
              "under wood that is not deep enough, fixed to it", waste=math.ceil(n * production.FASTENER_WASTE))
        for thick, n in sorted(packed.items())
    ]
    slip = sum(a * b for a, b in (s.pad_size for s in frame.supports)) / 144
    found.append(Quantity("support/slip-sheet", "slip sheet under pads", "FTK", slip, slip * production.PROTECTION_LAPS,
                          0.0, 1.0, "FTK", "pad area, laps added on"))
    per = 1 if build.decking.fastening == "hidden" else 2
    fixings = decking.crossings * per
    found.append(_each(f"fixing/{build.decking.fastening}",
                       "hidden clips" if per == 1 else "face screws, two a crossing", fixings,
                       f"{decking.crossings} crossings of board and member, {per} each",
                       waste=math.ceil(fixings * production.FASTENER_WASTE)))
    joints = rim_joints(frame) + 2 * splices(frame)
    found.append(_each("fixing/structural", "structural screws", joints * production.SCREWS_A_JOINT,
                       f"{production.SCREWS_A_JOINT} where rim or blocking meets a member and each side of a splice",
                       waste=math.ceil(joints * production.SCREWS_A_JOINT * production.FASTENER_WASTE)))
    run = sum(m.line.length for m in frame.members) / 12
    if build.joists.tape_thickness > 0:
        found.append(Quantity("treatment/joist-tape", "joist tape", "LF", run, run * 0.05, 0.0, 1.0, "LF",
                              "top of every member"))
    ripped = rip_run(frame)
    if ripped:
        area = ripped * STICK / 12
        found.append(Quantity("treatment/preservative", "field preservative for rips and end cuts", "GLL",
                              area / production.PRESERVATIVE_SQFT_PER_GALLON, 0.0, 0.0, 1.0, "GLL",
                              f"{ripped:.0f} ft of rips {length.write(STICK)} in wide = {area:.0f} sq ft, two coats in "
                              f"one gallon's {production.PRESERVATIVE_SQFT_PER_GALLON:g} sq ft"))
    ends = 2 * len(decking.boards)
    sealed = ends * build.decking.width * build.decking.thickness / 144
    found.append(Quantity("treatment/end-sealer", "end sealer", "QTL", sealed / production.SEALER_SQFT_PER_QUART, 0.0,
                          0.0, 1.0, "QTL", f"{ends} board ends = {sealed:.1f} sq ft; brush loss is covered by the "
                          "whole quart"))
    area = deck.net_sqft
    found.append(Quantity("protection/sheet", "protection sheet over the membrane", "FTK", area,
                          area * production.PROTECTION_LAPS, 0.0, 32.0, "EA", "net deck area, laps added on"))
    return [q for q in found if q.net > 0]


def rim_joints(frame: Frame) -> int:
    """Ends of joists and edge joists that a rim or a blocking piece is fixed to."""
    hung = sum(m.role == "blocking" for m in frame.members)
    return 2 * sum(m.role in ("joist", "edge") for m in frame.members) + 2 * hung


def splices(frame: Frame) -> int:
    return sum(len(m.splices) for m in frame.members)


def rip_run(frame: Frame) -> float:
    """Length of all ripped members [ft]."""
    return sum(m.line.length for m in frame.members if m.ripped) / 12


def _each(item: str, description: str, count: int, basis: str, *, waste: int = 0) -> Quantity:
    return Quantity(item, description, "EA", float(count), float(waste), 0.0, 1.0, "EA", basis)


def _sticks(plan: CutPlan) -> list[Quantity]:
    """One item a stick length: net is what is cut from it, waste what is left of it."""
    counts = plan.counts
    found = []
    for stick, n in counts.items():
        cut = sum(c.length for s in plan.sticks if s.length == stick for c in s.cuts) / 12
        spare = math.ceil(n / production.SPARE_STICKS_IN) if stick == max(counts) else 0
        feet = stick / 12
        found.append(Quantity(
            f"{plan.stock.item}/{stick:g}", f"{plan.stock.size} {length.write(feet)} ft", "LF", cut, n * feet - cut,
            spare * feet, feet, "EA", f"cutting plan: {n} sticks" + (f", {spare} spare" if spare else ""),
        ))
    return found
