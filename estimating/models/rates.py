"""What an hour costs and how long work takes; a changed rate is a new row with a later date, nothing is overwritten."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from estimating.models.base import AppendOnly


class LaborRate(AppendOnly):
    """Burdened cost of one billable hour of one grade, and how many of that grade stand in the usual crew."""

    grade = models.CharField(max_length=60)
    rate = models.DecimalField(max_digits=15, decimal_places=4, help_text="Money an hour, burden included.")
    crew_count = models.DecimalField(max_digits=5, decimal_places=2, default=1, help_text="0: not in the usual crew.")
    basis = models.JSONField(
        default=dict, blank=True, help_text="Wages and burden by parts a year, billable hours; or words."
    )
    valid_from = models.DateField()
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["grade", "valid_from", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(rate__gt=0) & Q(crew_count__gte=0), name="labor_rate_positive")
        ]

    def __str__(self) -> str:
        return f"{self.grade} {self.rate}/h from {self.valid_from}"


class CrewMix(AppendOnly):
    """A named crew: how many of each grade; a changed mix is a new row of the same name."""

    name = models.CharField(max_length=60)
    counts = models.JSONField(help_text='[{"grade": "lead", "count": "1"}, ...]')
    note = models.CharField(max_length=200, blank=True)
    valid_from = models.DateField()
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["name", "valid_from", "id"]
        verbose_name_plural = "crew mixes"

    def __str__(self) -> str:
        return f"{self.name} from {self.valid_from}"


class ProductionRate(AppendOnly):
    """Person-hours that one unit of a task takes: low, typical, high."""

    task = models.CharField(max_length=60)
    unit = models.CharField(max_length=20)
    low = models.DecimalField(max_digits=12, decimal_places=5, help_text="[h/unit]")
    typical = models.DecimalField(max_digits=12, decimal_places=5, help_text="[h/unit]")
    high = models.DecimalField(max_digits=12, decimal_places=5, help_text="[h/unit]")
    source = models.CharField(max_length=200)
    valid_from = models.DateField()
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["task", "valid_from", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(low__gt=0) & Q(typical__gte=F("low")) & Q(high__gte=F("typical")),
                name="production_rate_low_typical_high",
            )
        ]

    def __str__(self) -> str:
        return f"{self.task} {self.typical} h/{self.unit} from {self.valid_from}"
