"""What every answer carries and every request is asked first."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from estimating.service import problems

Handler = Callable[[HttpRequest], HttpResponse]


def content_security_policy(get_response: Handler) -> Handler:
    """Scripts, styles and pictures only from here, none inline; a view may set a policy of its own."""

    def answer(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        response.headers.setdefault("Content-Security-Policy", settings.CONTENT_SECURITY_POLICY)
        return response

    return answer


def readable_request(get_response: Handler) -> Handler:
    """Refuse what would be misread: a NUL in the address, which PostgreSQL compares with nothing, and a body of
    unknown length, which WSGI hands on as empty."""

    def answer(request: HttpRequest) -> HttpResponse:
        if "\x00" in request.path_info or "%00" in request.META.get("QUERY_STRING", ""):
            return problems.respond(400, "The address holds a NUL character")
        if "HTTP_TRANSFER_ENCODING" in request.META:
            return problems.respond(411, "Say the body's length in Content-Length; a chunked body is not taken")
        return get_response(request)

    return answer
