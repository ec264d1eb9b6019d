"""Tests of the notes: which are called for, what each must say, and what none may say."""

import json
import re

import pytest

from quotes.demonstration import DATA
from quotes.notes import RULES, SECTIONS, Note, gravest, notes_for, to_acknowledge

SURVEY = json.loads((DATA / "survey.json").read_text())
BUILD = json.loads((DATA / "build.json").read_text())


def found(code="some-check", status="caution", **more):
    return {"code": code, "status": status, "value": 0.27, "limit": 0.75, "unit": "in", "where": "J5 at R7",
            "text": "0.27 in over the high spot", "source": "common practice", "decided_by": "contractor",
            "acknowledge": False, "clears": [], **more}


def notes(survey=SURVEY, build=BUILD, **framing):
    return notes_for(framing, survey, build)


def keys(*args, **more):
    return [note.key for note in notes(*args, **more)]


def test_a_caution_of_the_framing_becomes_a_note_with_all_that_it_rests_on():
    note = next(note for note in notes(checks=[found("clear-gap-at-hump")]) if note.key == "clear-gap-at-hump")
    assert (note.value, note.limit, note.unit, note.where) == (0.27, 0.75, "in", "J5 at R7")
    assert (note.source, note.decided_by, note.status) == ("common practice", "contractor", "caution")
    assert note.section == "drainage"


@pytest.mark.parametrize(("status", "section"), [("stop", "caution"), ("caution", "caution"), ("note", "assumption")])
def test_a_code_that_no_table_places_goes_by_its_status_so_that_nothing_is_lost(status, section):
    note = next(note for note in notes(checks=[found("never-heard-of", status)]) if note.key == "never-heard-of")
    assert note.section == section


def test_what_is_in_order_makes_no_note():
    assert "height" not in keys(checks=[found("height", "ok")])


def test_advice_to_whoever_surveys_stays_off_the_proposal():
    assert "measure-next" not in keys(checks=[found("measure-next", "note"), found("pond")])


def test_stops_come_first_then_what_must_be_acknowledged_then_the_clearance_over_the_roof():
    checks = [found("misclosure"), found("clear-gap"), found("feather-edge", acknowledge=True), found("height", "stop")]
    assert [note.key for note in gravest(notes(checks=checks))] == [
        "height", "misclosure", "feather-edge", "clear-gap", "wind"]
    twice = [found("single-outlet", where="S1"), found("single-outlet", where="S2")]
    assert [note.where for note in gravest(notes(checks=twice)) if note.key == "single-outlet"] == ["S1"]
    assert {note.key for note in to_acknowledge(notes(checks=checks))} == {"misclosure", "feather-edge"}


def test_only_the_gravest_stand_on_the_first_page():
    assert len(gravest(notes(checks=[found(f"code-{i}") for i in range(9)]))) == 5


def test_notes_stand_in_the_order_of_the_proposals_sections():
    order = [SECTIONS.index(note.section) for note in notes(checks=[found("clear-gap"), found("misclosure")])]
    assert order == sorted(order)


def test_the_rain_that_was_assumed_is_told_with_its_source():
    text = next(note.text for note in notes() if note.key == "rain-assumed")
    assert "4 in/h" in text and "7.2 in/h" in text and BUILD["rain"]["source"] in text


def test_without_rain_the_proposal_says_that_no_outlet_was_checked():
    without = {name: value for name, value in BUILD.items() if name != "rain"}
    assert "rain-unknown" in keys(build=without) and "rain-assumed" not in keys(build=without)


def test_an_edge_over_a_deep_drop_defers_the_guard_to_the_building_department():
    note = next(note for note in notes() if note.key == "guards")
    assert note.section == "deferral" and note.decided_by == "building department"
    assert note.value == 38 * 12 and note.limit == 30
    assert "38.0 ft down at B–C, C–D and D–A" in note.text
    assert "A–B" not in note.text  # that side is the house


def test_an_edge_over_a_low_drop_asks_for_no_guard():
    low = {**SURVEY, "edges": [{"from": "B", "to": "C", "against": "open", "drop_beyond": 20}]}
    assert "guards" not in keys(survey=low)


def test_an_open_edge_that_nobody_measured_says_so():
    unknown = {**SURVEY, "edges": [{"from": "B", "to": "C", "against": "open"}]}
    note = next(note for note in notes(survey=unknown) if note.key == "guards")
    assert "was not measured" in note.text and note.value is None


