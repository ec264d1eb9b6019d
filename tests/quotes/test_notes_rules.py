"""Tests of the rules of the notes: each on at its limit and off beside it, on a roof of one plane worked by hand.

The roof is 240 by 120 in and falls 1/4 in a foot away from the house, from -8 in; the deck's surface is level at -3.
"""

import copy
from decimal import Decimal

import pytest

from quotes.notes import RULES, Contract, notes_for

SHOTS = {f"r{i}": (float(x), float(y)) for i, (x, y) in enumerate((x, y) for x in range(24, 240, 48) for y in (24, 96))}
POINTS = {"A": (0, 0), "B": (240, 0), "C": (240, 120), "D": (0, 120), "o1": (120, 118), "d1": (120, 60), **SHOTS}
BASE = {
    "survey": {
        "format": "roof-survey/1", "corners": ["A", "B", "C", "D"],
        "levels": [{"point": name, "drop": 8, "on": "roof"} for name in SHOTS],
        "edges": [{"from": "A", "to": "B", "against": "house"}, {"from": "C", "to": "D", "against": "parapet"}],
        "outlets": [{"kind": "scupper", "purpose": "primary", "point": "o1", "width": 6},
                    {"kind": "scupper", "purpose": "primary", "point": "o2", "width": 6}],
    },
    "build": {"joists": {"spacing": 16}, "supports": {"pad_thickness": 0.75}},
    "framing": {
        "survey_adjustment": {"points": {name: {"x": x, "y": y} for name, (x, y) in POINTS.items()},
                              "misclosure": 0.1, "area_sqft": 200.0},
        "roof": {"facets": [{"polygon": [[0, 0], [240, 0], [240, 120], [0, 120]],
                             "plane": {"z0": -8.0, "sx": 0.0, "sy": -0.25 / 12}}]},
        "plane": {"z0": -3.0, "sx": 0.0, "sy": 0.0, "reveals": {}},
        "outline": [[1, 1], [239, 1], [239, 119], [1, 119]],
        "members": [{"id": "J1", "role": "joist", "start": [20, 1], "end": [20, 97]}],
        "supports": [{"member": "J1", "s": 0, "at": [20, 20], "clear_gap": 0.75, "roof_se": 0.05, "pad_size": [6, 6],
                      "reaction_most": 100.0, "pressure": 5.0}],
        "loads": {"dead": 8.0, "live": 40.0}, "checks": [],
    },
    "contract": {"price": Decimal(20000), "license_number": "DEMO-0000", "roof_owner": "customer",
                 "consent_needed": False, "agreed_where": "seller-place", "year_built": 1990, "electronic": False},
}
PRIMARY = {"kind": "scupper", "purpose": "primary", "point": "o1", "width": 6}
DRAIN = {"kind": "drain", "purpose": "primary", "point": "d1", "diameter": 4}
OVERFLOW = {**PRIMARY, "purpose": "overflow"}
HOUSE = {"from": "A", "to": "B", "against": "house"}
OPEN = {"from": "C", "to": "D", "against": "open"}
WALL = {"from": "C", "to": "D", "against": "parapet"}
NEAR = 0.01
DEEP = {"survey.edges": [{**OPEN, "drop_beyond": 90}]}
FOUR_SHOTS = {"survey.levels": [{"point": name, "drop": 8, "on": "roof"} for name in ("r0", "r1", "r8", "r9")]}


def documents(changes):
    """The base with single fields changed, each named by its path; None takes one out."""
    made = copy.deepcopy(BASE)
    for path, value in changes.items():
        *way, last = path.split(".")
        spot = made
        for name in way:
            spot = spot[int(name)] if isinstance(spot, list) else spot.setdefault(name, {})
        if value is None:
            spot.pop(last, None)
        elif isinstance(spot, list):
            spot[int(last)] = value
        else:
            spot[last] = value
    return made


def notes(changes, **more):
    made = documents(changes)
    contract = None if changes.get("contract", ...) is None else Contract(**made["contract"])
    return notes_for(made["framing"], made["survey"], made["build"], contract=contract, **more)


