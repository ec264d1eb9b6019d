"""The resources that belong to no subject: tokens and runs."""

from typing import Any

from django.conf import settings
from django.contrib.auth import authenticate
from django.db import transaction
from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.exceptions import Throttled
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from estimating.models import ApiToken, Run, Scope
from estimating.service import runs, tokens
from estimating.service.permissions import EVERYONE, OFFICE
from estimating.service.problems import Problem
from estimating.service.serializers import StrictModelSerializer, StrictSerializer
from estimating.service.throttles import over_limit
from estimating.service.views import ReadViewSet


class TokenRequest(StrictSerializer):
    username = serializers.CharField(max_length=150)
    password = serializers.CharField(max_length=1000, trim_whitespace=False)
    name = serializers.CharField(max_length=100, default="API", help_text="what it is for, for the list of tokens")
    scope = serializers.ChoiceField(Scope.choices, default=Scope.FULL)


class TokenAnswer(serializers.Serializer):
    token = serializers.CharField(help_text="shown this once; send it as Authorization: Bearer TOKEN")
    name = serializers.CharField()
    scope = serializers.ChoiceField(Scope.choices)
    expires_at = serializers.DateTimeField(help_text="UTC")


class TokenView(APIView):
    """Tokens are made from a person's name and password, and given back by DELETE with the token itself."""

    read_roles = write_roles = EVERYONE

    def get_authenticators(self) -> list[Any]:
        making = self.request is not None and self.request.method == "POST"
        return [] if making else super().get_authenticators()

    def get_permissions(self) -> list[Any]:
        return [AllowAny()] if self.request.method == "POST" else super().get_permissions()

    @extend_schema(request=TokenRequest, responses={201: TokenAnswer}, auth=[])
    def post(self, request: Request) -> Response:
        asked = TokenRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        values = asked.validated_data
        name, address = values["username"], self.get_throttles()[0].get_ident(request)
        if wait := over_limit(f"log-in {address} {name}", settings.LOGINS_PER_MINUTE):
            raise Throttled(wait, f"More than {settings.LOGINS_PER_MINUTE} log-ins a minute for this name")
        user = authenticate(request._request, username=name, password=values["password"])
        if user is None:
            raise Problem(401, "There is no such name and password", WWW_Authenticate="Bearer")
        token, row = tokens.make_token(user, values["name"], scope=values["scope"], now=timezone.now())
        answer = {"token": token, "name": row.name, "scope": row.scope, "expires_at": row.expires_at}
        return Response(TokenAnswer(answer).data, status=201, headers={"Cache-Control": "no-store"})

    @extend_schema(request=None, responses={204: None}, description="Revoke the token that this is sent with.")
    def delete(self, request: Request) -> Response:
        assert isinstance(request.auth, ApiToken)
        tokens.revoke_token(request.auth, now=timezone.now())
        return Response(status=204)


class RunSerializer(StrictModelSerializer):
    """A piece of background work; `result` holds its links once `state` is `done`."""

    class Meta:
        model = Run
        fields = (
            "id", "kind", "subject", "state", "percent", "doing", "result", "problem", "created_at", "finished_at",
        )  # fmt: skip
        read_only_fields = fields


class RunViewSet(ReadViewSet):
    """Background work: how far it is, and what came of it."""

    queryset = Run.objects.all()
    serializer_class = RunSerializer
    filterset_fields = ("kind", "subject", "state")
    ordering = "-id"
    read_roles, write_roles = EVERYONE, OFFICE

    def answer(self, run: Run, *, status: int = 200) -> Response:
        response = super().answer(run, status=status)
        if run.state not in runs.ENDED:
            response["Retry-After"] = "1"
        return response

    @extend_schema(request=None, responses={200: RunSerializer}, description="Stop a run that has not ended.")
    def cancel(self, request: Request, pk: str) -> Response:
        with transaction.atomic():
            run = runs.cancel_run(self.locked(), now=timezone.now())
        return self.answer(run)


def accepted(run: Run) -> Response:
    """202 for work that goes on in the background: the run, and where to ask for it."""
    where = f"/api/v1/runs/{run.pk}"
    return Response({"run": RunSerializer(run).data}, status=202, headers={"Location": where, "Retry-After": "1"})


urlpatterns = [
    path("tokens", TokenView.as_view(), name="tokens"),
    path("runs", RunViewSet.as_view({"get": "list"}), name="runs"),
    path("runs/<pk>", RunViewSet.as_view({"get": "retrieve"}), name="run"),
    path("runs/<pk>/cancel", RunViewSet.as_view({"post": "cancel"}), name="run-cancel"),
]