def test_lengths_of_a_metric_survey_are_read_in_its_own_unit():
    metric = {"unit": "mm", "access": {"longest_stick": 4877, "lift": "stair"},
              "edges": [{"from": "A", "to": "B", "against": "open", "drop_beyond": "9 m"}]}
    told = {note.key: note.text for note in notes(survey=metric)}
    assert "16'-0\"" in told["access"]  # 4877 mm is 16 ft to 1/64 in
    assert "29.5 ft down at A–B" in told["guards"]  # 9 m / 0.3048


def test_one_outlet_alone_is_told():
    single = {**SURVEY, "outlets": SURVEY["outlets"][:1]}
    assert "one-outlet" in keys(survey=single) and "one-outlet" not in keys()


def test_walls_all_round_without_an_overflow_are_told():
    overflow = {"kind": "scupper", "purpose": "overflow", "point": "S2", "width": 8}
    assert "no-overflow" in keys()
    assert "no-overflow" not in keys(survey={**SURVEY, "outlets": [*SURVEY["outlets"], overflow]})


def test_a_rule_gives_way_to_a_check_that_says_more():
    support = {"member": "J1", "s": 0, "clear_gap": 0.5, "pressure": 9.2, "reaction_most": 147}
    assert "bearing" in keys(supports=[support])
    said = keys(supports=[support], checks=[found("bearing")])
    assert said.count("bearing") == 1


def test_the_tightest_clearance_is_told_with_its_member():
    supports = [{"member": "J1", "s": 0, "clear_gap": 0.75}, {"member": "E1", "s": 8, "clear_gap": 0.375}]
    note = next(note for note in notes(supports=supports) if note.key == "clear-path")
    assert "0.38 in at the tightest of 2 pads (on E1)" in note.text and note.where == "E1"


def test_an_almost_empty_survey_makes_notes_and_no_error():
    bare = {"format": "roof-survey/1", "name": "bare", "corners": ["A", "B", "C"], "levels": []}
    told = {note.key: note.text for note in notes_for({}, bare, {})}
    assert "age not known" in told["roof-condition"] and "kind not known" in told["membrane"]
    assert "not stated in the survey" in told["permits"]


def test_how_sure_the_clearance_is_stands_with_the_drainage():
    trials = {"uncertainty": {"trials": 1000, "least_gap": {"p10": 0.61, "p50": 0.7, "p90": 0.78}}}
    note = next(note for note in notes(**trials) if note.key == "heights-unsure")
    assert note.section == "drainage" and "between 0.61 and 0.78 in" in note.text
    assert "heights-unsure" not in keys(uncertainty={})


def test_every_note_says_its_source_and_who_decides():
    for note in notes(checks=[found()]):
        assert note.source and note.decided_by and note.basis


def test_nothing_says_that_anything_meets_a_code():
    said = [rule.text for rule in RULES] + [note.text for note in notes(checks=[found()])]
    for text in said:
        assert not re.search(r"compl(y|ies|iant)|up to code|to code|meets the code|approved for", text, re.I), text


def test_a_note_comes_back_whole_from_a_snapshot():
    note = notes(checks=[found("clear-gap")])[0]
    assert Note(**json.loads(json.dumps(note.as_json()))) == note


POINTS = {"A": {"x": 0.0, "y": 0.0}, "B": {"x": 240.0, "y": 0.0}}


@pytest.mark.parametrize(("told", "read"), [
    ("7.60 in deep at x 60, y 0 before it leaves", "7.60 in deep at 60 in from A toward B before it leaves"),
    ("worst at x 240, y 0; 0 pads", "worst at B; 0 pads"),
    ("At x 128, y 162 (14 3/16 in past R13 as seen from R8, on the ridge) there are",
     "At 14 3/16 in past R13 as seen from R8, on the ridge there are"),
    ("no place at all", "no place at all"),
])
def test_a_homeowner_reads_places_from_named_points_and_no_coordinates(told, read):
    framing = {"checks": [found("pond", text=told, where="x 240, y 0")], "survey_adjustment": {"points": POINTS}}
    note = next(note for note in notes(**framing) if note.key == "pond")
    assert (note.text, note.where) == (read, "at B")


def test_a_place_stays_in_coordinates_where_no_point_is_named():
    note = next(note for note in notes(checks=[found("pond", text="at x 60, y 0")]) if note.key == "pond")
    assert note.text == "at x 60, y 0"
