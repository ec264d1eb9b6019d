"""Tests of recipes in an estimate: quantities, posts, waste and hours worked by hand, and the notes they bring."""

import re
from dataclasses import replace
from decimal import Decimal

import pytest

from estimating import money, units
from quotes.estimate import LaborRate, Price, estimate
from quotes.recipe_lines import Rate, Use, count, recipe_notes, rows_of

SURVEY = {"corners": ["A", "B", "C", "D"], "roof": {"insulation_strength": 20},
          "edges": [{"from": "C", "to": "D", "against": "parapet", "drop_beyond": 240}]}
FRAMING = {
    "survey_adjustment": {"points": {"A": {"x": 0, "y": 0}, "B": {"x": 242, "y": 0}, "C": {"x": 242, "y": 122},
                                     "D": {"x": 0, "y": 122}}},
    "outline": [[1, 1], [241, 1], [241, 121], [1, 121]], "holes": [], "members": [],
    "supports": [{"member": "J1", "reaction_most": 150.0, "pressure": 9.4}], "loads": {"dead": 8.0, "live": 40.0},
    "quantities": [{"item": "support/pad", "unit": "EA", "net": 10, "order": 10}],
    "labor": [{"task": "set-pads", "hours": 0.96, "quantity": 10, "unit": "EA", "hours_per_unit": 0.096, "factor": 1}],
}
ITEM = {"per": "unit", "waste": "0", "waste_as": "added-on", "pack": "1", "allowance": False}
GUARD = Use(
    recipe=1, name="Cedar guard", version=11, number=2, kind="guard", unit="LF", quantities=[
        {"measure": "sides", "of": ["B-C", "C-D"]}], content={
        "part": "Guards", "holds": "Posts, rails and pickets", "posts": {
            "spacing": "72", "through_membrane": True, "item": "service/roofer-post"},
        "items": [
            {**ITEM, "item": "guard/rail", "quantity": "2", "unit": "LF", "waste": "0.1", "pack": "8",
             "order_unit": "EA"},
            {**ITEM, "item": "guard/picket", "quantity": "3.5", "unit": "EA"},
            {**ITEM, "item": "guard/post", "quantity": "1", "unit": "EA", "per": "post"},
        ],
        "labor": [
            {"task": "set-posts", "quantity": "1", "unit": "EA", "per": "post", "low": "0.5", "typical": "0.75",
             "high": "1.25"},
            {"task": "hang-rails", "quantity": "1", "unit": "LF", "per": "unit"},
        ],
        "notes": [],
    })
RATES = {"hang-rails": Rate(Decimal("0.1"), Decimal("0.15"), Decimal("0.25"), "LF", "three jobs")}
PRICES = {
    "support/pad": Price("PD", "pad", Decimal("1.18"), "EA", "USD"),
    "guard/rail": Price("GR-8", "rail 8 ft", Decimal("21.40"), "EA", "USD", price_id=7),
    "guard/picket": Price("GP", "pickets", Decimal("37.00"), "XBX", "USD", base_unit="EA", pack_quantity=Decimal(40)),
    "guard/post": Price("GPO", "post", Decimal("28.35"), "EA", "USD"),
    "service/roofer-post": Price("SV-RP", "flashing of a post", Decimal("185.00"), "EA", "USD", taxable=False),
}
LABOR = [LaborRate("carpenter", Decimal("50.00"), Decimal(1))]
TERMS = money.Terms(*[Decimal(0)] * 4, tax_place="sale")


def work_out(*uses, prices=PRICES, rates=RATES, framing=FRAMING):
    return estimate(framing, prices, LABOR, TERMS, currency="USD", schedule=[(Decimal(1), "on completion")],
                    added=rows_of(uses, framing, SURVEY, rates))


def lines(done):
    return {line.item: line for line in done.lines}