def named(key, changes):
    return next((note for note in notes(changes) if note.key == key), None)


def across(gap, *, turn=(116, 1)):
    """A joist of 96 in along the contour, two pads of 6 in under it."""
    pads = [{"member": "J1", "s": 0, "at": [30, 1], "clear_gap": gap, "roof_se": 0.0, "pad_size": [6, 6]}] * 2
    return {"framing.members": [{"id": "J1", "role": "joist", "start": [20, 1], "end": list(turn)}],
            "framing.supports": pads}


# the roof's plane at C-D is -10.5, so that the deck stands 7.5 over it there
CASES = {
    "datum": ({"survey.datum": {"what": "a nail"}}, {}),
    "few-shots": ({**FOUR_SHOTS, "framing.supports.0.at": [72 + NEAR, 24]},
                  {**FOUR_SHOTS, "framing.supports.0.at": [72, 24]}),  # 48 in from the shot at (24, 24)
    "access": ({"survey.access.longest_stick": 144}, {}),
    "sawn-faces": ({}, {"framing.members": []}),
    "fall-protection": ({"survey.edges.1.drop_beyond": 72}, {"survey.edges.1.drop_beyond": 72 - NEAR}),
    "rain-assumed": ({"build.rain": {"primary": 4}}, {}),
    "rain-unknown": ({}, {"build.rain": {"primary": 4}}),
    "rain-source": ({"build.rain": {"primary": 4, "source": "city table"}},
                    {"build.rain": {"primary": 4, "source": "NOAA Atlas 14"}}),
    "clear-path": ({}, {"framing.supports": []}),
    "may-touch-roof": ({"framing.supports.0.roof_se": 0.375}, {"framing.supports.0.roof_se": 0.375 - NEAR}),
    "heights-unsure": ({"framing.uncertainty": {"least_gap": {"p10": 0.5, "p90": 0.7}}}, {}),
    "across-the-water": (across(0.5 / (1 - 12 / 96) - NEAR), across(0.5 / (1 - 12 / 96))),
    "outlet-reach": ({}, {"survey.outlets": []}),
    "strainer": ({"survey.outlets": [DRAIN], "framing.supports.0.clear_gap": 4 - NEAR},
                 {"survey.outlets": [DRAIN], "framing.supports.0.clear_gap": 4.0}),
    "one-outlet": ({"survey.outlets": [PRIMARY]}, {}),
    "no-overflow": ({}, {"survey.outlets": [PRIMARY, OVERFLOW]}),
    "roof-load": ({}, {"framing.loads": None}),
    "bearing": ({}, {"framing.supports": []}),
    "guards": ({"survey.edges.1.drop_beyond": 22.5 + NEAR}, {"survey.edges.1.drop_beyond": 22.5}),
    "parapet-low": ({"survey.edges.1.height": 49.5 - NEAR}, {"survey.edges.1.height": 49.5}),
    "warranty": ({}, {"contract.overburden_approved": True}),
    "roof-owner": ({"contract.roof_owner": "board"}, {"contract.roof_owner": "board",
                                                      "contract.consent_given_on": "2026-03-01"}),
    "lead-paint": ({"contract.year_built": 1977}, {"contract.year_built": 1978}),
    "license-missing": ({"contract.license_number": " "}, {}),
    "cooling-off": ({"contract.agreed_where": "buyer-home", "contract.price": Decimal(25)},
                    {"contract.agreed_where": "buyer-home", "contract.price": Decimal("24.99")}),
    "rescission": ({"contract.financed": True}, {"contract.financed": False}),
    "electronic-records": ({"contract.electronic": True}, {}),
    "home-contract": ({"contract.jurisdiction": "Boston, MA", "contract.price": Decimal("1000.01")},
                      {"contract.jurisdiction": "Boston, MA", "contract.price": Decimal(1000)}),
    "liens": ({}, {"contract": None}),
}
ALWAYS = {"survey-accuracy", "permits", "upkeep", "blocked-drain-load", "wind", "fire", "ways-out", "membrane",
          "roof-condition", "drains-downstream", "structure", "as-found"}


