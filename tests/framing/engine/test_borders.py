"""Tests of border courses: their boards, the field inside them, and the wood that carries both."""

import math

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose
from shapely import LineString, Point

from framing.engine.boards import lay_boards
from framing.engine.borders import border_lines, lay_border
from framing.engine.design import frame
from framing.engine.headers import border_checks
from framing.engine.layout import Line
from framing.engine.members import Member
from framing.engine.openings import STICK
from framing.engine.structure import AdjustedValues, Load
from tests.framing.odd_roofs import L_SHAPE, OCTAGON, RECTANGLE, odd_build, odd_survey
from tests.framing.staged import stages

WIDTH, GAP = 5.5, 3 / 16
PITCH = WIDTH + GAP
NO_GAPS = dict.fromkeys(("A-B", "B-C", "C-D", "D-A"), 0)


def staged(courses, corners=RECTANGLE, joists=0.0, **build):
    survey = odd_survey(corners, lambda x, y: -8)
    return stages(survey, odd_build(decking__border_courses=courses, **build), joists)


def border(courses, corners=RECTANGLE, **build):
    s = staged(courses, corners, **build)
    return s.deck, lay_border(s.deck, s.build.decking)


def laid(courses, corners=RECTANGLE, joists=0.0, boards=90.0, longest=400.0, **build):
    s = staged(courses, corners, joists, **build)
    wood, checks = border_lines(s.deck, s.layout.lines, s.build, boards)
    lines = (*s.layout.lines, *wood)
    return s, lines, lay_boards(s.deck, lines, s.build, boards, longest), checks


# --- the boards


def test_a_course_round_a_rectangle_is_four_boards_mitred_at_45_degrees():
    """Long points at the corners: each board covers width x (side - width)."""
    deck, found = border(1, decking__edge_gaps=NO_GAPS)
    assert sorted(c.shape.area for c in found.courses) == pytest.approx(
        sorted([WIDTH * (192 - WIDTH)] * 2 + [WIDTH * (120 - WIDTH)] * 2))
    for c in found.courses:
        run = np.diff(np.array(c.shape.exterior.coords), axis=0)
        assert sorted(np.round(np.degrees(np.arctan2(run[:, 1], run[:, 0])) % 90, 6)) == [0, 0, 45, 45]


@pytest.mark.parametrize("courses", [1, 2, 3])
@pytest.mark.parametrize("corners", [RECTANGLE, L_SHAPE, OCTAGON], ids=["rectangle", "L", "octagon"])
def test_the_field_lies_a_board_and_a_gap_a_course_inside(courses, corners):
    deck, found = border(courses, corners)
    assert found.laid == courses and len(found.courses) == courses * len(corners)
    boards = shapely.union_all([c.shape for c in found.courses])
    assert boards.area == pytest.approx(sum(c.shape.area for c in found.courses))
    assert boards.distance(found.field) == pytest.approx(GAP)
    assert found.field.exterior.distance(deck.outline.exterior) == pytest.approx(courses * PITCH)


def test_courses_that_do_not_fit_are_told():
    """A deck 60 in deep after its gaps keeps a field of 3 1/8 in inside five courses, none inside six."""
    corners = [(0, 0), (120, 0), (120, 61.5), (0, 61.5)]
    _, found = border(6, corners)
    assert found.laid == 5 and found.checks[0].status == "caution"
    assert (found.checks[0].value, found.checks[0].limit) == (5, 6)


def test_without_courses_the_field_is_the_deck():
    deck, found = border(0)
    assert found.courses == () and found.field.equals(deck.net) and found.checks == ()


def test_a_side_too_short_for_its_mitres_is_butted_and_nothing_overlaps():
    """A corner cut off by 3 in: the second course has no room for a board along it."""
    corners = [(0, 0), (192, 0), (192, 117), (189, 120), (0, 120)]
    deck, found = border(2, corners)
    shapes = np.array([c.shape for c in found.courses])
    rings = [deck.outline.buffer(-k * PITCH, join_style="mitre").area
             - deck.outline.buffer(-k * PITCH - WIDTH, join_style="mitre").area for k in (0, 1)]
    assert shapely.area(shapes).sum() == pytest.approx(sum(rings), abs=2)
    assert shapely.union_all(shapes).area == pytest.approx(shapely.area(shapes).sum(), abs=0.01)


def test_a_long_border_board_is_jointed_over_wood():
    s, lines, decking, _ = laid(1, longest=95.75)
    wood = shapely.union_all([n.shape.buffer(STICK / 2 + 1e-6, cap_style="flat") for n in lines])
    pieces = [b for b in decking.boards if b.kind == "border"]
    assert max(b.length for b in pieces) <= 95.75 and len(pieces) > 4
    for b in pieces:
        xy = np.array(b.polygon.exterior.coords)
        for end in xy[np.hypot(*(xy - np.array(s.deck.outline.exterior.coords)[:-1][:, None]).transpose(2, 0, 1))
                      .min(axis=0) > 10]:
            assert wood.distance(Point(end)) < 6  # the ends within the side, over block and edge joist


# --- the wood


