"""Tests of recipes in quotes: the demo's terrace with a guard and planters, priced, issued and kept as it was."""

from datetime import date
from decimal import Decimal

import pytest

from estimating import price_lists
from estimating.models import Material, Price, ProductionRate, Recipe
from estimating.recipes import NotInForce, draft_version, put_in_force
from estimating.records import create_record
from quotes import drafts, revisions, snapshots
from quotes.demonstration import DATA, NOW
from quotes.models import Quote, Revision
from quotes.paper.materials import material_list

ITEM = {"per": "unit", "waste": "0", "waste_as": "added-on", "pack": "1", "allowance": False}
GUARD = {
    "part": "Guards", "holds": "Posts and rails", "notes": [], "posts": {
        "spacing": "72", "through_membrane": True, "item": "service/roofer-post"},
    "items": [
        {**ITEM, "item": "guard/rail", "quantity": "2", "unit": "LF", "waste": "0.1", "pack": "8", "order_unit": "EA"},
        {**ITEM, "item": "guard/post", "quantity": "1", "unit": "EA", "per": "post"},
    ],
    "labor": [{"task": "hang-rails", "quantity": "1", "unit": "LF", "per": "unit"}],
}
PLANTER = {
    "part": "", "holds": "", "labor": [], "items": [{**ITEM, "item": "guard/post", "quantity": "1", "unit": "EA"}],
    "load": {"saturated_weight": "600", "footprint": "8", "source": "weighed wet"},
    "notes": [{"section": "exclusion", "text": "Soil and plants.", "basis": "scope", "source": "office",
               "decided_by": "owner", "acknowledge": False}],
}
GOODS = (b"GR-8,Cedar rail 8 ft,EA,EA,,EA,21.40,USD,per EA,2026-03-01,,active\n"
         b"GP-1,Steel post,EA,EA,,EA,28.35,USD,per EA,2026-03-01,,active\n"
         b"RF-P,Flashing of a post,EA,EA,,EA,185.00,USD,per EA,2026-03-01,,active\n")


@pytest.fixture
def version(scenario):
    """The demo's list with rails, posts and the roofer's flashing, and the materials behind them."""
    content = (DATA / "price-list.csv").read_bytes() + GOODS
    staged = price_lists.stage_price_file(scenario.version.price_list_id, content, source_name="", by=None, now=NOW)
    for key, sku, taxable in (("guard/rail", "GR-8", True), ("guard/post", "GP-1", True),
                              ("service/roofer-post", "RF-P", False)):
        create_record(Material, {"item_key": key, "sku": sku, "supplier": scenario.version.price_list.supplier,
                                 "taxable": taxable}, by=None, now=NOW)
    create_record(ProductionRate, {
        "task": "hang-rails", "unit": "LF", "low": Decimal("0.1"), "typical": Decimal("0.15"), "high": Decimal("0.25"),
        "source": "three jobs", "valid_from": date(2026, 1, 1)}, by=None, now=NOW)
    return price_lists.approve_version(staged.pk, by=None, now=NOW)


def in_force(name, kind, unit, content, day=date(2026, 1, 1)):
    recipe, _ = Recipe.objects.get_or_create(name=name)
    row = draft_version(recipe.pk, {"kind": kind, "unit": unit, "content": content}, by=None, now=NOW)
    return put_in_force(row, valid_from=day, by=None, now=NOW)


@pytest.fixture
def guard(db):
    return in_force("Cedar guard", "guard", "LF", GUARD)


def along(guard, *sides, **more):
    return {"recipe": guard.recipe_id, "quantities": [{"measure": "sides", "of": list(sides)}], **more}


@pytest.fixture
def bare(scenario, version):
    return drafts.draft_quote(scenario.job.pk, scenario.framing.pk, version_ids=[version.pk], by=None, now=NOW)


@pytest.fixture
def guarded(bare, guard):
    return drafts.reprice_quote(bare.pk, recipes=[along(guard, "B-C")], by=None, now=NOW)


def net(quote):
    return Decimal(quote.estimate["chain"]["net"])


