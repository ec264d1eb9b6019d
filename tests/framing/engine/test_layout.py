"""Tests of the layout: the deck's outline, where members run, and that every part of it is carried once."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shapely import LineString, Point, Polygon
from shapely.ops import unary_union

from framing.engine.documents import parse_build, parse_survey
from framing.engine.layout import edge_gap, lay_deck
from tests.framing.odd_roofs import L_SHAPE, OCTAGON, RECTANGLE, TRIANGLE, U_SHAPE, odd_build, odd_survey, turned
from tests.framing.staged import stages
from tests.framing.terraces import terrace

ROOM = [(0, 0), (192, 0), (192, 128), (0, 128)]
SKEWED = [(0, 0), (192, 0), (200, 96), (-10, 150)]
PAD = odd_build(supports__pad_size=[6, 6])


def rectangle(direction=0.0, **build):
    return stages(odd_survey(ROOM), odd_build(supports__pad_size=[6, 6], **build), direction)


def of_role(staged, role):
    return [n for n in staged.layout.lines if n.role == role]


# --- outline and holes


def test_the_deck_keeps_half_an_inch_from_the_house_and_an_inch_elsewhere():
    assert rectangle().deck.outline.bounds == pytest.approx((1, 0.5, 191, 127))
    assert rectangle().deck.net_sqft == pytest.approx(190 * 126.5 / 144)


def test_a_gap_that_is_asked_for_is_kept_whichever_way_its_side_is_named():
    deck = rectangle(decking__edge_gaps={"A-B": "3/4", "D-C": 2.5, "B-C": 0}).deck
    assert deck.outline.bounds == pytest.approx((1, 0.75, 192, 125.5))
    survey = parse_survey(odd_survey(RECTANGLE))
    build = parse_build(odd_build(decking__edge_gaps={"D-C": 2.5}))
    assert edge_gap(survey, build, "C", "D") == edge_gap(survey, build, "D", "C") == 2.5


def test_a_skewed_outline_is_set_in_square_to_each_side():
    gaps = dict.fromkeys(("A-B", "B-C", "C-D", "D-A"), 2)
    deck = stages(odd_survey(SKEWED), odd_build(decking__edge_gaps=gaps)).deck
    for a, b in zip(SKEWED, (*SKEWED[1:], SKEWED[0]), strict=True):
        side = LineString([a, b])
        assert min(side.distance(Point(p)) for p in deck.outline.exterior.coords) == pytest.approx(2)
    area = Polygon(SKEWED).area - 2 * Polygon(SKEWED).length + 4 * sum(
        1 / math.tan(angle / 2) for angle in angles(SKEWED))  # Steiner's formula for a polygon set in
    assert deck.outline.area == pytest.approx(area)


def angles(corners):
    xy = np.array(corners, float)
    before, after = np.roll(xy, 1, axis=0) - xy, np.roll(xy, -1, axis=0) - xy
    cos = (before * after).sum(axis=1) / np.hypot(*before.T) / np.hypot(*after.T)
    return np.arccos(cos)


def with_vent(at=(96, 60), size=6, clearance=3):
    survey = odd_survey(RECTANGLE)
    survey["positions"]["v"] = list(at)
    survey["obstacles"] = [{"name": "vent", "point": "v", "size": size, "clearance": clearance}]
    return survey


def test_an_obstacle_is_left_out_with_its_clearance_all_round():
    deck = stages(with_vent(), odd_build()).deck
    hole, = deck.holes
    assert hole.bounds == pytest.approx((90, 54, 102, 66))
    assert deck.net.area == pytest.approx(190 * 118.5 - 144)


def test_an_obstacle_of_two_sizes_lies_along_x_and_y():
    hole, = stages(with_vent(size=[10, 4], clearance=0), odd_build()).deck.holes
    assert hole.bounds == pytest.approx((91, 58, 101, 62))


def test_an_obstacle_at_the_wall_bites_into_the_deck_and_is_still_a_hole():
    deck = stages(with_vent(at=(96, 119)), odd_build()).deck
    assert len(deck.holes) == 1
    assert deck.net.area == pytest.approx(190 * 118.5 - 12 * 6)


def test_an_obstacle_off_the_deck_is_no_hole():
    assert stages(with_vent(at=(400, 400)), odd_build()).deck.holes == ()


def test_gaps_that_leave_nothing_are_a_stop():
    staged = stages(odd_survey(RECTANGLE), odd_build(decking__edge_gaps={"A-B": 60, "C-D": 60}))
    deck, checks = lay_deck(staged.survey, staged.build, staged.adjusted)
    assert deck is None and [(c.code, c.status) for c in checks] == [("outline-empty", "stop")]
    assert checks[0].value == pytest.approx(160)


def test_a_part_cut_off_by_an_obstacle_is_told():
    survey = with_vent(at=(150, 60), size=[10, 400], clearance=0)
    staged = stages(survey, odd_build())
    deck, checks = lay_deck(staged.survey, staged.build, staged.adjusted)
    told, = checks
    assert (told.code, told.status) == ("outline-split", "caution")
    assert told.value == pytest.approx((191 - 155) * 118.5 / 144)
    assert deck.net.area == pytest.approx((145 - 1) * 118.5)


# --- where members run


def test_joists_stand_at_the_spacing_from_the_edge_joist_on_the_house_side():
    staged = rectangle()
    rows = sorted(n.start[1] for n in of_role(staged, "joist"))
    house = min(n.start[1] for n in of_role(staged, "edge"))
    assert_allclose(np.diff([house, *rows]), 16, atol=1e-9)
    assert all(n.start[1] == n.end[1] for n in of_role(staged, "joist"))


@pytest.mark.parametrize("spacing", [12, 16, 24])
def test_the_far_bay_is_never_wider_than_the_spacing_nor_crowded(spacing):
    staged = rectangle(joists__spacing=spacing)
    edges = sorted(n.start[1] for n in of_role(staged, "edge"))
    rows = sorted(n.start[1] for n in of_role(staged, "joist"))
    bays = np.diff([edges[0], *rows, edges[-1]])
    assert bays.max() <= spacing + 1e-9 and bays.min() >= 6


def test_a_row_that_would_crowd_the_far_edge_joist_closes_up_evenly():
    """113 1/2 in between edge joists is seven bays of 16 in and 1 1/2 in over: eight even bays instead."""
    staged = stages(odd_survey(RECTANGLE), PAD)
    edges, rows = ([n.start[1] for n in of_role(staged, role)] for role in ("edge", "joist"))
    assert_allclose(np.diff(sorted([*edges, *rows])), 113.5 / 8)


@pytest.mark.parametrize("step", [96.2, 96.4, 96.6, 97, 98, 104])
def test_rows_close_up_a_little_where_an_edge_joist_half_way_takes_a_rows_place(step):
    corners = [(0, 0), (240, 0), (240, step + 4.75), (120, step + 4.75), (120, 216), (0, 216)]
    staged = stages(odd_survey(corners), PAD)
    y = sorted({round(n.start[1], 6) for n in staged.layout.lines if n.role in ("joist", "edge")
                and min(n.start[0], n.end[0]) < 200 < max(n.start[0], n.end[0])})
    spacing = staged.build.joists.spacing
    assert spacing == 16 and y[-1] - y[0] == pytest.approx(step - 1, abs=2)
    assert np.diff(y).max() <= spacing + 1e-6 and np.diff(y).min() >= 0.75
    assert np.diff(y)[:-1] == pytest.approx(np.diff(y)[0]) and np.diff(y)[0] >= 0.9 * spacing


@pytest.mark.parametrize("step", [1.5, 3, 5])
def test_rows_do_not_close_up_to_two_sides_that_lie_nearly_in_line(step):
    """The far side is skewed, so that both level ones lie on the door's; they once set a spacing between them."""
    corners = [(0, 0), (120, 0), (120, step), (240, step), (240, 140), (0, 200)]
    staged = stages(odd_survey(corners), PAD)
    rows = sorted({round(n.start[1], 3) for n in of_role(staged, "joist")})
    assert 5 < len(rows) < 14 and np.diff(rows).min() > 14


