"""The papers of a revision as files: made from what it keeps, stored under the hash of their bytes."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction

from estimating.models import Customer
from estimating.service.pdf import html_to_pdf
from estimating.service.runs import RunRefused
from quotes.models import RenderedFile, Revision
from quotes.paper.materials import material_list
from quotes.paper.rendering import care_sheet_html, filled, material_list_html, office_copy_html

Kind = RenderedFile.Kind
PDF, CSV = "application/pdf", "text/csv"


@dataclass(frozen=True)
class Paper:
    """The bytes of one paper."""

    media_type: str
    content: bytes


def make_papers(revision: Revision, report: Callable[[int, str], None] = lambda percent, doing: None
                ) -> dict[str, Paper]:
    """Every paper of a revision, by kind; slow, so outside of any transaction."""
    job, snapshot = revision.quote.job, revision.document
    words = {"name": job.customer.name, "site": job.site_address, "sha256": revision.sha256}
    pages = {Kind.PROPOSAL: revision.proposal_html, Kind.CUT_SHEETS: revision.cut_sheets_html,
             **(revision.more_html or more_html(snapshot, revision.plan_svg, revision.section_svg))}
    made = {}
    for place, (kind, page) in enumerate(pages.items()):
        report(5 + 90 * place // len(pages), Kind(kind).label)
        made[kind] = Paper(PDF, html_to_pdf(filled(page, **words)))
    return {**made, Kind.PURCHASE_LIST: Paper(CSV, material_list(snapshot))}


def more_html(snapshot: Mapping[str, Any], plan_svg: str, section_svg: str) -> dict[str, str]:
    """The HTML of the papers beside the proposal and the cut sheets, by kind."""
    return {
        Kind.OFFICE_COPY.value: office_copy_html(snapshot, plan_svg, section_svg),
        Kind.MATERIAL_LIST.value: material_list_html(snapshot),
        Kind.CARE_SHEET.value: care_sheet_html(snapshot, plan_svg),
    }


class ErasedMeanwhile(RunRefused):
    """The customer's data were erased while their papers were made; what was made still names them."""


def check_not_erased(revision: Revision) -> None:
    """Hold the customer of a revision that was read before its papers were made. Raises ErasedMeanwhile."""
    seen = revision.quote.job.customer
    if Customer.objects.select_for_update().get(pk=seen.pk).erased_at != seen.erased_at:
        raise ErasedMeanwhile("The customer was erased while the papers were made; render the revision again.")


def keep_papers(revision: Revision, papers: Mapping[str, Paper], *, now: datetime) -> list[RenderedFile]:
    """Store the bytes, then their rows; the same bytes again change nothing."""
    kept = []
    for kind, paper in papers.items():
        sha256 = hashlib.sha256(paper.content).hexdigest()
        values = {"size": len(paper.content), "media_type": paper.media_type, "created_at": now}
        row = RenderedFile(revision=revision, kind=kind, sha256=sha256, **values)
        if not default_storage.exists(row.path):
            default_storage.save(row.path, ContentFile(paper.content))
        kept.append(RenderedFile.objects.get_or_create(revision=revision, kind=kind, sha256=sha256, defaults=values)[0])
    return kept


def read_paper(file: RenderedFile) -> bytes:
    """The bytes of a paper. Raises FileNotFoundError where the storage has lost them."""
    with default_storage.open(file.path) as stored:
        return stored.read()


def forget_papers(sender: Any, jobs: Collection[int], **_: Any) -> None:
    """Remove the stored papers of an erased customer's jobs, since a name and an address are on them.

    Receives `customers.customer_erased`. Their rows stay; a revision rendered again names nobody. Bytes that a paper
    of another job shares, as lists without a name may, are left.
    """
    theirs = RenderedFile.objects.filter(revision__quote__job__in=jobs)
    shared = set(RenderedFile.objects.exclude(revision__quote__job__in=jobs).values_list("sha256", flat=True)
                 .filter(sha256__in=theirs.values("sha256")))
    for file in theirs:
        if file.sha256 not in shared:
            transaction.on_commit(partial(default_storage.delete, file.path), robust=True)
