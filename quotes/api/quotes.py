"""Quotes, their revisions and the papers over HTTP; whoever may not see prices sees only the crew's papers."""

from decimal import Decimal
from typing import Any

from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, inline_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from estimating import escalation, money, units
from estimating.models import CrewMix, Job, PriceListVersion, Recipe, RecipeVersion, Role
from estimating.office import local_day, the_office
from estimating.service import runs
from estimating.service.endpoints import RunSerializer, accepted
from estimating.service.idempotency import idempotent
from estimating.service.permissions import EVERYONE
from estimating.service.preconditions import check_match, tagged
from estimating.service.problems import Fault, Problem, Refused, pointer, refused
from estimating.service.serializers import StrictModelSerializer, StrictSerializer
from estimating.service.views import ReadViewSet
from framing.models import Framing
from quotes import drafts, revisions
from quotes.estimate import SETTLEMENTS, Extra
from quotes.measures import MEASURES, MeasureError, measure, wrong_choice
from quotes.models import Quote, QuoteLine, RenderedFile, Revision
from quotes.paper import files as papers

CREW_PAPERS = (  # these hold no prices
    RenderedFile.Kind.CUT_SHEETS, RenderedFile.Kind.PURCHASE_LIST, RenderedFile.Kind.MATERIAL_LIST,
    RenderedFile.Kind.CARE_SHEET,
)


class ExtraSerializer(StrictSerializer):
    """Something that the engine does not compute: delivery, a permit, a hoist."""

    item = serializers.CharField(max_length=120, help_text="Item key, such as service/delivery.")
    quantity = serializers.DecimalField(15, 4, min_value=Decimal("0.0001"))
    unit = serializers.CharField(max_length=3, help_text="UN/ECE Rec 20 or 21, such as LS or EA.")
    reason = serializers.CharField(max_length=200, required=False, default="")

    def validate_unit(self, value: str) -> str:
        try:
            return units.unit(value).code
        except units.UnitError as error:
            raise serializers.ValidationError(f"expected {error.expected}") from None


class AllowanceSerializer(StrictSerializer):
    """A sum allowed for what is not settled yet; it goes through the chain as any cost."""

    name = serializers.CharField(max_length=200)
    amount = serializers.DecimalField(12, 2, min_value=Decimal("0.01"), help_text="Before overhead and profit.")
    includes = serializers.CharField(max_length=500, help_text="What the sum is for, in words that are printed.")
    settlement = serializers.ChoiceField(tuple(SETTLEMENTS), help_text="How the difference is settled.")
    taxable = serializers.BooleanField(required=False, default=False)


class DiscountSerializer(StrictSerializer):
    """An amount or a share of the sale, never both, and why; printed on the proposal."""

    reason = serializers.CharField(max_length=200)
    amount = serializers.DecimalField(12, 2, min_value=Decimal("0.01"), required=False, allow_null=True)
    share = serializers.DecimalField(
        7, 6, min_value=Decimal("0.000001"), max_value=Decimal(1), required=False, allow_null=True,
        help_text="A fraction: 0.05 is five per cent.",
    )  # fmt: skip
    place = serializers.ChoiceField(money.DISCOUNT_PLACES, help_text="Before or after tax on the sale.")

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        return _made(money.Discount, {"amount": None, "share": None} | values)


class EscalationSerializer(StrictSerializer):
    """A clause that lets the price move with a Producer Price Index; its text is the office's."""

    series = serializers.CharField(max_length=40, help_text="Id of the series, such as WPU081.")
    base_month = serializers.RegexField(r"^[0-9]{4}-(0[1-9]|1[0-2])$", help_text="YYYY-MM")
    base_index = serializers.DecimalField(12, 4, min_value=Decimal("0.0001"))
    figures = serializers.ChoiceField(escalation.FIGURES)
    cap = serializers.DecimalField(7, 6, min_value=Decimal(0), required=False, allow_null=True)
    floor = serializers.DecimalField(
        7, 6, min_value=Decimal(-1), max_value=Decimal(0), required=False, allow_null=True
    )
    if_series_ends = serializers.CharField(max_length=300)
    text = serializers.CharField(max_length=4000)

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        return _made(escalation.Escalation, {"cap": None, "floor": None} | values)


def _made(kind: Any, values: dict[str, Any]) -> dict[str, Any]:
    """The values, of which the computation has made its own record without complaint."""
    try:
        kind(**values)
    except money.MoneyError as error:
        raise serializers.ValidationError(str(error)) from None
    return values


