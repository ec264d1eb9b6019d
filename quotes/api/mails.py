"""The outbox and the waiting list over HTTP: what went, what did not, and sending it again."""

from typing import Any

from django.db import transaction
from django.http import HttpResponse
from django.urls import path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, inline_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from estimating.service.endpoints import RunSerializer, accepted
from estimating.service.idempotency import idempotent
from estimating.service.permissions import OFFICE
from estimating.service.problems import Problem
from estimating.service.serializers import StrictModelSerializer, StrictSerializer
from estimating.service.views import ReadViewSet
from quotes.mail import outbox, sending
from quotes.models import Offer, OutboxMail
from quotes.waiting import Waiting, waiting_list


class MailSerializer(StrictModelSerializer):
    """A mail to one person: `sent` means that the mail server took it; `words` are what it said last."""

    class Meta:
        model = OutboxMail
        fields = ("id", "kind", "job", "offer", "recipient", "subject", "message_id", "state", "attempts", "due_at",
                  "words", "resend_of", "created_at", "sent_at", "seen_at")
        read_only_fields = fields


class ResendRequest(StrictSerializer):
    """To which address, where it is another."""

    to = serializers.EmailField(required=False, max_length=320, help_text="The address as before where not given.")


class WaitingSerializer(serializers.Serializer):
    """One thing that waits for a person of the office."""

    kind = serializers.CharField(help_text="mail-refused, mail-given-up, question, offer-not-sent, offer-lapses, "
                                           "goods-to-order or price-list-not-fetched.")
    sentence = serializers.CharField(help_text="What it is and what to do.")
    since = serializers.DateTimeField()
    job = serializers.IntegerField(source="job.pk", default=None, allow_null=True)
    page = serializers.CharField(help_text="The office's page about it; empty: none.")
    act = serializers.CharField(help_text="Where the interface takes the answer to it.")


class MailViewSet(ReadViewSet):
    """Mails that went out or are to go."""

    queryset = OutboxMail.objects.defer("message")
    serializer_class = MailSerializer
    filterset_fields = ("job", "offer", "kind", "state")
    ordering = "-id"

    @extend_schema(request=ResendRequest, responses={201: MailSerializer})
    @idempotent(required=True)
    def resend(self, request: Request, pk: str) -> Response:
        """Send it again as a new mail, to a corrected address where one is given. Send Idempotency-Key and If-Match."""
        asked = ResendRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        with transaction.atomic():
            mail = outbox.resend_mail(self.locked().pk, to=asked.validated_data.get("to"), by=request.user,
                                      now=timezone.now())
        response = self.answer(mail, status=201)
        response["Location"] = f"/api/v1/mails/{mail.pk}"
        return response

    @extend_schema(request=None, responses={200: MailSerializer})
    @idempotent
    def seen(self, request: Request, pk: str) -> Response:
        """A person has dealt with a refused mail: it leaves the waiting list. Send If-Match."""
        with transaction.atomic():
            mail = outbox.see_mail(self.locked().pk, by=request.user, now=timezone.now())
        return self.answer(mail)


class MessageViewSet(ReadViewSet):
    """The message itself; for the office alone. A place holder stands for the token of the homeowner's link."""

    queryset = OutboxMail.objects.all()
    serializer_class = MailSerializer
    read_roles = OFFICE

    @extend_schema(responses={(200, "message/rfc822"): OpenApiTypes.BINARY})
    def message(self, request: Request, pk: str) -> HttpResponse:
        """The whole mail, as a mail program opens it."""
        mail = self.get_object()
        if not mail.message:
            raise Problem(410, "The message was erased with the customer's data")
        answer = HttpResponse(bytes(mail.message), content_type="message/rfc822")
        answer["Content-Disposition"] = f'attachment; filename="mail-{mail.pk}.eml"'
        return answer


class OfferSending(ReadViewSet):
    """Sending an offer whose mail has not gone."""

    queryset = Offer.objects.all()
    serializer_class = MailSerializer

    @extend_schema(request=None, responses={202: inline_serializer("OfferRun", {"run": RunSerializer()})})
    @idempotent(required=True)
    def send(self, request: Request, pk: str) -> Response:
        """Make and post what is missing of its papers and mails, once. Send Idempotency-Key and If-Match."""
        with transaction.atomic():
            return accepted(sending.start_again(self.locked().pk, by=request.user, now=timezone.now()))


class WaitingView(APIView):
    """What waits for a person of the office, longest first."""

    @extend_schema(responses={200: inline_serializer("WaitingList", {"items": WaitingSerializer(many=True)})})
    def get(self, request: Request) -> Response:
        found: list[Waiting] = waiting_list(timezone.now())
        return Response({"items": WaitingSerializer(found, many=True).data})


def _mails(**actions: str) -> Any:
    return MailViewSet.as_view(actions, detail="list" not in actions.values())


urlpatterns = [
    path("waiting", WaitingView.as_view(), name="waiting-list"),
    path("mails", _mails(get="list"), name="mails"),
    path("mails/<int:pk>", _mails(get="retrieve"), name="mail"),
    path("mails/<int:pk>/resend", _mails(post="resend"), name="mail-resend"),
    path("mails/<int:pk>/seen", _mails(post="seen"), name="mail-seen"),
    path("mails/<int:pk>/message", MessageViewSet.as_view({"get": "message"}), name="mail-message"),
    path("offers/<int:pk>/send", OfferSending.as_view({"post": "send"}), name="offer-send"),
]
