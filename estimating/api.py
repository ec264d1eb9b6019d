"""The office's records over HTTP: office, customers, jobs, suppliers, materials, price lists, rates, history."""

from decimal import Decimal
from typing import Any
from zoneinfo import available_timezones

from django.db import transaction
from django.db.models import Count
from django.shortcuts import get_object_or_404
from django.urls import include, path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiRequest, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from estimating import money, office, price_lists, records
from estimating.models import (
    Customer,
    History,
    Job,
    LaborRate,
    Material,
    Office,
    Price,
    PriceList,
    PriceListVersion,
    ProductionRate,
    RejectedPrice,
    Supplier,
)
from estimating.service.idempotency import idempotent
from estimating.service.parsers import RawJSONParser, StrictJSONParser, check_length
from estimating.service.permissions import EVERYONE, OWNER
from estimating.service.preconditions import check_match
from estimating.service.problems import Refused
from estimating.service.serializers import StrictModelSerializer, StrictSerializer
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


# The office


class PaymentSerializer(StrictSerializer):
    share = serializers.DecimalField(
        7, 6, min_value=Decimal("0.000001"), max_value=Decimal(1), help_text="Of the price."
    )
    milestone = serializers.CharField(max_length=200, help_text="When it is due, in words.")


class OfficeSerializer(StrictModelSerializer):
    """Rates are fractions: 0.05 is five per cent."""

    payment_schedule = PaymentSerializer(many=True, required=False, help_text="Shares add up to 1.")

    class Meta:
        model = Office
        fields = (
            "name", "address", "phone", "email", "license_number", "time_zone", "currency", "contingency_rate",
            "overhead_rate", "profit_rate", "overhead_on", "profit_on", "tax_rate", "tax_place", "payment_schedule",
            "quote_valid_days", "exclusions", "warranty", "notices",
        )  # fmt: skip
        extra_kwargs = {
            "quote_valid_days": {"min_value": 1, "max_value": 366},
            **{
                rate: {"min_value": Decimal(0), "max_value": Decimal(1)}
                for rate in ("contingency_rate", "overhead_rate", "profit_rate", "tax_rate")
            },
        }

    def validate_currency(self, value: str) -> str:
        if not (len(value) == 3 and value.isascii() and value.isalpha() and value.isupper()):
            raise serializers.ValidationError("expected three capital letters of ISO 4217, like USD")
        return value

    def validate_time_zone(self, value: str) -> str:
        if value not in available_timezones():
            raise serializers.ValidationError("expected an IANA time zone, like America/New_York")
        return value

    def validate_payment_schedule(self, value: list[dict[str, Any]]) -> list[dict[str, str]]:
        if value:
            try:
                money.allocate(Decimal(0), [entry["share"] for entry in value])
            except money.MoneyError as error:
                raise serializers.ValidationError(str(error)) from None
        return [{"share": str(entry["share"]), "milestone": entry["milestone"]} for entry in value]


class OfficeViewSet(ReadViewSet):
    """The office that this installation serves. The first PUT describes it and needs no If-Match."""

    queryset = Office.objects.all()
    serializer_class = OfficeSerializer
    read_roles, write_roles = EVERYONE, OWNER
    pagination_class = None
    filter_backends = ()

    def get_object(self) -> Office:
        return get_object_or_404(Office)

    def update(self, request: Request, partial: bool = False) -> Response:
        with transaction.atomic():
            row = Office.objects.select_for_update().first()
            if row is not None:
                check_match(request, row)
            serializer = self.get_serializer(row, data=request.data, partial=partial and row is not None)
            serializer.is_valid(raise_exception=True)
            row = office.describe_office(serializer.validated_data, by=request.user, now=timezone.now())
        return self.answer(row)

    def partial_update(self, request: Request) -> Response:
        self.get_object()
        return self.update(request, partial=True)


# Customers and jobs


class CustomerSerializer(StrictModelSerializer):
    class Meta:
        model = Customer
        fields = ("id", "name", "email", "phone", "address", "note", "created_at", "erased_at")
        read_only_fields = ("created_at", "erased_at")
        extra_kwargs = {"name": {"required": True, "allow_blank": False}}


class CustomerViewSet(RecordViewSet):
    """People who asked for work."""

    queryset = Customer.objects.all()
    serializer_class = CustomerSerializer
    filterset_fields = {"name": ["exact", "icontains"], "email": ["iexact"]}

    @extend_schema(request=None, responses={200: CustomerSerializer})
    def erase(self, request: Request, pk: str) -> Response:
        """Erase what is known of a person; the row and the jobs stay, without a name or an address."""
        with transaction.atomic():
            row = records.erase_customer(self.locked(), by=request.user, now=timezone.now())
        return self.answer(row)


class JobSerializer(StrictModelSerializer):
    number = serializers.CharField(read_only=True)

    class Meta:
        model = Job
        fields = ("id", "number", "customer", "name", "site_address", "jurisdiction", "status", "note", "created_at")
        read_only_fields = ("created_at",)


