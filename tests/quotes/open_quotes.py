"""Many open quotes of many lines on invented lists, and what a person with a loop would work out for each."""

from __future__ import annotations

import json
import random
from datetime import date
from decimal import Decimal
from typing import Any

from estimating.models import Customer, Job, LaborRate, Material, Price, PriceList, PriceListVersion, Supplier
from estimating.office import describe_office, payment_schedule, terms_of, the_office
from estimating.records import create_record
from framing import records
from framing.models import Framing
from quotes.demonstration import DATA, NOW, told
from quotes.drafts import terms_as_priced
from quotes.estimate import Price as Bought
from quotes.estimate import chain_after, cost_of_row, estimate
from quotes.models import Quote, QuoteLine
from quotes.pricing import prices_on, rates_on

ON = date(2026, 3, 20)
# How goods are sold: unit, pack, what a pack holds; and what a framing counts them by.
SOLD = (("EA", None, "EA", "EA"), ("MBF", None, "EA", "EA"), ("LF", None, "LF", "EA"), ("XBX", "175", "EA", "EA"),
        ("GLL", None, "GLL", "GLL"), ("XRO", "65", "LF", "LF"))


def key_of(number: int) -> str:
    kind = SOLD[number % len(SOLD)][0]
    return f"lumber/g{number}/144" if kind in ("MBF", "LF") else f"fixing/g{number}"


def goods(count: int, rng: random.Random) -> tuple[PriceListVersion, PriceListVersion]:
    """A list of `count` goods in force, and its next version: dearer, cheaper, as before, a few gone, re-packed."""
    supplier = create_record(Supplier, {"name": "Sample Yard"}, by=None, now=NOW)
    listed = create_record(PriceList, {"supplier": supplier, "name": "all"}, by=None, now=NOW)
    versions = [
        PriceListVersion.objects.create(
            price_list=listed, source_sha256=str(n) * 64, line_count=count, valid_from=date(2026, 3, 1), staged_at=NOW)
        for n in (1, 2)
    ]
    rows = []
    for number in range(count):
        unit, pack, base, _ = SOLD[number % len(SOLD)]
        Material.objects.create(item_key=key_of(number), supplier=supplier, sku=f"G-{number}",
                                thickness=Decimal(2), width=Decimal(8), taxable=number % 3 > 0)
        price = Decimal(rng.randint(100, 200_000)) / 100
        for version in versions:
            again = version is versions[1]
            if again and number % 300 == 40:
                continue  # gone
            changed = price * Decimal(rng.choice(["1", "1", "1.07", "0.93", "1.0333"])) if again else price
            holds = Decimal(pack) if pack else None
            if again and pack and number % 7 == 0:
                holds = holds - 25
            rows.append(Price(list_version=version, line=number + 2, sku=f"G-{number}", unit=unit, base_unit=base,
                              pack_quantity=holds, price=changed.quantize(Decimal("0.0001")), currency="USD",
                              valid_from=date(2026, 3, 1)))
    Price.objects.bulk_create(rows, batch_size=2000)
    for number, version in enumerate(versions, start=1):
        version.number, version.state, version.approved_at = number, PriceListVersion.State.APPROVED, NOW
        version.save()
    return versions[0], versions[1]


def a_framing() -> tuple[Job, Framing]:
    """An office, a job and a framing that quotes can hang on; its own quantities are not used."""
    words = told()
    describe_office({name: Decimal(value) if name.endswith("_rate") else value
                     for name, value in words["office"].items()}, by=None, now=NOW)
    customer = create_record(Customer, words["customer"], by=None, now=NOW)
    create_record(LaborRate, {"grade": "lead", "rate": Decimal(50), "valid_from": date(2026, 1, 1)}, by=None, now=NOW)
    job = create_record(Job, {**words["job"], "customer": customer}, by=None, now=NOW)
    survey = records.keep_survey(job.pk, json.loads((DATA / "survey.json").read_text()), by=None, now=NOW)
    build = records.keep_build(survey, json.loads((DATA / "build.json").read_text()), by=None, now=NOW)
    return job, Framing.objects.create(build=build, text="{}", stops=0, created_at=NOW)


def quotes_on(version: PriceListVersion, job: Job, framing: Framing, count: int, lines: int,
              rng: random.Random) -> None:
    """`count` open quotes of `lines` bought lines, priced from `version` as the estimate prices them."""
    office = the_office()
    size = Material.objects.count()
    prices = prices_on([key_of(n) for n in range(size)], ON, [version])
    rates = rates_on(ON)
    for _ in range(count):
        rows = [_counted(number, rng) for number in rng.sample(range(size), lines)]
        worked = estimate({"quantities": rows, "labor": [{"task": "deck", "hours": rng.randint(50, 900) / 10}]}, prices,
                          rates, terms_of(office), currency="USD", schedule=payment_schedule(office))
        told_ = {name: value for name, value in worked.as_json().items() if name != "lines"}
        quote = Quote.objects.create(job=job, framing=framing, priced_on=ON, estimate=told_, price=worked.price,
                                     created_at=NOW)
        quote.price_list_versions.set([version])
        QuoteLine.objects.bulk_create([
            QuoteLine(quote=quote, position=n, group=line.group, kind=line.kind, item=line.item,
                      description=line.description, quantity=line.quantity, unit=line.unit,
                      unit_price=line.unit_price, price_unit=line.price_unit, cost=line.cost, taxable=line.taxable,
                      price_id=line.came_from.get("price"), came_from=line.came_from)
            for n, line in enumerate(worked.lines, start=1)])


def _counted(number: int, rng: random.Random) -> dict[str, Any]:
    unit = SOLD[number % len(SOLD)][3]
    net = rng.randint(1, 900)
    return {"item": key_of(number), "unit": unit, "net": net, "waste": rng.randint(0, 20), "spare": 1,
            "order": net + 20, "order_unit": unit, "pack": 1, "basis": "counted", "description": ""}


def by_loop(version: PriceListVersion, quotes: list[Quote]) -> dict[int, Decimal | None]:
    """The price of each quote at the prices of another version, worked out a line at a time, as one would first."""
    found: dict[int, Decimal | None] = {}
    for quote in quotes:
        more = taxable = Decimal(0)
        blocked = quote.price is None
        for line in quote.lines.filter(revision=None):
            if line.price is None or line.price.list_version.price_list_id != version.price_list_id:
                continue
            material = Material.objects.get(sku=line.price.sku, supplier=version.price_list.supplier)
            row = Price.objects.filter(list_version=version, sku=material.sku, valid_from__lte=ON).last()
            if row is None:
                blocked = True
                continue
            price = Bought(row.sku, "", row.price, row.unit, row.currency, row.base_unit, row.pack_quantity,
                           material.piece_of(line.item))
            cost = cost_of_row(line.came_from, price)[2]
            more += cost - line.cost
            taxable += (cost - line.cost) * line.taxable
        found[quote.pk] = None if blocked else chain_after(
            quote.estimate["chain"], terms_as_priced(quote.estimate["terms"]), None, more, taxable).price
    return found
