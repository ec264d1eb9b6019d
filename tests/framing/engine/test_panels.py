"""Tests of the lift-out panels: where they lie, what they are cut to, and what is said of those refused."""

import math

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon

from framing.engine.design import frame
from framing.engine.layout import WIDEST_INSET
from framing.engine.openings import STICK
from tests.framing.odd_roofs import L_SHAPE, RECTANGLE, odd_build, odd_survey


def survey(outlets, corners=RECTANGLE, drains=(), **more):
    made = odd_survey(corners, lambda x, y: -9 - y / 96, outlets=outlets, **more)
    for i, at in enumerate(drains):
        made["positions"][f"d{i}"] = list(at)
        made["outlets"].append({"kind": "drain", "purpose": "primary", "point": f"d{i}", "diameter": 4})
    return made


def answer(made, **build):
    return frame(made, odd_build(**build)).document


def panels(document):
    return [Polygon(b["polygon"]) for b in document["boards"] if b["kind"] == "panel"]


def told(document, code):
    return [c for c in document["checks"] if c["code"] == code]


@pytest.mark.parametrize("at", [(96, 60), (61.3, 44.4), (120, 90), (30, 100)])
@pytest.mark.parametrize("boards", [0, 90, 30])
def test_a_drain_has_a_panel_over_it_of_about_two_feet_whose_boards_end_on_joists(at, boards):
    document = answer(survey([], drains=[at]), decking__direction=boards)
    lifts = panels(document)
    assert lifts and shapely.union_all(lifts).distance(Point(at)) <= 3 / 16 + 1e-6  # in a gap between its boards
    u = np.array([math.cos(math.radians(boards)), math.sin(math.radians(boards))])
    along = [np.array(p.exterior.coords) @ u for p in lifts]
    across = np.concatenate([np.array(p.exterior.coords) @ [-u[1], u[0]] for p in lifts])
    assert all(12 <= np.ptp(v) <= 49 for v in along)
    assert 24 <= np.ptp(across) <= 24 + 2 * 5.7
    wood = shapely.union_all([LineString([m["start"], m["end"]]).buffer(STICK / 2 + 0.01, cap_style="square")
                              for m in document["members"]])
    for p in lifts:
        xy = np.array(p.exterior.coords)[:-1]
        for end in (xy @ u).min(), (xy @ u).max():
            place = Point(xy[np.abs(xy @ u - end) < 1].mean(axis=0))
            at_side = Polygon(document["outline"]).exterior.distance(place) < 0.5
            assert wood.distance(place) < (WIDEST_INSET if at_side else 0.01)


def test_a_scupper_in_a_wall_has_its_panel_cut_to_the_outline():
    document = answer(survey([(192, 60)]))
    (lift,) = [shapely.union_all(panels(document)).envelope]
    assert lift.bounds[2] == pytest.approx(191, abs=0.01)
    assert lift.bounds[0] > 191 - 40 and lift.distance(Point(192, 60)) <= 1.01


def test_an_outlet_far_from_the_deck_has_none_and_one_near_it_has():
    near = answer(survey([(96, 120)]), decking__edge_gaps={"C-D": 22})
    far = answer(survey([(96, 120)]), decking__edge_gaps={"C-D": 26})
    assert panels(near) and not panels(far)
    assert [c["value"] for c in told(near, "panels")] == [1] and not told(far, "panels")


def test_a_panel_refused_is_told_with_its_reason_and_not_laid():
    document = answer(survey([(192, 60), (0, 60)]), access_panels=[{"over": "o0", "none": "hinged grate there"}])
    (said,) = told(document, "panel-refused")
    assert said["status"] == "caution" and "hinged grate there" in said["text"] and said["where"] == "o0"
    assert shapely.union_all(panels(document)).distance(Point(192, 60)) > 100
    assert shapely.union_all(panels(document)).distance(Point(0, 60)) < 2


def test_a_size_asked_is_kept_to_the_nearest_joists_and_rows():
    small = answer(survey([], drains=[(96, 60)]), access_panels=[{"over": "d0", "size": 16}], decking__direction=0)
    large = answer(survey([], drains=[(96, 60)]), access_panels=[{"over": "d0", "size": [48, 30]}],
                   decking__direction=0)
    (a,), (b,) = ([shapely.union_all(panels(d)).envelope.bounds] for d in (small, large))
    assert 14 <= a[2] - a[0] <= 33 and 16 <= a[3] - a[1] <= 16 + 11.4
    assert 40 <= b[2] - b[0] <= 57 and 30 <= b[3] - b[1] <= 30 + 11.4


def test_a_panel_asked_over_an_obstacle_lies_round_it():
    made = survey([])
    made["positions"]["v"] = [96, 60]
    made["obstacles"] = [{"name": "cleanout", "point": "v", "size": 8, "clearance": 1}]
    without = answer(made)
    document = answer(made, access_panels=[{"over": "cleanout"}])
    assert not panels(without)
    assert shapely.union_all(panels(document)).convex_hull.contains(Point(96, 60))


def test_a_panel_asked_where_the_deck_does_not_reach_is_told():
    document = answer(survey([(96, 120)]), decking__edge_gaps={"C-D": 40}, access_panels=[{"over": "o0"}])
    (said,) = told(document, "panel-off-deck")
    assert said["where"] == "o0" and not panels(document)


def test_panels_over_each_other_are_one_and_boards_never_overlap():
    document = answer(survey([], corners=L_SHAPE, drains=[(60, 120), (78, 130)]))
    shapes = [Polygon(b["polygon"]) for b in document["boards"]]
    assert sum(s.area for s in shapes) == pytest.approx(shapely.union_all(shapes).area, abs=0.5)
    lifts = shapely.union_all(panels(document))
    for at in ((60, 120), (78, 130)):
        assert lifts.distance(Point(at)) <= 3 / 16 + 1e-6


def test_panels_are_loose_so_no_fixing_is_counted_in_them():
    with_panel = answer(survey([], drains=[(96, 60)]))
    refused = answer(survey([], drains=[(96, 60)]), access_panels=[{"over": "d0", "none": "no"}])

    def fixings(document):
        return sum(q["net"] for q in document["quantities"] if q["item"].startswith("fixing/"))

    assert fixings(with_panel) < fixings(refused)
