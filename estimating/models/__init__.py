"""What the office keeps, one module a subject."""

from estimating.models.people import ApiToken, Role, Scope, User
from estimating.models.runs import IdempotencyKey, Run

__all__ = ["ApiToken", "IdempotencyKey", "Role", "Run", "Scope", "User"]
