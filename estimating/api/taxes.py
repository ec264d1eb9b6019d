"""Sales tax by jurisdiction and date."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from estimating.api.records import AppendedViewSet
from estimating.models import TaxRule
from estimating.service.serializers import StrictModelSerializer


class TaxRuleSerializer(StrictModelSerializer):
    """`rate` is a fraction: 0.0725 is 7.25 per cent. A tax on the sale falls on `all` of it."""

    class Meta:
        model = TaxRule
        fields = ("id", "jurisdiction", "rate", "place", "taxed_lines", "valid_from", "source", "said_by", "created_at")
        read_only_fields = ("created_at",)
        extra_kwargs = {"rate": {"min_value": Decimal(0), "max_value": Decimal(1)}}

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        if values["place"] == TaxRule.Place.SALE and values["taxed_lines"] != TaxRule.TaxedLines.ALL:
            raise serializers.ValidationError({"taxed_lines": "a tax on the sale falls on all of it; expected all"})
        return values


class TaxRuleViewSet(AppendedViewSet):
    """Tax rules, dated; a job's jurisdiction chooses the one of the day that a quote is priced on."""

    queryset = TaxRule.objects.all()
    serializer_class = TaxRuleSerializer
    filterset_fields = {"jurisdiction": ["iexact"], "valid_from": ["lte", "gte"]}
