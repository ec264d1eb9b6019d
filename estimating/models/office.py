"""The office that this installation serves: letterhead, and how it builds a price."""

from decimal import Decimal

from django.db import models
from django.db.models import Q

from estimating.models.base import Versioned

RATE = {"max_digits": 7, "decimal_places": 6, "default": Decimal(0)}


class Office(Versioned):
    """One row. Rates are fractions: 0.05 is five per cent."""

    class TaxPlace(models.TextChoices):
        COST = "cost", "on taxable cost, before contingency"
        SALE = "sale", "on the sale, after profit"
        UNKNOWN = "unknown", "not decided: ask the accountant"

    class Basis(models.TextChoices):
        COMPOUND = "compound", "on everything before it"
        COST = "cost", "on direct cost and contingency"
        DIRECT = "direct", "on direct cost alone"

    class ProfitBasis(models.TextChoices):
        COMPOUND = "compound", "on everything before it"
        COST = "cost", "on direct cost and contingency"
        DIRECT = "direct", "on direct cost alone"
        MARGIN = "margin", "a share of the sale itself"

    class PaperSize(models.TextChoices):
        LETTER = "letter", "letter, 8 1/2 by 11 in"
        A4 = "a4", "A4, 210 by 297 mm"

    id = models.PositiveSmallIntegerField(primary_key=True, default=1, editable=False)
    name = models.CharField(max_length=200)
    address = models.TextField(blank=True, help_text="Letterhead, one line a line.")
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    license_number = models.CharField(max_length=60, blank=True)
    time_zone = models.CharField(max_length=60, default="UTC", help_text="IANA name; dates are dates there.")
    currency = models.CharField(max_length=3, default="USD", help_text="ISO 4217; one an installation.")

    contingency_rate = models.DecimalField(**RATE)
    overhead_rate = models.DecimalField(**RATE)
    profit_rate = models.DecimalField(**RATE)
    overhead_on = models.CharField(max_length=10, choices=Basis.choices, default=Basis.COMPOUND)
    profit_on = models.CharField(max_length=10, choices=ProfitBasis.choices, default=ProfitBasis.COMPOUND)
    tax_rate = models.DecimalField(**RATE)
    tax_place = models.CharField(max_length=10, choices=TaxPlace.choices, default=TaxPlace.UNKNOWN)
    tax_is_fallback = models.BooleanField(
        default=True, db_default=True,
        help_text="Whether rate and place above hold where no tax rule names the job's jurisdiction; if not, such a "
                  "job has no price until a rule is entered.",
    )
    payment_schedule = models.JSONField(
        default=list, blank=True, help_text='[{"share": "0.30", "milestone": "on signing"}, ...]; shares add up to 1.'
    )
    quote_valid_days = models.PositiveSmallIntegerField(default=30)
    ordering_held_days = models.PositiveSmallIntegerField(
        null=True, blank=True,
        help_text="Days after acceptance until goods are ordered; empty: until the day to cancel by has passed.",
    )
    paper_size = models.CharField(
        max_length=6, choices=PaperSize.choices, default=PaperSize.LETTER, db_default="letter"
    )

    exclusions = models.TextField(blank=True, help_text="What the price leaves out, one a line.")
    warranty = models.TextField(blank=True)
    notices = models.TextField(blank=True, help_text="Notices that counsel wants printed, one paragraph a line.")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="office_is_one_row"),
            models.CheckConstraint(
                condition=Q(contingency_rate__gte=0) & Q(overhead_rate__gte=0) & Q(profit_rate__gte=0)
                & Q(tax_rate__gte=0),
                name="office_rates_not_negative",
            ),
            models.CheckConstraint(
                condition=~Q(profit_on="margin") | Q(profit_rate__lt=1), name="office_margin_below_one"
            ),
        ]

    def __str__(self) -> str:
        return self.name
