"""An invented terrace from survey to proposal: records, framing, price, revision, papers, and what came of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from estimating.models import Run
from estimating.service import runs
from framing.dxf import plan_dxf
from framing.management.commands.frame import write_files
from framing.models import Framing
from quotes.demonstration import NOW, OtherOffice, set_up
from quotes.drafts import QuoteBlocked
from quotes.mail.letters import Attachment, Person, written
from quotes.mail.mailing import proposal_letter
from quotes.models import RenderedFile, Revision
from quotes.paper import files as papers
from quotes.templatetags.paper import money

FILES = {RenderedFile.Kind.PROPOSAL: "proposal.pdf", RenderedFile.Kind.CUT_SHEETS: "cut-sheets.pdf",
         RenderedFile.Kind.PURCHASE_LIST: "purchase-list.csv", RenderedFile.Kind.MATERIAL_LIST: "material-list.pdf",
         RenderedFile.Kind.CARE_SHEET: "care-sheet.pdf", RenderedFile.Kind.OFFICE_COPY: "office-copy.pdf"}


class Command(BaseCommand):
    help = "Take an invented terrace from survey to proposal and write its papers. Safe to run twice."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--out", type=Path, default=settings.ROOT / "build" / "demo", metavar="DIR")

    def handle(self, *, out: Path, **_: Any) -> None:
        try:
            made = set_up()
        except (OtherOffice, QuoteBlocked) as reason:
            raise CommandError(str(reason)) from None
        _papers(made.revision)
        _write(out, made.framing, made.revision)
        self._tell(made.framing, made.revision, out)

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
        "plan.dxf": plan_dxf(framing.document, framing.build.survey.document),
    }
    for kind, name in FILES.items():
        files[name] = papers.read_paper(revision.files.filter(kind=kind).latest("pk"))
    files["mail.eml"] = _mail(revision, files["proposal.pdf"] or b"")
    write_files(out, files)


def _mail(revision: Revision, pdf: bytes) -> bytes:
    """The mail as it would bring the proposal, with a place holder in its link: the demo sends nothing."""
    customer = revision.quote.job.customer
    paper = Attachment(revision.files.filter(kind=RenderedFile.Kind.PROPOSAL).latest("pk").name, papers.PDF, pdf)
    letter = proposal_letter(revision, Person(customer.name, customer.email), paper=paper)
    return written(letter, message_id="<demo@example.com>", at=NOW)
