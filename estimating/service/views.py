"""The shape of every resource: create with retries, read with tags, change under a lock and a precondition."""

from typing import Any

from django.db import transaction
from django.shortcuts import get_object_or_404
from django.utils import timezone
from rest_framework import mixins, viewsets
from rest_framework.request import Request
from rest_framework.response import Response

from estimating.service.idempotency import idempotent
from estimating.service.preconditions import check_match, tagged


class ReadViewSet(mixins.ListModelMixin, viewsets.GenericViewSet):
    """List and retrieve; actions take their row from `locked`."""

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self.answer(self.get_object())

    def answer(self, row: Any, *, status: int = 200) -> Response:
        """A single row with its tag."""
        return tagged(self.request, row, self.get_serializer(row).data, status=status)

    def locked(self) -> Any:
        """The row that the address names, locked and as its reader knew it; call inside a transaction.

        Raises Http404, or Problem 428 or 412.
        """
        seen = self.get_object()
        row = get_object_or_404(type(seen)._default_manager.select_for_update(), pk=seen.pk)
        check_match(self.request, row)
        return row


class ResourceViewSet(ReadViewSet):
    """A resource that is created, changed and deleted through its serializer.

    The three `perform_` methods are where a view calls the named function of its subject.
    """

    @idempotent
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        serializer = self.get_serializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        with transaction.atomic():
            row = self.perform_create(serializer)
        response = self.answer(row, status=201)
        response["Location"] = f"{request.path.rstrip('/')}/{row.pk}"
        return response

    def update(self, request: Request, *args: Any, partial: bool = False, **kwargs: Any) -> Response:
        with transaction.atomic():
            row = self.locked()
            serializer = self.get_serializer(row, data=request.data, partial=partial)
            serializer.is_valid(raise_exception=True)
            row = self.perform_update(serializer)
        return self.answer(row)

    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self.update(request, *args, partial=True, **kwargs)

    def destroy(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        with transaction.atomic():
            self.perform_destroy(self.locked())
        return Response(status=204)

    def perform_create(self, serializer: Any) -> Any:
        return serializer.save()

    def perform_update(self, serializer: Any) -> Any:
        return serializer.save()

    def perform_destroy(self, row: Any) -> None:
        row.delete()

    @property
    def now(self) -> Any:
        """The moment of this request; functions below the views read no clock."""
        return timezone.now()
