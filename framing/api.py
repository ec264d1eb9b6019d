"""Surveys and framings over HTTP; the documents are those of the engine, as they are."""

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.http import HttpResponse
from django.urls import path
from django.utils import timezone
from django_filters import rest_framework as filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema, inline_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from estimating.models import Job, Run
from estimating.service.endpoints import RunSerializer, accepted
from estimating.service.idempotency import idempotent
from estimating.service.permissions import EVERYONE, OFFICE
from estimating.service.problems import Fault, Refused
from estimating.service.serializers import StrictModelSerializer, StrictSerializer
from estimating.service.views import ReadViewSet
from framing import records
from framing.dxf import CONTENT_TYPE as DXF
from framing.dxf import plan_dxf
from framing.engine.documents import DocumentRefused, json_schema
from framing.models import Framing, Survey


def refused_document(refusal: DocumentRefused, field: str) -> Refused:
    """The engine's faults as problem details, their pointers into the request's body."""
    faults = [Fault(f"/{field}{f.pointer}", f.read, f.expected, f.detail) for f in refusal.faults]
    return Refused(faults, status=413 if refusal.too_large else 422)


class DocumentField(serializers.JSONField):
    """A whole document of the engine; the engine itself says what is wrong with it."""

    def to_internal_value(self, data: Any) -> Mapping[str, Any]:
        if not isinstance(data, Mapping):
            raise serializers.ValidationError("expected a document: a group { … }")
        return data


class SurveySerializer(StrictModelSerializer):
    """One version of a job's roof survey; `document` is roof-survey/1."""

    document = DocumentField(help_text="roof-survey/1; its JSON Schema is at /api/v1/formats/roof-survey-1.")
    job = serializers.PrimaryKeyRelatedField(queryset=Job.objects.all())

    class Meta:
        model = Survey
        fields = ("id", "job", "number", "sha256", "created_at", "document")
        read_only_fields = ("number", "sha256", "created_at")


class SurveyInList(StrictModelSerializer):
    """A survey without its document."""

    class Meta:
        model = Survey
        fields = ("id", "job", "number", "sha256", "created_at")
        read_only_fields = fields


class SurveyViewSet(ReadViewSet):
    """Roof surveys. One that was kept stays; a corrected one is the job's next."""

    queryset = Survey.objects.all()
    filterset_fields = ("job",)
    read_roles, write_roles = EVERYONE, OFFICE

    def get_queryset(self) -> Any:
        return super().get_queryset().defer("text") if self.action == "list" else super().get_queryset()

    def get_serializer_class(self) -> Any:
        return SurveyInList if self.action == "list" else SurveySerializer

    @extend_schema(responses={201: SurveySerializer})
    @idempotent
    def create(self, request: Request) -> Response:
        """Keep a survey as the job's next one; nothing is kept of one with a fault."""
        asked = self.get_serializer(data=request.data)
        asked.is_valid(raise_exception=True)
        values = asked.validated_data
        try:
            survey = records.keep_survey(values["job"].pk, values["document"], by=request.user, now=timezone.now())
        except DocumentRefused as refusal:
            raise refused_document(refusal, "document") from None
        response = self.answer(survey, status=201)
        response["Location"] = f"{request.path.rstrip('/')}/{survey.pk}"
        return response


class FramingSerializer(StrictModelSerializer):
    """What the engine answered to a survey and a build; the whole answer is at `document`."""

    survey = serializers.IntegerField(source="build.survey_id", read_only=True)
    job = serializers.IntegerField(source="build.survey.job_id", read_only=True)
    checks = serializers.SerializerMethodField(help_text="Stops and cautions of the answer.")
    document = serializers.SerializerMethodField(help_text="Address of the deck-framing/1 document.")
    plan = serializers.SerializerMethodField(help_text="Address of the plan, SVG.")
    plan_dxf = serializers.SerializerMethodField(help_text="Address of the plan, DXF in inches with named layers.")
    section = serializers.SerializerMethodField(help_text="Address of the section at the door, SVG.")

    class Meta:
        model = Framing
        fields = ("id", "job", "survey", "engine", "stops", "area_sqft", "created_at", "document", "plan", "plan_dxf",
                  "section", "checks")
        read_only_fields = fields

    def get_checks(self, row: Framing) -> list[dict[str, Any]]:
        return [check for check in row.document.get("checks", ()) if check["status"] in ("stop", "caution")]

    def get_document(self, row: Framing) -> str:
        return f"/api/v1/framings/{row.pk}/document"

    def get_plan(self, row: Framing) -> str:
        return f"/api/v1/framings/{row.pk}/plan.svg"

    def get_plan_dxf(self, row: Framing) -> str:
        return f"/api/v1/framings/{row.pk}/plan.dxf"

    def get_section(self, row: Framing) -> str:
        return f"/api/v1/framings/{row.pk}/section.svg"


class FramingInList(FramingSerializer):
    """A framing without what was found."""

    checks = None

    class Meta(FramingSerializer.Meta):
        fields = tuple(name for name in FramingSerializer.Meta.fields if name != "checks")
        read_only_fields = fields


