"""Tests of the words that name a place on the roof."""

import pytest

from framing.engine.places import coordinates, in_words
from tests.framing.odd_roofs import FALL, RECTANGLE, odd_survey
from tests.framing.staged import fitted

CORNERS = {"A": (0.0, 0.0), "B": (192.0, 0.0), "C": (192.0, 120.0), "D": (0.0, 120.0)}
FLAT = fitted(odd_survey(RECTANGLE))
RIDGED = fitted(odd_survey(RECTANGLE, lambda x, y: -8 - FALL * abs(x - 90), lines=[("ridge", [(90, 3), (90, 117)])]))
VALLEY = fitted(odd_survey(RECTANGLE, lambda x, y: -12 + FALL * abs(x - 90), lines=[("valley", [(90, 3), (90, 117)])]))


@pytest.mark.parametrize(("at", "words"), [
    ((0.2, 0.1), "at A"),
    ((14, 0), "14 in from A toward B"),
    ((192, 110), "10 in from C toward B"),
    ((150, -5), "42 5/16 in from B and 131 7/8 in from C"),  # sqrt(42^2 + 5^2), sqrt(42^2 + 125^2)
    ((30, 40), "50 in from A and 85 7/16 in from D"),  # 3-4-5; sqrt(30^2 + 80^2) = 85.44
])
def test_a_place_lies_along_a_line_between_two_points_or_by_two_tapes(at, words):
    assert in_words(at, FLAT, CORNERS) == words


def test_the_point_that_is_nearest_names_the_place():
    assert in_words((158, 80), FLAT, CORNERS | {"R7": (148, 80)}).startswith("10 in from R7")


def test_two_tapes_that_run_side_by_side_find_no_place_and_are_not_given():
    """Two points almost behind each other as seen from the place: the third, off to the side, is taken."""
    named = {"P": (10.0, 0.0), "Q": (30.0, 4.0), "R": (0.0, 90.0)}
    assert in_words((0, 0), FLAT, named) == "10 in from P and 90 in from R"


def test_folds_are_told():
    assert in_words((90, 60), RIDGED, {}) == "on the ridge"
    assert in_words((90.5, 60), VALLEY, CORNERS).endswith(", in the valley")
    assert "ridge" not in in_words((92, 60), RIDGED, CORNERS)


def test_one_point_alone_gives_its_distance_and_none_gives_nothing():
    assert in_words((3, 4), FLAT, {"A": (0.0, 0.0)}) == "5 in from A"
    assert in_words((3, 4), FLAT, {}) == ""


def test_points_that_lie_on_each_other_are_no_fault():
    assert in_words((3, 4), FLAT, {"A": (0.0, 0.0), "B": (0.0, 0.0)}) == "5 in from A"


def test_a_coordinate_is_never_minus_nothing():
    assert coordinates((-0.2, -0.3)) == "x 0, y 0"
    assert coordinates((-12.4, 96.0)) == "x -12, y 96"
