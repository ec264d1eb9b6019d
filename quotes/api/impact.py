"""What new prices do to open quotes, over HTTP."""

from typing import Any

from django.shortcuts import get_object_or_404
from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema, inline_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from estimating.models import PriceListVersion
from estimating.service.endpoints import RunSerializer, accepted
from estimating.service.idempotency import idempotent
from estimating.service.serializers import StrictModelSerializer, StrictSerializer
from estimating.service.views import ReadViewSet
from quotes.impact import start_impact
from quotes.models import PriceImpact, QuoteImpact


class ImpactRequest(StrictSerializer):
    """Which version's prices to hold open quotes against, and on which day."""

    price_list_version = serializers.PrimaryKeyRelatedField(queryset=PriceListVersion.objects.all())
    on = serializers.DateField(
        required=False, help_text="Today where not given, or the version's first day where that is later."
    )


class ImpactSerializer(StrictModelSerializer):
    """What a version does to the quotes that are open; `worked_out_at` is null while the run is at it."""

    class Meta:
        model = PriceImpact
        fields = ("id", "price_list_version", "on", "run", "worked_out_at", "quotes_touched", "quotes_blocked",
                  "change", "created_at")
        read_only_fields = fields


class QuoteImpactSerializer(StrictModelSerializer):
    """One quote in an impact; `after` is null where a line has no price in the new version, with the reason."""

    number = serializers.CharField(source="quote.number", read_only=True)

    class Meta:
        model = QuoteImpact
        fields = ("rank", "quote", "number", "quote_version", "before", "after", "change", "lines")
        read_only_fields = fields


class ImpactViewSet(ReadViewSet):
    """What new prices do to open quotes. Nothing is changed by looking: price a quote anew by its `requote`."""

    queryset = PriceImpact.objects.all()
    serializer_class = ImpactSerializer
    filterset_fields = ("price_list_version",)
    ordering = "-id"

    @extend_schema(request=ImpactRequest, responses={202: inline_serializer("ImpactRun", {"run": RunSerializer()})})
    @idempotent
    def create(self, request: Request) -> Response:
        """Work it out in the background; the run's result has the address."""
        asked = ImpactRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        values = asked.validated_data
        found = start_impact(values["price_list_version"].pk, on=values.get("on"), by=request.user,
                                    now=timezone.now())
        return accepted(found.run)


class QuoteImpactViewSet(ReadViewSet):
    """The quotes of one impact, those first that need a person first."""

    queryset = QuoteImpact.objects.none()
    serializer_class = QuoteImpactSerializer
    ordering = "rank"

    def get_queryset(self) -> Any:
        found = get_object_or_404(PriceImpact, pk=self.kwargs["impact_id"])
        return found.quotes.select_related("quote")


urlpatterns = [
    path("price-impacts", ImpactViewSet.as_view({"get": "list", "post": "create"}, detail=False), name="impacts"),
    path("price-impacts/<int:pk>", ImpactViewSet.as_view({"get": "retrieve"}), name="impact"),
    path("price-impacts/<int:impact_id>/quotes", QuoteImpactViewSet.as_view({"get": "list"}, detail=False),
         name="impact-quotes"),
]
