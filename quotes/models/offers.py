"""A revision on its way: offered by link, opened, asked about, declined or accepted, signed by each party."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from estimating.models.base import AppendOnly
from estimating.models.notes import Erasable
from quotes.models.quotes import MONEY
from quotes.models.revisions import Revision


class Offer(AppendOnly):
    """A revision that was sent to those who may accept it. What happens to it stands in events and an acceptance."""

    revision = models.OneToOneField(Revision, on_delete=models.PROTECT, related_name="offer")
    agreed_where = models.CharField(max_length=40, help_text="How and where it was negotiated, as the office says.")
    expires_at = models.DateTimeField(help_text="End of the last day, in the office's time zone.")
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"offer of {self.revision}"

    @property
    def version(self) -> int:
        """Its tag follows what happened to it: events, save openings, and signatures."""
        happened = self.events.exclude(kind=OfferEvent.Kind.OPENED).count()
        return 1 + happened + Signature.objects.filter(acceptance__offer=self).count()


class OfferLink(Erasable):
    """The link by which one person reads an offer and signs it. Only the token's hash is kept.

    The token itself is made anew from `seed` and the installation's key where a mail needs it.
    """

    class Role(models.TextChoices):
        OWNER = "owner"
        CO_OWNER = "co-owner", "second owner"

    erasable = ("name", "email")

    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="links")
    role = models.CharField(max_length=10, choices=Role.choices)
    name = models.CharField(max_length=200, blank=True)
    email = models.EmailField(blank=True)
    seed = models.CharField(max_length=64, editable=False)
    token_sha256 = models.CharField(max_length=64, unique=True, editable=False)

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["offer", "role"], name="one_link_a_role")]

    def __str__(self) -> str:
        return f"{self.role} of {self.offer}"


class OfferEvent(Erasable):
    """Something that happened to an offer; `created_at` is when, `created_by` who of the office, or `link` who else."""

    class Kind(models.TextChoices):
        OPENED = "opened"
        QUESTION = "question"
        ANSWER = "answer"
        DECLINED = "declined"
        WITHDRAWN = "withdrawn"
        CANCELLED = "cancelled", "cancelled within the time for it"

    erasable = ("text",)

    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    link = models.ForeignKey(OfferLink, null=True, on_delete=models.PROTECT, related_name="events")
    answers = models.ForeignKey("self", null=True, on_delete=models.PROTECT, related_name="answered_by")
    text = models.TextField(blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["offer"], condition=Q(kind__in=["declined", "withdrawn"]), name="an_offer_ends_once"
            ),
            models.UniqueConstraint(fields=["offer"], condition=Q(kind="cancelled"), name="a_sale_is_cancelled_once"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.offer}"


class Acceptance(AppendOnly):
    """What was accepted of an offer: the revision by its hash, and which way to build it. One an offer."""

    version = 1

    offer = models.OneToOneField(Offer, on_delete=models.PROTECT, related_name="acceptance")
    option = models.CharField(max_length=1, blank=True, help_text="Key of the option; empty: as first offered.")
    price = models.DecimalField(**MONEY)
    revision_sha256 = models.CharField(max_length=64)
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"acceptance of {self.offer}"


class Signature(Erasable):
    """One party's signature under an acceptance, with everything that was shown and asked before it.

    `created_at` is when it was given. Of owners: the consent to electronic records as it was shown, what was typed to
    show that the papers can be read, the notices as completed for this person, and until when the sale may be
    cancelled. The office's countersignature has none of these.
    """

    class Role(models.TextChoices):
        OWNER = "owner"
        CO_OWNER = "co-owner", "second owner"
        OFFICE = "office"

    erasable = ("name", "remote_address", "user_agent")

    acceptance = models.ForeignKey(Acceptance, on_delete=models.PROTECT, related_name="signatures")
    role = models.CharField(max_length=10, choices=Role.choices)
    link = models.OneToOneField(OfferLink, null=True, on_delete=models.PROTECT, related_name="signature")
    name = models.CharField(max_length=200, blank=True, help_text="As typed.")
    remote_address = models.CharField(max_length=60, blank=True)
    user_agent = models.CharField(max_length=300, blank=True)
    signed_sha256 = models.CharField(
        max_length=64, help_text="Hash of what was signed: revision, option, price, notices."
    )
    consent = models.JSONField(null=True, help_text="Version, text and moment of the consent to electronic records.")
    access_shown = models.CharField(max_length=64, blank=True, help_text="What was read off the paper and typed.")
    agreed_where = models.CharField(max_length=40, blank=True, help_text="As this person says.")
    over_65 = models.BooleanField(null=True)
    disaster = models.BooleanField(null=True, help_text="Whether a disaster was declared for the place.")
    transaction_date = models.DateField(null=True, help_text="In the office's time zone.")
    cancel_by = models.DateField(null=True, help_text="Last day, counted the careful way.")
    cancel_rule = models.JSONField(null=True, help_text="The rule that the day was counted by, its basis and source.")
    notices = models.JSONField(default=list, help_text="The notices as completed and shown.")

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["acceptance", "role"], name="one_signature_a_role")]

    def __str__(self) -> str:
        return f"{self.role} under {self.acceptance}"
