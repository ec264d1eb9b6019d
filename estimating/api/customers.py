"""Customers and their jobs."""


from django.db import transaction
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from estimating import records
from estimating.api.records import RecordViewSet
from estimating.models import (
    Customer,
    Job,
)
from estimating.service.permissions import EVERYONE
from estimating.service.serializers import StrictModelSerializer


class CustomerSerializer(StrictModelSerializer):
    class Meta:
        model = Customer
        fields = ("id", "name", "email", "phone", "address", "note", "created_at", "erased_at")
        read_only_fields = ("created_at", "erased_at")
        extra_kwargs = {"name": {"required": True, "allow_blank": False}}


class CustomerViewSet(RecordViewSet):
    """People who asked for work."""

    queryset = Customer.objects.all()
    serializer_class = CustomerSerializer
    filterset_fields = {"name": ["exact", "icontains"], "email": ["iexact"]}

    @extend_schema(request=None, responses={200: CustomerSerializer})
    def erase(self, request: Request, pk: str) -> Response:
        """Erase what is known of a person; the row and the jobs stay, without a name or an address."""
        with transaction.atomic():
            row = records.erase_customer(self.locked(), by=request.user, now=timezone.now())
        return self.answer(row)


class JobSerializer(StrictModelSerializer):
    number = serializers.CharField(read_only=True)

    class Meta:
        model = Job
        fields = ("id", "number", "customer", "name", "site_address", "jurisdiction", "status", "note", "created_at")
        read_only_fields = ("created_at",)


class JobViewSet(RecordViewSet):
    """Roof terraces, from the first call to closed."""

    queryset = Job.objects.all()
    serializer_class = JobSerializer
    filterset_fields = {"customer": ["exact"], "status": ["exact"], "name": ["icontains"]}
    read_roles = EVERYONE
