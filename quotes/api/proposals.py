"""What the office decides of a proposal, over HTTP: options, notes, and the findings that somebody goes on with."""

from typing import Any

from django.db import transaction
from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from estimating.service.idempotency import idempotent
from estimating.service.preconditions import tagged
from estimating.service.problems import Fault, Refused, pointer, refused
from estimating.service.serializers import StrictSerializer
from estimating.service.views import ReadViewSet
from quotes import proposal_parts
from quotes.models import Quote
from quotes.notes import SECTIONS, Note, edited, unacknowledged
from quotes.notes.edits import KINDS, LEAST_REASON, MOST_LETTERS
from quotes.offer_checks import asking
from quotes.snapshots import notes_of_quote


class OptionSerializer(StrictSerializer):
    """Another way to build the whole deck: a quote of the same job, priced by itself."""

    key = serializers.CharField(read_only=True, help_text="A, B, ...")
    quote = serializers.IntegerField(min_value=1, max_value=2**63 - 1, source="option_id", help_text="Id of a quote.")
    name = serializers.CharField(max_length=80)
    words = serializers.CharField(max_length=1000, required=False, default="", allow_blank=True)


class OptionsRequest(StrictSerializer):
    """The options of a quote, in the order in which they are printed; an empty list takes them away."""

    options = OptionSerializer(many=True, max_length=proposal_parts.OPTIONS)


class NoteEditSerializer(StrictSerializer):
    """One change of the notes: add one, reword one, or leave one out with a reason that the office copy shows."""

    kind = serializers.ChoiceField(KINDS)
    key = serializers.CharField(max_length=80, required=False, default="", allow_blank=True)
    where = serializers.CharField(max_length=400, required=False, default="", allow_blank=True)
    section = serializers.ChoiceField(SECTIONS, required=False)
    text = serializers.CharField(max_length=MOST_LETTERS, required=False, default="", allow_blank=True)
    reason = serializers.CharField(max_length=500, required=False, default="", allow_blank=True)


class NoteEditsRequest(StrictSerializer):
    """All edits of the notes of a quote, in place of those before."""

    edits = NoteEditSerializer(many=True, max_length=200)


class ProposalNoteSerializer(serializers.Serializer):
    """One note as it would be printed. `acknowledge`: a named person must go on with it before it can be offered."""

    key = serializers.CharField()
    where = serializers.CharField()
    section = serializers.ChoiceField(SECTIONS)
    status = serializers.CharField()
    text = serializers.CharField()
    value = serializers.FloatField(allow_null=True)
    limit = serializers.FloatField(allow_null=True)
    unit = serializers.CharField()
    basis = serializers.CharField()
    source = serializers.CharField()
    decided_by = serializers.CharField()
    acknowledge = serializers.BooleanField()
    edited = serializers.CharField()
    edit_reason = serializers.CharField()
    edit_by = serializers.CharField()
    original = serializers.CharField()


class NotesAnswer(serializers.Serializer):
    """The notes of a quote, the edits that are kept, those that change nothing, and what must be acknowledged yet."""

    notes = ProposalNoteSerializer(many=True)
    edits = NoteEditSerializer(many=True)
    left_out = serializers.ListField(child=serializers.CharField(), help_text="Edits that change nothing, and why.")
    to_acknowledge = ProposalNoteSerializer(many=True)
    acknowledged = serializers.ListField(child=serializers.DictField())


class AcknowledgementRequest(StrictSerializer):
    """That a named person goes on in spite of a finding; name and reason are printed."""

    key = serializers.CharField(max_length=80)
    where = serializers.CharField(max_length=400, required=False, default="", allow_blank=True)
    name = serializers.CharField(max_length=200, help_text="Who goes on.")
    reason = serializers.CharField(max_length=500, min_length=LEAST_REASON)