class QuantitySerializer(StrictSerializer):
    """How much of a recipe: a number that a person types, or a measure of the framing."""

    typed = serializers.DecimalField(15, 4, min_value=Decimal("0.0001"), required=False)
    unit = serializers.CharField(max_length=3, required=False, help_text="Of what is typed; else the recipe's.")
    reason = serializers.CharField(max_length=200, required=False, help_text="Why so much, for what is typed.")
    measure = serializers.ChoiceField(
        list(MEASURES), required=False,
        help_text="; ".join(f"{name} ({known.unit}): {known.what}" for name, known in MEASURES.items()),
    )  # fmt: skip
    of = serializers.ListField(
        child=serializers.CharField(max_length=80), required=False, max_length=200,
        help_text="Sides such as B-C, what they stand against, roles of members, kinds of outlets.",
    )  # fmt: skip

    validate_unit = ExtraSerializer.validate_unit

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        if ("typed" in values) == ("measure" in values):
            raise serializers.ValidationError({"typed": "expected either typed or measure"})
        strange = {"of"} & set(values) if "typed" in values else {"unit", "reason"} & set(values)
        if strange:
            raise serializers.ValidationError(dict.fromkeys(strange, "it says nothing here; expected to be left out"))
        if "measure" in values and (wrong := wrong_choice(values["measure"], values.get("of", ()))):
            raise serializers.ValidationError({"of": wrong})
        return {**values, "typed": format(values["typed"], "f")} if "typed" in values else values


class RecipeUseSerializer(StrictSerializer):
    """A recipe in a quote: so much of it, in one version from now on."""

    recipe = serializers.PrimaryKeyRelatedField(queryset=Recipe.objects.all())
    version = serializers.IntegerField(
        min_value=1, max_value=2**63 - 1, required=False, allow_null=True,
        help_text="Id of a version; the one in force on the quote's day where not given.",
    )  # fmt: skip
    quantities = QuantitySerializer(many=True, allow_empty=False, max_length=20, help_text="They add up.")
    corners = serializers.IntegerField(
        min_value=0, max_value=1000, default=0, help_text="Posts more than the straight runs need."
    )


class IssueRequest(StrictSerializer):
    """What is said of a revision when it is issued."""

    why = serializers.CharField(
        max_length=500, required=False, default="", allow_blank=True,
        help_text="Why there is another revision; asked for from the second on, and printed with what changed.",
    )  # fmt: skip


class LineSerializer(StrictModelSerializer):
    """One line of cost; `came_from` tells the reading, price or rate behind it."""

    class Meta:
        model = QuoteLine
        fields = ("position", "group", "kind", "item", "description", "quantity", "unit", "unit_price", "price_unit",
                  "cost", "taxable", "allowance", "came_from")
        read_only_fields = fields


class PricedFrom(StrictSerializer):
    """What a quote is priced from."""

    framing = serializers.PrimaryKeyRelatedField(queryset=Framing.objects.all())
    price_list_versions = serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=2**63 - 1), required=False, max_length=50,
        help_text="Ids of approved versions, at most one a list; those in force where not given.",
    )  # fmt: skip
    extras = ExtraSerializer(many=True, required=False, max_length=500)
    recipes = RecipeUseSerializer(many=True, required=False, max_length=100)
    priced_on = serializers.DateField(
        required=False, help_text="Whose prices and rates hold; today where not given, in the office's time zone."
    )

    crew_mix = serializers.CharField(
        max_length=60, required=False, allow_blank=True, help_text="Name of a crew mix; empty: the usual crew."
    )
    allowances = AllowanceSerializer(many=True, required=False, allow_null=True, max_length=100)
    discount = DiscountSerializer(required=False, allow_null=True)
    escalation = EscalationSerializer(required=False, allow_null=True)

    def validate_crew_mix(self, value: str) -> str:
        if value and not CrewMix.objects.filter(name=value).exists():
            raise serializers.ValidationError(f"there is no crew mix {value}")
        return value

    def validate_price_list_versions(self, value: list[int]) -> list[int]:
        known = set(PriceListVersion.objects.filter(pk__in=value).values_list("pk", flat=True))
        if unknown := [pk for pk in value if pk not in known]:
            raise serializers.ValidationError(f"there is no price list version {unknown[0]}")
        return value


    def validate_recipes(self, value: list[dict[str, Any]]) -> list[dict[str, Any]]:
        asked = {use["version"] for use in value if use.get("version")}
        known = {row.pk: row for row in RecipeVersion.objects.filter(pk__in=asked, number__isnull=False)}
        faults: list[dict[str, Any]] = [{} for _ in value]
        for fault, use in zip(faults, value, strict=True):
            version = known.get(use["version"]) if use.get("version") else None
            if not use["recipe"].active:
                fault["recipe"] = [f"{use['recipe']} is not active; expected one that is"]
            elif use.get("version") and (version is None or version.recipe_id != use["recipe"].pk):
                fault["version"] = [f"{use['recipe']} has no such version in force; expected the id of one"]
        if any(faults):
            raise serializers.ValidationError(faults)
        return value


