"""Tests of what to measure next: that it pays as foretold, and that a half-finished survey is told what it lacks."""

import copy
import json
import math
import time
from pathlib import Path

import numpy as np
import pytest
from shapely import Point, Polygon

from framing.engine.adjustment import adjust
from framing.engine.design import frame
from framing.engine.documents import parse_survey
from framing.engine.framing_document import FramingDocument
from framing.engine.next_readings import READINGS, _corner_covariance, next_readings, told
from framing.engine.roof import fit_roof
from tests.framing import run_next_readings as measured
from tests.framing.fixtures import CORNERS, good_build, good_survey, roof_drop
from tests.framing.odd_roofs import odd_survey
from tests.framing.random_roofs import random_roof, survey_of

DEMO = Path(__file__).parents[3] / "quotes" / "demo"
SIGMA = 0.0625


def fitted(survey):
    parsed = parse_survey(copy.deepcopy(survey))
    return fit_roof(parsed, adjust(parsed))


def advice(survey, **asked):
    parsed = parse_survey(copy.deepcopy(survey))
    adjusted = adjust(parsed)
    stopped = any(c.status == "stop" for c in adjusted.checks)
    return next_readings(parsed, adjusted, None if stopped else fit_roof(parsed, adjusted), **asked)


def best(readings):
    return [r for r in readings if not r.missing]


def missing(readings):
    return [r for r in readings if r.missing]


def with_levels(keep):
    """The good survey with only those of its readings for which keep(point, on)."""
    survey = good_survey()
    survey["levels"] = [r for r in survey["levels"] if keep(r["point"], r["on"])]
    survey["datum_checks"] = []
    return survey


def take(survey, readings):
    """The good survey's own roof and corners, read where the advice says."""
    survey = copy.deepcopy(survey)
    on = {r["point"]: r["on"] for r in good_survey()["levels"]}
    drops = {r["point"]: r["drop"] for r in good_survey()["levels"]}
    for i, r in enumerate(readings):
        if r.kind == "tape":
            survey["tapes"].append([*r.points, math.dist(*(CORNERS[p] for p in r.points))])
        elif r.points:
            survey["levels"].append({"point": r.points[0], "drop": drops[r.points[0]], "on": on[r.points[0]]})
        else:
            survey["positions"][f"n{i}"] = list(r.at)
            survey["levels"].append({"point": f"n{i}", "drop": roof_drop(r.at[0]), "on": "roof"})
    return survey


# --- the three readings ----------------------------------------------------------------------------------------

def test_four_corners_of_a_square_are_known_to_root_three_quarters_of_one_reading():
    # a plane by least squares through readings at its own four corners: leverage 3/4 at each, by symmetry
    corners = [(0.0, 0.0), (200.0, 0.0), (200.0, 200.0), (0.0, 200.0)]
    survey = odd_survey(corners, lines=[], position_sigma=None)
    shots = {f"r{i}": list(at) for i, at in enumerate(corners)}
    survey["positions"] = {p: at for p, at in survey["positions"].items() if p[0] != "r"} | shots
    survey["levels"] = [{"point": p, "drop": 8 + at[1] / 48, "on": "roof"} for p, at in shots.items()]
    survey["levels"] += [{"point": f"t{i}", "drop": 2, "on": "threshold"} for i in range(3)]
    first = best(advice(survey))[0]
    assert first.before == pytest.approx(SIGMA * math.sqrt(3 / 4), rel=1e-6)


def test_the_error_foretold_is_the_one_that_the_engine_finds_once_the_readings_are_taken():
    off = []
    for seed in range(8):
        true = random_roof(seed)
        survey = measured.half_finished(true)
        readings = measured.advised(survey)
        assert len(readings) == READINGS and all(r.kind == "level" for r in readings)
        # the folds' true ends, at which it is measured, lie half an inch from the marks that are surveyed
        assert readings[0].before == pytest.approx(measured.worst_of(true, survey).heights, rel=0.01)
        shots = [measured.as_shot(r) for r in readings]
        found = measured.worst_of(true, measured.taken(true, survey, shots, np.random.default_rng(seed))).heights
        off.append(abs(readings[-1].after / found - 1))
    assert np.median(off) < 0.02  # where a reading comes out odd it counts for less, which nobody can foretell


@pytest.mark.parametrize("seed", range(3))
def test_no_three_of_many_random_readings_do_better(seed):
    true = random_roof(seed)
    survey = measured.half_finished(true)
    rng = np.random.default_rng(seed)
    ours = measured.worst_of(true, measured.taken(true, survey, [
        measured.as_shot(r) for r in measured.advised(survey)], rng)).share
    others = [measured.worst_of(true, measured.taken(true, survey, measured.random_shots(true, survey, rng), rng)).share
              for _ in range(60)]
    assert ours <= 1.02 * min(others)


def test_advice_beats_chance_twofold_on_half_finished_surveys():
    gains = [measured.outcome(seed, measured.half_finished).gain(lambda w: w.share) for seed in range(12)]
    assert np.median(gains) >= measured.BAR


