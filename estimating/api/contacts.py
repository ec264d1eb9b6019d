"""Whom to call about a customer or a job, what was said, and what was handed in."""

from typing import Any

from django.conf import settings
from django.db import transaction
from django.http import HttpResponse
from django.utils import timezone
from django.utils.http import content_disposition_header
from django_filters import rest_framework as filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiRequest, extend_schema
from rest_framework import serializers
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from estimating import customers, files, records
from estimating.api.records import RecordViewSet
from estimating.models import Contact, Customer, Job, Note, Role, StoredFile
from estimating.service.idempotency import idempotent
from estimating.service.parsers import RawJSONParser, StrictJSONParser, check_length
from estimating.service.permissions import EVERYONE, OWNER
from estimating.service.serializers import StrictModelSerializer, StrictSerializer
from estimating.service.views import ReadViewSet

CREW_FILES = (StoredFile.Kind.PHOTO, StoredFile.Kind.DRAWING)


class OneOfTwo(StrictModelSerializer):
    """Something of a customer or of a job: exactly one is given."""

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        def now(name: str) -> Any:
            return values[name] if name in values else getattr(self.instance, name, None)

        if bool(now("customer")) == bool(now("job")):
            raise serializers.ValidationError({"job": "expected either customer or job, and not both"})
        return values


class OfCustomerFilter(filters.FilterSet):
    """`?customer=` finds what was written under whoever was merged into the customer too."""

    customer = filters.NumberFilter(method="of_customer", min_value=1, max_value=2**63 - 1)
    job = filters.ModelChoiceFilter(queryset=Job.objects.all())

    def of_customer(self, rows: Any, name: str, value: Any) -> Any:
        return customers.of_customer(rows, int(value))


class ContactSerializer(OneOfTwo):
    class Meta:
        model = Contact
        fields = ("id", "customer", "job", "name", "role", "email", "phone")
        extra_kwargs = {"name": {"required": True, "allow_blank": False}}


class ContactFilter(OfCustomerFilter):
    class Meta:
        model = Contact
        fields = ("customer", "job", "role")


class ContactViewSet(RecordViewSet):
    """People to call: owners, board, building manager, roofer, engineer."""

    queryset = Contact.objects.all()
    serializer_class = ContactSerializer
    filterset_class = ContactFilter


class NoteSerializer(OneOfTwo):
    by = serializers.CharField(source="created_by.username", default=None, read_only=True)

    class Meta:
        model = Note
        fields = ("id", "customer", "job", "text", "by", "created_at", "erased_at")
        read_only_fields = ("created_at", "erased_at")
        extra_kwargs = {"text": {"required": True, "allow_blank": False, "max_length": 20_000}}


class NoteFilter(OfCustomerFilter):
    class Meta:
        model = Note
        fields = ("customer", "job")


class ErasableViewSet(ReadViewSet):
    """Written once; what a person wants forgotten the owner erases, and the row stays."""

    def get_permissions(self) -> list[Any]:
        if self.action == "erase":
            self.write_roles = OWNER
        return super().get_permissions()

    def created(self, request: Request, row: Any) -> Response:
        response = self.answer(row, status=201)
        response["Location"] = f"{request.path.rstrip('/')}/{row.pk}"
        return response


class NoteViewSet(ErasableViewSet):
    """What was said and seen. Notes are added and never changed."""

    queryset = Note.objects.select_related("created_by")
    serializer_class = NoteSerializer
    filterset_class = NoteFilter
    ordering = "-id"

    @idempotent
    def create(self, request: Request) -> Response:
        serializer = self.get_serializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        row = records.create_record(Note, serializer.validated_data, by=request.user, now=timezone.now())
        return self.created(request, row)

    @extend_schema(request=None, responses={200: NoteSerializer})
    def erase(self, request: Request, pk: str) -> Response:
        """Blank a note's text; who wrote it and when stays."""
        with transaction.atomic():
            row = records.erase_note(self.get_object(), by=request.user, now=timezone.now())
        return self.answer(row)