class ProposalViewSet(ReadViewSet):
    """The parts of a quote's proposal; send If-Match with the quote's ETag."""

    queryset = Quote.objects.select_related("framing__build__survey", "job__customer")

    @extend_schema(responses={200: OptionSerializer(many=True)})
    def options(self, request: Request, pk: str) -> Response:
        """The other ways to build the deck that go out with this quote."""
        quote = self.get_object()
        return tagged(request, quote, OptionSerializer(quote.options.all(), many=True).data)

    @extend_schema(request=OptionsRequest, responses={200: OptionSerializer(many=True)})
    def set_options(self, request: Request, pk: str) -> Response:
        """Put these options in place of those before."""
        with transaction.atomic():
            row = self.locked()
            asked = OptionsRequest(data=request.data)
            asked.is_valid(raise_exception=True)
            options = [{**option, "quote": option["option_id"]} for option in asked.validated_data["options"]]
            try:
                quote = proposal_parts.set_options(row.pk, options, by=request.user, now=timezone.now())
            except proposal_parts.NoSuchOption as wrong:
                raise refused("/options", [option["quote"] for option in options], "other quotes of this job",
                              str(wrong)) from None
        return tagged(request, quote, OptionSerializer(quote.options.all(), many=True).data)

    @extend_schema(responses={200: NotesAnswer})
    def notes(self, request: Request, pk: str) -> Response:
        """The notes as they would be printed today."""
        quote = self.get_object()
        return tagged(request, quote, _notes(quote))

    @extend_schema(request=NoteEditsRequest, responses={200: NotesAnswer})
    def edit_notes(self, request: Request, pk: str) -> Response:
        """Put these edits in place of those before. One that changes nothing, or goes too far, is refused."""
        with transaction.atomic():
            row = self.locked()
            asked = NoteEditsRequest(data=request.data)
            asked.is_valid(raise_exception=True)
            edits = [dict(edit) for edit in asked.validated_data["edits"]]
            _, wrong = edited(notes_of_quote(row), edits)
            if wrong:
                raise Refused(Fault(pointer("edits", one.at), one.read, one.expected, one.text) for one in wrong)
            quote = proposal_parts.edit_notes(row.pk, edits, by=request.user, now=timezone.now())
        return tagged(request, quote, _notes(quote))

    @extend_schema(request=AcknowledgementRequest, responses={200: NotesAnswer})
    @idempotent
    def acknowledge(self, request: Request, pk: str) -> Response:
        """Go on in spite of a finding."""
        with transaction.atomic():
            row = self.locked()
            asked = AcknowledgementRequest(data=request.data)
            asked.is_valid(raise_exception=True)
            values = asked.validated_data
            found = _note(row, values["key"], values["where"])
            quote = proposal_parts.acknowledge(row.pk, found.key, found.text, name=values["name"],
                                               reason=values["reason"], by=request.user, now=timezone.now())
        return tagged(request, quote, _notes(quote))


def _notes(quote: Quote) -> dict[str, Any]:
    notes, wrong = edited(notes_of_quote(quote), quote.note_edits)
    asked = asking([note.as_json() for note in notes], quote.estimate)
    return NotesAnswer({
        "notes": notes, "edits": quote.note_edits, "left_out": [one.text for one in wrong],
        "to_acknowledge": unacknowledged(asked, quote.acknowledgements), "acknowledged": quote.acknowledgements,
    }).data


def _note(quote: Quote, key: str, where: str) -> Note:
    """The note that somebody goes on with. Raises Refused where the quote has none such, or none that asks for it."""
    changed = edited(notes_of_quote(quote), quote.note_edits)[0]
    notes = unacknowledged(asking([note.as_json() for note in changed], quote.estimate), ())
    for note in notes:
        if note.key == key and (not where or note.where == where):
            return note
    expected = ", ".join(dict.fromkeys(note.key for note in notes)) or "no finding of this quote asks for it"
    raise refused("/key", key, expected, f"No finding {key} of this quote asks for a person to go on with it")




urlpatterns = [
    path("quotes/<int:pk>/options", ProposalViewSet.as_view({"get": "options", "put": "set_options"}),
         name="quote-options"),
    path("quotes/<int:pk>/notes", ProposalViewSet.as_view({"get": "notes", "put": "edit_notes"}), name="quote-notes"),
    path("quotes/<int:pk>/acknowledgements", ProposalViewSet.as_view({"post": "acknowledge"}),
         name="quote-acknowledgements"),
]
