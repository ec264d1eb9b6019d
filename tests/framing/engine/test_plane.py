"""Tests of the finished plane: where it hangs from the door, and whether the height over the roof is enough."""

import math

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose

from framing.engine.documents import parse_build
from framing.engine.plane import height_budget, least_gap, most_gap
from tests.framing.odd_roofs import FALL, L_SHAPE, OCTAGON, RECTANGLE, odd_build, odd_survey
from tests.framing.staged import stages
from tests.framing.terraces import terrace

SILLS = (-2.25, -2.5, -2.125)  # left to right at x = 78, 96, 114 on the house wall


def surface(mode, reveal, **more):
    return {"mode": mode, "reveal": reveal, **more}


def plane_of(survey=None, **build):
    return stages(survey or odd_survey(RECTANGLE, sill=SILLS), odd_build(**build)).plane


def find(survey, build):
    """The plane, or none, and what was found on the way."""
    return stages(survey, build).plane_and_checks


def codes(checks):
    return {c.code: c for c in checks}


# --- where it hangs


def test_a_level_surface_lies_its_reveal_under_the_lowest_sill():
    plane = plane_of(surface=surface("level", "1/4"))
    assert (plane.z0, plane.sx, plane.sy) == (-2.75, 0, 0)
    assert plane.reveals == pytest.approx({"t0": 0.5, "t1": 0.25, "t2": 0.625})


def test_following_a_straight_threshold_keeps_one_reveal_and_stays_level_across():
    sill = (-2.0, -2.0625, -2.125)  # 1/8 in over 36 in
    plane = plane_of(odd_survey(RECTANGLE, sill=sill), surface=surface("follow-threshold", "1/8"))
    assert (plane.sx, plane.sy) == (pytest.approx(-1 / 8 / 36), pytest.approx(0, abs=1e-12))
    assert list(plane.reveals.values()) == pytest.approx([1 / 8] * 3)


def test_following_a_crooked_threshold_takes_the_least_squares_line():
    plane = plane_of(surface=surface("follow-threshold", "1/8"))
    slope, mean = np.polyfit([78, 96, 114], SILLS, 1)
    assert plane.sx == pytest.approx(slope)
    assert plane.z0 == pytest.approx(mean - 1 / 8)


def test_following_a_threshold_says_how_uncertain_the_rise_is_over_the_deck():
    """Slope of a line through readings of sigma at t: sigma / sqrt(sum t^2); two of those over the deck's 190 in."""
    _, checks = find(odd_survey(RECTANGLE, sill=SILLS), odd_build(surface=surface("follow-threshold", "1/8")))
    told = codes(checks)["follows-threshold"]
    assert told.status == "note"
    assert told.value == pytest.approx(abs(np.polyfit([78, 96, 114], SILLS, 1)[0]) * 190)
    assert told.limit == pytest.approx(2 * (1 / 16) / math.sqrt(18**2 + 18**2) * 190)


@pytest.mark.parametrize("toward", [90, 270, 60, 0, 200])
def test_a_fall_drops_at_its_rate_in_its_direction_and_nowhere_nearer_the_sill_than_asked(toward):
    plane = plane_of(surface=surface("fall", "1/4", fall_per_ft="1/8", toward=toward))
    u = np.array([math.cos(math.radians(toward)), math.sin(math.radians(toward))])
    here = plane.height(np.array([[10.0, 20.0]]))[0]
    assert plane.height((np.array([10.0, 20.0]) + 12 * u)[None])[0] == pytest.approx(here - 1 / 8)
    across = plane.height((np.array([10.0, 20.0]) + 12 * u[::-1] * [1, -1])[None])[0]
    assert across == pytest.approx(here)
    assert min(plane.reveals.values()) == pytest.approx(1 / 4)


def two_doors(**more):
    survey = odd_survey(RECTANGLE, sill=(-2.0, -3.0, -1.5))
    del survey["threshold"]
    survey["doors"] = [{"name": "high door", "points": ["t0", "t2"], **more}, {"name": "low door", "points": ["t1"]}]
    return survey


