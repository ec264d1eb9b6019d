"""Customers and jobs; a homeowner's personal data stand in `Customer` and a job's name and address, nowhere else."""

from django.conf import settings
from django.db import models

from estimating.models.base import Versioned


class Customer(Versioned):
    """Who asked for the work. Everything here is personal data and can be erased; the row itself stays."""

    name = models.CharField(max_length=200, blank=True)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    address = models.TextField(blank=True)
    note = models.TextField(blank=True)
    created_at = models.DateTimeField()
    erased_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return self.name or f"customer {self.pk} (erased)"


class Job(Versioned):
    """One roof terrace, from the first call to closed."""

    class Status(models.TextChoices):
        LEAD = "lead"
        SURVEYED = "surveyed"
        QUOTED = "quoted"
        ACCEPTED = "accepted"
        BUILDING = "building"
        CLOSED = "closed"
        LOST = "lost"

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="jobs")
    name = models.CharField(max_length=200)
    site_address = models.TextField(blank=True)
    jurisdiction = models.CharField(max_length=200, blank=True, help_text="Who issues the permit.")
    status = models.CharField(max_length=10, choices=Status.choices, default=Status.LEAD)
    note = models.TextField(blank=True)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]

    @property
    def number(self) -> str:
        return f"J{self.pk:05d}"

    def __str__(self) -> str:
        return f"{self.number} {self.name}"
