"""Quotes, their lines, the revisions that were issued, and the files made from them."""

from __future__ import annotations

import json
from typing import Any

from django.conf import settings
from django.db import models

from estimating.models.base import AppendOnly, Versioned
from framing.models import Unchanging

MONEY = {"max_digits": 15, "decimal_places": 2}


class Quote(Versioned):
    """A price in the making: one framing, price lists, one day. What goes out is a `Revision` of it."""

    job = models.ForeignKey("estimating.Job", on_delete=models.PROTECT, related_name="quotes")
    framing = models.ForeignKey("framing.Framing", on_delete=models.PROTECT, related_name="quotes")
    price_list_versions = models.ManyToManyField(
        "estimating.PriceListVersion", related_name="quotes", help_text="Approved versions, at most one a list."
    )
    priced_on = models.DateField(help_text="The day whose prices and rates hold, in the office's time zone.")
    extras = models.JSONField(default=list, help_text="What the engine does not compute: item, quantity, unit, reason.")
    crew_mix = models.CharField(
        max_length=60, blank=True, default="", db_default="", help_text="Name of the crew mix; empty: the usual crew."
    )
    allowances = models.JSONField(
        null=True, help_text="Sums allowed for what is not settled: name, amount, includes, settlement, taxable."
    )
    discount = models.JSONField(null=True, help_text="Amount or share, reason, before or after tax.")
    escalation = models.JSONField(null=True, help_text="The clause that lets the price move with an index.")
    recipes = models.JSONField(default=list, help_text="Recipes: recipe, version, quantities as asked, corners.")
    estimate = models.JSONField(help_text="The estimate without its lines: chain, groups, payments, findings.")
    price = models.DecimalField(**MONEY, null=True, help_text="Empty while something stands in its way.")
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return self.number

    @property
    def number(self) -> str:
        return f"Q{self.pk:05d}"


class Revision(Unchanging):
    """A quote as it was issued: everything that it was made from, and the papers' HTML and drawings.

    `sha256` covers `snapshot`, the drawings and the HTML as they stand here; a person's name and address are filled in
    only when a paper is rendered, so that they can be erased and the hash stays true.
    """

    quote = models.ForeignKey(Quote, on_delete=models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField(help_text="1 is the first that was issued.")
    snapshot = models.TextField(help_text="quote-snapshot/1, canonical JSON.")
    plan_svg = models.TextField()
    section_svg = models.TextField()
    proposal_html = models.TextField()
    cut_sheets_html = models.TextField()
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


class PriceImpact(Versioned):
    """What a version of a price list does to the quotes that are open, worked out once for one day."""

    price_list_version = models.ForeignKey(
        "estimating.PriceListVersion", on_delete=models.CASCADE, related_name="impacts"
    )
    on = models.DateField(help_text="The day whose prices are compared.")
    run = models.ForeignKey("estimating.Run", null=True, on_delete=models.SET_NULL, related_name="+")
    worked_out_at = models.DateTimeField(null=True, help_text="Empty while the run is at it.")
    quotes_touched = models.PositiveIntegerField(default=0)
    quotes_blocked = models.PositiveIntegerField(default=0, help_text="Of those: without a price in the new version.")
    change = models.DecimalField(**MONEY, default=0, help_text="Of all prices that are not blocked, together.")
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.price_list_version} on {self.on}"


class QuoteImpact(models.Model):
    """One open quote in an impact. `rank` 1 needs a person first."""

    impact = models.ForeignKey(PriceImpact, on_delete=models.CASCADE, related_name="quotes")
    rank = models.PositiveIntegerField()
    quote = models.ForeignKey(Quote, on_delete=models.CASCADE, related_name="impacts")
    quote_version = models.PositiveIntegerField(help_text="Of the quote as it was compared.")
    before = models.DecimalField(**MONEY, null=True)
    after = models.DecimalField(**MONEY, null=True, help_text="Empty where a line has no price in the new version.")
    change = models.DecimalField(**MONEY, null=True)
    lines = models.JSONField(help_text="Lines whose cost changes or that have no price: item, before, after, reason.")

    class Meta:
        ordering = ["impact", "rank"]
        constraints = [
            models.UniqueConstraint(fields=["impact", "quote"], name="one_impact_a_quote"),
            models.UniqueConstraint(fields=["impact", "rank"], name="one_rank_a_quote"),
        ]

    def __str__(self) -> str:
        return f"{self.quote} in {self.impact}"
