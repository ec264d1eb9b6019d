"""Quantities and hours against formulas and examples that handbooks print or the trade keeps."""

import math

import pytest

from framing.engine.boards import lay_boards
from framing.engine.labor import Task
from framing.engine.takeoff import Quantity
from framing.reference.production import (
    FACTOR_CAP,
    FACTORS,
    PRESERVATIVE_SQFT_PER_GALLON,
    PROTECTION_LAPS,
    RATES,
    SEALER_SQFT_PER_QUART,
    SPARE_STICKS_IN,
)
from tests.framing.odd_roofs import odd_build, odd_survey
from tests.framing.staged import stages

NO_GAPS = dict.fromkeys(("A-B", "B-C", "C-D", "D-A"), 0)


def boards_on(wide, deep, board, gap, spacing=16):
    """Boards of that width and gap up a rectangle, over joists at the spacing."""
    survey = odd_survey([(0, 0), (wide, 0), (wide, deep), (0, deep)], lambda x, y: -8)
    staged = stages(survey, odd_build(decking__edge_gaps=NO_GAPS, decking__width=board, decking__gap=gap,
                                      joists__spacing=spacing, supports__pad_size=[4, 4]))
    return staged, lay_boards(staged.deck, staged.layout.lines, staged.build, 90, 1e9)


# Linear feet of decking to the square foot, 12 / (width + gap): worked by hand to three places.
DECKING = [(5.5, 3 / 16, 2.110), (5.5, 1 / 8, 2.133), (5.36, 1 / 4, 2.139), (3.5, 3 / 16, 3.254)]


@pytest.mark.parametrize(("board", "gap", "feet"), DECKING)
def test_linear_feet_of_decking_to_the_square_foot(board, gap, feet):
    wide = 30 * (board + gap)  # whole rows: each takes its width and a gap
    staged, decking = boards_on(wide, 120, board, gap)
    laid = sum(b.length for b in decking.boards) / 12
    assert laid / staged.deck.net_sqft == pytest.approx(feet, abs=5e-4)


# Rows n = ceil((W + g) / (b + g)), the last ripped to W - (n - 1)(b + g): worked by hand.
ROWS = [(192, 5.5, 3 / 16, 34, 4.3125), (100, 5.5, 1 / 8, 18, 4.375), (120, 3.5, 3 / 16, 33, 2.0)]


@pytest.mark.parametrize(("wide", "board", "gap", "rows", "last"), ROWS)
def test_rows_of_decking_and_the_last_rip(wide, board, gap, rows, last):
    assert rows == math.ceil((wide + gap) / (board + gap)) and last == wide - (rows - 1) * (board + gap)
    _, decking = boards_on(wide, 120, board, gap)
    assert len(decking.boards) == rows
    assert [b.rip for b in decking.boards if b.rip] == [pytest.approx((last, last))]


# Crossings of board and joist to the square foot, 144 / ((width + gap) spacing), 5 1/2 in boards 3/16 in apart.
CROSSINGS = [(12, 2.11), (16, 1.58), (24, 1.06)]


@pytest.mark.parametrize(("spacing", "crossings"), CROSSINGS)
def test_crossings_to_the_square_foot(spacing, crossings):
    """On 40 ft of depth; one member more than there are bays, and edge joists a little inside, are within 6 %."""
    assert 144 / ((5.5 + 3 / 16) * spacing) == pytest.approx(crossings, abs=0.006)
    staged, decking = boards_on(30 * (5.5 + 3 / 16), 480, 5.5, 3 / 16, spacing)
    assert decking.crossings / staged.deck.net_sqft == pytest.approx(crossings, rel=0.06)


def quantity(net, waste, pack, unit="EA"):
    return Quantity("item", "words", unit, net, waste, 0.0, pack, "EA", "by hand")


def test_519_clips_and_five_percent_are_four_boxes_of_175():
    """Common practice: count, 5 % over, whole boxes: 519 x 1.05 / 175 = 3.1."""
    assert quantity(519, math.ceil(519 * 0.05), 175).order == 4


def test_waste_is_added_on_and_no_yield():
    """Two conventions stand in the trade: 15 % added on is x 1.15, as a yield x 1.176. Ours is added on."""
    assert quantity(100, 15, 1).order == 115


