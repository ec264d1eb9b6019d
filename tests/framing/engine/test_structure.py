"""Tapered beams over their pads: reactions, strength at both grades, bearing on the insulation."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from framing.engine.structure import (
    Beam,
    Load,
    MemberDesign,
    adjusted_values,
    allowable_pressure,
    allowable_span,
    bearing_area,
    solve,
    strength,
)
from framing.reference.design_values import grade_key, size_key
from framing.reference.lumber import species_key

E = 1.26e6
STATIONS = ("moment_most", "moment_least", "shear", "bending_stress", "deflection_dead", "deflection_live")
PADS = ("reaction", "reaction_dead", "reaction_most", "lift")


@st.composite
def beams(draw, overhangs: bool = True) -> Beam:
    number = st.floats
    spans = draw(st.lists(number(12, 60), min_size=1, max_size=6))
    left = draw(number(0, 10)) if overhangs else 0.0
    right = draw(st.sampled_from([0.0, 6.0])) if overhangs else 0.0
    supports = left + np.concatenate([[0.0], np.cumsum(spans)])
    length = float(supports[-1] + right)
    knots = sorted({0.0, length, *(length * f for f in draw(st.lists(number(0.05, 0.95), max_size=2)))})
    depths = draw(st.lists(number(1.5, 9), min_size=len(knots), max_size=len(knots)))
    points = draw(st.lists(st.tuples(number(0, 1), number(0, 300)), max_size=3))
    return Beam(
        length=length,
        profile=np.column_stack([knots, depths]),
        supports=supports,
        width=np.array(draw(st.lists(number(2, 16), min_size=1, max_size=7))),
        thickness=1.5,
        point_loads=np.array([(s * length, area) for s, area in points]).reshape(-1, 2),
        density=draw(st.sampled_from([0.0, 37.3])),
    )


def simple(length: float = 48.0, depth: float = 3.5, width: float = 16.0, **fields) -> Beam:
    profile = np.array([[0.0, depth], [length, depth]])
    supports = fields.pop("supports", [0.0, length])
    return Beam(length, profile, np.array(supports), np.array([width]), 1.5, **fields)


def volume(beam: Beam) -> float:
    return float(np.trapezoid(beam.profile[:, 1], beam.profile[:, 0]) * beam.thickness)


@settings(max_examples=60, deadline=None)
@given(st.lists(beams(), min_size=1, max_size=4))
def test_reactions_carry_the_whole_load(batch):
    found = solve(batch, Load(12, 60), E)
    for beam, reaction, dead in zip(batch, found.reaction, found.reaction_dead, strict=True):
        area = beam.width.mean() * beam.length + beam.point_loads[:, 1].sum()
        own = beam.density * volume(beam) / 1728
        assert reaction.sum() == pytest.approx(72 * area / 144 + own, rel=1e-9)
        assert dead.sum() == pytest.approx(12 * area / 144 + own, rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.lists(beams(), min_size=2, max_size=4))
def test_a_beam_alone_and_in_company_is_the_same(batch):
    together = solve(batch, Load(10, 100), E)
    for i, beam in enumerate(batch):
        alone = solve([beam], Load(10, 100), E)
        for name in (*PADS, *STATIONS):
            one, many = getattr(alone, name)[0], getattr(together, name)[i]
            assert one == pytest.approx(many, rel=1e-6, abs=1e-6 * (1 + abs(many).max())), name
        assert alone.tips[0] == together.tips[i]


@settings(max_examples=40, deadline=None)
@given(beams())
def test_a_beam_turned_end_for_end_is_the_same_turned(beam):
    turned = replace(
        beam,
        profile=np.column_stack([beam.length - beam.profile[::-1, 0], beam.profile[::-1, 1]]),
        supports=beam.length - beam.supports[::-1],
        width=beam.width[::-1],
        point_loads=np.column_stack([beam.length - beam.point_loads[:, 0], beam.point_loads[:, 1]]),
    )
    there, back = solve([beam], Load(10, 60), E), solve([turned], Load(10, 60), E)
    # a load on a pad belongs to the span after it, so patterns agree only where none stands on one
    names = PADS if not np.isclose(beam.point_loads[:, :1], beam.supports, atol=1e-3).any() else ("reaction",)
    for name in names:
        one, two = getattr(there, name)[0], getattr(back, name)[0][::-1]
        assert one == pytest.approx(two, rel=1e-5, abs=1e-5 * (1 + abs(one).max())), name


@settings(max_examples=40, deadline=None)
@given(beams(overhangs=False), st.floats(0.1, 0.9))
def test_a_profile_and_widths_cut_finer_change_nothing(beam, where):
    s = where * beam.length
    depth = np.interp(s, beam.profile[:, 0], beam.profile[:, 1])
    k = np.searchsorted(beam.profile[:, 0], s)
    finer = replace(beam, profile=np.insert(beam.profile, k, [s, depth], axis=0), width=np.repeat(beam.width, 3))
    one, two = solve([beam], Load(10, 40), E), solve([finer], Load(10, 40), E)
    assert one.reaction[0] == pytest.approx(two.reaction[0], rel=1e-5, abs=1e-4)
    assert one.reaction_most[0] == pytest.approx(two.reaction_most[0], rel=1e-5, abs=1e-4)


def test_the_worst_pattern_is_found_among_all_of_them():
    """Every one of the 2^4 subsets of loaded spans solved on its own, as a dead load that goes by the span."""
    supports = np.array([0.0, 40.0, 90.0, 120.0, 170.0])
    profile = np.array([[0.0, 3.0], [100.0, 6.0], [170.0, 3.5]])
    dead, live = 60.0, 40.0  # heavy enough that no pad lifts
    beam = Beam(170.0, profile, supports, np.array([16.0]), 1.5)
    span = np.searchsorted(supports, np.arange(170) + 0.5) - 1
    subsets = [
        replace(beam, width=16.0 * (dead + live * np.array(on)[span]) / 100) for on in product((0, 1), repeat=4)
    ]
    found, each = solve([beam], Load(dead, live), E), solve(subsets, Load(100, 0), E)
    reactions = np.array(each.reaction)
    assert found.reaction_most[0] == pytest.approx(reactions.max(axis=0))
    assert found.lift[0] == pytest.approx(reactions.min(axis=0))
    s = np.linspace(0, 170, 171)
    moment = np.array([np.interp(s, a, m) for a, m in zip(each.s, each.moment_most, strict=True)])
    between_stations = 2e-3 * abs(moment).max()
    assert np.interp(s, found.s[0], found.moment_most[0]) == pytest.approx(moment.max(axis=0), abs=between_stations)
    assert np.interp(s, found.s[0], found.moment_least[0]) == pytest.approx(moment.min(axis=0), abs=between_stations)
    sag = np.array([np.interp(s, a, d) for a, d in zip(each.s, each.deflection_dead, strict=True)])
    live_sag = np.interp(s, found.s[0], found.deflection_live[0])
    assert live_sag == pytest.approx((sag - sag[0]).max(axis=0), abs=1e-3 * sag.max())


def test_a_lifting_pad_is_let_go_and_its_neighbours_take_the_rest():
    """Live load on the long span alone pulls the short span's end up: the same as a beam without that pad."""
    beam = simple(60.0, supports=[0.0, 10.0, 60.0])
    load = Load(1.0, 60.0)
    found = solve([beam], load, E)
    assert found.lift[0][0] < 0
    # without the first pad: an overhang of 10 in with dead load, 50 in of span with both
    w_dead, w_all, a, span = 16 / 144, 61 * 16 / 144, 10.0, 50.0
    moment = w_dead * a**2 / 2
    far = w_all * span / 2 - moment / span
    assert found.reaction_most[0][2] == pytest.approx(far, rel=1e-9)
    held = w_all * span / 2 - -solve([beam], Load(1.0, 60.0), E).moment_least[0].min() / span
    assert far > held
    sag = w_all * span**2 / 8 - moment / 2 + moment**2 / (2 * w_all * span**2)
    assert found.moment_most[0].max() == pytest.approx(sag, rel=1e-3)
    assert not found.tips[0]


