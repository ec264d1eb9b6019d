"""Heavy things, drifted snow and the live load's basis, on layouts of whole and odd decks."""

import numpy as np
import pytest
from shapely import Polygon, box, contains_xy, distance, points
from shapely.geometry import LineString

from framing.engine.checks import check
from framing.engine.loads import add_loads, basis_checks, placed_checks
from framing.engine.tributary import Added
from tests.framing.fixtures import good_build, good_survey
from tests.framing.kinds import skewed
from tests.framing.staged import stages


def staged(heavy=(), direction=0.0, documents=None, **loads):
    survey, build = documents or (good_survey(), good_build())
    build["loads"] |= {"heavy": list(heavy), **loads}
    return stages(survey, build, direction)


def weighed(added: Added, s) -> np.ndarray:
    """What all members carry of what stays and of what comes and goes [lb]."""
    length = {line.id: line.length for line in s.layout.lines}
    whole = sum(rows.sum(axis=1) * length[m] / rows.shape[1] for m, rows in added.line.items())
    return whole + sum((rows[:, 1:].sum(axis=0) for rows in added.hung.values()), np.zeros(2))


@pytest.mark.parametrize("direction", [0.0, 90.0, 27.0])
def test_a_heavy_thing_weighs_on_the_members_what_lies_of_it_on_the_deck(direction):
    ring = [[-20, 40], [60, 30], "k2", [70, 100]]
    s = staged([{"points": ring, "psf": 120}], direction)
    added, placed = add_loads(s.survey, s.build, s.adjusted, s.layout)
    k2 = s.adjusted.points["k2"]
    on_deck = Polygon([(-20, 40), (60, 30), (k2.x, k2.y), (70, 100)]).intersection(s.deck.net).area
    assert weighed(added, s) == pytest.approx([120 * on_deck / 144, 0], rel=1e-9)
    assert placed.heavy[0].pounds == pytest.approx(120 * on_deck / 144)
    assert s.layout.added.line == {}  # the layout itself bears nothing yet


def test_a_heavy_thing_is_carried_by_the_members_under_it():
    s = staged([{"points": [[30, 50], [60, 50], [60, 80], [30, 80]], "psf": 100}])
    added, _ = add_loads(s.survey, s.build, s.adjusted, s.layout)
    for line in s.layout.lines:
        if line.id in added.line and added.line[line.id].any():
            assert line.shape.distance(box(30, 50, 60, 80)) < s.build.joists.spacing


def test_snow_drifts_as_a_triangle_against_the_house():
    s = staged(drift=35.8, snow=30)
    added, placed = add_loads(s.survey, s.build, s.adjusted, s.layout)
    assert placed.reach == pytest.approx(96) and placed.against == "the house wall"
    # by hand, strip by strip along the wall y = 0: 35.8 psf at the wall, nothing 96 in off it
    strips = [box(-500, y, 500, y + 1).intersection(s.deck.net).area * 35.8 * (1 - (y + 0.5) / 96) / 144
              for y in range(96)]
    assert weighed(added, s) == pytest.approx([0, sum(strips)], rel=5e-3)
    assert placed.drift == pytest.approx(weighed(added, s)[1], rel=1e-9)


def test_without_a_house_wall_snow_drifts_against_every_parapet_and_does_not_add_up_in_corners():
    survey, build = good_survey(), good_build()
    survey["edges"][0] |= {"against": "parapet", "height": 24, "drop_beyond": "12'"}
    s = staged(documents=(survey, build), drift=20, snow=0)
    added, placed = add_loads(s.survey, s.build, s.adjusted, s.layout)
    assert "parapet" in placed.against
    corners = [(s.adjusted.points[c].x, s.adjusted.points[c].y) for c in "ABCDA"]
    xy = np.stack(np.meshgrid(np.arange(-5, 200, 1.0), np.arange(-2, 130, 1.0)), axis=-1).reshape(-1, 2)
    inside = contains_xy(s.deck.net, *xy.T)
    away = distance(points(xy[inside]), LineString(corners))
    by_hand = (20 * np.maximum(1 - away / placed.reach, 0)).sum() / 144
    assert weighed(added, s)[1] == pytest.approx(by_hand, rel=0.02)


