"""Reading the body of a request: its length before anything else, then the JSON in it."""

from typing import Any

from rest_framework.parsers import BaseParser
from rest_framework.request import Request

from estimating.service import strict_json
from estimating.service.problems import Problem

BODY_LIMIT = 5_000_000  # bytes, unless the view sets its own `body_limit`


def check_length(request: Request, view: Any) -> None:
    """Refuse a body that is too long before reading any of it."""
    limit = getattr(view, "body_limit", BODY_LIMIT)
    length = request.META.get("CONTENT_LENGTH") or "0"
    if not (length.isascii() and length.isdigit()):
        raise Problem(400, f"Content-Length is {length[:40]!r}; expected a number of bytes")
    if int(length[:20]) > limit:
        raise Problem(413, f"The body is {length} bytes long; at most {limit} are taken")


class RawJSONParser(BaseParser):
    """Hands on the bytes of a document that the engine reads itself, faults and all."""

    media_type = "application/json"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> bytes:
        check_length(parser_context["request"], parser_context["view"])
        return stream.read()  # type: ignore[no-any-return]


class StrictJSONParser(RawJSONParser):
    """Reads JSON strictly (`strict_json`)."""

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        return strict_json.read(super().parse(stream, media_type, parser_context))
