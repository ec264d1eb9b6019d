"""The office that this installation serves."""

from decimal import Decimal
from typing import Any
from zoneinfo import available_timezones

from django.db import transaction
from django.shortcuts import get_object_or_404
from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from estimating import money, office
from estimating.models import (
    Office,
)
from estimating.service.permissions import EVERYONE, OWNER
from estimating.service.preconditions import check_match
from estimating.service.serializers import StrictModelSerializer, StrictSerializer
from estimating.service.views import ReadViewSet


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
            "overhead_rate", "profit_rate", "overhead_on", "profit_on", "tax_rate", "tax_place", "tax_is_fallback",
            "payment_schedule", "quote_valid_days", "ordering_held_days", "paper_size", "exclusions",
            "warranty", "notices",
        )  # fmt: skip
        extra_kwargs = {
            "quote_valid_days": {"min_value": 1, "max_value": 366},
            "ordering_held_days": {"min_value": 0, "max_value": 366},
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


    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        def now(name: str) -> Any:
            return values.get(name, getattr(self.instance, name, None))

        if now("profit_on") == Office.ProfitBasis.MARGIN and (now("profit_rate") or 0) >= 1:
            raise serializers.ValidationError({"profit_rate": "a margin is a share of the sale; expected less than 1"})
        return values


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
