"""Continuous and tapered beams against published coefficients and an independent frame program."""

from dataclasses import replace
from fractions import Fraction as F

import numpy as np
import pytest

from framing.engine.beams import Beam, Load, solve
from framing.engine.structure import MemberDesign, adjusted_values, strength
from framing.reference.lumber import DRESSED
from tests.framing.frame_program import extrapolated, joist
from tests.framing.run_beams import AS_FAST, EQUAL, compare


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


# Simple beams of even depth, L = 48 in: kb and ks of the Wood Handbook (GTR-190) Table 9-1, the deflection being
# kb P L3 / EI, as every table of beam coefficients has them.
@pytest.mark.parametrize(
    ("load", "moment", "coefficient"),
    [("even", F(1, 8), F(5, 384)), ("middle", F(1, 4), F(1, 48)), ("quarters", F(1, 8) * 1, F(11, 768))],
)
def test_a_simple_beam_has_the_coefficients_of_the_wood_handbook(load, moment, coefficient):
    points = {"even": [], "middle": [[24.0, 144.0]], "quarters": [[12.0, 72.0], [36.0, 72.0]]}[load]
    width = 144.0 * 144 / 48 / 144 if load == "even" else 0.0
    beam = replace(prism(1, width=width), point_loads=np.array(points).reshape(-1, 2))
    found = solve([beam], Load(dead=100, live=0), 1.4e6)
    total, inertia = found.reaction[0].sum(), 1.5 * 3.5**3 / 12
    assert total == pytest.approx(100)
    assert found.moment_most[0].max() == pytest.approx(float(moment) * total * 48, rel=1e-9)
    middle = np.interp(24, found.s[0], found.deflection_dead[0])
    assert middle == pytest.approx(float(coefficient) * total * 48**3 / (1.4e6 * inertia), rel=1e-9)


def test_a_cantilever_past_its_pad_has_the_coefficients_of_the_tables():
    """w a2 / 2 at the pad; at the tip w a3 (4 L + 3 a) / 24 EI less w L3 a / 24 EI under w all along."""
    length, a, w, E, inertia = 48.0, 12.0, 45 * 16 / 144, 1.4e6, 1.5 * 3.5**3 / 12
    beam = Beam(length + a, np.array([[0, 3.5], [length + a, 3.5]]), np.array([0, length]), np.array([16.0]), 1.5)
    found = solve([beam], Load(dead=45, live=0), E)
    assert found.moment_least[0].min() == pytest.approx(-w * a**2 / 2)
    tip = w * a / (24 * E * inertia) * (a**2 * (4 * length + 3 * a) - length**3)
    assert found.deflection_dead[0][-1] == pytest.approx(tip)


def test_a_person_on_a_tip_bends_the_overhang_as_dca_6_has_it():
    """P a2 (L + a) / 3EI at the tip against a/180, 220 lb: the overhang columns of IRC 2015 R507.5, a = L/4."""
    E, inertia = 1.26e6, 1.5 * 5.5**3 / 12
    length = (48 * E * inertia / (900 * 220)) ** 0.5
    assert length == pytest.approx(79.7, abs=0.05)  # southern pine 2x6: printed 6-8
    a = length / 4
    beam = Beam(length + a, np.array([[0, 5.5], [length + a, 5.5]]), np.array([0, length]), np.array([0.0]), 1.5)
    found = solve([beam], Load(0, 0), E)
    assert found.tip.load == 220 and found.tip.overhang[0].tolist() == [0, pytest.approx(a)]
    assert found.tip.deflection[0, 1] == pytest.approx(a / 180)
    assert found.tip.bending[0, 1] == pytest.approx(220 * a / (1.5 * 5.5**2 / 6))
    assert found.tip.shear[0, 1] == pytest.approx(1.5 * 220 / (1.5 * 5.5))
    assert found.tip.lift[0, 1] == pytest.approx(-220 * a / length)
    used = strength(found, [beam], MemberDesign(adjusted_values("southern pine", "No.2", "2x6"), pad_length=6))
    assert used.tip_load.ratio[0] == pytest.approx(1.0) and used.tip_load.s[0] == pytest.approx(length + a)
    # the length of a quarter overhang by this sag, all species and sizes: IRC 2015's columns, feet-inches
    rows = {"southern pine": (80, 121, 174), "hem-fir": (75, 113, 163), "western cedars": (67, 102, 147)}
    for species, printed in rows.items():
        for size, inches in zip(("2x6", "2x8", "2x10"), printed, strict=True):
            values, depth = adjusted_values(species, "No.2", size), DRESSED[size][1]
            assert round((48 * values.E * 1.5 * depth**3 / 12 / (900 * 220)) ** 0.5) == inches


