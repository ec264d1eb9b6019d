"""Tests of the drawings: well-formed, described in words, safe with any name, and true to the figures."""

import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from shapely import Polygon

from framing.engine import length
from framing.engine.design import frame
from framing.engine.drawings import Sheet, plan_svg, section_along, section_svg
from framing.engine.plan_symbols import RIDGE_DASH, VALLEY_DASH
from framing.engine.svg import width_of
from quotes.demonstration import DATA
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


# --- what a crew needs of the plan


def odd(name, **more):
    return sheet(odd_survey(ROOFS[name], lambda x, y: -8, **more), odd_build())


@pytest.fixture(scope="module", params=ROOFS)
def roof(request):
    """A sheet and its plan, read."""
    shown = odd(request.param)
    return shown, ET.fromstring(plan_svg(shown))


def page_of(root):
    left, top, wide, high = (float(v) for v in root.get("viewBox").split())
    assert (left, top) == (0, 0)
    return wide, high


def boxes(root):
    """Corners (4, 2) of the words of a drawing, turned as they stand, with the words."""
    for t in root.iter(f"{SVG}text"):
        x, y, size = (float(t.get(k)) for k in ("x", "y", "font-size"))
        wide = size * width_of(t.text, bold=t.get("font-weight") == "bold")
        left = {"start": 0.0, "middle": -wide / 2, "end": -wide}[t.get("text-anchor") or "start"]
        turn = re.match(r"rotate\((-?[\d.]+)", t.get("transform") or "rotate(0")
        a = math.radians(float(turn[1]))
        top, foot = -0.75 * size, 0.2 * size
        box = np.array([[left, top], [left + wide, top], [left + wide, foot], [left, foot]])
        yield t.text, box @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]]) + [x, y]


def test_no_word_stands_off_the_page_of_a_plan(roof):
    wide, high = page_of(roof[1])
    for said, box in boxes(roof[1]):
        assert (box >= 0).all() and (box <= [wide, high]).all(), said


def test_no_word_of_a_section_stands_off_its_page(good):
    root = ET.fromstring(good[1])
    wide, _ = page_of(root)
    for said, box in boxes(root):
        assert (box[:, 0] >= 0).all() and (box[:, 0] <= wide).all(), said


def test_names_of_members_stand_clear_of_one_another(roof):
    shown, root = roof
    ids = {m.id for m in shown.frame.members}
    placed = [(said, Polygon(box)) for said, box in boxes(root) if said in ids]
    assert {said for said, _ in placed} >= {m.id for m in shown.frame.members if m.role == "joist"}
    for i, (a, one) in enumerate(placed):
        for b, other in placed[i + 1:]:
            assert one.intersection(other).area < 0.1 * one.area, (a, b)


def test_printed_on_letter_paper_no_word_is_smaller_than_six_points(roof, good):
    """A page with the margins of our papers leaves 6.6 by 8.3 in for a drawing."""
    for root in (roof[1], ET.fromstring(good[1])):
        wide, high = page_of(root)
        scale = min(6.6 / wide, 8.3 / high) * 72
        assert min(float(t.get("font-size")) for t in root.iter(f"{SVG}text")) * scale >= 6


def test_a_drawing_tells_by_line_and_symbol_what_colour_tells():
    """Ridge and valley, primary outlet and overflow, high and low: told apart where all ink is black."""
    survey = odd_survey(L_SHAPE, lambda x, y: -8 - 0.02 * abs(x - 60), lines=[("ridge", [(60, 0), (60, 216)])],
                        outlets=[(2, 40), (2, 80)])
    survey["outlets"][1]["purpose"] = "overflow"
    plan = plan_svg(sheet(survey, odd_build()))
    outlets = drawn(plan, "outlet")
    assert len({o.get("fill") for o in outlets}) == 2
    assert drawn(plan, "ridge") and all(r.get("stroke-dasharray") for r in drawn(plan, "ridge"))
    assert RIDGE_DASH != VALLEY_DASH


def test_running_dimensions_are_the_distances_of_the_joists_from_the_first(roof):
    shown, root = roof
    u = np.array([math.cos(math.radians(shown.layout.direction)), math.sin(math.radians(shown.layout.direction))])
    v = sorted(float(np.array(m.line.start) @ [-u[1], u[0]]) for m in shown.frame.members if m.role == "joist")
    v = [w for w, before in zip(v, [-math.inf, *v], strict=False) if w - before > 0.01]  # one of each row
    told = ["".join(t.itertext()) for t in root.iter(f"{SVG}text")]
    up = [length.write(w - v[0]) for w in v[1:]]
    down = [length.write(v[-1] - w) for w in v[:-1]]
    assert any(w.endswith(" = 0") for w in told)
    assert set(up) <= set(told) or set(down) <= set(told)


