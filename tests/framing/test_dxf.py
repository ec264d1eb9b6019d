"""Tests of the DXF plan: read back by a reader of its own, clean, true to the document, the same bytes every time."""

import io
import json
import math
import subprocess
import sys
from collections import Counter
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from shapely import Polygon

from framing.dxf import LAYERS, plain, plan_dxf
from framing.engine.design import frame
from tests.framing.fixtures import good_build, good_survey
from tests.framing.odd_roofs import L_SHAPE, OCTAGON, RECTANGLE, TRIANGLE, odd_build, odd_survey, turned

ROOT = Path(__file__).parents[2]


def obstructed():
    survey = odd_survey(L_SHAPE, outlets=[(2, 100)], datum={"what": "nail", "where": "corner C"}, obstacles=[
        {"name": "hatch", "point": "v1", "size": [36, 30], "clearance": 3},
        {"name": "vent", "point": "v2", "size": 8, "clearance": 2}])
    survey["positions"].update(v1=[50, 150], v2=[170, 50])
    return survey


DECKS = {
    "whole terrace": lambda: (good_survey(), good_build()),
    "L with obstacles": lambda: (obstructed(), odd_build()),
    "octagon": lambda: (odd_survey(OCTAGON), odd_build()),
    "triangle": lambda: (odd_survey(TRIANGLE), odd_build()),
    "turned": lambda: (odd_survey(turned(RECTANGLE, 33)), odd_build()),
    "too low": lambda: (odd_survey(RECTANGLE, lambda x, y: -4), odd_build()),
    "corners not fixed": lambda: ({**good_survey(), "tapes": good_survey()["tapes"][:2]}, good_build()),
}


@pytest.fixture(scope="module", params=DECKS)
def deck(request):
    """A survey, its framing and the drawing read back."""
    survey, build = DECKS[request.param]()
    document = frame(survey, build).document
    return survey, document, read(plan_dxf(document, survey))


def read(content):
    return ezdxf.read(io.StringIO(content.decode("utf-8")))


def rings(drawing, layer):
    return [np.array(e.get_points("xy")) for e in drawing.modelspace().query(f'LWPOLYLINE[layer=="{layer}"]')]


def words(drawing):
    return [e.dxf.text for e in drawing.modelspace().query("TEXT")]


def test_the_audit_finds_nothing_to_mend(deck):
    audit = deck[2].audit()
    assert audit.errors == [] and audit.fixes == []


def test_it_is_in_inches_and_every_layer_is_named(deck):
    drawing = deck[2]
    assert drawing.header["$INSUNITS"] == 1
    assert set(LAYERS) <= {layer.dxf.name for layer in drawing.layers}
    assert {e.dxf.layer for e in drawing.modelspace()} <= set(LAYERS)


def test_the_roof_has_the_corners_of_the_adjusted_survey(deck):
    survey, document, drawing = deck
    points = document["survey_adjustment"]["points"]
    corners = [(points[c]["x"], points[c]["y"]) for c in survey["corners"] if c in points]
    roofs = rings(drawing, "ROOF")
    if len(corners) > 2:
        assert len(roofs) == 1 and np.allclose(roofs[0], corners)
    else:
        assert roofs == []


def test_every_member_is_an_outline_of_its_true_thickness(deck):
    _, document, drawing = deck
    for role, layer in {"joist": "JOIST", "rim": "RIM", "edge": "EDGE", "blocking": "BLOCKING",
                        "border": "BORDER"}.items():
        members = [m for m in document["members"] if m["role"] == role]
        drawn = rings(drawing, layer)
        assert len(drawn) == len(members)
        for m, xy in zip(members, drawn, strict=True):
            run = math.dist(m["start"], m["end"])
            assert Polygon(xy).area == pytest.approx(run * m["thickness"], rel=1e-6)
            assert (xy[0] + xy[3]) / 2 == pytest.approx(m["start"], abs=1e-6)
            assert (xy[1] + xy[2]) / 2 == pytest.approx(m["end"], abs=1e-6)


def test_every_pad_lies_under_its_member_with_its_size(deck):
    _, document, drawing = deck
    members = {m["id"]: m for m in document["members"]}
    pads = rings(drawing, "PAD")
    assert len(pads) == len(document["supports"])
    for s, xy in zip(document["supports"], pads, strict=True):
        assert xy.mean(axis=0) == pytest.approx(s["at"], abs=1e-6)
        m = members[s["member"]]
        along = np.subtract(m["end"], m["start"]) / math.dist(m["start"], m["end"])
        assert np.ptp(xy @ along) == pytest.approx(s["pad_size"][0], abs=1e-6)
        assert np.ptp(xy @ [-along[1], along[0]]) == pytest.approx(s["pad_size"][1], abs=1e-6)


def test_deck_boards_and_panels_are_those_of_the_document(deck):
    _, document, drawing = deck
    expected = [r for r in (document["outline"], *document["holes"]) if r]
    assert [r.tolist() for r in rings(drawing, "DECK")] == [pytest.approx(np.array(r)) for r in expected]
    kinds = Counter("PANEL" if b["kind"] == "panel" else "BOARD" for b in document["boards"])
    assert {k: len(rings(drawing, k)) for k in ("BOARD", "PANEL")} == {k: kinds[k] for k in ("BOARD", "PANEL")}


