"""Tests of what moisture does to the gap between boards."""

import pytest

from framing.engine.board_movement import movement_check
from framing.engine.documents import parse_build
from tests.framing.odd_roofs import odd_build


def told(species, gap="3/16", width=5.5):
    return movement_check(parse_build(odd_build(decking__species=species, decking__gap=gap,
                                                decking__width=width)).decking)


def test_a_dry_board_closes_its_gap_by_what_it_swells():
    """Ipe, S 8 %, 12 to 16 %: 5.5 x 4 / (3000/8 - 30 + 12) = 0.0616 in; to 8 %: 5.5 x 0.0028 x 4 = 0.0616."""
    check = told("ipe")
    assert check.status == "note" and check.value == pytest.approx(0.0616, abs=1e-4)
    assert check.limit == pytest.approx(3 / 16)
    assert "0.126 to 0.249" in check.text


def test_a_gap_that_swelling_takes_up_is_a_caution():
    """0.0616 in against gaps just over and just under it."""
    assert told("ipe", gap=0.062).status == "note"
    assert told("ipe", gap=0.061).status == "caution"


def test_a_wider_board_moves_more():
    assert told("ipe", width=3.5).value == pytest.approx(told("ipe").value * 3.5 / 5.5)


def test_pine_bought_wet_is_told_to_be_laid_close():
    """28 to 12 %: 5.5 x 16 / (3000/7.4 - 30 + 28) = 0.218 in."""
    assert "0.218 in as it dries" in told("southern pine").text and "Bought wet" not in told("ipe").text


@pytest.mark.parametrize("species", ["composite", "purple wood", None])
def test_a_species_without_published_movement_is_left_to_its_maker(species):
    check = told(species)
    assert check.code == "board-movement-unknown" and check.status == "caution"
    assert check.decided_by == "decking's maker"
