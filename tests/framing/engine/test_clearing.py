"""Tests of the changes that clear a stop: how one is made, and that each that is offered was framed and holds."""

import copy

import pytest

from framing.engine.checks import Change, check
from framing.engine.clearing import MOST_TRIALS, applied, cleared, told
from framing.engine.design import frame
from framing.engine.documents import parse_build
from framing.engine.plane import height_budget
from tests.framing.fixtures import good_build
from tests.framing.odd_roofs import FALL, RECTANGLE, odd_build, odd_survey
from tests.framing.staged import stages
from tests.framing.terraces import terrace

LEVEL = {"mode": "level", "reveal": "1/4"}


def stops(document):
    return [c for c in document["checks"] if c["status"] == "stop"]


def written(build, change):
    """The build document with one offered change made, by nothing of the engine's; offers are in inches."""
    build = copy.deepcopy(build)
    if "patch" in change:
        for section, fields in change["patch"].items():
            build[section] = {k: v for k, v in (build[section] | fields).items() if v is not None}
        return build
    *owners, last = change["change"].split(".")
    here = build
    for owner in owners:
        here = here[owner]
    to = change["to"] if isinstance(change["to"], str) else f"{change['to']} in"
    here[last] = [*here[last], to] if isinstance(here.get(last), list) else to
    return build


# --- making a change


@pytest.mark.parametrize("source", [good_build(), odd_build(), *(terrace(seed).build for seed in range(12))])
def test_a_build_read_from_itself_is_the_same_but_for_the_change(source):
    build = parse_build(source)
    changed = applied(build, Change("surface.reveal", build.surface.reveal, 0.875))
    assert changed.surface.reveal == 0.875
    same = changed.surface.model_copy(update={"reveal": build.surface.reveal})
    assert changed.model_copy(update={"surface": same, "unit": build.unit}) == build


def test_a_size_and_a_stick_come_in_beside_what_is_there():
    build = parse_build(odd_build(joists__sizes=["2x4"], joists__stock_lengths=[96, 144]))
    assert applied(build, Change("joists.sizes", "2x4", "2x8")).joists.sizes == ("2x4", "2x8")
    assert applied(build, Change("joists.stock_lengths", 144.0, 120.0)).joists.stock_lengths == (96, 120, 144)


def test_a_patch_changes_the_surface_and_keeps_the_rest_of_it():
    build = parse_build(odd_build(surface=LEVEL))
    fall = Change("surface", "level", "a fall", {"surface": {"mode": "fall", "fall_per_ft": '0.125"', "toward": 180}})
    changed = applied(build, fall).surface
    assert (changed.mode, changed.fall_per_ft, changed.toward, changed.reveal) == ("fall", 0.125, 180, 0.25)
    level = Change("surface", "a fall", "level", {"surface": {"mode": "level", "fall_per_ft": None, "toward": None}})
    assert applied(applied(build, fall), level).surface == build.surface


@pytest.mark.parametrize("change", [
    Change("surface.fall_per_ft", 0, 0.25), Change("supports.clear_gap.least", 0.75, 90.0),
    Change("joists.sizes", "2x4", "2x4"), Change("decking.thickness", 1.0, 0.0), Change("joists.grade", "No.2", "best"),
])
def test_a_change_that_no_document_could_ask_for_is_none(change):
    assert applied(parse_build(odd_build(joists__sizes=["2x4"])), change) is None


# --- which changes hold


def stop(*clears, code="no-profile"):
    words = {"count": 1, "short": "0.1"} if code == "no-profile" else {"grade": "No.2", "species": "", "percent": 120.0}
    return check(code, "stop", value=0.0, limit=0.1, where="J1", clears=clears, **words)


DEPTH = Change("joists.minimum_depth", 3.0, 2.5)


def test_only_what_frames_is_kept_at_its_least_step():
    build = parse_build(odd_build(joists__minimum_depth=3, surface__reveal=1))
    reveal = Change("surface.reveal", 1.0, 0.875)
    kept = cleared([stop(DEPTH, reveal)], build, lambda b: b.joists.minimum_depth <= 2.4)
    assert [(c.change, c.to) for c in kept] == [("joists.minimum_depth", 2.375)]


def test_no_step_goes_past_a_floor():
    build = parse_build(odd_build(joists__minimum_depth=1.75))
    asked = []
    assert cleared([stop(Change("joists.minimum_depth", 1.75, 1.5625))], build,
                   lambda b: asked.append(b.joists.minimum_depth)) == ()
    assert asked == [1.5625, 1.5]


def test_one_change_must_clear_every_stop_and_is_tried_once():
    build = parse_build(odd_build(joists__minimum_depth=3))
    asked = []
    cleared([stop(DEPTH), stop(DEPTH)], build, lambda b: asked.append(b.joists.minimum_depth))
    assert len(asked) == len(set(asked))


def test_weak_wood_asks_for_the_widest_closer_spacing_that_holds():
    build = parse_build(odd_build(joists__spacing=16))
    weak = stop(code="strength-bending")
    kept = cleared([weak], build, lambda b: b.joists.spacing <= 10)
    assert [(c.change, c.from_, c.to) for c in kept] == [("joists.spacing", 16, 8)]


def test_the_work_is_bounded():
    build = parse_build(odd_build(joists__minimum_depth=10, surface__reveal=9, decking__thickness=6,
                                  joists__sizes=["2x4"]))
    asked = []
    many = [Change("joists.minimum_depth", 10.0, 9.0), Change("surface.reveal", 9.0, 8.0),
            Change("decking.thickness", 6.0, 5.0), Change("joists.sizes", "2x4", "2x6"),
            Change("supports.clear_gap.most", 4.0, 5.0)]
    assert cleared([stop(*many)], build, lambda b: asked.append(b)) == ()
    assert len(asked) == MOST_TRIALS


