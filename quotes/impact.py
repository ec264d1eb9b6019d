"""What a version of a price list does to the quotes that are open: each line, each price, ranked; nothing is changed.

Quantities, hours, wages and terms stand as they were quoted, so that what is told is the prices' doing alone. Lines
that the supplier sells as before cost their quantity times the new price; where unit or pack changed, the line is
counted anew from what it was counted from.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db import transaction
from django.db.models import QuerySet

from estimating import money, units
from estimating.models import Job, PriceListVersion, User
from estimating.office import local_day, the_office
from estimating.service import runs
from estimating.service.history import note
from quotes.drafts import discount_of, terms_as_priced
from quotes.estimate import Missing, Price, chain_after, cost_of_row, each_costs
from quotes.models import PriceImpact, Quote, QuoteImpact, QuoteLine
from quotes.pricing import prices_on

OPEN = (Job.Status.LEAD, Job.Status.SURVEYED, Job.Status.QUOTED)  # whose price is not agreed yet
BATCH = 200  # quotes read at once; bounds memory

Report = Callable[[int, str], None]


@dataclass(frozen=True, slots=True)
class LineChange:
    """A line whose cost changes, or that has no price any more: then `after` is None and `reason` says why."""

    position: int
    item: str
    before: Decimal
    after: Decimal | None
    reason: str = ""

    def as_json(self) -> dict[str, Any]:
        after = None if self.after is None else str(self.after)
        return {"position": self.position, "item": self.item, "before": str(self.before), "after": after,
                "reason": self.reason}


@dataclass(frozen=True, slots=True)
class QuoteChange:
    """A quote with its price before and after [money]; None where it has none."""

    quote_id: int
    quote_version: int
    before: Decimal | None
    after: Decimal | None
    lines: tuple[LineChange, ...]

    @property
    def change(self) -> Decimal | None:
        return None if self.before is None or self.after is None else self.after - self.before

    @property
    def is_blocked(self) -> bool:
        return any(line.after is None for line in self.lines)


@dataclass(frozen=True, slots=True)
class _Line:
    """A line as the database has it; `sold` is its price's unit, pack and what a pack holds."""

    pk: int
    position: int
    item: str
    quantity: Decimal
    unit: str
    cost: Decimal
    taxable: bool
    sold: tuple[str, Decimal | None, str]


def start_impact(version_id: int, *, on: date | None = None, by: User | None, now: datetime) -> PriceImpact:
    """Have the impact of a staged or approved version worked out in the background.

    Without `on`, the prices of today are compared, or of the version's first day where that is later.
    """
    with transaction.atomic():
        version = PriceListVersion.objects.select_related("price_list__supplier").get(pk=version_id)
        day = on or max(local_day(the_office(), now), version.valid_from)
        impact = PriceImpact.objects.create(price_list_version=version, on=day, created_at=now, created_by=by)
        impact.run = runs.start_run("price-impact", f"price-impact/{impact.pk}", by=by, now=now)
        impact.save(update_fields=["run"])
        note(impact, "create", {"version": [None, version.pk], "on": [None, day.isoformat()]}, by=by, now=now)
    return impact


def open_quotes(version: PriceListVersion) -> QuerySet[Quote]:
    """Quotes that are priced from another version of the same list and whose job is not agreed on yet."""
    others = PriceListVersion.objects.filter(price_list=version.price_list_id).exclude(pk=version.pk)
    return Quote.objects.filter(job__status__in=OPEN, price_list_versions__in=others).distinct()


