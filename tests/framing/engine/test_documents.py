"""Documents are taken whole, or refused with every fault, its place, what was read and what was expected."""

import json
import re
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from framing.engine.checks import CODES
from framing.engine.design import frame
from framing.engine.documents import (
    DocumentRefused,
    canonical_sha256,
    check_together,
    json_schema,
    parse_build,
    parse_survey,
)
from framing.engine.json_reading import MOST_FAULTS
from tests.framing.fixtures import good_build, good_survey

_JARGON = re.compile(
    r"(?i:pydantic|validation|traceback|\binput\b|instance|union|(?<!construction)_type\b|\bdict\b|\btuple\b|\bstr\b|\bint\b|\bfloat\b"
    r"|object at 0x|literal|mapping|\bmodel\b)|NoneType|\bNone\b"
)
_GONE = object()


def _at(document, pointer):
    """The value at a pointer, by RFC 6901 as read here and not by the code under test."""
    for part in pointer.split("/")[1:]:
        key = part.replace("~1", "/").replace("~0", "~")
        if isinstance(document, list):
            assert re.fullmatch("0|[1-9][0-9]*", key), f"{key} is no place in a list"
            document = document[int(key)]
        else:
            document = document[key]
    return document


def _bent(document, pointer, value):
    *_, last = pointer.split("/")
    owner = _at(document, pointer.rsplit("/", 1)[0])
    if isinstance(owner, list):
        owner.append(value) if last == "-" else owner.__setitem__(int(last), value)
    elif value is _GONE:
        del owner[last]
    else:
        owner[last] = value
    return document


def _refused(parse, source):
    """The faults by pointer, those of missing fields by "pointer lacks field"."""
    with pytest.raises(DocumentRefused) as refused:
        parse(source)
    found = {}
    for fault in refused.value.faults:
        assert fault.read and fault.expected and fault.detail
        assert not _JARGON.search(f"{fault.expected} {fault.detail}"), fault
        if isinstance(source, dict):
            assert _stands(source, fault.pointer), fault
        is_missing = fault.read == "nothing"
        found[f"{fault.pointer} lacks {fault.expected.split(':')[0]}" if is_missing else fault.pointer] = fault
    return found


def _stands(document, pointer):
    """Whether the pointer leads somewhere."""
    try:
        _at(document, pointer)
    except (KeyError, IndexError, TypeError):
        return False
    return True


def test_a_good_survey_is_read_into_inches():
    survey = parse_survey(json.dumps(good_survey()))
    assert survey.corners == ("A", "B", "C", "D")
    assert (survey.tapes[0].from_, survey.tapes[0].to, survey.tapes[0].length) == ("A", "B", 192.0)
    assert survey.edges[1].drop_beyond == 144.0
    assert survey.datum_checks[0].after == 21
    assert survey.all_doors[0].points == ("t1", "t2", "t3") and survey.all_doors[0].name == "door"
    assert (survey.tape_sigma, survey.level_sigma, survey.closure_tolerance) == (1 / 8, 1 / 16, 3 / 16)
    assert survey.roof.cover_board.thickness == 0.5 and survey.access.longest_stick == 192.0


def test_a_good_build_is_read_into_inches():
    build = parse_build(json.dumps(good_build()).encode())
    assert build.decking.stock_lengths == (96.0, 120.0, 144.0, 168.0, 192.0)
    assert build.supports.pad_sizes == ((6.0, 6.0),) and build.supports.maximum_spacing == "auto"
    assert build.surface.reveal == 0.125 and build.decking.direction == 90.0
    assert (build.saw.kerf, build.saw.trim) == (0.125, 0.25)
    check_together(parse_survey(good_survey()), build)


def test_every_length_of_a_document_is_in_its_unit():
    document = good_build() | {"unit": "mm"}
    document["decking"] |= {"thickness": 25.4, "width": "139.7", "gap": "3/16", "stock_lengths": ["3.6 m", 2540]}
    document["joists"] |= {"spacing": 406.4, "minimum_depth": 38.1, "stock_lengths": [2540]}
    document["supports"] |= {"pad_thickness": 12.7, "base_thickness": 0, "pad_size": [[101.6, 101.6], [152.4, "6\""]]}
    document["supports"] |= {"shim_most": 30, "clear_gap": {"least": 19.05, "target": 19.05, "most": 50.8}}
    document["decking"]["stock_prices"] = {"2540": "61.20"}
    build = parse_build(document)
    assert (build.decking.thickness, build.decking.width, build.decking.gap) == (1.0, 5.5, 0.1875)
    assert build.decking.stock_lengths == (100.0, 3600 * 5 / 127)
    assert build.supports.pad_sizes == ((4.0, 4.0), (6.0, 6.0))
    assert build.decking.stock_prices == {100.0: Decimal("61.20")}
    assert build.joists.spacing == 16.0 and build.joists.minimum_depth == 1.5


