"""Tests of step, landing and slope at doors, against the figures of IRC R311.3."""

import math

import numpy as np
import pytest
import shapely
from shapely import Polygon

from framing.engine.documents import Door
from framing.engine.doorways import landing, step_rule
from tests.framing.odd_roofs import RECTANGLE, odd_build, odd_survey, turned
from tests.framing.staged import stages

SILL = np.array([[78.0, 0.0], [96.0, 0.0], [114.0, 0.0]])


def told(survey, **build):
    """What the plane finds, by code."""
    _, checks = stages(survey, odd_build(**build)).plane_and_checks
    return {c.code: c for c in checks}


def one_door(**more):
    survey = odd_survey(RECTANGLE)
    del survey["threshold"]
    survey["doors"] = [{"name": "door", "points": ["t0", "t1", "t2"], **more}]
    return survey


def level(reveal):
    return {"surface": {"mode": "level", "reveal": reveal}}


# --- step: R311.3.1 (required egress door) and R311.3.2 (others), 2012 edition


@pytest.mark.parametrize(("door", "step", "limit"), [
    ({"swing": "out"}, 1.5, None), ({"swing": "out"}, 1.75, 1.5), ({"swing": "out"}, 8, 1.5),
    ({"swing": "out", "egress": True}, 2, 1.5),
    ({"swing": "out", "egress": False}, 2, None), ({"swing": "out", "egress": False}, 8, 7.75),
    ({"swing": "in"}, 1.75, None), ({"swing": "in"}, 7.75, None), ({"swing": "in"}, 8, 7.75),
    ({"swing": "slide"}, 7.5, None), ({"swing": "slide", "egress": True}, 8, 7.75),
    ({}, 1.5, None), ({}, 1.75, 1.5), ({}, 8, 7.75), ({"egress": False}, 1.75, None),
])
def test_how_far_a_landing_may_lie_below_turns_on_the_swing_and_the_exit(door, step, limit):
    found = told(one_door(**door), **level(step)).get("door-step")
    assert (found.limit if found else None) == limit
    if found:
        assert (found.status, found.decided_by, found.value) == ("caution", "building official", step)
        assert "R311.3" in found.source


def test_an_unknown_swing_tells_both_heights():
    _, words = step_rule(Door(name="door", points=("t0",)), 2.0)
    assert "1 1/2 in" in words and "7 3/4 in" in words and "not given" in words


# --- landing: as wide as the door and 36 in in the direction of travel


def test_a_deep_deck_in_front_of_the_door_needs_no_word():
    assert "door-landing" not in told(one_door(clear_width=34))


def test_a_shallow_deck_is_told_with_its_depth():
    """40 in of roof less 1/2 in at the house and 1 in beyond leave 38 1/2: enough; 36 in leave 34 1/2: not."""
    def roof(deep):
        return odd_survey([(0, 0), (192, 0), (192, deep), (0, deep)], step=8)

    assert "door-landing" not in told(roof(40))
    found = told(roof(36))["door-landing"]
    assert (found.status, found.value, found.limit) == ("caution", pytest.approx(34.5, abs=0.01), 36)
    assert found.decided_by == "building official" and "R311.3" in found.source


def test_an_obstacle_in_front_of_the_door_cuts_the_landing_short():
    survey = one_door()
    survey["obstacles"] = [{"name": "vent", "point": "v", "size": 6, "clearance": 2}]
    survey["positions"]["v"] = [96, 30.5]
    found = told(survey)["door-landing"]
    assert found.value == pytest.approx(30.5 - 3 - 2 - 0.5, abs=0.01)  # near face less clearance, from the deck's edge
    survey["positions"]["v"] = [150, 30.5]  # beside the door's 36 in
    assert "door-landing" not in told(survey)


DECK = shapely.box(1, 0.5, 191, 119)


