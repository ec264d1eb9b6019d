"""Tests of frame(): one answer from two documents, whole or stopped with what was worked out before."""

import copy
import hashlib
import json

import numpy as np
import pytest

from framing.engine.design import frame
from framing.engine.documents import DocumentRefused
from framing.reference.lumber import DRESSED
from tests.framing.fixtures import good_build, good_survey
from tests.framing.odd_roofs import FALL, RECTANGLE, odd_build, odd_survey
from tests.framing.terraces import terrace

LEVEL = {"mode": "level", "reveal": "1/4"}


def stops(document):
    return [c for c in document["checks"] if c["status"] == "stop"]


def found(document, code):
    return [c for c in document["checks"] if c["code"] == code]


@pytest.fixture(scope="module")
def good():
    return frame(good_survey(), good_build())


# --- documents in


def test_the_faults_of_both_documents_come_in_one_refusal():
    survey, build = good_survey(), good_build()
    survey["corners"] = ["A", "B"]
    build["joists"]["spacing"] = "wide"
    with pytest.raises(DocumentRefused) as refused:
        frame(survey, build)
    assert {f.pointer for f in refused.value.faults} == {"/corners", "/joists/spacing"}


def test_a_fault_that_only_both_show_is_refused():
    build = good_build()
    build["decking"]["edge_gaps"] = {"A-Z": 1}
    with pytest.raises(DocumentRefused) as refused:
        frame(good_survey(), build)
    assert [f.pointer for f in refused.value.faults] == ["/decking/edge_gaps/A-Z"]


def test_bytes_text_and_mapping_give_one_answer(good):
    survey, build = json.dumps(good_survey()), json.dumps(good_build())
    assert frame(survey, build).document == good.document
    assert frame(survey.encode(), build.encode()).document == good.document


def test_the_given_documents_are_left_as_they_were():
    survey, build = good_survey(), good_build()
    frame(survey, build)
    assert (survey, build) == (good_survey(), good_build())


# --- the answer


def test_the_answer_is_plain_json_with_the_documents_fields(good):
    text = json.dumps(good.document, allow_nan=False)
    assert json.loads(text) == good.document
    assert set(good.document) >= {
        "format", "survey_adjustment", "roof", "plane", "outline", "holes", "loads", "members", "supports", "boards",
        "stock_plan", "stock_bound", "checks", "quantities", "labor", "uncertainty", "provenance"}
    assert good.document["format"] == "deck-framing/1"


def test_the_same_documents_give_the_same_answer_and_drawings(good):
    again = frame(good_survey(), good_build())
    assert again.document == good.document
    assert (again.plan_svg, again.section_svg) == (good.plan_svg, good.section_svg)


def test_the_hashes_are_of_canonical_json(good):
    for name, document in (("survey", good_survey()), ("build", good_build())):
        text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        assert good.document["provenance"][f"{name}_sha256"] == hashlib.sha256(text.encode()).hexdigest()


def test_the_roofs_suspects_stand_with_the_tapes():
    survey = odd_survey(RECTANGLE)
    survey["levels"][7] = survey["levels"][7] | {"drop": survey["levels"][7]["drop"] + 1}
    assert frame(survey, odd_build()).document["survey_adjustment"]["suspects"] == [[survey["levels"][7]["point"]]]


def test_stops_come_first_and_what_is_well_comes_last():
    document = frame(odd_survey(RECTANGLE, lambda x, y: -6), odd_build(joists__minimum_depth=3)).document
    rank = [0 if c["status"] == "stop" else 1 if c["acknowledge"] else {"caution": 2, "note": 3, "ok": 4}[c["status"]]
            for c in document["checks"]]
    assert rank[0] == 0 and rank == sorted(rank)


def test_no_check_lacks_a_source_or_someone_who_decides(good):
    for c in good.document["checks"]:
        assert c["source"].strip() and c["decided_by"].strip() and c["text"].strip()


