"""Tests of the members: profiles with the fewest cuts against brute force, sticks, splices and station marks."""

import itertools
import math
from fractions import Fraction

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import linprog

from framing.engine.layout import Line
from framing.engine.members import Corridor, Member, corridor, fewest_cuts, kinks, saw_members
from framing.engine.plane import least_gap, most_gap
from framing.reference.lumber import DRESSED
from tests.framing.odd_roofs import FALL, RECTANGLE, odd_build, odd_survey
from tests.framing.staged import stages
from tests.framing.terraces import terrace

TIGHT = {"least": 0.75, "target": 0.75, "most": 1.25}  # less play than a stick as it comes would want


def ridged(**build):
    survey = odd_survey(RECTANGLE, lambda x, y: -8 - FALL * abs(x - 96), lines=[("ridge", [(96, 3), (96, 117)])])
    return survey, odd_build(supports__clear_gap=TIGHT, **build)


# --- the fewest cuts


def feasible(c, corners):
    """Whether depths at these corners keep a polyline within the corridor, by linear programming."""
    places = np.union1d(c.s, corners)
    low, high = (np.interp(places, c.s, v) for v in (c.low, c.high))
    basis = np.stack([np.interp(places, corners, row) for row in np.eye(len(corners))], axis=1)
    answer = linprog(np.zeros(len(corners)), A_ub=np.vstack([basis, -basis]), b_ub=np.r_[high, -low] + 1e-9,
                     bounds=[(None, None)] * len(corners), method="highs")
    return answer.success


def brute_force(c, step):
    """The least number of inner corners that any polyline needs, its corners on a grid `step` apart; None: none fits.

    Corners at every kink serve whenever anything does.
    """
    if (c.low > c.high + 1e-9).any():
        return None
    inner = np.union1d(np.arange(step, c.s[-1], step), c.s[1:-1])
    for n in range(len(c.s) - 1):
        for pick in itertools.combinations(inner, n):
            if feasible(c, np.array([c.s[0], *pick, c.s[-1]])):
                return n
    raise AssertionError("corners at every kink must serve")


def random_corridor(rng, kink_count):
    """A corridor as a roof of `kink_count` breaks under a level plane makes it."""
    run = 120.0
    s = np.array([0.0, *np.sort(rng.uniform(10, run - 10, kink_count)), run])
    height = np.empty(len(s))
    height[0] = 5.0
    for i in range(1, len(s)):
        height[i] = height[i - 1] + rng.uniform(-0.03, 0.03) * (s[i] - s[i - 1])
    play = rng.uniform(0.1, 1.2)
    return Corridor(s, height, np.maximum(height - 0.75 - play, 1.5), np.minimum(height - 0.75, 9.25))


def inner_corners(profile):
    return len(profile) - 2


def keeps_to(c, profile):
    s = np.linspace(c.s[0], c.s[-1], 400)
    depth = np.interp(s, profile[:, 0], profile[:, 1])
    low, high = (np.interp(s, c.s, v) for v in (c.low, c.high))
    return bool((depth >= low - 1e-6).all() and (depth <= high + 1e-6).all())


@pytest.mark.parametrize("seed", range(40))
def test_one_or_two_breaks_take_the_fewest_cuts_that_brute_force_finds(seed):
    rng = np.random.default_rng(seed)
    c = random_corridor(rng, int(rng.integers(0, 3)))
    profile = fewest_cuts(c, 0.75)
    least = brute_force(c, 6.0)
    if least is None:
        assert profile is None
        return
    assert inner_corners(profile) == least
    assert keeps_to(c, profile)


@pytest.mark.parametrize("seed", range(8))
def test_three_breaks_take_the_fewest_cuts_that_brute_force_finds(seed):
    rng = np.random.default_rng(1000 + seed)
    c = random_corridor(rng, 3)
    profile = fewest_cuts(c, 0.75)
    least = brute_force(c, 12.0)
    if least is None:
        assert profile is None
        return
    assert inner_corners(profile) == least
    assert keeps_to(c, profile)


def peaked(height, low, high):
    """A corridor of 120 in with one kink in its middle."""
    return Corridor(np.array([0, 60.0, 120]), *(np.array(v, float) for v in (height, low, high)))


def test_a_wide_corridor_takes_one_straight_cut_over_a_gentle_ridge():
    c = peaked([5, 4.6, 5], [3, 2.6, 3], [4.25, 3.85, 4.25])
    assert inner_corners(fewest_cuts(c, 0.75)) == 0


def test_a_corridor_narrower_than_the_ridge_takes_a_cut_at_it():
    c = peaked([5, 4, 5], [4, 3, 4], [4.25, 3.25, 4.25])
    profile = fewest_cuts(c, 0.75)
    assert_allclose(profile, [[0, 4.25], [60, 3.25], [120, 4.25]])


