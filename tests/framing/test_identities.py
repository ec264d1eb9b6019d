"""Whatever terrace is drawn, its framing keeps every identity of the documents."""

import copy

import numpy as np
import pytest

from framing.engine.design import frame
from tests.framing.identities import Answer, identities, inches, sixteenths, stock
from tests.framing.terraces import terrace

SEEDS = 30
TRUE = 0.15  # the fitted roof is this near the one behind the readings, which err by 1/24 in [in]


@pytest.mark.parametrize("seed", range(SEEDS))
def test_every_identity_holds_on_a_random_terrace(seed):
    drawn = terrace(seed)
    document = frame(drawn.survey, drawn.build).document
    assert identities(drawn.survey, drawn.build, document) == []
    corners = np.array([[p["x"], p["y"]] for p in map(document["survey_adjustment"]["points"].get, drawn.corners)])
    inside = corners.mean(axis=0) + (corners - corners.mean(axis=0)) * 0.9
    fitted = Answer(drawn.survey, drawn.build, document).roof(inside)
    assert np.abs(fitted - drawn.roof(inside)).max() < TRUE


def test_most_terraces_can_be_framed_and_some_cannot():
    """The property over random terraces says something only where they differ and most are framed to the end."""
    drawn = [terrace(seed) for seed in range(SEEDS)]
    assert {t.build["surface"]["mode"] for t in drawn} == {"level", "follow-threshold", "fall"}
    assert {t.survey["unit"] for t in drawn} == {"in", "ft", "mm", "m"}
    assert {len(t.survey["breaklines"]) for t in drawn} == {0, 1} and any(t.valley for t in drawn)
    assert any(t.survey["obstacles"] for t in drawn) and any("doors" in t.survey for t in drawn)
    assert any("datum_checks" in t.survey for t in drawn) and any(t.turned for t in drawn)


# What a sound answer is bent by, and the identity that must notice.
BENT = {
    "a shim left out": (lambda f: f["supports"][3].update(shim=f["supports"][3]["shim"] + 0.0625), "supports"),
    "a thinner pad": (lambda f: f["supports"][0].update(pad=0.25), "supports"),
    "a lost reaction": (lambda f: [s.update(reaction=s["reaction"] * 0.9) for s in f["supports"]], "supports"),
    "a pattern too kind": (lambda f: f["supports"][2].update(reaction_most=1.0), "supports"),
    "a support off the roof": (lambda f: f["supports"][1].update(roof_z=-9.0), "supports"),
    "a station a sixteenth off": (lambda f: f["members"][2]["stations"][0].__setitem__(1, "2"), "members"),
    "a station left out": (lambda f: f["members"][-1]["stations"].pop(1), "members"),
    "a shallow cut": (lambda f: f["members"][4]["profile"][0].__setitem__(1, 0.4), "members"),
    "a joist outside": (lambda f: f["members"][-1].update(start=[-90.0, 5.0]), "members"),
    "a joist missing": (lambda f: f["members"].remove(_middle_joist(f)), "layout"),
    "a splice off its pad": (lambda f: _middle_joist(f)["splices"].append(1.0), "splices"),
    "a board moved": (lambda f: f["boards"][5].update(polygon=_moved(f["boards"][5]["polygon"], 0.2)), "boards"),
    "a board missing": (lambda f: f["boards"].pop(7), "boards"),
    "a board called whole": (lambda f: _first_ripped(f).update(rip=None), "boards"),
    "a piece cut twice": (lambda f: f["stock_plan"][0]["cuts"].append(f["stock_plan"][0]["cuts"][0]), "stock"),
    "a piece not cut": (lambda f: f["stock_plan"][-1]["cuts"].pop(), "stock"),
    "a stick that is not sold": (lambda f: f["stock_plan"][0].update(length=500.0), "stock"),
    "a bound over what is bought": (lambda f: f["stock_bound"][0].update(bound=1e6), "stock"),
    "an order short of its waste": (lambda f: f["quantities"][0].update(waste=1e4), "quantities"),
    "hours from nowhere": (lambda f: f["labor"][0].update(hours=f["labor"][0]["hours"] + 1), "labor"),
    "a light deck": (lambda f: f["loads"].update(dead=1.0), "loads"),
    "a reveal misread": (lambda f: f["plane"]["reveals"].update(t0=0.9), "plane"),
    "a surface out of level": (lambda f: f["plane"].update(sx=0.001), "plane"),
    "a facet bent": (lambda f: f["roof"]["facets"][0]["plane"].update(sx=0.01), "roof"),
    "a facet lost": (lambda f: f["roof"]["facets"].pop(), "roof"),
    "a tape that lies": (lambda f: f["survey_adjustment"]["tapes"][0].update(residual=1.0), "survey_adjustment"),
    "an area misreckoned": (lambda f: f["survey_adjustment"].update(area_sqft=100.0), "survey_adjustment"),
    "an outline too wide": (lambda f: f["outline"][0].__setitem__(0, f["outline"][0][0] - 3), "outline"),
    "a check without a source": (lambda f: f["checks"][0].update(source=""), "checks"),
    "another survey's hash": (lambda f: f["provenance"].update(survey_sha256="0" * 64), "provenance"),
    "a bundle left below": (lambda f: f["lifts"]["bundles"].pop(), "ordered"),
    "a bundle too heavy": (lambda f: f["lifts"].update(most=10.0), "ordered"),
    "a day too few": (lambda f: f["schedule"].update(days=f["schedule"]["days"] - 1), "ordered"),
    "hours over their band": (lambda f: f["labor"][1].update(high=f["labor"][1]["hours_per_unit"] / 2), "ordered"),
    "a waste told two ways": (lambda f: f["quantities"][0].update(waste_yield=0.5), "ordered"),
    "a band upside down": (lambda f: f["uncertainty"]["hours"]["total"].update(p10=1e4), "uncertainty"),
    "an order short of nothing sold": (lambda f: f["uncertainty"]["order_short"].update(x=0.1), "uncertainty"),
    "a chance over one": (lambda f: f["uncertainty"].update(gap_below_least=1.5), "uncertainty"),
}


