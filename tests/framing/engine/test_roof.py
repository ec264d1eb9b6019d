"""Tests of the roof: facets against plain least squares, folds found or not imagined, slips told from humps."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shapely import LineString, Polygon

from framing.engine.breaklines import Break, meet
from framing.engine.folds import find_fold
from framing.engine.roof import split_outline
from tests.framing.odd_roofs import FALL, RECTANGLE, odd_survey
from tests.framing.staged import fitted

NOTHING = 1e-5  # far below what any tool can show; shared edges are found to a ten-thousandth [in]
SIGMA = 1 / 16  # of a level reading, the documents' default [in]
SQUARE = [(0, 0), (240, 0), (240, 240), (0, 240)]


def ridge(x, y):
    return -8 - FALL * abs(x - 96)


def ridged_survey(**more):
    return odd_survey(RECTANGLE, ridge, lines=[("ridge", [(96, 3), (96, 60), (96, 117)])], **more)


def readings(survey):
    """Places (n, 2) and heights (n,) of the readings on the roof. [in]"""
    on_roof = [level for level in survey["levels"] if level["on"] != "threshold"]
    xy = np.array([survey["positions"][level["point"]] for level in on_roof])
    return xy, np.array([-level["drop"] for level in on_roof])


def shifted(survey, point, inches):
    """The survey with the reading at `point` standing `inches` higher than it was."""
    survey["levels"] = [level | {"drop": level["drop"] - inches} if level["point"] == point else level
                        for level in survey["levels"]]
    return survey


def planes(roof):
    return np.array([[f.z0, f.sx, f.sy] for f in roof.facets])


# --- facets


@pytest.mark.parametrize("seed", range(6))
def test_one_plane_is_the_plain_least_squares_plane(seed):
    rng = np.random.default_rng(seed)
    sx, sy = rng.uniform(-0.02, 0.02, 2)
    survey = odd_survey(RECTANGLE, lambda x, y: -9 + sx * x + sy * y)  # readings to 1/16 in: none stands out
    xy, z = readings(survey)
    expected = np.linalg.lstsq(np.c_[np.ones(len(z)), xy], z, rcond=None)[0]
    roof = fitted(survey)
    assert len(roof.facets) == 1
    assert_allclose(planes(roof)[0], expected, atol=1e-9)
    residual = z - np.c_[np.ones(len(z)), xy] @ expected
    assert roof.facets[0].rms == pytest.approx(math.sqrt((residual**2).mean()), abs=1e-9)


def test_two_facets_are_the_least_squares_fit_of_a_plane_with_a_hinge():
    survey = ridged_survey()
    xy, z = readings(survey)
    hinge = np.maximum(xy[:, 0] - 96, 0)
    z0, sx, sy, bend = np.linalg.lstsq(np.c_[np.ones(len(z)), xy, hinge], z, rcond=None)[0]
    roof = fitted(survey)
    left, right = sorted(roof.facets, key=lambda f: f.polygon.centroid.x)
    assert_allclose([left.z0, left.sx, left.sy], [z0, sx, sy], rtol=0, atol=NOTHING)
    assert_allclose([right.z0, right.sx, right.sy], [z0 - 96 * bend, sx + bend, sy], rtol=0, atol=NOTHING)


def test_slope_and_direction_of_fall_are_those_of_the_roof():
    roof = fitted(odd_survey(RECTANGLE, lambda x, y: -8 - 0.25 / 12 * (0.6 * x + 0.8 * y)))
    assert roof.facets[0].slope_in_per_ft == pytest.approx(0.25, abs=0.01)
    assert roof.facets[0].falls_toward == pytest.approx(math.degrees(math.atan2(0.8, 0.6)), abs=2)


@pytest.mark.parametrize("seed", range(8))
def test_neighbouring_facets_meet_along_the_whole_break_line(seed):
    rng = np.random.default_rng(seed)
    a, b = (rng.uniform(40, 150), 2.0), (rng.uniform(40, 150), 118.0)
    normal = np.array([b[1] - a[1], a[0] - b[0]]) / math.dist(a, b)

    def height(x, y):
        return -8 - abs((np.array([x, y]) - a) @ normal) * 0.02 + rng.normal(0, 1 / 24)

    roof = fitted(odd_survey(RECTANGLE, height, lines=[("ridge", [a, b])]))
    assert len(roof.facets) == 2
    along = np.array(a) + np.linspace(0, 1, 11)[:, None] * (np.array(b) - a)
    assert_allclose(roof.facets[0].height(along), roof.facets[1].height(along), rtol=0, atol=NOTHING)


def test_four_hips_that_meet_make_four_facets_as_steep_as_the_pyramid():
    roof = fitted(odd_survey(SQUARE, lambda x, y: -8 - FALL * max(abs(x - 120), abs(y - 120)),
                             lines=[("ridge", [c, (120, 120)]) for c in ((2, 2), (238, 2), (238, 238), (2, 238))]))
    assert len(roof.facets) == 4
    assert_allclose([f.slope_in_per_ft for f in roof.facets], 0.25, atol=0.01)
    assert sum(f.polygon.area for f in roof.facets) == pytest.approx(240 * 240)
    assert roof.height(np.array([[120.0, 120.0]]))[0] == pytest.approx(-8, abs=1 / 16)


def test_break_lines_that_stop_short_are_carried_to_the_walls():
    roof = fitted(odd_survey(RECTANGLE, ridge, lines=[("ridge", [(96, 50), (96, 70)])]))
    assert sorted(round(f.polygon.area) for f in roof.facets) == [96 * 120, 96 * 120]


def test_facets_share_out_the_outline_without_overlap():
    roof = fitted(ridged_survey())
    assert sum(f.polygon.area for f in roof.facets) == pytest.approx(192 * 120)
    assert roof.facets[0].polygon.intersection(roof.facets[1].polygon).area == pytest.approx(0, abs=1e-6)


def test_an_outline_without_break_lines_is_one_facet():
    assert [p.area for p in split_outline(Polygon(RECTANGLE), [])] == [192 * 120]


@pytest.mark.parametrize("seed", range(8))
def test_a_valley_that_runs_on_in_one_line_from_wing_to_wing_parts_the_roof(seed):
    foot, top = np.random.default_rng(seed).uniform(60, 130, 2)
    joint = ((foot + top) / 2, 60.0)
    lines = [LineString([(foot, 0), joint]), LineString([joint, (top, 120)])]
    areas = [p.area for p in split_outline(Polygon(RECTANGLE), [Break("valley", line) for line in lines])]
    left = 120 * (foot + top) / 2  # a trapezium
    assert sorted(areas) == pytest.approx(sorted([left, 192 * 120 - left]), rel=1e-6)


def test_the_standard_error_at_the_readings_middle_is_that_of_their_mean():
    """Gauss: the mean of n readings of equal weight has sigma / sqrt(n); a fitted plane has that at their centroid."""
    survey = odd_survey(RECTANGLE)
    xy, z = readings(survey)
    roof = fitted(survey)
    assert roof.standard_error(xy.mean(axis=0))[0] == pytest.approx(SIGMA / math.sqrt(len(z)), rel=1e-6)
    assert roof.standard_error(np.array([[0.0, 0.0]]))[0] > roof.standard_error(xy.mean(axis=0))[0]


def test_standard_errors_are_the_scatter_of_repeated_surveys():
    """Two hundred rounds of the same ridged roof, each reading 1/16 in uncertain: the fitted heights scatter as told.

    The scatter of 200 is itself known to 5 %; robust weights and rounding to sixteenths add some.
    """
    rng = np.random.default_rng(11)
    xy = np.array([(0, 0), (96, 60), (192, 120), (40, 90)], float)
    rounds = [fitted(odd_survey(RECTANGLE, lambda x, y: ridge(x, y) + rng.normal(0, SIGMA),
                                lines=[("ridge", [(96, 3), (96, 60), (96, 117)])])) for _ in range(200)]
    scatter = np.std([roof.height(xy) for roof in rounds], axis=0)
    assert_allclose(scatter, rounds[0].standard_error(xy), rtol=0.25)


def test_readings_on_pavers_count_as_the_membrane_under_them():
    bare, laid = odd_survey(RECTANGLE), odd_survey(RECTANGLE)
    for level in laid["levels"][2:6]:
        level |= {"on": "paver", "depth_to_membrane": 2, "drop": level["drop"] - 2}
    assert_allclose(planes(fitted(laid)), planes(fitted(bare)), atol=1e-9)


def test_readings_of_outlets_parapets_and_sills_do_not_pull_the_roof():
    survey = odd_survey(RECTANGLE)
    expected = planes(fitted(survey))
    survey["positions"] |= {"o": [96, 118], "p": [190, 60]}
    survey["levels"] += [{"point": "o", "drop": 14, "on": "outlet"}, {"point": "p", "drop": -6, "on": "parapet"}]
    assert_allclose(planes(fitted(survey)), expected, atol=1e-12)


# --- a fold that nobody gave


def grid(rng, height, noise):
    x, y = np.meshgrid(np.arange(8, 240, 44.0), np.arange(8, 160, 36.0))
    xy = np.c_[x.ravel(), y.ravel()]
    return xy, np.array([height(*p) for p in xy]) + rng.normal(0, noise, len(xy))


WIDE = Polygon([(0, 0), (240, 0), (240, 160), (0, 160)])


@pytest.mark.parametrize("seed", range(12))
def test_a_planted_fold_is_found_within_six_inches(seed):
    rng = np.random.default_rng(seed)
    turn = math.radians(rng.uniform(-25, 25))
    normal, off = np.array([math.cos(turn), math.sin(turn)]), None
    middle = np.array([rng.uniform(90, 150), 80.0])
    off = normal @ middle
    bend = float(rng.choice([-1, 1])) * rng.uniform(0.2, 0.3) / 12
    xy, z = grid(rng, lambda x, y: -9 + 0.002 * y + bend * abs(normal @ [x, y] - off), 1 / 24)
    found = find_fold(xy, z, WIDE, SIGMA)[:1]
    assert [b.kind for b in found] == ["ridge" if bend < 0 else "valley"]
    ends = np.array(found[0].line.coords)
    assert np.abs(ends @ normal - off).max() < 6
    assert not found[0].given


@pytest.mark.parametrize("seed", range(25))
def test_no_fold_is_imagined_on_a_plane(seed):
    rng = np.random.default_rng(100 + seed)
    sx, sy = rng.uniform(-0.025, 0.025, 2)
    xy, z = grid(rng, lambda x, y: -9 + sx * x + sy * y, SIGMA)
    assert find_fold(xy, z, WIDE, SIGMA)[0] is None


@pytest.mark.parametrize("off", [-1.0, 1.0, 4.0])
def test_one_wild_reading_on_a_plane_is_no_fold(off):
    rng = np.random.default_rng(7)
    xy, z = grid(rng, lambda x, y: -9 - FALL * y, 1 / 24)
    for i in (0, 7, len(z) - 1):
        bent = z.copy()
        bent[i] += off
        assert find_fold(xy, bent, WIDE, SIGMA)[0] is None


def test_too_few_readings_never_make_a_fold():
    xy = np.array([(0, 0), (100, 0), (200, 0), (0, 100), (100, 100), (200, 100)], float)
    z = -8 - FALL * np.abs(xy[:, 0] - 100)
    assert find_fold(xy, z, WIDE, SIGMA)[0] is None


def test_a_found_fold_is_told_as_a_caution_and_splits_the_roof():
    roof = fitted(odd_survey(RECTANGLE, ridge))
    assert [c.status for c in roof.checks if c.code == "breakline-found"] == ["caution"]
    assert_allclose([f.slope_in_per_ft for f in roof.facets], 0.25, atol=0.02)


# --- slips and humps


@pytest.mark.parametrize("inches", [1.0, -1.0])
@pytest.mark.parametrize("pick", range(0, 34, 4))
def test_a_reading_that_is_an_inch_off_is_named_and_pulls_nothing(pick, inches):
    survey = ridged_survey()
    points = [level["point"] for level in survey["levels"] if level["on"] == "roof"]
    point = points[pick % len(points)]
    roof = fitted(shifted(survey, point, inches))
    assert roof.suspects == ((point,),)
    assert [(c.where, c.status) for c in roof.checks if c.code == "level-suspect"] == [(point, "caution")]
    assert point not in {a.point for a in roof.anomalies}
    corners = np.array(RECTANGLE, float)
    assert_allclose(roof.height(corners), [ridge(*c) for c in RECTANGLE], atol=1 / 16)


def test_two_readings_side_by_side_that_agree_are_a_hump_and_no_slip():
    survey = odd_survey(RECTANGLE)
    x, y = survey["positions"]["r12"]
    survey["positions"]["near"] = [x + 3, y]
    survey["levels"].append({"point": "near", "drop": round((8 + FALL * y) * 16) / 16, "on": "roof"})
    shifted(shifted(survey, "r12", 1.0), "near", 1.0)
    roof = fitted(survey)
    assert roof.suspects == ()
    assert {a.point for a in roof.anomalies} >= {"r12", "near"}
    for a in roof.anomalies[:2]:
        assert a.kind == "hump" and a.offset == pytest.approx(1.0, abs=1 / 8)


def blister(rise):
    """A plane roof read every few feet, and a blister read on its top and at four places round it, 7 in off, where it
    still has three quarters of its rise; 28 in off it is gone."""
    survey = odd_survey(RECTANGLE)
    x, y = (np.mean(RECTANGLE, axis=0) + [9, 5]).tolist()
    for k, (dx, dy) in enumerate([(0, 0), (7, 0), (0, 7), (-7, 0), (0, -7)]):
        survey["positions"][f"m{k}"] = [x + dx, y + dy]
        high = rise * (0.75 if k else 1.0)
        survey["levels"].append({"point": f"m{k}", "drop": round((8 + FALL * (y + dy) - high) * 16) / 16, "on": "roof"})
    return survey, np.array([x, y])


@pytest.mark.parametrize("rise", [3 / 8, -3 / 8, 3 / 4])
def test_a_blister_that_five_readings_show_is_a_hump_of_one_plane(rise):
    survey, at = blister(rise)
    roof = fitted(survey)
    assert len(roof.facets) == 1 and len(roof.mounds) == 1 and roof.suspects == ()
    plain = -8 - FALL * at[1]
    assert roof.height(at)[0] == pytest.approx(plain + rise, abs=0.25 * abs(rise) + 1 / 16)
    corners = np.array(RECTANGLE, float)
    assert_allclose(roof.height(corners), -8 - FALL * corners[:, 1], atol=1 / 16)
    assert not [c for c in roof.checks if c.status == "stop"]


def test_readings_that_stand_off_no_more_than_their_own_error_are_no_hump():
    survey, _ = blister(1 / 16)
    assert fitted(survey).mounds == ()


def test_a_low_spot_is_an_anomaly_once_it_reaches_three_thirty_seconds():
    roof = fitted(shifted(odd_survey(RECTANGLE), "r12", -3 / 16))
    assert [(a.point, a.kind) for a in roof.anomalies] == [("r12", "low")]
    assert roof.anomalies[0].offset == pytest.approx(-3 / 16, abs=1 / 16)
    assert [(c.code, c.status, c.where) for c in roof.checks if c.code == "roof-low"] == [("roof-low", "note", "r12")]


def test_the_corner_reading_of_a_facet_is_still_told_where_it_is_wild():
    """The far corner's reading has the most leverage: the fit bends to it unless it is held against the others."""
    survey = ridged_survey()
    corner = min((level["point"] for level in survey["levels"] if level["on"] == "roof"),
                 key=lambda p: sum(survey["positions"][p]))
    roof = fitted(shifted(survey, corner, -0.75))
    assert roof.suspects == ((corner,),)


