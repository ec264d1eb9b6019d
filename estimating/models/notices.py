"""Notices by jurisdiction and date; a changed wording is a new row with a later date, nothing is overwritten."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from estimating.models.base import AppendOnly


class Notice(AppendOnly):
    """What a jurisdiction wants said in a proposal or at its acceptance, in whose words, from a day on.

    `body` is text with blanks, `{{cancel_by}}`; those that no record fills are filled from `values`. An empty body
    says that the notice is needed and its wording still to be written. Past `review_by` the wording is out of date.
    """

    class Kind(models.TextChoices):
        CANCELLATION = "cancellation", "cancellation notice"
        LIEN = "lien", "lien notice"
        LICENSING = "licensing", "licensing notice"
        INSURANCE = "insurance", "insurance notice"
        DEPOSIT = "deposit", "deposit notice"
        TRUST_ACCOUNT = "trust-account", "notice about money held in trust"
        SUBCONTRACTORS = "subcontractors", "notice about subcontractors"
        ELECTRONIC_RECORDS = "electronic-records", "notice about electronic records"
        FINANCING = "financing", "financing notice"
        LEAD_PAINT = "lead-paint", "lead paint notice"
        ARBITRATION = "arbitration", "arbitration notice"
        OTHER = "other", "further notice"

    class Placement(models.TextChoices):
        PROPOSAL = "proposal", "in the proposal"
        ACCEPTANCE = "acceptance", "where it is accepted, before the name is typed"

    jurisdiction = models.CharField(
        max_length=200, blank=True,
        help_text="As the job has it, or its state (CA, California); large and small letters are alike. Empty: "
                  "everywhere that has none of its own.",
    )  # fmt: skip
    kind = models.CharField(max_length=20, choices=Kind.choices)
    title = models.CharField(max_length=200)
    body = models.TextField(blank=True, help_text="Text with blanks; of one that is not needed, the reason.")
    values = models.JSONField(default=dict, blank=True, help_text="The office's text for blanks of its own.")
    placement = models.CharField(max_length=10, choices=Placement.choices, default=Placement.PROPOSAL)
    copies = models.PositiveSmallIntegerField(default=1)
    point_size = models.PositiveSmallIntegerField(default=10, help_text="Least size of its letters. [pt]")
    bold = models.BooleanField(default=False)
    cancel_days = models.PositiveSmallIntegerField(
        null=True, blank=True,
        help_text="Of a cancellation notice: business days that it gives, where they are more than the rules on file.",
    )  # fmt: skip
    not_needed = models.BooleanField(default=False, help_text="This kind is not needed in this jurisdiction.")
    source = models.CharField(max_length=300, help_text="Statute, regulation or letter that it is read from.")
    said_by = models.CharField(max_length=200, help_text="Who told the office that it applies: its counsel, say.")
    valid_from = models.DateField()
    review_by = models.DateField(help_text="The day by which counsel looks at it again.")
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["jurisdiction", "kind", "valid_from", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(copies__in=(1, 2)), name="notice_in_one_or_two_copies"),
            models.CheckConstraint(condition=Q(review_by__gte=F("valid_from")), name="notice_reviewed_after_its_day"),
            models.CheckConstraint(condition=Q(not_needed=False) | ~Q(body=""), name="notice_not_needed_says_why"),
            models.CheckConstraint(
                condition=Q(cancel_days=None) | Q(kind="cancellation", cancel_days__gte=1),
                name="notice_days_of_cancellation",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.jurisdiction or 'everywhere'} from {self.valid_from}"