def test_dead_load_is_decking_framing_and_extra_over_the_net_area():
    plain = frame(odd_survey(RECTANGLE), odd_build()).document["loads"]["dead"]
    more = frame(odd_survey(RECTANGLE), odd_build(loads__dead_extra=5)).document["loads"]["dead"]
    assert more - plain == pytest.approx(5, abs=0.05)


def test_snow_over_the_live_load_is_what_the_deck_is_framed_for():
    document = frame(odd_survey(RECTANGLE), odd_build(loads={"live": 40, "snow": 70})).document
    assert document["loads"]["live"] == 70


def test_every_quantity_that_varies_is_an_item():
    document = frame(odd_survey(RECTANGLE), odd_build()).document
    varying = document["uncertainty"]["quantities"]
    items = {q["item"] for q in document["quantities"]}
    assert varying and {k for k, band in varying.items() if band["p50"] > 0} <= items


# --- directions


def test_given_directions_are_kept():
    document = frame(odd_survey(RECTANGLE), odd_build(joists__direction=90, decking__direction=0)).document
    assert document["directions"] == {"joists": 90, "boards": 0}
    for m in document["members"]:
        if m["role"] == "joist":
            assert m["start"][0] == pytest.approx(m["end"][0])


@pytest.mark.parametrize("given", [{"joists__direction": 0}, {"decking__direction": 90}])
def test_boards_lie_square_to_joists_where_one_direction_is_given(given):
    assert frame(odd_survey(RECTANGLE), odd_build(**given)).document["directions"] == {"joists": 0, "boards": 90}


@pytest.mark.parametrize(("fall", "joists"), [((1, 0), 0), ((0, 1), 90)])
def test_left_to_the_engine_joists_lie_along_the_water_and_it_says_why(fall, joists):
    square = [(0, 0), (150, 0), (150, 150), (0, 150)]
    survey = odd_survey(square, lambda x, y: -8 - FALL * (fall[0] * x + fall[1] * y))
    document = frame(survey, odd_build(supports__clear_gap={"least": 0.75, "target": 0.75, "most": 1.25})).document
    assert document["directions"]["joists"] == pytest.approx(joists)
    told, = found(document, "joist-direction")
    assert told["status"] == "note" and "the other way takes" in told["text"]


# --- sticks and reach


@pytest.mark.parametrize("reach", [96, 120, 144])
def test_no_piece_and_no_stick_is_longer_than_what_reaches_the_roof(reach):
    document = frame(odd_survey(RECTANGLE, access={"longest_stick": reach, "floor": 2}), odd_build()).document
    assert stops(document) == []
    assert max(row["length"] for row in document["stock_plan"]) <= reach
    for m in document["members"]:
        run = float(np.hypot(*(np.array(m["end"]) - m["start"])))
        assert max(np.diff([0, *m["splices"], run])) <= reach - 0.25 + 0.01


# --- what is not known or not worked out


def test_what_was_not_given_is_a_caution_each():
    survey = odd_survey(RECTANGLE, edges=None, roof=None, access=None)
    texts = " ".join(c["text"] for c in found(frame(survey, odd_build(rain=None)).document, "not-measured"))
    for what in ("outlets", "insulation", "parapet", "longest stick"):
        assert what in texts
    assert {c["status"] for c in found(frame(survey, odd_build()).document, "not-measured")} == {"caution"}


def test_heavy_things_and_drift_must_be_acknowledged():
    heavy = [{"points": [[10, 10], [40, 10], [40, 40]], "psf": 200}]
    document = frame(odd_survey(RECTANGLE), odd_build(loads={"live": 40, "drift": 20, "heavy": heavy})).document
    (heavy,), (drift,) = found(document, "heavy-load"), found(document, "snow-drift")
    assert heavy["acknowledge"] and drift["acknowledge"]
    assert heavy["value"] == pytest.approx(30 * 30 / 2 / 144 * 200, rel=1e-6)
    assert {c["decided_by"] for c in (heavy, drift)} == {"engineer"}
    bare = frame(odd_survey(RECTANGLE), odd_build(loads={"live": 40})).document
    least = [min(s["reaction_most"] for s in d["supports"]) for d in (bare, document)]
    most = [max(s["reaction_most"] for s in d["supports"]) for d in (bare, document)]
    assert most[1] > most[0] and least[1] >= 0
    carried, asked = sum(s["reaction"] for s in document["supports"]), sum(document["loads"].values())
    assert carried == pytest.approx(asked * document["net_sqft"], rel=0.02)


