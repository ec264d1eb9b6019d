"""Who changed what, when."""


from rest_framework import serializers

from estimating.models import (
    History,
)
from estimating.service.serializers import StrictModelSerializer
from estimating.service.views import ReadViewSet


class HistorySerializer(StrictModelSerializer):
    by = serializers.CharField(source="by.username", default=None, read_only=True)

    class Meta:
        model = History
        fields = ("id", "at", "by", "subject", "subject_id", "action", "changes")
        read_only_fields = fields


class HistoryViewSet(ReadViewSet):
    """Who changed what, when, from what."""

    queryset = History.objects.select_related("by")
    serializer_class = HistorySerializer
    filterset_fields = ("subject", "subject_id", "action")
    ordering = "-id"
