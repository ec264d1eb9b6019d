"""Continuous and tapered beams against published coefficients and an independent frame program."""

from fractions import Fraction as F

import numpy as np
import pytest
from Pynite import FEModel3D

from framing.engine.structure import Beam, Load, MemberDesign, adjusted_values, solve, strength


def prism(spans: int, span: float = 48.0, depth: float = 3.5, width: float = 16.0) -> Beam:
    length = spans * span
    return Beam(
        length=length,
        profile=np.array([[0.0, depth], [length, depth]]),
        supports=np.linspace(0.0, length, spans + 1),
        width=np.array([width]),
        thickness=1.5,
    )


def taper(length: float, thin: float, thick: float, supports: list[float]) -> Beam:
    return Beam(length, np.array([[0.0, thin], [length, thick]]), np.array(supports), np.array([16.0]), 1.5)


# Equal spans l under w on all of them, exact fractions of w l and w l2: three-moment equation; the same cases
# as AISC Manual Tables 3-22 and 3-23 and AWC Design Aid 6 figure 29.
EQUAL_SPANS = {
    1: ([F(1, 2), F(1, 2)], [0, 0], F(1, 8), 0.013021),
    2: ([F(3, 8), F(5, 4), F(3, 8)], [0, F(-1, 8), 0], F(9, 128), 0.005416),
    3: ([F(2, 5), F(11, 10), F(11, 10), F(2, 5)], [0, F(-1, 10), F(-1, 10), 0], F(8, 100), 0.006884),
    4: (
        [F(11, 28), F(8, 7), F(13, 14), F(8, 7), F(11, 28)],
        [0, F(-3, 28), F(-1, 14), F(-3, 28), 0],
        0.07717,
        0.006460,
    ),
    5: (
        [F(15, 38), F(43, 38), F(37, 38), F(37, 38), F(43, 38), F(15, 38)],
        [0, F(-2, 19), F(-3, 38), F(-3, 38), F(-2, 19), 0],
        0.07791,
        0.006572,
    ),
}


@pytest.mark.parametrize("spans", EQUAL_SPANS)
def test_equal_spans_have_the_coefficients_of_the_tables(spans):
    reactions, over_pads, sag, deflection = EQUAL_SPANS[spans]
    span, w, E, inertia = 48.0, 45 * 16 / 144, 1.4e6, 1.5 * 3.5**3 / 12
    found = solve([prism(spans)], Load(dead=45, live=0), E)
    assert found.reaction[0] == pytest.approx([float(r) * w * span for r in reactions], rel=1e-9)
    at_pads = [found.moment_most[0][np.argmin(abs(found.s[0] - i * span))] for i in range(spans + 1)]
    assert at_pads == pytest.approx([float(m) * w * span**2 for m in over_pads], rel=1e-9, abs=1e-6)
    # the greatest sag and deflection lie between stations, which are 1/48 of a span apart
    assert found.moment_most[0].max() == pytest.approx(float(sag) * w * span**2, rel=1e-3)
    assert found.deflection_dead[0].max() == pytest.approx(deflection * w * span**4 / (E * inertia), rel=1e-3)


def test_the_worst_pattern_of_loaded_spans_is_the_one_of_the_tables():
    """Live load on any subset of spans, exact fractions by the three-moment equation."""
    w, span = 40 * 16 / 144, 48.0
    two, three = solve([prism(2), prism(3)], Load(dead=0, live=40), 1.4e6).lift
    assert two[0] == pytest.approx(-w * span / 16)  # one of two spans loaded: the far end pulls up
    assert three[0] == pytest.approx(-w * span / 20)  # the middle of three
    found = solve([prism(3), prism(4)], Load(dead=20, live=40), 1.4e6)
    hold = solve([prism(3)], Load(dead=1000, live=40), 1.4e6)  # so heavy that no pad lifts
    assert hold.reaction_most[0][1] == pytest.approx((1000 * F(11, 10) + 40 * F(6, 5)) * 16 / 144 * span)
    assert found.moment_least[0].min() == pytest.approx(-(0.1 * 20 + 7 / 60 * 40) * 16 / 144 * span**2)
    assert found.moment_least[1].min() == pytest.approx(-(3 / 28 * 20 + 27 / 224 * 40) * 16 / 144 * span**2)
    assert found.reaction_most[1][1] == pytest.approx((8 / 7 * 20 + 137 / 112 * 40) * 16 / 144 * span)
    # end spans loaded: end reaction 2/5 dead and 9/20 live, sag R2 / 2w where the shear is nothing
    end, w_total = (0.4 * 20 + 0.45 * 40) * 16 / 144 * span, 60 * 16 / 144
    assert found.moment_most[0].max() == pytest.approx(end**2 / (2 * w_total), rel=1e-3)