def test_two_separate_slips_are_both_named():
    roof = fitted(shifted(shifted(odd_survey(RECTANGLE), "r3", 1.0), "r20", -1.0))
    assert set(roof.suspects) == {("r3",), ("r20",)}


def test_a_sound_round_names_nothing():
    rng = np.random.default_rng(3)
    named = [fitted(odd_survey(RECTANGLE, lambda x, y: -8 - FALL * y + rng.normal(0, 1 / 24))).suspects
             for _ in range(12)]
    assert named == [()] * 12


# --- roofs that the readings do not carry


def test_fewer_than_three_readings_stop_with_the_count():
    survey = odd_survey(RECTANGLE)
    sills = [level for level in survey["levels"] if level["on"] == "threshold"]
    survey["levels"] = survey["levels"][:2] + sills
    roof = fitted(survey)
    stop = next(c for c in roof.checks if c.status == "stop")
    assert roof.facets == () and (stop.code, stop.value, stop.limit) == ("roof-not-measured", 2, 3)


def test_readings_in_one_line_do_not_fix_a_plane():
    survey = odd_survey(RECTANGLE)
    y = survey["positions"]["r0"][1]
    survey["levels"] = [v for v in survey["levels"]
                        if v["on"] == "threshold" or survey["positions"][v["point"]][1] == y]
    roof = fitted(survey)
    assert roof.facets == () and [c.code for c in roof.checks if c.status == "stop"] == ["roof-not-measured"]


