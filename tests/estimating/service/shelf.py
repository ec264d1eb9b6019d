"""Addresses for the tests of the service: suppliers as the plainest resource, and a view for each way to fail."""

from django.urls import include, path
from rest_framework.response import Response
from rest_framework.views import APIView

from estimating.config import urls
from estimating.models import Supplier
from estimating.models.base import RecordIsFinal
from estimating.service import parsers, problems
from estimating.service.idempotency import idempotent
from estimating.service.problems import Problem
from estimating.service.serializers import StrictModelSerializer
from estimating.service.views import ResourceViewSet

handler400, handler404, handler500 = urls.handler400, urls.handler404, urls.handler500


class SupplierSerializer(StrictModelSerializer):
    class Meta:
        model = Supplier
        fields = ("id", "name", "email", "phone")


class Suppliers(ResourceViewSet):
    queryset = Supplier.objects.all()
    serializer_class = SupplierSerializer
    filterset_fields = ("name",)


class Send(APIView):
    """An action that may not happen twice; `fail` in the body says how it goes wrong after it has written."""

    @idempotent(required=True)
    def post(self, request):
        name = request.data["name"]
        Supplier.objects.create(name=name)
        match request.data.get("fail"):
            case "busy":
                raise Problem(503, "come back later")
            case "refused":
                raise problems.refused("/name", name, "another name", "that name is not sent to")
            case "final":
                raise RecordIsFinal("it is final")
            case "defect":
                raise ZeroDivisionError
        return Response({"sent": name}, status=201)


class Double(APIView):
    """Something that can be done twice: each time another supplier."""

    @idempotent
    def post(self, request):
        made = Supplier.objects.create(name=f"{request.data['name']} {Supplier.objects.count()}")
        return Response({"name": made.name}, status=201)


class Document(APIView):
    parser_classes = [parsers.RawJSONParser]

    def post(self, request):
        return Response({"bytes": len(request.data)})


shelf = [
    path("suppliers", Suppliers.as_view({"get": "list", "post": "create"})),
    path(
        "suppliers/<pk>",
        Suppliers.as_view({"get": "retrieve", "put": "update", "patch": "partial_update", "delete": "destroy"}),
    ),
    path("send", Send.as_view()),
    path("double", Double.as_view()),
    path("document", Document.as_view()),
]
urlpatterns = [path("api/v1/shelf/", include(shelf)), *urls.urlpatterns]
