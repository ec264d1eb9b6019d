"""Suppliers, and the materials behind the item keys of a framing."""

from decimal import Decimal

from rest_framework import serializers

from estimating.api.records import RecordViewSet
from estimating.models import (
    Material,
    Supplier,
)
from estimating.service.serializers import StrictModelSerializer


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
            "id", "item_key", "description", "supplier", "sku", "buying_unit", "thickness", "width",
            "length", "taxable", "active",
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