@pytest.mark.parametrize(
    ("given", "sizes"),
    [
        (4, ((4.0, 4.0),)), ("4 in", ((4.0, 4.0),)), ([4, 6], ((4.0, 6.0),)), ([[4, 6]], ((4.0, 6.0),)),
        ([[4, 4], [6, 6]], ((4.0, 4.0), (6.0, 6.0))),
    ],
)
def test_pad_size_is_one_pad_or_a_list_to_choose_from(given, sizes):
    assert parse_build(_bent(good_build(), "/supports/pad_size", given)).supports.pad_sizes == sizes


@pytest.mark.parametrize(
    ("given", "money"), [("18.88", "18.88"), (18.88, "18.88"), (19, "19"), (0.1, "0.1"), ("7.8525", "7.8525")]
)
def test_money_is_exact_from_text_or_number(given, money):
    document = _bent(good_build(), "/joists/stock_prices", {"2x8": {"144": given, "16'": "25.00"}})
    assert parse_build(json.dumps(document)).joists.stock_prices == {
        "2x8": {144.0: Decimal(money), 192.0: Decimal("25.00")}
    }


@pytest.mark.parametrize(
    ("species", "grade"), [("SYP", "#2"), ("Doug-Fir", "2 & Btr"), ("S-P-F", "No. 1/No. 2"), ("hem fir", "No.3")]
)
def test_species_and_grade_may_be_written_as_the_trade_does(species, grade):
    document = good_build()
    document["joists"] |= {"species": species, "grade": grade}
    assert parse_build(document).joists.grade == grade


def test_an_unknown_species_does_not_hide_an_unknown_grade():
    document = good_build()
    document["joists"] |= {"species": "balsa", "grade": "pretty", "spacing": 0}
    assert set(_refused(parse_build, document)) == {"/joists/species", "/joists/grade", "/joists/spacing"}


def test_a_tie_with_two_tapes_is_a_known_point():
    document = good_survey()
    document["tapes"] += [["A", "T", 100], ["B", "T", 120]]
    document["levels"].append({"point": "T", "drop": 9, "on": "roof"})
    assert parse_survey(document).levels[-1].point == "T"


@pytest.mark.parametrize("length", [3, 1_900])
def test_ties_that_hang_on_one_another_are_known_only_where_both_ends_are_held(length):
    chain = ["A", *(f"p{i}" for i in range(length))]
    document = good_survey()
    document["tapes"] += [[one, other, 20] for one, other in zip(chain, chain[1:], strict=False)]
    faults = _refused(parse_survey, document)
    assert len(faults) == min(2 * length - 1, MOST_FAULTS) and "/tapes/6/1" in faults
    document["tapes"].append([chain[-1], "B", min(20 * length + 100, 9_000)])
    assert len(parse_survey(document).tapes) == 7 + length


def test_an_unfinished_survey_is_taken():
    document = good_survey()
    document["levels"] = []
    document["datum_checks"] = []
    document["tapes"] = document["tapes"][:3]
    for field in ("outlets", "edges", "roof", "site", "access", "breaklines"):
        del document[field]
    survey = parse_survey(document)
    assert survey.outlets == () and survey.roof is None


def test_datum_checks_stand_in_the_order_of_the_readings():
    document = good_survey() | {"datum_checks": [{"after": "s3", "drop": "1/16"}, {"after": 5, "drop": 0}]}
    assert [check.after for check in parse_survey(document).datum_checks] == [5, 21]


