"""What the office's records say about a day: prices of a list, labor rates, and the terms of a price."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from estimating import money, price_lists, units
from estimating.models import LaborRate as LaborRateRow
from estimating.models import Material, Office, PriceListVersion
from estimating.models import Price as PriceRow
from quotes.estimate import LaborRate, Missing, Price


def prices_for(items: Iterable[str], version: PriceListVersion, on: date) -> dict[str, Price | Missing]:
    """The price of every item key on a day in one version of a list, or why it has none. Three queries, however many."""
    supplier = version.price_list.supplier
    materials = list(Material.objects.filter(active=True).select_related("supplier"))
    chosen = {item: material_for(item, materials) for item in items}
    skus = {material.sku for material in chosen.values() if material and material.supplier_id == supplier.pk}
    rows: dict[str, list[PriceRow]] = {sku: [] for sku in skus}
    for row in version.prices.filter(sku__in=skus):
        rows[row.sku].append(row)
    missing = [sku for sku, found in rows.items() if not found]
    rejected = {sku: list(version.rejected_of(sku)) for sku in missing}

    def price(item: str, material: Material | None) -> Price | Missing:
        if material is None:
            return Missing("no material of the office stands behind it")
        if material.supplier_id != supplier.pk:
            return Missing(f"it is bought from {material.supplier} as {material.sku}, and the list is {version}")
        try:
            row = price_lists.choose(rows[material.sku], rejected.get(material.sku, []), material.sku, on, str(version))
        except price_lists.NoPrice as reason:
            return Missing(str(reason).rstrip("."))
        return Price(
            sku=row.sku, description=material.description or row.description, amount=row.price, unit=row.unit,
            currency=row.currency, base_unit=row.base_unit, pack_quantity=row.pack_quantity,
            piece=piece_of(item, material), taxable=material.taxable, basis=row.basis, supplier=supplier.name,
            price_id=row.pk, list_name=version.price_list.name, list_version=version.number,
            valid_from=row.valid_from, valid_to=row.valid_to,
        )

    return {item: price(item, material) for item, material in chosen.items()}


def material_for(item: str, materials: Iterable[Material]) -> Material | None:
    """The material that an item key is bought as: of the keys that fit, the one with fewest stars, then the first."""
    fitting = [material for material in materials if _fits(material.item_key, item)]
    return min(fitting, key=lambda material: (material.item_key.split("/").count("*"), material.pk), default=None)


def _fits(pattern: str, item: str) -> bool:
    """Whether `item` is of `pattern`, in which a segment `*` stands for any one segment."""
    wanted, given = pattern.split("/"), item.split("/")
    return len(wanted) == len(given) and all(w in ("*", g) for w, g in zip(wanted, given, strict=True))


def piece_of(item: str, material: Material) -> units.Piece | None:
    """One piece of it: its length is the material's, else the last segment of the key where that is a number. [in]"""
    last = item.rsplit("/", 1)[-1]
    length = material.length or (Decimal(last) if last.isascii() and last.replace(".", "", 1).isdigit() else None)
    return units.Piece(length, material.thickness, material.width) if length else None


def rates_on(on: date) -> list[LaborRate]:
    """The labor rate of every grade that holds on a day: of each grade the one that began last."""
    latest: dict[str, LaborRateRow] = {}
    for row in LaborRateRow.objects.filter(valid_from__lte=on).order_by("valid_from", "pk"):
        latest[row.grade] = row
    return [LaborRate(row.grade, row.rate, row.crew_count, row.pk, row.valid_from) for row in latest.values()]


def terms_of(office: Office) -> money.Terms:
    """How the office goes from cost to price."""
    basis: money.Basis = "compound" if office.chain == Office.Chain.COMPOUND else "direct"
    return money.Terms(
        contingency=office.contingency_rate, overhead=office.overhead_rate, profit=office.profit_rate,
        tax_rate=office.tax_rate, tax_place=office.tax_place, overhead_on=basis, profit_on=basis,
    )


def schedule_of(office: Office) -> list[tuple[Decimal, str]]:
    """The office's progress payments: share and milestone."""
    return [(Decimal(str(row["share"])), str(row["milestone"])) for row in office.payment_schedule]