@settings(max_examples=40, deadline=None)
@given(beams())
def test_letting_pads_go_never_eases_the_worst(beam):
    found = solve([beam], Load(5, 100), E)
    assert np.all(found.reaction_most[0] >= found.reaction[0] - 1e-6)
    assert np.all(found.reaction_most[0] >= found.lift[0] - 1e-6)
    assert np.all(found.moment_most[0] >= found.moment_least[0] - 1e-6)
    assert np.all(np.isfinite(found.bending_stress[0]))


def test_a_beam_that_its_overhang_would_tip_is_said_to_tip():
    tipping, standing = simple(60.0, supports=[0.0, 25.0]), simple(60.0, supports=[0.0, 50.0])
    assert solve([tipping, standing], Load(10, 40), E).tips.tolist() == [True, False]


def test_a_load_hung_on_a_pad_goes_straight_into_it():
    bare = solve([simple()], Load(10, 40), E)
    hung = solve([simple(point_loads=np.array([[0.0, 144.0], [48.0, 288.0]]))], Load(10, 40), E)
    assert hung.reaction[0] - bare.reaction[0] == pytest.approx([50, 100])
    assert hung.moment_most[0] == pytest.approx(bare.moment_most[0])


def test_a_load_hung_at_midspan_bends_by_pl_over_4():
    hung = solve([simple(width=0.0, point_loads=np.array([[24.0, 144.0]]))], Load(0, 200), E)
    assert hung.moment_most[0].max() == pytest.approx(200 * 48 / 4)
    assert hung.deflection_live[0].max() == pytest.approx(200 * 48**3 / (48 * E * 1.5 * 3.5**3 / 12))