class QuoteRequest(PricedFrom):
    """A new quote."""

    job = serializers.PrimaryKeyRelatedField(queryset=Job.objects.all())


class QuotePatch(PricedFrom):
    """What a quote is priced from, to price it anew; an empty body prices it anew with what it has."""

    framing = serializers.PrimaryKeyRelatedField(queryset=Framing.objects.all(), required=False)


class RequoteRequest(StrictSerializer):
    """Another version of a price list that the quote is priced from already."""

    price_list_version = serializers.PrimaryKeyRelatedField(queryset=PriceListVersion.objects.all())
    priced_on = serializers.DateField(required=False, help_text="Today where not given, in the office's time zone.")


class QuoteInList(StrictModelSerializer):
    """A quote without its lines. Money is text with two decimals."""

    number = serializers.CharField(read_only=True)
    price_list_versions = serializers.PrimaryKeyRelatedField(many=True, read_only=True)
    extras = ExtraSerializer(many=True, read_only=True)
    allowances = AllowanceSerializer(many=True, read_only=True)
    discount = DiscountSerializer(read_only=True)
    escalation = EscalationSerializer(read_only=True)

    class Meta:
        model = Quote
        fields = ("id", "number", "job", "framing", "price_list_versions", "priced_on", "extras", "recipes",
                  "crew_mix", "allowances", "discount", "escalation", "price", "created_at")
        read_only_fields = fields


class QuoteSerializer(QuoteInList):
    """A quote with its lines, the chain from cost to price, and what stands in the way of a price."""

    estimate = serializers.JSONField(read_only=True, help_text="Chain, groups, payments, hours, findings.")
    lines = serializers.SerializerMethodField()

    class Meta(QuoteInList.Meta):
        fields = (*QuoteInList.Meta.fields, "estimate", "lines")
        read_only_fields = fields

    @extend_schema(responses=LineSerializer(many=True))
    def get_lines(self, row: Quote) -> list[dict[str, Any]]:
        return LineSerializer(row.lines.filter(revision=None), many=True).data


class ChangeSerializer(StrictSerializer):
    """What the price would be with hours or prices higher or lower by a share."""

    of = serializers.ChoiceField(("hours", "prices"))
    share = serializers.CharField(help_text="A fraction: -0.10 is a tenth less.")
    price = serializers.CharField()
    delta = serializers.CharField(help_text="Against the price as it is.")


class RevisionInList(StrictModelSerializer):
    """A quote as it was issued."""

    quote = serializers.CharField(source="quote.number", read_only=True)

    class Meta:
        model = Revision
        fields = ("id", "quote", "number", "price", "valid_until", "sha256", "issued_at")
        read_only_fields = fields


class RevisionSerializer(RevisionInList):
    """An issued revision with everything that it was made from."""

    snapshot = serializers.JSONField(source="document", read_only=True, help_text="quote-snapshot/1")

    class Meta(RevisionInList.Meta):
        fields = (*RevisionInList.Meta.fields, "snapshot")
        read_only_fields = fields


class PaperSerializer(StrictModelSerializer):
    """A paper that was made from a revision."""

    name = serializers.CharField(read_only=True)

    class Meta:
        model = RenderedFile
        fields = ("kind", "sha256", "size", "media_type", "name", "created_at")
        read_only_fields = fields


