"""Background work after a signature: the signed paper, kept beside the revision, and the mails that bring it."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils import timezone

from estimating.models import Run
from estimating.notices import as_written
from estimating.service.pdf import html_to_pdf
from estimating.service.runs import Report, Store, run_kind, start_run
from estimating.service.sweeping import on_sweep
from quotes.acceptance.deeds import AGREED_WHERE
from quotes.acceptance.signed_notices import copies_of
from quotes.mail.mailing import post_receipt
from quotes.mail.sending import may_start_again
from quotes.models import Acceptance, OutboxMail, RenderedFile, Signature
from quotes.paper.files import PDF, Paper, check_not_erased, keep_papers
from quotes.paper.rendering import filled
from quotes.paper.signed import signed_html
from quotes.sales import last_signed
from quotes.templatetags.paper import money

KIND = "receipt"


@run_kind(KIND, queue="render")
def receipt_run(run: Run, report: Report) -> Store:
    """Make the signed paper of the acceptance that the run names; bring it to all who have signed, and the office.

    Each signature has a run of its own, so one that finds a newer signature when it is done keeps nothing.
    """
    acceptance = Acceptance.objects.select_related("offer__revision__quote__job__customer").get(
        pk=int(run.subject.removeprefix("acceptance/")))
    revision = acceptance.offer.revision
    signatures = list(acceptance.signatures.select_related("link").order_by("pk"))
    report(10, "signed paper")
    pdf = html_to_pdf(signed_paper(acceptance, signatures))

    def store() -> dict[str, Any]:
        check_not_erased(revision)
        if acceptance.signatures.count() != len(signatures):
            return {"files": [], "later": "another signature was given meanwhile; its own run makes the paper"}
        now = timezone.now()
        [file] = keep_papers(revision, {RenderedFile.Kind.SIGNED: Paper(PDF, pdf)}, now=now)
        by_all = any(signature.role == Signature.Role.OFFICE for signature in signatures)
        for signature in signatures:
            if signature.link is not None and signature.link.email:
                post_receipt(
                    signature.link, pdf=pdf, file_name=file.name, words=receipt_words(acceptance, signature),
                    kind=OutboxMail.Kind.SIGNED if by_all else OutboxMail.Kind.RECEIPT, now=now,
                )
        return {"files": [{"kind": file.kind, "sha256": file.sha256, "size": file.size, "name": file.name}]}

    return store


def start_left_behind(*, now: datetime) -> int:
    """Bring again the signed papers whose newest run failed, later each time; how many. Nobody erased is written to."""
    made: dict[str, list[Run]] = {}
    receipts = Run.objects.filter(kind=KIND)
    once_failed = receipts.filter(state=Run.State.FAILED).values("subject")
    for run in receipts.filter(subject__in=once_failed).order_by("pk"):
        made.setdefault(run.subject, []).append(run)
    failed = {subject: tries for subject, tries in made.items() if tries[-1].state == Run.State.FAILED}
    living = {f"acceptance/{pk}" for pk in Acceptance.objects.filter(
        pk__in=[int(subject.partition("/")[2]) for subject in failed],
        offer__revision__quote__job__customer__erased_at=None).values_list("pk", flat=True)}
    due = [subject for subject, tries in failed.items() if subject in living and may_start_again(tries, now)]
    for subject in due:
        start_run(KIND, subject, by=None, now=now)
    return len(due)


def receipt_words(acceptance: Acceptance, signature: Signature) -> list[str]:
    """What the mail with the signed paper says, a paragraph each."""
    revision = acceptance.offer.revision
    snapshot = revision.document
    option = option_of(acceptance)
    what = f"option {option['key']}, {option['name']}" if option else "as described in its section 1"
    signed = last_signed(acceptance)
    assert signed is not None and signature.transaction_date is not None
    return [
        f"You signed {revision.quote.number}, revision {revision.number}, on {as_written(signature.transaction_date)}: "
        f"{what}, at {money(acceptance.price, snapshot['estimate']['currency'])}.",
        f"You may cancel until the end of {as_written(signed[1])}, without giving a reason: on the page behind your "
        f"link{', or in writing with a copy of the notice in the signed paper' if signature.notices else ''}.",
        "No goods are ordered and no work begins before that day has passed.",
    ]


def signed_paper(acceptance: Acceptance, signatures: list[Signature]) -> str:
    """The HTML of the signed paper: the proposal as it was sent, with who signed what and when."""
    revision = acceptance.offer.revision
    job = revision.quote.job
    page = filled(revision.proposal_html, name=job.customer.name, site=job.site_address, sha256=revision.sha256)
    return signed_html(page, record_of(acceptance, signatures))


def record_of(acceptance: Acceptance, signatures: list[Signature]) -> dict[str, Any]:
    """What the signed paper tells of an acceptance; the notices are those of each who signed."""
    snapshot = acceptance.offer.revision.document
    option, owners = option_of(acceptance), [row for row in signatures if row.role != Signature.Role.OFFICE]
    first, signed = owners[0], last_signed(acceptance)
    assert signed is not None and first.consent is not None
    notices = [{**notice, "text": copies_of([{**notice, "copies": 1}], row.link.name if row.link else "")[0]["text"]}
               for row in owners for notice in row.notices]
    return {
        "accepted_at": owners[-1].created_at.isoformat(), "time_zone": snapshot["office"]["time_zone"],
        "currency": snapshot["estimate"]["currency"], "price": str(acceptance.price),
        "option": {"key": option["key"], "name": option["name"]} if option else None,
        "signatures": [{"role": row.role, "name": row.name, "sha256": row.signed_sha256,
                        "at": row.created_at.isoformat()}
                       for row in signatures],
        "agreed_where": AGREED_WHERE.get(first.agreed_where, first.agreed_where),
        "transaction_date": signed[0].isoformat(), "cancel_by": signed[1].isoformat(), "notices": notices,
        "consent": {name: first.consent[name] for name in ("text", "version", "at")},
    }


def option_of(acceptance: Acceptance) -> dict[str, Any] | None:
    """The option that was chosen, as the snapshot has it; None for the deck as first offered."""
    options = acceptance.offer.revision.document.get("options") or ()
    return next((row for row in options if row["key"] == acceptance.option), None)


on_sweep(lambda now: start_left_behind(now=now))
