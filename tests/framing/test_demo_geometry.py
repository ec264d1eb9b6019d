"""The worked terrace: geometry worked by hand, within tolerances of 1/2 sq ft, 0.01 in/ft and 1/16 in.

Expected figures were worked outside this program from the readings in quotes/demo.
"""

import json
import math
import time
from pathlib import Path

import numpy as np
import pytest

from framing.engine.design import frame

DEMO = Path(__file__).parents[2] / "quotes" / "demo"
SIXTEENTH = 1 / 16
TAPES = {frozenset(p) for p in ("AB", "BC", "CD", "DA", "AC", "BD")}


def documents():
    return json.loads((DEMO / "survey.json").read_text()), json.loads((DEMO / "build.json").read_text())


@pytest.fixture(scope="module")
def demo():
    return frame(*documents()).document


@pytest.fixture(scope="module")
def slipped():
    """The answer where B-D was misread by an inch."""
    survey, build = documents()
    survey["tapes"] = [t if t[:2] != ["B", "D"] else ["B", "D", "316 1/8"] for t in survey["tapes"]]
    return frame(survey, build).document


def found(document, code):
    return [c for c in document["checks"] if c["code"] == code]


def roof_at(document, x, y):
    """Height of the answer's own roof: of its two planes with a ridge between, the lower. [in]"""
    return min(f["plane"]["z0"] + f["plane"]["sx"] * x + f["plane"]["sy"] * y for f in document["roof"]["facets"])


def facets(document):
    """The left and the right facet."""
    return sorted(document["roof"]["facets"], key=lambda f: np.mean([p[0] for p in f["polygon"]]))


# --- plan


@pytest.mark.parametrize(("corner", "x", "y"), [("A", 0, 0), ("B", 258.54, 0), ("C", 263.88, 155.81),
                                                ("D", -6.39, 170.53)])
def test_the_adjusted_corners(demo, corner, x, y):
    point = demo["survey_adjustment"]["points"][corner]
    assert (point["x"], point["y"]) == pytest.approx((x, y), abs=SIXTEENTH)


@pytest.mark.parametrize(("corner", "degrees"), [("A", 92.2), ("B", 92.0), ("C", 91.2), ("D", 84.7)])
def test_the_angles(demo, corner, degrees):
    assert demo["survey_adjustment"]["angles"][corner] == pytest.approx(degrees, abs=0.1)


def test_the_tapes_miss_each_other_by_a_fifth_of_an_inch(demo):
    assert demo["survey_adjustment"]["misclosure"] == pytest.approx(0.21, abs=0.01)


def test_the_misclosure_is_a_caution_that_names_one_tape_to_settle_it(demo):
    caution, = found(demo, "misclosure")
    assert caution["status"] == "caution"
    assert (caution["value"], caution["limit"]) == (pytest.approx(0.21, abs=0.01), 3 / 16)
    assert "One tape more" in caution["text"]
    named = caution["text"].split("settle most: ")[1].split(".")[0].split("-")
    assert frozenset(named) not in TAPES and set(named) <= set(demo["survey_adjustment"]["points"])


def test_no_reading_is_suspect(demo):
    assert demo["survey_adjustment"]["suspects"] == []


def test_an_inch_in_one_diagonal_makes_all_six_tapes_suspect_alike(slipped):
    assert {frozenset(pair) for pair in slipped["survey_adjustment"]["suspects"]} == TAPES


def test_the_area_of_the_roof(demo):
    assert demo["survey_adjustment"]["area_sqft"] == pytest.approx(299.6, abs=0.5)


def test_the_area_of_the_deck(demo):
    assert demo["net_sqft"] == pytest.approx(294.6, abs=0.5)
    x, y = np.array(demo["outline"]).T
    shoelace = abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 288
    assert shoelace == pytest.approx(demo["net_sqft"], abs=1e-6)


# --- roof


def test_the_two_slopes(demo):
    left, right = facets(demo)
    assert left["slope_in_per_ft"] == pytest.approx(0.240, abs=0.01)
    assert right["slope_in_per_ft"] == pytest.approx(0.262, abs=0.01)


def test_each_side_falls_away_from_the_ridge(demo):
    left, right = facets(demo)
    assert math.cos(math.radians(left["falls_toward"])) < -0.99
    assert math.cos(math.radians(right["falls_toward"])) > 0.99


@pytest.mark.parametrize("y", [8, 80, 148])
def test_the_ridge_is_level_eight_and_a_sixteenth_under_the_datum(demo, y):
    assert roof_at(demo, 128, y) == pytest.approx(-8.06, abs=SIXTEENTH)


@pytest.mark.parametrize(("point", "offset", "kind"), [("R7", 0.11, "hump"), ("R15", -0.19, "low")])
def test_the_high_and_the_low_spot(demo, point, offset, kind):
    spot = next(a for a in demo["roof"]["anomalies"] if a["point"] == point)
    assert spot["offset"] == pytest.approx(offset, abs=SIXTEENTH) and spot["kind"] == kind


def test_no_other_spot_is_told(demo):
    assert {a["point"] for a in demo["roof"]["anomalies"]} == {"R7", "R15"}