class QuoteViewSet(ReadViewSet):
    """Quotes: a framing priced from lists and rates."""

    queryset = Quote.objects.prefetch_related("price_list_versions")
    filterset_fields = ("job", "framing")

    def get_queryset(self) -> Any:
        return super().get_queryset().defer("estimate") if self.action == "list" else super().get_queryset()

    def get_serializer_class(self) -> Any:
        return QuoteInList if self.action == "list" else QuoteSerializer

    @extend_schema(request=QuoteRequest, responses={201: QuoteSerializer})
    @idempotent
    def create(self, request: Request) -> Response:
        """Price a framing. What has no price is told in `estimate.findings`, and then `price` is null."""
        asked = QuoteRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        values = asked.validated_data
        _check_measures(values, values["framing"])
        quote = drafts.draft_quote(
            values["job"].pk, values["framing"].pk, **_priced_from(values), by=request.user, now=timezone.now()
        )
        response = self.answer(quote, status=201)
        response["Location"] = f"{request.path.rstrip('/')}/{quote.pk}"
        return response

    @extend_schema(request=QuotePatch, responses={200: QuoteSerializer})
    def partial_update(self, request: Request, pk: str) -> Response:
        """Price it anew."""
        with transaction.atomic():
            row = self.locked()
            asked = QuotePatch(data=request.data)
            asked.is_valid(raise_exception=True)
            values = asked.validated_data
            framing = values["framing"].pk if "framing" in values else None
            _check_measures(values, values.get("framing", row.framing))
            quote = drafts.reprice_quote(
                row.pk, framing_id=framing, **_priced_from(values, absent=None), by=request.user, now=timezone.now()
            )
        return self.answer(quote)

    @extend_schema(request=RequoteRequest, responses={200: QuoteSerializer})
    @idempotent
    def requote(self, request: Request, pk: str) -> Response:
        """Price it anew from another version of one of its price lists; send If-Match with the quote's ETag."""
        with transaction.atomic():
            row = self.locked()
            asked = RequoteRequest(data=request.data)
            asked.is_valid(raise_exception=True)
            version, day = asked.validated_data["price_list_version"], asked.validated_data.get("priced_on")
            now = timezone.now()
            quote = drafts.requote(row.pk, version.pk, priced_on=day or local_day(the_office(), now),
                                      by=request.user, now=now)
        return self.answer(quote)

    @extend_schema(responses={200: inline_serializer("Sensitivity", {
        "price": serializers.CharField(), "changes": ChangeSerializer(many=True)})})
    def sensitivity(self, request: Request, pk: str) -> Response:
        """What hours 10 and 20 per cent, prices 5 and 10 per cent up or down do to the price, through the chain."""
        price, changes = drafts.sensitivity_of(self.get_object())
        return Response({"price": str(price), "changes": [change.as_json() for change in changes]})


AGREED = ("crew_mix", "allowances", "discount", "escalation")


def _kept(value: Any) -> Any:
    """What was agreed, as a quote keeps it: money as text."""
    if isinstance(value, dict):
        return {name: _kept(inner) for name, inner in value.items()}
    if isinstance(value, list):
        return [_kept(inner) for inner in value] or None
    return str(value) if isinstance(value, Decimal) else value


def _priced_from(values: dict[str, Any], absent: Any = ()) -> dict[str, Any]:
    extras, recipes = values.get("extras"), values.get("recipes")
    return {
        "version_ids": values.get("price_list_versions"),
        "extras": absent if extras is None else [Extra(**extra) for extra in extras],
        "recipes": absent if recipes is None else [{**use, "recipe": use["recipe"].pk} for use in recipes],
        "priced_on": values.get("priced_on"),
        "agreed": {name: _kept(values[name]) for name in AGREED if name in values},
    }


def _check_measures(values: dict[str, Any], framing: Framing) -> None:
    """Refuse, each in its place, what is measured on something that this framing does not have."""
    uses = values.get("recipes") or []
    if not any("measure" in asked for use in uses for asked in use["quantities"]):
        return
    document, survey, faults = framing.document, framing.survey.document, []
    for i, use in enumerate(uses):
        for j, asked in enumerate(use["quantities"]):
            try:
                if "measure" in asked:
                    measure(asked["measure"], document, survey, asked.get("of", ()))
            except MeasureError as error:
                told, _, expected = str(error).partition("; expected ")
                at = pointer("recipes", i, "quantities", j, "of" if "of" in asked else "measure")
                faults.append(Fault(at, asked.get("of", asked["measure"]), expected, told))
    if faults:
        raise Refused(faults)


class OfOneQuote(ReadViewSet):
    """What lies under one quote."""

    lookup_field = "number"

    def quote(self) -> Quote:
        return get_object_or_404(Quote, pk=self.kwargs["quote_id"])


