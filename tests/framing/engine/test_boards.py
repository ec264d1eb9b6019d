"""Tests of the boards: rows, rips and joints on outlines where they can be counted by hand."""

import math

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose
from shapely.geometry import box

from framing.engine.boards import _without_necks, lay_boards
from framing.reference.decking import LEAST_RIP
from tests.framing.odd_roofs import L_SHAPE, OCTAGON, RECTANGLE, odd_build, odd_survey
from tests.framing.staged import stages

NO_GAPS = dict.fromkeys(("A-B", "B-C", "C-D", "D-A"), 0)
SKEWED = [(0, 0), (192, 0), (200, 96), (-10, 150)]


def lay(corners=RECTANGLE, longest=400.0, joists=0.0, boards=90.0, obstacle=None, **build):
    """Boards on a deck, with the stages before them."""
    survey = odd_survey(corners, lambda x, y: -8)
    if obstacle:
        survey["positions"]["v"] = list(obstacle)
        survey["obstacles"] = [{"name": "vent", "point": "v", "size": 10, "clearance": 0}]
    staged = stages(survey, odd_build(**build), joists)
    return staged, lay_boards(staged.deck, staged.layout.lines, staged.build, boards, longest)


def plain(wide, deep=120, **build):
    """A rectangle `wide` across the boards with no gaps at its edges, boards running up its depth."""
    return lay([(0, 0), (wide, 0), (wide, deep), (0, deep)], decking__edge_gaps=NO_GAPS, **build)


# --- rows: n = ceil((W + g) / (b + g)), the last ripped to W - (n - 1)(b + g)


@pytest.mark.parametrize("wide", [100.0, 117.3, 150.0, 192.0, 210.5])
@pytest.mark.parametrize(("board", "gap"), [(5.5, 3 / 16), (3.5, 1 / 8), (5.5, 0)])
def test_rows_and_the_last_rip_follow_the_formula(wide, board, gap):
    _, decking = plain(wide, decking__width=board, decking__gap=gap)
    n = math.ceil((wide + gap) / (board + gap) - 1e-9)
    last = wide - (n - 1) * (board + gap)
    if last < LEAST_RIP:
        assert len(decking.boards) in (n, n - 1) and all(min(b.rip or (9,)) >= LEAST_RIP for b in decking.boards)
        return
    assert len(decking.boards) == n
    ripped = [b.rip for b in decking.boards if b.rip]
    assert ripped == ([] if last > board - 0.02 else [pytest.approx((last, last))])


def test_the_least_rip_is_a_setting():
    """18 rows and 2 1/4 in over: left as it is at the usual least rip, shared by two strips where 2 1/2 in is asked."""
    wide = 18 * (5.5 + 3 / 16) + 2.25
    _, usual = plain(wide, decking__gap="3/16")
    assert [b.rip[0] for b in usual.boards if b.rip] == pytest.approx([2.25])
    _, asked = plain(wide, decking__gap="3/16", decking__least_rip="2 1/2")
    widths = [b.rip[0] for b in asked.boards if b.rip]
    assert len(widths) == 2 and min(widths) >= 2.5 and sum(widths) == pytest.approx(5.5 + 2.25, abs=0.01)


def test_where_the_last_strip_would_be_a_sliver_the_rows_shift():
    """103 in of 5 11/16 in rows is 18 whole ones and 5/8 in over: both outer strips are ripped instead."""
    wide = 18 * (5.5 + 3 / 16) + 5 / 8
    _, decking = plain(wide, decking__gap="3/16")
    widths = sorted(min(b.rip) for b in decking.boards if b.rip)
    assert len(widths) == 2 and widths[0] >= LEAST_RIP
    assert sum(widths) == pytest.approx(5.5 + 5 / 8, abs=0.01)
    assert next(c for c in decking.checks if c.code == "feather-edge").status == "ok"


def test_neighbouring_rows_stand_one_gap_apart():
    _, decking = plain(192, decking__gap="3/16")
    x = sorted((b.polygon.bounds[0], b.polygon.bounds[2]) for b in decking.boards)
    assert_allclose([b[0] - a[1] for a, b in zip(x, x[1:], strict=False)], 3 / 16, atol=1e-9)


# --- on any outline


CASES = {
    "rectangle": dict(corners=RECTANGLE), "skewed": dict(corners=SKEWED), "L": dict(corners=L_SHAPE),
    "octagon": dict(corners=OCTAGON, joists=90.0, boards=0.0), "at 45": dict(corners=RECTANGLE, boards=45.0),
    "a vent": dict(corners=RECTANGLE, obstacle=(96, 60)), "short sticks": dict(corners=SKEWED, longest=95.75),
}


@pytest.fixture(params=CASES, scope="module")
def laid(request):
    return lay(**CASES[request.param])


def test_boards_stay_on_the_deck(laid):
    staged, decking = laid
    room = staged.deck.net.buffer(1e-6)
    assert [b.id for b in decking.boards if not room.covers(b.polygon)] == []


def test_boards_do_not_lie_over_each_other(laid):
    _, decking = laid
    union = shapely.union_all([b.polygon for b in decking.boards])
    assert union.area == pytest.approx(sum(b.polygon.area for b in decking.boards), rel=1e-9)


def test_boards_cover_the_deck_but_for_the_gaps(laid):
    """Width over width and gap, less what slivers leave along the sides."""
    staged, decking = laid
    cover = sum(b.polygon.area for b in decking.boards) / staged.deck.net.area
    pitch = 5.5 + 3 / 16
    assert cover == pytest.approx(5.5 / pitch, abs=0.01)


def test_no_two_boards_carry_one_name(laid):
    assert len({b.id for b in laid[1].boards}) == len(laid[1].boards)


