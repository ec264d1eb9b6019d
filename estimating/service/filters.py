"""Filters by field; a parameter that means nothing here is refused, else the answer would be to another question."""

from typing import Any

from django_filters.rest_framework import DjangoFilterBackend
from django_filters.utils import translate_validation
from rest_framework.request import Request

from estimating.service.problems import Fault, Refused


class StrictFilterBackend(DjangoFilterBackend):
    """A view names its filters in `filterset_fields` or `filterset_class`."""

    def filter_queryset(self, request: Request, queryset: Any, view: Any) -> Any:
        filterset = self.get_filterset(request, queryset, view)
        known = {"limit", "cursor", *(filterset.get_filters() if filterset else ())}
        one = (view.lookup_url_kwarg or view.lookup_field) in view.kwargs
        if not one and (unknown := sorted(set(request.query_params) - known)):
            expected = "one of " + ", ".join(sorted(known))
            raise Refused(
                Fault("", name, expected, f"there is no filter {name[:40]!r}", name[:40]) for name in unknown
            )
        if filterset is None:
            return queryset
        if not filterset.is_valid():
            detail = translate_validation(filterset.errors).detail
            raise Refused(
                Fault("", request.query_params.get(name), str(message), str(message), name)
                for name, messages in detail.items()
                for message in messages
            )
        return filterset.qs