def test_the_door_with_the_lowest_sill_governs():
    plane = plane_of(two_doors(), surface=surface("level", "1/4"))
    assert plane.door.name == "low door" and plane.z0 == -3.25 and plane.sill == -3
    assert plane.reveals == pytest.approx({"t0": 1.25, "t1": 0.25, "t2": 1.75})


def test_a_door_marked_as_governing_governs_and_the_drowned_sill_is_told():
    staged = stages(two_doors(governs=True), odd_build(surface=surface("level", "1/4")))
    assert staged.plane.door.name == "high door" and staged.plane.z0 == -2.25
    assert staged.plane.reveals["t1"] == pytest.approx(-0.75)


def test_a_deck_over_a_sill_must_be_acknowledged():
    _, checks = find(two_doors(governs=True), odd_build(surface=surface("level", "1/4")))
    over = codes(checks)["deck-above-sill"]
    assert (over.status, over.acknowledge, over.where) == ("caution", True, "t1")
    assert over.value == pytest.approx(-0.75) and "3/4" in over.text


def test_repeated_readings_of_a_sill_are_averaged():
    survey = odd_survey(RECTANGLE)
    survey["levels"] += [{"point": "t1", "drop": 2.125, "on": "threshold"}]
    plane, _ = find(survey, odd_build(surface=surface("level", 0)))
    assert plane.z0 == pytest.approx(-2.0625)


def test_no_reading_at_the_door_is_a_stop_that_names_the_points():
    survey = odd_survey(RECTANGLE)
    survey["levels"] = [level for level in survey["levels"] if level["on"] != "threshold"]
    plane, checks = find(survey, odd_build())
    assert plane is None
    assert [(c.code, c.status) for c in checks] == [("threshold-not-measured", "stop")]
    assert all(p in checks[0].text for p in ("t0", "t1", "t2"))


def test_one_sill_point_without_a_reading_is_a_caution_and_the_rest_serve():
    survey = odd_survey(RECTANGLE, sill=SILLS)
    survey["levels"] = [level for level in survey["levels"] if level["point"] != "t1"]
    plane, checks = find(survey, odd_build(surface=surface("level", "1/4")))
    assert plane.z0 == -2.5
    assert [(c.status, c.where) for c in checks if c.code == "not-measured"] == [("caution", "t1")]


@pytest.mark.parametrize(("reveal", "limit"), [(1.25, None), (1.75, 1.5), (8, 7.75)])
def test_a_deep_step_at_the_door_is_told_against_the_landing_heights(reveal, limit):
    """IRC 2012 R311.3.1: a landing at most 1 1/2 in, or 7 3/4 in where the door does not swing over it."""
    _, checks = find(odd_survey(RECTANGLE), odd_build(surface=surface("level", reveal)))
    step = codes(checks).get("door-step")
    assert (step.limit if step else None) == limit
    if step:
        assert (step.status, step.decided_by) == ("caution", "building official") and step.value == reveal


def test_a_nearly_flush_deck_is_told():
    assert "door-flush" in codes(find(odd_survey(RECTANGLE), odd_build(surface=surface("level", "1/4")))[1])
    assert "door-flush" not in codes(find(odd_survey(RECTANGLE), odd_build(surface=surface("level", "1/2")))[1])


def test_an_accessible_route_wants_half_an_inch_at_most():
    _, checks = find(odd_survey(RECTANGLE, site={"accessible_route": True}),
                     odd_build(surface=surface("level", "3/4")))
    told = codes(checks)["accessible-threshold"]
    assert (told.status, told.value, told.limit) == ("caution", 0.75, 0.5)


# --- gaps that can be built


def test_the_least_gap_is_what_pad_and_base_take_up_where_that_is_more():
    build = parse_build(odd_build(supports__pad_thickness=1.5, supports__base_thickness=0.25))
    assert least_gap(build) == 1.75
    assert least_gap(parse_build(odd_build())) == 0.75


def test_the_most_gap_is_what_the_shims_reach_where_that_is_less():
    build = parse_build(odd_build(supports__shim_most=1, supports__pad_thickness=0.5, supports__base_thickness=0))
    assert most_gap(build) == 1.5


# --- height budget


