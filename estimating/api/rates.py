"""What an hour costs, who stands in a crew, and how long work takes."""

from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from estimating import burden, money
from estimating.api.records import AppendedViewSet
from estimating.models import CrewMix, LaborRate, ProductionRate
from estimating.reference.payroll import PAYROLL_TAXES
from estimating.service.serializers import StrictModelSerializer, StrictSerializer

AMOUNT = {"max_digits": 15, "decimal_places": 6, "min_value": Decimal(0)}
PUBLISHED = sorted({name for name, _ in PAYROLL_TAXES})


class PartSerializer(StrictSerializer):
    """One part of the burden: a published payroll tax by its name, or `name`, `kind` and `amount` of your own."""

    published = serializers.ChoiceField(PUBLISHED, required=False, help_text="In the year of valid_from.")
    name = serializers.CharField(max_length=100, required=False)
    kind = serializers.ChoiceField(
        burden.PART_KINDS, required=False,
        help_text="Money a year, a fraction of wages, money for each hundred of payroll, or money a month.",
    )  # fmt: skip
    amount = serializers.DecimalField(**AMOUNT, required=False)
    wage_base = serializers.DecimalField(
        15, 2, min_value=Decimal("0.01"), required=False, allow_null=True, help_text="Wages of a year that it falls on."
    )
    source = serializers.CharField(max_length=200, required=False, allow_blank=True)

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        if "published" in values:
            own = sorted(set(values) - {"published"})
            if own:
                raise serializers.ValidationError({own[0]: "the published tax says it; expected published alone"})
            return values
        missing = {name: "expected a value, or the name of a published tax" for name in ("name", "kind", "amount")
                   if name not in values}
        if missing:
            raise serializers.ValidationError(missing)
        return values


class BurdenSerializer(StrictSerializer):
    """Wages, burden by parts, and the hours of a year that jobs pay for."""

    wages = serializers.DecimalField(
        15, 4, min_value=Decimal("0.0001"), help_text="An hour; a year where no paid_hours are given."
    )
    paid_hours = serializers.DecimalField(7, 2, min_value=Decimal("0.01"), required=False, allow_null=True)
    billable_hours = serializers.DecimalField(7, 2, min_value=Decimal("0.01"), help_text="A year.")
    parts = PartSerializer(many=True, required=False, max_length=50)


class LaborRateSerializer(StrictModelSerializer):
    """The rate itself with a basis in words, or its `burden`, from which it is worked and which becomes its basis."""

    burden = BurdenSerializer(write_only=True, required=False)

    class Meta:
        model = LaborRate
        fields = ("id", "grade", "rate", "crew_count", "basis", "burden", "valid_from", "created_at")
        read_only_fields = ("created_at",)
        extra_kwargs = {"rate": {"min_value": Decimal("0.0001"), "required": False},
                        "crew_count": {"min_value": Decimal(0)}}

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        by_parts = values.pop("burden", None)
        if by_parts is None:
            if "rate" not in values:
                raise serializers.ValidationError({"rate": "expected a rate, or its burden by parts"})
            if isinstance(values.get("basis"), dict) and values["basis"].get("format") == burden.FORMAT:
                raise serializers.ValidationError({"basis": "it would not be worked; expected burden by parts"})
            return values
        for name in ("rate", "basis"):
            if name in values:
                raise serializers.ValidationError({name: "it is worked from the burden; expected one of the two"})
        try:
            kept = burden.as_json(_basis(by_parts, values["valid_from"].year))
        except money.MoneyError as error:
            raise serializers.ValidationError({"burden": str(error)}) from None
        rate = Decimal(kept["worked"]["rate"])
        if not 0 < rate < Decimal(10) ** 11:
            raise serializers.ValidationError({"burden": f"it comes to {rate} an hour; expected more than 0 and what "
                                                         "can be kept"})
        return values | {"rate": rate, "basis": kept}


def _basis(given: dict[str, Any], year: int) -> burden.Basis:
    parts = []
    for number, part in enumerate(given.get("parts", ())):
        if name := part.get("published"):
            tax = PAYROLL_TAXES.get((name, year))
            if tax is None:
                years = ", ".join(str(known) for kind, known in PAYROLL_TAXES if kind == name)
                raise serializers.ValidationError({"burden": {"parts": {number: {"published": (
                    f"no number of {year} is known here; expected a day in {years}, or the part in full")}}}})
            parts.append(burden.Part(tax.name, "share", tax.rate, tax.wage_base, f"{tax.source} ({tax.status})"))
        else:
            parts.append(burden.Part(part["name"], part["kind"], part["amount"], part.get("wage_base"),
                                     part.get("source", "")))
    return burden.Basis(given["wages"], given.get("paid_hours"), given["billable_hours"], tuple(parts))


class GradeCount(StrictSerializer):
    grade = serializers.CharField(max_length=60)
    count = serializers.DecimalField(5, 2, min_value=Decimal("0.01"), help_text="People; 0.5 is half of one's time.")


class CrewMixSerializer(StrictModelSerializer):
    """Hours stay person-hours: a mix says what the average person-hour costs, not how many people come."""

    counts = GradeCount(many=True, min_length=1, max_length=20)

    class Meta:
        model = CrewMix
        fields = ("id", "name", "counts", "note", "valid_from", "created_at")
        read_only_fields = ("created_at",)

    def validate_counts(self, value: list[dict[str, Any]]) -> list[dict[str, str]]:
        grades = [entry["grade"] for entry in value]
        if twice := next((grade for grade in grades if grades.count(grade) > 1), None):
            raise serializers.ValidationError(f"{twice} stands twice; expected each grade once")
        known = set(LaborRate.objects.filter(grade__in=grades).values_list("grade", flat=True))
        if unknown := [grade for grade in grades if grade not in known]:
            raise serializers.ValidationError(f"there is no labor rate of {unknown[0]}; expected grades with a rate")
        return [{"grade": entry["grade"], "count": str(entry["count"])} for entry in value]


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

    @extend_schema(request=LaborRateSerializer, responses={200: LaborRateSerializer})
    def worked(self, request: Request) -> Response:
        """What a rate would be, part by part, without keeping it."""
        serializer = self.get_serializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        return Response(self.get_serializer(LaborRate(**serializer.validated_data)).data)


class CrewMixViewSet(AppendedViewSet):
    """Named crews, dated; a quote names the one that it is priced with."""

    queryset = CrewMix.objects.all()
    serializer_class = CrewMixSerializer
    filterset_fields = {"name": ["exact"], "valid_from": ["lte", "gte"]}


class ProductionRateViewSet(AppendedViewSet):
    """Hours a unit of each task takes, dated."""

    queryset = ProductionRate.objects.all()
    serializer_class = ProductionRateSerializer
    filterset_fields = {"task": ["exact"], "unit": ["exact"], "valid_from": ["lte", "gte"]}