# --- stops


def at(build, path):
    *owners, last = path.split(".")
    here = build
    for owner in owners:
        here = here[owner]
    return here, last


def changed(build, change):
    """The build with one offered change made; offers are in inches whatever the build's unit."""
    build = copy.deepcopy(build)
    if "patch" in change:  # a JSON merge patch
        for section, fields in change["patch"].items():
            build[section] = {k: v for k, v in (build[section] | fields).items() if v is not None}
        return build
    here, last = at(build, change["change"])
    to = change["to"] if isinstance(change["to"], str) else f"{change['to']} in"
    here[last] = [*here[last], to] if isinstance(here.get(last), list) else to
    if change["change"] == "supports.clear_gap.least":
        here["target"] = here["most"]
    return build


TIGHT = {"least": 0.75, "target": 0.75, "most": 1.25}
STOPPED = {
    "reveal and depth": (odd_survey(RECTANGLE, lambda x, y: -6.75),
                         odd_build(surface=LEVEL, joists__minimum_depth=2.8)),
    "thick decking": (odd_survey(RECTANGLE, lambda x, y: -5.75),
                      odd_build(surface={"mode": "level", "reveal": 1}, decking__thickness=1.5)),
    "a wide gap": (odd_survey(RECTANGLE, lambda x, y: -6.3),
                   odd_build(supports__clear_gap={"least": 2, "target": 2, "most": 4})),
    "a thick pad": (odd_survey(RECTANGLE, lambda x, y: -7), odd_build(supports__pad_thickness=6)),
    "a ridge too high": (odd_survey(RECTANGLE, lambda x, y: -5.5 - FALL * abs(x - 96),
                                    lines=[("ridge", [(96, 3), (96, 117)])]),
                         odd_build(surface=LEVEL, joists__minimum_depth=2.5)),
    "a steep roof": (odd_survey(RECTANGLE, lambda x, y: -8 - 0.5 / 12 * y),
                     odd_build(joists__sizes=["2x4", "2x6"], supports__clear_gap=TIGHT)),
    "no play": (odd_survey(RECTANGLE, lambda x, y: -8),
                odd_build(joists__minimum_depth=4.5, supports__pad_thickness=0.625,
                          supports__clear_gap={"least": 0.75, "target": 0.75, "most": 0.75})),
    "short joists": (odd_survey(RECTANGLE), odd_build(joists__stock_lengths=[14])),
    "short boards": (odd_survey(RECTANGLE), odd_build(decking__stock_lengths=[12])),
} | {f"terrace {seed}": (terrace(seed).survey, terrace(seed).build | {
        "joists": terrace(seed).build["joists"] | {"minimum_depth": "4 in"}}) for seed in (6, 7, 9, 17, 23)}


@pytest.fixture(params=STOPPED, scope="module")
def stopped(request):
    survey, build = STOPPED[request.param]
    return survey, build, frame(survey, build).document


def test_a_stop_says_by_how_much_and_where(stopped):
    for stop in stops(stopped[2]):
        assert stop["where"] and stop["value"] is not None and stop["limit"] is not None
        assert stop["value"] != stop["limit"] and stop["unit"]


def test_every_change_that_is_offered_clears_its_stop(stopped):
    survey, build, document = stopped
    assert stops(document)
    for stop in stops(document):
        for change in stop["clears"]:
            again = frame(survey, changed(build, change)).document
            assert stops(again) == [], change


def test_an_offer_states_what_the_build_has_now(stopped):
    _, build, document = stopped
    for stop in stops(document):
        for change in stop["clears"]:
            here, last = at(build, change["change"])
            if isinstance(here.get(last), int | float) and build.get("unit", "in") == "in":
                assert change["from"] == pytest.approx(here[last])


