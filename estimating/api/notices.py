"""Notices by jurisdiction and date, and how those of a day would read."""

from datetime import date
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from estimating import notices
from estimating.api.jobs import BlockerSerializer
from estimating.api.records import AppendedViewSet
from estimating.business_days import FIRST_YEAR
from estimating.models import Notice
from estimating.office import local_day, the_office
from estimating.reference.consumer_law import WHERE_AGREED
from estimating.right_to_cancel import cancel_by_for
from estimating.service.problems import Fault, Refused
from estimating.service.serializers import StrictModelSerializer, StrictSerializer

LAST_YEAR = 2199


class NoticeSerializer(StrictModelSerializer):
    """`body` holds blanks such as `{{cancel_by}}`. Those that no record fills are filled from `values`."""

    body = serializers.CharField(
        max_length=notices.BODY_AT_MOST, allow_blank=True, default="", trim_whitespace=False,
        help_text="Text with blanks; empty: needed, and its wording not written yet. Of one that is not needed, why.",
    )  # fmt: skip
    values = serializers.DictField(
        child=serializers.CharField(max_length=1000), default=dict, help_text="Text for blanks of the office's own."
    )
    copies = serializers.IntegerField(min_value=1, max_value=2, default=1)
    point_size = serializers.IntegerField(
        min_value=notices.CANCELLATION_POINTS, max_value=24, default=notices.CANCELLATION_POINTS, help_text="[pt]"
    )
    cancel_days = serializers.IntegerField(
        min_value=1, max_value=30, allow_null=True, default=None,
        help_text="Business days that a cancellation notice gives, where they are more than the rules on file.",
    )  # fmt: skip

    class Meta:
        model = Notice
        fields = (
            "id", "jurisdiction", "kind", "title", "body", "values", "placement", "copies", "point_size", "bold",
            "cancel_days", "not_needed", "source", "said_by", "valid_from", "review_by", "created_at",
        )  # fmt: skip
        read_only_fields = ("created_at",)

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        if faults := notices.faults_of(values):
            raise serializers.ValidationError(faults)
        return values


class PreviewQuery(StrictSerializer):
    jurisdiction = serializers.CharField(max_length=200, allow_blank=True, default="")
    on = serializers.DateField(required=False, help_text="Today in the office's time zone where not given.")
    where_agreed = serializers.ChoiceField(tuple(WHERE_AGREED.items()), default="unknown")
    over_65 = serializers.BooleanField(allow_null=True, default=None)
    disaster = serializers.BooleanField(allow_null=True, default=None)

    def validate_on(self, value: date) -> date:
        if not FIRST_YEAR <= value.year <= LAST_YEAR:
            raise serializers.ValidationError(f"expected a day of the years from {FIRST_YEAR} to {LAST_YEAR}")
        return value


class NeededSerializer(StrictSerializer):
    kind = serializers.ChoiceField(Notice.Kind.choices)
    why = serializers.CharField()


class PrintedSerializer(StrictSerializer):
    """A notice as a revision keeps it."""

    id = serializers.IntegerField()
    kind = serializers.ChoiceField(Notice.Kind.choices)
    title = serializers.CharField()
    jurisdiction = serializers.CharField()
    text = serializers.CharField()
    placement = serializers.ChoiceField(Notice.Placement.choices)
    copies = serializers.IntegerField()
    point_size = serializers.IntegerField()
    bold = serializers.BooleanField()
    cancel_days = serializers.IntegerField(allow_null=True)
    source = serializers.CharField()
    said_by = serializers.CharField()
    valid_from = serializers.DateField()
    review_by = serializers.DateField()
    blanks = serializers.ListField(child=serializers.CharField(), help_text="Filled by the proposal or its acceptance.")
    missing = serializers.ListField(child=serializers.CharField(), help_text="What is not filled in, in words.")


class LastDaySerializer(StrictSerializer):
    """Until midnight of which day a sale of that day may be cancelled, counted both ways; the later one holds."""

    start = serializers.DateField()
    day = serializers.DateField()
    literal = serializers.DateField()
    careful = serializers.DateField()
    ordering_from = serializers.DateField(help_text="The first day to order and schedule.")
    days = serializers.IntegerField()
    words = serializers.CharField()
    counted_from = serializers.CharField()
    how = serializers.CharField()
    basis = serializers.CharField()
    source = serializers.CharField()
    decided_by = serializers.CharField()


class PreviewSerializer(StrictSerializer):
    jurisdiction = serializers.CharField()
    on = serializers.DateField()
    notices = PrintedSerializer(many=True)
    needed = NeededSerializer(many=True)
    blockers = BlockerSerializer(many=True, help_text="What would keep a proposal from being sent on that day.")
    cancel = LastDaySerializer(help_text="Of a sale agreed on that day.")


class NoticeViewSet(AppendedViewSet):
    """Notices, dated; of a kind the last that began holds, the jurisdiction's own before one for everywhere."""

    queryset = Notice.objects.all()
    serializer_class = NoticeSerializer
    filterset_fields = {"jurisdiction": ["iexact"], "kind": ["exact"], "valid_from": ["lte", "gte"],
                        "review_by": ["lte", "gte"]}

    @extend_schema(parameters=[PreviewQuery], responses={200: PreviewSerializer}, filters=False)
    def preview(self, request: Request) -> Response:
        """How the notices of a jurisdiction read on a day, filled from the office's records, and what is missing."""
        asked = PreviewQuery(data=request.query_params.dict())
        if not asked.is_valid():
            raise Refused(Fault("", request.query_params.get(name), str(message), str(message), name[:40])
                          for name, messages in asked.errors.items() for message in messages)
        told = asked.validated_data
        office = the_office()
        place, on = told["jurisdiction"], told.get("on") or local_day(office, timezone.now())
        open_later = (*notices.PER_PROPOSAL, *notices.AT_ACCEPTANCE)
        printed = notices.printed_on(place, on, notices.facts_of(office), left_open=open_later)
        found = notices.blockers(printed, place, on, told["where_agreed"])
        needed = notices.required_kinds(place, on, told["where_agreed"])
        last = cancel_by_for(place, on, over_65=told["over_65"], disaster=told["disaster"],
                             at_least=notices.days_given(printed))
        return Response({
            "jurisdiction": place, "on": on, "notices": printed,
            "needed": [{"kind": kind, "why": why} for kind, why in needed.items()],
            "blockers": [blocker._asdict() for blocker in found], "cancel": last.as_json(),
        })
