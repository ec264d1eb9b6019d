"""Beams worked by an independent frame program (PyNite), a prism an element, one load case for each loaded region."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from Pynite import FEModel3D

from framing.engine.beams import Beam, Load

Floats = NDArray[np.float64]

SLIVER = 0.5  # no element is shorter [in]


@dataclass(frozen=True)
class Cases:
    """Dead load first, then live load on each span and overhang that there is.

    reactions : (cases, pads); s : (nodes,); moment : (cases, 2, elements) at either end of each, sagging positive;
    shear : likewise, up on the left positive; deflection : (cases, nodes), downward positive
    """

    reactions: Floats
    s: Floats
    moment: Floats
    shear: Floats
    deflection: Floats

    def most(self, name: str) -> Floats:
        values: Floats = getattr(self, name)
        return values[0] + np.maximum(values[1:], 0).sum(axis=0)

    def least(self, name: str) -> Floats:
        values: Floats = getattr(self, name)
        return values[0] + np.minimum(values[1:], 0).sum(axis=0)


def regions(beam: Beam) -> list[tuple[float, float]]:
    at = [0.0, *beam.supports, beam.length]
    return [(a, b) for a, b in zip(at[:-1], at[1:], strict=True) if b - a > 1e-9]


def nodes(beam: Beam, elements: int) -> Floats:
    """Ends of as many elements in each span, a quarter of them in each overhang, and the knots of the profile.

    What would leave a sliver gives way to a knot, and a knot to a pad: the equations do not bear a sliver.
    """
    ends = np.unique([x for region in regions(beam) for x in region])
    spans = [(a, b, elements if a in beam.supports and b in beam.supports else elements // 4) for a, b in regions(beam)]
    cuts = np.concatenate([np.linspace(a, b, n + 1)[1:-1] for a, b, n in spans])
    kept = ends
    for more in (np.unique(beam.profile[:, 0]), cuts):
        kept = np.sort(np.concatenate([kept, more[abs(more[:, None] - kept).min(axis=1) > SLIVER]]))
    return kept


def by_frame_program(beam: Beam, load: Load, E: float, elements: int) -> Cases:
    """The cases of a beam of even tributary width, each element a prism that gives as much as the taper in it does.

    That is of 1/I meaned along the element: for a depth going straight from d to e, I = b/12 2 d2 e2 / (d + e).
    """
    s = nodes(beam, elements)
    model = FEModel3D()
    model.add_material("wood", E, E / 16, 0.3, 0.0)
    for i, x in enumerate(s):
        model.add_node(f"N{i}", float(x), 0.0, 0.0)
    pads = [int(np.argmin(abs(s - p))) for p in beam.supports]
    for i in pads:
        model.def_support(f"N{i}", i == pads[0], True, True, True, False, False)
    middle = (s[1:] + s[:-1]) / 2
    left, right = (np.interp(at, *beam.profile.T) for at in (s[:-1] + 1e-7, s[1:] - 1e-7))
    live_on = np.searchsorted([a for a, _ in regions(beam)], middle, side="right") - 1
    cases = ["D", *(f"L{k}" for k in range(len(regions(beam))))]
    for case in cases:
        model.add_load_combo(case, {case: 1.0})
    b, width = beam.thickness, float(beam.width[0]) / 144
    for i, (d, e) in enumerate(zip(left, right, strict=True)):
        inertia = b / 12 * 2 * d**2 * e**2 / (d + e)
        model.add_section(f"S{i}", b * d, d * b**3 / 12, inertia, 1.0)
        model.add_member(f"M{i}", f"N{i}", f"N{i + 1}", "wood", f"S{i}")
        model.add_member_dist_load(f"M{i}", "FY", -load.dead * width, -load.dead * width, case="D")
        model.add_member_dist_load(f"M{i}", "FY", -load.live * width, -load.live * width, case=f"L{live_on[i]}")
    model.analyze_linear(check_stability=False)
    forces = np.array([[model.members[f"M{i}"].f(case)[:, 0] for i in range(left.size)] for case in cases])
    return Cases(
        reactions=np.array([[float(model.nodes[f"N{i}"].RxnFY[case]) for i in pads] for case in cases]),
        s=s,
        moment=np.stack([-forces[..., 5], forces[..., 11]], axis=1),
        shear=np.stack([forces[..., 1], -forces[..., 7]], axis=1),
        deflection=np.array([[-float(model.nodes[f"N{i}"].DY[case]) for i in range(s.size)] for case in cases]),
    )


def extrapolated(beam: Beam, load: Load, E: float, elements: int) -> Cases:
    """What the prisms tend to as they are made finer: Richardson's extrapolation of so many and of twice as many.

    Given at the starts of the coarser elements alone: moment and shear are (cases, 1, elements).
    """
    coarse, fine = by_frame_program(beam, load, E, elements), by_frame_program(beam, load, E, 2 * elements)
    i, j = np.nonzero(abs(coarse.s[:-1, None] - fine.s[:-1]) < 1e-6)

    def better(name: str, i: object = slice(None), j: object = slice(None)) -> Floats:
        return np.asarray((4 * getattr(fine, name)[..., j] - getattr(coarse, name)[..., i]) / 3)

    return Cases(better("reactions"), coarse.s[i], better("moment", i, j)[:, :1], better("shear", i, j)[:, :1],
                 better("deflection", i, j))


def stepped(beam: Beam, elements: int) -> Beam:
    """The beam as that program has it: prisms, with a step in depth between any two."""
    s = nodes(beam, elements)
    depth = np.interp((s[1:] + s[:-1]) / 2, beam.profile[:, 0], beam.profile[:, 1])
    profile = np.column_stack([np.repeat(s, 2)[1:-1], np.repeat(depth, 2)])
    return Beam(beam.length, profile, beam.supports, beam.width, beam.thickness)


def joist(random: np.random.Generator, spans: int, overhangs: bool = True) -> Beam:
    """A ripped joist of so many spans of 20 to 60 in, two straight cuts from 2 to 7 in deep."""
    gaps = random.uniform(20, 60, spans)
    left, right = random.choice([0.0, 3.0, 8.0], 2) if overhangs else (0.0, 0.0)
    length = float(gaps.sum() + left + right)
    knots = [0.0, length * random.uniform(0.3, 0.7), length]
    profile = np.column_stack([knots, random.uniform(2, 7, 3)])
    return Beam(length, profile, left + np.concatenate([[0.0], np.cumsum(gaps)]), np.array([16.0]), 1.5)
