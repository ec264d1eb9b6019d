"""Strength of the frame: design values, wood stresses, deflection, bearing on wood and on the roof.

A part of the supports stage; beams.py solves the beams.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from framing.engine.beams import Beam, Load, Solution, solve
from framing.reference import design_values as nds
from framing.reference import insulation
from framing.reference.lumber import DRESSED, species_key

__all__ = [
    "AdjustedValues", "Beam", "Load", "MemberDesign", "Solution", "Strength", "Worst", "adjusted_values",
    "allowable_pressure", "allowable_span", "bearing_area", "solve", "strength",
]  # fmt: skip

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

@dataclass(frozen=True)
class AdjustedValues:
    """Design values [psi] after adjustment, the creep factor, and the factors that made them, for the papers."""

    Fb: float
    Fv: float
    Fcp: float
    E: float
    Emin: float
    kcr: float
    factors: tuple[tuple[str, float], ...]


def adjusted_values(
    species: str,
    grade: str,
    parent_size: str,
    *,
    depth: float | None = None,
    moisture: str = "kdat",
    incised: bool | None = None,
    spacing: float = 16.0,
    members: int = 3,
    duration: str = "ten years",
) -> AdjustedValues:
    """Design values of framing outdoors, ripped or whole, by the NDS (framing.reference.design_values).

    Wood in a deck is in wet service whatever its moisture when bought; `moisture` ("kdat", "dry", "wet") decides
    on creep alone. A ripped piece keeps the values of the size it was ripped from (`parent_size`), without the
    gain in size factor of a smaller one: a judgement, and only once it is graded again (NDS 4.1.7.1).

    depth : greatest depth [in] of the ripped piece, to be refused where the parent does not hold it
    incised : None takes what is usual for the species when treated
    spacing [in], members : for the repetitive member factor

    Raises KeyError for an unknown species, grade, size, moisture or duration, ValueError for a depth too great.
    """
    species, size = species_key(species), nds.size_key(parent_size)
    values = nds.reference_values(species, grade, size)
    if depth is not None and depth > DRESSED[size][1] + 1e-6:
        raise ValueError(f"a depth of {depth} in cannot be ripped from a {size}, {DRESSED[size][1]} in deep")
    for word, known in ((moisture, nds.KCR), (duration, nds.CD)):
        if word not in known:
            raise KeyError(f"{word!r} is not known; known are {', '.join(known)}")
    CF, CD = nds.size_factor(species, size), nds.CD[duration]
    Cr = nds.CR if members >= nds.CR_MEMBERS and spacing <= nds.CR_SPACING + 1e-6 else 1.0
    CM_Fb = nds.CM.Fb if values.Fb * CF > nds.CM_FB_EXEMPT else 1.0
    Ci = nds.CI if (species in nds.INCISED if incised is None else incised) else nds.Factors(1.0, 1.0, 1.0, 1.0)
    return AdjustedValues(
        Fb=values.Fb * CF * CD * CM_Fb * Ci.Fb * Cr,
        Fv=values.Fv * CD * nds.CM.Fv * Ci.Fv,
        Fcp=values.Fcp * nds.CM.Fcp * Ci.Fcp,
        E=values.E * nds.CM.E * Ci.E,
        Emin=values.Emin * nds.CM.E * Ci.E,
        kcr=nds.KCR[moisture],
        factors=(
            ("CF", CF), ("CD", CD), ("Cr", Cr),
            ("CM Fb", CM_Fb), ("CM Fv", nds.CM.Fv), ("CM Fcp", nds.CM.Fcp), ("CM E", nds.CM.E),
            ("Ci Fb", Ci.Fb), ("Ci Fv", Ci.Fv), ("Ci Fcp", Ci.Fcp), ("Ci E", Ci.E),
        ),
    )  # fmt: skip


def allowable_span(
    depth: ArrayLike, values: AdjustedValues, load: Load, width: ArrayLike, thickness: float = 1.5
) -> Floats:
    """Longest simple span [in] of an even depth [in] carrying a tributary width [in]; an estimate to place pads by.

    The least of bending, shear and live load deflection; broadcasts over depth and width. Infinite without load.
    """
    depth, width = np.asarray(depth, dtype=float), np.asarray(width, dtype=float)
    with np.errstate(divide="ignore"):
        total, live = (load.dead + load.live) * width / 144, load.live * width / 144
        bending = np.sqrt(8 * values.Fb * thickness * depth**2 / 6 / total)
        shear = 4 / 3 * values.Fv * thickness * depth / total
        stiff = np.cbrt(384 * values.E * thickness * depth**3 / 12 / (5 * nds.LIVE_DEFLECTION * live))
    result: Floats = np.minimum(np.minimum(bending, shear), stiff)
    return result


@dataclass(frozen=True)
class MemberDesign:
    """What a member is held against: its design values, and the length [in] of the pads along it."""

    values: AdjustedValues
    pad_length: float
    live_limit: float = nds.LIVE_DEFLECTION
    total_limit: float = nds.TOTAL_DEFLECTION


@dataclass(frozen=True)
class Worst:
    """The worst place of each beam, all (beams,): `ratio` is demand to limit (over 1 fails), at `s` [in]."""

    ratio: Floats
    demand: Floats
    limit: Floats
    s: Floats


@dataclass(frozen=True)
class Strength:
    """How far each beam is used, check by check.

    bending, shear : stress [psi]; taper : bending, shear and cross-grain stress at the tapered edge together (sum
    of squares, limit 1); deflection_live, deflection_total : [in], total with creep; bearing : wood on pad [psi]
    """

    bending: Worst
    shear: Worst
    taper: Worst
    deflection_live: Worst
    deflection_total: Worst
    bearing: Worst

    @cached_property
    def ratios(self) -> dict[str, Floats]:
        return {name: getattr(self, name).ratio for name in self.__dataclass_fields__}

    @property
    def passes(self) -> NDArray[np.bool_]:
        """(beams,): no check is over its limit (a rounding error apart)."""
        fit: NDArray[np.bool_] = np.all(np.stack(list(self.ratios.values())) <= 1 + 1e-9, axis=0)
        return fit

    @property
    def governs(self) -> list[str]:
        """The check with the greatest ratio, for each beam; the taper, made of two others, only if it alone fails."""
        ratios = dict(self.ratios)
        taper = ratios.pop("taper")
        names, table = list(ratios), np.stack(list(ratios.values()))
        greatest = zip(np.argmax(table, axis=0), table.max(axis=0), taper, strict=True)
        return ["taper" if ratio <= 1 < tapered else names[i] for i, ratio, tapered in greatest]


def strength(solution: Solution, beams: Sequence[Beam], design: MemberDesign | Sequence[MemberDesign]) -> Strength:
    """Hold every beam against its design values; `design` is one for all or one for each beam.

    Bending and shear at every station without the relief of depth near a pad; the tapered edge by Wood Handbook
    Eq. 9-15 (GTR-190 Ch. 9, interaction V; fxy = fx tan, fy = fx tan2 M) with tension across the grain at a third
    of Fv; deflection L/360 and L/240, dead load times the creep factor (NDS 3.5.2, M); bearing by the length of pad
    that lies under the piece (NDS 3.10, without the gain of a short bearing).
    """
    designs = [design] * len(beams) if isinstance(design, MemberDesign) else list(design)
    if len(designs) != len(beams):
        raise ValueError(f"{len(designs)} designs for {len(beams)} beams")
    sizes = [s.size for s in solution.s]

    def each(values: list[float]) -> Floats:
        return np.repeat(np.array(values, dtype=float), sizes)

    def worst(demand: Floats, limit: Floats, at: list[Floats]) -> Worst:
        if not beams:
            return Worst(*np.zeros((4, 0)))
        where, counts = np.concatenate(at), np.array([a.size for a in at])
        first: Ints = np.cumsum(counts) - counts
        ratio = demand / limit
        greatest = np.maximum.reduceat(ratio, first)
        hits = np.flatnonzero(ratio == np.repeat(greatest, counts))
        index = hits[np.searchsorted(hits, first)]
        return Worst(greatest, demand[index], limit[index], where[index])

    if not beams:
        empty = worst(np.zeros(0), np.zeros(0), [])
        return Strength(empty, empty, empty, empty, empty, empty)

    bending, shear = np.concatenate(solution.bending_stress), np.concatenate(solution.shear_stress)
    slope, span = np.concatenate(solution.slope), np.concatenate(solution.span)
    dead, live = np.concatenate(solution.deflection_dead), np.concatenate(solution.deflection_live)
    Fb, Fv = each([d.values.Fb for d in designs]), each([d.values.Fv for d in designs])
    taper = (
        (bending / Fb) ** 2
        + (bending * slope / Fv) ** 2
        + (bending * slope**2 / (nds.TENSION_ACROSS_OVER_FV * Fv)) ** 2
    )
    total = each([d.values.kcr for d in designs]) * np.maximum(dead, 0) + live

    pads = [np.asarray(b.supports, dtype=float) for b in beams]
    counts = [p.size for p in pads]
    half = np.repeat([d.pad_length / 2 for d in designs], counts)
    end, at = np.repeat([b.length for b in beams], counts), np.concatenate(pads)
    bearing_length = np.minimum(at + half, end) - np.maximum(at - half, 0)
    thickness = np.repeat([b.thickness for b in beams], counts)
    bearing = np.concatenate(solution.reaction_most) / (thickness * bearing_length)
    return Strength(
        bending=worst(bending, Fb, solution.s),
        shear=worst(shear, Fv, solution.s),
        taper=worst(taper, np.ones_like(taper), solution.s),
        deflection_live=worst(live, span / each([d.live_limit for d in designs]), solution.s),
        deflection_total=worst(total, span / each([d.total_limit for d in designs]), solution.s),
        bearing=worst(bearing, np.repeat([d.values.Fcp for d in designs], counts), pads),
    )


def allowable_pressure(insulation_strength: float) -> tuple[float, float]:
    """Pressure [psi] that insulation of a rated strength [psi] may bear: dead load alone, dead and live together.

    See framing.reference.insulation for the parts and their sources. Raises ValueError unless positive.
    """
    if not insulation_strength > 0:
        raise ValueError(f"insulation strength {insulation_strength} psi; it must be positive")
    return insulation_strength * insulation.SUSTAINED, insulation_strength * insulation.TOTAL


def bearing_area(pad: tuple[float, float], spread_thickness: float = 0.0) -> float:
    """Area [in2] a pad [in] presses on, a rigid board of a thickness [in] spreading it at 45 degrees (a judgement)."""
    return (pad[0] + 2 * spread_thickness) * (pad[1] + 2 * spread_thickness)