class FileSerializer(StrictModelSerializer):
    by = serializers.CharField(source="created_by.username", default=None, read_only=True)
    url = serializers.SerializerMethodField(help_text="Where its bytes are, or null once it is erased.")

    class Meta:
        model = StoredFile
        fields = ("id", "customer", "job", "kind", "name", "media_type", "size", "sha256", "by", "created_at",
                  "erased_at", "url")  # fmt: skip
        read_only_fields = fields

    def get_url(self, row: StoredFile) -> str | None:
        return None if row.erased_at else f"/api/v1/files/{row.pk}/content"


class UploadSerializer(StrictSerializer):
    """What the address says of a file, whose bytes are the body."""

    customer = serializers.PrimaryKeyRelatedField(queryset=Customer.objects.all(), required=False, default=None)
    job = serializers.PrimaryKeyRelatedField(
        queryset=Job.objects.select_related("customer"), required=False, default=None
    )
    kind = serializers.ChoiceField(StoredFile.Kind.choices, default=StoredFile.Kind.OTHER)
    name = serializers.CharField(max_length=1000, default="", allow_blank=True)

    validate = OneOfTwo.validate


class FileFilter(OfCustomerFilter):
    class Meta:
        model = StoredFile
        fields = ("customer", "job", "kind", "sha256")


class BytesParser(RawJSONParser):
    """The bytes of a file; what they are is told by themselves, whatever the header says."""

    media_type = "*/*"


class FileViewSet(ErasableViewSet):
    """Photos and papers. POST the bytes; they come back as they were, to be saved and not shown in a page."""

    queryset = StoredFile.objects.select_related("created_by")
    serializer_class = FileSerializer
    filterset_class = FileFilter
    ordering = "-id"
    read_roles = EVERYONE

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        if self.request.user.role == Role.CREW:
            return rows.filter(kind__in=CREW_FILES, job__isnull=False)
        return rows

    @property
    def body_limit(self) -> int:
        return settings.FILE_BYTES

    def get_parsers(self) -> list[BaseParser]:
        uploading = self.request is None or getattr(self, "action_map", {}).get("post") == "create"
        return [BytesParser()] if uploading else [StrictJSONParser()]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if self.action == "create":
            # Django holds any body to the limit for JSON; a file may be longer, and who sends it is known by now.
            check_length(request, self)
            request._request._body = request._request.read()  # type: ignore[attr-defined]

    @extend_schema(
        request={"application/octet-stream": OpenApiRequest(OpenApiTypes.BINARY)}, responses={201: FileSerializer},
        parameters=[
            OpenApiParameter("customer", int), OpenApiParameter("job", int),
            OpenApiParameter("kind", enum=StoredFile.Kind.values), OpenApiParameter("name", str),
        ],
        description="Hand in a file of a customer or of a job (exactly one); the body is its bytes. Taken are "
        f"{', '.join(files.ENDINGS)}, told by their first bytes; 415 for anything else, 413 where it is too long.",
    )  # fmt: skip
    @idempotent
    def create(self, request: Request) -> Response:
        asked = UploadSerializer(data=request.query_params.dict())
        asked.is_valid(raise_exception=True)
        content = request.data if isinstance(request.data, bytes) else b""
        row = files.keep_file(content, **asked.validated_data, by=request.user, now=timezone.now())
        return self.created(request, row)

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    def content(self, request: Request, pk: str) -> HttpResponse:
        """The bytes of a file; 410 once it is erased."""
        return file_response(self.get_object())

    @extend_schema(request=None, responses={200: FileSerializer})
    def erase(self, request: Request, pk: str) -> Response:
        """Remove a file's bytes and name; checksum, size, who and when stay."""
        return self.answer(files.erase_file(self.get_object(), by=request.user, now=timezone.now()))


def file_response(row: StoredFile) -> HttpResponse:
    """A file to save: never shown inside a page, never taken for another kind. Raises files.FileGone."""
    return HttpResponse(files.read_file(row), content_type=row.media_type, headers={
        "Content-Disposition": content_disposition_header(True, row.name), "X-Content-Type-Options": "nosniff",
        "Content-Security-Policy": "default-src 'none'; sandbox", "ETag": f'"{row.sha256}"',
        "Cache-Control": "private, max-age=0, must-revalidate",
    })  # fmt: skip