def test_water_along_both_parapets_hardly_falls(demo):
    cautions = {c["where"]: c for c in found(demo, "ponding-along-edge")}
    assert {"B-C", "D-A"} <= set(cautions)
    for side in ("B-C", "D-A"):
        assert cautions[side]["status"] == "caution" and cautions[side]["value"] == pytest.approx(0.01, abs=0.01)


# --- surface and frame


@pytest.mark.parametrize(("point", "reveal"), [("T1", 5 / 16), ("T2", 1 / 4), ("T3", 1 / 8)])
def test_the_reveals_at_the_door(demo, point, reveal):
    assert demo["plane"]["reveals"][point] == pytest.approx(reveal, abs=1e-6)


def test_the_surface_is_level_and_three_and_nine_sixteenths_under_the_datum(demo):
    assert (demo["plane"]["z0"], demo["plane"]["sx"], demo["plane"]["sy"]) == (-(3 + 9 / 16), 0, 0)


@pytest.mark.parametrize(("point", "x", "height"), [("T1", 96, 5.45), ("T2", 132, 4.83), ("T3", 168, 5.49)])
def test_the_sill_above_the_membrane(demo, point, x, height):
    sill = demo["plane"]["z0"] + demo["plane"]["reveals"][point]
    assert sill - roof_at(demo, x, 0) == pytest.approx(height, abs=SIXTEENTH)


def test_the_low_sill_is_a_caution_for_the_roofer(demo):
    caution, = found(demo, "membrane-upturn")
    assert (caution["status"], caution["limit"], caution["decided_by"]) == ("caution", 8, "roofer")
    assert caution["value"] == pytest.approx(4.83, abs=SIXTEENTH) and "T2" in caution["where"]


def test_joists_run_along_the_fall_and_the_boards_out_from_the_house(demo):
    assert demo["directions"] == {"joists": 0, "boards": 90}


def test_a_joist_is_three_and_an_eighth_deep_over_the_ridge(demo):
    over = []
    for m in demo["members"]:
        (ax, ay), (bx, by) = m["start"], m["end"]
        if m["role"] == "joist" and min(ax, bx) < 128 < max(ax, bx):
            s = (128 - ax) / (bx - ax) * math.dist((ax, ay), (bx, by))
            over.append(min(m["stations"], key=lambda station: abs(station[0] - s)))
            assert abs(over[-1][0] - s) < 0.01
    assert len(over) >= 9
    assert {text for _, text in over} == {"3 1/8"}


def test_joists_bend_at_the_ridge_only(demo):
    for m in demo["members"]:
        if m["role"] == "joist":
            inner = [s for s, _ in m["profile"][1:-1]]
            assert len(inner) <= 1
            for s in inner:
                assert m["start"][0] + s == pytest.approx(128, abs=0.01)


def test_the_rows_of_boards(demo):
    """Width over the widest place between the skewed sides, in rows of 5 11/16 in: 48 by hand."""
    turn = math.radians(demo["directions"]["boards"])
    across = [[-math.sin(turn) * x + math.cos(turn) * y for x, y in b["polygon"]] for b in demo["boards"]]
    whole = next(min(v) for v, b in zip(across, demo["boards"], strict=True) if b["rip"] is None)
    # by the middle of what is left of each board: the outer ones are ripped to the sides
    assert len({math.floor(((min(v) + max(v)) / 2 - whole) / (5.5 + 3 / 16)) for v in across}) == 48


# --- what it must caution about


def test_the_clear_gap_under_three_quarters_is_a_caution(demo):
    caution, = found(demo, "clear-gap")
    assert (caution["status"], caution["value"], caution["limit"]) == ("caution", 3 / 8, 3 / 4)


def test_the_clearance_over_the_hump_is_a_caution(demo):
    caution = next(c for c in found(demo, "clear-gap-at-hump") if "R7" in c["where"])
    assert caution["status"] == "caution" and caution["value"] == pytest.approx(0.27, abs=0.02)
    assert caution["limit"] == 3 / 8


def test_the_design_storm_stands_over_the_clear_gap_at_the_scupper(demo):
    caution = next(c for c in found(demo, "water-under-joists") if "S1" in c["where"])
    assert caution["status"] == "caution" and caution["value"] > caution["limit"]
    assert "6.3 gpm needs 0.51 in of head" in caution["text"]


@pytest.mark.parametrize(("outlet", "flow", "area"), [("S1", 6.3, 152), ("S2", 6.1, 148)])
def test_each_scupper_drains_half_the_roof(demo, outlet, flow, area):
    capacity = next(c for c in found(demo, "outlet-capacity") if outlet in c["where"])
    assert capacity["value"] == pytest.approx(flow, abs=0.06)
    assert f"{area} sq ft" in capacity["text"]


def test_one_overflow_is_missing_and_must_be_acknowledged(demo):
    caution, = found(demo, "no-overflow")
    assert caution["status"] == "caution" and caution["acknowledge"] is True


def test_it_can_be_framed(demo):
    assert [c["code"] for c in demo["checks"] if c["status"] == "stop"] == []


def test_the_demo_is_framed_within_a_second():
    survey, build = documents()
    took = []
    for _ in range(3):
        start = time.perf_counter()
        frame(survey, build)
        took.append(time.perf_counter() - start)
    assert min(took) < 1.0
