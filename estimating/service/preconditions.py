"""Two people at once: a change needs the version that it was based on, and the second to come is told."""

from typing import Any

from django.db.models import Model
from rest_framework.request import Request
from rest_framework.response import Response

from estimating.service.problems import Problem


def etag(row: Any) -> str:
    """The tag of a row as it stands, from its version."""
    return f'"{row._meta.model_name}-{row.pk}-{row.version}"'


def check_match(request: Request, row: Any) -> None:
    """Refuse a change that names no version (428) or one that is no longer there (412)."""
    sent = request.headers.get("If-Match", "").strip()
    if not sent or sent == "*":
        raise Problem(428, "Send If-Match with the ETag that you read, so that nobody's change is lost", ETag=etag(row))
    if etag(row) not in _tags(sent):
        raise Problem(412, "It was changed since you read it; read it again and decide anew", ETag=etag(row))


def tagged(request: Request, row: Model, data: Any, *, status: int = 200) -> Response:
    """The answer for a single row: its ETag, and 304 without a body where the reader has it already."""
    headers = {"ETag": etag(row)}
    known = _tags(request.headers.get("If-None-Match", "")) if request.method in ("GET", "HEAD") else set()
    if known & {"*", headers["ETag"]}:
        return Response(status=304, headers=headers)
    return Response(data, status=status, headers=headers)


def _tags(header: str) -> set[str]:
    """The tags of a header; a proxy that compresses weakens a tag, and the row is the same."""
    return {tag.strip().removeprefix("W/") for tag in header.split(",")}
