"""Sales tax by jurisdiction and date; a changed rule is a new row with a later date, nothing is overwritten."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from estimating.models.base import AppendOnly


class TaxRule(AppendOnly):
    """What sales tax a jurisdiction asks of such work from a day on, where it stands, and who said so."""

    class Place(models.TextChoices):
        COST = "cost", "on taxable cost, before contingency"
        SALE = "sale", "on the sale, after profit"

    class TaxedLines(models.TextChoices):
        MARKED = "marked", "lines whose material is marked taxable"
        MATERIALS = "materials", "all materials"
        ALL = "all", "all lines; of a tax on the sale, the whole sale"

    jurisdiction = models.CharField(max_length=200, help_text="As the job has it; large and small letters are alike.")
    rate = models.DecimalField(max_digits=7, decimal_places=6, help_text="A fraction: 0.0725 is 7.25 per cent.")
    place = models.CharField(max_length=10, choices=Place.choices)
    taxed_lines = models.CharField(max_length=10, choices=TaxedLines.choices, help_text="What it falls on.")
    valid_from = models.DateField()
    source = models.CharField(max_length=300, help_text="Statute, regulation or letter that it is read from.")
    said_by = models.CharField(max_length=200, help_text="Who told the office that it applies: the accountant, say.")
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["jurisdiction", "valid_from", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(rate__gte=0) & Q(rate__lte=1), name="tax_rate_is_a_fraction"),
            models.CheckConstraint(condition=Q(place="cost") | Q(taxed_lines="all"),
                                   name="tax_on_the_sale_falls_on_all_of_it"),
        ]

    def __str__(self) -> str:
        return f"{self.jurisdiction} {self.rate} on {self.place} from {self.valid_from}"
