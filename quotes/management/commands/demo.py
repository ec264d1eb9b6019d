"""An invented terrace from survey to proposal: records, framing, price, revision, papers, and what came of it."""

from __future__ import annotations

import csv
import json
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from estimating import price_lists
from estimating.models import Customer, Job, LaborRate, Material, Office, PriceList, PriceListVersion, Run, Supplier
from estimating.office import describe_office
from estimating.records import create_record
from estimating.service import runs
from framing.management.commands.frame import write_files
from framing.models import Framing
from framing.records import canonical, frame_build, keep_survey
from quotes import papers, revisions
from quotes.estimate import Extra
from quotes.models import RenderedFile, Revision
from quotes.templatetags.paper import money

DATA = Path(__file__).resolve().parents[2] / "demo"
NOW = datetime(2026, 3, 16, 14, 0, tzinfo=UTC)  # the invented prices hold in March 2026; so the demo prints one price
FILES = {RenderedFile.Kind.PROPOSAL: "proposal.pdf", RenderedFile.Kind.CUT_SHEETS: "cut-sheets.pdf",
         RenderedFile.Kind.PURCHASE_LIST: "purchase-list.csv"}


class Command(BaseCommand):
    help = "Take an invented terrace from survey to proposal and write its papers. Safe to run twice."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--out", type=Path, default=settings.ROOT / "build" / "demo", metavar="DIR")

    def handle(self, *, out: Path, **_: Any) -> None:
        told = json.loads((DATA / "office.json").read_text())
        office = Office.objects.first()
        if office is not None and office.name != told["office"]["name"]:
            raise CommandError(f"This database serves {office.name}; the demo needs one of its own (DATABASE_URL).")
        job = _records(told)
        framing = _framing(job)
        version = _prices(told, job)
        revision = _revision(job, framing, version, told)
        _papers(revision)
        _write(out, framing, revision)
        self._tell(framing, revision, out)

    def _tell(self, framing: Framing, revision: Revision, out: Path) -> None:
        document = framing.document
        adjustment = document["survey_adjustment"]
        joists = [member for member in document["members"] if member["role"] == "joist"]
        tightest = min(document["supports"], key=lambda support: support["clear_gap"])
        open_figures = [check["text"] for check in document["checks"] if check["code"] == "misclosure"]
        suspects = ", ".join("-".join(names) for names in adjustment["suspects"])
        currency = revision.document["estimate"]["currency"]
        for name, value in (
            ("price", f"{money(revision.price, currency)}, {revision}, valid until {revision.valid_until}"),
            ("area", f"{adjustment['area_sqft']:.1f} ft² of roof"),
            ("joists", f"{len(joists)} on {len(document['supports'])} pads"),
            ("least clear gap", f"{tightest['clear_gap']:.2f} in, under {tightest['member']}"),
            ("does not close", " ".join(open_figures) or "nothing: the survey closes within its tolerance"),
            ("suspects", suspects or "none"),
            ("folder", str(out)),
        ):
            self.stdout.write(f"{name + ':':<17}{value}")


def _records(told: dict[str, Any]) -> Job:
    """The office, its customer and the job; those that are there are left as they are."""
    if Office.objects.first() is None:
        describe_office({name: Decimal(value) if name.endswith("_rate") else value
                         for name, value in told["office"].items()}, by=None, now=NOW)
    known = Job.objects.filter(name=told["job"]["name"], customer__name=told["customer"]["name"]).first()
    if known is not None:
        return known
    customer = create_record(Customer, told["customer"], by=None, now=NOW)
    for grade, rate in told["rates"]:
        create_record(LaborRate, {"grade": grade, "rate": Decimal(rate), "crew_count": Decimal(1),
                                  "valid_from": date.fromisoformat(told["rates_from"])}, by=None, now=NOW)
    return create_record(Job, {**told["job"], "customer": customer}, by=None, now=NOW)


def _framing(job: Job) -> Framing:
    """The framing of the demo's survey and build."""
    survey_document, build_document = (json.loads((DATA / name).read_text()) for name in ("survey.json", "build.json"))
    survey = job.surveys.filter(text=canonical(survey_document)).first() or keep_survey(
        job.pk, survey_document, by=None, now=NOW
    )
    known = Framing.objects.filter(build__survey=survey, build__text=canonical(build_document)).last()
    if known is not None:
        return known
    made = frame_build(survey, build_document, by=None, now=NOW)
    if isinstance(made, Run):
        raise CommandError("The demo's roof is small enough to be framed at once, and was not.")
    return made


def _prices(told: dict[str, Any], job: Job) -> PriceListVersion:
    """The supplier's list in force, and which SKU stands behind which item key."""
    supplier = Supplier.objects.filter(name=told["supplier"]["name"]).first() or create_record(
        Supplier, told["supplier"], by=None, now=NOW
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
    listed = PriceList.objects.filter(supplier=supplier, name=told["price_list"]).first() or create_record(
        PriceList, {"supplier": supplier, "name": told["price_list"]}, by=None, now=NOW
    )
    try:
        content = (DATA / "price-list.csv").read_bytes()
        staged = price_lists.stage_price_file(listed.pk, content, source_name="price-list.csv", by=None, now=NOW)
    except price_lists.RepeatedFile as repeated:
        staged = repeated.version
    if staged.state == PriceListVersion.State.APPROVED:
        return staged
    return price_lists.approve_version(staged.pk, by=None, now=NOW)


def _revision(job: Job, framing: Framing, version: PriceListVersion, told: dict[str, Any]) -> Revision:
    """The revision that was issued from this framing and list, or the first one."""
    known = Revision.objects.filter(quote__job=job, quote__framing=framing, quote__price_list_versions=version).last()
    if known is not None:
        return known
    extras = [Extra(item, Decimal(quantity), unit, reason) for item, quantity, unit, reason in told["extras"]]
    quote = revisions.draft_quote(job.pk, framing.pk, version_ids=[version.pk], extras=extras, by=None, now=NOW)
    try:
        return revisions.issue_revision(quote.pk, by=None, now=NOW)
    except revisions.QuoteBlocked as blocked:
        raise CommandError(str(blocked)) from None


def _papers(revision: Revision) -> None:
    """Have the papers made by the sweep, as any run is."""
    run = runs.start_run("render", f"revision/{revision.pk}", by=None, now=timezone.now())
    call_command("sweep", stdout=_Quiet())
    run.refresh_from_db()
    if run.state != Run.State.DONE:
        raise CommandError(f"The papers were not made: run {run.pk} is {run.state}, {run.problem}")


class _Quiet:
    """Where the sweep's own words go."""

    def write(self, text: str) -> None:
        pass


def _write(out: Path, framing: Framing, revision: Revision) -> None:
    files: dict[str, bytes | None] = {
        "framing.json": framing.text.encode() + b"\n", "plan.svg": framing.plan_svg.encode(),
        "section.svg": framing.section_svg.encode(),
    }
    for kind, name in FILES.items():
        files[name] = papers.read_paper(revision.files.filter(kind=kind).latest("pk"))
    write_files(out, files)
