"""Looking for customers, jobs, contacts and notes."""

from dataclasses import asdict

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from estimating.search import LONGEST, search
from estimating.service.permissions import EVERYONE
from estimating.service.problems import Fault, Refused
from estimating.service.serializers import StrictSerializer


class HitSerializer(StrictSerializer):
    kind = serializers.ChoiceField(["customer", "job", "contact", "note"])
    id = serializers.IntegerField()
    text = serializers.CharField()
    customer = serializers.IntegerField(allow_null=True)
    job = serializers.IntegerField(allow_null=True)


class FoundSerializer(StrictSerializer):
    results = HitSerializer(many=True)
    more = serializers.ListField(child=serializers.CharField(), help_text="Kinds of which more were found than shown.")


class SearchView(APIView):
    """Customers, jobs, contacts and notes by the beginnings of words, a job's number, or a phone's digits."""

    read_roles = EVERYONE

    @extend_schema(
        parameters=[OpenApiParameter("q", str, required=True, description="All of its words must be found.")],
        responses={200: FoundSerializer},
    )
    def get(self, request: Request) -> Response:
        if unknown := sorted(set(request.query_params) - {"q"}):
            raise Refused([Fault("", name, "q", f"there is no parameter {name[:40]!r}", name[:40]) for name in unknown])
        question = request.query_params.get("q", "")
        if not question.strip() or len(question) > LONGEST:
            expected = f"1 to {LONGEST} characters to look for"
            raise Refused([Fault("", question, expected, f"q must be {expected}", "q")])
        hits, more = search(question, request.user.role)
        return Response({"results": [asdict(hit) for hit in hits], "more": more})
