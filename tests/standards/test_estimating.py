"""Quantities and hours against formulas and examples that handbooks print or the trade keeps."""

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from estimating import units
from estimating.money import Terms
from framing.engine.boards import lay_boards
from framing.engine.crew import working_days
from framing.engine.labor import Task
from framing.engine.supports import Frame
from framing.engine.takeoff import Quantity, board_feet, crossings
from framing.reference.production import (
    AVAILABILITY,
    FACTOR_CAP,
    FACTORS,
    HOURS_A_DAY,
    LIFTS,
    PRESERVATIVE_SQFT_PER_GALLON,
    PROTECTION_LAPS,
    RATES,
    SEALER_SQFT_PER_QUART,
    SPARE_STICKS_IN,
)
from quotes.estimate import Price, estimate
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


@pytest.mark.parametrize(("spacing", "expected"), CROSSINGS)
def test_crossings_to_the_square_foot(spacing, expected):
    """On 40 ft of depth; one member more than there are bays, and edge joists a little inside, are within 6 %."""
    assert 144 / ((5.5 + 3 / 16) * spacing) == pytest.approx(expected, abs=0.006)
    staged, decking = boards_on(30 * (5.5 + 3 / 16), 480, 5.5, 3 / 16, spacing)
    frame = Frame(tuple(staged.members), (), 0.0, 0.0, ())
    assert crossings(frame, decking) / staged.deck.net_sqft == pytest.approx(expected, rel=0.06)


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
    t = Task("any", 16.0, "thousand square feet", 33.0, factor, "NAVEDTRA 14045", 33.0, 33.0)
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
    """Common practice: boom-landed 0.3 to 0.4 hours a hundredweight, rope 0.5 to 0.8, stairs 0.25 to 0.4 a floor."""
    assert (RATES["hoist"].low, RATES["hoist"].high) == (0.3, 0.4)
    assert (RATES["hoist-rope"].low, RATES["hoist-rope"].high) == (0.5, 0.8)
    assert (RATES["hoist-stairs"].low, RATES["hoist-stairs"].high) == (0.25, 0.4)
    assert (RATES["panels"].low, RATES["panels"].typical, RATES["panels"].high) == (2, 3, 5)


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
    assert Task(task, quantity, rate.unit, rate.typical, 1.0, "by hand", rate.low, rate.high).hours == pytest.approx(
        hours, abs=0.05)


# NAVEDTRA 14045 p. 2-29: 70 man-days, a crew of 12 with 7 1/2 of 8 hours at work (man-day equivalent 0.9375), three
# quarters of them there: 8.3, so 9 workdays.
def test_workdays_of_the_navy_manual():
    assert round(70 / 12 / 0.75 / 0.9375, 1) == 8.3
    assert working_days(70 * 8, 12, 0.9375 * 8, 0.75) == 9


# The same manual's man-day capability, people x workdays x man-day equivalent x availability, is met by those days and
# not by one less; NAVEDTRA 14233 gives 9/8 = 1.125 for a nine-hour day and 0.75 to 0.85 for availability.
@pytest.mark.parametrize("availability", [0.75, 0.85])
@pytest.mark.parametrize("hours", [100.0, 560.0, 1234.5])
def test_workdays_have_the_capability_and_one_less_has_not(hours, availability):
    days = working_days(hours, 3, 9.0, availability)
    capability = 3 * 1.125 * availability * np.array([days - 1, days])  # man-days of 8 hours
    assert capability[0] < hours / 8 <= capability[1]


def test_availability_and_day_of_the_navy_manual():
    assert (AVAILABILITY, HOURS_A_DAY) == (0.75, 8)


# Board measure. Navy Engineering Aid Basic, ch. 6 (tpub.com/engbas/6-3): 14 ft of 2 x 4. Army EN5155 p. 1-28: 14 pieces
# of 1 x 4 x 8 ft; it never writes board feet as decimals.
@pytest.mark.parametrize(("pieces", "size", "feet", "expected"), [
    (1, (2, 4), 14, Fraction(28, 3)), (14, (1, 4), 8, Fraction(112, 3)), (1, (0.75, 4), 8, Fraction(8, 3)),
])
def test_board_feet_of_the_manuals(pieces, size, feet, expected):
    assert pieces * board_feet(*size, feet) == pytest.approx(float(expected))
    assert expected in (Fraction(28, 3), 37 + Fraction(1, 3), Fraction(8, 3))  # 9 1/3, 37 1/3 and 2 2/3
    bought = units.board_feet(units.Piece(Decimal(12 * feet), *(Decimal(str(v)) for v in size)))
    assert pieces * bought == expected  # what prices by board measure go by


# Army EN01136, lesson 5, answers: a tent floor of 106 in, boards of 5 1/2 in, 15 % waste: 106 / 5 1/2 / 0.85 = 22.7, so
# 23 pieces. That is the yield convention; added on, the same 15 % would make 22.2, as many pieces here but fewer feet.
def test_the_armys_tent_floor_is_a_yield():
    net = 106 / 5.5
    q = quantity(net, net / 0.85 - net, 1)
    assert q.net + q.waste == pytest.approx(22.7, abs=0.05) and q.order == 23
    assert q.waste_yield == pytest.approx(0.15) and q.waste_added_on == pytest.approx(0.176, abs=5e-4)
    assert net * 1.15 < q.net + q.waste


# UBC Building Operations on ASME A17.1 class A: one piece up to a quarter of the posted capacity, 500 of 2,000 lb.
# Canadian Roofing Reference Manual 2.3.4: a hand hoist no more than 90.7 kg (200 lb). NIOSH: 51 lb a person at best.
def test_what_lifts_take_at_once():
    assert LIFTS["elevator"].most == 2000 / 4
    assert LIFTS["hoist"].most == round(90.7 / 0.45359237) == 200
    assert LIFTS["stair"].most <= 2 * 51


def test_boxes_are_rounded_up_once_by_the_price_list():
    """500 crossings and 5 % are 525, three boxes of 175 exactly; the engine's own rounding must not make it four."""
    row = quantity(500, 25, 1).as_json()
    clips = Price("CLIP", "clips", Decimal("89.00"), "XBX", "USD", base_unit="EA", pack_quantity=Decimal(175))
    nothing = Decimal(0)
    done = estimate({"quantities": [row]}, {"item": clips}, [], Terms(nothing, nothing, nothing, nothing, "sale"),
                    currency="USD", schedule=[(Decimal(1), "done")])
    (line,) = done.lines
    assert (line.quantity, line.cost) == (3, Decimal("267.00"))
