"""Errors as RFC 9457 problem details: what was read, what was expected, and where, every fault in one answer."""

import json
import logging
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, Protocol

from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.core.exceptions import ValidationError as ModelError
from django.db import DataError, IntegrityError, OperationalError
from django.db.models import ProtectedError, RestrictedError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.views import defaults
from rest_framework.exceptions import APIException, ErrorDetail, Throttled, ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from estimating.models.base import RecordIsFinal

logger = logging.getLogger(__name__)
MEDIA_TYPE = "application/problem+json"
READ_AT_MOST = 200  # characters of what was read that are sent back


class FaultLike(Protocol):
    """A fault as any part of the project may describe it; the engine's own have this shape."""

    @property
    def pointer(self) -> str: ...
    @property
    def read(self) -> Any: ...
    @property
    def expected(self) -> str: ...
    @property
    def detail(self) -> str: ...


@dataclass(frozen=True)
class Fault:
    """One thing wrong: an RFC 6901 pointer into the body, or the name of a query parameter."""

    pointer: str
    read: Any
    expected: str
    detail: str
    parameter: str = ""


class Problem(APIException):
    """An answer that says why not."""

    def __init__(self, status: int, detail: str, faults: Iterable[FaultLike] = (), **headers: str) -> None:
        super().__init__(detail)
        self.status_code = status
        self.faults = tuple(faults)
        self.headers = {name.replace("_", "-"): value for name, value in headers.items()}


class Refused(Problem):
    """The body was understood and is wrong; `faults` tells every reason."""

    def __init__(self, faults: Iterable[FaultLike], status: int = 422) -> None:
        faults = tuple(faults)
        super().__init__(status, f"{len(faults)} thing{'s' * (len(faults) != 1)} to put right", faults)


def refused(pointer: str, read: Any, expected: str, detail: str, *, status: int = 422) -> Refused:
    """The refusal for a single fault."""
    return Refused([Fault(pointer, read, expected, detail)], status)


_STATUS: dict[type[Exception], int] = {RecordIsFinal: 409}


def refusal(status: int) -> Callable[[type[Exception]], type[Exception]]:
    """Class decorator: this named refusal of a business rule is answered with `status`."""

    def register(kind: type[Exception]) -> type[Exception]:
        _STATUS[kind] = status
        return kind

    return register


