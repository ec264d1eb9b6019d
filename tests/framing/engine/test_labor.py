"""Tests of the labor: hours are quantity, rate and factors multiplied, and each factor is found or given."""

import math

import pytest

from framing.engine.boards import lay_boards
from framing.engine.documents import DocumentRefused, parse_build
from framing.engine.labor import Task, difficulty, estimate_hours
from framing.engine.lifts import Bundle, Lifts
from framing.reference.production import FACTOR_CAP, FACTORS, RATES
from tests.framing.odd_roofs import RECTANGLE, odd_build, odd_survey
from tests.framing.staged import stages

WEIGHT = 2400.0  # [lb]
PLAIN = {"labor": None}  # no factors or rates of the build's own
SKEWED = [(0, 0), (192, 0), (200, 150), (-10, 120)]
BIG = [(0, 0), (240, 0), (240, 120), (0, 120)]


def tasks(survey=None, **build):
    survey = survey or odd_survey(BIG, access={"floor": 2, "lift": "boom"})
    staged = stages(survey, odd_build(**(PLAIN | build)), longest=143.75)
    frame = staged.frame()
    decking = lay_boards(staged.deck, staged.layout.lines, staged.build, 90, 191.75)
    hard = difficulty(staged.survey, staged.build, staged.adjusted, staged.deck)
    access = staged.survey.access
    lifts = Lifts(access.lift, 2000.0, None, access.floor, (Bundle("frame", {"lumber/2x6/96": 60}, WEIGHT, 96.0),), "")
    found = estimate_hours(staged.build, hard, staged.deck, frame, decking, lifts)
    return staged, frame, decking, {t.task: t for t in found}


@pytest.fixture(scope="module")
def plain():
    return tasks()


def factor_of(survey, **build):
    staged = stages(survey, odd_build(**(PLAIN | build)))
    return difficulty(staged.survey, staged.build, staged.adjusted, staged.deck)


def test_hours_are_quantity_times_rate_times_factor():
    t = Task("set-pads", 106, "EA", 0.09, 1.15, "supports", 0.06, 0.15)
    assert t.hours == pytest.approx(106 * 0.09 * 1.15)
    assert (t.hours_low, t.hours_high) == (pytest.approx(106 * 0.06 * 1.15), pytest.approx(106 * 0.15 * 1.15))
    assert t.as_json()["hours"] == t.hours and (t.as_json()["low"], t.as_json()["high"]) == (0.06, 0.15)


def test_every_task_lies_within_its_published_low_and_high(plain):
    for t in plain[-1].values():
        low, high = RATES[t.task].low, RATES[t.task].high
        assert (t.low, t.high) == (low, high)
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
    assert found["protect"].quantity == pytest.approx(staged.deck.net_sqft)
    assert found["hoist"].quantity == 24  # hundredweight of 100 lb
    assert found["set-pads"].quantity == len(frame.supports)
    assert found["set-members"].quantity == pytest.approx(run)
    assert found["seal-ends"].quantity == 2 * len(decking.boards)
    # a splice plate each, and the rim joints at both ends of every joist taken in pairs
    assert found["block"].quantity == sum(len(m.splices) for m in frame.members) + joists


def test_what_is_not_there_takes_no_hours(plain):
    missing = ("tape-joists", "deck-face", "hoist-stairs", "hoist-rope", "hoist-elevator", "panels", "cut-angles",
               "scribe")
    assert not set(missing) & set(plain[-1])
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
    assert found["hoist-stairs"].quantity == 24 * 3 and "3 floors" in found["hoist-stairs"].basis


@pytest.mark.parametrize(("lift", "task"), [("hoist", "hoist-rope"), ("elevator", "hoist-elevator"), ("boom", "hoist")])
def test_each_way_up_has_its_own_rate_a_hundredweight(lift, task):
    found = tasks(odd_survey(BIG, access={"floor": 4, "lift": lift}))[-1]
    assert [t.quantity for name, t in found.items() if name.startswith("hoist")] == [24]
    assert found[task].hours_per_unit == RATES[task].typical


# --- what drives hours


def test_usual_boards_on_joists_16_in_apart_take_their_area():
    """144 / (5 11/16 x 16) = 1.58 crossings a square foot are what the rate is for; edges and joints bring more."""
    staged, _, decking, found = tasks(odd_survey([(0, 0), (480, 0), (480, 480), (0, 480)],
                                                 access={"floor": 2, "lift": "boom"}))
    assert staged.deck.net_sqft < found["deck-hidden"].quantity < 1.08 * staged.deck.net_sqft


def test_decking_hours_grow_by_half_of_what_crossings_do():
    """Boards 5 1/2 in by 3/16 in, each over every joist and edge joist of a rectangle."""
    (staged, few, decking, found), (_, many, _, closely) = tasks(), tasks(joists__spacing=8)
    over, more = (len(decking.boards) * sum(m.role in ("joist", "edge") for m in f.members) for f in (few, many))
    assert more > 1.6 * over
    usual = staged.deck.net_sqft * 144 / (5.6875 * 16)
    assert closely["deck-hidden"].quantity - found["deck-hidden"].quantity == pytest.approx(
        staged.deck.net_sqft / 2 * (more - over) / usual)


