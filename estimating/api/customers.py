"""Customers, and which of them may be the same."""

from typing import Any

from django.db import transaction
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field, inline_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from estimating import customers
from estimating.api.records import RecordViewSet
from estimating.models import Customer
from estimating.service.idempotency import idempotent
from estimating.service.serializers import StrictModelSerializer, StrictSerializer


class MatchSerializer(StrictSerializer):
    """A customer who may be the same, and why: `email`, `phone`, `name and address`."""

    customer = serializers.IntegerField()
    because = serializers.ListField(child=serializers.CharField())


class CustomerSerializer(StrictModelSerializer):
    possible_duplicates = serializers.SerializerMethodField(
        help_text="On creation: customers who may be the same, and why; null when read."
    )

    class Meta:
        model = Customer
        fields = ("id", "name", "email", "phone", "address", "postal_address", "note", "created_at", "erased_at",
                  "merged_into", "possible_duplicates")  # fmt: skip
        read_only_fields = ("created_at", "erased_at", "merged_into")
        extra_kwargs = {"name": {"required": True, "allow_blank": False}}

    @extend_schema_field(MatchSerializer(many=True, allow_null=True))
    def get_possible_duplicates(self, row: Customer) -> list[dict[str, Any]] | None:
        if not self.context.get("created"):
            return None
        return told(customers.duplicates_of(row))


def told(matches: list[customers.Match]) -> list[dict[str, Any]]:
    """By number alone: answers to creation are kept for retries, and hold no other person's name."""
    return [{"customer": match.customer.pk, "because": list(match.because)} for match in matches]


class MergeSerializer(StrictSerializer):
    other = serializers.PrimaryKeyRelatedField(
        queryset=Customer.objects.all(), help_text="Who is the same; jobs and contacts go over, a pointer stays."
    )


class CustomerViewSet(RecordViewSet):
    """People who asked for work."""

    queryset = Customer.objects.all()
    serializer_class = CustomerSerializer
    filterset_fields = {"name": ["exact", "icontains"], "email": ["iexact"], "merged_into": ["exact", "isnull"]}

    def get_serializer_context(self) -> dict[str, Any]:
        return {**super().get_serializer_context(), "created": self.action == "create"}

    @extend_schema(responses={200: inline_serializer("Duplicates", {"results": MatchSerializer(many=True)})})
    def duplicates(self, request: Request, pk: str) -> Response:
        """Customers who may be the same: equal e-mail, phone digits, or name and address. Nothing is merged by it."""
        return Response({"results": told(customers.duplicates_of(self.get_object()))})

    @extend_schema(request=MergeSerializer, responses={200: CustomerSerializer})
    @idempotent
    def merge(self, request: Request, pk: str) -> Response:
        """Make another customer one with this; send If-Match with this one's ETag."""
        asked = MergeSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        with transaction.atomic():
            other = asked.validated_data["other"].pk
            row = customers.merge_customers(self.locked().pk, other, by=request.user, now=timezone.now())
        return self.answer(row)

    @extend_schema(request=None, responses={200: CustomerSerializer})
    def erase(self, request: Request, pk: str) -> Response:
        """Erase what is known of a person, contacts, notes and files with it; the row and the jobs stay nameless."""
        with transaction.atomic():
            row = customers.erase_customer(self.locked(), by=request.user, now=timezone.now())
        return self.answer(row)