def test_a_point_load_stands_at_the_worst_of_its_places_and_not_with_live_load():
    """At the middle of either of two equal spans: 13/64 P L there, -3/32 P L over the pad (AISC Table 3-23)."""
    P, span, dead = 300.0, 48.0, 60.0
    w, heavy = dead * 16 / 144, Load(dead, 0, point=P)  # so heavy that no pad lifts
    found = solve([prism(2)], heavy, 1.4e6)
    s = found.s[0]
    assert found.moment_most[0][s == 24].max() == pytest.approx(w * span**2 / 16 + 13 / 64 * P * span)
    assert found.moment_least[0][s == 48].min() == pytest.approx(-w * span**2 / 8 - 3 / 32 * P * span)
    assert found.shear[0].max() == pytest.approx(5 / 8 * w * span + 19 / 32 * P)
    assert found.lift[0] - solve([prism(2)], Load(dead, 0), 1.4e6).reaction[0] == pytest.approx(
        [-3 / 32 * P, 0, -3 / 32 * P])
    assert found.reaction_most[0] - found.reaction_dead[0] == pytest.approx([P, P, P])  # standing over each
    both, live = solve([prism(2)], Load(dead, 40, point=P), 1.4e6), solve([prism(2)], Load(dead, 40), 1.4e6)
    for name, worse in (("moment_most", np.maximum), ("moment_least", np.minimum), ("shear", np.maximum),
                        ("deflection_live", np.maximum)):
        assert getattr(both, name)[0] == pytest.approx(worse(getattr(found, name)[0], getattr(live, name)[0])), name
    # without a weight to hold the far pad down the span stands alone: P L / 4, P L3 / 48 EI
    light = solve([prism(2)], Load(0, 0, point=P), 1.4e6)
    assert light.moment_most[0].max() == pytest.approx(P * span / 4)
    assert light.deflection_live[0].max() == pytest.approx(P * span**3 / (48 * 1.4e6 * 1.5 * 3.5**3 / 12), rel=1e-3)


def test_what_is_added_counts_for_the_worst_and_stays_out_of_the_plain_reaction():
    """Half the dead load of two spans again on the first, for good; as much live load on the second, at times."""
    plain = replace(prism(2), width=np.full(96, 16.0))
    w = 20 * 16 / 144
    on = np.arange(96) < 48
    beam = replace(plain, added=np.stack([w / 2 * on, w * ~on]), added_points=np.array([[0.0, 7.0, 11.0]]))
    load = Load(dead=20, live=20)
    bare, found = solve([plain], load, 1.4e6), solve([beam], load, 1.4e6)
    assert found.reaction[0] == pytest.approx(bare.reaction[0])
    # one span loaded: 7/16, 5/8, -1/16 of its load
    assert found.reaction_dead[0] - bare.reaction_dead[0] == pytest.approx(
        np.array([7 / 16, 5 / 8, -1 / 16]) * w / 2 * 48 + [7, 0, 0])
    # the middle pad is worst under all of it
    assert found.reaction_most[0][1] - bare.reaction_most[0][1] == pytest.approx(5 / 8 * 1.5 * w * 48)
    assert found.reaction_most[0][0] - bare.reaction_most[0][0] == pytest.approx(7 / 16 * w / 2 * 48 + 18)


@pytest.mark.parametrize("seed", range(50))
def test_random_tapered_joists_under_patterns_agree_with_an_independent_frame_program(seed):
    """Reactions, moments, shears and deflections by PyNite, the taper as ever finer prisms, within 0.1 %."""
    random = np.random.default_rng(seed)
    beam, load, E = joist(random, (2, 2, 3, 3, 4)[seed % 5]), Load(70, 40), 1.26e6
    found, other = solve([beam], load, E), extrapolated(beam, load, E, elements=8)
    near = 1e-3 * found.reaction[0].max()
    assert found.reaction[0] == pytest.approx(other.reactions.sum(axis=0), abs=near)
    assert found.reaction_dead[0] == pytest.approx(other.reactions[0], abs=near)
    assert found.lift[0] == pytest.approx(other.least("reactions"), abs=near)
    if found.lift[0].min() < 0:  # that program lets no pad go
        return
    assert found.reaction_most[0] == pytest.approx(other.most("reactions"), abs=near)
    s = found.s[0]
    moment = {"moment_most": other.most("moment")[0], "moment_least": other.least("moment")[0]}
    greatest = max(abs(v).max() for v in moment.values())
    for name, theirs in moment.items():
        assert np.interp(other.s, s, getattr(found, name)[0]) == pytest.approx(theirs, abs=1e-3 * greatest), name
    shear = np.maximum(abs(other.most("shear")), abs(other.least("shear")))[0]
    right_of = np.interp(other.s + 1e-6, s, found.shear[0])
    assert right_of == pytest.approx(shear, abs=1e-3 * shear.max())
    live = np.maximum(other.deflection[1:], 0).sum(axis=0)
    for name, theirs in (("deflection_dead", other.deflection[0]), ("deflection_live", live)):
        assert np.interp(other.s, s, getattr(found, name)[0]) == pytest.approx(theirs, abs=1e-3 * abs(theirs).max())


def test_many_spans_take_a_small_part_of_a_frame_program_s_time_and_are_the_same():
    """Eight stepped elements a span. The bar, 300 times as fast, is for 60 joists (`python -m tests.framing.run_beams
    60` fails under it); a dozen bear more of what is the same for any number, on a busy machine at that."""
    found = compare(12)
    assert found.reactions < EQUAL
    assert max(found.moments, found.shears, found.deflections) < 1e-8
    assert found.times_as_fast >= AS_FAST / 2
