"""Tests of what is told of the boards: each check once failing, once just passing."""

from dataclasses import replace

import pytest
from shapely import box

from framing.engine.board_checks import Laid, told
from framing.engine.board_pieces import Board
from framing.engine.documents import parse_build
from tests.framing.board_reading import cover, laid, without
from tests.framing.odd_roofs import odd_build

BUILD = parse_build(odd_build())


def board(name, width=5.5, rip=None, narrowest=5.5):
    return Board(name, "field", box(0, 0, 100, width), 100.0, rip, 0, narrowest, 0.0)


def find(code, boards, **more):
    area = sum(b.polygon.area for b in boards)
    given = Laid(boards, 20000.0, area, 0.0, 0, float("inf"))
    return next((c for c in told(replace(given, **more), BUILD) if c.code == code), None)


def test_strips_under_the_least_rip_are_named_with_their_places():
    boards = [board("B1"), board("B2", 1.4, (1.4, 1.4), 1.4), board("B3", 3, (0.5, 3.0), 0.5)]
    check = find("feather-edge", boards)
    assert check.status == "caution" and check.value == 0.5 and check.where == "B3"
    assert "2 boards" in check.text and "B3 0.50 in at x 50, y 2, B2 1.40 in" in check.text
    assert find("feather-edge", [board("B1"), board("B2", 1.5, (1.5, 1.5), 1.5)]).status == "ok"


def test_strips_that_no_start_avoids_are_told_to_be_so():
    thin = [board("B2", 1.4, (1.4, 1.4), 1.4)]
    assert "No start of the rows leaves less than 10.0 ft" in find("feather-edge", thin, thin=120.0).text
    assert "corners" in find("feather-edge", thin).text


def test_cover_that_is_not_the_decks_less_its_gaps_is_a_caution():
    boards = [board("B1"), board("B2")]
    assert find("cover", boards).status == "ok"
    assert find("cover", boards, to_cover=1100 + 71.9).status == "ok"
    assert find("cover", boards, to_cover=1100 + 72.1).status == "caution"
    assert find("cover", boards, to_cover=1100 - 72.1).status == "caution"
    assert find("cover", boards, area=2000.0, to_cover=1110.5).status == "caution"


@pytest.fixture(scope="module")
def deck():
    return laid(10)


def test_the_formula_misses_any_board_that_is_missing(deck):
    """Each of a foot and more in turn: half a per cent of the deck, or a hole wider than its gaps."""
    assert list(cover(deck)) == []
    some = [b for b in deck.decking.boards if b.polygon.area > 60][::7]
    assert len(some) > 5
    for b in some:
        assert {kind for kind, _ in cover(without(deck, b))} & {"cover", "bare"}, b.id


def test_joints_within_two_joists_of_their_neighbours_are_a_caution():
    assert find("board-joints", [board("B1")]) is None
    assert find("board-joints", [board("B1")], joints=4, apart=3.0).status == "ok"
    assert find("board-joints", [board("B1")], joints=4, apart=2.0).status == "caution"


def test_tapers_are_told_by_how_much():
    assert find("wall-rips", [board("B1"), board("B2", 3, (3.0, 3.0), 3.0)]) is None
    check = find("wall-rips", [board("B2", 3, (3.0, 2.0), 2.0), board("B3", 3, (3.0, 1.8), 1.8)])
    assert check.value == pytest.approx(1.2) and "2 boards" in check.text


def test_the_best_face_is_asked_for():
    assert find("best-face", [board("B1")]).status == "note"
