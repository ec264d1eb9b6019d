"""An invented terrace as records: office, customer, job, survey, framing, prices, revision. Nobody in it exists."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from estimating import price_lists
from estimating.models import (
    Customer,
    Job,
    LaborRate,
    Material,
    Notice,
    Office,
    PriceList,
    PriceListVersion,
    Supplier,
)
from estimating.office import describe_office
from estimating.records import create_record
from framing import records
from framing.models import Framing
from framing.records import canonical, keep_survey
from quotes import drafts, revisions
from quotes.estimate import Extra
from quotes.models import Revision
from quotes.notes import to_acknowledge
from quotes.proposal_parts import acknowledge
from quotes.snapshots import notes_of_quote

DATA = Path(__file__).parent / "demo"
NOW = datetime(2026, 3, 16, 14, 0, tzinfo=UTC)  # a day of its own, so that the demo prints the same price for ever


class OtherOffice(Exception):
    """The database serves a real office."""


@dataclass(frozen=True)
class Scenario:
    """What the demo made, or found from an earlier time."""

    job: Job
    framing: Framing
    version: PriceListVersion
    revision: Revision


def told() -> dict[str, Any]:
    """The invented office, customer, job, rates and extras."""
    return json.loads((DATA / "office.json").read_text())


def set_up() -> Scenario:
    """The invented terrace from its first record to its issued revision. Raises OtherOffice or QuoteBlocked."""
    words = told()
    office = Office.objects.first()
    if office is not None and office.name != words["office"]["name"]:
        raise OtherOffice(f"This database serves {office.name}; the demo needs one of its own (DATABASE_URL).")
    job = records_of(words)
    notices_of(words)
    framing = framing_of(job)
    version = prices_of(words)
    return Scenario(job, framing, version, revision_of(job, framing, version, words))


def records_of(words: dict[str, Any]) -> Job:
    """The office, its customer and the job; those that are there are left as they are."""
    if Office.objects.first() is None:
        describe_office({name: Decimal(value) if name.endswith("_rate") else value
                         for name, value in words["office"].items()}, by=None, now=NOW)
    known = Job.objects.filter(name=words["job"]["name"], customer__name=words["customer"]["name"]).first()
    if known is not None:
        return known
    customer = create_record(Customer, words["customer"], by=None, now=NOW)
    for grade, rate in words["rates"]:
        create_record(LaborRate, {"grade": grade, "rate": Decimal(rate), "crew_count": Decimal(1),
                                  "valid_from": date.fromisoformat(words["rates_from"])}, by=None, now=NOW)
    return create_record(Job, {**words["job"], "customer": customer}, by=None, now=NOW)


def notices_of(words: dict[str, Any]) -> None:
    """The office's notices for the job's jurisdiction: sample wordings, unless there are some."""
    if Notice.objects.filter(jurisdiction=words["job"]["jurisdiction"]).exists():
        return
    for notice in words["notices"]:
        days = {name: date.fromisoformat(notice[name]) for name in ("valid_from", "review_by")}
        create_record(Notice, {**notice, **days}, by=None, now=NOW)


def framing_of(job: Job) -> Framing:
    """The framing of the demo's survey and build, as today's engine answers."""
    survey_document, build_document = (json.loads((DATA / name).read_text()) for name in ("survey.json", "build.json"))
    survey = job.surveys.filter(text=canonical(survey_document)).first() or keep_survey(
        job.pk, survey_document, by=None, now=NOW
    )
    framed = records.frame(survey_document, build_document)
    known = Framing.objects.filter(build__survey=survey, text=canonical(framed.document)).last()
    if known is not None:
        return known
    build = records.keep_build(survey, build_document, by=None, now=NOW)
    return records.keep_framing(build, framed, by=None, now=NOW)


def prices_of(words: dict[str, Any]) -> PriceListVersion:
    """The supplier's list in force, and which SKU stands behind which item key."""
    supplier = Supplier.objects.filter(name=words["supplier"]["name"]).first() or create_record(
        Supplier, words["supplier"], by=None, now=NOW
    )
    known = set(Material.objects.filter(active=True).values_list("item_key", flat=True))
    with (DATA / "materials.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            if row["item_key"] not in known:
                create_record(Material, {
                    "item_key": row["item_key"], "sku": row["sku"], "supplier": supplier,
                    "thickness": Decimal(row["thickness"]) if row["thickness"] else None,
                    "width": Decimal(row["width"]) if row["width"] else None, "taxable": row["taxable"] == "yes",
                }, by=None, now=NOW)
    listed = PriceList.objects.filter(supplier=supplier, name=words["price_list"]).first() or create_record(
        PriceList, {"supplier": supplier, "name": words["price_list"]}, by=None, now=NOW
    )
    try:
        content = (DATA / "price-list.csv").read_bytes()
        staged = price_lists.stage_price_file(listed.pk, content, source_name="price-list.csv", by=None, now=NOW)
    except price_lists.RepeatedFile as repeated:
        staged = repeated.version
    if staged.state == PriceListVersion.State.APPROVED:
        return staged
    return price_lists.approve_version(staged.pk, by=None, now=NOW)


def revision_of(job: Job, framing: Framing, version: PriceListVersion, words: dict[str, Any]) -> Revision:
    """The revision that was issued from this framing and list, or the first one."""
    known = Revision.objects.filter(quote__job=job, quote__framing=framing, quote__price_list_versions=version).last()
    if known is not None:
        return known
    extras = [Extra(item, Decimal(quantity), unit, reason) for item, quantity, unit, reason in words["extras"]]
    quote = drafts.draft_quote(job.pk, framing.pk, version_ids=[version.pk], extras=extras, by=None, now=NOW)
    person = words["acknowledgements"]
    for found in to_acknowledge(notes_of_quote(quote)):
        acknowledge(quote.pk, found.key, found.text, name=person["name"],
                    reason=person["reasons"].get(found.key, person["other"]), by=None, now=NOW)
    return revisions.issue_revision(quote.pk, by=None, now=NOW)
