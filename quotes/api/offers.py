"""Offers over HTTP: send a revision to those who may accept it, follow what happens, answer, withdraw, countersign."""

from typing import Any

from django.db import transaction
from django.shortcuts import get_object_or_404
from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from estimating.models import Contact
from estimating.reference.consumer_law import WHERE_AGREED
from estimating.service.idempotency import idempotent
from estimating.service.preconditions import check_match, tagged
from estimating.service.problems import Fault, Problem, refused
from estimating.service.serializers import StrictModelSerializer, StrictSerializer
from estimating.service.views import ReadViewSet
from quotes import offers
from quotes.acceptance import signing
from quotes.mail import mailing
from quotes.models import Acceptance, Offer, OfferEvent, OfferLink, Quote, Revision, Signature


class OfferRequest(StrictSerializer):
    """To whom a revision is offered. The customer is the first owner; a second one is a contact of the job."""

    agreed_where = serializers.ChoiceField(
        tuple(WHERE_AGREED), help_text="How and where it was negotiated: " + "; ".join(
            f"{name}: {words}" for name, words in WHERE_AGREED.items()),
    )  # fmt: skip
    second_owner = serializers.PrimaryKeyRelatedField(
        queryset=Contact.objects.all(), required=False, allow_null=True, help_text="Id of a contact of the job."
    )


class ReasonSerializer(serializers.Serializer):
    """One thing that stands in the way."""

    code = serializers.CharField()
    text = serializers.CharField()
    who = serializers.CharField(help_text="Who can clear it.")


class BeforeOffering(serializers.Serializer):
    """What stands in the way of offering a revision, and the mail as it would go."""

    reasons = ReasonSerializer(many=True)
    mail = serializers.CharField(help_text="The text of the mail, its link left out.")


class LinkSerializer(StrictModelSerializer):
    """A person who may read and sign; the link itself is in the mail alone."""

    opened = serializers.IntegerField(source="times_opened", read_only=True, help_text="Times, one an hour at most.")
    signed_at = serializers.DateTimeField(source="signature.created_at", default=None, read_only=True)

    class Meta:
        model = OfferLink
        fields = ("id", "role", "name", "email", "opened", "signed_at")
        read_only_fields = fields


class EventSerializer(StrictModelSerializer):
    """Something that happened; `link` is who of the owners, else the office."""

    at = serializers.DateTimeField(source="created_at", read_only=True)

    class Meta:
        model = OfferEvent
        fields = ("id", "kind", "at", "link", "answers", "text")
        read_only_fields = fields


class SignatureSerializer(StrictModelSerializer):
    """One party's signature and what was shown before it."""

    at = serializers.DateTimeField(source="created_at", read_only=True)

    class Meta:
        model = Signature
        fields = ("role", "name", "at", "signed_sha256", "consent", "agreed_where", "over_65", "disaster",
                  "transaction_date", "cancel_by", "cancel_rule")
        read_only_fields = fields


class AcceptanceSerializer(StrictModelSerializer):
    """What was accepted. `option` is empty for the deck as first offered."""

    at = serializers.DateTimeField(source="created_at", read_only=True)
    signatures = SignatureSerializer(many=True, read_only=True)

    class Meta:
        model = Acceptance
        fields = ("option", "price", "revision_sha256", "at", "signatures")
        read_only_fields = fields


class OfferInList(StrictModelSerializer):
    """An offer and how it stands now."""

    job = serializers.IntegerField(source="revision.quote.job_id", read_only=True)
    quote = serializers.CharField(source="revision.quote.number", read_only=True)
    revision = serializers.IntegerField(source="revision.number", read_only=True)
    price = serializers.DecimalField(15, 2, source="revision.price", read_only=True)
    standing = serializers.SerializerMethodField()

    class Meta:
        model = Offer
        fields = ("id", "job", "quote", "revision", "price", "standing", "agreed_where", "expires_at", "created_at")
        read_only_fields = fields

    @extend_schema(responses=serializers.ChoiceField([str(name) for name in offers.Standing]))
    def get_standing(self, row: Offer) -> str:
        return str(offers.standing(row, timezone.now()))


class ProposalOfferSerializer(OfferInList):
    """An offer with its people, what happened, and what was accepted."""

    links = serializers.SerializerMethodField()
    events = EventSerializer(many=True, read_only=True)
    acceptance = AcceptanceSerializer(read_only=True, default=None)

    class Meta(OfferInList.Meta):
        fields = (*OfferInList.Meta.fields, "links", "events", "acceptance")
        read_only_fields = fields

    @extend_schema(responses=LinkSerializer(many=True))
    def get_links(self, row: Offer) -> list[dict[str, Any]]:
        return LinkSerializer(offers.links_of(row), many=True).data


class WordsRequest(StrictSerializer):
    """Why, in words that are kept."""

    reason = serializers.CharField(max_length=1000)


class AnswerRequest(StrictSerializer):
    """An answer to a question; it is mailed to who asked."""

    question = serializers.PrimaryKeyRelatedField(queryset=OfferEvent.objects.filter(kind=OfferEvent.Kind.QUESTION))
    text = serializers.CharField(max_length=4000)


class CountersignRequest(StrictSerializer):
    """The office's signature under what the owners signed."""

    name = serializers.CharField(max_length=200)


class CancellationRequest(StrictSerializer):
    """A cancellation that came by letter, mail or hand."""

    posted_on = serializers.DateField(help_text="The day on which it was sent, in the office's time zone.")
    text = serializers.CharField(max_length=2000, required=False, default="", allow_blank=True)


