"""Background work and retried requests: each is a row before it is anything else."""

from django.conf import settings
from django.db import models

from estimating.models.base import Versioned


class Run(Versioned):
    """One piece of background work. The row is the truth; a queue message only says that there is one."""

    class State(models.TextChoices):
        QUEUED = "queued"
        RUNNING = "running"
        DONE = "done"
        FAILED = "failed"
        CANCELLED = "cancelled"

    kind = models.CharField(max_length=40)
    subject = models.CharField(max_length=100, help_text="what it is about, in words of its kind")
    state = models.CharField(max_length=10, choices=State.choices, default=State.QUEUED)
    percent = models.PositiveSmallIntegerField(default=0)
    doing = models.CharField(max_length=200, blank=True, help_text="what it does now")
    result = models.JSONField(null=True, help_text="what came of it, with links")
    problem = models.JSONField(null=True, help_text="why it failed, as problem details")
    attempts = models.PositiveSmallIntegerField(default=0, help_text="how often it was claimed")
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+")
    heartbeat_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(fields=["state", "heartbeat_at"], name="run_by_state")]

    def __str__(self) -> str:
        return f"{self.kind} {self.subject}"


class IdempotencyKey(models.Model):
    """A request that its sender may repeat, and the answer that it was given the first time."""

    token = models.ForeignKey("estimating.ApiToken", on_delete=models.CASCADE, related_name="+")
    method = models.CharField(max_length=10)
    path = models.CharField(max_length=500)
    key = models.CharField(max_length=255)
    body_sha256 = models.CharField(max_length=64)
    created_at = models.DateTimeField(db_index=True)
    status = models.PositiveSmallIntegerField(null=True)
    headers = models.JSONField(default=dict)
    body = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["token", "method", "path", "key"], name="one_effect_per_idempotency_key")
        ]

    def __str__(self) -> str:
        return self.key