class JobViewSet(RecordViewSet):
    """Roof terraces, from the first call to closed."""

    queryset = Job.objects.all()
    serializer_class = JobSerializer
    filterset_fields = {"customer": ["exact"], "status": ["exact"], "name": ["icontains"]}
    read_roles = EVERYONE


# Suppliers and materials


class SupplierSerializer(StrictModelSerializer):
    class Meta:
        model = Supplier
        fields = ("id", "name", "email", "phone", "note")


class SupplierViewSet(RecordViewSet):
    """Whom the office buys from."""

    queryset = Supplier.objects.all()
    serializer_class = SupplierSerializer
    filterset_fields = {"name": ["exact", "icontains"]}


class MaterialSerializer(StrictModelSerializer):
    """Which SKU stands behind an item key of a framing; thickness and width nominal, all sizes in inches."""

    class Meta:
        model = Material
        fields = (
            "id", "item_key", "description", "supplier", "sku", "thickness", "width", "length", "taxable", "active",
        )  # fmt: skip
        extra_kwargs = {side: {"min_value": Decimal("0.0001")} for side in ("thickness", "width", "length")}

    def validate_item_key(self, value: str) -> str:
        if not value.isprintable() or "" in value.split("/"):
            raise serializers.ValidationError("expected segments with / between them, like lumber/2x8/144")
        return value


class MaterialViewSet(RecordViewSet):
    """What the office buys for each item key of a framing."""

    queryset = Material.objects.all()
    serializer_class = MaterialSerializer
    filterset_fields = ("supplier", "item_key", "sku", "active")


# Price lists


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


# Rates


class LaborRateSerializer(StrictModelSerializer):
    class Meta:
        model = LaborRate
        fields = ("id", "grade", "rate", "crew_count", "basis", "valid_from", "created_at")
        read_only_fields = ("created_at",)
        extra_kwargs = {"rate": {"min_value": Decimal("0.0001")}, "crew_count": {"min_value": Decimal(0)}}


class ProductionRateSerializer(StrictModelSerializer):
    """Person-hours a unit."""

    class Meta:
        model = ProductionRate
        fields = ("id", "task", "unit", "low", "typical", "high", "source", "valid_from", "created_at")
        read_only_fields = ("created_at",)
        extra_kwargs = {"low": {"min_value": Decimal("0.00001")}}

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        if not values["low"] <= values["typical"] <= values["high"]:
            raise serializers.ValidationError({"typical": "expected low <= typical <= high"})
        return values


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


class LaborRateViewSet(AppendedViewSet):
    """Burdened cost of a billable hour by grade, dated."""

    queryset = LaborRate.objects.all()
    serializer_class = LaborRateSerializer
    filterset_fields = {"grade": ["exact"], "valid_from": ["lte", "gte"]}


class ProductionRateViewSet(AppendedViewSet):
    """Hours a unit of each task takes, dated."""

    queryset = ProductionRate.objects.all()
    serializer_class = ProductionRateSerializer
    filterset_fields = {"task": ["exact"], "valid_from": ["lte", "gte"]}


class HistorySerializer(StrictModelSerializer):
    by = serializers.CharField(source="by.username", default=None, read_only=True)

    class Meta:
        model = History
        fields = ("id", "at", "by", "subject", "subject_id", "action", "changes")
        read_only_fields = fields


class HistoryViewSet(ReadViewSet):
    """Who changed what, when, from what."""

    queryset = History.objects.select_related("by")
    serializer_class = HistorySerializer
    filterset_fields = ("subject", "subject_id", "action")
    ordering = "-id"


router = SimpleRouter(trailing_slash=False)
router.register("customers", CustomerViewSet)
router.register("jobs", JobViewSet)
router.register("suppliers", SupplierViewSet)
router.register("materials", MaterialViewSet)
router.register("price-lists", PriceListViewSet)
router.register("rates/labor", LaborRateViewSet)
router.register("rates/production", ProductionRateViewSet)

LIST = {"detail": False}
versions = "price-lists/<int:price_list_id>/versions"
urlpatterns = [
    path("office", OfficeViewSet.as_view({"get": "retrieve", "put": "update", "patch": "partial_update"})),
    path("customers/<pk>/erase", CustomerViewSet.as_view({"post": "erase"})),
    path(versions, VersionViewSet.as_view({"get": "list", "post": "create"}, **LIST)),
    path(f"{versions}/<pk>", VersionViewSet.as_view({"get": "retrieve", "delete": "destroy"})),
    path(f"{versions}/<pk>/approve", VersionViewSet.as_view({"post": "approve"})),
    path(f"{versions}/<int:version_id>/prices", PriceViewSet.as_view({"get": "list"}, **LIST)),
    path(f"{versions}/<int:version_id>/rejected", RejectedPriceViewSet.as_view({"get": "list"}, **LIST)),
    path("history", HistoryViewSet.as_view({"get": "list"}, **LIST)),
    path("", include(router.urls)),
]