@pytest.mark.parametrize(("sides", "turned_by"), [(6, 0), (6, 13), (9, 5)])
@pytest.mark.parametrize("direction", [0, 90])
def test_a_pipe_whose_sides_are_too_short_for_wood_is_boxed_in(sides, turned_by, direction):
    """Headers from whole joist to whole joist on both sides of it, and trimmers between them where no joist is near."""
    survey = odd_survey(ROOM)
    angle = np.radians(turned_by) + 2 * np.pi * np.arange(sides) / sides
    places = np.array([100.0, 60.0]) + 2.8 * np.column_stack([np.cos(angle), np.sin(angle)])
    survey["positions"] |= {f"p{i}": list(map(float, at)) for i, at in enumerate(places)}
    survey["obstacles"] = [{"name": "pipe", "points": [f"p{i}" for i in range(sides)], "clearance": 0}]
    staged = stages(survey, odd_build(supports__pad_size=[6, 6]), direction)
    headers = [LineString([n.start, n.end]) for n in staged.layout.lines if n.header]
    joists = unary_union([LineString([n.start, n.end]) for n in of_role(staged, "joist")])
    hole, = staged.deck.holes
    assert len(headers) == 2
    for header in headers:
        assert hole.distance(header) == pytest.approx(0.75, abs=0.01)
        assert all(joists.distance(Point(end)) <= 0.76 for end in header.coords)
    wood = unary_union([LineString([n.start, n.end]).buffer(0.75, cap_style="flat") for n in staged.layout.lines])
    assert hole.intersection(wood).area < 0.01
    x0, y0, x1, y1 = hole.bounds
    beside = [(x, (y0 + y1) / 2) for x in (x0, x1)] if direction == 90 else [((x0 + x1) / 2, y) for y in (y0, y1)]
    assert all(wood.distance(Point(at)) < 4 for at in beside)  # what carries the boards' ends there