class RevisionViewSet(OfOneQuote):
    """Revisions of a quote: issued, and final from then on."""

    queryset = Revision.objects.none()

    def get_queryset(self) -> Any:
        rows = Revision.objects.filter(quote=self.quote()).select_related("quote")
        rows = rows.defer("plan_svg", "section_svg", "proposal_html", "cut_sheets_html")
        return rows.defer("snapshot") if self.action == "list" else rows

    def get_serializer_class(self) -> Any:
        return RevisionInList if self.action == "list" else RevisionSerializer

    @extend_schema(request=IssueRequest, responses={201: RevisionSerializer})
    @idempotent
    def create(self, request: Request, quote_id: int) -> Response:
        """Issue the quote as its next revision; send If-Match with the quote's ETag."""
        with transaction.atomic():
            quote = get_object_or_404(Quote.objects.select_for_update(), pk=quote_id)
            check_match(request, quote)
            asked = IssueRequest(data=request.data)
            asked.is_valid(raise_exception=True)
            try:
                revision = revisions.issue_revision(quote.pk, **asked.validated_data, by=request.user,
                                                    now=timezone.now())
            except revisions.ReasonMissing as missing:
                raise refused("/why", asked.validated_data["why"], "why there is another revision", str(missing)
                              ) from None
            except drafts.QuoteBlocked as blocked:
                faults = [Fault("", finding.about, "nothing in the way of a price", finding.text)
                          for finding in blocked.findings]
                raise Problem(409, f"{quote.number} has no price yet", faults) from None
        response = tagged(request, revision, RevisionSerializer(revision).data, status=201)
        response["Location"] = f"{request.path.rstrip('/')}/{revision.number}"
        return response

    @extend_schema(request=None, responses={202: inline_serializer("RenderRun", {"run": RunSerializer()})})
    @idempotent
    def render(self, request: Request, quote_id: int, number: int) -> Response:
        """Make its papers in the background: proposal and office copy, cut sheets, material lists, care sheet."""
        revision = self.get_object()
        with transaction.atomic():
            return accepted(runs.start_run("render", f"revision/{revision.pk}", by=request.user, now=timezone.now()))


class FileViewSet(OfOneQuote):
    """Papers of a revision. The crew sees its own: cut sheets, material lists and care sheet."""

    queryset = RenderedFile.objects.none()
    serializer_class = PaperSerializer
    lookup_field = "sha256"
    read_roles = EVERYONE

    def get_queryset(self) -> Any:
        revision = get_object_or_404(Revision, quote=self.quote(), number=self.kwargs["number"])
        files = revision.files.select_related("revision__quote")
        return files.filter(kind__in=CREW_PAPERS) if self.request.user.role == Role.CREW else files

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    def download(self, request: Request, quote_id: int, number: int, sha256: str) -> HttpResponse:
        """The bytes of a paper."""
        found = self.get_queryset().filter(sha256=sha256).first()
        if found is None:
            raise Http404
        try:
            return paper_response(found)
        except FileNotFoundError:
            raise Problem(410, f"{found.name} is no longer stored; render the revision again") from None


def paper_response(file: RenderedFile) -> HttpResponse:
    """A paper to take home, named for people. Raises FileNotFoundError where the storage has lost it."""
    return HttpResponse(papers.read_paper(file), content_type=file.media_type, headers={
        "Content-Disposition": f'attachment; filename="{file.name}"', "ETag": f'"{file.sha256}"',
        "Cache-Control": "private, max-age=0, must-revalidate",
    })


of_quote = "quotes/<int:quote_id>/revisions"
urlpatterns = [
    path("quotes", QuoteViewSet.as_view({"get": "list", "post": "create"}, detail=False), name="quotes"),
    path("quotes/<int:pk>", QuoteViewSet.as_view({"get": "retrieve", "patch": "partial_update"}), name="quote"),
    path("quotes/<int:pk>/sensitivity", QuoteViewSet.as_view({"get": "sensitivity"}), name="quote-sensitivity"),
    path("quotes/<int:pk>/requote", QuoteViewSet.as_view({"post": "requote"}), name="quote-requote"),
    path(of_quote, RevisionViewSet.as_view({"get": "list", "post": "create"}, detail=False), name="revisions"),
    path(f"{of_quote}/<int:number>", RevisionViewSet.as_view({"get": "retrieve"}), name="revision"),
    path(f"{of_quote}/<int:number>/render", RevisionViewSet.as_view({"post": "render"}), name="revision-render"),
    path(f"{of_quote}/<int:number>/files", FileViewSet.as_view({"get": "list"}, detail=False), name="files"),
    path(f"{of_quote}/<int:number>/files/<str:sha256>", FileViewSet.as_view({"get": "download"}), name="file"),
]