def test_a_guard_along_a_side_of_the_demo_adds_what_was_worked_by_hand(bare, guarded):
    # The deck's corners at B and C lie 5.285850 and 154.367117 in apart: 154.46 in, 12.871667 ft.
    lines = {line.item: line for line in guarded.lines.all()}
    rail, post, roofer, hang = (lines[key] for key in ("guard/rail", "guard/post", "service/roofer-post", "hang-rails"))
    assert (rail.came_from["net"], rail.came_from["waste"]) == ("25.743333", "2.574334")  # a tenth more
    assert (rail.quantity, rail.cost) == (4, Decimal("85.60"))  # 28.317667 ft in sticks of 8
    assert (post.quantity, post.cost) == (4, Decimal("113.40"))  # 154.46 over 72 is 3 bays; and the end
    assert (roofer.quantity, roofer.cost, roofer.allowance, roofer.kind) == (4, Decimal("740.00"), True, "service")
    assert hang.quantity == Decimal("1.93") and hang.group == rail.group == "Guards"  # 12.871667 x 0.15
    hours = Decimal(guarded.estimate["hours"]) - Decimal(bare.estimate["hours"])
    assert hours in (Decimal("1.9"), Decimal("2.0"))  # rounded once, with all other hours
    labor = hours * Decimal(bare.estimate["crew_rate"])
    assert abs(net(guarded) - net(bare) - Decimal("939.00") - labor) <= Decimal("0.01")
    assert rail.price == Price.objects.get(sku="GR-8", list_version__number=2)


def test_a_quote_says_how_its_recipes_were_counted(guarded, guard):
    told, = guarded.estimate["recipes"]
    assert (told["version"], told["quantity"], told["unit"], told["posts"]) == (guard.pk, "12.871667", "LF", 4)
    assert told["basis"] == "sides: deck's outline along B-C 154.46 in, 154.46 in"


def test_hours_of_recipes_do_not_count_twice_in_the_spread(bare, guarded):
    before, after = bare.estimate["spread"]["direct"], guarded.estimate["spread"]["direct"]
    more = Decimal(guarded.estimate["chain"]["direct"]) - Decimal(bare.estimate["chain"]["direct"])
    # every trial costs what the recipe adds, hours rounded to a tenth apart
    for part in ("p10", "p50", "p90"):
        assert abs(Decimal(after[part]) - Decimal(before[part]) - more) < Decimal("5.00")


def test_a_later_version_of_a_recipe_changes_no_quote_until_it_is_asked_for(guarded, guard):
    dearer = {**GUARD, "items": [{**GUARD["items"][0], "quantity": "3"}]}
    later = in_force("Cedar guard", "guard", "LF", dearer)
    same = drafts.reprice_quote(guarded.pk, by=None, now=NOW)
    assert same.price == guarded.price and same.recipes[0]["version"] == guard.pk
    named = drafts.reprice_quote(guarded.pk, recipes=[along(guard, "B-C", version=guard.pk)], by=None, now=NOW)
    assert named.price == guarded.price
    asked = drafts.reprice_quote(guarded.pk, recipes=[along(guard, "B-C")], by=None, now=NOW)
    assert asked.recipes[0]["version"] == later.pk and asked.price != guarded.price


def test_a_draft_or_a_recipe_put_away_or_of_another_day_is_not_taken(bare, guard):
    later = in_force("Screen", "general", "LF", {"items": []}, date(2026, 6, 1))
    draft = draft_version(guard.recipe_id, {"kind": "guard", "unit": "LF", "content": GUARD}, by=None, now=NOW)
    for use in (along(later, "B-C"), along(guard, "B-C", version=draft.pk), along(later, "B-C", version=guard.pk)):
        with pytest.raises(NotInForce):
            drafts.reprice_quote(bare.pk, recipes=[use], by=None, now=NOW)
    Recipe.objects.filter(pk=guard.recipe_id).update(active=False)
    with pytest.raises(NotInForce, match="not active"):
        drafts.reprice_quote(bare.pk, recipes=[along(guard, "B-C")], by=None, now=NOW)
    assert Quote.objects.get(pk=bare.pk).recipes == []