def test_no_offer_goes_under_the_floors(stopped):
    floors = {"surface.reveal": 0.125, "supports.clear_gap.least": 0.75, "joists.minimum_depth": 1.5}
    for stop in stops(stopped[2]):
        for change in stop["clears"]:
            least = floors.get(change["change"], 0) - 1e-9
            assert "patch" in change or change["to"] in DRESSED or change["to"] >= least


def test_too_little_height_still_answers_with_survey_roof_plane_and_outline():
    survey, build = STOPPED["a ridge too high"]
    document = frame(survey, build).document
    stop, = stops(document)
    # 5 1/2 in down to the ridge, less 2 in to the sill and 1/4 of reveal; boards 1, wood 2 1/2, gap 3/4
    assert (stop["code"], stop["value"], stop["limit"]) == ("height-short", pytest.approx(3.25, abs=1 / 16), 4.25)
    assert stop["where"].startswith("x 96")
    assert document["survey_adjustment"]["area_sqft"] == pytest.approx(160)
    assert len(document["roof"]["facets"]) == 2 and document["plane"]["z0"] == -2.25
    assert len(document["outline"]) == 4
    assert document["members"] == document["supports"] == document["boards"] == document["quantities"] == []


def test_wood_too_shallow_still_answers_with_the_plane_and_says_which_size_serves():
    document = frame(*STOPPED["a steep roof"]).document
    stop = next(c for c in stops(document) if c["code"] == "stick-too-shallow")
    assert document["plane"]["z0"] == -2.125
    assert any(c["to"] in DRESSED for c in stop["clears"])


def test_an_overloaded_deck_still_shows_its_members_and_pads():
    document = frame(odd_survey(RECTANGLE), odd_build(loads={"live": 10000})).document
    assert any(c["code"].startswith("strength-") for c in stops(document))
    assert document["members"] and document["supports"] and document["boards"] == []


def test_an_unfixed_corner_stops_before_the_roof_and_keeps_the_tapes():
    survey = good_survey()
    survey["tapes"] = survey["tapes"][:3]
    document = frame(survey, good_build()).document
    assert "corner-not-fixed" in {c["code"] for c in stops(document)}
    assert document["survey_adjustment"]["points"] and document["roof"]["facets"] == []
    assert document["survey_adjustment"]["area_sqft"] is None


def test_a_roof_not_measured_stops_before_the_plane_and_keeps_the_outline_of_the_roof():
    survey = odd_survey(RECTANGLE)
    survey["levels"] = [v for v in survey["levels"] if v["on"] == "threshold"]
    document = frame(survey, odd_build()).document
    assert [c["code"] for c in stops(document)] == ["roof-not-measured"]
    assert document["survey_adjustment"]["area_sqft"] == pytest.approx(160) and document["outline"] == []


def loaded(live):
    build = good_build()
    build["loads"]["live"], build["joists"]["spacing"] = live, 24
    build["decking"]["thickness"], build["supports"]["pad_size"] = 1.5, [6, 6]
    return build


@pytest.mark.parametrize("live", [500, 600])
def test_a_roof_pressed_too_hard_is_told_and_its_wood_is_carried(live):
    """Pads close enough for the wood were left for others, as the roof is pressed too hard on either: a stop that is
    none."""
    answer = frame(good_survey(), loaded(live))
    assert answer.stops == [] and [c["status"] for c in found(answer.document, "bearing")] == ["caution"]


@pytest.mark.parametrize("live", [650, 720])
def test_a_weak_frame_is_offered_a_spacing_that_is_strong_enough(live):
    build = loaded(live)
    stops = frame(good_survey(), build).stops
    assert stops and all(stop["code"].startswith("strength-") for stop in stops)
    change = next(c for c in stops[0]["clears"] if c["change"] == "joists.spacing")
    assert change["to"] < 24
    build["joists"]["spacing"] = change["to"]
    assert frame(good_survey(), build).stops == []