# Simple tapered beam under an even load, depth from h0 to r h0: found by adaptive quadrature and a 960-element
# cubic finite element model. x of greatest stress, stress, mid and greatest deflection over those of h0.
TAPERED = {
    1.0: (0.5, 1.0, 1.0, 1.0, 0.5),
    1.25: (0.4444, 0.8, 0.70864, 0.70993, 0.4805),
    1.5: (0.4, 0.6667, 0.52722, 0.53037, 0.4646),
    1.75: (0.3636, 0.5714, 0.40654, 0.41114, 0.4513),
    2.0: (0.3333, 0.5, 0.32224, 0.32779, 0.4398),
    2.5: (0.2857, 0.4, 0.21539, 0.22175, 0.4210),
    3.0: (0.25, 0.3333, 0.15298, 0.15934, 0.4058),
}


@pytest.mark.parametrize("ratio", TAPERED)
def test_a_tapered_simple_beam_matches_quadrature(ratio):
    x_stress, stress, middle, most, x_most = TAPERED[ratio]
    L, h0, w, E = 96.0, 3.5, 50 * 16 / 144, 1.26e6
    found = solve([taper(L, h0, ratio * h0, [0, L])], Load(dead=50, live=0), E)
    s, deflection = found.s[0], found.deflection_dead[0]
    prism_stress, prism_deflection = w * L**2 / 8 / (1.5 * h0**2 / 6), 5 * w * L**4 / (384 * E * 1.5 * h0**3 / 12)
    assert found.bending_stress[0].max() == pytest.approx(stress * prism_stress, rel=6e-4)
    assert s[found.bending_stress[0].argmax()] / L == pytest.approx(x_stress, abs=1 / 48)
    assert np.interp(L / 2, s, deflection) == pytest.approx(middle * prism_deflection, rel=1e-4)
    assert deflection.max() == pytest.approx(most * prism_deflection, rel=6e-4)
    assert s[deflection.argmax()] / L == pytest.approx(x_most, abs=1 / 48)


def test_the_greatest_stress_of_a_linear_taper_is_the_closed_form():
    """3 w L2 / (4 b h0 hL) at L h0 / (h0 + hL) from the thin end: exact, by setting the stress's slope to nothing."""
    found = solve([taper(96, 3.5, 5.5, [0, 96])], Load(dead=10, live=40), 1.26e6)
    at = found.bending_stress[0].argmax()
    assert found.bending_stress[0][at] == pytest.approx(1329.87, rel=1e-4)
    assert found.s[0][at] == pytest.approx(37.333, abs=1.0)
    # quadrature and a 960-element finite element model
    total = found.deflection_dead[0] + found.deflection_live[0]
    assert np.interp(48, found.s[0], total) == pytest.approx(0.44391, rel=1e-4)
    assert total.max() == pytest.approx(0.44721, rel=5e-4)
    assert found.deflection_live[0].max() == pytest.approx(0.35777, rel=5e-4)
    assert found.reaction[0] == pytest.approx([266.667, 266.667], rel=1e-5)


