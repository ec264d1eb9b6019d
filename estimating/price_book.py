"""What the item keys of a framing cost on a day: key -> the office's material -> the supplier's price."""

import re
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Q

from estimating import units
from estimating.models import Material, Price, PriceListVersion, RejectedPrice
from estimating.price_lists import NoPrice, choose


class Unmapped(NoPrice):
    """No material of the office stands behind an item key."""


class Ambiguous(NoPrice):
    """More than one material or price could be meant."""


@dataclass(frozen=True)
class ItemPrice:
    """The price of an item key on a day, and what one piece of it is where that is known."""

    item: str
    material: Material
    price: Price
    version: PriceListVersion
    piece: units.Piece | None

    @property
    def pack(self) -> units.Pack | None:
        """What one buying unit holds, where the supplier says so."""
        return self.price.pack


def versions_in_force() -> list[PriceListVersion]:
    """Of every price list the version approved last."""
    latest: dict[int, PriceListVersion] = {}
    approved = PriceListVersion.objects.filter(state=PriceListVersion.State.APPROVED)
    for version in approved.select_related("price_list__supplier").order_by("number"):
        latest[version.price_list_id] = version
    return list(latest.values())


def price_items(
    items: Iterable[str], on: date, versions: Collection[PriceListVersion] | None = None
) -> dict[str, ItemPrice | NoPrice]:
    """For each item key its price on a day, or the reason why it has none (an exception that is handed back).

    `versions` are those to look in, one a list; by default those in force. The number of queries does not grow with
    the number of items.
    """
    items = list(dict.fromkeys(items))
    versions = versions_in_force() if versions is None else list(versions)
    materials = list(Material.objects.filter(active=True).select_related("supplier"))
    found: dict[str, Material | NoPrice] = {item: _or_reason(find_material, item, materials) for item in items}
    skus = {material.sku for material in found.values() if isinstance(material, Material)}
    by_version = {version.pk: version for version in versions}
    prices: dict[tuple[int, str], list[Price]] = defaultdict(list)
    before: dict[tuple[int, str], Price] = {}
    # The version before each is asked along, so that what is gone can be told with the price that it had.
    earlier = Q(pk__in=[])
    for version in versions:
        earlier |= Q(list_version__price_list=version.price_list_id, list_version__number=(version.number or 0) - 1)
    asked = Price.objects.filter(Q(list_version__in=by_version) | earlier, sku__in=skus)
    for price in asked.select_related("list_version__price_list__supplier").order_by("valid_from"):
        if price.list_version_id in by_version:
            prices[price.list_version_id, price.sku].append(price)
        else:
            before[price.list_version.price_list_id, price.sku] = price
    rejected: dict[tuple[int, str], list[RejectedPrice]] = defaultdict(list)
    for row in RejectedPrice.objects.filter(list_version__in=by_version, sku__in=skus):
        rejected[row.list_version_id, row.sku].append(row)

    def price_of(item: str, material: Material) -> ItemPrice:
        held, reasons = [], []
        for version in versions:
            if version.price_list.supplier_id != material.supplier_id:
                continue
            key = version.pk, material.sku
            try:
                price = choose(
                    prices[key], rejected[key], material.sku, on, str(version), tier=version.price_list.tier,
                    unit=material.buying_unit, before=before.get((version.price_list_id, material.sku)),
                )  # fmt: skip
                held.append((price, version))
            except NoPrice as reason:
                reasons.append(reason)
        if len(held) > 1:
            where = " and ".join(str(version) for _, version in held)
            raise Ambiguous(f"{material.sku} has a price in {where}; expected one list")
        if not held:
            raise reasons[0] if reasons else NoPrice(f"{material.supplier} has no approved price list")
        price, version = held[0]
        return ItemPrice(item, material, price, version, material.piece_of(item))

    return {
        item: _or_reason(price_of, item, material) if isinstance(material, Material) else material
        for item, material in found.items()
    }


def find_material(item: str, materials: Iterable[Material]) -> Material:
    """The material behind an item key: of those whose key fits, the one with fewest stars, then with most letters.

    Raises Unmapped or Ambiguous.
    """
    fitting: dict[tuple[int, int], list[Material]] = defaultdict(list)
    for material in materials:
        if key_fits(material.item_key, item):
            fitting[material.item_key.count("*"), -len(material.item_key)].append(material)
    if not fitting:
        raise Unmapped(f"no material stands behind {item}; expected one whose item key is {item} or fits it with *")
    best = fitting[min(fitting)]
    if len(best) > 1:
        raise Ambiguous(f"{item} fits {' and '.join(material.item_key for material in best)}; expected one")
    return best[0]


def key_fits(pattern: str, item: str) -> bool:
    """Whether an item key is `pattern`, in which `*` stands for any text, slashes and all."""
    return re.fullmatch(".+".join(map(re.escape, pattern.split("*"))), item, re.DOTALL) is not None


def _or_reason(look_up, item: str, among):
    try:
        return look_up(item, among)
    except NoPrice as reason:
        return reason