def test_the_words_say_what_holds_or_that_nothing_does():
    build = parse_build(odd_build(joists__minimum_depth=3))
    assert told(stop(DEPTH), build, [DEPTH]).text.endswith("clears it: joists.minimum_depth 3 to 2.5 in.")
    none = told(stop(DEPTH), build, [])
    assert none.clears == () and none.text.endswith("leaves no stop.")


# --- on whole decks

RIDGE_BESIDE = odd_survey(RECTANGLE, lambda x, y: -5.6875 - FALL * abs(x - 40), lines=[("ridge", [(40, 3), (40, 117)])])
SHORT = {
    "reveal and depth": (odd_survey(RECTANGLE, lambda x, y: -6.75),
                         odd_build(surface=LEVEL, joists__minimum_depth=2.8)),
    "a deep reveal": (odd_survey(RECTANGLE, lambda x, y: -6.75),
                      odd_build(surface={"mode": "level", "reveal": 2}, joists__minimum_depth=2)),
    "thick decking": (odd_survey(RECTANGLE, lambda x, y: -6),
                      odd_build(surface={"mode": "level", "reveal": 1}, decking__thickness=1.5)),
    "a wide gap": (odd_survey(RECTANGLE, lambda x, y: -6.3),
                   odd_build(supports__clear_gap={"least": 2, "target": 2, "most": 4})),
    "a thick pad": (odd_survey(RECTANGLE, lambda x, y: -7), odd_build(supports__pad_thickness=3)),
    "a ridge beside the door": (RIDGE_BESIDE, odd_build(surface=LEVEL, joists__minimum_depth=2)),
    "a fall the wrong way": (odd_survey(RECTANGLE, lambda x, y: -6.5),
                             odd_build(surface={"mode": "fall", "reveal": "1/4", "fall_per_ft": "1/4", "toward": 90},
                                       joists__minimum_depth=2)),
}


@pytest.fixture(params=SHORT, scope="module")
def short(request):
    survey, build = SHORT[request.param]
    return survey, build, frame(survey, build).document


def test_every_change_that_is_offered_leaves_no_stop(short):
    survey, build, document = short
    offered = stops(document)[0]["clears"]
    assert offered
    for change in offered:
        assert stops(frame(survey, written(build, change)).document) == [], change


def test_a_sixteenth_less_of_a_change_does_not_clear(short):
    survey, build, document = short
    for change in stops(document)[0]["clears"]:
        if isinstance(change["to"], str):
            continue
        less = change["to"] + (1 / 16 if change["from"] > change["to"] else -1 / 16)
        if abs(less - change["from"]) > 1e-9:
            staged = stages(survey, written(build, change | {"to": less}))
            budget = height_budget(staged.build, staged.plane, staged.roof, staged.deck.net)
            assert [c.code for c in budget.checks] == ["height-short"], change


def test_beside_a_ridge_a_fall_away_from_it_clears():
    """The ridge lies 38 in upstream of the nearest sill and is 5/16 in too high: 0.099 in a foot, so 1/8."""
    offered = [c for c in stops(frame(*SHORT["a ridge beside the door"]).document)[0]["clears"]
               if c["change"] == "surface"]
    assert [(c["from"], c["to"]) for c in offered] == [("level", "a fall of 1/8 in a foot toward 0 degrees")]
    assert offered[0]["patch"] == {"surface": {"mode": "fall", "fall_per_ft": '0.125"', "toward": 0}}


def test_a_fall_that_is_too_steep_is_made_less_or_level():
    """4 1/4 in at the house, 3 3/4 needed: half an inch to spare falls away over 119 in at 0.05 in a foot: level."""
    offered = stops(frame(*SHORT["a fall the wrong way"]).document)[0]["clears"]
    assert [(c["from"], c["to"]) for c in offered if c["change"] == "surface"] == [
        ("a fall of 1/4 in a foot toward 90 degrees", "level")]
    higher = odd_survey(RECTANGLE, lambda x, y: -7.75)  # 1 3/4 to spare over 119 in: 0.176, so 1/8
    offered = stops(frame(higher, SHORT["a fall the wrong way"][1]).document)[0]["clears"]
    assert [(c["from"], c["to"]) for c in offered if c["change"] == "surface.fall_per_ft"] == [(0.25, 0.125)]


def test_what_clears_the_height_but_not_the_wood_is_not_offered_at_that_size():
    """Under 400 psf an inch and a half of wood does not carry: the lesser depth alone is no cure."""
    survey = odd_survey(RECTANGLE, lambda x, y: -5.5)  # 1 1/2 in of wood is all there is room for
    build = odd_build(surface=LEVEL, joists__minimum_depth=2, loads={"live": 400}, joists__spacing=16)
    document = frame(survey, build).document
    assert [c["code"] for c in stops(document)] == ["height-short"]
    for change in stops(document)[0]["clears"]:
        assert stops(frame(survey, written(build, change)).document) == []


@pytest.mark.parametrize("seed", range(60, 72))
def test_on_random_roofs_every_change_that_is_offered_leaves_no_stop(seed):
    """A terrace pressed for height: its wood 3 to 5 in deep, level or following its threshold or falling."""
    roof = terrace(seed)
    build = copy.deepcopy(roof.build)
    build["joists"]["minimum_depth"] = f"{3 + seed % 3} in"
    if seed % 4 == 0:
        build["surface"] = {"mode": "fall", "reveal": "1/4", "fall_per_ft": '1/4"', "toward": 30 * seed % 360}
    for found in stops(frame(roof.survey, build).document):
        for change in found["clears"]:
            assert stops(frame(roof.survey, written(build, change)).document) == [], change
