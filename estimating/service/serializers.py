"""Serializers that refuse a field they do not know, since ignoring it would be guessing."""

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers


class Strict(serializers.Serializer):
    """Mix in before any serializer."""

    def get_fields(self) -> dict[str, Any]:
        """The fields, of which a choice tells what there is to choose from."""
        fields = super().get_fields()
        for field in fields.values():
            if isinstance(field, serializers.ChoiceField):
                choices = ", ".join(map(str, field.choices)).replace("{", "{{").replace("}", "}}")
                field.error_messages["invalid_choice"] = '"{input}" is not a valid choice; expected one of ' + choices
        return fields

    def to_internal_value(self, data: Any) -> Any:
        errors: dict[str, Any] = {}
        if isinstance(data, Mapping):
            known = ", ".join(sorted(name for name, field in self.fields.items() if not field.read_only))
            errors = {
                str(name): [serializers.ErrorDetail(f"there is no such field; expected one of {known}", "unknown")]
                for name in data
                if name not in self.fields
            }
        try:
            values = super().to_internal_value(data)
        except serializers.ValidationError as exc:
            raise serializers.ValidationError({**errors, **exc.detail} if errors else exc.detail) from None
        if errors:
            raise serializers.ValidationError(errors)
        return values


class StrictSerializer(Strict):
    """A plain serializer, strict."""


class StrictModelSerializer(Strict, serializers.ModelSerializer):
    """A model serializer, strict."""
