"""Tests of `compare` and `find_builds` on whole roofs: figures as `frame` has them, nothing dropped, nothing worse."""

import copy

import pytest

from framing.engine.design import compare, find_builds, frame
from framing.engine.documents import DocumentRefused
from tests.framing import kinds
from tests.framing.fixtures import good_build, good_survey

STICKS = {"2x4": "0.60", "2x6": "0.90", "2x8": "1.25"}  # money a foot, invented


def priced(**groups):
    """The good build with prices for all its sticks, by the foot."""
    build = copy.deepcopy(good_build())
    build["decking"]["stock_lengths"] = [96, 120, 144, 168, 192]
    build["decking"]["stock_prices"] = {str(v): f"{6.5 * v / 12:.2f}" for v in build["decking"]["stock_lengths"]}
    build["joists"]["stock_prices"] = {size: {str(v): f"{float(foot) * v / 12:.2f}" for v in (96, 120, 144, 168, 192)}
                                       for size, foot in STICKS.items()}
    for name, fields in groups.items():
        build[name] |= fields
    return build


@pytest.fixture(scope="module")
def found():
    return find_builds(good_survey(), priced(supports={"pad_size": [[4, 4], [6, 6]]}), most=8)


def as_framed(document, build):
    """The counts as anybody may read them off a framing."""
    prices = {f"lumber/{size}/{length}": float(price) for size, table in build["joists"]["stock_prices"].items()
              for length, price in table.items()}
    prices |= {f"decking/{build['decking']['item']}/{length}": float(price)
               for length, price in build["decking"]["stock_prices"].items()}
    return {
        "cost": sum(q["order"] * prices[q["item"]] for q in document["quantities"] if q["item"] in prices),
        "hours": sum(task["hours"] for task in document["labor"]),
        "pads": len(document["supports"]),
        "gap": min(s["clear_gap"] for s in document["supports"]),
        "cuts": sum(len(m["profile"]) - 1 for m in document["members"] if m["ripped"]),
        "weight": next(c["value"] for c in document["checks"] if c["code"] == "weight"),
        "step": max(document["plane"]["reveals"].values()),
        "cautions": len({c["code"] for c in document["checks"] if c["status"] == "caution"}),
    }


def test_the_figures_are_those_of_the_framing():
    build = priced()
    (one,) = compare(good_survey(), [build]).builds
    document = frame(good_survey(), build).document
    told = as_framed(document, build)
    within = {"cost": 0.005, "hours": 0.05, "gap": 0.005, "weight": 0.5, "step": 0.005}
    assert {k: pytest.approx(v, abs=within.get(k, 1e-9) + 1e-9) for k, v in told.items()} == one.figures
    assert one.as_json()["directions"] == pytest.approx(document["directions"], abs=1e-3)


def test_a_build_found_frames_to_the_figures_it_was_told_with(found):
    best = found.as_json()["builds"][0]
    assert best["state"] == "unbeaten" and best["changes"]
    document = frame(good_survey(), best["build"]).document
    assert len(document["supports"]) == best["figures"]["pads"]
    assert sum(t["hours"] for t in document["labor"]) == pytest.approx(best["figures"]["hours"], abs=0.051)


def test_no_unbeaten_build_is_worse_than_the_one_given(found):
    losses = {p.number: [(-1 if c.more else 1) * p.figures[c.key] for c in found.counts] for p in found.builds
              if p.state != "stopped"}
    (given,) = [p for p in found.builds if not p.tried.changes]
    for p in found.in_state("unbeaten"):
        behind = [a > b for a, b in zip(losses[p.number], losses[given.number], strict=True)]
        ahead = [a < b for a, b in zip(losses[p.number], losses[given.number], strict=True)]
        assert any(ahead) or not any(behind)
    assert found.in_state("unbeaten")