def test_every_rule_has_its_case():
    assert CASES.keys() | ALWAYS == {rule.key for rule in RULES} and not CASES.keys() & ALWAYS
    assert len({rule.key for rule in RULES}) == len(RULES)


@pytest.mark.parametrize("key", CASES)
def test_a_rule_is_on_at_its_limit_and_off_beside_it(key):
    on, off = CASES[key]
    note = named(key, on)
    assert note is not None and note.text and note.basis and note.source and note.decided_by
    assert named(key, off) is None


def test_what_always_holds_always_stands():
    assert {note.key for note in notes({})} >= ALWAYS
    assert {note.key for note in notes_for({}, {"corners": [], "levels": []}, {})} >= ALWAYS


@pytest.mark.parametrize(("key", "on", "off"), [
    ("few-shots", {"framing.supports.0.at": [96, 12 - NEAR]}, {"framing.supports.0.at": [96, 12]}),  # outside the span
    ("guards", {"survey.edges": [OPEN]}, {"survey.edges": [WALL]}),  # nobody measured how far down
    ("guards", {**DEEP, "framing.outline": [[1, 1], [239, 1], [239, 84], [1, 84]]},
     {**DEEP, "framing.outline": [[1, 1], [239, 1], [239, 83.9], [1, 83.9]]}),  # 36 in from the deck to the edge
    ("parapet-low", {"survey.edges": [{**WALL, "height": 40, "drop_beyond": 22.6}]},
     {"survey.edges": [{**WALL, "height": 40, "drop_beyond": 22.4}]}),  # nothing deep behind it
    ("across-the-water", across(0.5, turn=(20 + 83.13, 1 + 48 - NEAR)),  # 30 degrees off the contour
     across(0.5, turn=(20 + 83.13, 1 + 48.2))),
    ("strainer", {"survey.outlets": [DRAIN], "framing.outline": [[1, 1], [239, 1], [239, 60], [1, 60]]},
     {"survey.outlets": [DRAIN], "framing.outline": [[1, 1], [239, 1], [239, 59.9], [1, 59.9]]}),  # beside the deck
    ("cooling-off", {"contract.agreed_where": "elsewhere", "contract.price": Decimal(130)},
     {"contract.agreed_where": "elsewhere", "contract.price": Decimal("129.99")}),
    ("cooling-off", {"contract.agreed_where": "unknown"}, {"contract.agreed_where": "remote"}),
    ("lead-paint", {"contract.year_built": None}, {}),
    ("roof-owner", {"contract.roof_owner": "unknown"}, {}),
    ("roof-owner", {"contract.consent_needed": True}, {"contract.consent_needed": False}),
    ("rain-source", {"build.rain": {"primary": 4}}, {"build.rain": {"primary": 4, "source": "rain gauge at school"}}),
    ("rain-source", {"build.rain": {"primary": 4, "source": "invented; take NOAA Atlas 14"}}, {}),
    ("no-overflow", {}, {"survey.edges": [HOUSE, OPEN]}),
    ("home-contract", {"contract.jurisdiction": "Rochester, New York 14604"}, {"contract.jurisdiction": "Yorkton NX"}),
])
def test_the_other_ways_in_which_a_rule_is_called_for(key, on, off):
    assert named(key, on) is not None
    assert named(key, off) is None


