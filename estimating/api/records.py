"""What every resource of the office's records has in common."""

from typing import Any

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from estimating import records
from estimating.service.idempotency import idempotent
from estimating.service.views import ReadViewSet, ResourceViewSet


class RecordViewSet(ResourceViewSet):
    """A resource whose every change is noted in the history."""

    def perform_create(self, serializer: Any) -> Any:
        model = serializer.Meta.model
        return records.create_record(model, serializer.validated_data, by=self.request.user, now=timezone.now())

    def perform_update(self, serializer: Any) -> Any:
        values = serializer.validated_data
        return records.change_record(serializer.instance, values, by=self.request.user, now=timezone.now())

    def perform_destroy(self, row: Any) -> None:
        records.delete_record(row, by=self.request.user, now=timezone.now())


class AppendedViewSet(ReadViewSet):
    """Rows that are added and never changed; a new one with a later date supersedes."""

    @idempotent
    def create(self, request: Request) -> Response:
        serializer = self.get_serializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        model = serializer.Meta.model
        row = records.create_record(model, serializer.validated_data, by=request.user, now=timezone.now())
        return Response(
            self.get_serializer(row).data, status=201, headers={"Location": f"{request.path}/{row.pk}"}
        )

    def answer(self, row: Any, *, status: int = 200) -> Response:
        return Response(self.get_serializer(row).data, status=status)
