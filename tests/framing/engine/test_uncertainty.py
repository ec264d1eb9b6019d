"""Tests of the trials as told: the same seed the same numbers, wider errors wider bands, chances by the normal law."""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.stats import norm

from framing.engine.design import frame
from framing.engine.documents import parse_build
from framing.engine.uncertainty import trials_of, vary
from framing.reference.risk import CULLS
from tests.framing.odd_roofs import odd_build, odd_survey
from tests.framing.staged import stages

ROOM = [(0, 0), (192, 0), (192, 128), (0, 128)]
TIGHT = {"least": 0.75, "target": 0.875, "most": 1.5}
LABOR = [{"task": "set-pads", "quantity": 60.0, "unit": "EA", "hours_per_unit": 0.09, "low": 0.06,
          "high": 0.15, "factor": 1.0, "hours": 5.4},
         {"task": "deck-hidden", "quantity": 170.0, "unit": "FTK", "hours_per_unit": 0.1, "low": 0.08,
          "high": 0.14, "factor": 1.0, "hours": 17.0}]
STICKS = [{"item": "lumber/2x8/144", "unit": "LF", "order_unit": "EA", "net": 200.0, "waste": 40.0, "spare": 0.0,
           "pack": 12.0, "order": 20},
          {"item": "decking/garapa/168", "unit": "LF", "order_unit": "EA", "net": 300.0, "waste": 36.0, "spare": 28.0,
           "pack": 14.0, "order": 26}]


def told(staged, framed, roof=None, supports=None, **options):
    return vary(staged.survey, staged.build, staged.adjusted, staged.plane, roof or staged.roof, framed.members,
                framed.supports if supports is None else supports, LABOR, STICKS, **options)


@cache
def room(level_sigma=0.0625, door=((80, 0), (112, 0))):
    """The stages of the room and its frame, made once."""
    staged = stages(odd_survey(ROOM, level_sigma=level_sigma, door=door), odd_build(supports__clear_gap=TIGHT))
    return staged, staged.frame()


def tried(level_sigma=0.0625, door=((80, 0), (112, 0)), roof=None, trials=1000, seed=20260301, **build):
    """Stages, frame and what is told; `build` changes what the frame does not depend on."""
    staged, framed = room(level_sigma, door)
    if build:
        own = parse_build(odd_build(supports__clear_gap=TIGHT, **build))
        return staged, framed, told(replace(staged, build=own), framed, trials=trials, seed=seed)
    return staged, framed, told(staged, framed, roof and roof(staged), trials=trials, seed=seed)


def exact(staged):
    """The roof known without error."""
    return replace(staged.roof, gain=0 * staged.roof.gain, covariance=0 * staged.roof.covariance)


def spread(answer):
    return sum(v["p90"] - v["p10"] for v in answer["shims"].values())


def bands(answer):
    return [*answer["shims"].values(), *answer["quantities"].values(), *answer["hours"].values(), answer["least_gap"],
            answer["at_risk"]["sticks"]]


# --- repeatable


def test_the_same_seed_gives_the_same_numbers():
    assert tried()[-1] == tried()[-1]


def test_another_seed_gives_other_trials_of_the_same_law():
    one, other = tried()[-1], tried(seed=7)[-1]
    assert one["hours"]["total"] != other["hours"]["total"]
    assert one["hours"]["total"]["p50"] == pytest.approx(other["hours"]["total"]["p50"], rel=0.02)


def test_trials_and_seed_are_told():
    answer = tried(trials=1500, seed=4)[-1]
    assert (answer["trials"], answer["seed"]) == (1500, 4)
    assert tried()[-1]["trials"] >= 500


@pytest.mark.parametrize("trials", [1, 2, 3])
def test_a_few_trials_are_told_as_they_are(trials):
    answer = tried(trials=trials)[-1]
    assert all(band["p10"] <= band["p90"] for band in bands(answer)) and answer["gap_below_least"] * trials % 1 == 0