SURVEY_FAULTS = [
    # pointer to bend, value put there, pointers that the refusal must name
    ("/tapes/-", ["A", "X", 100], ["/tapes/6/1"]),
    ("/tapes/0/2", -192, ["/tapes/0/2"]),
    ("/tapes/0/2", 0, ["/tapes/0/2"]),
    ("/tapes/0/2", "about 16 feet", ["/tapes/0/2"]),
    ("/tapes/0/2", True, ["/tapes/0/2"]),
    ("/tapes/0/2", None, ["/tapes/0/2"]),
    ("/tapes/0/2", "40 ft", ["/tapes/0/2"]),  # B would lie 40 ft from A over C at 10 and 19 ft
    ("/tapes/0/1", "A", ["/tapes/0/1"]),
    ("/tapes/0", ["A", "B"], ["/tapes/0"]),
    ("/tapes/0", {"from": "A", "to": "B", "length": 192}, ["/tapes/0"]),
    ("/tapes", {"AB": 192}, ["/tapes"]),
    ("/tape_sigma", 0, ["/tape_sigma"]),
    ("/closure_tolerance", -1, ["/closure_tolerance"]),
    ("/format", "roof-survey/2", ["/format"]),
    ("/format", "deck-build/1", ["/format"]),
    ("/format", _GONE, [" lacks format"]),
    ("/format", ["roof-survey/1"], ["/format"]),
    ("/name", _GONE, [" lacks name"]),
    ("/name", "  ", ["/name"]),
    ("/name", 5, ["/name"]),
    ("/levels", _GONE, [" lacks levels"]),
    ("/corners", _GONE, [" lacks corners"]),
    ("/corners", ["A", "B"], ["/corners"]),
    ("/corners", ["A", "B", "C", "A"], ["/corners/3"]),
    ("/corners", "ABCD", ["/corners"]),
    ("/threshold", _GONE, [" lacks threshold"]),
    ("/threshold", [], ["/threshold"]),
    ("/threshold", None, ["/threshold"]),
    ("/threshold/1", "t9", ["/threshold/1"]),
    ("/threshold/1", "t1", ["/threshold/1"]),
    ("/doors", [{"name": "d", "points": ["t1"]}], ["/doors"]),
    ("/unit", "furlong", ["/unit"]),
    ("/unit", ["in"], ["/unit"]),
    ("/colour", "grey", ["/colour"]),
    ("/levels/0/colour", "grey", ["/levels/0/colour"]),
    ("/levels/0/drop", "deep", ["/levels/0/drop"]),
    ("/levels/0/drop", float("nan"), ["/levels/0/drop"]),
    ("/levels/0/drop", float("inf"), ["/levels/0/drop"]),
    ("/levels/0/drop", 10**30, ["/levels/0/drop"]),
    ("/levels/0/drop", "2 km", ["/levels/0/drop"]),
    ("/levels/0/drop", 99999, ["/levels/0/drop"]),
    ("/levels/0/on", "lawn", ["/levels/0/on"]),
    ("/levels/0/on", "paver", ["/levels/0 lacks depth_to_membrane"]),
    ("/levels/0/on", _GONE, ["/levels/0 lacks on"]),
    ("/levels/0/point", "nowhere", ["/levels/0/point"]),
    ("/levels/0", "r1 at 9", ["/levels/0"]),
    ("/positions/r1", [6], ["/positions/r1"]),
    ("/positions/r1/1", "far", ["/positions/r1/1"]),
    ("/positions", [], ["/positions"]),
    ("/datum_checks/0/after", "zz", ["/datum_checks/0/after"]),
    ("/datum_checks/0/after", 22, ["/datum_checks/0/after"]),
    ("/datum_checks/0/after", 0, ["/datum_checks/0/after"]),
    ("/datum_checks/0/after", 2.5, ["/datum_checks/0/after"]),
    ("/levels/1/point", "s3", ["/datum_checks/0/after"]),  # read twice, so that "after s3" is no one reading
    ("/breaklines/0/kind", "hip", ["/breaklines/0/kind"]),
    ("/breaklines/0/points", ["k1"], ["/breaklines/0/points"]),
    ("/breaklines/0/points/2", "k9", ["/breaklines/0/points/2"]),
    ("/outlets/0/width", -6, ["/outlets/0/width"]),
    ("/outlets/0/kind", "gutter", ["/outlets/0/kind"]),
    ("/outlets/0/point", "s9", ["/outlets/0/point"]),
    ("/outlets/0/point", _GONE, ["/outlets/0 lacks point"]),
    ("/obstacles", [{"name": "vent", "point": "r6"}], ["/obstacles/0 lacks size"]),
    ("/obstacles", [{"name": "vent"}], ["/obstacles/0"]),
    ("/obstacles", [{"name": "vent", "points": ["r1", "r2"]}], ["/obstacles/0/points"]),
    ("/obstacles", [{"name": "v", "point": "q", "size": 9}], ["/obstacles/0/point"]),
    ("/obstacles", [{"name": "v", "point": "r6", "size": [9, 9, 9]}], ["/obstacles/0/size"]),
    ("/obstacles", [{"name": "v", "point": "r6", "size": 9}] * 2, ["/obstacles/1/name"]),
    ("/edges/0/to", "C", ["/edges/0"]),
    ("/edges/1", {"from": "B", "to": "A", "against": "open"}, ["/edges/1"]),
    ("/edges/0/against", "wall", ["/edges/0/against"]),
    ("/edges/1/height", -24, ["/edges/1/height"]),
    ("/roof/age", "old", ["/roof/age"]),
    ("/roof/insulation_strength", "25", ["/roof/insulation_strength"]),
    ("/roof/insulation_strength", -25, ["/roof/insulation_strength"]),
    ("/roof/inspected_on", "last spring", ["/roof/inspected_on"]),
    ("/roof", [], ["/roof"]),
    ("/site/accessible_route", "no", ["/site/accessible_route"]),
    ("/access/floor", 4.5, ["/access/floor"]),
    ("/access/lift", "crane", ["/access/lift"]),
    ("/photos", [{"point": "r1"}], ["/photos/0 lacks file"]),
    ("/surveyed_on", "2026-02-30", ["/surveyed_on"]),
    ("/surveyor", "tab\x07bell", ["/surveyor"]),
    ("/surveyor", "\ud800", ["/surveyor"]),
]


