"""Customers, their jobs and whom to call; a person's data stand here and in notes and files, and can be erased."""

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from estimating.matching import email_key, name_address_key, phone_digits, searchable
from estimating.models.base import Versioned


class Keyed(models.Model):
    """A record that keeps normal forms of what people typed, so that it is found however it is spelled."""

    words = models.TextField(editable=False, default="", help_text="What it is searched by.")

    class Meta:
        abstract = True

    def keys(self) -> dict[str, str]:
        """The normal forms by column."""
        raise NotImplementedError

    def save(self, *args: Any, **kwargs: Any) -> None:
        keys = self.keys()
        for name, value in keys.items():
            setattr(self, name, value)
        if (fields := kwargs.get("update_fields")) is not None:
            kwargs["update_fields"] = {*fields, *keys}
        super().save(*args, **kwargs)


class Customer(Keyed, Versioned):
    """Who asked for the work. Everything here is personal data and can be erased; the row itself stays."""

    name = models.CharField(max_length=200, blank=True)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    address = models.TextField(blank=True)
    postal_address = models.TextField(blank=True, help_text="Where letters go, if not to the address.")
    note = models.TextField(blank=True)
    created_at = models.DateTimeField()
    erased_at = models.DateTimeField(null=True, blank=True)
    merged_into = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="merged",
        help_text="The same customer under another number, whose this one's jobs are now.",
    )  # fmt: skip
    email_key = models.CharField(max_length=300, editable=False, default="", db_index=True)
    phone_key = models.CharField(max_length=40, editable=False, default="", db_index=True)
    name_address_key = models.TextField(editable=False, default="")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=~Q(merged_into=F("id")), name="customer_not_merged_into_itself"),
        ]

    def __str__(self) -> str:
        return self.name or f"customer {self.pk} (erased)"

    def keys(self) -> dict[str, str]:
        return {
            "words": searchable(self.name, self.email, self.address, self.postal_address, self.note,
                                phones=(self.phone,)),
            "email_key": email_key(self.email), "phone_key": phone_digits(self.phone),
            "name_address_key": name_address_key(self.name, self.address),
        }  # fmt: skip


class Job(Keyed, Versioned):
    """One roof terrace, from the first call to closed."""

    class Status(models.TextChoices):
        LEAD = "lead"
        SURVEYED = "surveyed"
        FRAMED = "framed"
        QUOTED = "quoted"
        ACCEPTED = "accepted"
        DEPOSIT_PAID = "deposit-paid"
        SCHEDULED = "scheduled"
        BUILDING = "building"
        PUNCH = "punch"
        HANDED_OVER = "handed-over"
        CLOSED = "closed"
        LOST = "lost"

    class RoofOwner(models.TextChoices):
        UNKNOWN = "unknown", "not known yet"
        CUSTOMER = "customer", "the customer"
        BOARD = "board", "a condominium or co-op board"
        LANDLORD = "landlord", "a landlord"

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="jobs")
    name = models.CharField(max_length=200)
    site_address = models.TextField(blank=True)
    jurisdiction = models.CharField(max_length=200, blank=True, help_text="Who issues the permit.")
    status = models.CharField(max_length=20, choices=Status.choices, default=Status.LEAD)
    note = models.TextField(blank=True)
    roof_owner = models.CharField(
        max_length=10, choices=RoofOwner.choices, default=RoofOwner.UNKNOWN, help_text="Who owns and controls the roof."
    )
    consent_needed = models.BooleanField(null=True, blank=True, help_text="Of the roof's owner; empty: not known.")
    consent_asked_on = models.DateField(null=True, blank=True)
    consent_given_on = models.DateField(null=True, blank=True)
    consent_file = models.ForeignKey(
        "estimating.StoredFile", null=True, blank=True, on_delete=models.PROTECT, related_name="+",
        help_text="The consent as it was given in writing.",
    )  # fmt: skip
    year_built = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Of the building, if known.")
    financed = models.BooleanField(null=True, blank=True, help_text="Against the home; empty: not asked.")
    accepted_on = models.DateField(null=True, blank=True)
    deposit_received_on = models.DateField(null=True, blank=True)
    starts_on = models.DateField(null=True, blank=True)
    built_on = models.DateField(null=True, blank=True)
    handed_over_on = models.DateField(null=True, blank=True)
    paid_on = models.DateField(null=True, blank=True)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(consent_given_on=None) | Q(consent_file__isnull=False), name="consent_given_in_writing"
            ),
            models.CheckConstraint(
                condition=Q(consent_given_on=None) | Q(consent_asked_on=None)
                | Q(consent_given_on__gte=F("consent_asked_on")),
                name="consent_given_after_asking",
            ),
        ]  # fmt: skip

    @property
    def number(self) -> str:
        return f"J{self.pk:05d}"

    def __str__(self) -> str:
        return f"{self.number} {self.name}"

    def keys(self) -> dict[str, str]:
        return {"words": searchable(self.name, self.site_address, self.jurisdiction, self.note)}


class OfCustomerOrJob(models.Model):
    """What hangs either on a customer or on one of the jobs."""

    customer = models.ForeignKey(Customer, null=True, blank=True, on_delete=models.PROTECT, related_name="%(class)ss")
    job = models.ForeignKey(Job, null=True, blank=True, on_delete=models.PROTECT, related_name="%(class)ss")

    class Meta:
        abstract = True
        constraints = [
            models.CheckConstraint(
                condition=Q(customer__isnull=False, job=None) | Q(customer=None, job__isnull=False),
                name="%(class)s_of_customer_or_job",
            ),
        ]

    @property
    def owner(self) -> Customer:
        """The customer whose data these are."""
        return self.customer or self.job.customer


class Contact(OfCustomerOrJob, Keyed, Versioned):
    """A person to call about a customer or a job."""

    class Role(models.TextChoices):
        OWNER = "owner"
        CO_OWNER = "co-owner"
        BOARD = "board"
        LANDLORD = "landlord"
        BUILDING_MANAGER = "building-manager", "building manager"
        ROOFER = "roofer"
        ENGINEER = "engineer"
        OTHER = "other"

    name = models.CharField(max_length=200, blank=True)
    role = models.CharField(max_length=20, choices=Role.choices)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    email_key = models.CharField(max_length=300, editable=False, default="", db_index=True)
    phone_key = models.CharField(max_length=40, editable=False, default="", db_index=True)

    class Meta(OfCustomerOrJob.Meta):
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.name} ({self.get_role_display()})"

    def keys(self) -> dict[str, str]:
        return {
            "words": searchable(self.name, self.email, phones=(self.phone,)),
            "email_key": email_key(self.email), "phone_key": phone_digits(self.phone),
        }  # fmt: skip
