"""Quantities to buy: net, waste and spare of every item, in whole packs, with what the order weighs.

Stage: cutting -> takeoff. Lumber and boards come from the cutting plan, stick by stick, so that their waste is
geometry and no percentage; the rest from counts of pieces, crossings and pads. How many a pack holds is the price
list's to say: fixings are counted by the piece here, so that they are rounded up to packs once and not twice.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from framing.engine import length
from framing.engine.boards import CROSSES, Board, Decking, turned
from framing.engine.checks import Check, check
from framing.engine.cutting import CutPlan
from framing.engine.documents import Build
from framing.engine.laps import fixings
from framing.engine.layout import Deck
from framing.engine.openings import STICK
from framing.engine.supports import Frame
from framing.reference import production
from framing.reference.decking import decking_weight
from framing.reference.lumber import DRESSED, DRESSED_BOARD, FRESH_TREATED_PCF, framing_weight_plf

Floats = NDArray[np.float64]

ONE_MORE = 1e-6  # less than this over a whole pack is a float's dust, no further pack
FULL = 1 / 32  # wood this near the stick's own depth is not sawn [in]
HELD = STICK / 4  # a board is fixed to a member where it comes this near its middle line, this far from its ends [in]
OFF_LINE = 1 / 16  # an edge further out of line with its board, and out of square, is cut at an angle [in]
OVER = f"{production.FASTENER_WASTE:.0%} added on"
AT_ANGLE = (2.0, 89.0)  # ends this far off square are cut at an angle; past that the pieces run along [degrees]


@dataclass(frozen=True)
class Quantity:
    """One item: `net`, `waste` and `spare` in `unit`; `order` packs of `pack` units in `order_unit`.

    `weight` [lb] and `board_feet` are of the whole order, `board_feet` of what is sold by board measure only.
    """

    item: str
    description: str
    unit: str
    net: float
    waste: float
    spare: float
    pack: float
    order_unit: str
    basis: str
    unit_weight: float = 0.0
    board_feet_each: float = 0.0

    @property
    def order(self) -> int:
        return max(1, whole((self.net + self.waste + self.spare) / self.pack))

    @property
    def weight(self) -> float:
        return self.order * self.pack * self.unit_weight

    @property
    def board_feet(self) -> float:
        return self.order * self.board_feet_each

    @property
    def waste_added_on(self) -> float:
        """Waste as a share of net: net x (1 + w) is used."""
        return self.waste / self.net if self.net else 0.0

    @property
    def waste_yield(self) -> float:
        """Waste as a share of what is used up: net / (1 - w) is used."""
        return self.waste / (self.net + self.waste) if self.net + self.waste else 0.0

    def as_json(self) -> dict[str, Any]:
        return {
            "item": self.item, "description": self.description, "unit": self.unit, "net": self.net,
            "waste": self.waste, "spare": self.spare, "order": self.order, "pack": self.pack,
            "order_unit": self.order_unit, "basis": self.basis, "waste_added_on": self.waste_added_on,
            "waste_yield": self.waste_yield, "weight": self.weight, "board_feet": self.board_feet,
        }


def whole(count: float) -> int:
    """The least whole number that covers `count`."""
    return math.ceil(count - ONE_MORE)


def board_feet(thickness: float, width: float, feet: float) -> float:
    """Board measure of one piece of nominal thickness and width [in]; under 1 in thick counts as 1 in.

    Navy Engineering Aid Basic, ch. 6; Army EN5155 p. 1-28.
    """
    return max(thickness, 1.0) * width * feet / 12


def take_off(plans: Sequence[CutPlan], frame: Frame, decking: Decking, deck: Deck, build: Build) -> list[Quantity]:
    """Everything to buy for the frame and its decking; an item of which nothing is needed is left out."""
    found = [*_lumber_and_boards(plans, build), *_under_the_frame(frame, build), *_fixings(frame, decking, build),
             *_treatment(frame, decking, build)]
    area = deck.net_sqft
    found.append(Quantity("protection/sheet", "protection sheet over the membrane", "FTK", area,
                          area * production.PROTECTION_LAPS, 0.0, 32.0, "EA",
                          f"net deck area, {production.PROTECTION_LAPS:.0%} added on for laps, sheets of 4 x 8 ft",
                          production.PROTECTION_PSF))
    return [q for q in found if q.net > 0]


def colour_lot(quantities: Sequence[Quantity], build: Build) -> Check:
    """The boards to order from one lot: as many as the takeoff orders."""
    boards = [q for q in quantities if q.item.startswith("decking/")]
    return check("colour-lot", "note", value=sum(q.order for q in boards), unit="EA", where="decking",
                 item=build.decking.item, spare=sum(whole(q.spare / q.pack) for q in boards))


# -- what drives quantities and hours, counted on the true pieces -----------------------------------------------

def rim_joints(frame: Frame) -> int:
    """Ends of joists, edge joists, headers and blocking that are fixed to the member which they meet."""
    hung = np.array([m.role != "rim" or m.line.header for m in frame.members], bool)
    off = _off_square(frame)[hung]
    return int((off < AT_ANGLE[1]).sum())


def splices(frame: Frame) -> int:
    return sum(len(m.splices) for m in frame.members)


def rip_run(frame: Frame) -> float:
    """Length that the saw rips: where ripped members are shallower than their stick [ft]."""
    run = 0.0
    for m in frame.members:
        if m.ripped:
            s, depth = m.profile.T
            sawn = np.minimum(depth[:-1], depth[1:]) < DRESSED[m.size][1] - FULL
            for a, b in m.sawn:
                run += float(np.clip(np.minimum(s[1:], b) - np.maximum(s[:-1], a), 0, None)[sawn].sum())
    return run / 12


def angle_cuts(frame: Frame) -> int:
    """Ends of members that meet another one off square."""
    off = _off_square(frame)
    return int(((off > AT_ANGLE[0]) & (off < AT_ANGLE[1])).sum())


def _off_square(frame: Frame) -> Floats:
    """How far off square each end meets another member, (members, 2) [degrees]; NaN where it meets none.

    Of several members at one end, the one that it meets most squarely counts.
    """
    ends = np.array([[m.line.start, m.line.end] for m in frame.members]).reshape(-1, 2, 2)
    along = ends[:, 1] - ends[:, 0]
    along = along / np.hypot(*along.T)[:, None]
    tree = STRtree(shapely.linestrings(ends))
    end, other = tree.query(shapely.points(ends.reshape(-1, 2)), predicate="dwithin", distance=STICK)
    one = end // 2
    off = np.degrees(np.arcsin(np.clip(np.abs((along[one] * along[other]).sum(axis=1)), 0, 1)))
    least = np.full(2 * len(ends), np.inf)
    np.minimum.at(least, end[one != other], off[one != other])
    return np.where(np.isfinite(least), least, np.nan).reshape(-1, 2)


def crossings(frame: Frame, decking: Decking) -> int:
    """How often a board is fixed: to each member under it that runs across; at a butt joint both boards are.

    Panels are loose. Rims count where boards end on them, not where they run under a board's edge.
    """
    ends = np.concatenate([np.zeros((0, 2, 2)), *(m.centre_lines for m in frame.members)])
    run = ends[:, 1] - ends[:, 0]
    run = run / np.hypot(*run.T)[:, None]
    within = ends + np.stack([run, -run], axis=1) * HELD
    aside = (np.stack([-run[:, 1], run[:, 0]], axis=1) * HELD)[:, None]
    count = 0
    for way in sorted({b.along for b in decking.boards}):  # a border's boards run along its sides
        boards = np.array([b.polygon for b in decking.boards if b.along == way and b.kind != "panel"], object)
        across = np.abs(turned(run, -way)[:, 1]) > CROSSES
        held = np.concatenate([within - aside, (within + aside)[:, ::-1]], axis=1)[across]
        count += STRtree(boards).query(shapely.polygons(held), predicate="intersects").shape[1]
    return count


def scribed_run(boards: Sequence[Board]) -> float:
    """Length of board edges cut at an angle: taper rips along walls, skew and scribed ends [ft]."""
    if not boards:
        return 0.0
    polygons = np.array([b.polygon for b in boards], object)
    xy, piece = shapely.get_coordinates(shapely.get_exterior_ring(polygons), return_index=True)
    same = piece[1:] == piece[:-1]
    edge, way = np.diff(xy, axis=0)[same], np.radians([b.along for b in boards])[piece[1:][same]]
    edge = np.stack([edge @ [1, 0] * np.cos(way) + edge @ [0, 1] * np.sin(way),
                     edge @ [0, 1] * np.cos(way) - edge @ [1, 0] * np.sin(way)], axis=1)
    angled = (np.abs(edge) > OFF_LINE).all(axis=1)
    return float(np.hypot(*edge[angled].T).sum() / 12)


def panels(decking: Decking, gap: float) -> int:
    """Lift-out panels: boards of panels that lie no more than a `gap` apart [in] are one."""
    parts = np.array([b.polygon for b in decking.boards if b.kind == "panel"], object)
    return len(shapely.get_parts(shapely.union_all(shapely.buffer(parts, gap * 0.51)))) if len(parts) else 0


# -- lumber and boards -----------------------------------------------------------------------------------------

def _lumber_and_boards(plans: Sequence[CutPlan], build: Build) -> list[Quantity]:
    """One item a stick length: net is what is cut from it, waste what is left of it."""
    found = []
    for plan in plans:
        if plan.stock.item.startswith("lumber/"):
            nominal: tuple[float, float] | None = _nominal_size(plan.stock.size)
            plf = _lumber_plf(build, plan.stock.size)
        else:
            thick, wide = build.decking.thickness, build.decking.width
            nominal = _nominal(thick, wide)
            plf = decking_weight(build.decking.species or "", thick, wide, 0.0).psf * wide / 12
        for stick, n in plan.counts.items():
            sticks = [s for s in plan.sticks if s.length == stick]
            # tapers sawn side by side share their length of stick: no stick gives more than it holds
            cut = sum(min(sum(c.length for c in s.cuts), stick - s.offcut) for s in sticks) / 12
            spare = whole(n / production.SPARE_STICKS_IN) if stick == max(plan.counts) else 0
            feet = stick / 12
            left = n * feet - cut
            found.append(Quantity(
                f"{plan.stock.item}/{stick:g}", f"{plan.stock.size} {length.write(feet)} ft", "LF", cut, left,
                spare * feet, feet, "EA",
                f"cutting plan: {n} stick{'s' * (n != 1)}" + (f", {spare} spare" if spare else "")
                + f"; {left:.1f} ft saw and offcuts: {left / cut:.1%} of net (added on), "
                f"{left / (n * feet):.1%} of the sticks (yield)",
                plf, board_feet(*nominal, feet) if nominal else 0.0,
            ))
    return found


def _nominal_size(size: str) -> tuple[float, float]:
    thick, wide = size.split("x")
    return float(thick), float(wide)


def _nominal(thickness: float, width: float) -> tuple[float, float] | None:
    """Nominal thickness and width of a dressed board [in]; None where it is no size of board measure."""
    thick = {dressed: name for name, dressed in DRESSED_BOARD.items()}.get(thickness)
    wide = {dressed: size for size, (_, dressed) in DRESSED.items()}.get(width)
    if thick is None or wide is None:
        return None
    over, _, under = thick.partition("/")
    return float(over) / float(under or 1), _nominal_size(wide)[1]


# -- the rest -------------------------------------------------------------------------------------------------

def _under_the_frame(frame: Frame, build: Build) -> list[Quantity]:
    """Pads, shims and packers by size, and the slip sheet."""
    found = []
    pads = Counter(s.pad_size for s in frame.supports)
    for (a, b), n in sorted(pads.items()):
        spare = whole(n / production.SPARE_PADS_IN)
        thick = build.supports.pad_thickness
        found.append(_each(f"support/pad/{a:g}x{b:g}", f"pad {a:g} x {b:g} x {length.write(thick)} in", n,
                           f"one under each support, {spare} spare", a * b * thick / 1728 * production.PAD_PCF,
                           spare=spare))
    shims = Counter((v, s.pad_size) for s in frame.supports for v in s.shims)
    for size, n, square_inches in _by_size(shims):
        found.append(_each(f"support/shim/{size:g}", f"shim {length.write(size, 32)} in", n,
                           f"the stack at each support, {OVER}", square_inches * size / 1728 * production.SHIM_PCF,
                           over=True))
    packed = Counter((s.packer, s.pad_size) for s in frame.supports if s.packer > 0)
    pcf = _lumber_plf(build, "2x4") * 144 / math.prod(DRESSED["2x4"])
    for size, n, square_inches in _by_size(packed):
        found.append(_each(
            f"lumber/packer/{size:g}", f"treated packer {length.write(size)} in, as wide and long as its pad", n,
            f"under wood that is not deep enough, fixed to it, {OVER}", square_inches * size / 1728 * pcf, over=True))
    slip = sum(a * b * n for (a, b), n in pads.items()) / 144
    found.append(Quantity("support/slip-sheet", "slip sheet under pads", "FTK", slip, slip * production.PROTECTION_LAPS,
                          0.0, 1.0, "FTK", f"pad area, {production.PROTECTION_LAPS:.0%} added on for laps",
                          production.SLIP_PSF))
    return found


def _by_size(counted: Counter[tuple[float, tuple[float, float]]]) -> Iterator[tuple[float, int, float]]:
    """(thickness [in], how many, their mean area [sq in]) of what is counted by thickness and pad size."""
    for size in sorted({size for size, _ in counted}):
        own = {pad: n for (thick, pad), n in counted.items() if thick == size}
        n = sum(own.values())
        yield size, n, sum(a * b * k for (a, b), k in own.items()) / n


def _fixings(frame: Frame, decking: Decking, build: Build) -> list[Quantity]:
    kind = build.decking.fastening
    per = 1 if kind == "hidden" else 2
    joints = rim_joints(frame) + 2 * sum(len(m.splices) for m in frame.members if not m.lap)
    through = sum(len(m.splices) * fixings(m) for m in frame.members if m.lap)
    crossed = crossings(frame, decking)
    return [
        _each(f"fixing/{kind}", "hidden clips" if per == 1 else "face screws, two a crossing", crossed * per,
              f"{crossed} crossings of board and member, {per} each, {OVER}", production.FIXING_LB[kind],
              over=True),
        _each("fixing/structural", "structural screws",
              joints * production.SCREWS_A_JOINT + through,
              f"{production.SCREWS_A_JOINT} where rim or blocking meets a member and each side of a splice"
              + f", {through} through laps" * bool(through) + f", {OVER}",
              production.FIXING_LB["structural"], over=True),
    ]


def _treatment(frame: Frame, decking: Decking, build: Build) -> list[Quantity]:
    """What covers lengths and areas of cut wood: joist tape, preservative, end sealer."""
    found = []
    run = sum(m.run for m in frame.members) / 12
    if build.joists.tape_thickness > 0:
        found.append(Quantity("treatment/joist-tape", "joist tape", "LF", run, run * production.TAPE_WASTE, 0.0, 1.0,
                              "LF", f"top of every member, {production.TAPE_WASTE:.0%} added on", production.TAPE_PLF))
    ripped = rip_run(frame)
    rips = ripped * STICK / 12
    cuts = [float(d) * m.thickness for m in frame.members for piece in m.sawn for d in m.depth(np.array(piece))]
    ends = sum(cuts) / 144
    found.append(Quantity(
        "treatment/preservative", "field preservative for rips and end cuts", "GLL",
        (rips + ends) / production.PRESERVATIVE_SQFT_PER_GALLON, 0.0, 0.0, 1.0, "GLL",
        (f"{ripped:.0f} ft of rips {length.write(STICK)} in wide = {rips:.0f} sq ft, " if ripped else "")
        + f"{len(cuts)} end cuts = {ends:.1f} sq ft, two coats in one gallon's "
        f"{production.PRESERVATIVE_SQFT_PER_GALLON:g} sq ft", production.GALLON_LB))
    ends = 2 * len(decking.boards) * build.decking.width * build.decking.thickness / 144
    found.append(Quantity(
        "treatment/end-sealer", "end sealer", "QTL", ends / production.SEALER_SQFT_PER_QUART, 0.0, 0.0, 1.0, "QTL",
        f"{2 * len(decking.boards)} board ends = {ends:.1f} sq ft; brush loss is covered by the whole quart",
        production.GALLON_LB / 4))
    return found


def _lumber_plf(build: Build, size: str) -> float:
    """Weight of a whole stick [lb/ft]: treated stock bought wet is heavier."""
    thick, deep = DRESSED[size]
    dry = float(framing_weight_plf(build.joists.species, deep, thick))
    return max(dry, FRESH_TREATED_PCF * thick * deep / 144) if build.joists.moisture == "wet" else dry


def _each(item: str, description: str, count: int, basis: str, weight: float, *, spare: int = 0,
          over: bool = False) -> Quantity:
    waste = float(whole(count * production.FASTENER_WASTE)) if over else 0.0
    return Quantity(item, description, "EA", float(count), waste, float(spare), 1.0, "EA", basis, weight)