@pytest.mark.parametrize(("pointer", "value", "named"), SURVEY_FAULTS)
def test_a_bad_survey_is_refused_at_the_place_of_the_fault(pointer, value, named):
    faults = _refused(parse_survey, _bent(good_survey(), pointer, value))
    assert sorted(faults) == sorted(named)


BUILD_FAULTS = [
    ("/decking/width", -5.5, ["/decking/width"]),
    ("/decking/width", "wide", ["/decking/width"]),
    ("/decking/width", [5.5], ["/decking/width"]),
    ("/decking/thickness", 0, ["/decking/thickness"]),
    ("/decking/gap", "1/0", ["/decking/gap"]),
    ("/decking/fastening", "glue", ["/decking/fastening"]),
    ("/decking/direction", "north", ["/decking/direction"]),
    ("/decking/border_courses", 1.5, ["/decking/border_courses"]),
    ("/decking/edge_gaps/A-B", -1, ["/decking/edge_gaps/A-B"]),
    ("/decking/stock_lengths", [], ["/decking/stock_lengths"]),
    ("/decking/stock_lengths/0", 0, ["/decking/stock_lengths/0"]),
    ("/decking/stock_prices", {"144": "-3"}, ["/decking/stock_prices/144"]),
    ("/decking/stock_prices", {"long": "3"}, ["/decking/stock_prices/long"]),
    ("/decking/stock_prices", {"144": "3", "12'": "4"}, ["/decking/stock_prices/12'"]),
    ("/decking", _GONE, [" lacks decking"]),
    ("/decking/item", _GONE, ["/decking lacks item"]),
    ("/joists/species", "balsa", ["/joists/species"]),
    ("/joists/species", 7, ["/joists/species"]),
    ("/joists/grade", "Select", ["/joists/grade"]),
    ("/joists/grade", "No.1", ["/joists/grade"]),  # one with No.2 in spruce-pine-fir alone
    ("/joists/sizes", [], ["/joists/sizes"]),
    ("/joists/sizes/0", "3x7", ["/joists/sizes/0"]),
    ("/joists/sizes/1", "2x4", ["/joists/sizes/1"]),
    ("/joists/sizes", "2x8", ["/joists/sizes"]),
    ("/joists/stock_lengths", [], ["/joists/stock_lengths"]),
    ("/joists/stock_prices", {"2x8": {"144": "$18.88"}}, ["/joists/stock_prices/2x8/144"]),
    ("/joists/stock_prices", {"4x4": {"144": "18.88"}}, ["/joists/stock_prices/4x4"]),
    ("/joists/stock_prices", {"2x8": {"144": True}}, ["/joists/stock_prices/2x8/144"]),
    ("/joists/spacing", 0, ["/joists/spacing"]),
    ("/joists/splice", "nailed", ["/joists/splice"]),
    ("/joists/moisture", "damp", ["/joists/moisture"]),
    ("/supports/clear_gap", {"least": 1, "target": 0.75, "most": 2}, ["/supports/clear_gap/target"]),
    ("/supports/clear_gap", {"least": 1, "target": 1.5, "most": 1.25}, ["/supports/clear_gap/most"]),
    ("/supports/clear_gap/least", -1, ["/supports/clear_gap/least"]),
    ("/supports/clear_gap/most", _GONE, ["/supports/clear_gap lacks most"]),
    ("/supports/shim_sizes", [], ["/supports/shim_sizes"]),
    ("/supports/shim_sizes/0", 0, ["/supports/shim_sizes/0"]),
    ("/supports/pad_size", [], ["/supports/pad_size"]),
    ("/supports/pad_size", [4, 5, 6], ["/supports/pad_size"]),
    ("/supports/pad_size", [[4, -4]], ["/supports/pad_size"]),
    ("/supports/maximum_spacing", "wide", ["/supports/maximum_spacing"]),
    ("/loads/live", 0, ["/loads/live"]),
    ("/loads/live", "40", ["/loads/live"]),
    ("/loads/snow", -1, ["/loads/snow"]),
    ("/loads/heavy", [{"points": ["r1", "r2"], "psf": 80}], ["/loads/heavy/0/points"]),
    ("/rain/primary", "hard", ["/rain/primary"]),
    ("/surface/mode", "bumpy", ["/surface/mode"]),
    ("/surface/mode", "fall", ["/surface lacks fall_per_ft"]),
    ("/surface/toward", 90, ["/surface/toward"]),
    ("/access_panels/-", {"over": "s1"}, ["/access_panels/1/over"]),
    ("/access_panels/0/size", 24, ["/access_panels/0/none"]),
    ("/labor/difficulty/stair carry", 0, ["/labor/difficulty/stair carry"]),
    ("/labor/crew", "three", ["/labor/crew"]),
    ("/labor/rates", {"rip": {"low": 2, "typical": 1, "high": 3, "unit": "ea"}}, ["/labor/rates/rip/typical"]),
    ("/format", "roof-survey/1", ["/format"]),
    ("/saw/kerf", 3, ["/saw/kerf"]),
]


