"""What an hour costs and how long work takes."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from estimating.api.records import AppendedViewSet
from estimating.models import (
    LaborRate,
    ProductionRate,
)
from estimating.service.serializers import StrictModelSerializer


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
