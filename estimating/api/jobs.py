"""Jobs from the first call to closed, and what blocks the next step of each."""

from typing import Any

from django.db import transaction
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema, inline_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from estimating import jobs
from estimating.api.records import RecordViewSet
from estimating.models import Job
from estimating.service.idempotency import idempotent
from estimating.service.permissions import EVERYONE
from estimating.service.problems import Fault, Problem, Refused
from estimating.service.serializers import StrictModelSerializer, StrictSerializer
from estimating.steps import LOST, STATES, next_state

DATES = ("accepted_on", "deposit_received_on", "starts_on", "built_on", "handed_over_on", "paid_on")


class JobSerializer(StrictModelSerializer):
    number = serializers.CharField(read_only=True)

    class Meta:
        model = Job
        fields = (
            "id", "number", "customer", "name", "site_address", "jurisdiction", "status", "note", "roof_owner",
            "consent_needed", "consent_asked_on", "consent_given_on", "consent_file", "year_built", "financed", *DATES,
            "created_at",
        )  # fmt: skip
        read_only_fields = ("created_at",)
        extra_kwargs = {"year_built": {"min_value": 1600, "max_value": 2200}}

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        """What several fields say together; the database holds to the same."""
        row = self.instance

        def now(name: str) -> Any:
            return values[name] if name in values else getattr(row, name, None)

        asked, given, file = now("consent_asked_on"), now("consent_given_on"), now("consent_file")
        faults: dict[str, str] = {}
        if given and not file:
            faults["consent_file"] = "consent was given; expected the file that says so"
        if given and asked and given < asked:
            faults["consent_given_on"] = f"consent was asked for on {asked}; expected that day or a later one"
        if file and "consent_file" in values:
            customer = now("customer")
            belongs = (row is not None and file.job_id == row.pk) or (customer and file.customer_id == customer.pk)
            if not belongs or file.erased_at is not None:
                faults["consent_file"] = "expected the id of a file of this job or its customer that is still kept"
        if row is None and values.get("status", Job.Status.LEAD) != Job.Status.LEAD:
            faults["status"] = "a job begins as lead; expected lead, and a step after that"
        if faults:
            raise serializers.ValidationError(faults)
        return values


class BlockerSerializer(StrictSerializer):
    code = serializers.CharField()
    text = serializers.CharField()
    who = serializers.CharField(help_text="Who can clear it.")


class StepSerializer(StrictSerializer):
    to = serializers.ChoiceField(Job.Status.choices)
    reason = serializers.CharField(
        max_length=500, required=False, default="",
        help_text="The owner's, for a step that something blocks. It stands in the history for good: name nobody.",
    )  # fmt: skip


class JobViewSet(RecordViewSet):
    """Roof terraces, from the first call to closed."""

    queryset = Job.objects.all()
    serializer_class = JobSerializer
    filterset_fields = {"customer": ["exact"], "status": ["exact"], "roof_owner": ["exact"], "name": ["icontains"]}
    read_roles = EVERYONE

    def perform_update(self, serializer: Any) -> Any:
        """A change of status is a step; the rest of the body is changed first, since it may be what was missing."""
        to = serializer.validated_data.pop("status", None)
        job = super().perform_update(serializer)
        return self.step(job, to) if to else job

    def step(self, job: Job, to: str, reason: str = "") -> Job:
        try:
            return jobs.take_step(job, to, reason=reason, by=self.request.user, now=timezone.now())
        except jobs.StepRefused as stopped:
            faults = [Fault("", blocker.code, f"cleared by {blocker.who}", blocker.text)
                      for blocker in stopped.blockers]
            raise Problem(409, str(stopped), faults) from None

    @extend_schema(request=StepSerializer, responses={200: JobSerializer})
    @idempotent
    def take(self, request: Request, pk: str) -> Response:
        """Bring the job to another state; send If-Match. 409 names what blocks it, which the owner may override."""
        asked = StepSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        with transaction.atomic():
            job = self.step(self.locked(), **asked.validated_data)
        return self.answer(job)

    @extend_schema(
        parameters=[OpenApiParameter("to", enum=[*STATES, LOST], description="The next state where not given.")],
        responses={200: inline_serializer("Blockers", {
            "state": serializers.CharField(), "to": serializers.CharField(allow_null=True),
            "blockers": BlockerSerializer(many=True),
        })},
    )  # fmt: skip
    def blockers(self, request: Request, pk: str) -> Response:
        """What stands between the job and its next state, or the one that is asked for."""
        job = self.get_object()
        to = request.query_params.get("to", next_state(job.status))
        if to is not None and to not in (*STATES, LOST):
            expected = "one of " + ", ".join((*STATES, LOST))
            raise Refused([Fault("", to, expected, f"to must be {expected}", "to")])
        found = jobs.blockers_of(job, now=timezone.now(), to=to)
        return Response({"state": job.status, "to": to, "blockers": [blocker._asdict() for blocker in found]})