def test_a_guard_by_the_foot_along_measured_sides_costs_what_was_worked_by_hand():
    done = work_out(GUARD)
    assert done.findings == ()
    found = lines(done)
    # B-C 120 in and C-D 240 in are 30 ft; posts: 2 + 4 on the runs, 1 at the end
    assert (found["guard/rail"].quantity, found["guard/rail"].cost) == (9, Decimal("192.60"))  # 60 ft + 10 % in 8 ft
    assert (found["guard/picket"].quantity, found["guard/picket"].unit) == (3, "XBX")  # 105 in boxes of 40
    assert found["guard/picket"].cost == Decimal("111.00")
    assert (found["guard/post"].quantity, found["guard/post"].cost) == (7, Decimal("198.45"))
    assert (found["service/roofer-post"].quantity, found["service/roofer-post"].cost) == (7, Decimal("1295.00"))
    # 0.96 h of the framing, 7 x 0.75 and 30 x 0.15 h: 10.71, rounded once over the job
    assert done.hours == Decimal("10.7") and done.cost_of("labor") == Decimal("535.00")
    assert done.price == Decimal("11.80") + Decimal("192.60") + Decimal("111.00") + Decimal("198.45") + Decimal(
        "1295.00") + Decimal("535.00")


def test_hours_of_recipes_join_the_total_before_it_is_rounded():
    bare = work_out()
    assert bare.hours == Decimal("1.0")
    shares = [line.cost for line in work_out(GUARD).lines if line.kind == "labor"]
    assert len(shares) == 3 and sum(shares) == Decimal("535.00")


def test_every_line_knows_its_recipe_version_and_measure():
    for item, line in lines(work_out(GUARD)).items():
        if item in ("support/pad", "set-pads"):
            assert "recipe" not in line.came_from
            continue
        came = line.came_from
        assert (came["recipe"], came["recipe_version"], came["recipe_number"]) == (1, 11, 2)
        assert "B-C 120.00 in, C-D 240.00 in" in line.came_from["measure"]
    rail = lines(work_out(GUARD))["guard/rail"].came_from
    assert (rail["net"], rail["waste"], rail["price"]) == ("60", "6", 7)
    assert "waste 10 % of net (added on)" in rail["basis"]


def test_a_part_of_its_own_stands_before_other_work_and_the_groups_add_up():
    done = work_out(GUARD, replace(GUARD, content={**GUARD.content, "part": ""}))
    titles = [group.title for group in done.groups()]
    assert titles == ["Pads under the frame", "Guards", "Other work"]
    assert done.groups()[1].holds == "Posts, rails and pickets"
    assert sum(group.amount for group in done.groups()) == done.price
    usual = work_out(replace(GUARD, content={**GUARD.content, "part": "Decking"}))
    assert [group.title for group in usual.groups()] == ["Pads under the frame", "Decking"]


@pytest.mark.parametrize(("waste", "kind", "net", "need"), [
    ("0.15", "added-on", "100", "115"), ("0.15", "yield", "100", "117.647059"), ("0", "yield", "100", "100"),
    ("0.333333", "added-on", "100", "133.3333"),
])
def test_waste_is_added_on_or_a_yield_as_the_recipe_says(waste, kind, net, need):
    item = {**ITEM, "item": "x", "quantity": "10", "unit": "LF", "waste": waste, "waste_as": kind}
    use = replace(GUARD, kind="general", content={"items": [item]}, quantities=[{"typed": "10", "unit": "LF"}])
    (_, row), = rows_of([use], FRAMING, SURVEY, {}).bought
    assert (row["net"], row["net"] + row["waste"]) == (Decimal(net), Decimal(need))
    assert row["order"] == Decimal(need).to_integral_value(rounding="ROUND_CEILING")
    assert all(isinstance(row[name], Decimal) for name in ("net", "waste", "order"))


