"""Mail that goes out: a row until the mail server has it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from estimating.models.base import Versioned
from quotes.models.offers import Offer, OfferLink


class OutboxMail(Versioned):
    """One mail to one person: the exact message, its Message-ID, and how far it has come.

    `waiting` is due at `due_at`; `sending` has been claimed at `claimed_at` and is due again where its worker was cut
    off; `sent` means that the mail server answered 250; `refused` that it answered for good, in `words`, and that a
    person must look at it. `key` says what the mail is, so that the same one is never written twice.
    """

    class Kind(models.TextChoices):
        PROPOSAL = "proposal"
        RECEIPT = "receipt"
        SIGNED = "signed", "signed by all"
        QUESTION = "question"
        ANSWER = "answer"
        NOTICE = "notice"

    class State(models.TextChoices):
        WAITING = "waiting"
        SENDING = "sending"
        SENT = "sent"
        REFUSED = "refused"
        STOPPED = "stopped", "stopped by a person"

    key = models.CharField(max_length=120, unique=True)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    job = models.ForeignKey("estimating.Job", on_delete=models.PROTECT, related_name="mails")
    offer = models.ForeignKey(Offer, null=True, on_delete=models.PROTECT, related_name="mails")
    link = models.ForeignKey(OfferLink, null=True, on_delete=models.PROTECT, related_name="mails")
    recipient = models.CharField(max_length=320, blank=True)
    subject = models.CharField(max_length=200, blank=True)
    message_id = models.CharField(max_length=200, unique=True)
    message = models.BinaryField(
        help_text="The message as it goes out, byte for byte, with a place holder for the token of its link."
    )
    state = models.CharField(max_length=10, choices=State.choices, default=State.WAITING)
    attempts = models.PositiveIntegerField(default=0)
    due_at = models.DateTimeField()
    claimed_at = models.DateTimeField(null=True)
    words = models.TextField(blank=True, help_text="What the mail server said last.")
    resend_of = models.ForeignKey("self", null=True, on_delete=models.PROTECT, related_name="resent_as")
    created_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    seen_at = models.DateTimeField(null=True, help_text="When a person dealt with a refusal.")

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["state", "due_at"], name="mail_by_state_and_due")]
        constraints = [
            models.CheckConstraint(
                condition=~Q(state="sent") | Q(sent_at__isnull=False), name="sent_mail_has_its_moment"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} mail {self.pk}"