def test_edges_cut_at_an_angle_are_scribed_by_their_length():
    """One side runs 24 in out of square over 192: boards along y end on it, each cut over its width's hypotenuse."""
    skewed = odd_survey([(0, 0), (192, 0), (192, 120), (0, 144)], access={"floor": 2, "lift": "boom"})
    found = tasks(skewed, decking__edge_gaps=dict.fromkeys(("A-B", "B-C", "C-D", "D-A"), 0))[-1]
    slope = math.hypot(192, 24) / 192
    boards = 192 * 5.5 / (5.5 + 3 / 16)  # what of the side is board and no gap
    assert found["scribe"].quantity == pytest.approx(boards * slope / 12, rel=0.02)


def test_a_square_deck_has_nothing_to_scribe():
    assert "scribe" not in tasks()[-1] and "cut-angles" not in tasks()[-1]


def test_rips_pads_and_splices_add_hours():
    """Shorter sticks bring splices, a narrower spacing joists and pads: the tasks that they drive grow, others stay."""
    few, many = tasks(), tasks(joists__spacing=12)
    for task in ("set-pads", "set-members", "block"):
        assert many[-1][task].hours > few[-1][task].hours
    for task in ("check-survey", "protect", "hoist"):
        assert many[-1][task].hours == pytest.approx(few[-1][task].hours)


def test_packers_are_blocking_too():
    build = {"supports__clear_gap": {"least": 1, "target": 1, "most": 6}, "supports__packer_most": 6,
             "supports__shim_most": 0.25}
    _, frame, _, found = tasks(odd_survey(BIG, lambda x, y: -9 - x / 80, access={"floor": 2, "lift": "boom"}), **build)
    packers = sum(s.packer > 0 for s in frame.supports)
    assert packers and f"{packers} packers" in found["block"].basis


# --- difficulty


def test_a_plain_roof_has_no_difficulty():
    assert factor_of(odd_survey(BIG, access={"floor": 2, "lift": "hoist"})).used == 1


@pytest.mark.parametrize(("survey", "expected"), [
    (odd_survey(BIG, access={"floor": 4, "lift": "boom"}), 1.08),
    (odd_survey(BIG, access={"floor": 1, "lift": "stair"}), 1.25),
    (odd_survey(RECTANGLE[:1] + [(140, 0), (140, 120), (0, 120)], access={"floor": 1, "lift": "hoist"}), 1.15),
    (odd_survey(SKEWED, access={"floor": 1, "lift": "hoist"}), 1.06),
    (odd_survey(SKEWED, access={"floor": 5, "lift": "stair"}), 1.06 * 1.25),
], ids=["upper floor", "stairs", "small", "out of square", "stairs and out of square"])
def test_what_the_survey_shows_is_multiplied(survey, expected):
    """Typical factors of the trade: 1.08 upper floor, 1.25 stairs, 1.06 over 2 degrees off square, 1.15 small."""
    assert factor_of(survey).used == pytest.approx(expected)


def test_inner_corners_and_corners_in_line_are_in_square():
    l_shape = [(0, 0), (120, 0), (240, 0), (240, 96), (120, 96), (120, 216), (0, 216)]
    assert factor_of(odd_survey(l_shape, access={"floor": 1, "lift": "hoist"})).used == 1


def test_the_builds_own_factors_stand_before_those_found():
    hard = factor_of(odd_survey(SKEWED), labor={"difficulty": {"wind": 1.1, "first crew": 1.2}})
    assert hard.used == pytest.approx(1.32) and "wind 1.1" in hard.words and "out-of-square" not in hard.words


def test_each_factor_is_logged_with_its_value_band_and_why():
    hard = factor_of(odd_survey(SKEWED, access={"floor": 5, "lift": "boom"})).as_json()
    assert {f["name"]: (f["low"], f["value"], f["high"]) for f in hard["factors"]} == {
        "upper-floor": (1.05, 1.08, 1.15), "out-of-square": (1.03, 1.06, 1.10)}
    assert "floor 5" in hard["factors"][0]["why"] and "degrees off" in hard["factors"][1]["why"]
    assert hard["product"] == hard["used"] == pytest.approx(1.08 * 1.06) and hard["cap"] == 1.6


def test_names_of_factors_may_hold_any_sign():
    found = tasks(labor={"difficulty": {"{0} % {x}": 1.2}})[-1]
    assert "{0} % {x} 1.2" in found["set-pads"].basis


def test_the_product_is_held_to_its_cap_and_says_so():
    hard = factor_of(odd_survey(SKEWED), labor={"difficulty": {"one": 1.5, "two": 1.5}})
    assert hard.used == FACTOR_CAP == 1.6 and "2.25 held to 1.6" in hard.words
    assert (hard.as_json()["product"], hard.as_json()["used"]) == (2.25, 1.6)


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


def test_a_rate_by_another_unit_is_refused():
    """Hours a hundred feet times feet would be a hundred times too many."""
    own = {"rates": {"set-members": {"low": 3, "typical": 5, "high": 8, "unit": "CLF"}}}
    with pytest.raises(DocumentRefused) as refused:
        parse_build(odd_build(labor=own))
    (fault,) = refused.value.faults
    assert (fault.pointer, fault.expected) == ("/labor/rates/set-members/unit", "LF")


def test_each_basis_says_quantity_rate_and_source(plain):
    for t in plain[-1].values():
        assert "common practice" in t.basis and len(t.basis.split(";")) >= 2


def test_hours_are_finite_and_positive(plain):
    assert all(math.isfinite(t.hours) and t.hours > 0 for t in plain[-1].values())
