"""Bearer tokens: making them, revoking them, and knowing who calls by one."""

import hashlib
import secrets
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from estimating.models import ApiToken, Scope, User

LIFE = timedelta(days=90)


def digest(token: str) -> str:
    """What is kept of a token. Its 256 random bits need no salt and no slow hash."""
    return hashlib.sha256(token.encode()).hexdigest()


def make_token(
    user: User, name: str, *, scope: str = Scope.FULL, life: timedelta = LIFE, now: datetime
) -> tuple[str, ApiToken]:
    """A new token, to be shown once, and the row that stands for it."""
    token = secrets.token_urlsafe(32)
    row = ApiToken.objects.create(
        token_sha256=digest(token), name=name, scope=scope, user=user, created_at=now, expires_at=now + life
    )
    return token, row


def revoke_token(token: ApiToken, *, now: datetime) -> None:
    """From now on nobody may call by it."""
    ApiToken.objects.filter(pk=token.pk, revoked_at=None).update(revoked_at=now)


class BearerAuthentication(BaseAuthentication):
    """`Authorization: Bearer TOKEN`."""

    def authenticate(self, request: Request) -> tuple[User, ApiToken] | None:
        kind, _, token = request.META.get("HTTP_AUTHORIZATION", "").partition(" ")
        if kind.lower() != "bearer":
            return None
        row = ApiToken.objects.select_related("user").filter(token_sha256=digest(token.strip())).first()
        if row is None or not row.is_valid(timezone.now()):
            raise AuthenticationFailed("This token is unknown, expired or revoked; POST /api/v1/tokens makes a new one")
        return row.user, row

    def authenticate_header(self, request: Request) -> str:
        return "Bearer"


class BearerScheme(OpenApiAuthenticationExtension):
    """How the schema describes it."""

    target_class = BearerAuthentication
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer"}