def test_nothing_is_added_where_nothing_is_asked():
    s = staged()
    added, placed = add_loads(s.survey, s.build, s.adjusted, s.layout)
    assert added.line == {} and placed_checks(placed, "J1", 100.0) == []


def test_a_heavy_thing_off_the_deck_or_crossing_itself_is_told_and_no_trouble():
    off = {"points": [[900, 900], [950, 900], [950, 950]], "psf": 50}
    bow = {"points": [[20, 20], [60, 60], [60, 20], [20, 60]], "psf": 90}
    s = staged([off, bow])
    added, placed = add_loads(s.survey, s.build, s.adjusted, s.layout)
    assert [h.area for h in placed.heavy] == pytest.approx([0, 800])
    (told,) = placed_checks(placed, "J4", 321.0)
    assert told.acknowledge and "heavy load 1 not on the deck" in told.text and "321 lb" in told.text
    assert weighed(added, s)[0] == pytest.approx(800 * 90 / 144)


def test_an_odd_shape_with_a_gap_between_its_arms_weighs_what_it_should():
    ring = [[10, 10], [100, 10], [100, 100], [90, 100], [90, 20], [20, 20], [20, 100], [10, 100]]
    for direction in (0.0, 90.0):
        s = staged([{"points": ring, "psf": 144}], direction)
        added, _ = add_loads(s.survey, s.build, s.adjusted, s.layout)
        assert weighed(added, s)[0] == pytest.approx(Polygon(ring).intersection(s.deck.net).area)
        assert all(np.isfinite(rows).all() for rows in added.line.values())


def test_a_thing_too_small_to_be_met_by_any_strip_rests_on_the_nearest_member():
    s = staged([{"points": [[50.3, 60], [50.4, 60], [50.4, 80], [50.3, 80]], "psf": 1440}])
    added, placed = add_loads(s.survey, s.build, s.adjusted, s.layout)
    assert placed.heavy[0].pounds == pytest.approx(20)
    assert weighed(added, s)[0] == pytest.approx(20)


def test_pieces_of_a_member_share_what_it_carries():
    line = {"J1": np.array([np.arange(100.0), np.ones(100)])}
    hung = {"J1": np.array([[0.0, 5.0, 1.0], [40.0, 7.0, 0.0], [100.0, 0.0, 9.0]])}
    added = Added(line, hung)
    (one, at_one), (two, at_two) = added.on("J1", 100, 0, 40, 13), added.on("J1", 100, 40, 100, 20)
    assert one.sum(axis=1) * 40 / 13 + two.sum(axis=1) * 60 / 20 == pytest.approx(line["J1"].sum(axis=1))
    assert at_one.tolist() == [[0, 5, 1]] and at_two.tolist() == [[0, 7, 0], [60, 0, 9]]


@pytest.mark.parametrize(
    ("basis", "live", "status", "numbers"),
    [("dwelling-40", 40, "ok", ["40"]), ("occupiable-60", 40, "caution", ["40", "60"]),
     ("assembly-100", 60, "caution", ["60", "100"]), ("assembly-100", 100, "ok", ["100"])],
)
def test_a_live_load_under_what_its_basis_names_is_told_with_both_numbers(basis, live, status, numbers):
    (told,) = basis_checks(staged(basis=basis, live=live).build)
    assert (told.code, told.status, told.decided_by) == ("live-load-basis", status, "building official")
    assert told.acknowledge == (status == "caution") and all(n in told.text for n in numbers)


def test_words_stand_as_the_source_and_no_basis_is_told_as_not_given():
    (told,) = basis_checks(staged(basis="State amendment, 60 psf").build)
    assert told.source == "State amendment, 60 psf" and told.status == "note"
    survey, build = skewed()
    del build["loads"]["basis"]
    (told,) = basis_checks(stages(survey, build).build)
    assert (told.code, told.status) == ("not-measured", "caution") and "60 psf" in told.text
    assert check("not-measured", "caution", what="x").text == "x."
