"""What the office's records say about a day, as the estimate takes it: prices, labor rates."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import date

from estimating.models import PriceListVersion
from estimating.price_book import ItemPrice, price_items
from estimating.rates import labor_rates_on
from quotes.estimate import LaborRate, Missing, Price


def prices_on(items: Iterable[str], on: date, versions: Collection[PriceListVersion]) -> dict[str, Price | Missing]:
    """The price of every item key on a day in these versions, or why it has none."""
    return {
        item: _price(found) if isinstance(found, ItemPrice) else Missing(str(found).rstrip("."))
        for item, found in price_items(items, on, versions).items()
    }


def rates_on(on: date) -> list[LaborRate]:
    """Of every grade the rate that holds on a day."""
    return [LaborRate(row.grade, row.rate, row.crew_count, row.pk, row.valid_from) for row in labor_rates_on(on)]


def _price(found: ItemPrice) -> Price:
    row, price_list = found.price, found.version.price_list
    return Price(
        sku=row.sku, description=found.material.description or row.description, amount=row.price, unit=row.unit,
        currency=row.currency, base_unit=row.base_unit, pack_quantity=row.pack_quantity, piece=found.piece,
        taxable=found.material.taxable, basis=row.basis, supplier=price_list.supplier.name, price_id=row.pk,
        list_name=price_list.name, list_version=found.version.number, valid_from=row.valid_from, valid_to=row.valid_to,
    )