def test_no_board_is_wider_than_a_board(laid):
    _, decking = laid
    turn = math.radians(decking.direction)
    across = np.array([-math.sin(turn), math.cos(turn)])
    assert max(np.ptp(np.array(b.polygon.exterior.coords) @ across) for b in decking.boards) <= 5.5 + 1e-6


def test_a_board_without_a_rip_is_full_width_and_one_with_a_rip_is_not(laid):
    """Ends may be skew: at up to 45 degrees each takes half a square of the width off the area."""
    for b in laid[1].boards:
        if b.rip is None:
            assert b.polygon.area >= 5.5 * b.length - 5.5**2 - 0.1
        else:
            assert b.polygon.area < 5.5 * b.length - 0.1


def test_a_skewed_side_is_cut_as_skew_ends_and_not_ripped():
    """Boards running out to a side that is 14 degrees off square keep their full width."""
    _, decking = lay(SKEWED)
    inner = [b for b in decking.boards if 20 < b.polygon.centroid.x < 170]
    assert {b.rip for b in inner} == {None} and {b.skew_ends for b in inner} == {1}


def test_a_splayed_side_tapers_its_boards():
    """The left side runs out 10 in over 150: boards along it are ripped from end to end."""
    _, decking = lay(SKEWED)
    outer = min(decking.boards, key=lambda b: b.polygon.bounds[0])
    assert outer.rip is not None and abs(outer.rip[0] - outer.rip[1]) > 0.1


def test_a_sliver_of_a_board_is_told():
    _, decking = lay(SKEWED)
    told = next(c for c in decking.checks if c.code == "feather-edge")
    narrowest = min(min(b.rip) for b in decking.boards if b.rip)
    assert (told.status == "caution") == (narrowest < LEAST_RIP)
    assert told.value == pytest.approx(narrowest)


# --- joints


@pytest.mark.parametrize("longest", [143.75, 95.75, 71.75])
def test_joints_land_on_joists_and_no_piece_is_longer_than_its_stick(longest):
    staged, decking = lay([(0, 0), (192, 0), (192, 216), (0, 216)], longest=longest)
    rows = np.array([n.start[1] for n in staged.layout.lines if n.role in ("joist", "edge")])
    low, high = staged.deck.net.bounds[1], staged.deck.net.bounds[3]
    assert max(b.length for b in decking.boards) <= longest + 1e-6
    ends = 0
    for b in decking.boards:
        for y in (b.polygon.bounds[1], b.polygon.bounds[3]):
            if low + 1 < y < high - 1:
                ends += 1
                assert np.abs(rows - y).min() < 0.01
    assert ends > 0


def test_a_run_is_divided_into_as_few_pieces_as_its_reach_allows():
    _, decking = lay([(0, 0), (192, 0), (192, 216), (0, 216)], longest=143.75)
    rows = {}
    for b in decking.boards:
        rows.setdefault(int(b.polygon.centroid.x * 16 + 0.1), []).append(b)
    assert {len(row) for row in rows.values()} == {2}


def test_joints_of_neighbouring_rows_are_staggered():
    _, decking = lay([(0, 0), (192, 0), (192, 216), (0, 216)], longest=143.75)
    rows = {}
    for b in decking.boards:
        rows.setdefault(int(b.polygon.centroid.x * 16 + 0.1), []).append(b.polygon.bounds[3])
    joints = [min(tops) for _, tops in sorted(rows.items())]
    assert all(abs(a - b) > 15 for a, b in zip(joints, joints[1:], strict=False))


def test_boards_within_reach_have_no_joint():
    _, decking = lay(longest=191.75)
    assert len({int(b.polygon.centroid.x * 16 + 0.1) for b in decking.boards}) == len(decking.boards)


def test_a_vent_cuts_the_boards_in_its_way():
    _, decking = lay(obstacle=(96, 60))
    hole = box(91, 55, 101, 65)
    assert all(b.polygon.intersection(hole).area < 1e-6 for b in decking.boards)
    rows = {}
    for b in decking.boards:
        rows.setdefault(int((b.polygon.bounds[0] + 0.01) / (5.5 + 3 / 16)), []).append(b)
    assert max(len(row) for row in rows.values()) >= 2


def test_turning_everything_turns_the_boards():
    one = lay()[1]
    other = lay(joists=90.0, boards=180.0, corners=[(0, 0), (120, 0), (120, 192), (0, 192)])[1]
    assert len(one.boards) == pytest.approx(len(other.boards), abs=1)
    assert {b.kind for b in (*one.boards, *other.boards)} == {"field"}


def test_length_is_measured_along_the_boards():
    _, decking = lay(boards=45.0)
    for b in decking.boards:
        u = np.array([1, 1]) / math.sqrt(2)
        assert b.length == pytest.approx(np.ptp(np.array(b.polygon.exterior.coords) @ u))


def test_a_hair_beside_an_obstacle_that_a_row_ends_at_is_no_wood():
    spiked = shapely.Polygon([(21, 0), (42, 0), (41, 3.5), (0, 3.5), (0, 3.499999999), (21, 3.499999999)])
    whole, tip = shapely.box(0, 4, 42, 7.5), shapely.Polygon([(0, 8), (42, 8), (42, 11.5), (2, 11.5), (1, 11)])
    parts, row = _without_necks(np.array([spiked, whole, tip], object), np.arange(3))
    of = dict(zip(row.tolist(), parts, strict=True))
    assert len(parts) == 3 and shapely.bounds(of[0])[0] == pytest.approx(21, abs=1e-6)
    assert of[1].equals(whole) and of[2].equals(tip)