def test_no_trials_are_refused_in_words():
    with pytest.raises(ValueError, match="0 trials were asked; expected 1 or more"):
        tried(trials=0)


def test_the_global_random_state_is_left_alone():
    np.random.seed(5)
    before = np.random.get_state()[1].copy()
    tried()
    assert (np.random.get_state()[1] == before).all()


# --- heights


def test_percentiles_are_in_order():
    for band in bands(tried()[-1]):
        assert 0 <= band["p10"] <= band["p50"] <= band["p90"]


def test_a_worse_level_gives_a_wider_band():
    widths = [spread(tried(level_sigma=s)[-1]) for s in (0.01, 0.0625, 0.25)]
    assert widths == sorted(widths) and widths[0] < widths[-1]


def test_without_error_every_trial_counts_the_shims_in_the_stacks():
    staged, frame = room()
    sure = replace(staged, survey=staged.survey.model_copy(update={"level_sigma": 1e-12}))
    answer = told(sure, frame, exact(staged))
    for size in staged.build.supports.shim_sizes:
        in_stacks = sum(p.shims.count(size) for p in frame.supports)
        assert answer["shims"][f"{size:g}"] == {"p10": in_stacks, "p50": in_stacks, "p90": in_stacks}
    assert answer["gap_below_least"] == 0 and answer["stack_open"] == 0


@pytest.mark.parametrize("sill_error", [0.05, 0.1, 0.2])
def test_the_chance_of_too_little_gap_follows_the_normal_law(sill_error):
    """With the roof known, the whole deck moves with the sill: the least gap falls short where the sill stands lower
    than by its margin. 1,000 trials of chance p scatter by sqrt(p (1 - p) / 1000); four of those are allowed."""
    staged, frame, answer = tried(level_sigma=sill_error, door=((96, 0),), roof=exact)
    margin = np.inf
    for m in frame.members:
        s = np.linspace(0, m.line.length, 200)
        xy = m.line.at(s)
        gap = staged.plane.height(xy) - staged.build.decking.thickness - m.depth(s) - staged.roof.height(xy)
        margin = min(margin, gap.min() - 0.75)
    p = norm.cdf(-margin / sill_error)
    assert answer["gap_below_least"] == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / 1000) + 1e-3)
    low, high = (0.75 + margin + sill_error * norm.ppf(q) for q in (0.1, 0.9))
    allowed = 4 * np.sqrt(0.09 / 1000) / norm.pdf(1.2816) * sill_error
    assert (answer["least_gap"]["p10"], answer["least_gap"]["p90"]) == pytest.approx((low, high), abs=allowed)


def test_the_middle_of_the_trials_is_near_the_plans_own_count():
    staged, frame, answer = tried(level_sigma=0.01, door=((96, 0),))
    for size in staged.build.supports.shim_sizes:
        planned = sum(p.shims.count(size) for p in frame.supports)
        assert abs(answer["shims"][f"{size:g}"]["p50"] - planned) <= max(6, 0.25 * planned)


def test_nothing_to_shim_gives_no_bands():
    answer = told(*room(), supports=())
    assert answer["shims"] == {} and not [k for k in answer["quantities"] if k.startswith("support/")]


def test_members_at_risk_are_named_with_both_chances_and_counted_as_sticks():
    """Joists of 2x6 alone under a roof that they only just reach down to."""
    staged = stages(odd_survey(ROOM, lambda x, y: -9.65 - 0.002 * y, door=[(96, 0)], level_sigma=0.15),
                    odd_build(supports__clear_gap=TIGHT, joists__sizes=["2x6"]))
    risk = told(staged, staged.frame())["at_risk"]
    assert risk["members"] and 0 < risk["deeper"] < 1
    assert {m["member"] for m in risk["members"]} <= {m.id for m in staged.members}
    assert max(m["deeper"] for m in risk["members"]) <= risk["deeper"]
    assert risk["sticks"]["p90"] >= 1


# --- the job