def test_the_first_joist_is_held_to_its_wall_on_the_plan():
    """Joists along the house wall of a plain rectangle: the tapes run down to y = 0."""
    shown = sheet(odd_survey(RECTANGLE), odd_build())
    first = min((m for m in shown.frame.members if m.role == "joist"), key=lambda m: m.line.start[1])
    told = words(plan_svg(shown))
    assert len(drawn(plan_svg(shown), "tape")) == 2
    assert told.count(length.write(first.line.start[1])) >= 2


def test_beside_each_wall_stands_what_the_deck_and_its_members_keep_from_it():
    shown = sheet(odd_survey(RECTANGLE), odd_build())
    told = words(plan_svg(shown))
    edge = min((m for m in shown.frame.members if m.role == "edge"), key=lambda m: m.line.start[1])
    assert f"deck 1/2 off · {edge.id} {length.write(edge.line.start[1])}" in told  # 1/2 in from the house
    assert sum(w.startswith("deck 1 off") for w in told) == 3


def rings_of(root, kind):
    """The closed rings (k, 2) of one kind of thing."""
    d = next(e for e in root.iter() if e.get("class") == kind).get("d")
    return [np.array([[float(v) for v in p.split()] for p in r.rstrip("z").split("L")]) for r in d.split("M")[1:]]


def test_members_are_drawn_with_their_true_thickness_and_pads_under_them(roof):
    shown, root = roof
    joists = [m for m in shown.frame.members if m.role == "joist"]
    for m, ring in zip(joists, rings_of(root, "joist"), strict=True):
        assert Polygon(ring).area == pytest.approx(m.line.length * m.thickness, rel=0.02)
    corners = [(p.x, p.y) for p in (shown.adjusted.points[c] for c in shown.survey.corners)]
    for s, ring in zip(shown.frame.supports, rings_of(root, "pads"), strict=True):
        assert Polygon(ring).area == pytest.approx(s.pad_size[0] * s.pad_size[1], rel=0.02)
        assert ring.mean(axis=0) == pytest.approx(place_on(root, s.at, corners), abs=0.05)


def place_on(root, p, survey_points):
    """Where a survey point lies on the page: the roof's outline, drawn first, gives the shift."""
    outline = next(root.iter(f"{SVG}polygon")).get("points").split()
    x, y = (float(v) for v in outline[0].split(","))
    return p[0] - survey_points[0][0] + x, y - (p[1] - survey_points[0][1])


def test_the_place_of_least_height_is_marked_and_named():
    """A roof that rises to one corner: the deck's corner there governs. Checked against a fine grid."""
    survey = odd_survey(RECTANGLE, lambda x, y: -9 + x / 150 + y / 200)
    shown = sheet(survey, odd_build())
    root = ET.fromstring(plan_svg(shown))
    x0, y0, x1, y1 = shown.deck.outline.bounds
    grid = np.array([[x, y] for x in np.linspace(x0, x1, 50) for y in np.linspace(y0, y1, 50)])
    height = shown.plane.height(grid) - shown.roof.height(grid)
    least = grid[int(np.argmin(height))]
    diamond = next(e for e in root.iter() if e.get("class") == "governing")
    middle = np.mean([[float(v) for v in p.split(",")] for p in diamond.get("points").split()], axis=0)
    assert middle == pytest.approx(place_on(root, least, RECTANGLE), abs=0.05)
    assert f"least, {length.write(float(height.min()), 32)} in" in root[1].text


def test_the_datum_mark_stands_at_the_left_jamb_that_the_survey_names(good):
    root = ET.fromstring(good[0])
    mark = next(e for e in root.iter() if e.get("class") == "datum")
    x = float(mark[0].get("cx"))
    door = next(e for e in root.iter() if e.get("class") == "door")
    xs = [float(p.split(",")[0]) for p in door.get("points").split()]
    assert x == pytest.approx(min(xs), abs=0.1)
    assert any(w.startswith("Datum: cut cross in the door sill, left jamb") for w in words(good[0]))


def test_a_datum_that_words_do_not_place_is_told_in_words():
    survey = {**good_survey(), "datum": {"what": "a nail", "where": "in the neighbour's fence"}}
    plan = plan_svg(sheet(survey))
    assert not drawn(plan, "datum")
    assert "do not say where" in " ".join(words(plan))


