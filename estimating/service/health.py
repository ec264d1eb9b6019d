"""Whether this installation can do its work: asked by whatever watches it, so it tells nothing else."""

from django.conf import settings
from django.core.cache import cache
from django.db import connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe


@require_safe
@never_cache
def healthz(request: HttpRequest) -> JsonResponse:
    """200 when the database answers; the cache is told but is no reason to stop sending people here."""
    state = {"database": _answers(_ask_database)}
    if settings.REDIS_URL:
        state["redis"] = _answers(_ask_cache)
    return JsonResponse(state, status=200 if state["database"] == "ok" else 503)


def _ask_database() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")


def _ask_cache() -> None:
    cache.set("healthz", "ok", 10)


def _answers(ask) -> str:
    try:
        ask()
    except Exception:  # whatever the driver raises when it cannot be reached
        return "does not answer"
    return "ok"
