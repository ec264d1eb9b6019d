"""Tests of the drawings: well-formed, described in words, safe with any name, and true to the figures."""

import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from framing.engine.design import frame
from framing.engine.drawings import Sheet, plan_svg, section_svg
from tests.framing.fixtures import good_build, good_survey
from tests.framing.odd_roofs import L_SHAPE, OCTAGON, RECTANGLE, TRIANGLE, odd_build, odd_survey, turned
from tests.framing.staged import stages

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = '</title><script>alert("1")</script> & <b>\'"]]>'


def sheet(survey=None, build=None, *, framed=True):
    staged = stages(survey or good_survey(), build or good_build(), longest=191.75)
    return Sheet(staged.survey, staged.build, staged.adjusted, staged.roof, staged.deck, staged.plane,
                 staged.layout, staged.frame() if framed else None)


def both(survey=None, build=None, **more):
    shown = sheet(survey, build, **more)
    return plan_svg(shown), section_svg(shown)


def words(svg):
    return ["".join(t.itertext()) for t in ET.fromstring(svg).iter(f"{SVG}text")]


def drawn(svg, kind):
    """The elements of a drawing that show one kind of thing."""
    return [e for e in ET.fromstring(svg).iter() if e.get("class") == kind]


ROOFS = {"L": L_SHAPE, "octagon": OCTAGON, "triangle": TRIANGLE, "turned": turned(RECTANGLE, 33), "plain": RECTANGLE}


@pytest.fixture(scope="module")
def good():
    return both()


@pytest.mark.parametrize("name", ROOFS)
def test_every_drawing_is_well_formed_and_carries_title_and_description(name):
    for svg in both(odd_survey(ROOFS[name], lambda x, y: -8), odd_build()):
        root = ET.fromstring(svg)
        assert root.tag == f"{SVG}svg" and root.get("role") == "img"
        assert root[0].tag == f"{SVG}title" and root[0].text.strip()
        assert root[1].tag == f"{SVG}desc" and root[1].text.strip()


@pytest.mark.parametrize("name", ROOFS)
def test_every_number_in_a_drawing_is_finite(name):
    for svg in both(odd_survey(ROOFS[name], lambda x, y: -8), odd_build()):
        assert "nan" not in svg and "inf" not in re.sub(r"<desc>.*?</desc>|<title>.*?</title>|>[^<]*<", "", svg)


def test_hostile_names_are_words_and_no_markup():
    survey = good_survey()
    survey["name"] = HOSTILE
    survey["doors"] = [{"name": HOSTILE, "points": survey.pop("threshold")}]
    for svg in both(survey):
        root = ET.fromstring(svg)
        assert not list(root.iter(f"{SVG}script")) and not list(root.iter(f"{SVG}b"))
        assert HOSTILE in "".join(root.itertext())


def test_the_same_sheet_draws_the_same_picture(good):
    assert both() == good


# --- plan


def test_the_plan_says_what_it_shows(good):
    about = ET.fromstring(good[0])[1].text
    shown = sheet()
    joists = sum(m.role == "joist" for m in shown.frame.members)
    assert f"{shown.adjusted.area_sqft:.1f} square feet" in about
    assert f"{joists} joists on {len(shown.frame.supports)} pads" in about and "3 outlets" in about


def test_every_corner_member_and_outlet_is_named_on_the_plan(good):
    shown, told = sheet(), words(good[0])
    assert {"A", "B", "C", "D"} <= set(told)
    assert {m.id for m in shown.frame.members if m.role in ("joist", "edge", "rim")} <= set(told)
    assert any("s1 scupper" in w for w in told) and any("s3 overflow scupper" in w for w in told)


def test_the_sides_carry_their_adjusted_lengths_in_feet_and_inches():
    plan = both(odd_survey(RECTANGLE), odd_build())[0]
    told = words(plan)
    assert sorted(w for w in told if "'" in w) == ["10'-0\"", "10'-0\"", "16'-0\"", "16'-0\""]


def test_there_is_one_square_on_the_plan_for_each_pad(good):
    squares = drawn(good[0], "pads")[0].get("d")
    assert squares.count("M") == len(sheet().frame.supports)


def test_the_slopes_stand_on_their_facets(good):
    assert sum("in/ft" in w for w in words(good[0])) == 2