def densest(staged):
    """The least height between roof and surface over a fine grid of the deck, corners included. [in]"""
    x0, y0, x1, y1 = staged.deck.net.bounds
    x, y = np.meshgrid(np.linspace(x0, x1, 300), np.linspace(y0, y1, 300))
    inside = shapely.covers(staged.deck.net.buffer(1e-6), shapely.points(x.ravel(), y.ravel()))
    xy = np.vstack([np.c_[x.ravel(), y.ravel()][inside], shapely.get_coordinates(staged.deck.net)])
    return float((staged.plane.height(xy) - staged.roof.height(xy)).min())


ROOFS = {
    "a fall from the house": odd_survey(RECTANGLE),
    "a fall to the house": odd_survey(RECTANGLE, lambda x, y: -12 + FALL * y),
    "a ridge": odd_survey(RECTANGLE, lambda x, y: -8 - FALL * abs(x - 90), lines=[("ridge", [(90, 3), (90, 117)])]),
    "a valley": odd_survey(RECTANGLE, lambda x, y: -12 + FALL * abs(x - 90), lines=[("valley", [(90, 3), (90, 117)])]),
    "an L": odd_survey(L_SHAPE),
    "an octagon with a skew fall": odd_survey(OCTAGON, lambda x, y: -8 - 0.02 * x + 0.01 * y),
} | {f"terrace {seed}": terrace(seed).survey for seed in range(0, 12, 3)}


@pytest.mark.parametrize("name", ROOFS)
@pytest.mark.parametrize("mode", ["level", "fall"])
def test_the_least_height_is_what_dense_sampling_finds(name, mode):
    asked = surface(mode, "1/4") | ({"fall_per_ft": "1/8", "toward": 75} if mode == "fall" else {})
    build = odd_build(surface=asked)
    staged = stages(ROOFS[name], build)
    budget = height_budget(staged.build, staged.plane, staged.roof, staged.deck.net)
    sampled = densest(staged)
    assert budget.available <= sampled + 1e-6
    # a grid cell's diagonal times the steepest relative slope is what sampling can miss
    assert budget.available == pytest.approx(sampled, abs=0.05)
    at = np.array([budget.at])
    assert staged.deck.net.distance(shapely.Point(budget.at)) < 1e-3
    assert (staged.plane.height(at) - staged.roof.height(at))[0] == pytest.approx(budget.available, abs=1e-6)


def test_what_the_build_needs_is_decking_tape_wood_and_gap():
    build = odd_build(decking__thickness=1, joists__tape_thickness="1/16", joists__minimum_depth=2)
    staged = stages(odd_survey(RECTANGLE), build)
    budget = height_budget(staged.build, staged.plane, staged.roof, staged.deck.net)
    assert budget.needed == 1 + 1 / 16 + 2 + 0.75


def test_enough_height_is_told_with_both_figures():
    staged = stages(odd_survey(RECTANGLE), odd_build())
    budget = height_budget(staged.build, staged.plane, staged.roof, staged.deck.net)
    told, = budget.checks
    # sill 2 in under the datum, roof 8 in under it, 1/8 in of reveal; the deck starts 1/2 in off the house
    assert (told.code, told.status) == ("height", "ok")
    assert told.value == pytest.approx(8 + FALL / 2 - 2 - 1 / 8, abs=1 / 32) and told.limit == 3.25


def short(**build):
    """The stop on a roof 4 3/4 in under the sill: 1/4 in of reveal leaves 4 1/2 in."""
    staged = stages(odd_survey(RECTANGLE, lambda x, y: -6.75), odd_build(surface=surface("level", "1/4"), **build))
    return height_budget(staged.build, staged.plane, staged.roof, staged.deck.net).checks[0]


def test_too_little_height_stops_and_says_by_how_much_and_where():
    stop = short(joists__minimum_depth=3)
    assert (stop.code, stop.status) == ("height-short", "stop")
    assert (stop.value, stop.limit) == (pytest.approx(4.5), 4.75)
    assert "0.25 in more" in stop.text and stop.where.startswith("x ")


def offers(stop):
    return {c.change: (c.from_, c.to) for c in stop.clears}


def test_a_change_is_offered_down_to_the_next_sixteenth_that_clears():
    stop = short(joists__minimum_depth=3.03)  # 0.28 in short
    assert offers(stop)["joists.minimum_depth"] == (3.03, 2.75)
    assert offers(short(joists__minimum_depth=3.05))["joists.minimum_depth"] == (3.05, 2.75)


