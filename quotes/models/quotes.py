"""Quotes: a price in the making, and the other ways to build the deck that go out with it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from estimating.models.base import Versioned

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
    note_edits = models.JSONField(
        default=list, db_default=[], help_text="What the office adds to the notes, rewords or leaves out, and why."
    )
    acknowledgements = models.JSONField(
        default=list, db_default=[], help_text="Findings in spite of which a named person goes on, and why."
    )
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


class QuoteOption(models.Model):
    """Another way to build the whole deck, offered beside the first: a quote of the same job, priced by itself."""

    quote = models.ForeignKey(Quote, on_delete=models.PROTECT, related_name="options")
    position = models.PositiveSmallIntegerField(help_text="1 is option A.")
    option = models.ForeignKey(Quote, on_delete=models.PROTECT, related_name="option_of")
    name = models.CharField(max_length=80)
    words = models.TextField(blank=True, help_text="What is different, for the homeowner.")

    class Meta:
        ordering = ["quote", "position"]
        constraints = [
            models.UniqueConstraint(fields=["quote", "position"], name="one_option_a_place"),
            models.UniqueConstraint(fields=["quote", "option"], name="a_quote_is_an_option_once"),
            models.CheckConstraint(condition=~Q(quote=F("option")), name="no_quote_is_its_own_option"),
        ]

    def __str__(self) -> str:
        return f"option {self.key} of {self.quote_id}"

    @property
    def key(self) -> str:
        return chr(ord("A") + self.position - 1)