class OffersOfRevision(ReadViewSet):
    """Offering one revision."""

    queryset = Revision.objects.select_related("quote__job__customer")
    lookup_field = "number"

    def get_queryset(self) -> Any:
        quote = get_object_or_404(Quote, pk=self.kwargs["quote_id"])
        return super().get_queryset().filter(quote=quote)

    @extend_schema(responses={200: BeforeOffering})
    def before(self, request: Request, quote_id: int, number: int) -> Response:
        """What stands in the way of offering it today, and the mail as it would go."""
        revision = self.get_object()
        found = offers.reasons_against(revision, offers.customer_of(revision), now=timezone.now())
        return Response(BeforeOffering({
            "reasons": [reason._asdict() for reason in found], "mail": mailing.preview(revision).text,
        }).data)

    @extend_schema(request=OfferRequest, responses={201: ProposalOfferSerializer})
    @idempotent(required=True)
    def offer(self, request: Request, quote_id: int, number: int) -> Response:
        """Send it: its mail goes out in the background. Send Idempotency-Key, and If-Match with the revision's ETag."""
        with transaction.atomic():
            revision = self.get_object()
            check_match(request, revision)
            asked = OfferRequest(data=request.data)
            asked.is_valid(raise_exception=True)
            values = asked.validated_data
            recipients = offers.customer_of(revision)
            if (second := values.get("second_owner")) is not None:
                if revision.quote.job_id != second.job_id and revision.quote.job.customer_id != second.customer_id:
                    raise refused("/second_owner", second.pk, "a contact of this job",
                                  f"Contact {second.pk} belongs to another job")
                recipients = [*recipients, offers.Recipient(OfferLink.Role.CO_OWNER, second.name, second.email)]
            try:
                row = offers.offer_revision(revision.pk, recipients, agreed_where=values["agreed_where"],
                                            by=request.user, now=timezone.now())
            except offers.OfferRefused as no:
                raise Problem(409, str(no).split(":")[0], [
                    Fault("", reason.code, f"cleared by {reason.who}", reason.text) for reason in no.reasons
                ]) from None
        response = tagged(request, row, ProposalOfferSerializer(row).data, status=201)
        response["Location"] = f"/api/v1/offers/{row.pk}"
        return response


class OfferViewSet(ReadViewSet):
    """Offers, and what happens to them. Actions want If-Match with the offer's ETag."""

    queryset = Offer.objects.select_related("revision__quote").order_by("id")
    filterset_fields = {"revision__quote__job": ["exact"], "revision__quote": ["exact"]}

    def get_serializer_class(self) -> Any:
        return OfferInList if self.action == "list" else ProposalOfferSerializer

    @extend_schema(request=WordsRequest, responses={200: ProposalOfferSerializer})
    @idempotent
    def withdraw(self, request: Request, pk: str) -> Response:
        """Take the offer back; its links say so from then on."""
        with transaction.atomic():
            offer, values = self._asked(WordsRequest)
            offers.withdraw_offer(offer.pk, values["reason"], by=request.user, now=timezone.now())
        return self.answer(offer)

    @extend_schema(request=AnswerRequest, responses={200: ProposalOfferSerializer})
    @idempotent
    def answer_question(self, request: Request, pk: str) -> Response:
        """Answer a homeowner's question by mail."""
        with transaction.atomic():
            offer, values = self._asked(AnswerRequest)
            if values["question"].offer_id != offer.pk:
                raise refused("/question", values["question"].pk, "a question about this offer",
                              "The question is about another offer")
            mailing.answer_question(values["question"].pk, values["text"], by=request.user, now=timezone.now())
        return self.answer(offer)

    @extend_schema(request=CountersignRequest, responses={200: ProposalOfferSerializer})
    @idempotent(required=True)
    def countersign(self, request: Request, pk: str) -> Response:
        """Sign for the office what the owners have signed. Send Idempotency-Key."""
        with transaction.atomic():
            offer, values = self._asked(CountersignRequest)
            signing.countersign(offer.pk, values["name"], by=request.user, now=timezone.now())
        return self.answer(offer)

    @extend_schema(request=CancellationRequest, responses={200: ProposalOfferSerializer})
    @idempotent
    def cancel(self, request: Request, pk: str) -> Response:
        """Note that an owner cancelled within the time for it, by letter or mail."""
        with transaction.atomic():
            offer, values = self._asked(CancellationRequest)
            signing.note_cancellation(offer.pk, values["text"], posted_on=values["posted_on"], by=request.user,
                                         now=timezone.now())
        return self.answer(offer)

    def _asked(self, kind: type[serializers.Serializer]) -> tuple[Offer, dict[str, Any]]:
        """The offer as its reader knew it, locked, and what is asked of it."""
        offer = self.locked()
        asked = kind(data=self.request.data)
        asked.is_valid(raise_exception=True)
        return offer, asked.validated_data


of_revision = "quotes/<int:quote_id>/revisions/<int:number>/offer"
urlpatterns = [
    path(of_revision, OffersOfRevision.as_view({"get": "before", "post": "offer"}), name="revision-offer"),
    path("offers", OfferViewSet.as_view({"get": "list"}, detail=False), name="offers"),
    path("offers/<int:pk>", OfferViewSet.as_view({"get": "retrieve"}), name="offer"),
    path("offers/<int:pk>/withdraw", OfferViewSet.as_view({"post": "withdraw"}), name="offer-withdraw"),
    path("offers/<int:pk>/answers", OfferViewSet.as_view({"post": "answer_question"}), name="offer-answers"),
    path("offers/<int:pk>/countersignature", OfferViewSet.as_view({"post": "countersign"}), name="offer-countersign"),
    path("offers/<int:pk>/cancellation", OfferViewSet.as_view({"post": "cancel"}), name="offer-cancel"),
]