def test_the_tip_of_an_overhang_sinks_as_the_span_behind_it_turns():
    """P a2 (L + a) / 3EI at the tip, held against twice the overhang."""
    beam = simple(60.0, width=0.0, supports=[0.0, 48.0], point_loads=np.array([[60.0, 144.0]]))
    found = solve([beam], Load(100, 0), E)
    inertia = 1.5 * 3.5**3 / 12
    assert found.deflection_dead[0][-1] == pytest.approx(100 * 12**2 * 60 / (3 * E * inertia))
    assert found.span[0][-1] == pytest.approx(24)
    assert found.reaction[0] == pytest.approx([-100 * 12 / 48, 100 * 60 / 48])


def test_deflection_goes_by_e_of_each_beam_and_reactions_do_not():
    found = solve([simple(), simple()], Load(10, 40), np.array([1e6, 2e6]))
    assert found.deflection_live[0].max() == pytest.approx(2 * found.deflection_live[1].max())
    assert found.reaction[0] == pytest.approx(found.reaction[1])


def test_a_step_in_depth_is_seen_from_both_its_sides():
    beam = replace(simple(), profile=np.array([[0, 3.5], [24, 3.5], [24, 2.0], [48, 2.0]], dtype=float))
    found = solve([beam], Load(10, 40), E)
    assert found.bending_stress[0].max() == pytest.approx(50 * 16 / 144 * 48**2 / 8 / (1.5 * 2.0**2 / 6))
    assert sorted(set(found.depth[0].round(9))) == [2.0, 3.5]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"supports": np.array([0.0])}, "1 support"),
        ({"supports": np.array([0.0, 30.0, 30.0])}, "must rise"),
        ({"supports": np.array([0.0, 50.0])}, "within 0 and 48"),
        ({"profile": np.array([[0.0, 3.5], [48.0, 0.0]])}, "depth 0.0"),
        ({"profile": np.array([[0.0, 3.5], [40.0, 3.5]])}, "run from 0 to 48"),
        ({"profile": np.array([[0.0, 3.5], [48.0, np.nan]])}, "depth nan"),
        ({"width": np.array([-1.0])}, "widths"),
        ({"length": 0.0}, "length 0.0"),
        ({"point_loads": np.array([[60.0, 10.0]])}, "point load outside"),
        ({"added_points": np.array([[60.0, 10.0, 0.0]])}, "point load outside"),
        ({"added": np.full((2, 3), 1.0)}, "added loads of shape"),
        ({"added": np.array([[-1.0], [0.0]])}, "not negative"),
    ],
)
def test_what_cannot_be_a_beam_is_refused_by_its_number(change, words):
    with pytest.raises(ValueError, match=f"beam 1: .*{words}"):
        solve([simple(), replace(simple(), **change)], Load(10, 40), E)


def test_no_beams_are_no_work():
    found = solve([], Load(10, 40), E)
    assert found.reaction == []
    assert strength(found, [], MemberDesign(adjusted_values("SYP", "No.2", "2x6"), 6)).passes.size == 0


def test_strength_names_the_check_that_governs_and_where():
    values = adjusted_values("southern pine", "No.2", "2x8")
    beam = simple(60.0, depth=3.5)
    used = strength(solve([beam], Load(10, 40), values.E), [beam], MemberDesign(values, pad_length=6.0))
    bending = 50 * 16 / 144 * 60**2 / 8 / (1.5 * 3.5**2 / 6)
    assert used.bending.ratio[0] == pytest.approx(bending / values.Fb)
    assert used.bending.s[0] == pytest.approx(30.0)
    live = 5 * (40 * 16 / 144) * 60**4 / (384 * values.E * 1.5 * 3.5**3 / 12)
    assert used.deflection_live.ratio[0] == pytest.approx(live * 360 / 60)
    assert used.deflection_total.ratio[0] == pytest.approx(live * (1 + 1.5 / 4) * 240 / 60)
    assert used.governs == ["bending"]
    assert used.passes[0]
    # an end over a shared pad bears on half of it
    assert used.bearing.demand[0] == pytest.approx(50 * 16 / 144 * 30 / (1.5 * 3))


