"""What a version of a price list does to the quotes that are open."""

from django.conf import settings
from django.db import models

from estimating.models.base import Versioned
from quotes.models.quotes import MONEY, Quote


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