@pytest.mark.parametrize(("pointer", "value", "named"), BUILD_FAULTS)
def test_a_bad_build_is_refused_at_the_place_of_the_fault(pointer, value, named):
    assert sorted(_refused(parse_build, _bent(good_build(), pointer, value))) == sorted(named)


def test_every_fault_is_named_in_one_answer():
    document = good_survey()
    bends = [("/name", _GONE), ("/unit", "furlong"), ("/tapes/0/2", "long"), ("/tapes/-", ["A", "X", 9])]
    bends += [("/levels/0/on", "lawn"), ("/levels/1/point", "nowhere"), ("/edges/0/to", "C"), ("/roof/age", "old")]
    bends += [("/colour", 1), ("/levels/2/drop", float("nan")), ("/threshold/0", "t9"), ("/datum_checks/0/after", 99)]
    for pointer, value in bends:
        _bent(document, pointer, value)
    faults = _refused(parse_survey, document)
    assert sorted(faults) == sorted([
        " lacks name", "/unit", "/tapes/0/2", "/tapes/6/1", "/levels/0/on", "/levels/1/point", "/edges/0", "/roof/age",
        "/colour", "/levels/2/drop", "/threshold/0", "/datum_checks/0/after",
    ])


def test_a_fault_says_what_was_read_and_what_was_expected():
    faults = _refused(parse_survey, _bent(good_survey(), "/tapes/-", ["A", "X", 100]))
    fault = faults["/tapes/6/1"]
    assert fault.read == '"X"' and "A, B, C, D" in fault.expected and "only 1 tape" in fault.detail
    fault = _refused(parse_build, _bent(good_build(), "/decking/width", "wide"))["/decking/width"]
    assert fault.read == '"wide"' and "5 5/8" in fault.expected and fault.document == "deck-build/1"
    fault = _refused(parse_build, _bent(good_build(), "/decking/item", _GONE))["/decking lacks item"]
    assert fault.pointer == "/decking" and fault.expected == "item: a name" and fault.detail == "item is missing"


def test_tapes_that_cannot_close_are_named():
    fault = _refused(parse_survey, _bent(good_survey(), "/tapes/0/2", "40 ft"))["/tapes/0/2"]
    assert "A-B" in fault.detail and "cannot close" in fault.detail and "A-C" in fault.detail
    # A slip of an inch still closes as a triangle and is left to the adjustment.
    parse_survey(_bent(good_survey(), "/tapes/0/2", 193))