def test_the_sides_are_real_dimensions_that_measure_what_they_say(deck):
    survey, document, drawing = deck
    dimensions = drawing.modelspace().query("DIMENSION")
    points = document["survey_adjustment"]["points"]
    corners = [np.array([points[c]["x"], points[c]["y"]]) for c in survey["corners"] if c in points]
    if len(corners) < 3:
        assert len(dimensions) == 0
        return
    sides = sorted(float(np.hypot(*(a - b))) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True))
    measured = sorted(d.get_measurement() for d in dimensions if "'" in d.dxf.text)
    assert measured == pytest.approx(sides, abs=1e-6)
    for d in dimensions:
        feet, _, inches = d.dxf.text.rpartition("'-") if "'" in d.dxf.text else ("0", "", d.dxf.text)
        total = 12 * int(feet) + sum(float(eval_fraction(p)) for p in inches.strip('"').split())
        assert total == pytest.approx(d.get_measurement(), abs=1 / 32 + 1e-6)


def eval_fraction(text):
    top, _, bottom = text.partition("/")
    return float(top) / float(bottom or 1)


def test_members_outlets_obstacles_doors_and_datum_are_named():
    survey, build = obstructed(), odd_build()
    document = frame(survey, build).document
    drawing = read(plan_dxf(document, survey))
    told = words(drawing)
    assert {m["id"] for m in document["members"]} <= set(told)
    assert {"A", "F", "hatch", "vent", "door", "o0 primary scupper", "datum: nail, corner C"} <= set(told)
    assert [tuple(c.dxf.center)[:2] for c in drawing.modelspace().query('CIRCLE[layer=="DATUM"]')] == [(240, 96)]
    assert sorted(Polygon(r).area for r in rings(drawing, "OBSTACLE")) == pytest.approx([64, 1080])


def test_the_place_of_least_height_is_marked():
    document = frame(good_survey(), good_build()).document
    drawing = read(plan_dxf(document, good_survey()))
    governing = next(p for p in document["height_budget"] if p["governs"])
    assert rings(drawing, "GOVERNING")[0].mean(axis=0) == pytest.approx(governing["at"], abs=1e-6)


def test_break_lines_and_slopes_are_those_of_the_roof():
    document = frame(good_survey(), good_build()).document
    drawing = read(plan_dxf(document, good_survey()))
    lines = drawing.modelspace().query('LINE[layer=="BREAKLINE"]')
    ends = [(tuple(e.dxf.start)[:2], tuple(e.dxf.end)[:2]) for e in lines]
    assert ends == [pytest.approx(np.array(b["points"])) for b in document["roof"]["breaklines"]]
    assert sum("in/ft" in w for w in words(drawing)) == len(document["roof"]["facets"])


def test_the_same_documents_give_the_same_bytes_in_another_process_too():
    survey = good_survey()
    document = frame(survey, good_build()).document
    first = plan_dxf(document, survey)
    assert plan_dxf(document, survey) == first
    code = ("import json, sys; from framing.dxf import plan_dxf; "
            "sys.stdout.buffer.write(plan_dxf(*json.load(sys.stdin)))")
    done = subprocess.run([sys.executable, "-c", code], input=json.dumps([document, survey]).encode(), cwd=ROOT,
                          capture_output=True, check=True)
    assert done.stdout == first


def test_nothing_of_the_moment_is_in_it():
    survey = good_survey()
    lines = [w.strip() for w in plan_dxf(frame(survey, good_build()).document, survey).decode().splitlines()]
    header = {name: lines[lines.index(name) + 2] for name in ("$TDCREATE", "$TDUCREATE", "$TDUPDATE", "$TDUUPDATE")}
    assert set(header.values()) == {"2451545.0"}  # 2000-01-01 as a Julian date
    assert lines[lines.index("$FINGERPRINTGUID") + 2] == lines[lines.index("$VERSIONGUID") + 2]


@pytest.mark.parametrize(("said", "kept"), [
    ("two\nlines\r\nand\ttabs", "two lines and tabs"), ("  0\nSECTION\n", "0 SECTION"), ("50 %%d of it", "50 %d of it"),
    ("caret ^J", "caret 'J"), ("é ½ ×", "é ½ ×"), ("\ud800 lone", "lone"), ("x" * 999, "x" * 200), ("\x00", ""),
])
def test_words_are_kept_to_one_line_without_codes(said, kept):
    assert plain(said) == kept


def test_hostile_names_leave_the_drawing_whole():
    survey = good_survey()
    survey["doors"] = [{"name": "0 ENDSEC %%c ^J \\P{x;}", "points": survey.pop("threshold")}]
    survey["datum"] = {"what": "0 EOF", "where": "\\U+0041 %%u"}
    drawing = read(plan_dxf(frame(survey, good_build()).document, survey))
    audit = drawing.audit()
    assert audit.errors == [] and audit.fixes == []
    assert any(w.startswith("0 ENDSEC") for w in words(drawing))