def test_a_revision_keeps_recipe_versions_measures_and_notes_and_its_hash(scenario, bare, guard):
    planter = in_force("Cedar trough", "planter", "EA", PLANTER)
    quote = drafts.reprice_quote(bare.pk, by=None, now=NOW, recipes=[
        along(guard, "B-C", "C-D"), {"recipe": planter.recipe_id, "quantities": [{"typed": "3", "unit": "EA"}]}])
    revision = Revision.objects.get(pk=revisions.issue_revision(quote.pk, why="asked for again", by=None, now=NOW).pk)
    snapshot = revision.document
    first, second = snapshot["recipes"]
    assert (first["version"], first["number"], first["content"]) == (guard.pk, 1, GUARD)
    assert first["quantities"] == [{"measure": "sides", "of": ["B-C", "C-D"]}]
    assert second["kind"] == "planter" and second["quantities"] == [{"typed": "3", "unit": "EA"}]
    told = snapshot["estimate"]["recipes"]
    assert [recipe["posts"] for recipe in told] == [3 + 4 + 1, 0] and "C-D 268.59 in" in told[0]["basis"]
    by_key = {note["key"]: note for note in snapshot["notes"]}
    assert by_key["guard-priced"]["decided_by"] == "building department and structural engineer"
    assert by_key["planter-load"]["acknowledge"] and by_key["planter-load"]["value"] == 75
    assert by_key["recipe"]["text"] == "Soil and plants."
    allowed = [note["text"] for note in snapshot["notes"] if note["key"] == "allowance"]
    assert any("Flashing of a post: $1,480.00" in text for text in allowed)  # 8 x 185
    assert snapshots.is_intact(revision)
    assert Decimal(snapshot["estimate"]["chain"]["net"]) == sum(line.cost for line in revision.lines.all())
    for words in ("In the price besides: Cedar guard (35.25 ft) and Cedar trough (3 pieces).", "Posts and rails",
                  "person-hours of other work come on top", "1,800 lb when saturated", "Soil and plants."):
        assert words in revision.proposal_html, words
    in_force("Cedar guard", "guard", "LF", {**GUARD, "items": []})
    assert snapshots.is_intact(Revision.objects.get(pk=revision.pk))


def test_the_note_that_no_guard_is_priced_goes_once_one_is(scenario, bare, guard):
    def guards(quote):
        revision = revisions.issue_revision(quote.pk, why="asked for again", by=None, now=NOW)
        return [note["text"] for note in revision.document["notes"] if note["key"] == "guards"]

    assert all("no guard is part of this price" in text for text in guards(bare)) and guards(bare)
    quote = drafts.reprice_quote(bare.pk, recipes=[along(guard, "B-C")], by=None, now=NOW)
    assert guards(quote) and not any("no guard is part" in text for text in guards(quote))


def test_what_recipes_take_stands_on_the_material_list_without_a_weight_of_the_framings(guarded):
    revision = revisions.issue_revision(guarded.pk, why="asked for again", by=None, now=NOW)
    rows = [row.split(",") for row in material_list(revision.document).decode().splitlines()]
    rail = next(row for row in rows if "guard/rail" in row)
    assert (rail[1], Decimal(rail[3]), rail[4]) == ("GR-8", 4, "EA")
    assert rail[-2:] == ["", ""]


def test_a_recipe_that_takes_something_without_a_price_is_told_and_not_issued(scenario, bare):
    thing = {**GUARD["items"][1], "item": "guard/gate", "per": "unit"}
    gate = in_force("Gate", "general", "EA", {"items": [thing]})
    quote = drafts.reprice_quote(bare.pk, by=None, now=NOW, recipes=[
        {"recipe": gate.recipe_id, "quantities": [{"typed": "1"}]}])
    assert quote.price is None
    assert [(f["code"], f["about"]) for f in quote.estimate["findings"]] == [("no-price", "guard/gate")]
    with pytest.raises(drafts.QuoteBlocked, match="guard/gate"):
        revisions.issue_revision(quote.pk, why="asked for again", by=None, now=NOW)