@pytest.mark.parametrize(
    ("order", "faulty"), [("ABCD", False), ("DCBA", False), ("ACBD", True), ("ABDC", True)]
)
def test_an_outline_by_coordinates_that_crosses_itself_is_refused(order, faulty):
    document = good_survey() | {"corners": list(order), "edges": [], "tapes": []}
    document["positions"] |= {"A": [0, 0], "B": [192, 0], "C": [196, 120], "D": [-3, 126]}
    if not faulty:
        assert parse_survey(document).corners == tuple(order)
        return
    fault = _refused(parse_survey, document)["/corners"]
    assert "crosses itself" in fault.detail


@pytest.mark.parametrize("third", [[50, 0], [100, 0]])
def test_corners_in_one_line_or_one_place_are_refused(third):
    document = good_survey() | {"corners": ["A", "B", "C"], "edges": [], "tapes": []}
    document["positions"] |= {"A": [0, 0], "B": [100, 0], "C": third}
    assert any(pointer.startswith("/corners") for pointer in _refused(parse_survey, document))


@pytest.mark.parametrize(
    ("source", "pointer"),
    [
        ("[" * 100_000, ""), ('{"a":' * 100_000, ""), ("[" * 100_000 + "]" * 100_000, ""), (b"\xff\xfe{}", ""),
        ("", ""),
        ("[]", ""), ("null", ""), ('"roof-survey/1"', ""), ('{"format": "roof-survey/1"', ""), ("{'format': 1}", ""),
    ],
)
def test_what_is_no_json_object_is_refused(source, pointer):
    assert pointer in _refused(parse_survey, source)


@pytest.mark.parametrize("parse", [parse_survey, parse_build])
def test_brackets_nested_deeper_than_any_document_are_refused_inside_a_field_too(parse):
    assert _refused(parse, '{"format": ' + "[" * 100_000 + "]" * 100_000 + "}")
    nested = []
    for _ in range(5_000):
        nested = [nested]
    assert _refused(parse, {"name": nested})


def test_keys_given_twice_and_numbers_that_are_none_are_refused_with_all_else():
    text = json.dumps(_bent(good_survey(), "/name", 7))
    text = text.replace('"unit": "in"', '"unit": "in", "unit": "mm"')
    text = text.replace('"drop": 0}', '"drop": NaN, "drop": 1e999}')
    faults = _refused(parse_survey, text.encode())
    assert {"/unit", "/datum_checks/0/drop", "/name"} <= set(faults)
    assert "more than once" in faults["/unit"].detail


def test_a_document_over_a_limit_is_too_large():
    big = good_survey() | {"surveyor": "x" * 5_000_000}
    crowded = good_survey() | {"corners": [f"c{i}" for i in range(201)]}
    taped = good_survey() | {"tapes": [["A", "B", 192]] * 2_001}
    for source in (json.dumps(big), json.dumps(crowded), taped):
        with pytest.raises(DocumentRefused) as refused:
            parse_survey(source)
        assert refused.value.too_large
    with pytest.raises(DocumentRefused) as refused:
        parse_survey("{}")
    assert not refused.value.too_large


@pytest.mark.parametrize(
    "source", [[], [{"format": "roof-survey/1"}], [float("nan")], 5, None, 1.5, True, "5", b"", object(), (1,)]
)
def test_what_is_read_already_and_no_object_is_refused(source):
    assert set(_refused(parse_survey, source)) == {""}


def test_a_byte_order_mark_is_no_fault():
    text = json.dumps(good_survey())
    assert parse_survey("\ufeff" + text) == parse_survey(b"\xef\xbb\xbf" + text.encode()) == parse_survey(text)
    marked, plain = (frame(mark + text, good_build()).document["provenance"] for mark in ("\ufeff", ""))
    assert marked == plain


CROWDED = good_survey() | {"corners": [f"corner {i:03d}".ljust(60, "x") for i in range(200)], "tapes": []}


