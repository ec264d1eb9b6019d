"""Three kinds of roof, whole: a skewed far side, millimetres, and too little height."""

import copy
import math

import numpy as np
import pytest
from shapely import LineString, Point, Polygon

from framing.engine.design import frame
from tests.framing import kinds
from tests.framing.identities import identities

SIXTEENTH = 1 / 16
MM = 25.4


def stops(document):
    return [c for c in document["checks"] if c["status"] == "stop"]


def depth(member, s):
    return np.interp(s, *np.array(member["profile"]).T)


# --- a single fall away from the house, the far side skewed 26 degrees


@pytest.fixture(scope="module")
def skewed():
    return frame(*kinds.skewed()).document


def test_the_skewed_roof_is_framed_and_every_identity_holds(skewed):
    assert stops(skewed) == []
    assert identities(*kinds.skewed(), skewed) == []


def test_the_skewed_corners_and_angles_come_out_of_the_tapes(skewed):
    adjusted = skewed["survey_adjustment"]
    for name, (x, y) in kinds.SKEWED.items():
        assert (adjusted["points"][name]["x"], adjusted["points"][name]["y"]) == pytest.approx((x, y), abs=SIXTEENTH)
    # the far side runs from (240, 82) to (-6, 202), the right one up from (236, 0)
    at_c = math.degrees(math.atan2(82, 4) + math.pi - math.atan2(120, -246))
    assert adjusted["angles"]["C"] == pytest.approx(at_c, abs=0.1)
    assert adjusted["area_sqft"] == pytest.approx(Polygon(kinds.SKEWED.values()).area / 144, abs=0.2)


def test_the_skewed_roof_is_one_plane_that_falls_from_the_house(skewed):
    facet, = skewed["roof"]["facets"]
    assert facet["slope_in_per_ft"] == pytest.approx(3 / 16, abs=0.01)
    assert facet["falls_toward"] == pytest.approx(90, abs=2)
    assert facet["plane"]["z0"] == pytest.approx(-9, abs=SIXTEENTH)


def test_joists_run_out_with_the_fall_and_are_tapered(skewed):
    assert skewed["directions"]["joists"] == pytest.approx(90, abs=0.5)
    for m in skewed["members"]:
        if m["role"] == "joist":
            assert len(m["profile"]) == 2
            (a, near), (b, far) = m["profile"]
            # 3/16 in to the foot deeper away from the house, where it is ripped at all
            taper = abs(far - near) / (b - a) * 12
            assert taper == pytest.approx(3 / 16, abs=0.02) or taper == 0


def test_a_joist_is_as_deep_as_roof_sill_boards_and_gap_leave(skewed):
    """Sill -3, reveal 1/4, boards 1, gap 3/4 to 1 3/4 over a roof at -9 - 3/16 in/ft."""
    for m in skewed["members"]:
        if m["role"] == "joist":
            s = np.array([0.0, math.dist(m["start"], m["end"])])
            y = np.array([m["start"][1], m["end"][1]])
            gap = -3 - 0.25 - 1 - depth(m, s) - (-9 - kinds.SKEWED_FALL * y)
            assert (gap > 0.75 - SIXTEENTH).all() and (gap < 1.75 + SIXTEENTH).all()


def test_the_skewed_side_is_closed_by_a_member_along_it(skewed):
    side = LineString([kinds.SKEWED["C"], kinds.SKEWED["D"]])
    run = np.array(side.coords[1]) - side.coords[0]
    along = []
    for m in skewed["members"]:
        u = np.array(m["end"]) - m["start"]
        if abs(u @ run) / np.hypot(*u) / np.hypot(*run) > 0.9999 and side.distance(Point(m["start"])) < 6:
            along.append(math.dist(m["start"], m["end"]))
    assert sum(along) > 0.9 * np.hypot(*run)


def test_joists_get_shorter_along_the_skew(skewed):
    """The far side rises 120 in over 246: neighbours 16 in apart differ by 7.8 in."""
    joists = sorted((m for m in skewed["members"] if m["role"] == "joist"), key=lambda m: m["start"][0])
    long = [math.dist(m["start"], m["end"]) for m in joists]
    # towards B every joist is shorter; the first and last may end at a skewed side's rim
    steps = -np.diff(long[1:-1]) / np.diff([m["start"][0] for m in joists[1:-1]])
    assert steps == pytest.approx(120 / 246, abs=0.02)


def test_boards_cover_the_deck_up_to_the_skew(skewed):
    deck = Polygon(skewed["outline"])
    covered = sum(Polygon(b["polygon"]).area for b in skewed["boards"]) / deck.area
    assert covered == pytest.approx(5.5 / 5.75, abs=0.01)


# --- millimetres


@pytest.fixture(scope="module")
def metric():
    return frame(*kinds.metric()).document


def test_the_millimetre_roof_is_framed_and_every_identity_holds(metric):
    assert stops(metric) == []
    assert identities(*kinds.metric(), metric) == []