def test_extras_and_recipes_stand_side_by_side(bare, guard):
    quote = drafts.reprice_quote(bare.pk, by=None, now=NOW, recipes=[along(guard, "B-C"), along(guard, "D-A")],
                                    extras=[drafts.Extra("service/delivery", Decimal(1), "LS", "one drop")])
    lines = list(quote.lines.all())
    assert quote.price and sum(line.cost for line in lines) == net(quote)
    assert sum(line.item == "guard/rail" for line in lines) == 2
    assert next(line for line in lines if line.item == "service/delivery").came_from["framing"] == "extras/0"


# Over HTTP

API = "/api/v1/quotes"


def test_a_quote_is_made_with_recipes_over_http_and_they_are_told_again(api, scenario, version, guard):
    body = {"job": scenario.job.pk, "framing": scenario.framing.pk, "price_list_versions": [version.pk],
            "priced_on": "2026-03-16", "recipes": [along(guard, "C-B", corners=1)]}
    made = api.post(API, body, format="json")
    assert made.status_code == 201, made.content
    said = made.json()
    assert said["recipes"] == [{"recipe": guard.recipe_id, "version": guard.pk, "corners": 1,
                                "quantities": [{"measure": "sides", "of": ["C-B"]}]}]
    assert said["estimate"]["recipes"][0]["posts"] == 5 and said["price"]
    path = made["Location"]
    kept = api.patch(path, {}, format="json", HTTP_IF_MATCH=made["ETag"])
    assert kept.json()["price"] == said["price"] and kept.json()["recipes"] == said["recipes"]
    gone = api.patch(path, {"recipes": []}, format="json", HTTP_IF_MATCH=kept["ETag"])
    assert gone.json()["recipes"] == [] and gone.json()["price"] < said["price"]


TYPED = {"typed": "12.5", "unit": "LF"}


@pytest.mark.parametrize(("change", "at"), [
    ({"recipe": 99_999}, "/recipes/0/recipe"), ({"version": 99_999}, "/recipes/0/version"),
    ({"version": "x"}, "/recipes/0/version"), ({"corners": -1}, "/recipes/0/corners"), ({"hue": 1}, "/recipes/0/hue"),
    ({"quantities": []}, "/recipes/0/quantities"), ({"quantities": [{}]}, "/recipes/0/quantities/0/typed"),
    ({"quantities": [{**TYPED, "measure": "pads"}]}, "/recipes/0/quantities/0/typed"),
    ({"quantities": [{**TYPED, "typed": "0"}]}, "/recipes/0/quantities/0/typed"),
    ({"quantities": [{**TYPED, "typed": "NaN"}]}, "/recipes/0/quantities/0/typed"),
    ({"quantities": [{**TYPED, "unit": "LFT"}]}, "/recipes/0/quantities/0/unit"),
    ({"quantities": [{**TYPED, "of": ["B-C"]}]}, "/recipes/0/quantities/0/of"),
    ({"quantities": [{"measure": "height"}]}, "/recipes/0/quantities/0/measure"),
    ({"quantities": [{"measure": "sides"}]}, "/recipes/0/quantities/0/of"),
    ({"quantities": [{"measure": "sides", "of": ["B-C", "B-Z"]}]}, "/recipes/0/quantities/0/of"),
    ({"quantities": [{"measure": "sides-against", "of": ["wall"]}]}, "/recipes/0/quantities/0/of"),
    ({"quantities": [{"measure": "pads", "unit": "EA"}]}, "/recipes/0/quantities/0/unit"),
])  # fmt: skip
def test_a_recipe_that_cannot_be_is_refused_in_its_place_and_no_quote_is_made(api, scenario, guard, change, at):
    before = Quote.objects.count()
    body = {"job": scenario.job.pk, "framing": scenario.framing.pk, "recipes": [{**along(guard, "B-C"), **change}]}
    answer = api.post(API, body, format="json")
    assert answer.status_code == 422, answer.content
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [at]
    assert Quote.objects.count() == before