def handle(exc: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception handler: any expected exception as problem details; None for a defect, which becomes a 500."""
    request = context.get("request")
    problem = as_problem(exc, request)
    if problem is None:
        return None
    body = describe(problem.status_code, str(problem.detail), problem.faults)
    return Response(body, status=problem.status_code, headers=problem.headers, content_type=MEDIA_TYPE)


def as_problem(exc: Exception, request: Request | None = None) -> Problem | None:
    """What to answer to an exception, or None when it is a defect of ours."""
    if isinstance(exc, Problem):
        return exc
    if isinstance(exc, ValidationError):
        return Refused(_faults(exc.detail, _body(request)))
    if isinstance(exc, ModelError):
        return Refused(_faults(exc.message_dict if hasattr(exc, "error_dict") else exc.messages, _body(request)))
    if isinstance(exc, APIException):
        headers = {}
        if isinstance(exc, Throttled) and exc.wait is not None:
            headers["Retry_After"] = str(max(1, round(exc.wait)))
        if challenge := getattr(exc, "auth_header", None):
            headers["WWW_Authenticate"] = challenge
        return Problem(exc.status_code, str(exc.detail), **headers)
    if isinstance(exc, Http404):
        return Problem(404, "There is nothing here, or nothing that you may see")
    if isinstance(exc, PermissionDenied):
        return Problem(403, str(exc) or "You may not do this")
    if isinstance(exc, RequestDataTooBig):
        return Problem(413, str(exc))
    if isinstance(exc, ProtectedError | RestrictedError):
        return Problem(409, "Other records still use this one; it cannot be deleted")
    if isinstance(exc, IntegrityError):
        logger.warning("refused by the database: %s", exc)
        return Problem(409, "This contradicts a record that is already there; read it again and retry")
    if isinstance(exc, DataError):
        logger.warning("refused by the database: %s", exc)
        return Problem(422, "A value does not fit where it is kept")
    if isinstance(exc, OperationalError):
        logger.error("the database did not answer", exc_info=exc)
        return Problem(503, "The database did not answer in time; nothing was changed", Retry_After="5")
    for kind in type(exc).__mro__:
        if kind in _STATUS:
            return Problem(_STATUS[kind], str(exc))
    return None


def describe(status: int, detail: str, faults: Iterable[FaultLike] = ()) -> dict[str, Any]:
    """The body of a problem."""
    body: dict[str, Any] = {
        "type": "about:blank", "title": HTTPStatus(status).phrase, "status": status, "detail": detail,
    }  # fmt: skip
    if errors := [_as_json(fault) for fault in faults]:
        body["errors"] = errors
    return body


def respond(status: int, detail: str) -> JsonResponse:
    """A problem from outside DRF: middleware, addresses that lead nowhere."""
    return JsonResponse(describe(status, detail), status=status, content_type=MEDIA_TYPE)


def pointer(*steps: str | int) -> str:
    """An RFC 6901 pointer from its steps."""
    return "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in steps)


def _as_json(fault: FaultLike) -> dict[str, Any]:
    told = {"pointer": fault.pointer, "read": _short(fault.read), "expected": fault.expected, "detail": fault.detail}
    return told | ({"parameter": name} if (name := getattr(fault, "parameter", "")) else {})


def _short(read: Any) -> Any:
    """What was read, cut where it is long; what JSON cannot hold as text."""
    try:
        text = json.dumps(read, allow_nan=False, ensure_ascii=False)
        text.encode()
    except (TypeError, ValueError, RecursionError):
        text = repr(read)[:READ_AT_MOST].encode("ascii", "backslashreplace").decode()
        return text
    return read if len(text) <= READ_AT_MOST else text[: READ_AT_MOST - 1] + "…"


# What was expected, where DRF's own sentence does not say it. By DRF's error code.
_EXPECTED = {
    "required": "a value",
    "null": "a value",
    "blank": "some text",
    "empty": "at least one entry",
    "unique": "a value not yet taken",
    "does_not_exist": "the id of something that exists",
}


def _faults(detail: Any, body: Any, steps: tuple[str | int, ...] = ()) -> Iterator[Fault]:
    """DRF's nested error detail as faults with pointers."""
    if isinstance(detail, Mapping):
        for key, inner in detail.items():
            yield from _faults(inner, body, steps if key in ("non_field_errors", "__all__") else (*steps, key))
    elif isinstance(detail, list | tuple):
        for i, inner in enumerate(detail):
            nested = isinstance(inner, Mapping | list | tuple)
            yield from _faults(inner, body, (*steps, i) if nested else steps)
    else:
        code = detail.code if isinstance(detail, ErrorDetail) else ""
        told, _, expected = str(detail).partition("; expected ")  # as our own sentences have it
        yield Fault(pointer(*steps), _at(body, steps), expected or _EXPECTED.get(code, told), told)


def _at(body: Any, steps: tuple[str | int, ...]) -> Any:
    for step in steps:
        try:
            body = body[step]
        except (KeyError, IndexError, TypeError):
            return None
    return body


def _body(request: Request | None) -> Any:
    """What the request said, as far as it could be read; it has been read already when a serializer refuses it."""
    return getattr(request, "_full_data", None) if request is not None else None


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """Handler for addresses that lead nowhere."""
    if request.path.startswith("/api/"):
        return respond(404, f"There is nothing at {request.path[:READ_AT_MOST]}")
    return defaults.page_not_found(request, exception or Http404())


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Handler for requests that Django itself refuses."""
    if request.path.startswith("/api/"):
        too_big = isinstance(exception, RequestDataTooBig)
        return respond(413 if too_big else 400, "The request is too large" if too_big else "The request is malformed")
    return defaults.bad_request(request, exception)


def server_error(request: HttpRequest) -> HttpResponse:
    """Handler for our own defects: says so, and nothing about the inside."""
    if request.path.startswith("/api/"):
        return respond(500, "A defect on our side; it has been logged")
    return defaults.server_error(request)
