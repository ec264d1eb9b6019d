"""Tests of recipes over HTTP: drafts, putting in force, what is refused and where, and quotes that take them."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.db import DatabaseError, connection, transaction

from estimating.api.recipes import SECTIONS
from estimating.models import History, Recipe, RecipeVersion
from estimating.models.base import RecordIsFinal
from estimating.recipes import chosen_versions, draft_version, put_in_force, versions_on
from quotes import notes

pytestmark = pytest.mark.django_db
API = "/api/v1/recipes"
NOW = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
RAIL = {"item": "guard/rail", "quantity": "2", "unit": "LF", "waste": "0.1", "pack": "8", "order_unit": "EA"}
TASK = {"task": "set-posts", "unit": "EA", "per": "post", "low": "0.5", "typical": "0.75", "high": "1.25"}
NOTE = {"section": "assumption", "text": "{quantity} {unit} of guard.", "basis": "scope", "source": "office",
        "decided_by": "owner"}
GUARD = {"kind": "guard", "unit": "LF", "part": "Guards", "items": [RAIL], "labor": [TASK], "notes": [NOTE],
         "posts": {"spacing": "72", "item": "service/roofer-post"}}
LOAD = {"saturated_weight": "600", "footprint": "8", "source": "weighed"}


@pytest.fixture
def desk(estimator, as_user):
    return as_user(estimator)


@pytest.fixture
def recipe(desk) -> int:
    made = desk.post(API, {"name": "Cedar guard"})
    assert made.status_code == 201
    return made.json()["id"]


def draft(desk, recipe, body=GUARD, **headers):
    return desk.post(f"{API}/{recipe}/versions", body, format="json", **headers)


def in_force(desk, recipe, body=GUARD, day="2026-01-01") -> dict:
    made = draft(desk, recipe, body)
    assert made.status_code == 201, made.content
    done = desk.post(f"{made['Location']}/put-in-force", {"valid_from": day}, HTTP_IF_MATCH=made["ETag"])
    assert done.status_code == 200, done.content
    return done.json()


def test_a_draft_is_written_changed_put_in_force_and_then_stays(desk, recipe):
    made = draft(desk, recipe)
    said = made.json()
    assert (said["number"], said["in_force_from"]) == (None, None)
    assert said["items"][0]["waste"] == "0.100000" and said["items"][0]["waste_as"] == "added-on"
    where = made["Location"]
    assert desk.put(where, {**GUARD, "part": "Edge"}, format="json").status_code == 428
    changed = desk.put(where, {**GUARD, "part": "Edge"}, format="json", HTTP_IF_MATCH=made["ETag"])
    assert changed.status_code == 200 and changed.json()["part"] == "Edge"
    stale = desk.post(f"{where}/put-in-force", {"valid_from": "2026-03-01"}, HTTP_IF_MATCH=made["ETag"])
    assert stale.status_code == 412
    done = desk.post(f"{where}/put-in-force", {"valid_from": "2026-03-01"}, HTTP_IF_MATCH=changed["ETag"])
    assert done.status_code == 200 and done.json()["number"] == 1 and done.json()["in_force_from"] == "2026-03-01"
    final = {"HTTP_IF_MATCH": done["ETag"]}
    assert desk.put(where, GUARD, format="json", **final).status_code == 409
    assert desk.delete(where, **final).status_code == 409
    assert desk.post(f"{where}/put-in-force", {"valid_from": "2026-04-01"}, **final).status_code == 409
    assert desk.get(where).json()["part"] == "Edge"
    assert [row.action for row in History.objects.filter(subject="recipe-version")] == [
        "create", "change", "put-in-force"]


def test_a_draft_is_dropped_and_a_recipe_with_versions_is_not_deleted(desk, recipe):
    made = draft(desk, recipe)
    own = desk.get(f"{API}/{recipe}")
    assert desk.delete(f"{API}/{recipe}", HTTP_IF_MATCH=own["ETag"]).status_code == 409
    assert desk.delete(made["Location"], HTTP_IF_MATCH=made["ETag"]).status_code == 204
    assert desk.delete(f"{API}/{recipe}", HTTP_IF_MATCH=own["ETag"]).status_code == 204
    assert not Recipe.objects.exists() and not RecipeVersion.objects.exists()


def test_a_retry_with_the_same_key_writes_one_draft(desk, recipe):
    first = draft(desk, recipe, HTTP_IDEMPOTENCY_KEY="k")
    assert draft(desk, recipe, HTTP_IDEMPOTENCY_KEY="k").json() == first.json()
    assert RecipeVersion.objects.count() == 1


def test_the_version_of_a_day_is_the_last_that_began_and_of_those_the_one_put_in_force_last(desk, recipe):
    ids = [in_force(desk, recipe, day=day)["id"] for day in ("2026-01-01", "2026-06-01", "2026-03-01", "2026-03-01")]
    def on(month: int) -> int:
        return versions_on([recipe], date(2026, month, 1))[recipe].pk

    assert versions_on([recipe], date(2025, 12, 31)) == {}
    assert [on(1), on(3), on(6)] == [ids[0], ids[3], ids[1]]
    assert chosen_versions([(recipe, ids[0])], date(2026, 6, 1))[recipe, ids[0]].number == 1


def test_recipes_are_listed_with_the_version_in_force_and_as_many_queries_as_for_one(
    desk, recipe, django_assert_max_num_queries
):
    version = in_force(desk, recipe)["id"]
    for number in range(20):
        in_force(desk, desk.post(API, {"name": f"Screen {number}"}).json()["id"], day="2199-01-01")
    with django_assert_max_num_queries(8):
        rows = desk.get(API, {"limit": 50}).json()["results"]
    assert rows[0]["in_force"] == version and {row["in_force"] for row in rows[1:]} == {None} and len(rows) == 21


def test_who_may(recipe, reader, crew, stranger, as_user):
    path = f"{API}/{recipe}/versions"
    assert as_user(reader).get(path).status_code == 200
    assert as_user(reader).post(path, GUARD, format="json").status_code == 403
    assert as_user(crew).get(path).status_code == 403
    assert stranger.get(path).status_code == 401


def without(name):
    return {key: value for key, value in GUARD.items() if key != name}


@pytest.mark.parametrize(("body", "at"), [
    ({**GUARD, "kind": "handrail"}, "/kind"), ({**GUARD, "unit": "LFT"}, "/unit"), ({**GUARD, "colour": 1}, "/colour"),
    (without("posts"), "/posts"), ({**GUARD, "unit": "EA"}, "/unit"), ({**GUARD, "load": LOAD}, "/load"),
    ({**without("posts"), "kind": "planter", "labor": []}, "/load"), ({**GUARD, "kind": "general"}, "/posts"),
    ({**without("posts"), "kind": "general"}, "/posts"),  # a task by the post
    ({**without("posts"), "kind": "general", "items": [], "labor": []}, "/items"),
    ({**GUARD, "posts": {"spacing": "72"}}, "/posts/item"), ({**GUARD, "posts": {"spacing": "0", "item": "x"}},
                                                             "/posts/spacing"),
    ({**GUARD, "posts": {"spacing": "72", "item": "x", "through_membrane": False}}, "/posts/item"),
    ({**GUARD, "items": [{**RAIL, "item": "guard/*"}]}, "/items/0/item"),
    ({**GUARD, "items": [{**RAIL, "quantity": "-1"}]}, "/items/0/quantity"),
    ({**GUARD, "items": [{**RAIL, "quantity": "NaN"}]}, "/items/0/quantity"),
    ({**GUARD, "items": [{**RAIL, "waste": "1"}]}, "/items/0/waste"),
    ({**GUARD, "items": [{**RAIL, "waste_as": "more"}]}, "/items/0/waste_as"),
    ({**GUARD, "items": [{key: value for key, value in RAIL.items() if key != "order_unit"}]}, "/items/0/order_unit"),
    ({**GUARD, "labor": [{**TASK, "low": "0.8"}]}, "/labor/0/typical"),
    ({**GUARD, "labor": [{"task": "set-posts", "unit": "EA", "typical": "1"}]}, "/labor/0/typical"),
    ({**GUARD, "labor": [{**TASK, "task": "Set posts"}]}, "/labor/0/task"),
    ({**GUARD, "notes": [{**NOTE, "text": "This guard complies with the code."}]}, "/notes/0/text"),
    ({**GUARD, "notes": [{**NOTE, "text": "{price} of guard"}]}, "/notes/0/text"),
    ({**GUARD, "notes": [{**NOTE, "text": "{quantity.real}"}]}, "/notes/0/text"),
    ({**GUARD, "notes": [{**NOTE, "text": "{quantity"}]}, "/notes/0/text"),
    ({**GUARD, "notes": [{**NOTE, "source": ""}]}, "/notes/0/source"),
    ({**GUARD, "notes": [{**NOTE, "section": "promise"}]}, "/notes/0/section"),
    ({**GUARD, "items": "rail"}, "/items"), ({**GUARD, "items": [RAIL] * 201}, "/items"),
])  # fmt: skip
def test_what_no_recipe_can_be_is_refused_in_its_place_and_nothing_is_kept(desk, recipe, body, at):
    answer = draft(desk, recipe, body)
    assert answer.status_code == 422, answer.content
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [at]
    assert all(fault["expected"] for fault in answer.json()["errors"])
    assert not RecipeVersion.objects.exists()


@pytest.mark.parametrize("body", ["[]", "no json", '{"kind": "guard", "kind": "guard"}', '{"posts": []}', "null"])
def test_a_body_that_is_none_is_refused_and_never_a_defect(desk, recipe, body):
    answer = desk.generic("POST", f"{API}/{recipe}/versions", body, content_type="application/json")
    assert answer.status_code in (400, 422), answer.content


@pytest.mark.parametrize("path", ["1/versions/99999999999999999999", "99999999999999999999/versions", "x/versions",
                                  "99999999/versions"])
def test_an_address_that_leads_nowhere_is_not_found(desk, path):
    assert desk.get(f"{API}/{path}").status_code == 404


def test_the_sections_of_a_note_are_those_of_the_proposal():
    assert SECTIONS == notes.SECTIONS


def test_a_version_in_force_is_changed_neither_by_the_model_nor_a_queryset_nor_sql():
    row = draft_version(Recipe.objects.create(name="Screen").pk,
                        {"kind": "general", "unit": "LF", "content": {"items": []}}, by=None, now=NOW)
    row.unit = "FTK"
    row.save()  # a draft may still change
    row = put_in_force(row, valid_from=date(2026, 3, 1), by=None, now=NOW)
    row.unit = "EA"
    with pytest.raises(RecordIsFinal):
        row.save()
    with pytest.raises(RecordIsFinal):
        row.delete()
    rows = RecipeVersion.objects.filter(pk=row.pk)
    for change in ({"unit": "EA"}, {"content": {}}, {"in_force_from": date(2020, 1, 1)},
                   {"number": None, "in_force_from": None, "put_in_force_at": None}):
        with pytest.raises(DatabaseError, match="is final"), transaction.atomic():
            rows.update(**change)
    for statement in ("UPDATE estimating_recipeversion SET content = '{}'", "DELETE FROM estimating_recipeversion"):
        with pytest.raises(DatabaseError, match="is final"), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)
    assert rows.get().unit == "FTK" and rows.get().content == {"items": []}


def test_numbers_of_a_recipe_are_kept_as_text_and_come_back_exact(desk, recipe):
    quantity = "1234567.123456"
    made = draft(desk, recipe, {**GUARD, "items": [{**RAIL, "quantity": quantity}]}).json()
    kept = RecipeVersion.objects.get(pk=made["id"]).content["items"][0]["quantity"]
    assert kept == quantity == made["items"][0]["quantity"] and Decimal(kept) == Decimal(quantity)
