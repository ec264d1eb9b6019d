"""Price lists, their versions and the rows of each."""

from typing import Any

from django.db import transaction
from django.db.models import Count
from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiRequest, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from estimating import price_lists
from estimating.api.records import RecordViewSet
from estimating.models import (
    Price,
    PriceList,
    PriceListVersion,
    RejectedPrice,
)
from estimating.service.idempotency import idempotent
from estimating.service.parsers import RawJSONParser, StrictJSONParser, check_length
from estimating.service.problems import Refused
from estimating.service.serializers import StrictModelSerializer, StrictSerializer
from estimating.service.views import ReadViewSet


class PriceListSerializer(StrictModelSerializer):
    in_force = serializers.SerializerMethodField(help_text="Id of the version approved last, or null.")

    class Meta:
        model = PriceList
        fields = ("id", "supplier", "name", "in_force")

    def get_in_force(self, row: PriceList) -> int | None:
        approved = [version for version in row.versions.all() if version.number]
        return max(approved, key=lambda version: version.number).pk if approved else None


class PriceListViewSet(RecordViewSet):
    """Suppliers' price lists, each through all its versions."""

    queryset = PriceList.objects.prefetch_related("versions")
    serializer_class = PriceListSerializer
    filterset_fields = ("supplier", "name")


class VersionSerializer(StrictModelSerializer):
    """A price list file that was taken in: staged, or approved and final."""

    prices = serializers.SerializerMethodField(help_text="How many rows became prices.")
    rejected = serializers.SerializerMethodField(help_text="How many rows did not; see `rejected` below it.")

    class Meta:
        model = PriceListVersion
        fields = (
            "id", "price_list", "state", "number", "source_name", "source_sha256", "line_count", "prices", "rejected",
            "valid_from", "valid_to", "staged_at", "approved_at",
        )  # fmt: skip
        read_only_fields = fields

    def get_prices(self, row: PriceListVersion) -> int:
        return row.line_count - self.get_rejected(row)

    def get_rejected(self, row: PriceListVersion) -> int:
        counted = getattr(row, "rejected_count", None)
        return row.rejected.count() if counted is None else counted


class ApprovalSerializer(StrictSerializer):
    keep_lines = serializers.ListField(
        child=serializers.IntegerField(min_value=2), required=False, default=list, max_length=1000,
        help_text="Lines rejected as duplicate-sku that are right: at most one of each clash.",
    )  # fmt: skip


class CSVParser(RawJSONParser):
    """The bytes of a CSV file."""

    media_type = "text/csv"


class OfVersions(ReadViewSet):
    """What lies under one price list."""

    def price_list(self) -> PriceList:
        return get_object_or_404(PriceList, pk=self.kwargs["price_list_id"])


class VersionViewSet(OfVersions):
    """Files of one price list. POST one as text/csv; look at what was rejected; approve it or drop it."""

    serializer_class = VersionSerializer
    filterset_fields = ("state",)
    body_limit = price_lists.MOST_BYTES
    queryset = PriceListVersion.objects.none()

    def get_queryset(self) -> Any:
        return PriceListVersion.objects.filter(price_list=self.price_list()).annotate(rejected_count=Count("rejected"))

    def get_parsers(self) -> list[Any]:
        return [CSVParser()] if getattr(self, "action_map", {}).get("post") == "create" else [StrictJSONParser()]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if self.action == "create":
            # Django holds any body to the limit for JSON; a price file may be longer, and who sends it is known by now.
            check_length(request, self)
            request._request._body = request._request.read()  # type: ignore[attr-defined]

    @extend_schema(
        request={"text/csv": OpenApiRequest(OpenApiTypes.BINARY)}, responses={201: VersionSerializer},
        parameters=[OpenApiParameter("source_name", str, description="Name of the file, for people.")],
        description="Stage a file: UTF-8 text with commas, a header line, a row a price. The columns, in any order: "
        f"{', '.join(price_lists.COLUMNS)}. A fault in the file as a whole changes nothing; a row that is no price is "
        "kept apart with the reason.",
    )  # fmt: skip
    @idempotent
    def create(self, request: Request, price_list_id: int) -> Response:
        price_list = self.price_list()
        name = request.query_params.get("source_name", "")
        if len(name) > 200 or not name.isprintable():
            raise serializers.ValidationError({"source_name": "expected at most 200 printable characters"})
        content = request.data if isinstance(request.data, bytes) else b""
        try:
            version = price_lists.stage_price_file(
                price_list.pk, content, source_name=name, by=request.user, now=timezone.now()
            )
        except price_lists.FileRefused as refused:
            raise Refused(refused.faults, status=413 if refused.too_large else 422) from None
        response = self.answer(version, status=201)
        response["Location"] = f"{request.path}/{version.pk}"
        return response

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, price_list_id: int, pk: str) -> Response:
        """Drop a staged version with its rows."""
        with transaction.atomic():
            price_lists.drop_version(self.locked().pk, by=request.user, now=timezone.now())
        return Response(status=204)

    @extend_schema(request=ApprovalSerializer, responses={200: VersionSerializer})
    @idempotent
    def approve(self, request: Request, price_list_id: int, pk: str) -> Response:
        """Make a staged version the one in force; from then on it never changes."""
        with transaction.atomic():
            row = self.locked()
            asked = ApprovalSerializer(data=request.data or {})
            asked.is_valid(raise_exception=True)
            keep = asked.validated_data["keep_lines"]
            row = price_lists.approve_version(row.pk, keep_lines=keep, by=request.user, now=timezone.now())
        return self.answer(row)


class PriceSerializer(StrictModelSerializer):
    class Meta:
        model = Price
        fields = (
            "id", "line", "sku", "description", "supplier_unit", "unit", "pack_quantity", "base_unit", "price",
            "currency", "basis", "valid_from", "valid_to", "status",
        )  # fmt: skip
        read_only_fields = fields


class RejectedPriceSerializer(StrictModelSerializer):
    class Meta:
        model = RejectedPrice
        fields = ("id", "line", "sku", "column", "code", "reason", "cells")
        read_only_fields = fields


class PriceViewSet(OfVersions):
    """The prices of one version."""

    queryset = Price.objects.none()
    serializer_class = PriceSerializer
    filterset_fields = ("sku", "status", "unit")
    ordering = "line"

    def get_queryset(self) -> Any:
        return self.version().prices.all()

    def version(self) -> PriceListVersion:
        versions = PriceListVersion.objects.filter(price_list=self.price_list())
        return get_object_or_404(versions, pk=self.kwargs["version_id"])


class RejectedPriceViewSet(PriceViewSet):
    """The rows of one version's file that did not become prices, each with the reason."""

    serializer_class = RejectedPriceSerializer
    filterset_fields = ("sku", "code")
    queryset = RejectedPrice.objects.none()

    def get_queryset(self) -> Any:
        return self.version().rejected.all()
