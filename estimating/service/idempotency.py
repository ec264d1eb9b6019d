"""Retries without a second effect: a request with an `Idempotency-Key` is answered once and then repeated."""

import hashlib
import json
from collections.abc import Callable, Collection, Mapping
from datetime import datetime, timedelta
from functools import wraps
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.encoders import JSONEncoder

from estimating.models import IdempotencyKey
from estimating.service.parsers import check_length
from estimating.service.problems import MEDIA_TYPE, Problem, as_problem, describe, handle

LIFE = timedelta(hours=24)
LONGEST = 255
# Answers that did not come of the body: who asked, when, or on what condition. The same request may fare better later.
NOT_KEPT = frozenset({401, 403, 404, 408, 411, 412, 413, 415, 428, 429})
KEPT_HEADERS = ("Location", "ETag", "Retry-After")

View = Callable[..., Response]


def idempotent(method: View | None = None, *, required: bool = False) -> Any:
    """Decorate a POST method of a view: whatever it writes is written once for each key.

    The key's row goes first, in the effect's own transaction, so of two at once the second waits for the first and
    then repeats its answer. Answers of 500 and above roll everything back and are not kept.
    """
    if method is None:
        return lambda inner: idempotent(inner, required=required)

    @wraps(method)
    def answer(view: Any, request: Request, *args: Any, **kwargs: Any) -> Response:
        key = request.headers.get("Idempotency-Key", "")
        if not key:
            if required:
                raise Problem(400, "Send an Idempotency-Key header, so that a retry has no second effect")
            return method(view, request, *args, **kwargs)
        if len(key) > LONGEST or not key.isprintable() or not key.isascii():
            raise Problem(400, f"Idempotency-Key must be 1 to {LONGEST} printable ASCII characters")
        check_length(request, view)
        body = hashlib.sha256(request._request.body).hexdigest()
        now = timezone.now()
        try:
            with transaction.atomic():
                row, repeated = _enter(request, key, body, now)
                if repeated:
                    return _repeat(row, body)
                response = _effect(view, method, request, args, kwargs)
                if response.status_code >= 500 or response.status_code in NOT_KEPT:
                    raise _NotKept(response)
                _keep(row, response)
                return response
        except _NotKept as exc:
            return exc.response

    return answer


class _NotKept(Exception):
    """Rolls the key's row back with everything else."""

    def __init__(self, response: Response) -> None:
        super().__init__()
        self.response = response


def _enter(request: Request, key: str, body: str, now: datetime) -> tuple[IdempotencyKey, bool]:
    """The key's row, and whether it was there before."""
    scope = {"token": request.auth, "method": request.method, "path": request.path[:500], "key": key}
    IdempotencyKey.objects.filter(**scope, created_at__lt=now - LIFE).delete()
    try:
        with transaction.atomic():
            return IdempotencyKey.objects.create(**scope, body_sha256=body, created_at=now), False
    except IntegrityError:
        return IdempotencyKey.objects.get(**scope), True


def _effect(view: Any, method: View, request: Request, args: Any, kwargs: Any) -> Response:
    """What the view answers; a refusal undoes what the view wrote, but not the key's row."""
    try:
        with transaction.atomic():
            return method(view, request, *args, **kwargs)
    except Exception as exc:
        if as_problem(exc, request) is None:
            raise
        response = handle(exc, {"request": request})
        assert response is not None
        return response


def _keep(row: IdempotencyKey, response: Response) -> None:
    row.status = response.status_code
    row.headers = {name: response[name] for name in KEPT_HEADERS if name in response}
    if response.content_type:
        row.headers["Content-Type"] = response.content_type
    row.body = json.dumps(response.data, cls=JSONEncoder)
    row.save()


def _repeat(row: IdempotencyKey, body: str) -> Response:
    if row.body_sha256 != body:
        raise Problem(422, "This Idempotency-Key came before with another body; use a new key for a new request")
    headers = dict(row.headers)
    content_type = headers.pop("Content-Type", None)
    headers["Idempotency-Replayed"] = "true"
    return Response(json.loads(row.body), status=row.status, headers=headers, content_type=content_type)


def forget_answers(about: Mapping[str, Collection[int]]) -> None:
    """Put 410 in place of kept answers about erased records: `{"customer": numbers}` means answers that name one of
    them in their field `customer`, or that are one of them, made at an address that ends in `customers`."""
    gone = json.dumps(describe(410, "What this request made has been erased"))
    for row in IdempotencyKey.objects.select_for_update().exclude(body="").order_by("pk"):
        answer = json.loads(row.body)
        if isinstance(answer, dict) and any(
            answer.get(name) in numbers or (f"/{name}s" in row.path and answer.get("id") in numbers)
            for name, numbers in about.items()
        ):
            row.status, row.headers, row.body = 410, {"Content-Type": MEDIA_TYPE}, gone
            row.save()


def forget_old_keys(now: datetime) -> int:
    """Delete the keys past their life; the sweep calls it."""
    return IdempotencyKey.objects.filter(created_at__lt=now - LIFE).delete()[0]
