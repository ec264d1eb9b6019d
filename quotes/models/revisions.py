"""What was issued: revisions, their lines, and the files made from them."""

from __future__ import annotations

import json
from typing import Any

from django.conf import settings
from django.db import models

from estimating.models.base import AppendOnly
from framing.models import Unchanging
from quotes.models.quotes import MONEY, Quote


class Revision(Unchanging):
    """A quote as it was issued: everything that it was made from, and the papers' HTML and drawings.

    `sha256` covers `snapshot`, the drawings and the HTML as they stand here; a person's name and address are filled in
    only when a paper is rendered, so that they can be erased and the hash stays true.
    """

    HEAVY = ("snapshot", "plan_svg", "section_svg", "proposal_html", "cut_sheets_html", "more_html")

    quote = models.ForeignKey(Quote, on_delete=models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField(help_text="1 is the first that was issued.")
    snapshot = models.TextField(help_text="quote-snapshot/1, canonical JSON.")
    plan_svg = models.TextField()
    section_svg = models.TextField()
    proposal_html = models.TextField()
    cut_sheets_html = models.TextField()
    more_html = models.JSONField(
        default=dict, db_default={}, help_text="HTML of further papers by their kind; older revisions have none."
    )
    sha256 = models.CharField(max_length=64)
    price = models.DecimalField(**MONEY)
    valid_until = models.DateField(help_text="Last day, in the office's time zone.")
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["quote", "number"], name="revision_number_a_quote")]

    def __str__(self) -> str:
        return f"{self.quote} revision {self.number}"

    @property
    def document(self) -> dict[str, Any]:
        return json.loads(self.snapshot)


class QuoteLine(AppendOnly):
    """One line of a quote; a line of an issued revision stays, a draft's lines are made anew with each pricing."""

    frozen_when = "OLD.revision_id IS NOT NULL"

    quote = models.ForeignKey(Quote, on_delete=models.PROTECT, related_name="lines")
    revision = models.ForeignKey(Revision, null=True, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    group = models.CharField(max_length=80)
    kind = models.CharField(max_length=10)
    item = models.TextField()
    description = models.TextField()
    quantity = models.DecimalField(max_digits=15, decimal_places=4)
    unit = models.CharField(max_length=3)
    unit_price = models.DecimalField(max_digits=15, decimal_places=4)
    price_unit = models.CharField(max_length=3)
    cost = models.DecimalField(**MONEY)
    taxable = models.BooleanField()
    allowance = models.BooleanField(default=False)
    price = models.ForeignKey("estimating.Price", null=True, on_delete=models.PROTECT, related_name="+")
    came_from = models.JSONField(help_text="The reading, price or rate behind it.")

    class Meta:
        ordering = ["quote", "revision", "position"]

    def __str__(self) -> str:
        return f"{self.quote_id} {self.item}"

    def is_final(self) -> bool:
        return not self._state.adding and self.revision_id is not None


class RenderedFile(Unchanging):
    """A paper made from a revision, kept under the hash of its bytes."""

    class Kind(models.TextChoices):
        PROPOSAL = "proposal", "proposal"
        CUT_SHEETS = "cut-sheets", "cut sheets"
        PURCHASE_LIST = "purchase-list", "material list"
        MATERIAL_LIST = "material-list", "material list to print"
        CARE_SHEET = "care-sheet", "care sheet"
        OFFICE_COPY = "office-copy", "office copy"
        SIGNED = "signed", "signed proposal"

    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="files")
    kind = models.CharField(max_length=20, choices=Kind.choices)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField(help_text="[bytes]")
    media_type = models.CharField(max_length=60)
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["revision", "kind", "sha256"], name="one_file_of_these_bytes_a_paper")
        ]

    def __str__(self) -> str:
        return f"{self.kind} of {self.revision_id}"

    @property
    def path(self) -> str:
        """Where the storage keeps it."""
        return f"papers/{self.sha256[:2]}/{self.sha256}"

    @property
    def name(self) -> str:
        """What it is called when somebody takes it home."""
        ending = {"application/pdf": "pdf", "text/csv": "csv"}[self.media_type]
        return f"{self.revision.quote.number}-{self.revision.number}-{self.kind}.{ending}"
