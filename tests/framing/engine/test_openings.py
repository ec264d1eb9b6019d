"""Tests of where joists cannot run or stand: obstacles, drains, outlets at their ends, valleys along them."""

import math

import numpy as np
import pytest
from shapely import LineString, Point, Polygon, box

from framing.engine.design import frame
from framing.engine.openings import STICK, valleys_along
from framing.reference import clearances
from tests.framing.odd_roofs import FALL, odd_build, odd_survey
from tests.framing.staged import stages

ROOM = [(0, 0), (240, 0), (240, 160), (0, 160)]
PADS = {"supports__pad_size": [[4, 4], [6, 6]]}


def staged(direction=90.0, survey=None, **build):
    return stages(survey or odd_survey(ROOM), odd_build(**{**PADS, **build}), direction)


def with_vent(at, size=12, clearance=2, corners=ROOM):
    survey = odd_survey(corners)
    survey["positions"]["v"] = list(at)
    survey["obstacles"] = [{"name": "vent", "point": "v", "size": size, "clearance": clearance}]
    return survey


def with_drain(at, diameter):
    survey = odd_survey(ROOM)
    survey["positions"]["d"] = list(at)
    survey["outlets"] = [{"kind": "drain", "purpose": "primary", "point": "d", "diameter": diameter}]
    return survey


def bodies(layout):
    return {n.id: n.shape.buffer(STICK / 2, cap_style="flat") for n in layout.lines}


def of_role(layout, role):
    return [n for n in layout.lines if n.role == role]


def headers(layout):
    return [n for n in layout.lines if n.header]


# --- obstacles


@pytest.mark.parametrize("at", [(100, 80), (111, 61), (57.3, 102.9), (180, 90)])
@pytest.mark.parametrize("size", [6, 12, [30, 18]])
def test_round_an_obstacle_joists_end_at_headers_that_run_from_whole_joist_to_whole_joist(at, size):
    s = staged(survey=with_vent(at, size))
    (hole,) = s.deck.holes
    found = headers(s.layout)
    assert len(found) == 2
    whole = [n for n in s.layout.lines if n.role == "joist" and n.length > 120]
    for header in found:
        for end in (header.start, header.end):
            near = min(whole, key=lambda n: n.shape.distance(Point(end)))
            assert near.shape.distance(Point(end)) == pytest.approx(STICK / 2, abs=0.02)
    for name, body in bodies(s.layout).items():
        assert body.intersection(hole).area < 0.05, name


@pytest.mark.parametrize("at", [(100, 80), (111, 61), (57.3, 102.9)])
def test_no_two_members_stand_in_one_place_round_an_obstacle(at):
    shapes = list(bodies(staged(survey=with_vent(at)).layout).values())
    for i, one in enumerate(shapes):
        for other in shapes[:i]:
            assert one.intersection(other).area < 0.2


def test_an_obstacle_between_two_joists_cuts_none():
    """Joists 16 in apart from the edge joist at x = 1.75: one obstacle of 6 in lies wholly between two."""
    rows = sorted(n.start[0] for n in of_role(staged().layout, "joist"))
    middle = (rows[3] + rows[4]) / 2
    s = staged(survey=with_vent((middle, 80), size=6, clearance=0))
    assert sorted(n.start[0] for n in of_role(s.layout, "joist")) == pytest.approx(rows)


# --- drains


@pytest.mark.parametrize("x", [97.0, 99.5, 104.0, 110.0])
@pytest.mark.parametrize("diameter", [4, 8])
def test_no_wood_lies_over_a_drain_and_the_joists_beside_it_are_no_further_apart_than_asked(x, diameter):
    s = staged(survey=with_drain((x, 80), diameter))
    design = frame(with_drain((x, 80), diameter), odd_build(**PADS, joists__direction=90))
    bowl = Point(x, 80).buffer(diameter / 2)
    lines = [LineString([m["start"], m["end"]]).buffer(STICK / 2) for m in design.document["members"]]
    assert not any(line.intersects(bowl) for line in lines)
    rows = np.unique(np.round([m["start"][0] for m in design.document["members"] if m["role"] == "joist"], 3))
    assert np.diff(rows).max() <= s.build.joists.spacing + 1e-3
    assert "bowl-span" not in {c["code"] for c in design.document["checks"]}


def test_a_bowl_wider_than_what_is_free_between_two_joists_is_told():
    survey = with_drain((100, 80), 18)
    document = frame(survey, odd_build(**PADS, joists__direction=90)).document
    (told,) = [c for c in document["checks"] if c["code"] == "bowl-span"]
    assert told["value"] == pytest.approx(18 + STICK) and told["limit"] == 16 and "19.5" in told["text"]
    bowl = Point(100, 80).buffer(9 - 0.01)
    assert not any(LineString([m["start"], m["end"]]).buffer(STICK / 2).intersects(bowl) for m in document["members"])


