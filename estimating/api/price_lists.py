"""Price lists, their versions and the rows of each."""

from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import Count
from django.http import QueryDict, StreamingHttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiRequest, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from estimating import price_lists, price_sync
from estimating.api.records import RecordViewSet
from estimating.models import Price, PriceFetch, PriceList, PriceListVersion, RejectedPrice
from estimating.price_changes import KINDS, Change, limits_from
from estimating.price_columns import Guess, guess_reading, reading_from
from estimating.price_fetch import authorization_for, check_url
from estimating.price_files import PriceListError
from estimating.service.csv_cells import csv_answer
from estimating.service.endpoints import RunSerializer, accepted
from estimating.service.idempotency import idempotent
from estimating.service.parsers import RawJSONParser, StrictJSONParser, check_length
from estimating.service.problems import Refused
from estimating.service.serializers import StrictModelSerializer, StrictSerializer
from estimating.service.views import ReadViewSet


class PriceListSerializer(StrictModelSerializer):
    in_force = serializers.SerializerMethodField(help_text="Id of the version approved last, or null.")
    reading = serializers.JSONField(
        required=False, allow_null=True,
        help_text="How the supplier's files are read, as POST …/guess offers it and a person confirms it; null: our "
        "own columns, UTF-8, commas.",
    )
    limits = serializers.JSONField(
        required=False, allow_null=True,
        help_text="Within which a fetched version is approved by itself: most_rise and most_fall in per cent as text, "
        "most_new, most_gone and most_rejected in rows; null: a person approves every version.",
    )
    source_url = serializers.CharField(
        required=False, allow_blank=True, max_length=500, help_text="HTTPS address that the list is fetched from."
    )
    authorization = serializers.RegexField(
        "^[A-Z0-9_]*$", required=False, allow_blank=True, max_length=40,
        help_text="NAME of the setting PRICE_AUTHORIZATION_NAME, whose header goes along to its own host.",
    )
    every_hours = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=8_760, help_text="Fetched by itself so often. [h]"
    )

    class Meta:
        model = PriceList
        fields = (
            "id", "supplier", "name", "in_force", "tier", "reading", "limits", "source_url", "authorization",
            "every_hours",
        )  # fmt: skip

    def get_in_force(self, row: PriceList) -> int | None:
        approved = [version for version in row.versions.all() if version.number]
        return max(approved, key=lambda version: version.number).pk if approved else None

    def validate_reading(self, value: Any) -> Any:
        return None if value is None else _checked(reading_from, value).as_json()

    def validate_limits(self, value: Any) -> Any:
        limits = _checked(limits_from, value)
        return None if limits is None else limits.as_json()

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        row = self.instance
        url, name, often = (
            attrs.get(field, getattr(row, field, empty))
            for field, empty in (("source_url", ""), ("authorization", ""), ("every_hours", None))
        )
        if url:
            try:
                _, host, _ = check_url(url, settings.PRICE_HOSTS)
                authorization_for(name, host, settings.PRICE_AUTHORIZATIONS)
            except PriceListError as refused:
                raise serializers.ValidationError({"source_url": str(refused)}) from None
        elif often:
            raise serializers.ValidationError({"every_hours": "there is nothing to fetch; expected a source_url too"})
        return attrs


def _checked(read: Any, value: Any) -> Any:
    try:
        return read(value)
    except PriceListError as refused:
        raise serializers.ValidationError(str(refused)) from None


class CSVParser(RawJSONParser):
    """The bytes of a CSV file."""

    media_type = "text/csv"


class XLSXParser(RawJSONParser):
    """The bytes of a workbook."""

    media_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


FILE = {parser.media_type: OpenApiRequest(OpenApiTypes.BINARY) for parser in (CSVParser, XLSXParser)}


class TakesFiles:
    """A view whose action named in `takes_file` is sent the bytes of a price file."""

    body_limit = price_lists.MOST_BYTES
    takes_file: str

    def get_parsers(self) -> list[Any]:
        sent = getattr(self, "action_map", {}).get("post") == self.takes_file
        return [CSVParser(), XLSXParser()] if sent else [StrictJSONParser()]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)  # type: ignore[misc]
        if self.action == self.takes_file:  # type: ignore[attr-defined]
            # Django holds any body to the limit for JSON; a price file may be longer, and who sends it is known by now.
            check_length(request, self)
            request._request._body = request._request.read()  # type: ignore[attr-defined]


