"""Tests of the labor: hours are quantity, rate and factors multiplied, and each factor is found or given."""

import math

import pytest

from framing.engine.boards import lay_boards
from framing.engine.labor import Task, difficulty, estimate_hours
from framing.reference.production import FACTOR_CAP, FACTORS, RATES
from tests.framing.odd_roofs import RECTANGLE, odd_build, odd_survey
from tests.framing.staged import stages

WEIGHT = 2400.0  # [lb]
PLAIN = {"labor": None}  # no factors or rates of the build's own
SKEWED = [(0, 0), (192, 0), (200, 150), (-10, 120)]
BIG = [(0, 0), (240, 0), (240, 120), (0, 120)]


def tasks(survey=None, **build):
    survey = survey or odd_survey(BIG, access={"floor": 2, "lift": "hoist"})
    staged = stages(survey, odd_build(**(PLAIN | build)), longest=143.75)
    frame = staged.frame()
    decking = lay_boards(staged.deck, staged.layout.lines, staged.build, 90, 191.75)
    found = estimate_hours(staged.survey, staged.build, staged.adjusted, staged.deck, frame, decking, WEIGHT)
    return staged, frame, decking, {t.task: t for t in found}


@pytest.fixture(scope="module")
def plain():
    return tasks()


def factor_of(survey, **build):
    staged = stages(survey, odd_build(**(PLAIN | build)))
    return difficulty(staged.survey, staged.build, staged.adjusted, staged.deck)


def test_hours_are_quantity_times_rate_times_factor():
    t = Task("set-pads", 106, "EA", 0.09, 1.15, "supports")
    assert t.hours == pytest.approx(106 * 0.09 * 1.15)
    assert t.as_json()["hours"] == t.hours


def test_every_task_lies_within_its_published_low_and_high(plain):
    for t in plain[-1].values():
        low, high = RATES[t.task].low, RATES[t.task].high
        assert low * t.quantity * t.factor <= t.hours <= high * t.quantity * t.factor
        assert t.unit == RATES[t.task].unit


def test_rates_rise_from_low_to_high():
    for rate in (*RATES.values(), *FACTORS.values()):
        assert 0 < rate.low <= rate.typical <= rate.high


def test_what_drives_each_task(plain):
    staged, frame, decking, found = plain
    run = sum(m.line.length for m in frame.members) / 12
    joists = sum(m.role in ("joist", "edge") for m in frame.members)
    assert found["check-survey"].quantity == 1
    assert found["protect"].quantity == found["deck-hidden"].quantity == pytest.approx(staged.deck.net_sqft)
    assert found["hoist"].quantity == 24  # hundredweight of 100 lb
    assert found["set-pads"].quantity == len(frame.supports)
    assert found["set-members"].quantity == pytest.approx(run)
    assert found["seal-ends"].quantity == 2 * len(decking.boards)
    # a splice plate each, and the rim joints at both ends of every joist taken in pairs
    assert found["block"].quantity == sum(len(m.splices) for m in frame.members) + joists


def test_what_is_not_there_takes_no_hours(plain):
    assert "tape-joists" not in plain[-1] and "deck-face" not in plain[-1] and "hoist-stairs" not in plain[-1]
    assert "tape-joists" in tasks(joists__tape_thickness="1/16")[-1]
    assert "deck-face" in tasks(decking__fastening="face")[-1]


def test_whole_sticks_take_no_ripping_hours(plain):
    assert not any(m.ripped for m in plain[1].members) and "rip-tapers" not in plain[-1]
    _, frame, _, found = tasks(supports__clear_gap={"least": 0.75, "target": 0.75, "most": 1.25})
    ripped = sum(m.line.length for m in frame.members if m.ripped) / 12
    assert ripped > 0 and found["rip-tapers"].quantity == pytest.approx(ripped)


def test_clean_up_is_a_share_of_all_other_hours(plain):
    found = plain[-1]
    others = sum(t.hours for name, t in found.items() if name != "clean-up")
    assert found["clean-up"].quantity == pytest.approx(others)
    assert found["clean-up"].hours == pytest.approx(0.045 * others)


def test_carrying_up_stairs_goes_by_the_floors_climbed():
    found = tasks(odd_survey(BIG, access={"floor": 4, "lift": "stair"}))[-1]
    assert "hoist" not in found
    assert found["hoist-stairs"].quantity == 24 * 3


# --- difficulty


def test_a_plain_roof_has_no_difficulty():
    assert factor_of(odd_survey(BIG, access={"floor": 2, "lift": "hoist"}))[0] == 1


@pytest.mark.parametrize(("survey", "expected"), [
    (odd_survey(BIG, access={"floor": 4, "lift": "boom"}), 1.08),
    (odd_survey(BIG, access={"floor": 1, "lift": "stair"}), 1.25),
    (odd_survey(RECTANGLE[:1] + [(140, 0), (140, 120), (0, 120)], access={"floor": 1, "lift": "hoist"}), 1.15),
    (odd_survey(SKEWED, access={"floor": 1, "lift": "hoist"}), 1.06),
    (odd_survey(SKEWED, access={"floor": 5, "lift": "stair"}), 1.06 * 1.25),
], ids=["upper floor", "stairs", "small", "out of square", "stairs and out of square"])
def test_what_the_survey_shows_is_multiplied(survey, expected):
    """Typical factors of the trade: 1.08 upper floor, 1.25 stairs, 1.06 over 2 degrees off square, 1.15 small."""
    assert factor_of(survey)[0] == pytest.approx(expected)


def test_inner_corners_and_corners_in_line_are_in_square():
    l_shape = [(0, 0), (120, 0), (240, 0), (240, 96), (120, 96), (120, 216), (0, 216)]
    assert factor_of(odd_survey(l_shape, access={"floor": 1, "lift": "hoist"}))[0] == 1


def test_the_builds_own_factors_stand_before_those_found():
    factor, words = factor_of(odd_survey(SKEWED), labor={"difficulty": {"wind": 1.1, "first crew": 1.2}})
    assert factor == pytest.approx(1.32) and "wind 1.1" in words and "out-of-square" not in words


def test_the_product_is_held_to_its_cap_and_says_so():
    factor, words = factor_of(odd_survey(SKEWED), labor={"difficulty": {"one": 1.5, "two": 1.5}})
    assert factor == FACTOR_CAP == 1.6 and "held to 1.6" in words


def test_every_task_but_clean_up_carries_the_factor():
    found = tasks(odd_survey(SKEWED, access={"floor": 1, "lift": "hoist"}))[-1]
    assert all(t.factor == pytest.approx(1.06) for name, t in found.items() if name != "clean-up")
    assert found["clean-up"].factor == 1


# --- rates of the office's own


def test_the_builds_own_rate_stands_before_the_reference():
    own = {"rates": {"set-pads": {"low": 0.1, "typical": 0.2, "high": 0.3, "unit": "EA"}}}
    t = tasks(labor=own)[-1]["set-pads"]
    assert t.hours_per_unit == 0.2 and "own rate" in t.basis
    assert tasks(labor=own)[-1]["set-members"].hours_per_unit == 0.05


def test_each_basis_says_quantity_rate_and_source(plain):
    for t in plain[-1].values():
        assert "common practice" in t.basis and len(t.basis.split(";")) >= 2


def test_hours_are_finite_and_positive(plain):
    assert all(math.isfinite(t.hours) and t.hours > 0 for t in plain[-1].values())
