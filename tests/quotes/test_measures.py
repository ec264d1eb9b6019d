"""Tests of the measures: what each reads off a framing, worked by hand on outlines with easy numbers."""

from decimal import Decimal
from pathlib import Path

import pytest

from quotes.measures import MEASURES, MeasureError, measure, outline_sides

#   D───────────C        240 x 144 in roof with a 96 x 48 in notch at its right lower corner,
#   │           │        side A-B parted in two at the point M, deck 1 in inside all of it
#   │       F───E
#   A───M───B
CORNERS = {"A": (0, 0), "M": (60, 0), "B": (144, 0), "F": (144, 48), "E": (240, 48), "C": (240, 144), "D": (0, 144)}
SURVEY = {
    "corners": list(CORNERS),
    "edges": [{"from": "A", "to": "M", "against": "house"}, {"from": "B", "to": "M", "against": "house"},
              {"from": "E", "to": "C", "against": "parapet"}, {"from": "C", "to": "D", "against": "parapet"},
              {"from": "D", "to": "A", "against": "open"}],
    "outlets": [{"kind": "scupper", "point": "S1"}, {"kind": "drain", "purpose": "overflow", "point": "S2"}],
}
FRAMING = {
    "survey_adjustment": {"points": {name: {"x": x, "y": y} for name, (x, y) in CORNERS.items()}, "area_sqft": 207.996},
    "outline": [[1, 1], [143, 1], [143, 49], [239, 49], [239, 143], [1, 143]],
    "holes": [[[20, 20], [32, 20], [32, 32], [20, 32]]],
    "members": [{"role": "joist", "start": [1, 1], "end": [1, 101]},
                {"role": "joist", "start": [17, 1], "end": [17, 31]}, {"role": "rim", "start": [0, 0], "end": [3, 4]}],
    "supports": [{}] * 5,
}


def read(name, *of, framing=FRAMING, survey=SURVEY):
    return measure(name, framing, survey, of)


@pytest.mark.parametrize(("side", "inches"), [
    ("A-M", "59"), ("M-B", "83"), ("B-F", "48"), ("F-E", "96"), ("E-C", "94"), ("D-C", "238"), ("D-A", "142"),
])
def test_a_side_is_as_long_as_the_deck_along_it_whichever_way_it_is_named(side, inches):
    assert read("sides", side).amount == read("sides", "-".join(reversed(side.split("-")))).amount == Decimal(inches)


def test_the_sides_together_are_the_perimeter():
    assert read("sides", "A-M", "M-B", "B-F", "F-E", "E-C", "C-D", "D-A").amount == read("perimeter").amount == 760


def test_a_roof_whose_corners_go_the_other_way_round_measures_the_same():
    other = {**SURVEY, "corners": SURVEY["corners"][::-1]}
    assert {frozenset(k): v for k, v in outline_sides(FRAMING, other).items()} == {
        frozenset(k): v for k, v in outline_sides(FRAMING, SURVEY).items()}
    assert read("sides", "A-M", survey=other).amount == 59


def test_sides_are_taken_by_what_they_stand_against():
    assert read("sides-against", "house").amount == 142
    assert read("sides-against", "parapet", "open").amount == 94 + 238 + 142
    with pytest.raises(MeasureError, match="against open"):
        read("sides-against", "open", survey={**SURVEY, "edges": SURVEY["edges"][:4]})


def test_straight_runs_and_their_ends_are_told_apart():
    along = read("sides", "E-C", "C-D", "D-A")
    assert along.runs == (94, 238, 142) and along.ends == 1
    assert read("sides", "A-M", "E-C").ends == 2  # two runs of sides, each with an end
    assert read("sides", *(f"{a}-{b}" for a, b in outline_sides(FRAMING, SURVEY))).ends == 0  # all the way round


def test_area_is_that_of_the_outline_less_its_holes():
    # (142 x 142 + 96 x 94 - 12 x 12) / 144 = 201.6944...
    assert read("net-area").amount == Decimal("201.69") and read("net-area").unit == "FTK"
    assert read("roof-area").amount == Decimal("208.00")


def test_an_area_and_a_length_are_rounded_once_half_up():
    square = {**FRAMING, "outline": [[0, 0], [12.005, 0], [12.005, 12], [0, 12]], "holes": []}
    assert read("net-area", framing=square).amount == Decimal("1.00")  # 1.000416...
    assert read("perimeter", framing=square).runs == (Decimal("12.01"), 12, Decimal("12.01"), 12)


def test_members_are_counted_and_measured_by_their_role():
    assert read("members", "joist").amount == 2 and read("members").amount == 3
    assert read("member-length", "joist").amount == 130 and read("member-length", "rim").amount == 5
    assert read("members", "border").amount == 0


def test_pads_and_outlets_are_counted():
    assert read("pads").amount == 5
    assert read("outlets").amount == 2
    assert read("outlets", "primary").amount == 1 and read("outlets", "overflow", "drain").amount == 1


@pytest.mark.parametrize(("name", "of", "said"), [
    ("sides", ("A-Z",), "no side A-Z"), ("sides", (), "expected them named"), ("sides", ("E-C", "E-C"), "twice"),
    ("sides-against", ("wall",), "expected house, parapet, open"), ("members", ("beam",), "expected joist"),
    ("net-area", ("A-B",), "whole deck"), ("height", (), "expected one of sides"),
])
def test_what_cannot_be_read_off_is_refused_with_what_was_expected(name, of, said):
    with pytest.raises(MeasureError, match=said):
        read(name, *of)


@pytest.mark.parametrize("name", ["sides", "sides-against", "perimeter", "net-area", "roof-area"])
def test_a_framing_that_was_never_laid_out_measures_nothing(name):
    with pytest.raises(MeasureError, match="expected"):
        read(name, *({"sides": ["A-M"], "sides-against": ["house"]}.get(name, [])), framing={})


def test_a_side_that_the_deck_does_not_reach_is_told():
    half = {**FRAMING, "outline": [[1, 1], [59, 1], [59, 143], [1, 143]]}
    with pytest.raises(MeasureError, match="along E-C"):
        read("sides", "E-C", framing=half)


def test_the_readme_names_every_measure():
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text()
    assert [name for name in MEASURES if f"`{name}`" not in readme] == []


def test_every_measure_says_its_unit_and_what_it_is():
    assert set(MEASURES) == {"sides", "sides-against", "perimeter", "net-area", "roof-area", "members", "member-length",
                             "pads", "outlets"}
    assert all(known.unit in ("INH", "FTK", "EA") and known.what for known in MEASURES.values())