class GuessSerializer(serializers.Serializer):
    """A reading as far as the file shows it. What is in `questions` is null or missing: a person says it."""

    reading = serializers.JSONField()
    questions = serializers.ListField(child=serializers.CharField())
    headings = serializers.ListField(child=serializers.CharField())
    rows = serializers.ListField(child=serializers.ListField(child=serializers.CharField()))


class PriceListViewSet(TakesFiles, RecordViewSet):
    """Suppliers' price lists, each through all its versions."""

    queryset = PriceList.objects.prefetch_related("versions")
    serializer_class = PriceListSerializer
    filterset_fields = ("supplier", "name")
    takes_file = "guess"

    @extend_schema(request=FILE, responses={200: GuessSerializer})
    def guess(self, request: Request, pk: str) -> Response:
        """What a file shows of how it is to be read. Nothing is kept: send the reading with PATCH once it is right."""
        self.get_object()
        try:
            found: Guess = guess_reading(request.data if isinstance(request.data, bytes) else b"")
        except price_lists.FileRefused as refused:
            raise Refused(refused.faults, status=413 if refused.too_large else 422) from None
        return Response(GuessSerializer(found).data)

    @extend_schema(request=None, responses={202: RunSerializer})
    def sync(self, request: Request, pk: str) -> Response:
        """Fetch the list from its address now; 202 with the run, the one that is at it already where there is one."""
        with transaction.atomic():
            return accepted(price_sync.start_sync(self.get_object(), by=request.user, now=timezone.now()))