def test_the_reveal_is_never_taken_under_an_eighth():
    assert offers(short(joists__minimum_depth=2.875))["surface.reveal"] == (0.25, 0.125)  # 1/8 in short
    assert "surface.reveal" not in offers(short(joists__minimum_depth=2.9375))  # 3/16 in short


def test_the_clear_gap_is_never_taken_under_three_quarters():
    assert "supports.clear_gap.least" not in offers(short(joists__minimum_depth=3))
    wide = {"least": 1.5, "target": 1.5, "most": 4}
    stop = short(supports__clear_gap=wide, joists__minimum_depth=2.25)
    assert offers(stop)["supports.clear_gap.least"] == (1.5, 1.25)


def test_a_joist_is_never_made_thinner_than_an_inch_and_a_half():
    # 4 1/2 in available; 3 in of gap, 1 in of boards and 1 1/2 in of wood would leave it 1 in short
    stop = short(supports__clear_gap={"least": 3, "target": 3, "most": 4}, joists__minimum_depth=1.5)
    assert stop.value == pytest.approx(4.5) and stop.limit == 5.5
    assert "joists.minimum_depth" not in offers(stop)


def test_decking_is_never_taken_under_what_its_joists_ask():
    """IRC 2018 Table R507.7: 5/4 boards span 16 in, 2-in boards 24."""
    stop = short(decking__thickness=1.5, joists__spacing=24, joists__minimum_depth=2.5)
    assert stop.status == "stop" and "decking.thickness" not in offers(stop)


def test_where_no_single_change_clears_it_the_words_say_so():
    """A roof an inch under the sill: no reveal, board, joist or gap within the floors makes up 2 1/2 in."""
    staged = stages(odd_survey(RECTANGLE, lambda x, y: -3), odd_build(surface=surface("level", "1/4")))
    stop = height_budget(staged.build, staged.plane, staged.roof, staged.deck.net).checks[0]
    assert (stop.value, stop.limit, stop.clears) == (pytest.approx(0.75), 3.25, ())
    assert "No single change" in stop.text and "2.50 in" in stop.text


def test_a_thick_pad_alone_can_be_what_is_too_high():
    stop = short(supports__pad_thickness=8, supports__base_thickness=0, joists__minimum_depth=1.5)  # 6 in short
    assert offers(stop) == {"supports.pad_thickness": (8, 2)}


def test_reveals_come_from_the_readings_and_not_from_a_fitted_line():
    plane = plane_of(surface=surface("follow-threshold", "1/8"))
    at = np.array([[78, 0], [96, 0], [114, 0]], float)
    assert_allclose(list(plane.reveals.values()), np.array(SILLS) - plane.height(at), atol=1e-12)


# --- layers at every place


def layers(survey, **build):
    staged = stages(survey, odd_build(**build))
    named = {name: (p.x, p.y) for name, p in staged.adjusted.points.items()}
    return height_budget(staged.build, staged.plane, staged.roof, staged.deck.net, named)


def test_the_layers_of_every_place_fill_the_height_between_sill_and_roof():
    ridged = odd_survey(RECTANGLE, lambda x, y: -8 - FALL * abs(x - 90), lines=[("ridge", [(90, 3), (90, 117)])])
    budget = layers(ridged, surface=surface("fall", "1/4", fall_per_ft="1/8", toward=90), decking__thickness=1,
                    joists__tape_thickness="1/16", joists__minimum_depth=2, supports__pad_thickness=1.25,
                    supports__base_thickness=0.25)
    assert len(budget.places) == 6  # four corners of the deck, and the ridge across it
    spare = [p.available - p.needed for p in budget.places]
    assert spare == sorted(spare) and budget.governing is budget.places[0]
    for p, told in zip(budget.places, budget.as_json(), strict=True):
        parts = told["parts"]
        under = parts["decking"] + parts["tape"] + parts["member"] + parts["gap"]
        assert (parts["decking"], parts["tape"], parts["member"], parts["gap"]) == (1, 1 / 16, 2, 1.5)
        assert parts["sill"] - parts["reveal"] - under - told["spare"] == pytest.approx(parts["roof"])
        assert told["needed"] == under and told["available"] == pytest.approx(told["needed"] + told["spare"])
        # the roof 1/16 true to what was read, the surface 1/4 under the sill and 1/8 in a foot on
        x, y = p.at
        assert parts["roof"] == pytest.approx(-8 - FALL * abs(x - 90), abs=1 / 16)
        assert parts["reveal"] == pytest.approx(0.25 + y / 96)
    assert [told["governs"] for told in budget.as_json()] == [True] + [False] * 5


