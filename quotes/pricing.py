"""What the office's records say about a day, as the estimate takes it: prices, labor and production rates, the crew,
recipes."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

from estimating.models import PriceListVersion, RecipeVersion
from estimating.price_book import ItemPrice, price_items
from estimating.rates import crew_mix_on, labor_rates_on
from estimating.recipes import production_rates_of
from quotes.estimate import Finding, LaborRate, Missing, Price
from quotes.recipe_lines import Rate, Use


def prices_on(items: Iterable[str], on: date, versions: Collection[PriceListVersion]) -> dict[str, Price | Missing]:
    """The price of every item key on a day in these versions, or why it has none."""
    return {
        item: _price(found) if isinstance(found, ItemPrice) else Missing(str(found).rstrip("."))
        for item, found in price_items(items, on, versions).items()
    }


def rates_on(on: date) -> list[LaborRate]:
    """Of every grade the rate that holds on a day."""
    return [LaborRate(row.grade, row.rate, row.crew_count, row.pk, row.valid_from) for row in labor_rates_on(on)]


def crew_on(on: date, mix: str = "") -> tuple[list[LaborRate], dict[str, Any] | None, list[Finding]]:
    """The crew of a day: rates with the counts of the mix of that name, what the mix is, and what it lacks.

    Without a name each rate's own count makes the usual crew.
    """
    rates = rates_on(on)
    if not mix:
        return rates, None, []
    row = crew_mix_on(mix, on)
    if row is None:
        return rates, None, [Finding("no-crew-mix", mix, f"There is no crew mix {mix} on {on}; enter one or take "
                                                         "another.")]
    counts = {entry["grade"]: Decimal(entry["count"]) for entry in row.counts}
    lacking = [Finding("no-labor-rate", grade, f"The crew mix {mix} has a {grade}, and no labor rate of that grade "
                                               f"holds on {on}.")
               for grade in counts.keys() - {rate.grade for rate in rates}]
    told = {"id": row.pk, "name": row.name, "counts": row.counts, "valid_from": row.valid_from.isoformat()}
    return [replace(rate, count=counts.get(rate.grade, Decimal(0))) for rate in rates], told, lacking


def production_rates_on(on: date, tasks: Collection[str]) -> dict[str, Rate]:
    """Of each task the office's production rate that holds on a day."""
    return {task: Rate(row.low, row.typical, row.high, row.unit, f"{row.source} (office, from {row.valid_from})")
            for task, row in production_rates_of(tasks, on).items()} if tasks else {}


def uses_of(recipes: Sequence[Mapping[str, Any]]) -> list[Use]:
    """The recipes that a quote keeps, each with what its version says."""
    if not recipes:
        return []
    versions = RecipeVersion.objects.select_related("recipe").in_bulk([recipe["version"] for recipe in recipes])
    found = []
    for recipe in recipes:
        row = versions[recipe["version"]]
        found.append(Use(row.recipe_id, row.recipe.name, row.pk, row.number, row.kind, row.unit, row.content,
                         recipe["quantities"], recipe["corners"]))
    return found


def _price(found: ItemPrice) -> Price:
    row, price_list = found.price, found.version.price_list
    return Price(
        sku=row.sku, description=found.material.description or row.description, amount=row.landed, unit=row.unit,
        currency=row.currency, base_unit=row.base_unit, pack_quantity=row.pack_quantity, piece=found.piece,
        taxable=found.material.taxable, basis=row.basis, supplier=price_list.supplier.name, price_id=row.pk,
        list_name=price_list.name, list_version=found.version.number, valid_from=row.valid_from, valid_to=row.valid_to,
    )