def test_a_roof_of_no_planes_says_that_they_do_not_fit():
    roof = fitted(odd_survey(RECTANGLE, lambda x, y: -8 + 3 * math.sin(x / 9) * math.cos(y / 7)))
    assert [c.status for c in roof.checks if c.code == "roof-shape"] == ["stop"]


def test_a_ridge_called_a_valley_is_told():
    roof = fitted(odd_survey(RECTANGLE, ridge, lines=[("valley", [(96, 3), (96, 117)])]))
    found = [c for c in roof.checks if c.code == "breakline-kind"]
    assert [c.status for c in found] == ["caution"] and "ridge" in found[0].text


def test_a_crooked_break_line_is_told_by_how_much():
    roof = fitted(odd_survey(RECTANGLE, ridge, lines=[("ridge", [(96, 3), (116, 60), (96, 117)])]))
    found = next(c for c in roof.checks if c.code == "breakline-not-straight")
    assert found.status == "caution" and found.value == pytest.approx(20 * 2 / 3, abs=0.5)


def test_height_is_read_from_the_facet_under_the_place():
    roof = fitted(ridged_survey())
    xy = np.array([(10, 60), (180, 60), (96, 60)], float)
    assert_allclose(roof.height(xy), [ridge(*p) for p in xy], atol=1 / 24)
    assert len(set(roof.facet_at(xy[:2]))) == 2
    assert LineString(roof.breaks[0].line.coords).length == pytest.approx(120)