def test_each_beam_may_have_a_design_of_its_own():
    good, poor = adjusted_values("SYP", "No.2", "2x6"), adjusted_values("SYP", "No.3", "2x6")
    batch = [simple(40.0), simple(40.0)]
    used = strength(solve(batch, Load(10, 40), E), batch, [MemberDesign(good, 6.0), MemberDesign(poor, 6.0)])
    assert used.bending.ratio[1] / used.bending.ratio[0] == pytest.approx(1000 / 575)
    with pytest.raises(ValueError, match="1 designs for 2 beams"):
        strength(solve(batch, Load(10, 40), E), batch, [MemberDesign(good, 6.0)])


def test_stock_that_goes_in_wet_creeps_more_but_is_no_weaker():
    wet, dry = (adjusted_values("SYP", "No.2", "2x8", moisture=m) for m in ("wet", "kdat"))
    assert (wet.kcr, dry.kcr) == (2.0, 1.5)
    assert replace(wet, kcr=dry.kcr) == dry


def test_two_joists_or_wide_spacing_have_no_repetitive_gain():
    shared = adjusted_values("SYP", "No.2", "2x8")
    for alone in (
        adjusted_values("SYP", "No.2", "2x8", members=2),
        adjusted_values("SYP", "No.2", "2x8", spacing=25.0),
    ):
        assert shared.Fb / alone.Fb == pytest.approx(1.15)


def test_a_rip_keeps_the_size_factor_of_its_parent_and_must_fit_it():
    whole, ripped = adjusted_values("HF", "No.2", "2x10"), adjusted_values("HF", "No.2", "2x10", depth=3.5)
    assert whole.Fb == ripped.Fb
    with pytest.raises(ValueError, match=r"6\.0 in cannot be ripped from a 2x6, 5\.5 in deep"):
        adjusted_values("HF", "No.2", "2x6", depth=6.0)


@pytest.mark.parametrize(
    ("written", "key"),
    [
        ("Southern Pine", "southern pine"),
        ("southern  yellow pine", "southern pine"),
        ("SYP", "southern pine"),
        ("Doug-Fir", "douglas fir-larch"),
        ("DFL", "douglas fir-larch"),
        ("Hem-Fir", "hem-fir"),
        ("S-P-F", "spruce-pine-fir"),
        ("Western Red Cedar", "western cedars"),
    ],
)
def test_species_are_known_by_the_words_people_use(written, key):
    assert species_key(written) == key


@pytest.mark.parametrize("written", ["No.2", "No. 2", "no 2", "#2", "2", "Number 2", "No.2 & Btr", "NO. 2 PRIME"])
def test_number_2_is_known_by_the_words_people_use(written):
    assert grade_key(written) == "No.2"


def test_spruce_pine_fir_is_graded_1_and_2_as_one():
    assert grade_key("No.1/No.2", "SPF") == "No.2"


def test_what_is_not_known_is_refused_with_what_is():
    with pytest.raises(KeyError, match="southern pine, douglas fir-larch"):
        species_key("larch from the garden")
    for grade in ("No.1", "Select Structural"):
        with pytest.raises(KeyError, match=r"held for No\.2 and No\.3"):
            adjusted_values("southern pine", grade, "2x8")
    with pytest.raises(KeyError, match="2x4, 2x6"):
        size_key("4x4")
    with pytest.raises(KeyError, match="kdat, dry, wet"):
        adjusted_values("SYP", "No.2", "2x8", moisture="damp")


def test_spans_grow_with_depth_and_shrink_with_width():
    values = adjusted_values("SYP", "No.2", "2x8")
    spans = allowable_span(np.array([[2.0], [4.0]]), values, Load(10, 60), np.array([12.0, 16.0]))
    assert spans.shape == (2, 2)
    assert np.all(np.diff(spans, axis=0) > 0)
    assert np.all(np.diff(spans, axis=1) < 0)
    assert np.isinf(allowable_span(3.5, values, Load(0, 0), 16.0))