def test_millimetres_come_back_in_inches(metric):
    points = metric["survey_adjustment"]["points"]
    for name, (x, y) in kinds.METRIC.items():
        assert (points[name]["x"], points[name]["y"]) == pytest.approx((x / MM, y / MM), abs=SIXTEENTH)
    assert metric["survey_adjustment"]["area_sqft"] == pytest.approx(
        Polygon(kinds.METRIC.values()).area / MM**2 / 144, abs=0.2)


def test_the_millimetre_ridge_and_slopes(metric):
    assert len(metric["roof"]["facets"]) == 2
    for facet in metric["roof"]["facets"]:
        assert facet["slope_in_per_ft"] == pytest.approx(12 * kinds.METRIC_FALL, abs=0.01)
        plane = facet["plane"]
        at_ridge = plane["z0"] + plane["sx"] * kinds.METRIC_RIDGE / MM + plane["sy"] * 1700 / MM
        assert at_ridge == pytest.approx(kinds.METRIC_AT_RIDGE / MM, abs=SIXTEENTH)


def test_the_millimetre_surface_lies_six_under_the_sill(metric):
    assert metric["plane"]["z0"] == pytest.approx(-76 / MM)
    assert metric["plane"]["reveals"] == pytest.approx({"d1": 6 / MM, "d2": 6 / MM})


def test_shims_of_millimetres_stay_so(metric):
    sizes = np.array([2, 3, 5]) / MM
    for p in metric["supports"]:
        assert all(np.abs(sizes - v).min() < 1e-6 for v in p["shims"])
        assert p["clear_gap"] >= 20 / MM - 0.5 / MM - 1e-6


def in_inches(document, lengths):
    """The document with every number at these places divided by 25.4 and written as inches."""
    if isinstance(document, dict):
        return {k: in_inches(v, lengths) if k not in lengths else scaled(v) for k, v in document.items()}
    if isinstance(document, list):
        return [in_inches(v, lengths) for v in document]
    return document


def scaled(value):
    if isinstance(value, dict):
        return {k: scaled(v) for k, v in value.items()}
    if isinstance(value, list):
        return [scaled(v) for v in value]
    return value / MM if isinstance(value, int | float) else value


def test_the_same_roof_written_in_inches_gives_the_same_deck(metric):
    survey, build = copy.deepcopy(kinds.metric())
    survey = in_inches(survey, {"positions", "tapes", "drop", "width"}) | {"unit": "in"}
    for outlet in survey["outlets"]:
        outlet["height"] /= MM
    build = in_inches(build, {"thickness", "width", "gap", "stock_lengths", "spacing", "minimum_depth", "reveal",
                              "supports", "saw"}) | {"unit": "in"}
    document = frame(survey, build).document
    assert [m["stations"] for m in document["members"]] == [m["stations"] for m in metric["members"]]
    assert len(document["supports"]) == len(metric["supports"])
    for one, other in zip(document["supports"], metric["supports"], strict=True):
        assert one["at"] == pytest.approx(other["at"], abs=1e-5)
        assert one["shim"] == pytest.approx(other["shim"], abs=1e-6)
    assert [q["order"] for q in document["quantities"]] == [q["order"] for q in metric["quantities"]]


# --- too little height


@pytest.fixture(scope="module")
def low():
    return frame(*kinds.low()).document


def test_too_little_height_is_one_stop_by_the_house(low):
    """2 1/4 in to the roof at the house, less 1/4 of reveal: 2 in, 1/2 in out where the deck begins a hair more.

    Boards 1, wood 1 1/2 and gap 3/4 need 3 1/4.
    """
    stop, = stops(low)
    assert stop["code"] == "height-short" and stop["limit"] == 3.25
    assert stop["value"] == pytest.approx(2 + kinds.LOW_FALL / 2, abs=SIXTEENTH)
    assert stop["where"].endswith(("y 0", "y 1"))
    assert f"{3.25 - stop['value']:.2f} in more" in stop["text"]


def test_no_single_change_makes_up_an_inch_and_a_quarter(low):
    stop, = stops(low)
    assert stop["clears"] == [] and "No single change" in stop["text"]


def test_the_stopped_answer_keeps_the_survey_the_roof_and_the_plane(low):
    assert low["survey_adjustment"]["area_sqft"] == pytest.approx(200 * 140 / 144, abs=0.2)
    assert low["roof"]["facets"][0]["slope_in_per_ft"] == pytest.approx(0.25, abs=0.01)
    assert low["plane"]["z0"] == -3.25 and Polygon(low["outline"]).area == pytest.approx(198 * 138.5, rel=0.001)
    assert low["members"] == [] and low["boards"] == [] and low["quantities"] == [] and low["labor"] == []
    assert identities(*kinds.low(), low) == []


def test_a_door_an_inch_and_a_half_higher_would_do(low):
    survey, build = kinds.low()
    for level in survey["levels"]:
        if level["on"] == "threshold":
            level["drop"] = "1 1/2"
    assert stops(low) and stops(frame(survey, build).document) == []