def changes_of(version: PriceListVersion, on: date, report: Report = lambda percent, words: None
               ) -> list[QuoteChange]:
    """Of every open quote that `version` touches what it would cost at the prices of `on`, ranked.

    First those that lose a price, then by how much the price changes, then by number. Reads in batches, with queries
    that do not grow with lines or items.
    """
    rows = list(open_quotes(version).order_by("pk").values_list(
        "pk", "version", "price", "estimate__chain", "estimate__terms", "discount"))
    lines = QuoteLine.objects.filter(quote__in=open_quotes(version), revision=None,
                                     price__list_version__price_list=version.price_list_id)
    items = list(lines.order_by("item").values_list("item", flat=True).distinct())
    prices = prices_on(items, on, [version])
    costs = _Costs(prices)
    found: list[QuoteChange] = []
    for part in (rows[i:i + BATCH] for i in range(0, len(rows), BATCH)):
        report(100 * len(found) // max(len(rows), 1), f"{len(found)} of {len(rows)} quotes")
        by_quote = _lines_of(version, [pk for pk, *_ in part])
        anew = costs.counted_anew(line for lines in by_quote.values() for line in lines)
        for pk, number, before, chain, terms, discount in part:
            lines_of, was = by_quote.get(pk, ()), None
            if before is not None:
                was = _Priced(chain, terms_as_priced(terms), discount_of(discount))
            found.append(_change(pk, number, before, was, lines_of, costs, anew))
    touched = [change for change in found if change.lines]
    return sorted(touched, key=lambda change: (not change.is_blocked, -abs(change.change or 0), change.quote_id))


def _lines_of(version: PriceListVersion, quote_ids: Sequence[int]) -> dict[int, list[_Line]]:
    by_quote: dict[int, list[_Line]] = defaultdict(list)
    rows = QuoteLine.objects.filter(
        quote__in=quote_ids, revision=None, price__list_version__price_list=version.price_list_id,
    ).order_by("quote", "position").values_list(
        "quote", "pk", "position", "item", "quantity", "unit", "cost", "taxable", "price__unit",
        "price__pack_quantity", "price__base_unit")
    for quote, pk, position, item, quantity, unit, cost, taxable, *sold in rows.iterator(chunk_size=5000):
        by_quote[quote].append(_Line(pk, position, item, quantity, unit, cost, taxable, tuple(sold)))
    return by_quote


class _Costs:
    """What lines cost at new prices; what one unit of an item costs is worked out once."""

    def __init__(self, prices: Mapping[str, Price | Missing]) -> None:
        self.prices = prices
        self.sold = {item: (price.unit, price.pack_quantity, price.base_unit) for item, price in prices.items()
                     if isinstance(price, Price)}
        self.each: dict[tuple[str, str], Fraction | str] = {}

    def counted_anew(self, lines: Iterable[_Line]) -> dict[int, Mapping[str, Any]]:
        """What those lines were counted from whose item is sold in another unit or pack now."""
        changed = [line.pk for line in lines if self.sold.get(line.item, line.sold) != line.sold]
        return {line.pk: _row(line) for line in QuoteLine.objects.filter(pk__in=changed)}

    def of(self, line: _Line, anew: Mapping[int, Mapping[str, Any]]) -> Decimal | str:
        """The line's cost, or why it has none."""
        price = self.prices.get(line.item)
        if not isinstance(price, Price):
            return price.reason if price else "no price"
        if (row := anew.get(line.pk)) is not None:
            try:
                return cost_of_row(row, price)[2]
            except units.UnitError as error:
                return f"used by {row['unit']} and now priced by {price.unit}: {error}"
        each = self.each.get((line.item, line.unit))
        if each is None:
            try:
                each = each_costs(line.unit, price)
            except units.UnitError as error:
                each = str(error)
            self.each[line.item, line.unit] = each
        return each if isinstance(each, str) else money.line(line.quantity, each)


def _row(line: QuoteLine) -> Mapping[str, Any]:
    """What a line was counted from. Lines priced by an earlier program do not carry it: then it is in the framing."""
    told = line.came_from
    if "order" in told:
        return {name: told[name] for name in ("net", "waste", "spare", "unit", "order", "order_unit", "pack")}
    kind, _, number = told["framing"].strip("/").partition("/")
    if kind == "quantities":
        return line.quote.framing.document["quantities"][int(number)]
    extra = line.quote.extras[int(number)]
    return {"unit": extra["unit"], "net": extra["quantity"], "order": extra["quantity"]}


@dataclass(frozen=True, slots=True)
class _Priced:
    """How a quote was priced: its chain as text, the office's terms of that day, a discount."""

    chain: Mapping[str, Any]
    terms: money.Terms
    discount: money.Discount | None


def _change(pk: int, number: int, before: Decimal | None, was: _Priced | None, lines: Sequence[_Line],
            costs: _Costs, anew: Mapping[int, Mapping[str, Any]]) -> QuoteChange:
    changed: list[LineChange] = []
    more = taxable = Decimal(0)
    for line in lines:
        cost = costs.of(line, anew)
        if isinstance(cost, str):
            changed.append(LineChange(line.position, line.item, line.cost, None, cost))
        elif cost != line.cost:
            changed.append(LineChange(line.position, line.item, line.cost, cost))
            more += cost - line.cost
            taxable += (cost - line.cost) * line.taxable
    after = None
    if was is not None and all(line.after is not None for line in changed):
        with suppress(money.MoneyError):  # a discount of more than it would cost: no price either
            after = chain_after(was.chain, was.terms, was.discount, more, taxable).price
    return QuoteChange(pk, number, before, after, tuple(changed))


def keep_changes(impact: PriceImpact, changes: Sequence[QuoteChange], *, now: datetime) -> dict[str, Any]:
    """Write what was found in place of what an earlier try left; returns the counts."""
    impact.quotes.all().delete()
    QuoteImpact.objects.bulk_create([
        QuoteImpact(impact=impact, rank=rank, quote_id=found.quote_id, quote_version=found.quote_version,
                    before=found.before, after=found.after, change=found.change,
                    lines=[line.as_json() for line in found.lines])
        for rank, found in enumerate(changes, start=1)
    ], batch_size=500)
    impact.worked_out_at = now
    impact.quotes_touched = len(changes)
    impact.quotes_blocked = sum(found.is_blocked for found in changes)
    impact.change = sum((found.change for found in changes if found.change is not None), Decimal("0.00"))
    impact.save(update_fields=["worked_out_at", "quotes_touched", "quotes_blocked", "change"])
    return {"quotes_touched": impact.quotes_touched, "quotes_blocked": impact.quotes_blocked,
            "change": str(impact.change), "url": f"/api/v1/price-impacts/{impact.pk}"}
