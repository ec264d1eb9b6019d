"""What was said and what was handed in about a customer or a job: written once, and erased where a person asks."""

from datetime import datetime

from django.conf import settings
from django.db import models

from estimating.matching import searchable
from estimating.models.base import AppendOnly
from estimating.models.customers import Keyed, OfCustomerOrJob


class Erasable(AppendOnly):
    """A record that stays as it was written, save that its `erasable` columns can be blanked, once, for good."""

    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    erased_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        abstract = True

    @property
    def version(self) -> int:
        """Its tag changes with its erasure and with nothing else."""
        return 1 if self.erased_at is None else 2

    def erase(self, now: datetime) -> None:
        """Blank the erasable columns; what was erased before stays so."""
        blank = dict.fromkeys(self.erasable, "")
        if type(self)._default_manager.filter(pk=self.pk, erased_at=None).update(**blank, erased_at=now):
            for name, value in {**blank, "erased_at": now}.items():
                setattr(self, name, value)


class Note(OfCustomerOrJob, Keyed, Erasable):
    """Something said or seen; a correction is another note."""

    erasable = ("text", "words")

    text = models.TextField(blank=True)

    class Meta(OfCustomerOrJob.Meta):
        ordering = ["id"]

    def __str__(self) -> str:
        return f"note {self.pk}"

    def keys(self) -> dict[str, str]:
        return {"words": searchable(self.text)}


class StoredFile(OfCustomerOrJob, Erasable):
    """A photo or a paper that somebody handed in, kept under the hash of its bytes."""

    erasable = ("name",)

    class Kind(models.TextChoices):
        PHOTO = "photo"
        DRAWING = "drawing"
        CONSENT = "consent", "consent of the roof's owner"
        OTHER = "other"

    kind = models.CharField(max_length=10, choices=Kind.choices)
    name = models.CharField(max_length=150, blank=True, help_text="As it was called, cleaned.")
    sha256 = models.CharField(max_length=64, editable=False)
    size = models.PositiveIntegerField(help_text="[bytes]")
    media_type = models.CharField(max_length=60, help_text="As the bytes say, whatever the name says.")
    folder = models.BigIntegerField(
        editable=False, help_text="Number of the customer it was handed in for: customers share no stored bytes."
    )

    class Meta(OfCustomerOrJob.Meta):
        ordering = ["id"]

    def __str__(self) -> str:
        return self.name or f"file {self.pk} (erased)"

    @property
    def path(self) -> str:
        """Where the storage keeps it."""
        return f"customers/{self.folder}/{self.sha256}"
