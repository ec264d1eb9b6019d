"""Tests of bays wider than the joists' spacing: a piece half-way across, no longer than the bay is too wide."""

import pytest
from shapely import LineString, Polygon, box

from framing.engine.openings import STICK
from framing.engine.wide_bays import halved, over_no_wood

# a roof corner seen along the joists: an edge joist below, two rims meeting at the tip, their faces at 17.88 in
TIP = Polygon([(-20, 0), (20, 0), (0, 20)])
LEG = 20 - 0.75 * 2**0.5
CORNER = [("edge", LineString([(-18, 0.75), (18, 0.75)])), ("rim", LineString([(LEG, 0), (0, LEG)])),
          ("rim", LineString([(-LEG, 0), (0, LEG)]))]
INSIDE = Polygon([(-16, 1.5), (16, 1.5), (0, 17.8787)])


def test_a_corner_that_no_row_reaches_is_halved():
    (role, piece), = halved(CORNER, TIP, INSIDE, 16.0)
    y = (1.5 + 17.88) / 2  # between the faces
    assert role == "blocking" and piece.coords[0][1] == piece.coords[1][1] == pytest.approx(y, abs=0.3)
    assert piece.length == pytest.approx(2 * (17.88 - y), abs=0.8)  # from rim to rim


def test_a_bay_as_wide_as_asked_is_left():
    assert halved(CORNER, TIP, INSIDE, 18.0) == []


def test_a_piece_is_no_longer_than_the_bay_is_too_wide():
    net = box(0, 0, 300, 40)
    lines = [("joist", LineString([(0, 2), (300, 2)])), ("edge", LineString([(0, 18), (200, 18)])),
             ("edge", LineString([(200, 18.4), (240, 18.4)])), ("edge", LineString([(240, 18), (300, 18)]))]
    (role, piece), = halved(lines, net, box(0, 2.75, 300, 17), 16.0)
    assert role == "joist" and piece.bounds[1] == pytest.approx(10.2)
    assert piece.bounds[0] == pytest.approx(200 - 6, abs=3) and piece.bounds[2] == pytest.approx(240 + 6, abs=3)


def test_deck_further_than_half_the_spacing_from_its_outermost_wood_gets_a_piece_too():
    pocket, wood = box(0, 0, 4, 15), [("edge", LineString([(0, 14.25), (4, 14.25)]))]
    (role, piece), = halved(wood, pocket, box(0, 0.75, 4, 13.5), 20.0)
    assert role == "blocking" and piece.bounds == pytest.approx((0, 13.5 / 2, 4, 13.5 / 2))
    assert halved(wood, pocket, box(0, 0.75, 4, 13.5), 27.0) == []
    assert len(halved(wood, pocket, box(0, 0.75, 4, 13.5), 11.0)) == 2  # half of it is too far again


def test_what_lies_between_two_parts_of_the_deck_is_no_bay():
    notched = Polygon([(0, 0), (100, 0), (100, 10), (60, 10), (60, 40), (100, 40), (100, 50), (0, 50)])
    lines = [("joist", LineString([(0, y), (100, y)])) for y in (2, 48)]
    lines += [("joist", LineString([(0, y), (60, y)])) for y in (14, 26, 38)]
    assert halved(lines, notched, notched, 16.0) == []


# --- strips over no wood


def test_the_tip_beyond_two_edge_joists_lies_over_no_wood():
    """A tip of 2 in 4: its edge joists stop 8 in short of the point, where it is 4 in wide; 16 sq in lie beyond."""
    tip = Polygon([(0, -20), (0, 20), (80, 0)])
    lines = [("edge", [(0, 3), (72 - STICK, 3)]), ("edge", [(0, -3), (72 - STICK, -3)])]
    bare = over_no_wood([LineString(xy) for _, xy in lines], tip)
    assert bare.area == pytest.approx(8 * 4 / 2, abs=4.5)  # to an inch along
    assert bare.bounds[0] == pytest.approx(72, abs=1)


def test_deck_whose_boards_end_on_wood_has_no_such_strip():
    assert over_no_wood([line for _, line in CORNER], Polygon([(-16, 0), (16, 0), (0, 16)])).is_empty
    assert over_no_wood([LineString([(-STICK, 5), (100 + STICK, 5)])], box(0, 0, 100, 10)).is_empty


def test_each_part_of_the_deck_across_the_joists_wants_wood_of_its_own():
    wings = Polygon([(0, 0), (100, 0), (100, 10), (40, 10), (40, 30), (100, 30), (100, 40), (0, 40)])
    bare = over_no_wood([LineString([(0, 5), (100, 5)]), LineString([(0, 35), (60, 35)])], wings)
    assert bare.bounds == pytest.approx((60 + STICK, 30, 100, 40), abs=1.01)