def test_every_reading_starts_where_the_one_before_it_of_its_kind_left_off_and_never_makes_worse():
    readings = best(advice(json.loads((DEMO / "survey.json").read_text())))
    assert len(readings) == READINGS
    for kind in ("level", "tape"):
        mine = [r for r in readings if r.kind == kind]
        assert all(r.after <= r.before + 1e-9 for r in mine)
        assert all(a.after == pytest.approx(b.before) for a, b in zip(mine, mine[1:], strict=False))


def test_a_weak_corner_asks_for_a_tape():
    survey = good_survey()
    survey["tapes"] = [t for t in survey["tapes"] if t[:2] not in (["A", "C"], ["C", "D"])]
    survey["positions"] = {p: at for p, at in survey["positions"].items() if p[0] not in "s"}
    survey["levels"] = [r for r in survey["levels"] if r["point"][0] != "s"]
    survey["outlets"], survey["datum_checks"] = [], []
    survey["tapes"].append(["C", "D", math.dist(CORNERS["C"], CORNERS["D"])])
    first = best(advice(survey))[0]
    assert first.kind == "tape" and first.after < 0.8 * first.before


def test_the_corners_covariance_is_that_of_the_adjustment():
    parsed = parse_survey(json.loads((DEMO / "survey.json").read_text()))
    adjusted = adjust(parsed)
    covariance = _corner_covariance(parsed, adjusted)
    for i, corner in enumerate(parsed.corners):
        block = covariance[2 * i : 2 * i + 2, 2 * i : 2 * i + 2]
        assert math.sqrt(np.linalg.eigvalsh(block)[1]) == pytest.approx(adjusted.points[corner].se, abs=1e-9)


def test_a_deck_that_follows_the_threshold_asks_for_the_threshold_again():
    readings = best(advice(good_survey(), follow=True))
    assert {p for r in readings for p in r.points} <= {"t1", "t2", "t3"}
    assert readings[0].points in (("t1",), ("t3",))  # the ends tell most about its slope


def test_nothing_is_read_where_nobody_can_stand():
    box = Polygon([(130, 60), (200, 60), (200, 130), (130, 130)])
    survey = with_levels(lambda p, on: p in {"r1", "r2", "r3", "r5", "r6", "k1", "k2", "t1", "t2", "t3"})
    free = [r for r in advice(survey) if r.kind == "level" and not r.points]
    kept = [r for r in advice(survey, keep_off=(box,)) if r.kind == "level" and not r.points]
    assert any(box.covers(Point(r.at)) for r in free) and not any(box.covers(Point(r.at)) for r in kept)


# --- what is missing -------------------------------------------------------------------------------------------

HALF_FINISHED = {
    "no levels": with_levels(lambda p, on: False),
    "threshold only": with_levels(lambda p, on: on == "threshold"),
    "no threshold": with_levels(lambda p, on: on != "threshold"),
    "one side of the ridge": with_levels(lambda p, on: p in {"r1", "r2", "r5", "t1"}),
    "one reading": with_levels(lambda p, on: p == "r1"),
    "no tapes": good_survey() | {"tapes": []},
    "neither": with_levels(lambda p, on: False) | {"tapes": []},
    "one tape": good_survey() | {"tapes": good_survey()["tapes"][:1]},
    "no diagonal": good_survey() | {"tapes": good_survey()["tapes"][:4]},
}


@pytest.mark.parametrize("survey", HALF_FINISHED.values(), ids=HALF_FINISHED.keys())
def test_taking_what_is_missing_clears_the_stops_of_a_half_finished_survey(survey):
    survey = copy.deepcopy(survey)
    framed = frame(survey, good_build())
    assert framed.stops and framed.document["next_readings"]
    for _ in range(3):  # places on the roof can be named once the corners are fixed
        shots = missing(advice(survey))
        survey = take(survey, [r for r in shots if r.at or r.points])
    stops = {c["code"] for c in frame(survey, good_build()).stops}
    assert not stops & {"corner-not-fixed", "point-in-line", "roof-not-measured", "threshold-not-measured"}
    assert best(advice(survey))


@pytest.mark.parametrize("name", ["no tapes", "one tape", "no diagonal"])
def test_the_tapes_asked_for_are_those_of_the_stop(name):
    stop, = [c for c in frame(HALF_FINISHED[name], good_build()).stops if c["code"] == "corner-not-fixed"]
    asked = [r for r in advice(HALF_FINISHED[name]) if r.kind == "tape"]
    assert len(asked) == stop["limit"]
    if name == "no tapes":
        assert all("-".join(sorted(r.points)) in stop["text"] for r in asked)