def test_the_plan_is_drawn_to_scale_with_y_up():
    root = ET.fromstring(both(odd_survey(RECTANGLE), odd_build())[0])
    roof = next(root.iter(f"{SVG}polygon"))
    xy = np.array([[float(v) for v in p.split(",")] for p in roof.get("points").split()])
    assert np.ptp(xy, axis=0) == pytest.approx([192, 120])
    assert xy[0][1] == max(xy[:, 1])  # A and B, the house, lie at the foot of the page
    left, top, wide, high = (float(v) for v in root.get("viewBox").split())
    assert (xy >= [left, top]).all() and (xy <= [left + wide, top + high]).all()


def test_everything_on_the_plan_lies_on_its_page(good):
    root = ET.fromstring(good[0])
    _, _, wide, high = (float(v) for v in root.get("viewBox").split())
    for t in root.iter(f"{SVG}text"):
        assert -1 <= float(t.get("x")) <= wide + 1 and -1 <= float(t.get("y")) <= high + 1


# --- section


def test_the_section_gives_step_down_depth_and_clearance(good):
    about = ET.fromstring(good[1])[1].text
    for words_ in ("step-down at the sill", "joist there", "clearance over the roof there", "deck over roof there"):
        assert words_ in about


def test_the_section_writes_the_step_down_from_the_lowest_sill():
    """A sill at -2 and a reveal of 1/4 in."""
    section = both(odd_survey(RECTANGLE), odd_build(surface={"mode": "level", "reveal": "1/4"}))[1]
    assert "1/4 in  step-down at the sill" in words(section)


def fraction(text):
    total = 0.0
    for part in text.split():
        top, _, bottom = part.partition("/")
        total += float(top) / float(bottom or 1)
    return total


def test_the_figures_of_a_section_add_up(good):
    """Boards, joist and clearance are the height of the deck over the roof, within three roundings."""
    about = ET.fromstring(good[1])[1].text
    for part in re.findall(r"decking ([\d /]+) in, joist there ([\d /]+) in, clearance over the roof there ([\d /]+) "
                           r"in, deck over roof there ([\d /]+) in", about):
        decking, joist, gap, height = (fraction(p) for p in part)
        assert decking + joist + gap == pytest.approx(height, abs=1 / 16 + 1e-9)
    assert len(re.findall("deck over roof there", about)) == 2


# --- what is not known yet


def test_an_unframed_deck_is_drawn_without_pads():
    plan, section = both(framed=False)
    assert "0 joists on 0 pads" in plan and ET.fromstring(section) is not None
    assert not drawn(plan, "pads")


def test_without_corners_or_a_roof_the_drawing_says_so():
    survey = good_survey()
    survey["tapes"] = survey["tapes"][:2]
    framed = frame(survey, good_build())
    assert "not fixed" in "".join(words(framed.plan_svg))
    assert "not measured" in "".join(words(framed.section_svg))


def test_without_a_reading_at_the_door_the_plan_still_stands():
    survey = odd_survey(RECTANGLE)
    survey["levels"] = [v for v in survey["levels"] if v["on"] != "threshold"]
    framed = frame(survey, odd_build())
    assert "not measured" in "".join(words(framed.section_svg))
    assert {"A", "B", "C", "D"} <= set(words(framed.plan_svg))


def test_text_stays_readable_however_large_the_roof():
    sizes = []
    for scale in (1, 5):
        corners = [(x * scale, y * scale) for x, y in RECTANGLE]
        svg = plan_svg(sheet(odd_survey(corners, lambda x, y: -8), odd_build(), framed=False))
        root = ET.fromstring(svg)
        wide = float(root.get("viewBox").split()[2])
        sizes.append(min(float(t.get("font-size")) for t in root.iter(f"{SVG}text")) / wide)
    # 7 in of page width: 6 points are 1/84 of it
    assert all(math.isfinite(v) and v > 1 / 90 for v in sizes)


def test_a_plan_is_drawn_of_the_corners_that_are_fixed_though_one_is_not():
    survey = good_survey()
    survey["tapes"] = [tape for tape in survey["tapes"] if "D" not in tape[:2]]
    survey["edges"] = []
    answer = frame(survey, good_build())
    assert [stop["code"] for stop in answer.stops] == ["corner-not-fixed"]
    assert "area not known" in answer.plan_svg