def test_hours_are_told_by_task_within_the_ends_of_their_rates():
    hours = tried()[-1]["hours"]
    for row in LABOR:
        band = hours[row["task"]]
        assert row["quantity"] * row["low"] < band["p10"] < band["p90"] < row["quantity"] * row["high"]
    assert hours["total"]["planned"] == pytest.approx(22.4) and 0.5 < hours["total"]["over"] < 0.9


def test_the_builds_own_rates_are_what_a_framing_varies():
    rates = {"set-pads": {"low": 0.06, "typical": 0.06, "high": 0.06, "unit": "EA"}}
    document = frame(odd_survey(ROOM), odd_build(labor={"rates": rates, "difficulty": {"stairs": 1.2}})).document
    hours = document["uncertainty"]["hours"]["set-pads"]
    assert hours["p10"] == hours["p90"] == pytest.approx(0.06 * 1.2 * len(document["supports"]))


def test_composite_boards_are_not_culled():
    natural, made = (tried(decking__species=species)[-1] for species in ("garapa", "composite"))
    assert natural["culls"] == {"lumber/2x8/144": CULLS["lumber"], "decking/garapa/168": CULLS["decking"]}
    assert made["culls"] == {"lumber/2x8/144": CULLS["lumber"]}


def test_an_order_without_spares_is_short_as_often_as_one_of_its_sticks_is_culled():
    p = 1 - (1 - CULLS["lumber"]) ** 20
    short = tried()[-1]["order_short"]
    assert short["lumber/2x8/144"] == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / 1000))
    assert short["decking/garapa/168"] < short["lumber/2x8/144"]  # two spares for 24


# --- where it comes from


def test_what_the_variance_comes_from_adds_up_to_about_one_and_the_most_is_said():
    answer = tried()[-1]
    for what, sources in answer["contributions"].items():
        assert sum(s["share"] for s in sources) == pytest.approx(1, abs=0.1), what
        assert sources[0]["source"] in answer["told"][what]
        assert [s["share"] for s in sources] == sorted((s["share"] for s in sources), reverse=True)
    assert set(answer["told"]) == {"hours", "shims", "gap"}


def test_a_sill_read_again_and_again_no_longer_governs():
    survey = odd_survey(ROOM, door=[(96, 0)])
    survey["levels"] += [{"point": "t0", "drop": 2, "on": "threshold"}] * 60
    staged = stages(survey, odd_build(supports__clear_gap=TIGHT))
    answer = told(staged, staged.frame())
    assert answer["contributions"]["shims"][0]["source"] == "roof readings"


# --- from a framing


@pytest.fixture(scope="module")
def document():
    """A whole framing, once through JSON."""
    survey, build = odd_survey(ROOM), odd_build(supports__clear_gap=TIGHT)
    return json.loads(json.dumps(frame(survey, build).document))


def test_a_framing_tells_the_same_uncertainty_each_time(document):
    survey, build = odd_survey(ROOM), odd_build(supports__clear_gap=TIGHT)
    assert json.loads(json.dumps(frame(survey, build).document))["uncertainty"] == document["uncertainty"]


def test_the_trials_of_a_stored_framing_are_those_that_it_tells(document):
    told, again = document["uncertainty"], trials_of(document)
    assert {item: float((n > 0).mean()) for item, n in again.short.items()} == told["order_short"]
    total = np.sort(again.hours.total)
    assert [total[99], total[499], total[899]] == pytest.approx(
        [told["hours"]["total"][p] for p in ("p10", "p50", "p90")], abs=1e-8)
    for item, pieces in told["needed"].items():
        size = item.rsplit("/", 1)[1]
        assert np.sort(pieces)[[99, 499, 899]].tolist() == [told["shims"][size][p] for p in ("p10", "p50", "p90")]


def test_a_framing_without_trials_has_none_to_draw_again():
    assert trials_of({"uncertainty": {"trials": 0, "seed": 0}}) is None
    assert trials_of({"uncertainty": None}) is None
    assert trials_of({"uncertainty": {"trials": 1000, "seed": 1, "shims": {}, "quantities": {}}}) is None