# --- ends that cannot stand


def scupper(x, y=160, **more):
    return odd_survey(ROOM, lambda x, y: -5.5 - FALL * y, outlets=[(x, y)], **more)


def test_a_joist_that_runs_at_a_scupper_ends_at_a_header_and_its_neighbours_carry_the_rest():
    plain = staged(survey=odd_survey(ROOM, lambda x, y: -5.5 - FALL * y))
    rows = sorted(n.start[0] for n in of_role(plain.layout, "joist"))
    s = staged(survey=scupper(rows[5]))
    (header,) = headers(s.layout)
    lo, hi = sorted((header.start[0], header.end[0]))
    assert (lo, hi) == pytest.approx((rows[4] + STICK / 2, rows[6] - STICK / 2), abs=0.01)
    assert header.start[1] == pytest.approx(header.end[1])
    cut = min(of_role(s.layout, "joist"), key=lambda n: abs(n.start[0] - rows[5]))
    assert cut.end[1] == pytest.approx(header.start[1] - STICK / 2, abs=0.01)
    (tail,) = [n for n in of_role(s.layout, "blocking") if abs(n.start[0] - rows[5]) < 0.01]
    assert tail.start[1] == pytest.approx(header.start[1] + STICK / 2, abs=0.01)
    assert tail.end[1] == pytest.approx(160 - 1 - STICK, abs=0.05)
    # nothing of the deck is lost: the neighbours carry what the joist gave up
    carried = {k: v.mean() * next(n for n in s.layout.lines if n.id == k).length + sum(a for _, a in s.layout.hung[k])
               for k, v in s.layout.width.items()}
    assert sum(carried.values()) == pytest.approx(s.deck.net.area, rel=1e-6)


def test_a_joist_well_beside_a_scupper_is_left_whole():
    beside = staged(survey=scupper(ROOM[1][0], 80))  # in a wall that the joists run along
    assert not headers(beside.layout)


@pytest.mark.parametrize("x", np.arange(30, 220, 13.7).tolist())
def test_every_pad_of_a_deck_with_a_scupper_keeps_a_foot_off_it(x):
    document = frame(scupper(x), odd_build(**PADS, joists__direction=90)).document
    away = min(math.dist(s["at"], (x, 160)) for s in document["supports"])
    assert away >= clearances.OUTLET - 1e-6
    assert not [c for c in document["checks"] if c["code"] == "pad-near-outlet" and c["status"] != "ok"]


def test_deep_wood_reaches_past_a_scupper_without_a_header():
    """7 in of wood spans 4 ft and more: a foot of overhang is under a quarter of that."""
    plain = staged(survey=odd_survey(ROOM, lambda x, y: -11 - FALL * y))
    rows = sorted(n.start[0] for n in of_role(plain.layout, "joist"))
    deep = odd_survey(ROOM, lambda x, y: -11 - FALL * y, outlets=[(rows[5] + 7, 160)], roof=None)
    assert not headers(staged(survey=deep).layout)


# --- valleys along the joists


def test_joists_stand_astride_of_a_valley_that_runs_with_them():
    def height(x, y):
        return -9 + FALL * abs(x - 117.75)

    survey = odd_survey(ROOM, height, lines=[("valley", [(117.75, 6), (117.75, 154)])], sill=-2.0)
    s = staged(survey=survey)
    rows = np.unique(np.round([n.start[0] for n in of_role(s.layout, "joist")], 2))
    clear = 4 / 2 + clearances.VALLEY
    assert np.abs(rows - 117.75).min() >= clear - 1e-6
    assert np.diff(rows).max() <= 16 + 1e-6


def test_a_valley_across_the_joists_or_at_close_spacing_moves_none():
    valley = LineString([(100, 0), (100, 150)])
    assert len(valleys_along([valley], (4, 4), 16, 90)) == 1
    assert valleys_along([valley], (4, 4), 16, 0) == []
    assert valleys_along([valley], (4, 4), 16, 80) == []
    assert valleys_along([valley], (8, 8), 12, 90) == []
    # a degree off over 150 in is 2.6 in: rows astride of it would stand 14.1 in apart
    assert len(valleys_along([valley], (4, 4), 14.2, 89)) == 1 and valleys_along([valley], (4, 4), 14, 89) == []
    (strip,) = valleys_along([valley], (4, 6), 16, 90)
    assert Polygon(strip).bounds[0] == pytest.approx(100 - 6) and box(94, 10, 106, 140).within(strip.buffer(1e-6))
