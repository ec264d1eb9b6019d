"""The people of the office and the tokens that programs use in their name."""

from datetime import datetime

from django.contrib.auth.models import AbstractUser
from django.db import models


class Role(models.TextChoices):
    OWNER = "owner", "owner"
    ESTIMATOR = "estimator", "estimator"
    CREW = "crew", "crew (papers only, no prices)"
    READ_ONLY = "read-only", "read-only"


class User(AbstractUser):
    """A person of the office; the role says what they may see and do."""

    role = models.CharField(max_length=10, choices=Role.choices, default=Role.READ_ONLY)


class Scope(models.TextChoices):
    FULL = "full", "whatever the person may do"
    READ = "read", "reading only"


class ApiToken(models.Model):
    """A program's key: 256 random bits, of which only the SHA-256 is kept."""

    token_sha256 = models.CharField(max_length=64, unique=True, editable=False)
    name = models.CharField(max_length=100)
    scope = models.CharField(max_length=10, choices=Scope.choices, default=Scope.FULL)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="tokens")
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.name} ({self.user})"

    def is_valid(self, now: datetime) -> bool:
        return self.revoked_at is None and now < self.expires_at and self.user.is_active