@pytest.mark.parametrize(
    ("parse", "document"),
    [
        (parse_survey, _bent(good_survey(), "/levels/0/point", "x" * 1_000_000)),
        (parse_survey, _bent(good_survey(), "/datum_checks/0/after", "x" * 1_000_000)),
        (parse_survey, _bent(good_survey(), "/tapes/0/2", "9" * 1_000_000)),
        (parse_survey, _bent(good_survey(), "/unit", "x" * 1_000_000)),
        (parse_survey, _bent(good_survey(), "/format", ["x" * 1_000_000])),
        (parse_survey, good_survey() | {"k" * 1_000_000: 1}),
        (parse_survey, good_survey() | {f"k{i}": "v" * 20_000 for i in range(200)}),
        (parse_survey, CROWDED),
        (parse_survey, {"name": "x" * 1_000_000}),
        (parse_build, _bent(good_build(), "/joists/stock_prices", {"2x8": {"9" * 10_000: "x" * 1_000_000}})),
        (parse_build, _bent(good_build(), "/joists/sizes", ["x" * 1_000] * 5_000)),
        (parse_build, _bent(good_build(), "/labor/crew", ["x" * 1_000, 5] * 500)),
    ],
)
def test_a_refusal_never_echoes_a_long_document(parse, document):
    for fault in _refused(parse, document).values():
        assert max(map(len, (fault.read, fault.expected, fault.detail))) <= 400
        assert len(fault.pointer) <= 400


def test_what_survey_and_build_show_together_is_told_in_few_words():
    corners = [f"corner {i:03d}".ljust(60, "x") for i in range(200)]
    survey = parse_survey(good_survey()).model_copy(update={"corners": tuple(corners)})
    build = parse_build(_bent(good_build(), "/decking/edge_gaps", {f"{i}-0": 1 for i in range(999)}))
    with pytest.raises(DocumentRefused) as refused:
        check_together(survey, build)
    assert len(refused.value.faults) == MOST_FAULTS
    assert all(len(fault.expected) <= 400 and fault.detail for fault in refused.value.faults)


def test_text_that_no_file_holds_can_be_told_of_wherever_it_is_named():
    document = _bent(_bent(good_survey(), "/corners/1", "B\ud800"), "/levels/0/point", "nowhere")
    document["\ud801"] = 1
    with pytest.raises(DocumentRefused) as refused:
        parse_survey(document)
    assert {"", "/corners/1", "/levels/0/point"} <= {fault.pointer for fault in refused.value.faults}
    json.dumps(refused.value.as_json(), ensure_ascii=False).encode()


def test_a_field_without_a_name_is_told_as_it_stands():
    assert _refused(parse_survey, good_survey() | {"": 1})["/"].detail.startswith('"" is a field')


def test_a_length_that_cannot_be_read_is_told_with_its_place_in_the_text():
    fault = _refused(parse_survey, _bent(good_survey(), "/tapes/0/2", "12' 14\""))["/tapes/0/2"]
    assert fault.detail == "not a length at character 5" and fault.expected == "less than 12 inches after feet"


def test_every_missing_field_of_a_group_is_told_at_the_group():
    faults = _refused(parse_build, _bent(good_build(), "/labor/rates", {"cut": {}}))
    assert set(faults) == {f"/labor/rates/cut lacks {field}" for field in ("low", "typical", "high", "unit")}
    assert faults["/labor/rates/cut lacks unit"].expected == "unit: a name"


def test_an_empty_document_is_told_everything_it_lacks():
    assert set(_refused(parse_survey, {})) == {
        f" lacks {field}" for field in ("format", "name", "corners", "levels", "threshold")
    }
    assert set(_refused(parse_build, {})) == {
        f" lacks {field}" for field in ("format", "surface", "decking", "joists", "supports", "loads")
    }


def test_a_missing_field_is_told_beside_other_faults_of_its_group():
    document = _bent(_bent(good_survey(), "/levels/0/drop", float("nan")), "/levels/0/on", _GONE)
    del document["threshold"]
    document["\x00"] = 1
    assert set(_refused(parse_survey, document)) == {
        "", "/levels/0/drop", "/levels/0 lacks on", " lacks threshold"
    }


def test_more_values_than_any_document_has_are_too_many():
    for document in (good_survey() | {"photos": [{str(i): 0 for i in range(300)}] * 400},
                     _bent(good_build(), "/supports/shim_sizes", [1] * 100_001)):
        with pytest.raises(DocumentRefused) as refused:
            (parse_survey if "levels" in document else parse_build)(document)
        assert refused.value.too_large and [fault.pointer for fault in refused.value.faults] == [""]