def test_a_header_runs_on_to_the_rim_where_no_joist_is_before_it():
    """Between an obstacle's corner and the rim there was no joist: its header ended in the air an inch off the rim."""
    survey = odd_survey([(0, 0), (348, 0), (348, 184), (0, 184)])
    corners = [(15, 150), (36.5, 139.0), (28.2, 111.8), (6.8, 122.6)]
    survey["positions"] |= {f"h{i}": at for i, at in enumerate(corners)}
    survey["obstacles"] = [{"name": "hatch", "points": ["h0", "h1", "h2", "h3"], "clearance": 0}]
    staged = stages(survey, odd_build(joists__spacing=24, supports__pad_size=[4, 4]))
    rims = [Polygon(LineString([n.start, n.end]).buffer(0.75, cap_style="flat")) for n in staged.layout.lines
            if n.role == "rim" and not n.header]
    held = unary_union([*rims, *(LineString([n.start, n.end]).buffer(0.75, cap_style="flat")
                                 for n in staged.layout.lines if n.role in ("joist", "edge"))])
    headers = [n for n in staged.layout.lines if n.header]
    assert headers and all(held.distance(Point(end)) < 0.6 for n in headers for end in (n.start, n.end))


def test_spacing_starts_from_the_door_wherever_it_is():
    survey = odd_survey(ROOM, door=[(78, 128), (96, 128), (114, 128)])
    staged = stages(survey, odd_build(supports__pad_size=[6, 6]))
    far = max(n.start[1] for n in of_role(staged, "edge"))
    rows = sorted((n.start[1] for n in of_role(staged, "joist")), reverse=True)
    assert_allclose(-np.diff([far, *rows]), 16, atol=1e-9)


def test_a_rim_closes_both_joist_ends_right_under_the_boards_edge():
    rims = sorted(n.start[0] for n in of_role(rectangle(), "rim"))
    assert rims == pytest.approx([1.75, 190.25])


def test_joists_end_at_the_inner_face_of_the_rims():
    for n in of_role(rectangle(), "joist"):
        assert (n.start[0], n.end[0]) == pytest.approx((2.5, 189.5))


def test_edge_joists_leave_room_for_half_a_pad_before_the_wall():
    """A pad 6 in wide keeps 1/4 in from the wall: its centre 3 1/4 in inside the roof."""
    low, high = sorted(n.start[1] for n in of_role(rectangle(), "edge"))
    assert (low, 128 - high) == pytest.approx((3.25, 3.25))


def test_the_edge_joist_of_a_skewed_side_runs_along_it():
    staged = stages(odd_survey(SKEWED), PAD)
    far = max(of_role(staged, "edge"), key=lambda n: n.start[1] + n.end[1])
    (ax, ay), (bx, by) = far.start, far.end
    assert (by - ay) / (bx - ax) == pytest.approx((96 - 150) / 210)
    side = LineString([SKEWED[2], SKEWED[3]])
    assert {round(side.distance(Point(p)), 6) for p in (far.start, far.end)} == {3.25}