def test_inches_become_feet_exactly_so_that_no_piece_is_bought_for_a_rounding():
    # 80 in are 6 2/3 ft; 3 a foot make 20 and not 20.0001
    item = {**ITEM, "item": "x", "quantity": "3", "unit": "EA"}
    use = replace(GUARD, kind="general", content={"items": [item]}, quantities=[{"typed": "80", "unit": "INH"}])
    (_, row), = rows_of([use], FRAMING, SURVEY, {}).bought
    assert row["order"] == 20 and row["net"] == 20


def test_quantities_of_several_kinds_add_up():
    asked = [{"measure": "sides", "of": ["B-C"]}, {"typed": "36", "unit": "INH", "reason": "return at the door"}]
    found = count(replace(GUARD, quantities=asked), FRAMING, SURVEY)
    assert found.quantity == 13 and found.posts == 2 + 1 + 1 + 1
    assert "return at the door" in found.basis


def test_posts_at_corners_of_a_typed_length_are_put_in_by_hand_and_said():
    found = count(replace(GUARD, quantities=[{"typed": "25", "unit": "LF"}], corners=2), FRAMING, SURVEY)
    assert found.posts == 5 + 1 + 2  # 300 in over 72
    assert found.posts_basis == "at most 72 in apart: 5 on 1 straight runs, 1 at ends and 2 put in by hand"


def test_a_guard_all_the_way_round_has_no_end():
    found = count(replace(GUARD, quantities=[{"measure": "perimeter"}]), FRAMING, SURVEY)
    assert found.quantity == 60 and found.posts == 4 + 2 + 4 + 2


def test_what_is_bought_by_the_length_and_sold_in_pieces_is_bought_in_whole_pieces():
    item = {**ITEM, "item": "guard/cap", "quantity": "1", "unit": "LF"}
    use = replace(GUARD, kind="general", content={"items": [item]}, quantities=[{"typed": "25", "unit": "LF"}])
    cap = Price("CAP", "cap 12 ft", Decimal("2.15"), "LF", "USD", piece=units.Piece(Decimal(144)))
    line = lines(work_out(use, prices=PRICES | {"guard/cap": cap}))["guard/cap"]
    assert (line.quantity, line.unit, line.cost) == (3, "EA", Decimal("77.40"))  # 3 x 12 ft x 2.15


def test_a_recipe_without_a_price_for_something_blocks_the_price_and_names_it():
    done = work_out(GUARD, prices={item: price for item, price in PRICES.items() if item != "guard/post"})
    assert done.price is None and [(f.code, f.about) for f in done.findings] == [("no-price", "guard/post")]


def test_a_task_without_hours_or_rate_blocks_the_price():
    done = work_out(GUARD, rates={})
    assert done.price is None and [(f.code, f.about) for f in done.findings] == [("no-production-rate", "hang-rails")]
    by_piece = {"hang-rails": replace(RATES["hang-rails"], unit="EA")}
    assert [f.code for f in work_out(GUARD, rates=by_piece).findings] == ["unit-mismatch"]


def test_a_task_of_the_published_table_has_its_rate_where_the_office_has_none():
    task = {"task": "seal-ends", "quantity": "2", "unit": "EA", "per": "unit"}
    use = replace(GUARD, kind="general", content={"labor": [task]}, quantities=[{"typed": "50", "unit": "LF"}])
    (_, row), = rows_of([use], FRAMING, SURVEY, {}).labor
    assert (row["low"], row["hours_per_unit"], row["high"], row["hours"]) == tuple(
        map(Decimal, ("0.008", "0.012", "0.02", "1.2")))
    assert "common practice" in row["basis"]


@pytest.mark.parametrize("asked", [
    {"measure": "sides", "of": ["A-Z"]}, {"measure": "pads"}, {"typed": "3", "unit": "GLL"},
])
def test_what_cannot_be_counted_blocks_the_price_and_says_why(asked):
    done = work_out(replace(GUARD, quantities=[asked]))
    assert done.price is None and [(f.code, f.about) for f in done.findings] == [("no-quantity", "Cedar guard")]