@pytest.mark.parametrize("turn", [0, 30, 90, 200])
@pytest.mark.parametrize(("shape", "width", "deep"), [
    (DECK, None, 36), (DECK, 34, 36),
    (DECK.difference(shapely.box(0, 20.5, 192, 119)), None, 20),
    (DECK.difference(shapely.box(90, 0, 100, 25)), None, 0),  # an obstacle at the sill itself
    (DECK.difference(shapely.box(100, 0, 192, 119)), None, 0),  # the deck ends before the door does
    (DECK.difference(shapely.box(112, 0, 192, 119)), 30, 36),  # ... but the door's leaf is narrower than its sill
    (shapely.box(1, 11, 191, 119), None, 36),  # a sill set back in a thick wall
    (shapely.box(1, 14, 191, 119), None, 0),  # too far for a step
    (Polygon([(1, 0.2), (191, 1.2), (191, 119), (1, 119)]), None, 36),  # a wall a little out of square
])
def test_the_landing_is_what_is_whole_in_front_of_the_door(shape, width, deep, turn):
    deck = shapely.affinity.rotate(shape, turn, origin=(0, 0))
    wide, found = landing(np.array(turned(SILL, turn)), width, deck)
    assert wide == pytest.approx(width or 36)
    assert found == pytest.approx(deep, abs=0.01)


def test_a_door_of_one_point_looks_square_to_the_nearest_side():
    assert landing(SILL[1:2], 36, DECK)[1] == 36
    assert landing(SILL[1:2], None, DECK) == (0, 36)
    assert landing(SILL[1:2], 36, shapely.box(1, 0.5, 191, 20.5))[1] == pytest.approx(20, abs=0.01)


# --- slope: 1/4 in in a foot, 2 %


@pytest.mark.parametrize(("per_ft", "is_told"), [("1/8", False), ("1/4", False), ("5/16", True), (1, True)])
def test_a_landing_steeper_than_two_percent_is_told(per_ft, is_told):
    found = told(odd_survey(RECTANGLE), surface={"mode": "fall", "reveal": 1, "fall_per_ft": per_ft, "toward": 90})
    assert ("landing-slope" in found) == is_told
    if is_told:
        slope = found["landing-slope"]
        assert (slope.status, slope.limit, slope.unit) == ("caution", 0.25, "in/ft")
        assert slope.decided_by == "building official"


def test_a_deck_that_follows_a_steep_threshold_is_told_as_well():
    sill = (-2.0, -2.5, -3.0)  # 1 in over 36: 1/3 in in a foot
    found = told(odd_survey(RECTANGLE, sill=sill), surface={"mode": "follow-threshold", "reveal": 1})
    assert found["landing-slope"].value == pytest.approx(1 / 3)
    assert math.isclose(found["landing-slope"].limit, 0.25)


# --- flush with the sill, over it, and an accessible route: exactly at the limit is not over it


@pytest.mark.parametrize(("reveal", "is_told"), [(0.5, False), (0.4375, True), (0.125, True)])
def test_a_deck_under_half_an_inch_below_the_sill_is_told(reveal, is_told):
    assert ("door-flush" in told(odd_survey(RECTANGLE), **level(reveal))) == is_told


@pytest.mark.parametrize(("reveal", "is_told"), [(0.0, False), ("-1/16", True)])
def test_a_deck_over_the_sill_is_told(reveal, is_told):
    assert ("deck-above-sill" in told(odd_survey(RECTANGLE), **level(reveal))) == is_told


@pytest.mark.parametrize(("reveal", "level_change"), [(0.5, None), (0.5625, 0.5625), ("-1/2", None), ("-9/16", 0.5625)])
def test_an_accessible_route_takes_half_an_inch_up_or_down(reveal, level_change):
    wanted = odd_survey(RECTANGLE) | {"site": {"accessible_route": True}}
    found = told(wanted, **level(reveal)).get("accessible-threshold")
    assert (found.value if found else None) == (pytest.approx(level_change) if level_change else None)
    assert "accessible-threshold" not in told(odd_survey(RECTANGLE), **level(reveal))