def test_a_span_at_its_estimate_just_passes_the_full_check():
    values = adjusted_values("SYP", "No.2", "2x8")
    length = float(allowable_span(3.5, values, Load(10, 60), 16.0))
    for factor, fits in ((0.999, True), (1.01, False)):
        beam = simple(factor * length)
        used = strength(solve([beam], Load(10, 60), values.E), [beam], MemberDesign(values, 6.0))
        assert (used.bending.ratio[0] <= 1 and used.deflection_live.ratio[0] <= 1) == fits


def test_a_rigid_board_spreads_a_pad_by_its_thickness_all_round():
    assert bearing_area((6.0, 8.0)) == 48.0
    assert bearing_area((6.0, 8.0), 0.5) == 63.0
    with pytest.raises(ValueError, match="insulation strength 0"):
        allowable_pressure(0)


def notched(left: float, corner: float, run: float = 0.0) -> Beam:
    """A beam on two pads of 4 in, 4 in deep, cut to what is `left` at its start up to `corner`, over a `run`."""
    profile = np.array([[0, left], [corner, left], [corner + run, 4.0], [48, 4.0]], dtype=float)
    return replace(simple(supports=[2.0, 46.0]), profile=profile)


def test_an_end_cut_thinner_over_its_pad_is_held_to_what_a_notch_leaves():
    design = MemberDesign(adjusted_values("SYP", "No.2", "2x6"), pad_length=4.0)
    square, gradual, far = notched(3.5, 6.0), notched(3.5, 6.0, run=2.5), notched(3.5, 12.0)
    batch = [square, gradual, far]
    solution = solve(batch, Load(10, 160), E)
    used = strength(solution, batch, design)
    force = solution.shear[0][solution.s[0] <= 6].max()
    assert used.notch.ratio[0] == pytest.approx(force / (2 / 3 * design.values.Fv * 1.5 * 3.5 * (3.5 / 4) ** 2))
    assert used.notch.s[0] == 6.0
    assert used.notch.ratio[1:].tolist() == [0, 0]  # a slope of 1 in 5; a corner over a depth from the pad
    # the other end, and a cut deeper than a quarter of the depth
    turned = replace(notched(2.5, 6.0), profile=np.array([[0, 4.0], [42, 4.0], [42, 2.5], [48, 2.5]]))
    deep = strength(solve([turned], Load(10, 1), E), [turned], design).notch
    assert (deep.ratio[0], deep.s[0]) == (pytest.approx(1.5 / (4 / 4)), 42.0)


def test_an_end_on_its_pad_is_no_free_tip():
    design = MemberDesign(adjusted_values("SYP", "No.2", "2x6"), pad_length=6.0)
    batch = [simple(54.0, supports=[3.0, 51.0]), simple(54.0, supports=[3.0, 46.0])]
    solution = solve(batch, Load(10, 40), E)
    used = strength(solution, batch, design)
    assert solution.tip.overhang.tolist() == [[3, 3], [3, 8]]
    assert used.tip_load.ratio[0] == 0 and used.tip_load.ratio[1] > 0 and used.tip_load.s[1] == 54.0
    # dead load counts beside the 220 lb: moment at the pad, stress there
    moment = 220 * 8 + 10 * 16 / 144 * 8**2 / 2
    assert solution.tip.bending[1, 1] == pytest.approx(moment / (1.5 * 3.5**2 / 6))


@settings(max_examples=30, deadline=None)
@given(beams())
def test_a_point_load_never_eases_the_worst(beam):
    without, found = solve([beam], Load(8, 60), E), solve([beam], Load(8, 60, point=300), E)
    for name in ("moment_most", "shear", "deflection_live", "reaction_most"):
        one, two = getattr(without, name)[0], getattr(found, name)[0]
        assert np.all(two >= one - 1e-6 * (1 + abs(one).max())), name
    assert np.all(found.reaction_most[0] >= found.reaction_dead[0] + 300 - 1e-6)


def test_a_coarse_look_is_within_a_hundredth():
    random = np.random.default_rng(3)
    for _ in range(20):
        gaps = random.uniform(20, 60, random.integers(1, 7))
        length = float(gaps.sum())
        profile = np.column_stack([[0, length / 2, length], random.uniform(2, 7, 3)])
        beam = Beam(length, profile, np.concatenate([[0], np.cumsum(gaps)]), np.array([16.0]), 1.5)
        fine, coarse = solve([beam], Load(10, 60), E), solve([beam], Load(10, 60), E, panels=4)
        for name in ("reaction_most", "bending_stress", "shear_stress", "deflection_live"):
            assert getattr(coarse, name)[0].max() == pytest.approx(getattr(fine, name)[0].max(), rel=0.01), name