def test_every_line_of_work_by_the_roofer_is_an_allowance():
    item = {**ITEM, "item": "service/roofer-post", "quantity": "1", "unit": "EA", "per": "job"}
    done = work_out(replace(GUARD, kind="by-roofer", content={"items": [item]}))
    assert [line.item for line in done.lines if line.allowance] == ["service/roofer-post"]
    guard = lines(work_out(GUARD))
    assert guard["service/roofer-post"].allowance and not guard["guard/rail"].allowance


# Notes


def notes(use, build=None):
    told = rows_of([use], FRAMING, SURVEY, RATES).told
    return {note.key: note for note in recipe_notes([use], told, FRAMING, SURVEY, build or {})}


def test_a_guard_defers_to_the_building_department_and_an_engineer_and_counts_its_posts_for_the_roofer():
    told = notes(GUARD)
    guard, post = told["guard-priced"], told["post-through-membrane"]
    assert guard.section == "deferral" and guard.decided_by == "building department and structural engineer"
    assert "30 ft with 7 posts" in guard.text and "R312" in guard.source
    assert post.decided_by == "roofer" and post.value == 7 and "7 posts" in post.text
    assert "6 on 2 straight runs, 1 at ends" in post.basis


def test_a_guard_that_stands_on_the_frame_brings_no_roofer():
    content = {**GUARD.content, "posts": {"spacing": "72", "through_membrane": False}}
    assert "post-through-membrane" not in notes(replace(GUARD, content=content))
    assert "service/roofer-post" not in lines(work_out(replace(GUARD, content=content)))


PLANTER = replace(
    GUARD, name="Cedar trough", kind="planter", unit="EA", quantities=[{"typed": "3", "unit": "EA"}], content={
        "load": {"saturated_weight": "600", "footprint": "8", "source": "weighed wet in the yard"},
        "items": [{**ITEM, "item": "guard/post", "quantity": "1", "unit": "EA"}]})


def test_a_planter_brings_its_load_against_what_the_deck_was_reckoned_for():
    note = notes(PLANTER)["planter-load"]
    assert (note.value, note.limit, note.unit, note.status) == (75.0, 40.0, "psf", "caution")
    assert "1,800 lb when saturated, 75 psf" in note.text and "40 psf live load and for no heavy place" in note.text
    assert "150 lb at 9.4 psi (J1)" in note.text and "20 psi" in note.text
    assert note.decided_by == "structural engineer" and note.source == "weighed wet in the yard" and note.acknowledge


def test_a_planter_that_the_build_was_told_of_is_held_against_that():
    note = notes(PLANTER, {"loads": {"heavy": [{"points": [], "psf": 80}]}})["planter-load"]
    assert note.limit == 80 and not note.acknowledge and "80 psf at the heaviest of 1 heavy places" in note.text


def test_a_screen_brings_the_wind_and_a_general_recipe_nothing():
    assert notes(replace(GUARD, kind="screen"))["screen-wind"].decided_by == "structural engineer"
    assert notes(replace(GUARD, kind="general", content={**GUARD.content, "posts": None})) == {}
    assert notes(replace(GUARD, kind="by-roofer", content={"items": []}))["by-roofer"].decided_by == "roofer"


def test_a_note_of_the_offices_own_prints_with_its_numbers():
    own = {"section": "assumption", "text": "{name}: {quantity} {unit}, {posts} posts.", "basis": "scope",
           "source": "office", "decided_by": "owner", "acknowledge": False}
    note = notes(replace(GUARD, content={**GUARD.content, "notes": [own]}))["recipe"]
    assert note.text == "Cedar guard: 30 ft, 7 posts." and note.value == 30 and note.unit == "LF"


def test_no_note_of_a_recipe_says_that_anything_is_met():
    for use in (GUARD, PLANTER, replace(GUARD, kind="screen"), replace(GUARD, kind="by-roofer")):
        for note in notes(use).values():
            assert note.basis and note.source and note.decided_by
            assert not re.search(r"compl(y|ies|iant)|to code|meets the code|approved for", note.text, re.I)