class FramingRequest(StrictSerializer):
    survey = serializers.PrimaryKeyRelatedField(queryset=Survey.objects.all())
    build = DocumentField(help_text="deck-build/1; its JSON Schema is at /api/v1/formats/deck-build-1.")


class FramingFilters(filters.FilterSet):
    survey = filters.ModelChoiceFilter(field_name="build__survey", queryset=Survey.objects.all())
    job = filters.ModelChoiceFilter(field_name="build__survey__job", queryset=Job.objects.all())


class FramingViewSet(ReadViewSet):
    """Framings. Up to 600 ft² the answer comes in the request, above that as a run."""

    queryset = Framing.objects.select_related("build__survey")
    filterset_class = FramingFilters
    read_roles, write_roles = EVERYONE, OFFICE

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        return rows.defer("text", "plan_svg", "section_svg", "build__text", "build__survey__text") \
            if self.action == "list" else rows

    def get_serializer_class(self) -> Any:
        return FramingInList if self.action == "list" else FramingSerializer

    @extend_schema(request=FramingRequest, responses={
        201: FramingSerializer, 202: inline_serializer("FramingRun", {"run": RunSerializer()}),
    })
    @idempotent
    def create(self, request: Request) -> Response:
        """Frame a build on a survey."""
        asked = FramingRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        values = asked.validated_data
        try:
            with transaction.atomic():
                made = records.frame_build(values["survey"], values["build"], by=request.user, now=timezone.now())
        except DocumentRefused as refusal:
            raise refused_document(refusal, "build") from None
        if isinstance(made, Run):
            return accepted(made)
        response = self.answer(made, status=201)
        response["Location"] = f"{request.path.rstrip('/')}/{made.pk}"
        return response

    @extend_schema(responses={200: OpenApiTypes.OBJECT})
    def document(self, request: Request, pk: str) -> HttpResponse:
        """The deck-framing/1 document, byte for byte as it was kept."""
        return HttpResponse(self.get_object().text, content_type="application/json")

    @extend_schema(responses={(200, "image/svg+xml"): OpenApiTypes.STR})
    def plan(self, request: Request, pk: str) -> HttpResponse:
        """The plan as SVG."""
        return drawing_response(self.get_object().plan_svg)

    @extend_schema(responses={(200, DXF): OpenApiTypes.BINARY})
    def dxf(self, request: Request, pk: str) -> HttpResponse:
        """The plan as DXF, drawn from the documents that were kept."""
        row = self.get_object()
        return HttpResponse(plan_dxf(row.document, row.build.survey.document), content_type=DXF, headers={
            "Content-Disposition": f'attachment; filename="framing-{row.pk}.dxf"'})

    @extend_schema(responses={(200, "image/svg+xml"): OpenApiTypes.STR})
    def section(self, request: Request, pk: str) -> HttpResponse:
        """The section at the door as SVG."""
        return drawing_response(self.get_object().section_svg)


def drawing_response(svg: str) -> HttpResponse:
    """A drawing that can do nothing but be looked at."""
    return HttpResponse(svg, content_type="image/svg+xml", headers={"Content-Security-Policy": "default-src 'none'; "
                                                                    "style-src 'unsafe-inline'; sandbox"})


class FormatViewSet(ReadViewSet):
    """JSON Schemas of the three documents."""

    queryset = Survey.objects.none()
    read_roles = EVERYONE

    @extend_schema(responses={200: OpenApiResponse(OpenApiTypes.OBJECT)})
    def published(self, request: Request, name: str) -> Response:
        """The JSON Schema of roof-survey-1, deck-build-1 or deck-framing-1."""
        return Response(json_schema(FORMATS[name]))


FORMATS = {"roof-survey-1": "roof-survey/1", "deck-build-1": "deck-build/1", "deck-framing-1": "deck-framing/1"}

urlpatterns = [
    path("surveys", SurveyViewSet.as_view({"get": "list", "post": "create"}, detail=False), name="surveys"),
    path("surveys/<int:pk>", SurveyViewSet.as_view({"get": "retrieve"}), name="survey"),
    path("framings", FramingViewSet.as_view({"get": "list", "post": "create"}, detail=False), name="framings"),
    path("framings/<int:pk>", FramingViewSet.as_view({"get": "retrieve"}), name="framing"),
    path("framings/<int:pk>/document", FramingViewSet.as_view({"get": "document"}), name="framing-document"),
    path("framings/<int:pk>/plan.svg", FramingViewSet.as_view({"get": "plan"}), name="framing-plan"),
    path("framings/<int:pk>/plan.dxf", FramingViewSet.as_view({"get": "dxf"}), name="framing-plan-dxf"),
    path("framings/<int:pk>/section.svg", FramingViewSet.as_view({"get": "section"}), name="framing-section"),
    *(path(f"formats/{name}", FormatViewSet.as_view({"get": "published"}), {"name": name}, name=f"format-{name}")
      for name in FORMATS),
]