def test_a_corner_may_stand_anywhere_between_two_breaks_where_that_saves_one():
    """One corner 55 to 60 in along keeps to this trough; neither break nor the place half-way between them does."""
    c = Corridor(np.array([0, 38.0, 84, 120]), np.array([5, 4.29, 4.44, 5.25]), np.array([3.94, 3.23, 3.38, 4.19]),
                 np.array([4.25, 3.54, 3.69, 4.5]))
    assert brute_force(c, 1.0) == 1
    profile = fewest_cuts(c, 0.75)
    assert inner_corners(profile) == 1 and keeps_to(c, profile)


def test_the_depths_stray_least_from_the_target_gap():
    """Straight over a sag of 0.4 in: the best straight line splits the departure, 0.2 in either way."""
    c = peaked([5, 5.4, 5], [3, 3.4, 3], [4.5, 4.9, 4.5])
    assert_allclose(fewest_cuts(c, 0.75)[:, 1], [4.45, 4.45])


def test_a_corridor_that_closes_has_no_profile():
    c = peaked([3, 2, 3], [1.5, 1.5, 1.5], [2.25, 1.25, 2.25])
    assert fewest_cuts(c, 0.75) is None


# --- the corridor under a real roof


@pytest.mark.parametrize("seed", range(10))
def test_wood_keeps_its_gaps_and_its_depth_all_along(seed):
    drawn = terrace(seed)
    staged = stages(drawn.survey, drawn.build, 90.0 if drawn.turned else 0.0, longest=143.75)
    build = staged.build
    under = build.decking.thickness + build.joists.tape_thickness
    for m in staged.members:
        s = np.linspace(0, m.line.length, 300)
        xy = m.line.at(s)
        gap = staged.plane.height(xy) - under - m.depth(s) - staged.roof.height(xy)
        assert gap.min() >= least_gap(build) - 1e-6 and gap.max() <= most_gap(build) + 1e-6
        assert m.depth(s).min() >= build.joists.minimum_depth - 1e-6
        assert m.depth(s).max() <= DRESSED[m.size][1] + 1e-6


def test_kinks_stand_at_both_ends_and_where_break_lines_pass_under():
    staged = stages(*ridged())
    joist = next(m for m in staged.members if m.role == "joist")
    assert_allclose(kinks(joist.line, staged.roof), [0, 96 - joist.line.start[0], joist.line.length])


def test_the_corridor_is_the_height_less_the_gaps():
    staged = stages(*ridged())
    joist = next(m for m in staged.members if m.role == "joist")
    c = corridor(joist.line, staged.build, staged.plane, staged.roof, 7.25)
    # at the ridge: roof 8 in down, sill 2 in, 1/8 in reveal, boards 1 in
    assert c.height[1] == pytest.approx(8 - 2 - 1 / 8 - 1, abs=1 / 16)
    assert_allclose(c.high, np.minimum(c.height - 0.75, 7.25))
    assert_allclose(c.low, np.maximum(c.height - 1.25, 1.5))


def test_over_a_ridge_every_joist_bends_there_once():
    for m in stages(*ridged()).members:
        if m.role == "joist":
            (_, left), (s, middle), (_, right) = m.profile
            assert s + m.line.start[0] == pytest.approx(96) and middle < left and middle < right


# --- sticks


def test_a_stick_that_fits_as_it_comes_is_not_ripped():
    flat = odd_survey(RECTANGLE, lambda x, y: -8.125)  # 5 in over the roof: 3 1/2 in of wood and 1 1/2 of gap
    members = stages(flat, odd_build()).members
    assert {(m.size, m.ripped) for m in members} == {("2x4", False)}
    assert all(set(m.profile[:, 1]) == {3.5} for m in members)


def test_the_shallowest_stick_that_holds_the_deepest_cut_is_taken():
    for m in stages(*ridged()).members:
        deepest = m.profile[:, 1].max()
        assert m.size == min((k for k in ("2x4", "2x6", "2x8", "2x10", "2x12") if DRESSED[k][1] >= deepest - 1e-6),
                             key=lambda k: DRESSED[k][1])


def test_wood_deeper_than_any_stick_stops_with_what_would_serve():
    survey = odd_survey(RECTANGLE, lambda x, y: -8 - 0.5 / 12 * y)  # 5 in of fall over the deck
    staged = stages(survey, odd_build(joists__sizes=["2x4", "2x6"], supports__clear_gap=TIGHT))
    stop, = staged.sawn[1]
    assert (stop.code, stop.status, stop.value) == ("stick-too-shallow", "stop", 5.5)
    # far side: 8 + 119/24 down to the roof, less sill and reveal 2 1/8, boards 1, most gap 1 1/4
    assert stop.limit == pytest.approx(8 + 119 / 24 - 2.125 - 1 - 1.25, abs=1 / 8)
    offers = {c.change: c.to for c in stop.clears}
    assert offers["joists.sizes"] == "2x12" if stop.limit > 9.25 else "2x10"