def test_end_sealer_for_96_ends_is_a_quart():
    """96 ends of 5 1/2 x 1 in are 3.7 sq ft; 100 sq ft a gallon is a trade page's figure, four quarts to it."""
    area = 96 * 5.5 * 1 / 144
    assert area == pytest.approx(3.7, abs=0.05) and 4 * SEALER_SQFT_PER_QUART == 100
    assert quantity(area / SEALER_SQFT_PER_QUART, 0, 1, "QTL").order == 1


def test_preservative_for_244_feet_of_rips_is_a_gallon():
    """1 1/2 in of sawn face: 244 ft are 30.5 sq ft. Common practice."""
    area = 244 * 1.5 / 12
    assert area == pytest.approx(31, abs=0.6)
    assert quantity(area / PRESERVATIVE_SQFT_PER_GALLON, 0, 1, "GLL").order == 1


def test_laps_and_spares_of_the_trade():
    """Common practice: a tenth for laps, one spare in 25 sticks of each long size."""
    assert (PROTECTION_LAPS, SPARE_STICKS_IN) == (0.10, 25)


# NAVEDTRA 14045, Engineering Aid 1, pp. 2-25 to 2-29: man-days = quantity / unit size x man-hours a unit / 8 x delay
# factor; its example of 16,000 sq ft at 33 man-hours to 1,000 sq ft comes to 66 man-days before the factor.
@pytest.mark.parametrize("factor", [1.0, 1.25, 1.6])
def test_man_days_of_the_navy_manual(factor):
    t = Task("any", 16.0, "thousand square feet", 33.0, factor, "NAVEDTRA 14045")
    assert t.hours == pytest.approx(16 * 33 * factor)
    assert t.hours / 8 == pytest.approx(66 * factor)


# Person-hours low, typical, high: common practice, no published source; the office's own rates replace them.
HOURS = {
    "check-survey": (4, 6, 10), "rip-tapers": (0.03, 0.045, 0.07), "set-pads": (0.06, 0.09, 0.15),
    "set-members": (0.035, 0.05, 0.08), "block": (0.08, 0.12, 0.20), "tape-joists": (0.004, 0.006, 0.01),
    "deck-face": (0.07, 0.10, 0.14), "deck-hidden": (0.08, 0.10, 0.14), "scribe": (0.07, 0.10, 0.18),
    "seal-ends": (0.008, 0.012, 0.02), "protect": (0.015, 0.022, 0.035),
}


@pytest.mark.parametrize("task", HOURS)
def test_rates_of_the_trade(task):
    assert (RATES[task].low, RATES[task].typical, RATES[task].high) == HOURS[task]


def test_hoisting_and_stairs_stay_in_their_bands():
    """Common practice: boom-landed 0.3 to 0.4 hours a hundredweight, stairs 0.25 to 0.4 a floor."""
    assert (RATES["hoist"].low, RATES["hoist"].high) == (0.3, 0.4)
    assert (RATES["hoist-stairs"].low, RATES["hoist-stairs"].high) == (0.25, 0.4)


def test_clean_up_is_three_to_six_percent():
    assert (RATES["clean-up"].low, RATES["clean-up"].high) == (0.03, 0.06)


# Multipliers of the trade, common practice; their product is held to about 1.6.
DIFFICULTY = {"upper-floor": (1.05, 1.15), "stair-carry": (1.15, 1.35), "out-of-square": (1.03, 1.10),
              "small-job": (1.10, 1.25)}


@pytest.mark.parametrize("factor", DIFFICULTY)
def test_difficulty_factors_of_the_trade(factor):
    assert (FACTORS[factor].low, FACTORS[factor].high) == DIFFICULTY[factor]
    assert FACTORS[factor].low <= FACTORS[factor].typical <= FACTORS[factor].high and FACTOR_CAP == 1.6


# Quantities of a worked example at the typical rates, hours to a tenth as worked by hand.
@pytest.mark.parametrize(("quantity", "task", "hours"), [(244, "rip-tapers", 11.0), (157, "set-pads", 14.1),
                                                         (244, "set-members", 12.2)])
def test_hours_worked_by_hand(quantity, task, hours):
    rate = RATES[task]
    assert Task(task, quantity, rate.unit, rate.typical, 1.0, "by hand").hours == pytest.approx(hours, abs=0.05)