@pytest.mark.parametrize(("key", "on", "off", "words"), [
    ("wind", {"survey.site.height_above_grade": 360 + NEAR}, {"survey.site.height_above_grade": 360}, "over 30 ft"),
    ("wind", {"survey.site.exposure": "C"}, {"survey.site.exposure": "B"}, "open to the wind"),
    ("wind", {"survey.edges": [HOUSE, OPEN]}, {"survey.edges": [HOUSE, WALL]}, "no parapet stands at C–D"),
    ("wind", {"framing.loads.dead": 22 - NEAR}, {"framing.loads.dead": 22.0}, "22 psf"),
    ("fire", {"survey.site.construction_type": "Type II-B"}, {"survey.site.construction_type": "Type III-B"},
     "type I or II"),
    ("fire", {"survey.site.construction_type": "IA"}, {"survey.site.construction_type": "V"}, "type I or II"),
    ("fire", {"survey.site.lot_line_distance": 72 - NEAR}, {"survey.site.lot_line_distance": 72}, "nearer than 6 ft"),
    ("fire", {"survey.site.jurisdiction": "New York City", "framing.outline": [[0, 0], [96.1, 0], [96.1, 60], [0, 60]]},
     {"survey.site.jurisdiction": "New York City", "framing.outline": [[0, 0], [96, 0], [96, 60], [0, 60]]}, "20%"),
    ("fire", {"survey.site.jurisdiction": "Brooklyn, NY"}, {"survey.site.jurisdiction": "Albany, NY"}, "20%"),
    ("roof-condition", {"survey.roof.age": 10.5}, {"survey.roof.age": 10}, "Over 10 years"),
    ("membrane", {"survey.roof.membrane": "PVC", "build.supports.pad_material": "bitumen felt"},
     {"survey.roof.membrane": "PVC", "build.supports.pad_material": "polypropylene"}, "plasticizer"),
    ("membrane", {"survey.roof.membrane": "EPDM", "build.supports.base_material": "oiled hardboard"},
     {"survey.roof.membrane": "TPO", "build.supports.base_material": "oiled hardboard"}, "oil swells EPDM"),
    ("membrane", {"survey.roof.membrane": "TPO", "build.supports.pad_material": "recycled rubber"},
     {"survey.roof.membrane": "SBS", "build.supports.pad_material": "recycled rubber"}, "stain TPO"),
])
def test_what_counts_against_a_deck_makes_a_caution_of_what_is_always_said(key, on, off, words):
    steady = {"framing.loads.dead": 22.0, "survey.roof.age": 5, "survey.roof.membrane": "TPO"}
    grave, plain = named(key, {**steady, **on}), named(key, {**steady, **off})
    assert grave.status == "caution" and words in grave.text
    assert plain.status == "note" and words not in plain.text


def test_an_unknown_membrane_or_age_is_a_caution():
    assert named("membrane", {}).status == named("roof-condition", {}).status == "caution"


def test_the_drop_and_the_parapet_are_measured_from_the_decks_surface():
    low = {"survey.edges.1.drop_beyond": 48.0, "survey.edges.1.height": 45.0}
    guards, parapet = named("guards", low), named("parapet-low", low)
    assert guards.value == pytest.approx(48 + 7.5) and "4.6 ft down at C–D" in guards.text  # 55.5 in
    assert parapet.value == pytest.approx(45 - 7.5) and "37.5 in at C–D" in parapet.text


@pytest.mark.parametrize(("key", "code"), [
    ("few-shots", "roof-under-pads"), ("one-outlet", "single-outlet"), ("no-overflow", "no-overflow"),
    ("roof-load", "weight"), ("bearing", "bearing"), ("blocked-drain-load", "blocked-primary-depth"),
    ("rain-unknown", "rain-not-given"),
])
def test_a_rule_gives_way_to_the_check_that_says_more(key, code):
    on = CASES[key][0] if key in CASES else {}
    said = {"code": code, "status": "caution", "value": 1.0, "limit": 2.0, "unit": "in", "where": "", "text": "told",
            "source": "computed", "decided_by": "contractor"}
    texts = [note.text for note in notes({**on, "framing.checks": [said]}) if note.key in (key, code)]
    assert texts == ["told"]


def test_lengths_of_the_site_are_read_in_the_surveys_unit():
    high = named("wind", {"survey.unit": "m", "survey.site.height_above_grade": 12})
    assert "39.3701 ft above grade" in high.text and "over 30 ft" in high.text