def test_the_governing_place_is_named_for_a_tape():
    """A ridge over the middle and a deck that falls away from the house: the ridge's far end has least."""
    ridged = odd_survey(RECTANGLE, lambda x, y: -8 - FALL * abs(x - 90), lines=[("ridge", [(90, 3), (90, 117)])])
    budget = layers(ridged, surface=surface("fall", "1/4", fall_per_ft="1/8", toward=90))
    assert budget.at == pytest.approx((90, 119), abs=0.1)
    # the ridge's own last reading stands at y 117, in line with its first
    assert budget.governing.place == "2 in past k0_1 as seen from k0_0, on the ridge"
    assert budget.governing.place in budget.checks[0].text
    # 8 in down to the ridge, less sill 2, reveal 1/4 and 119 in of fall
    assert budget.available == pytest.approx(8 - 2 - 0.25 - 119 / 96, abs=1 / 32)


# --- changes that clear


def test_thin_wood_that_is_left_is_told_for_flat_sleepers():
    """4 1/2 in less 1 in of boards and 3 in of gap leaves 1/2 in, under the least of 1 1/2 that is ever offered."""
    stop = short(supports__clear_gap={"least": 3, "target": 3, "most": 4}, joists__minimum_depth=1.5)
    assert "1/2 in would be left there for flat sleepers, which an engineer designs" in stop.text
    assert "sleepers" not in short(joists__minimum_depth=3).text  # a lesser depth serves


def test_boards_at_an_angle_are_not_taken_thinner_than_the_table_lets_them_span_askew():
    """IRC 2018 Table R507.7: at 45 degrees 5/4 boards span 12 in, 2-in boards 16."""
    askew = dict(decking__thickness=1.5, joists__direction=0, decking__direction=45, joists__minimum_depth=2.5)
    assert "decking.thickness" not in offers(short(**askew, joists__spacing=16))
    assert offers(short(**askew, joists__spacing=12))["decking.thickness"] == (1.5, 1.25)


def test_decking_that_goes_by_its_maker_is_not_offered_thinner():
    thick = dict(decking__thickness=1.5, joists__minimum_depth=2.5)
    assert "decking.thickness" in offers(short(**thick))
    assert "decking.thickness" not in offers(short(**thick, decking__species="composite"))


def test_level_is_offered_where_a_surface_that_follows_its_threshold_runs_into_the_roof():
    """The sill rises 1/2 in over 36 in to the right: followed, the deck sinks 1.1 in on the left, level only 1/4."""
    survey = odd_survey(RECTANGLE, lambda x, y: -6.25, sill=(-2.5, -2.25, -2.0))
    budget = layers(survey, surface=surface("follow-threshold", "1/4"), joists__minimum_depth=1.5)
    stop = budget.checks[0]
    assert stop.value == pytest.approx(6.25 - 2.5 - 0.25 - 77 / 72, abs=1 / 32)  # 77 in left of the first sill point
    assert ("following the threshold", "level") in [(c.from_, c.to) for c in stop.clears]


def test_no_fall_is_offered_that_is_steeper_than_a_landing_may_be():
    """A ridge 38 in upstream of the sill, 3/4 in too high, asks for 0.24 in a foot; 7/8 in for 0.28."""
    def ridge_too_high(by):
        survey = odd_survey(RECTANGLE, lambda x, y: -6 + by - FALL * abs(x - 40),
                            lines=[("ridge", [(40, 3), (40, 117)])])
        return [c.to for c in layers(survey, surface=surface("level", "1/4"), joists__minimum_depth=2).checks[0].clears
                if c.change == "surface"]

    assert ridge_too_high(0.75) == ["a fall of 1/4 in a foot toward 0 degrees"]
    assert ridge_too_high(0.875) == []
