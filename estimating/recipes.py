"""Recipes of the office: drafts of a version, putting one in force from a date, and which holds on a day."""

from collections.abc import Collection, Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Max

from estimating.models import ProductionRate, Recipe, RecipeVersion, User
from estimating.records import change_record, create_record, delete_record
from estimating.service.history import note
from estimating.service.problems import refusal


@refusal(409)
class InForce(Exception):
    """A version that is in force stays as it is."""


@refusal(409)
class NotInForce(Exception):
    """No version of a recipe that a quote may take is in force on the day."""


def draft_version(recipe_id: int, values: Mapping[str, Any], *, by: User | None, now: datetime) -> RecipeVersion:
    """Write a draft: `values` are `kind`, `unit` and `content`. A draft changes no quote."""
    with transaction.atomic():
        recipe = Recipe.objects.select_for_update().get(pk=recipe_id)
        return create_record(RecipeVersion, {"recipe": recipe, **values}, by=by, now=now)


def rewrite_draft(version: RecipeVersion, values: Mapping[str, Any], *, by: User | None, now: datetime
                  ) -> RecipeVersion:
    """Put other `values` into a draft that the caller has locked. Raises InForce."""
    _draft(version)
    return change_record(version, values, by=by, now=now)


def drop_draft(version: RecipeVersion, *, by: User | None, now: datetime) -> None:
    """Delete a draft that the caller has locked. Raises InForce."""
    _draft(version)
    delete_record(version, by=by, now=now)


def put_in_force(version: RecipeVersion, *, valid_from: date, by: User | None, now: datetime) -> RecipeVersion:
    """Make a locked draft the recipe's next version, in force from a day on; it never changes again. Raises InForce.

    Quotes that were made with another version keep theirs.
    """
    _draft(version)
    with transaction.atomic():
        recipe = Recipe.objects.select_for_update().get(pk=version.recipe_id)
        version.number = (recipe.versions.aggregate(most=Max("number"))["most"] or 0) + 1
        version.in_force_from, version.put_in_force_at, version.put_in_force_by = valid_from, now, by
        version.save()
        note(version, "put-in-force", {"number": [None, version.number], "from": [None, valid_from.isoformat()]},
             by=by, now=now)
    return version


def versions_on(recipe_ids: Collection[int], on: date) -> dict[int, RecipeVersion]:
    """Of each recipe the version that is in force on a day: the one put in force last of those that began last."""
    rows = RecipeVersion.objects.filter(recipe__in=recipe_ids, number__isnull=False, in_force_from__lte=on)
    return {row.recipe_id: row for row in rows.select_related("recipe").order_by("in_force_from", "number")}


Chosen = tuple[int, int | None]  # recipe, version


def chosen_versions(chosen: Collection[Chosen], on: date) -> dict[Chosen, RecipeVersion]:
    """The version for each (recipe, version or None for the one in force on a day).

    Raises NotInForce for a recipe that is not active, a draft, a version of another recipe, or where none holds.
    """
    named = RecipeVersion.objects.select_related("recipe").in_bulk([version for _, version in chosen if version])
    current = versions_on([recipe for recipe, version in chosen if version is None], on)
    recipes = Recipe.objects.in_bulk([recipe for recipe, _ in chosen])
    found = {}
    for recipe_id, version_id in chosen:
        recipe = recipes.get(recipe_id)
        version = named.get(version_id) if version_id else current.get(recipe_id)
        if recipe is None or not recipe.active:
            raise NotInForce(f"Recipe {recipe or recipe_id} is not active; take another or make it active again.")
        if version is None or version.recipe_id != recipe_id or version.number is None:
            what = f"version {version_id} of {recipe} is not in force" if version_id else \
                f"no version of {recipe} is in force on {on}"
            raise NotInForce(f"{what[0].upper()}{what[1:]}; put one in force first.")
        found[recipe_id, version_id] = version
    return found


def production_rates_of(tasks: Collection[str], on: date) -> dict[str, ProductionRate]:
    """Of each task the office's production rate that holds on a day."""
    rows = ProductionRate.objects.filter(task__in=tasks, valid_from__lte=on).order_by("valid_from", "id")
    return {row.task: row for row in rows}


def _draft(version: RecipeVersion) -> None:
    if version.number is not None:
        raise InForce(f"{version} is in force since {version.in_force_from}; write a new version.")