def test_of_joists_too_dense_to_name_every_so_many_is_named_and_the_plan_says_so():
    shown = sheet(odd_survey([(0, 0), (150, 0), (150, 1200), (0, 1200)], lambda x, y: -8, step=60),
                  odd_build(joists__spacing=12))
    told = words(plan_svg(shown))
    joists = [m.id for m in shown.frame.members if m.role == "joist"]
    named = [i for i in joists if i in told]
    assert 10 < len(named) < len(joists) and named[0] == joists[0] and named[-1] == joists[-1]
    assert any(re.match(r"Every \d+\w\w row of joists is named", w) for w in told)


def test_panels_that_lift_out_are_drawn_and_told():
    framed = frame({**good_survey(), "outlets": [{"kind": "drain", "purpose": "primary", "point": "r6",
                                                  "diameter": 4}]}, {**good_build(), "access_panels": []})
    panels = [b for b in framed.document["boards"] if b["kind"] == "panel"]
    assert panels and len(drawn(framed.plan_svg, "panels")) == 1
    assert "panel that lifts out" in words(framed.plan_svg)
    outlines = framed.sheet.panels
    for b in panels:
        assert any(o.buffer(0.01).contains(Polygon(b["polygon"])) for o in outlines)


def test_high_and_low_spots_of_the_roof_are_marked_with_their_figures():
    framed = frame((DATA / "survey.json").read_bytes(), (DATA / "build.json").read_bytes())
    spots = framed.document["roof"]["anomalies"]
    assert {a["kind"] for a in spots} == {"hump", "low"}
    assert len(drawn(framed.plan_svg, "spot")) == len(spots) + 2  # and one of either kind in the legend
    for a in spots:
        assert f"{'high' if a['offset'] > 0 else 'low'} {abs(a['offset']):.2f}" in words(framed.plan_svg)


# --- sections at every door, and along any member


def test_there_is_a_section_at_every_door_the_governing_one_first():
    survey = good_survey()
    del survey["threshold"]
    survey["doors"] = [{"name": "kitchen door", "points": ["t1", "t2"]},
                       {"name": "hall door", "points": ["t3"], "governs": True}]
    section = section_svg(sheet(survey))
    titles = [w for w in words(section) if w.startswith("Section")]
    assert titles == ["Section at hall door", "Section where the roof stands highest", "Section at kitchen door"]
    assert section.count("step-down at the sill") >= 2 * 2  # drawn and told


def test_a_section_along_a_member_gives_depth_and_clearance_at_every_station_it_has_room_for():
    shown = sheet()
    for m in shown.frame.members:
        if m.role == "blocking":
            continue
        root = ET.fromstring(section_along(shown, m.id))
        told = root[1].text
        supports = shown.frame.on(m.id)
        for s, depth in m.stations([p.s for p in supports]):
            assert f"at {length.write(s)} depth {depth}, clearance " in told, (m.id, s)
        for p in supports:
            assert f"clearance {length.write(p.clear_gap + p.residual, 32)}," in told
        wide, high = page_of(root)
        for said, box in boxes(root):
            assert (box >= 0).all() and (box <= [wide, high]).all(), (m.id, said)
        assert min(float(t.get("font-size")) for t in root.iter(f"{SVG}text")) * 6.6 * 72 / wide >= 6


def test_a_section_along_a_member_says_how_much_larger_heights_are_drawn():
    shown = sheet()
    m = next(m for m in shown.frame.members if m.role == "joist")
    root = ET.fromstring(section_along(shown, m.id))
    factor = int(re.search(r"Heights are drawn (\d+) times", " ".join(words(section_along(shown, m.id))))[1])
    wood = [e for e in root.iter(f"{SVG}polygon")][-1]
    xy = np.array([[float(v) for v in p.split(",")] for p in wood.get("points").split()])
    along = np.ptp(xy[:, 0]) / m.line.length
    assert xy[-1][1] - xy[0][1] == pytest.approx(float(m.depth(np.array([0.0]))[0]) * along * factor, abs=0.05)


def test_a_section_along_a_member_that_is_not_there_is_refused_with_its_name():
    with pytest.raises(KeyError, match="J99"):
        section_along(sheet(), "J99")
    with pytest.raises(KeyError, match="J1"):
        section_along(sheet(framed=False), "J1")


def test_a_framing_draws_a_section_along_its_members():
    framed = frame(good_survey(), good_build())
    assert framed.section_along("J1") == section_along(framed.sheet, "J1")


def test_every_drawing_points_to_its_title_and_description(good):
    for svg in (*good, section_along(sheet(), "J1")):
        root = ET.fromstring(svg)
        assert root.get("aria-labelledby").split() == [root[0].get("id"), root[1].get("id")]