class VersionSerializer(StrictModelSerializer):
    """A price list file that was taken in: staged, or approved and final."""

    prices = serializers.SerializerMethodField(help_text="How many rows became prices.")
    rejected = serializers.SerializerMethodField(help_text="How many rows did not; see `rejected` below it.")

    class Meta:
        model = PriceListVersion
        fields = (
            "id", "price_list", "state", "number", "source_name", "source_sha256", "headings", "line_count",
            "blank_count", "prices", "rejected", "compared_with", "changes", "findings", "valid_from", "valid_to",
            "staged_at", "approved_at",
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
    accept = serializers.ListField(
        child=serializers.CharField(max_length=40), required=False, default=list, max_length=20,
        help_text="Codes of findings that hold and that were looked at: partial, implausible and so on.",
    )  # fmt: skip


class OfVersions(ReadViewSet):
    """What lies under one price list."""

    def price_list(self) -> PriceList:
        return get_object_or_404(PriceList, pk=self.kwargs["price_list_id"])


class VersionViewSet(TakesFiles, OfVersions):
    """Files of one price list. POST one, CSV or XLSX; look at what was rejected and changed; approve it or drop it."""

    serializer_class = VersionSerializer
    filterset_fields = ("state",)
    queryset = PriceListVersion.objects.none()
    takes_file = "create"

    def get_queryset(self) -> Any:
        return PriceListVersion.objects.filter(price_list=self.price_list()).annotate(rejected_count=Count("rejected"))

    @extend_schema(
        request=FILE, responses={201: VersionSerializer},
        parameters=[OpenApiParameter("source_name", str, description="Name of the file, for people.")],
        description="Stage a file as the list's reading has it. Without a reading: UTF-8 text with commas, or a "
        f"workbook; a header line, a row a price, and the columns, in any order: {', '.join(price_lists.COLUMNS)}. "
        "They may be joined by list_price, freight, minimum_order, lead_days, superseded_by and tier. A fault in the "
        "file as a whole changes nothing; a row that is no price is kept apart with the reason.",
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
            row = price_lists.approve_version(row.pk, **asked.validated_data, by=request.user, now=timezone.now())
        return self.answer(row)


class PriceSerializer(StrictModelSerializer):
    class Meta:
        model = Price
        fields = (
            "id", "line", "sku", "description", "supplier_unit", "unit", "pack_quantity", "base_unit", "price",
            "list_price", "freight", "minimum_order", "lead_days", "superseded_by", "tier", "currency", "basis",
            "valid_from", "valid_to", "status", "note",
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
    filterset_fields = ("sku", "status", "unit", "tier")
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

    @extend_schema(responses={(200, "text/csv"): OpenApiTypes.BINARY}, filters=False, parameters=[])
    def export(self, request: Request, price_list_id: int, version_id: int) -> StreamingHttpResponse:
        """All of them as CSV: line, column and reason, then the row's cells under the file's own headings."""
        version = self.version()
        rows = version.rejected.order_by("line").values_list("line", "column", "code", "reason", "cells")
        return csv_answer(
            f"rejected-{version.pk}.csv", ("line", "column", "code", "reason", *version.headings),
            ((line, column, code, reason, *cells) for line, column, code, reason, cells in rows.iterator()),
        )  # fmt: skip


class OfferSerializer(serializers.Serializer):
    line = serializers.IntegerField()
    price = serializers.CharField(help_text="For one `unit`, as decimal text.")
    freight = serializers.CharField(allow_null=True)
    unit = serializers.CharField()
    pack_quantity = serializers.CharField(allow_null=True)
    base_unit = serializers.CharField()
    valid_from = serializers.DateField()
    valid_to = serializers.DateField(allow_null=True)
    status = serializers.CharField()
    superseded_by = serializers.CharField()


class DifferenceSerializer(serializers.Serializer):
    """One row against the version before; `percent` is the rise of price and freight of one base unit, or null."""

    kind = serializers.ChoiceField(KINDS)
    sku = serializers.CharField()
    tier = serializers.CharField()
    percent = serializers.CharField(allow_null=True)
    old = OfferSerializer(allow_null=True)
    new = OfferSerializer(allow_null=True)


class DifferencesSerializer(serializers.Serializer):
    against = serializers.IntegerField(allow_null=True, help_text="Id of the version that it is compared with.")
    counts = serializers.DictField(child=serializers.IntegerField())
    next = serializers.CharField(allow_null=True, help_text="Address of the next page.")
    results = DifferenceSerializer(many=True)


class DifferencesViewSet(PriceViewSet):
    """What changed against the version in force before, row by row; rows that say the same are counted alone."""

    serializer_class = DifferencesSerializer

    @extend_schema(
        responses={200: DifferencesSerializer}, filters=False,
        parameters=[
            OpenApiParameter("kind", str, enum=list(KINDS)),
            OpenApiParameter("after", int, description="How many changes to pass over, as `next` has it."),
            OpenApiParameter("limit", int, description="Changes a page, at most 200."),
        ],
    )  # fmt: skip
    def list(self, request: Request, price_list_id: int, version_id: int) -> Response:
        asked = DifferencesQuery(data=request.query_params.dict())
        asked.is_valid(raise_exception=True)
        kind, after, limit = (asked.validated_data[name] for name in ("kind", "after", "limit"))
        version = self.version()
        found = price_lists.differences(version)
        changes = [change for change in found.changes if not kind or change.kind == kind]
        more = QueryDict(mutable=True)
        more.update({**({"kind": kind} if kind else {}), "after": after + limit, "limit": limit})
        follow = f"{request.path}?{more.urlencode()}" if after + limit < len(changes) else None
        body = {
            "against": version.compared_with_id, "counts": found.counts, "next": follow,
            "results": changes[after:after + limit],
        }  # fmt: skip
        return Response(DifferencesSerializer(body).data)

    @extend_schema(responses={(200, "text/csv"): OpenApiTypes.BINARY}, filters=False, parameters=[])
    def export(self, request: Request, price_list_id: int, version_id: int) -> StreamingHttpResponse:
        """All of them as CSV."""
        version = self.version()
        changes = price_lists.differences(version).changes
        return csv_answer(f"differences-{version.pk}.csv", DIFFERENCE_HEADINGS, map(_as_row, changes))


class DifferencesQuery(StrictSerializer):
    kind = serializers.ChoiceField(KINDS, required=False, default="")
    after = serializers.IntegerField(required=False, default=0, min_value=0, max_value=1_000_000)
    limit = serializers.IntegerField(required=False, default=50, min_value=1, max_value=200)


DIFFERENCE_HEADINGS = (
    "kind", "sku", "tier", "percent", "old_price", "old_unit", "old_pack_quantity", "new_price", "new_unit",
    "new_pack_quantity", "line",
)  # fmt: skip


def _as_row(change: Change) -> tuple[Any, ...]:
    sides = [
        (side.price, side.unit, side.pack_quantity) if side else (None, None, None) for side in (change.old, change.new)
    ]
    return change.kind, change.sku, change.tier, change.percent, *sides[0], *sides[1], getattr(change.new, "line", None)


class FetchSerializer(StrictModelSerializer):
    class Meta:
        model = PriceFetch
        fields = ("id", "at", "outcome", "detail", "url", "etag", "last_modified", "list_version")
        read_only_fields = fields


class FetchViewSet(OfVersions):
    """Every attempt to fetch a list from its address, and what came of it; the latest first."""

    queryset = PriceFetch.objects.none()
    serializer_class = FetchSerializer
    filterset_fields = ("outcome",)
    ordering = "-id"

    def get_queryset(self) -> Any:
        return self.price_list().fetches.all()