@pytest.mark.parametrize(
    ("pointer", "value"),
    [("/supports/shim_sizes", [i / 16 for i in range(1, 52)]), ("/supports/pad_size", [[i, i] for i in range(1, 52)])],
)
def test_a_choice_of_more_than_fifty_is_no_choice(pointer, value):
    assert list(_refused(parse_build, _bent(good_build(), pointer, value))) == [pointer]
    parse_build(_bent(good_build(), pointer, value[:50]))


@pytest.mark.parametrize(
    ("pointer", "value", "named"),
    [
        ("/decking/edge_gaps", {"A-C": 1}, "/decking/edge_gaps/A-C"),
        ("/decking/edge_gaps", {"A-B": 1, "B-A": 2}, "/decking/edge_gaps/B-A"),
        ("/access_panels", [{"over": "s9"}], "/access_panels/0/over"),
        ("/loads/heavy", [{"points": ["r1", "r2", "r99"], "psf": 80}], "/loads/heavy/0/points/2"),
    ],
)
def test_a_build_that_does_not_fit_its_survey_is_refused(pointer, value, named):
    survey, build = parse_survey(good_survey()), parse_build(_bent(good_build(), pointer, value))
    assert list(_refused(lambda _: check_together(survey, build), None)) == [named]


def test_a_surface_cannot_follow_a_threshold_of_one_point():
    survey = parse_survey(good_survey() | {"threshold": ["t1"]})
    build = parse_build(_bent(good_build(), "/surface/mode", "follow-threshold"))
    assert list(_refused(lambda _: check_together(survey, build), None)) == ["/surface/mode"]


def test_the_answer_to_a_bad_document_is_plain_json():
    with pytest.raises(DocumentRefused) as refused:
        parse_survey(_bent(good_survey(), "/surveyor", "\ud800"))
    body = json.dumps(refused.value.as_json(), ensure_ascii=False).encode("utf-8")
    assert set(json.loads(body)["errors"][0]) >= {"pointer", "read", "expected", "detail"}


def test_the_hash_of_a_document_is_that_of_its_canonical_json():
    assert canonical_sha256({"b": "½", "a": [1, 2.5]}) == (  # printf '{"a":[1,2.5],"b":"½"}' | sha256sum
        "44b367870727da445330920c415d7e4a7ee2d07151228e5ac727093e4a6daf92"
    )


@pytest.mark.parametrize("name", ["roof-survey/1", "deck-build/1", "deck-framing/1"])
def test_each_format_has_a_json_schema_that_names_its_fields(name):
    schema = json_schema(name)
    json.dumps(schema)
    good = {"roof-survey/1": good_survey(), "deck-build/1": good_build(), "deck-framing/1": {"checks": 1, "members": 1}}
    assert set(good[name]) <= set(schema["properties"])
    if name == "deck-framing/1":
        assert set(schema["$defs"]["CheckFound"]["properties"]["code"]["enum"]) == set(CODES)
    with pytest.raises(KeyError):
        json_schema("roof-survey/9")


_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8)
    | st.sampled_from(["A", "B", "r1", "5 5/8", "in", "mm", "auto", "roof", "2x8", -1, 0, 144, "12' 3\""]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


def _places(value, path=()):
    yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        yield from _places(item, (*path, key))


@settings(max_examples=200, deadline=None)
@given(data=st.data(), which=st.sampled_from([(parse_survey, good_survey), (parse_build, good_build)]))
def test_a_bent_document_is_taken_or_refused_at_places_that_exist(data, which):
    parse, good = which
    document = good()
    for _ in range(data.draw(st.integers(1, 4))):
        path = data.draw(st.sampled_from([p for p in _places(document) if p]))
        owner = document
        for part in path[:-1]:
            owner = owner[part]
        change = data.draw(st.sampled_from(["put", "drop", "twice", "add"]))
        if change == "drop":
            del owner[path[-1]]
        elif change == "twice" and isinstance(owner, list):
            owner.append(owner[path[-1]])
        elif change == "add" and isinstance(owner, dict):
            owner[data.draw(st.text(max_size=5))] = data.draw(_VALUES)
        else:
            owner[path[-1]] = data.draw(_VALUES)
        if not document:
            break
    for source in (document, json.dumps(document)):
        try:
            parse(source)
        except DocumentRefused as refused:
            assert refused.faults
            json.dumps(refused.as_json(), ensure_ascii=False).encode()
            for fault in refused.faults:
                assert _stands(document, fault.pointer), fault
                assert not _JARGON.search(fault.expected), fault