def _middle_joist(framing):
    joists = [m for m in framing["members"] if m["role"] == "joist"]
    return joists[len(joists) // 2]


def _is_ripped(board):
    return board["kind"] == "field" and board["rip"] and min(board["rip"]) < 3


def _first_ripped(framing):
    return next(filter(_is_ripped, framing["boards"]))


def _moved(polygon, by):
    return (np.array(polygon) + by).tolist()


@pytest.fixture(scope="module")
def sound():
    """A level deck on a ridged roof that breaks no identity, as (survey, build, framing)."""
    for seed in range(SEEDS):
        drawn = terrace(seed)
        if drawn.build["surface"]["mode"] == "level" and drawn.survey["breaklines"] and "doors" not in drawn.survey:
            framing = frame(drawn.survey, drawn.build).document
            if any(map(_is_ripped, framing["boards"])):
                return drawn.survey, drawn.build, framing
    raise AssertionError("no terrace is level, ridged and ripped")


@pytest.mark.parametrize("name", BENT)
def test_the_reader_notices(sound, name):
    survey, build, framing = copy.deepcopy(sound)
    bend, identity = BENT[name]
    bend(framing)
    assert identity in {words.split(":")[0] for words in identities(survey, build, framing)}


def nested(depth, *, says="J1/1", stick="2x10"):
    """Two straight tapers of 100 in from `depth` to 3 in out of one stick, with all else that a stick is read by."""
    profile = [[0.0, depth], [100.0, 3.0]]
    members = [{"id": name, "start": [0, y], "end": [100, y], "size": "2x8", "splices": [], "profile": profile}
               for name, y in (("J1", 0), ("J2", 16))]
    cuts = [{"member": "J1", "piece": 1, "length": 100.0, "nested_with": "J2/1"},
            {"member": "J2", "piece": 1, "length": 100.0, "nested_with": says}]
    build = {"joists": {"stock_lengths": [120]}, "decking": {"stock_lengths": []}}
    plan = [{"item": f"lumber/{stick}", "size": stick, "length": 120.0, "cuts": cuts, "offcut": 19.0}]
    return Answer({}, build, {"members": members, "boards": [], "stock_plan": plan, "stock_bound": []})


def test_the_reader_lays_nested_tapers_side_by_side():
    """End for end both take depth + 3 in all along; a 2x10 is 9 1/4 in wide, kerf and saw margin take 1/8 in each."""
    assert list(stock(nested(6.0))) == []
    assert any("takes" in words for words in stock(nested(6.01)))
    assert any("takes" in words for words in stock(nested(6.0, stick="2x8")))
    assert any("does not say so" in words for words in stock(nested(6.0, says="J3/1")))


@pytest.mark.parametrize(
    ("written", "unit", "value"),
    [("5 5/8", "in", 5.625), ('5-5/8"', "mm", 5.625), ("12' 3 1/2\"", "in", 147.5), ("12'-3.5\"", "m", 147.5),
     ("143 mm", "in", 143 / 25.4), ("1.2 m", "ft", 1200 / 25.4), ("-1/2", "in", -0.5), (2, "ft", 24.0),
     ("25.4", "mm", 1.0)],
)
def test_the_reader_reads_lengths_as_people_write_them(written, unit, value):
    assert inches(written, unit) == pytest.approx(value)


@pytest.mark.parametrize(("depth", "text"), [(3.125, "3 1/8"), (5.7, "5 11/16"), (2.0, "2"), (1.53125, "1 9/16")])
def test_the_reader_writes_depths_as_the_cut_sheet_does(depth, text):
    assert sixteenths(depth) == text
