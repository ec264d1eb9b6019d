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
from framing.reference import insulation, loads
from framing.reference.lumber import DRESSED, species_key

__all__ = [
    "AdjustedValues", "Beam", "Load", "MemberDesign", "Solution", "Strength", "Worst", "adjusted_values",
    "allowable_pressure", "allowable_span", "bearing_area", "notched_shear", "solve", "strength",
]  # fmt: skip

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

ON_ITS_PAD = 0.25  # an end this little past its pad's edge still lies on it [in]


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
    of squares, limit 1); notch : an end cut thinner over its pad, shear [psi] or depth [in], nothing where the cut is
    gradual; deflection_live, deflection_total : [in], total with creep; bearing : wood on pad [psi]; tip_load : a load
    on a free tip alone, the worst of bending and shear [psi] and sag [in]
    """

    bending: Worst
    shear: Worst
    taper: Worst
    deflection_live: Worst
    deflection_total: Worst
    bearing: Worst
    notch: Worst
    tip_load: Worst

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
    if not beams:
        nothing = Worst(*np.zeros((4, 0)))
        return Strength(*[nothing] * 8)
    at, starts = np.concatenate(solution.s), _starts([s.size for s in solution.s])
    along = _along(solution, designs)
    Fv, Fcp, pad = (np.array([getattr(held, name) for held in source]) for name, source in (
        ("Fv", [d.values for d in designs]), ("Fcp", [d.values for d in designs]), ("pad_length", designs)))
    Fb = np.array([d.values.Fb for d in designs])

    pads, pad_starts = np.concatenate([b.supports for b in beams]), _starts([len(b.supports) for b in beams])
    on = np.repeat(np.arange(len(beams)), np.diff(pad_starts))
    end, thickness = np.array([b.length for b in beams]), np.array([b.thickness for b in beams])
    bearing_length = np.minimum(pads + pad[on] / 2, end[on]) - np.maximum(pads - pad[on] / 2, 0)
    bearing = np.concatenate(solution.reaction_most) / (thickness[on] * bearing_length)
    return Strength(
        **{name: _worst(demand, limit, at, starts) for name, (demand, limit) in along.items()},
        bearing=_worst(bearing, Fcp[on], pads, pad_starts),
        notch=_notches(solution, beams, Fv, pad),
        tip_load=_tips(solution, end, Fb, Fv, pad),
    )


def _along(solution: Solution, designs: Sequence[MemberDesign]) -> dict[str, tuple[Floats, Floats]]:
    """Demand and limit at every station of every beam, one after another, of what is judged along a beam."""
    owner = np.repeat(np.arange(len(designs)), [s.size for s in solution.s])
    Fb, Fv, creep = (np.array([getattr(d.values, name) for d in designs])[owner] for name in ("Fb", "Fv", "kcr"))
    live_limit, total_limit = (np.array([getattr(d, name) for d in designs])[owner]
                               for name in ("live_limit", "total_limit"))
    bending, shear = np.concatenate(solution.bending_stress), np.concatenate(solution.shear_stress)
    slope, span = np.concatenate(solution.slope), np.concatenate(solution.span)
    dead, live = np.concatenate(solution.deflection_dead), np.concatenate(solution.deflection_live)
    # fx / Fx, fxy / Fxy and fy / Fy all go by the bending stress
    taper = bending**2 * (Fb**-2.0 + (slope**2 + (slope**2 / nds.TENSION_ACROSS_OVER_FV) ** 2) * Fv**-2.0)
    return {
        "bending": (bending, Fb), "shear": (shear, Fv), "taper": (taper, np.ones_like(taper)),
        "deflection_live": (live, span / live_limit),
        "deflection_total": (creep * np.maximum(dead, 0) + live, span / total_limit),
    }


def used_between_pads(solution: Solution, beams: Sequence[Beam], designs: Sequence[MemberDesign]) -> list[Floats]:
    """How far the wood of each beam is used in each of its spans, overhangs counted with the span beside them."""
    worst = np.maximum.reduce([demand / limit for demand, limit in _along(solution, designs).values()])
    starts = _starts([s.size for s in solution.s])
    found = []
    for k, beam in enumerate(beams):
        s, use = solution.s[k], worst[starts[k]:starts[k + 1]]
        at = np.searchsorted(s, beam.supports[:-1])
        at[0] = 0
        found.append(np.maximum.reduceat(use, at))
    return found


def _starts(sizes: Sequence[int]) -> Ints:
    return np.concatenate([[0], np.cumsum(sizes)]).astype(np.intp)


def _worst(demand: Floats, limit: Floats, at: Floats, starts: Ints) -> Worst:
    """The greatest demand to limit of each beam, whose values begin at `starts`; the first of equals."""
    ratio = demand / limit
    greatest = np.maximum.reduceat(ratio, starts[:-1])
    hits = np.flatnonzero(ratio == np.repeat(greatest, np.diff(starts)))
    index = hits[np.searchsorted(hits, starts[:-1])]
    return Worst(greatest, demand[index], limit[index], at[index])


def notched_shear(Fv: float, thickness: float, depth: float, left: float, *, cut: str = "square",
                  reach: float = 0.0) -> float:
    """Shear [lb] of an end of a depth [in] cut to what is `left` of it [in] (framing.reference.design_values).

    cut : "square" or "gradual" on the side in tension, "top" on the side in compression, there reaching so far in
    from the pad's edge [in]. Raises KeyError for another, ValueError unless 0 < left <= depth.
    """
    if not 0 < left <= depth:
        raise ValueError(f"{left} in left of {depth} in")
    shape = {
        "square": left * (left / depth) ** 2,
        "gradual": left,
        "top": depth - (depth - left) / left * min(reach, left),
    }
    return 2 / 3 * Fv * thickness * shape[cut]


def _notches(solution: Solution, beams: Sequence[Beam], Fv: Floats, pad: Floats) -> Worst:
    """Steps in the profile within a depth of an end pad, deepening inward: end notches on the side in tension.

    The underside is cut, and over an end pad it is in tension. A member that deepens no faster than 1 in 4 is not
    notched: its shear stress at its own depth says all.
    """
    ratio, demand, limit, place = np.zeros((4, len(beams)))
    limit[:] = Fv
    s, depth = np.concatenate([b.profile for b in beams]).T
    owner = np.repeat(np.arange(len(beams)), [len(b.profile) for b in beams])
    steep = (np.abs(np.diff(depth)) > nds.GRADUAL * np.diff(s) + 1e-9) & (owner[1:] == owner[:-1])
    for i in np.flatnonzero(steep):
        k, beam, left_end = owner[i], beams[owner[i]], depth[i + 1] > depth[i]
        thin, deep = (depth[i], depth[i + 1]) if left_end else (depth[i + 1], depth[i])
        corner = s[i] if left_end else s[i + 1]
        near = beam.supports[0] + pad[k] / 2 if left_end else beam.supports[-1] - pad[k] / 2
        beyond = corner - near if left_end else near - corner
        outside = corner < beam.supports[0] if left_end else corner > beam.supports[-1]
        if beyond > deep or outside:
            continue
        own = solution.s[k]
        between = (own <= corner + 1e-9) if left_end else (own >= corner - 1e-9)
        force = float(solution.shear[k][between].max(initial=0.0))
        stress = Fv[k] * force / notched_shear(float(Fv[k]), beam.thickness, float(deep), float(thin))
        for need, have in ((stress, Fv[k]), (deep - thin, nds.END_NOTCH * deep)):
            if need / have > ratio[k]:
                ratio[k], demand[k], limit[k], place[k] = need / have, need, have, corner
    return Worst(ratio, demand, limit, place)


def _tips(solution: Solution, length: Floats, Fb: Floats, Fv: Floats, pad: Floats) -> Worst:
    """A load on the free tip of each overhang; an end that lies on its pad is no free end."""
    tip = solution.tip
    sag_limit = np.maximum(tip.overhang / loads.TIP_DEFLECTION, loads.TIP_UNFELT)
    limit = np.stack([np.broadcast_to(Fb[:, None], sag_limit.shape), np.broadcast_to(Fv[:, None], sag_limit.shape),
                      sag_limit])
    # wood bends over the pad's edge, not its middle; a load nearer to the edge than the depth shears in that part only
    # (NDS 3.4.3.1, M)
    beyond = np.maximum(tip.overhang - pad[:, None] / 2, 0)
    ends = np.array([[d[0], d[-1]] for d in solution.depth])
    demand = np.stack([tip.bending * beyond / np.maximum(tip.overhang, 1e-9),
                       tip.shear * np.minimum(beyond / ends, 1), tip.deflection])  # (3, beams, 2)
    demand = demand * free_tips(tip.overhang, pad)
    ratio = (demand / limit).transpose(1, 2, 0).reshape(len(length), -1)
    k, i = np.arange(len(length)), np.argmax(ratio, axis=1)
    side, kind = i // 3, i % 3
    return Worst(ratio[k, i], demand[kind, k, side], limit[kind, k, side], side * length)


def free_tips(overhang: Floats, pad_length: Floats) -> Floats:
    """1 for an end (beams, 2) past the edge of the pad (beams,) [in] that it rests on, else 0."""
    return (overhang > pad_length[:, None] / 2 + ON_ITS_PAD).astype(float)


def allowable_pressure(insulation_strength: float) -> tuple[float, float]:
    """Pressure [psi] that insulation of a rated strength [psi] may bear: dead load alone, dead and live together.

    See framing.reference.insulation for the parts and their sources. Raises ValueError unless positive.
    """
    if not insulation_strength > 0:
        raise ValueError(f"insulation strength {insulation_strength} psi; it must be positive")
    return insulation_strength * insulation.SUSTAINED, insulation_strength * insulation.TOTAL


def bearing_area(pad: tuple[float, float], spread_thickness: float = 0.0) -> float:
    """Area [in2] that a pad [in] presses on under a rigid board of a thickness [in] (framing.reference.insulation)."""
    spread = 2 * min(spread_thickness, insulation.MOST_SPREAD)
    return (pad[0] + spread) * (pad[1] + spread)
