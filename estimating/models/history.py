"""Who did what, when: one row a change, never altered."""

from django.conf import settings
from django.db import models

from estimating.models.base import AppendOnly


class History(AppendOnly):
    """One change. `changes` is `{field: [old, new]}`; of personal data only the field's name stands there."""

    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    subject = models.CharField(max_length=40, help_text="What was changed: customer, job, price-list, ...")
    subject_id = models.BigIntegerField()
    action = models.CharField(max_length=40)
    changes = models.JSONField(default=dict)

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "history"
        indexes = [models.Index(fields=["subject", "subject_id"], name="history_by_subject")]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.action} {self.subject} {self.subject_id}"