def test_joists_toward_a_skewed_side_stop_at_its_edge_joist():
    staged = stages(odd_survey(SKEWED), PAD)
    far = max(of_role(staged, "edge"), key=lambda n: n.start[1] + n.end[1])
    short = [n for n in of_role(staged, "joist") if n.end[0] < 185]
    assert short
    for n in short:
        # half a stick off the centre line, square to it
        assert far.shape.distance(Point(n.end)) == pytest.approx(0.75, abs=0.02)


SHAPES = {"rectangle": RECTANGLE, "skewed": SKEWED, "L": L_SHAPE, "U": U_SHAPE, "triangle": TRIANGLE,
          "octagon": OCTAGON, "turned": turned(RECTANGLE, 33)}


def at_all(name):
    corners = SHAPES[name]
    return odd_survey(corners, lambda x, y: -8.0)


@pytest.mark.parametrize("direction", [0, 90, 30, 137])
@pytest.mark.parametrize("name", SHAPES)
def test_no_member_leaves_the_deck(name, direction):
    staged = stages(at_all(name), odd_build(), direction)
    room = staged.deck.net.buffer(0.02)
    assert [n.id for n in staged.layout.lines if not room.covers(n.shape)] == []


@pytest.mark.parametrize("direction", [0, 90, 30, 137])
@pytest.mark.parametrize("name", SHAPES)
def test_every_square_inch_is_carried_once(name, direction):
    staged = stages(at_all(name), odd_build(), direction)
    layout = staged.layout
    lines = {n.id: n for n in layout.lines}
    strips = sum(w.mean() * lines[k].length for k, w in layout.width.items())
    hung = sum(area for parts in layout.hung.values() for _, area in parts)
    assert strips + hung == pytest.approx(staged.deck.net.area, rel=1e-9)
    assert all((w >= 0).all() for w in layout.width.values())


@pytest.mark.parametrize("seed", range(8))
def test_every_square_inch_of_a_random_terrace_is_carried_once(seed):
    drawn = terrace(seed)
    staged = stages(drawn.survey, drawn.build)
    lines = {n.id: n for n in staged.layout.lines}
    strips = sum(w.mean() * lines[k].length for k, w in staged.layout.width.items())
    hung = sum(area for parts in staged.layout.hung.values() for _, area in parts)
    assert strips + hung == pytest.approx(staged.deck.net.area, rel=1e-9)


def test_a_joist_in_the_field_carries_its_spacing():
    layout = rectangle().layout
    for n in of_role(rectangle(), "joist")[1:-1]:
        assert_allclose(layout.width[n.id], 16, atol=0.05)


def test_what_hangs_on_a_joist_end_is_half_way_to_its_neighbours_under_the_rim():
    layout = rectangle().layout
    for n in of_role(rectangle(), "joist")[1:-1]:
        ends = dict(layout.hung[n.id])
        assert sorted(ends) == pytest.approx([0, 187])
        # the strip from the boards' edge to the rim's inner face is 1 1/2 in wide
        assert list(ends.values()) == pytest.approx([16 * 1.5] * 2, rel=0.01)


def test_names_count_by_role_and_do_not_repeat():
    lines = stages(at_all("U"), odd_build()).layout.lines
    assert len({n.id for n in lines}) == len(lines)
    for role, letter in (("joist", "J"), ("edge", "E"), ("rim", "R"), ("blocking", "K")):
        ids = [n.id for n in lines if n.role == role]
        assert ids == [f"{letter}{i + 1}" for i in range(len(ids))]


def test_turning_the_roof_turns_the_layout():
    """The same roof surveyed from a frame 33 degrees off gives the same members, turned."""
    straight = stages(at_all("rectangle"), PAD)
    spun = stages(at_all("turned"), PAD, 33)
    lengths = [sorted(round(n.length, 3) for n in s.layout.lines) for s in (straight, spun)]
    assert lengths[0] == lengths[1]


def test_places_along_a_line_start_at_its_end_a():
    n = of_role(rectangle(), "joist")[0]
    assert_allclose(n.at(np.array([0, n.length / 2, n.length])),
                    [n.start, [(n.start[0] + n.end[0]) / 2, n.start[1]], n.end])
