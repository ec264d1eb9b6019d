"""Who may do what: by the person's role and the token's scope."""

from typing import Any

from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request

from estimating.models import Role, Scope

OFFICE = frozenset({Role.OWNER, Role.ESTIMATOR})
READERS = OFFICE | {Role.READ_ONLY}
EVERYONE = READERS | {Role.CREW}
OWNER = frozenset({Role.OWNER})


class RolePermission(BasePermission):
    """A view says in `read_roles` and `write_roles` who may read and change; crew see nothing unless it names them."""

    def has_permission(self, request: Request, view: Any) -> bool:
        if not (request.user and request.user.is_authenticated):
            return False
        reading = request.method in SAFE_METHODS
        if not reading and getattr(request.auth, "scope", Scope.FULL) == Scope.READ:
            self.message = "This token may only read"
            return False
        roles = getattr(view, "read_roles", READERS) if reading else getattr(view, "write_roles", OFFICE)
        if request.user.role in roles:
            return True
        may = " or ".join(sorted(roles))
        self.message = f"Your role is {request.user.role}; {'reading' if reading else 'changing'} this is for {may}"
        return False