def test_every_build_that_was_looked_at_has_its_place_and_a_reason(found):
    assert sum(p.state != "stopped" for p in found.builds) >= 4
    assert [p.number for p in found.builds] == list(range(1, len(found.builds) + 1))
    assert all(p.why for p in found.builds) and all(v.why for v in found.left_out)
    assert len({p.tried.name for p in found.builds}) == len(found.builds)


def test_whoever_frames_in_whatever_order_the_answer_is_the_same():
    def backwards(work, asked):
        return [work(one) for one in reversed(list(asked))][::-1]

    forth, back = (find_builds(good_survey(), priced(), most=3, each=each) for each in (map, backwards))
    assert forth.as_json() == back.as_json()


def test_a_build_compared_with_itself_is_as_good():
    one, two = compare(good_survey(), [priced(), priced()], names=["a", "b"]).builds
    assert one.figures == two.figures and one.state == two.state == "unbeaten"
    assert "The same on all counts as No. 2." in one.why


def test_builds_that_stop_are_listed_with_their_stop_and_those_that_stand_are_ranked():
    flat = priced(joists={"minimum_depth": 12})
    listed = compare(good_survey(), [flat, priced()], names=["flat", "good"])
    assert [(p.tried.name, p.state) for p in listed.builds] == [("good", "unbeaten"), ("flat", "stopped")]
    (stop,) = listed.as_json()["builds"][1]["stops"]
    assert stop["code"] == "height-short" and stop["text"] in listed.builds[1].why
    assert "clears" not in stop  # what would clear it was not looked for


def test_a_roof_too_near_for_any_build_gives_their_stops_and_no_framed_one():
    found = find_builds(*kinds.low(), most=6)
    assert {p.state for p in found.builds} == {"stopped"} and len(found.builds) == 6
    assert all(p.tried.stops for p in found.builds)


def test_a_build_in_millimetres_is_varied_and_framed_again_to_the_same_pads():
    survey, build = kinds.metric()
    found = find_builds(survey, build, most=3)
    assert [c.key for c in found.counts][:2] == ["lumber", "boards"]  # no stick has a price
    changed = next(p for p in found.as_json()["builds"] if p["changes"] and p["state"] != "stopped")
    assert changed["build"]["unit"] == "in"
    assert len(frame(survey, changed["build"]).document["supports"]) == changed["figures"]["pads"]


def test_an_unfinished_survey_stops_whatever_is_built_on_it():
    survey = good_survey()
    survey["levels"] = [v for v in survey["levels"] if v["on"] != "threshold"]
    (one,) = find_builds(survey, priced()).builds
    assert one.state == "stopped" and [c.code for c in one.tried.stops] == ["threshold-not-measured"]


def test_the_faults_of_all_documents_come_in_one_refusal():
    with pytest.raises(DocumentRefused) as refused:
        compare({**good_survey(), "ladder": 1}, [priced(), priced(decking={"width": -1}),
                                                 priced(decking={"edge_gaps": {"A-Q": 1}})])
    assert [f.pointer for f in refused.value.faults] == ["/ladder", "/builds/1/decking/width"]
    with pytest.raises(DocumentRefused) as refused:
        compare(good_survey(), [priced(), priced(decking={"edge_gaps": {"A-Q": 1}})])
    assert [f.pointer for f in refused.value.faults] == ["/builds/1/decking/edge_gaps/A-Q"]
    with pytest.raises(DocumentRefused) as refused:
        find_builds(good_survey(), priced(decking={"width": -1}))
    assert [f.pointer for f in refused.value.faults] == ["/decking/width"]


def test_builds_with_different_rain_are_each_held_against_their_own():
    wet = {**priced(), "rain": {"primary": 40, "secondary": 40, "source": "test value"}}
    dry, flooded = sorted(compare(good_survey(), [priced(), wet], names=["dry", "wet"]).builds,
                          key=lambda p: p.tried.name)
    checks = frame(good_survey(), wet).document["checks"]
    assert set(flooded.tried.cautions) == {c["code"] for c in checks if c["status"] == "caution"}
    assert set(flooded.tried.cautions) > set(dry.tried.cautions)