def test_too_little_play_for_any_profile_stops_with_the_depth_that_would_serve():
    flat = odd_survey(RECTANGLE, lambda x, y: -8)
    build = odd_build(joists__minimum_depth=4, supports__clear_gap={"least": 0.75, "target": 0.75, "most": 0.75},
                      supports__pad_thickness=0.625, supports__base_thickness=0.125)
    # 4 7/8 in over the roof less 3/4 in leaves 4 1/8: fits
    assert stages(flat, build).sawn[1] == []
    build["joists"]["minimum_depth"] = 4.5
    stop, = stages(flat, build).sawn[1]
    assert (stop.code, stop.status) == ("no-profile", "stop")
    assert [(c.change, c.to) for c in stop.clears] == [("joists.minimum_depth", 4.125)]
    build["joists"]["minimum_depth"] = 4.125
    assert stages(flat, build).sawn[1] == []


# --- splices


def pieces(m):
    return [b - a for a, b in m.pieces]


def test_a_member_within_reach_is_one_piece():
    assert {m.splices for m in stages(*ridged(), longest=191).members} == {()}


def test_a_joist_is_spliced_at_the_ridge_where_both_halves_are_in_reach():
    for m in stages(*ridged(), longest=120).members:
        if m.role == "joist":
            assert [s + m.line.start[0] for s in m.splices] == [pytest.approx(96)]


@pytest.mark.parametrize("longest", [143.75, 119.75, 95.75, 71.75])
def test_pieces_are_as_few_as_their_reach_allows_and_none_is_longer(longest):
    survey = odd_survey(RECTANGLE)
    build = odd_build(joists__stock_lengths=[72, 96, 120, 144])
    for m in stages(survey, build, longest=longest).members:
        assert max(pieces(m)) <= longest + 0.01
        if m.role in ("joist", "edge"):
            assert len(pieces(m)) == math.ceil(m.line.length / longest)
        assert sum(pieces(m)) == pytest.approx(m.line.length)


def test_a_rim_is_spliced_over_a_joist_end():
    staged = stages(odd_survey([(0, 0), (100, 0), (100, 250), (0, 250)]), odd_build(), longest=143.75)
    ends = np.array([n.start for n in staged.layout.lines if n.role in ("joist", "edge")])
    rims = [m for m in staged.members if m.role == "rim"]
    assert rims
    for m in rims:
        assert m.splices
        for xy in m.line.at(np.array(m.splices)):
            assert np.abs(ends[:, 1] - xy[1]).min() < 0.01


# --- station marks


def level_member(depths=((0, 3.0), (100, 3.0)), splices=()):
    return Member(Line("J1", "joist", (0, 0), (100, 0)), "2x6", np.array(depths, float), splices)


def test_marks_stand_at_ends_cuts_splices_and_supports_in_order():
    m = level_member([(0, 3), (40, 2), (100, 5)], splices=(60.0,))
    assert [s for s, _ in m.stations([10, 90, 40])] == [0, 10, 40, 60, 90, 100]


def test_two_marks_at_one_place_are_one():
    assert [s for s, _ in level_member().stations([0, 50, 50.005, 100])] == [0, 50, 100]


@pytest.mark.parametrize(("depth", "written"), [
    (3.0, "3"), (3 + 1 / 32, "3 1/16"), (3 + 1 / 32 - 1e-6, "3"), (3 + 3 / 32, "3 1/8"), (2.5, "2 1/2"),
    (2 + 15.6 / 16, "3"), (0.0625 * 41, "2 9/16"),
])
def test_a_depth_is_written_to_the_nearest_sixteenth_ties_to_the_deeper(depth, written):
    assert level_member([(0, depth), (100, depth)]).stations([])[0][1] == written


def test_written_depths_are_within_half_a_sixteenth_of_the_cut():
    m = level_member([(0, 2.3), (37, 4.9), (100, 3.7)])
    for s, text in m.stations(np.linspace(1, 99, 50)):
        said = sum(Fraction(part) for part in text.split())
        assert abs(float(said) - m.depth(np.array([s]))[0]) <= 1 / 32 + 1e-9


def test_json_holds_what_the_saw_needs():
    told = level_member(splices=(50.0,)).as_json([25.0])
    assert told["size"] == "2x6" and told["thickness"] == 1.5 and told["profile"] == [[0, 3], [100, 3]]
    assert told["splices"] == [50] and [s for s, _ in told["stations"]] == [0, 25, 50, 100]


def test_members_alone_and_in_company_are_sawn_alike():
    staged = stages(*ridged(), longest=120)
    for m in staged.members[:6]:
        if m.role != "rim":  # a rim's splices look to the joists
            alone, = saw_members([m.line], staged.build, staged.plane, staged.roof, 120, staged.ground.outlets)[0]
            assert_allclose(alone.profile, m.profile)
            assert alone.splices == m.splices
