"""Tests of what a crew tapes: rows from the first joist, the first joist from its wall, edges, and the datum mark."""

import math

import numpy as np
import pytest
from shapely import Polygon

from framing.engine.documents import parse_survey
from framing.engine.setting_out import Run, beside, datum_place, first_from_wall, joist_rows
from tests.framing.fixtures import good_survey

# Three rows 16 in apart along x, the middle one in two pieces round an obstacle; a rim at their ends.
RUNS = [
    Run("J3", "joist", (2, 34), (118, 34)), Run("J1", "joist", (2, 2), (118, 2)), Run("J2", "joist", (2, 18), (50, 18)),
    Run("J4", "joist", (70, 18), (118, 18)), Run("R1", "rim", (1, 0), (1, 40)), Run("E1", "edge", (2, 38.5), (118, 39)),
]


def turned(p, degrees):
    a = math.radians(degrees)
    return (p[0] * math.cos(a) - p[1] * math.sin(a), p[0] * math.sin(a) + p[1] * math.cos(a))


@pytest.mark.parametrize("degrees", [0, 33, 90, 200])
def test_rows_are_counted_from_the_joist_nearest_the_door_whatever_the_direction(degrees):
    runs = [Run(r.id, r.role, turned(r.start, degrees), turned(r.end, degrees)) for r in RUNS]
    near = joist_rows(runs, turned((60, 0), degrees))
    assert near.offsets == pytest.approx([0, 16, 32]) and near.ids == (("J1",), ("J2", "J4"), ("J3",))
    far = joist_rows(runs, turned((60, 60), degrees))
    assert far.offsets == pytest.approx([0, 16, 32]) and far.ids[0] == ("J3",)


def test_without_joists_there_are_no_rows():
    assert joist_rows([r for r in RUNS if r.role != "joist"], (0, 0)) is None


def test_the_first_joist_is_held_to_its_wall_near_both_its_ends():
    """The wall runs from y = -3 at x = 0 to y = -9 at x = 120: 1/20 of a inch for each inch along."""
    roof = Polygon([(0, -3), (120, -9), (120, 60), (0, 60)])
    rows = joist_rows(RUNS, (60, 0))
    tapes = first_from_wall(RUNS, rows, roof, 60)
    assert [t.joist for t in tapes] == ["J1", "J1"]
    assert [float(t.at[0]) for t in tapes] == [14, 106]  # 12 in from the ends
    assert [t.length for t in tapes] == pytest.approx([2 + 3 + 14 / 20, 2 + 3 + 106 / 20])


def test_a_wall_out_of_reach_gives_no_tape():
    roof = Polygon([(0, -100), (120, -100), (120, 60), (0, 60)])
    assert first_from_wall(RUNS, joist_rows(RUNS, (60, 0)), roof, 60) == []


def test_a_rim_and_an_edge_joist_are_told_with_their_distance_from_the_wall_along_them():
    assert beside(RUNS, (0, 0), (0, 40)) == [("R1", 1)]
    assert beside(RUNS, (0, 42), (120, 42)) == [("E1", pytest.approx(42 - 38.75))]
    assert beside(RUNS, (0, 80), (120, 80)) == []


PLACES = {"A": (0, 0), "s1": (-2.5, 100), "t1": (78, 0), "t2": (96, 0), "t3": (114, 0)}


@pytest.mark.parametrize(("what", "where", "place"), [
    ("cut cross in the door sill", "left jamb", (78, 0)),
    ("cut cross in the door sill", "right end", (114, 0)),
    ("screw in the threshold", None, (96, 0)),
    ("nail over the parapet", "at s1", (-2.5, 100)),
    ("nail", "corner A", (0, 0)),
    ("a nail in a board", "somewhere", None),  # the article is no corner
    (None, None, None),
])
def test_the_datum_mark_is_where_the_words_of_the_survey_place_it(what, where, place):
    survey = good_survey()
    survey["datum"] = {"what": what, "where": where} if what else {}
    parsed = parse_survey({**survey, "datum": {k: v for k, v in survey["datum"].items() if v}})
    found = datum_place(parsed, PLACES, parsed.all_doors[0])
    assert (found is None) if place is None else np.allclose(found, place)


def test_words_about_a_door_place_nothing_while_no_door_is_known():
    survey = parse_survey(good_survey())
    assert datum_place(survey, {"A": (0, 0)}, None) is None
    assert datum_place(survey, {"A": (0, 0)}, survey.all_doors[0]) is None