U_ROOF = Polygon([(0, 0), (300, 0), (300, 200), (200, 200), (200, 80), (100, 80), (100, 200), (0, 200)])


@pytest.mark.parametrize(("read", "ends"), [
    ([((10, 150), (90, 150))], [((0, 150), (100, 150)), ((200, 150), (300, 150))]),  # the fold goes on past the notch
    ([((10, 150), (290, 150))], [((0, 150), (100, 150)), ((200, 150), (300, 150))]),
    # ... but where another line was read along there it is that one
    ([((10, 150), (90, 150)), ((210, 150.5), (290, 150.5))], [((0, 150), (100, 150)), ((200, 150.5), (300, 150.5))]),
])  # fmt: skip
def test_a_break_line_is_carried_past_a_notch_unless_another_was_read_there(read, ends):
    found = sorted(sorted(b.line.coords) for b in meet([Break("ridge", LineString(v)) for v in read], U_ROOF))
    assert_allclose(found, sorted(map(sorted, ends)), atol=1e-9)


def test_planes_agree_along_every_fold_of_four_facets_that_meet_a_hair_apart():
    """Two ridges end within 1/32 in of a place on a third; by the readings alone the planes would part."""
    def height(x, y):
        return -8 - 0.02 * abs(x - 120) - 0.015 * abs(y - 120) + 0.1 * math.sin(x * y)

    lines = [("ridge", [(120.02, 3), (120.02, 118)]), ("ridge", [(119.99, 122), (119.99, 237)]),
             ("ridge", [(3, 120.01), (237, 120.01)])]
    roof = fitted(odd_survey([(0, 0), (240, 0), (240, 240), (0, 240)], height, lines=lines))
    assert len(roof.facets) == 4
    for i, one in enumerate(roof.facets):
        for other in roof.facets[:i]:
            shared = one.polygon.buffer(0.05).intersection(other.polygon.boundary)
            at = np.array([xy for part in getattr(shared, "geoms", [shared]) for xy in part.coords])
            if len(at) and shared.length > 6:
                assert np.abs(one.height(at) - other.height(at)).max() < 0.005
