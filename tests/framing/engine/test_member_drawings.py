"""Tests of a member's profile: stations as in the document, drawn to scale, nothing covered, nothing off the page."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from framing.engine.design import frame
from framing.engine.member_drawings import profile_svg, stack
from framing.engine.svg import width_of
from tests.framing.fixtures import good_build, good_survey

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def document():
    return frame(good_survey(), good_build()).document


@pytest.fixture(scope="module")
def profiles(document):
    """Every member of the terrace with its supports and its drawing."""
    under = {m["id"]: [s for s in document["supports"] if s["member"] == m["id"]] for m in document["members"]}
    return [(m, under[m["id"]], ET.fromstring(profile_svg(m, under[m["id"]]))) for m in document["members"]]


def joist(**more):
    return {"id": "J1", "role": "joist", "start": [0, 10], "end": [240, 10], "size": "2x8", "thickness": 1.5,
            "profile": [[0, 5.6875], [120, 3.125], [240, 5.9375]], "splices": [120], "ripped": True,
            "stations": [[0, "5 11/16"], [2, "5 5/8"], [120, "3 1/8"], [240, "5 15/16"]], **more}


def texts(root):
    return [(float(t.get("x")), float(t.get("y")), float(t.get("font-size")), t.get("text-anchor"), t.text)
            for t in root.iter(f"{SVG}text")]


def row(root, title):
    """The figures of the rows of one title, left to right, strip after strip."""
    said = [t for t in texts(root)]
    found = []
    for x, y, *_, words in said:
        if x == 0 and words == title:
            found += [t[4] for t in said if t[1] == y and t[0] > 0]
    return found


def test_the_depths_drawn_are_those_of_the_document_word_for_word(profiles):
    for member, _, root in profiles:
        assert row(root, "depth") == [depth for _, depth in member["stations"]]


def test_every_station_stands_over_its_depth(profiles):
    for member, _, root in profiles:
        assert len(row(root, "from end A") + row(root, "on from A")) == len(member["stations"])
        ticks = {round(x, 2) for x, y, *_, words in texts(root) if words in [d for _, d in member["stations"]]}
        assert len(ticks) == len(member["stations"])


def test_every_pad_is_told_with_its_shim(profiles):
    for member, supports, root in profiles:
        assert sorted(row(root, "pad, shim")) == sorted(stack(s) for s in supports), member["id"]


def outline(root):
    """The wood's outline: the first path of the first strip, (k, 2)."""
    d = next(p.get("d") for p in root.iter(f"{SVG}path"))
    return np.array([[float(v) for v in p.split()] for p in re.findall(r"[\d.-]+ [\d.-]+", d)])


def test_the_wood_is_drawn_to_scale_from_end_a_with_its_top_edge_straight():
    root = ET.fromstring(profile_svg(joist(), []))
    xy = outline(root)
    top, bottom = xy[:2], xy[2:][::-1]
    assert top[0][1] == top[1][1]
    along = (top[1][0] - top[0][0]) / 240
    assert (bottom[:, 0] - top[0][0]) / along == pytest.approx([0, 120, 240], abs=0.01)
    factor = int(re.search(r"heights ×(\d+)", ET.tostring(root, "unicode"))[1])
    assert (bottom[:, 1] - top[0][1]) / (along * factor) == pytest.approx([5.6875, 3.125, 5.9375], abs=0.01)


def test_a_short_piece_is_drawn_to_one_scale_and_says_nothing_else():
    short = joist(end=[30, 10], profile=[[0, 4], [30, 5]], splices=[], stations=[[0, "4"], [30, "5"]])
    root = ET.fromstring(profile_svg(short, []))
    assert "heights ×" not in ET.tostring(root, "unicode") and "to one scale" in root[1].text
    xy = outline(root)
    assert (xy[1][0] - xy[0][0]) / 30 == pytest.approx((xy[3][1] - xy[0][1]) / 4, abs=0.01)


def test_the_crew_is_told_which_edge_is_up_and_which_is_sawn():
    said = " ".join(t[4] for t in texts(ET.fromstring(profile_svg(joist(), []))))
    assert "A · crown and factory edge up · saw the bottom edge" in said and "B" in said.split()
    assert "not ripped" in profile_svg(joist(ripped=False), [])


def test_a_splice_is_drawn_where_it_is():
    root = ET.fromstring(profile_svg(joist(), []))
    xy = outline(root)
    splices = [p for p in root.iter() if p.get("class") == "splice"]
    assert len(splices) == 1
    assert float(re.search(r"M([\d.]+)", splices[0].get("d"))[1]) == pytest.approx((xy[0][0] + xy[1][0]) / 2, abs=0.01)


def spans(root):
    """(left, right, y) of every figure under the wood."""
    for x, y, size, anchor, words in texts(root):
        wide = size * width_of(words, bold=True)
        left = {"start": x, "middle": x - wide / 2, "end": x - wide}[anchor or "start"]
        yield left, left + wide, y


def crowded(count):
    """A member with stations so close that their figures cannot all stand under them."""
    places = [float(i) for i in range(count)] + [240.0]
    return joist(stations=[[s, "12 15/16"] for s in places], splices=[])


@pytest.mark.parametrize("count", [3, 9, 13, 30])
def test_no_figure_stands_over_another_or_off_the_page(count):
    root = ET.fromstring(profile_svg(crowded(count), []))
    _, _, wide, high = (float(v) for v in root.get("viewBox").split())
    rows = {}
    for left, right, y in spans(root):
        assert left >= 0 and right <= wide and 0 < y < high
        rows.setdefault(y, []).append((left, right))
    for figures in rows.values():
        figures.sort()
        assert all(a[1] <= b[0] + 0.01 for a, b in zip(figures, figures[1:], strict=False))


def test_no_figure_of_a_whole_terrace_stands_over_another_or_off_the_page(profiles):
    for member, _, root in profiles:
        _, _, wide, high = (float(v) for v in root.get("viewBox").split())
        rows = {}
        for left, right, y in spans(root):
            assert left >= 0 and right <= wide and 0 < y < high, member["id"]
            rows.setdefault(y, []).append((left, right))
        for figures in rows.values():
            figures.sort()
            assert all(a[1] <= b[0] + 0.01 for a, b in zip(figures, figures[1:], strict=False)), member["id"]


def test_no_word_is_smaller_than_six_points_on_a_landscape_letter_page(profiles):
    for _, _, root in profiles:
        wide = float(root.get("viewBox").split()[2])
        assert min(t[2] for t in texts(root)) * 9.8 * 72 / wide >= 6


def test_who_cannot_see_it_is_told_every_station(profiles):
    for member, _, root in profiles:
        for s, depth in member["stations"]:
            assert f"{depth} at " in root[0].text, (member["id"], s)
        assert root.get("role") == "img"
        assert root.get("aria-labelledby").split() == [root[0].get("id"), root[1].get("id")]


def test_each_member_has_ids_of_its_own_on_a_page(profiles):
    ids = [root[0].get("id") for _, _, root in profiles]
    assert len(set(ids)) == len(ids)


def test_the_same_member_gives_the_same_drawing(document):
    for m in document["members"]:
        assert profile_svg(m, []) == profile_svg(dict(reversed(m.items())), [])