def test_a_taper_over_three_spans_matches_the_force_method():
    """1/4 in per ft from 2 to 5 in over three spans of 48 in; force method to 1e-6, a 288-element model agrees."""
    beam = taper(144, 2, 5, [0, 48, 96, 144])
    found = solve([beam], Load(dead=50, live=0), 1.26e6)
    assert found.reaction[0] == pytest.approx([101.076, 308.433, 279.906, 110.585], abs=6e-4)
    s, moment = found.s[0], found.moment_most[0]
    assert np.interp([48, 96], s, moment) == pytest.approx([-1548.36, -1091.93], abs=6e-3)
    assert moment[s < 48].max() == pytest.approx(919.47, rel=1e-3)
    assert moment[s > 96].max() == pytest.approx(1100.61, rel=1e-3)
    assert found.bending_stress[0].max() == pytest.approx(688.16, rel=1e-5)
    assert s[found.bending_stress[0].argmax()] == pytest.approx(48)
    assert found.deflection_dead[0].max() == pytest.approx(0.07978, rel=5e-4)
    assert found.deflection_dead[0].min() == pytest.approx(-0.0056, abs=5e-5)

    used = strength(found, [beam], MemberDesign(adjusted_values("southern pine", "No.2", "2x8"), pad_length=6))
    assert used.bending.ratio[0] == pytest.approx(0.647, abs=5e-4)
    assert used.shear.demand[0] == pytest.approx(55.2, abs=0.05)
    assert used.shear.ratio[0] == pytest.approx(0.325, abs=5e-4)
    # fx, fxy, fy together; 0.4256 without the tension across the grain, which adds 3e-5
    assert used.taper.ratio[0] == pytest.approx(0.4256, abs=1e-4)


def by_frame_program(beam: Beam, line_load: float, E: float, parts: int = 120) -> tuple[list[float], float]:
    """Reactions and greatest downward deflection by PyNite, the taper as many prisms of their middle's depth."""
    model = FEModel3D()
    model.add_material("wood", E, E / 16, 0.3, 0.0)
    at = np.unique(np.concatenate([np.linspace(0, beam.length, parts + 1), beam.supports, beam.profile[:, 0]]))
    for i, s in enumerate(at):
        model.add_node(f"N{i}", float(s), 0.0, 0.0)
    pads = [int(np.argmin(abs(at - s))) for s in beam.supports]
    for i in pads:
        model.def_support(f"N{i}", i == pads[0], True, True, True, False, False)
    middle = np.interp((at[1:] + at[:-1]) / 2, beam.profile[:, 0], beam.profile[:, 1])
    for i, depth in enumerate(middle):
        section = f"S{i}"
        model.add_section(section, 1.5 * depth, depth * 1.5**3 / 12, 1.5 * depth**3 / 12, 1.0)
        model.add_member(f"M{i}", f"N{i}", f"N{i + 1}", "wood", section)
        model.add_member_dist_load(f"M{i}", "FY", -line_load, -line_load)
    model.analyze_linear(check_stability=False)
    reactions = [float(model.nodes[f"N{i}"].RxnFY["Combo 1"]) for i in pads]
    return reactions, -min(float(node.DY["Combo 1"]) for node in model.nodes.values())


@pytest.mark.parametrize("seed", range(4))
def test_random_tapered_beams_with_overhangs_agree_with_an_independent_frame_program(seed):
    random = np.random.default_rng(seed)
    gaps = random.uniform(20, 60, random.integers(2, 5))
    overhang = random.uniform(0, 12, 2)
    length = float(gaps.sum() + overhang.sum())
    supports = overhang[0] + np.concatenate([[0.0], np.cumsum(gaps)])
    profile = np.column_stack([[0.0, length * random.uniform(0.3, 0.7), length], random.uniform(2, 7, 3)])
    beam = Beam(length, profile, supports, np.array([16.0]), 1.5)
    found = solve([beam], Load(dead=45, live=0), 1.26e6)
    reactions, deflection = by_frame_program(beam, 45 * 16 / 144, 1.26e6)
    # the steps of the prisms cost the frame program about 1e-4 of the load
    assert found.reaction[0] == pytest.approx(reactions, abs=5e-4 * sum(reactions))
    assert found.deflection_dead[0].max() == pytest.approx(deflection, rel=5e-3)