@pytest.mark.parametrize("courses", [1, 3])
@pytest.mark.parametrize("boards", [90.0, 45.0])
@pytest.mark.parametrize("corners", [RECTANGLE, L_SHAPE, OCTAGON], ids=["rectangle", "L", "octagon"])
def test_every_field_board_ends_on_wood_at_the_seam(courses, boards, corners):
    s, lines, decking, checks = laid(courses, corners, boards=boards)
    wood = shapely.union_all([n.shape.buffer(STICK / 2 + 1e-3, cap_style="square") for n in lines])
    seam = lay_border(s.deck, s.build.decking).field.exterior
    turn = math.radians(boards)
    u, n = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    ends = 0
    for b in (b for b in decking.boards if b.kind == "field"):
        xy = shapely.get_coordinates(b.polygon)
        y = ((xy @ n).min() + (xy @ n).max()) / 2
        line = LineString([(xy @ u).min() * u + y * n - u, (xy @ u).max() * u + y * n + u]).intersection(b.polygon)
        for end in line.coords:
            if seam.distance(Point(end)) < 0.01:
                ends += 1
                assert wood.distance(Point(end)) < 1 / 16, (b.id, end)
    assert ends > 20 and checks == []


@pytest.mark.parametrize("courses", [1, 2, 3])
def test_a_border_along_the_joists_is_never_further_from_block_to_block_than_the_joists_stand(courses):
    s, lines, _, _ = laid(courses, decking__edge_gaps=NO_GAPS)
    spacing = s.build.joists.spacing
    for y in np.arange(courses) * PITCH + WIDTH - 0.5:  # along each course's inner edge
        course = LineString([(0, y), (192, y)])
        # the mitre piece and the rim carry the course at its ends
        x = sorted(shapely.get_coordinates(course.intersection(shapely.union_all([n.shape for n in lines])))[:, 0])
        on_edge = [n for n in lines if n.role in ("joist", "edge", "border")
                   and course.distance(n.shape) < STICK / 2 and n.length > 24
                   and abs(n.start[1] - n.end[1]) < 0.01]
        if not on_edge:
            assert max(np.diff([0.0, *x, 192.0])) <= spacing + STICK


def test_pieces_hang_at_both_ends_and_stand_on_no_pad():
    s, lines, _, _ = laid(2)
    wood = [n for n in lines if n.role == "border"]
    assert wood and {n.id[0] for n in wood} == {"N"} and len({n.id for n in lines}) == len(lines)
    bodies = np.array([o.shape.buffer(STICK / 2, cap_style="flat") for o in lines])
    for n in wood:
        others = bodies[[o is not n for o in lines]]
        assert all(shapely.distance(others, Point(end)).min() < 0.06 for end in (n.start, n.end)), n.id


def test_a_border_takes_no_wood_from_a_deck_without_one():
    s = staged(0)
    assert border_lines(s.deck, s.layout.lines, s.build, 90.0) == ([], [])


def test_a_border_board_is_of_full_width_and_as_long_as_its_side():
    _, _, decking, _ = laid(1)
    rows = [b for b in decking.boards if b.kind == "border"]
    assert {b.rip for b in rows} == {None}
    assert_allclose(sorted(b.length for b in rows), [118.5, 118.5, 190, 190])


def border_strength(depth, ripped=True, point=0.0):
    """The check of a block of 14 1/2 in between joists at 16 in, of wood of 1,000 psi in bending, 500 at No. 3."""
    line = Line("N1", "border", (0.0, 0.0), (14.5, 0.0))
    block = Member(line, "2x6", np.array([[0.0, depth], [14.5, depth]]), ripped=ripped)
    strong, weak = ({"N1": AdjustedValues(fb, 175.0, 565.0, 1.4e6, 5.1e5, 1.0, ())} for fb in (1000.0, 500.0))
    (found,) = border_checks([block], 16.0, Load(dead=10.0, live=60.0, point=point), strong, weak)
    return found


@pytest.mark.parametrize("depth", [2.5, 3.0, 5.5])
def test_a_block_under_a_border_bears_a_person_at_its_middle_by_hand(depth):
    """M = 300 x 14.5 / 4 + 10 psf x 16 in x 14.5^2 / 8 = 1,087.5 + 29.2 lb-in; S = 1.5 d^2 / 6; V = 150 + 8.1 lb."""
    moment, shear = 300 * 14.5 / 4 + 10 * 16 / 144 * 14.5**2 / 8, 150 + 10 * 16 / 144 * 14.5 / 2
    found = border_strength(depth, ripped=False)
    used = max(moment / (1.5 * depth**2 / 6) / 1000, 1.5 * shear / (1.5 * depth) / 175)
    assert found.value == pytest.approx(used, rel=0.01)
    assert found.status == "ok" and found.where == "N1"


def test_a_block_too_shallow_for_a_person_is_doubled_and_a_stop_where_the_basis_asks_for_one():
    """Two inches deep it is bent to 1,117 psi of 1,000."""
    told = border_strength(2.0)
    assert told.status == "caution" and told.value > 1.1 and "Double" in told.text
    assert border_strength(2.0, point=300.0).status == "stop"
    assert "Double" not in border_strength(2.5).text


def test_a_block_too_shallow_for_the_load_alone_is_a_stop():
    """29.2 lb-in on half an inch: S = 1.5 x 0.2^2 / 6 = 0.01 cu in, 2,920 psi of 1,000."""
    assert border_strength(0.2).status == "stop"


def test_a_ripped_block_that_no_3_does_not_bear_waits_for_a_grader():
    assert border_strength(2.9).status == "caution"  # 0.53 of 1,000 psi is 1.06 of 500
    assert border_strength(2.9, ripped=False).status == "ok"


def test_a_border_s_blocks_are_checked_in_a_framing():
    document = frame(odd_survey(RECTANGLE, lambda x, y: -8), odd_build(decking__border_courses=2)).document
    (found,) = [c for c in document["checks"] if c["code"] == "strength-border"]
    assert found["status"] == "ok" and 0 < found["value"] < 1
