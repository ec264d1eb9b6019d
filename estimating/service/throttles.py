"""Requests a minute for each token, and log-ins for each address and name, counted in the shared cache."""

import hashlib
import logging
import time
from typing import Any

from django.conf import settings
from django.core.cache import cache
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

logger = logging.getLogger(__name__)
WINDOW = 60  # s


def over_limit(name: str, limit: int) -> int | None:
    """Count one more of `name` in this minute; the seconds to wait where that is over `limit`, else None.

    Where the cache is away nothing is counted: an office must not stand still for want of a counter.
    """
    now = time.time()
    key = f"rate:{hashlib.sha256(name.encode()).hexdigest()}:{int(now // WINDOW)}"
    try:
        cache.add(key, 0, 2 * WINDOW)
        return WINDOW - int(now % WINDOW) if cache.incr(key) > limit else None
    except Exception:  # whatever the cache's own library raises when it cannot be reached
        logger.warning("requests are not counted, the cache does not answer", exc_info=True)
        return None


class TokenThrottle(BaseThrottle):
    """Each token's requests, or each address's where there is no token."""

    def allow_request(self, request: Request, view: Any) -> bool:
        who = f"token {request.auth.pk}" if request.auth else f"address {self.get_ident(request)}"
        self._wait = over_limit(who, settings.REQUESTS_PER_MINUTE)
        return self._wait is None

    def wait(self) -> float | None:
        return self._wait