def test_a_long_ring_of_corners_taped_to_their_neighbours_only_asks_for_tapes_across_it():
    ring = [(1000 + 1000 * math.cos(t), 800 + 800 * math.sin(t)) for t in np.linspace(0, 2 * np.pi, 41)[:-1]]
    survey = good_survey() | {"corners": [f"c{i}" for i in range(40)], "edges": []}
    survey["tapes"] = [[f"c{i}", f"c{(i + k) % 40}", math.dist(ring[i], ring[(i + k) % 40])]
                       for i in range(40) for k in (1, 2)]
    asked = [r for r in advice(survey) if r.kind == "tape"]
    assert asked and all(r.missing for r in asked)
    assert not {frozenset(r.points) for r in asked} & {frozenset(t[:2]) for t in survey["tapes"]}


def test_no_reading_is_advised_twice():
    for survey in (good_survey(), json.loads((DEMO / "survey.json").read_text()), *HALF_FINISHED.values()):
        for follow in (False, True):
            three = [(r.kind, r.at, r.points) for r in best(advice(survey, follow=follow))]
            assert len(set(three)) == len(three)


def test_what_nothing_fixes_has_no_error_before_and_the_last_missing_reading_gives_it_one():
    shots = [r for r in missing(advice(HALF_FINISHED["no levels"])) if r.why.startswith("no reading")]
    assert shots[0].before is None and shots[0].after is None
    assert shots[-1].before is None and 0 < shots[-1].after < 1


def test_the_first_readings_of_an_unread_facet_fix_it_as_well_as_readings_in_three_of_its_corners():
    survey = with_levels(lambda p, on: on == "threshold") | {"breaklines": []}
    shots = [r for r in missing(advice(survey)) if r.why.startswith("no reading")]
    assert len(shots) == 3
    # on a rectangle the fourth corner is the sum of two less the third: root 3 of one reading's error
    assert shots[-1].after <= SIGMA * math.sqrt(3)


def test_shots_that_the_frame_will_need_are_named():
    survey = with_levels(lambda p, on: p not in {"t2", "s1", "k3"})
    survey["outlets"][2]["invert_drop"] = 8
    points = {p for r in advice(survey) for p in r.points if r.kind == "level"}
    assert {"t2", "s1", "k3"} <= points and "s3" not in points
    invert, = [r for r in advice(survey) if r.points == ("s1",)]
    assert invert.before is None and invert.after == SIGMA and invert.missing


def test_corners_far_beyond_all_readings_are_missing_shots_unless_the_three_stand_there():
    survey = odd_survey([(0, 0), (600, 0), (600, 600), (0, 600)], step=60)
    near = [r for r in survey["levels"] if r["on"] == "threshold" or math.hypot(*survey["positions"][r["point"]]) < 300]
    readings = advice(survey | {"levels": near})
    spots = [r.at for r in readings if r.at]
    for corner in ((600, 0), (600, 600), (0, 600)):
        assert min(math.dist(corner, at) for at in spots) < 12


def test_a_roof_whose_planes_are_in_doubt_is_read_where_nobody_was_and_given_no_figures():
    survey = survey_of(random_roof(3), lines=False)  # a ridge beside a valley, of which too little was read
    survey["levels"] = survey["levels"][::3] + survey["levels"][-3:]
    assert [c.code for c in fitted(survey).checks if c.status == "stop"] == ["breakline-not-placed"]
    three = best(advice(survey))
    assert len(three) == READINGS and all(r.before is r.after is None for r in three)
    read = [survey["positions"][r["point"]] for r in survey["levels"]]
    assert all(min(math.dist(r.at, at) for at in read) > 30 for r in three)


# --- how it is told --------------------------------------------------------------------------------------------

def test_the_advice_is_one_note_in_words_for_the_roof():
    document = frame(*(json.loads((DEMO / f"{name}.json").read_text()) for name in ("survey", "build"))).document
    note, = [c for c in document["checks"] if c["code"] == "measure-next"]
    assert note["status"] == "note"
    assert note["text"].startswith("Measure next: ") and "goes from" in note["text"] and note["text"].endswith(".")
    assert "'-" in note["text"]  # feet and inches, as one measures them off


def test_the_document_holds_the_readings_and_its_schema_takes_them():
    document = frame(good_survey(), good_build()).document
    assert [set(r) for r in document["next_readings"]][0] == {
        "kind", "at", "points", "place", "before", "after", "why", "missing"}
    assert sum(not r["missing"] for r in document["next_readings"]) == READINGS
    read = FramingDocument.model_validate(document)
    assert len(read.next_readings) == len(document["next_readings"])


def test_nothing_to_say_is_not_said():
    assert told(()) == []


def test_the_same_survey_gets_the_same_advice():
    assert advice(good_survey()) == advice(good_survey())


def test_the_advice_takes_a_small_share_of_the_frames_time():
    survey, build = (json.loads((DEMO / f"{name}.json").read_text()) for name in ("survey", "build"))
    parsed = parse_survey(survey)
    adjusted = adjust(parsed)
    roof = fit_roof(parsed, adjusted)

    def seconds(work):
        began = time.perf_counter()
        work()
        return time.perf_counter() - began

    whole = min(seconds(lambda: frame(survey, build)) for _ in range(3))
    assert min(seconds(lambda: next_readings(parsed, adjusted, roof)) for _ in range(5)) < whole / 4
