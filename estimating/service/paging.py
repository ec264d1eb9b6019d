"""Lists in pages that do not shift when rows are added: each page hands out the address of the next."""

import base64
from typing import Any

from rest_framework.exceptions import NotFound
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request

from estimating.service.problems import Fault, Refused


class Pages(CursorPagination):
    """`?limit=` rows a page; `next` and `previous` hold whole addresses."""

    page_size = 50
    max_page_size = 200
    page_size_query_param = "limit"
    ordering = "id"

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> Any:
        text = request.query_params.get(self.cursor_query_param)
        try:
            base64.b64decode(text or "", validate=True)
            return super().paginate_queryset(queryset, request, view)
        except (NotFound, ValueError):  # not a cursor, or one whose position is no value of the column
            expected = "a cursor as it stands in next or previous"
            raise Refused([Fault("", text, expected, f"cursor must be {expected}", "cursor")]) from None

    def get_ordering(self, request: Request, queryset: Any, view: Any) -> tuple[str, ...]:
        order = getattr(view, "ordering", self.ordering)
        return (order,) if isinstance(order, str) else tuple(order)

    def get_page_size(self, request: Request) -> int:
        text = request.query_params.get(self.page_size_query_param)
        if text is None:
            return self.page_size
        if not (text.isascii() and text.isdigit() and len(text) < 6 and 1 <= int(text) <= self.max_page_size):
            expected = f"a whole number from 1 to {self.max_page_size}"
            raise Refused([Fault("", text, expected, f"limit must be {expected}", "limit")])
        return int(text)
