"""Recipes of the office and their versions; what a version may say is defined here, once."""

import re
from collections.abc import Mapping
from decimal import Decimal
from string import Formatter
from typing import Any

from django.db import transaction
from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from estimating import recipes, units
from estimating.api.records import RecordViewSet
from estimating.models import Office, Recipe, RecipeVersion
from estimating.office import local_day
from estimating.service.idempotency import idempotent
from estimating.service.serializers import StrictModelSerializer, StrictSerializer
from estimating.service.views import ReadViewSet

PER = ("unit", "post", "job")
WASTES = ("added-on", "yield")
SECTIONS = ("caution", "assumption", "drainage", "deferral", "exclusion", "allowance")
PLACES = ("name", "quantity", "unit", "posts")  # what the text of a note may hold in braces
# Words that would say that something is met; that is for others to say.
PROMISES = re.compile(
    r"\bcompl(?:y|ies|ied|ying|iant|iance)\b|\bto code\b|\bmeets?\b.{0,20}\bcodes?\b|\bapproved for\b", re.IGNORECASE
)
LEAST = Decimal("0.000001")


def amount(**more: Any) -> serializers.DecimalField:
    """A number of a recipe: above 0, at most six decimals."""
    return serializers.DecimalField(13, 6, **{"min_value": LEAST, **more})


class UnitField(serializers.CharField):
    """A unit code that a quantity may stand in."""

    def __init__(self, **more: Any) -> None:
        super().__init__(max_length=3, **more)

    def to_internal_value(self, data: Any) -> str:
        try:
            return units.unit(super().to_internal_value(data)).code
        except units.UnitError as error:
            raise serializers.ValidationError(f"expected {error.expected}") from None


class KeyField(serializers.CharField):
    """A whole item key, as materials have it."""

    def __init__(self, **more: Any) -> None:
        super().__init__(max_length=120, **more)

    def to_internal_value(self, data: Any) -> str:
        value = super().to_internal_value(data)
        if not value.isprintable() or "*" in value or "" in value.split("/"):
            raise serializers.ValidationError("expected an item key without *, like guard/rail or service/roofer")
        return value


class ItemSerializer(StrictSerializer):
    """Goods or a service that the recipe takes. Bought in whole packs, the supplier's own pack deciding."""

    item = KeyField(help_text="Item key; a material of the office stands behind it.")
    quantity = amount(help_text="Of `unit`, for one of `per`.")
    unit = UnitField(help_text="What it is used in, UN/ECE Rec 20/21.")
    per = serializers.ChoiceField(PER, default="unit", help_text="One unit of the recipe, one post, or the whole job.")
    waste = serializers.DecimalField(
        7, 6, min_value=Decimal(0), max_value=Decimal("0.9"), default=Decimal(0), help_text="A fraction: 0.1 is 10 %."
    )
    waste_as = serializers.ChoiceField(
        WASTES, default="added-on", help_text="added-on: net x (1 + waste); yield: net / (1 - waste)."
    )
    pack = amount(default=Decimal(1), help_text="How many `unit` one ordered thing holds.")
    order_unit = UnitField(required=False, help_text="What is ordered, such as EA for sticks of `pack` feet.")
    allowance = serializers.BooleanField(default=False)

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        if values["pack"] != 1 and "order_unit" not in values:
            raise serializers.ValidationError({"order_unit": "a pack is given; expected what is ordered, such as EA"})
        return values


class TaskSerializer(StrictSerializer):
    """Work that the recipe takes: person-hours for one `unit` of the task, its own or by the office's table."""

    task = serializers.RegexField(r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60, help_text="Such as set-posts.")
    quantity = amount(default=Decimal(1), help_text="How many `unit` of the task one of `per` takes.")
    unit = UnitField(help_text="Of the task, UN/ECE Rec 20/21.")
    per = serializers.ChoiceField(PER, default="unit", help_text="One unit of the recipe, one post, or the whole job.")
    low = amount(required=False, help_text="[h/unit]")
    typical = amount(required=False, help_text="[h/unit] This is priced.")
    high = amount(required=False, help_text="[h/unit]")

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        given = [values[name] for name in ("low", "typical", "high") if name in values]
        if given and (len(given) < 3 or given != sorted(given)):
            raise serializers.ValidationError({"typical": "expected low <= typical <= high, or none of the three and "
                                                          "then the office's production rate of the task"})
        return values


class RecipeNoteSerializer(StrictSerializer):
    """A sentence for the proposal. It gives number, basis, source and who decides; it never says that a code is met."""

    section = serializers.ChoiceField(SECTIONS)
    text = serializers.CharField(max_length=600, help_text=f"May hold {', '.join(f'{{{name}}}' for name in PLACES)}.")
    basis = serializers.CharField(max_length=120)
    source = serializers.CharField(max_length=200)
    decided_by = serializers.CharField(max_length=120)
    acknowledge = serializers.BooleanField(default=False, help_text="A named person must take note of it first.")

    def validate_text(self, value: str) -> str:
        if found := PROMISES.search(value):
            raise serializers.ValidationError(f"{found[0]!r} says that something is met; expected the number, its "
                                              "basis and who decides")
        try:
            places = [(name, spec, how) for _, name, spec, how in Formatter().parse(value) if name is not None]
        except ValueError:
            places = [("", "", "")]
        if any(name not in PLACES or spec or how for name, spec, how in places):
            raise serializers.ValidationError(f"expected in braces one of {', '.join(PLACES)}")
        return value


class PostsSerializer(StrictSerializer):
    """Posts: on each straight run its length over `spacing`, rounded up, and one more where a run of sides ends."""

    spacing = amount(help_text="Most from post to post. [in]")
    through_membrane = serializers.BooleanField(default=True)
    item = KeyField(required=False, help_text="The roofer's allowance for one post through the membrane.")

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        if values["through_membrane"] != ("item" in values):
            raise serializers.ValidationError({"item": "expected the item of the roofer's allowance where posts go "
                                                       "through the membrane, and none where they do not"})
        return values


class LoadSerializer(StrictSerializer):
    """What one unit of the recipe weighs, full of wet soil, and the place that it stands on."""

    saturated_weight = amount(help_text="[lb/unit]")
    footprint = amount(help_text="[sq ft/unit]")
    source = serializers.CharField(max_length=200, help_text="Where the weight comes from.")


class ContentSerializer(StrictSerializer):
    """What one unit of a recipe takes."""

    kind = serializers.ChoiceField(RecipeVersion.Kind.choices)
    unit = UnitField(help_text="What the recipe is counted in, UN/ECE Rec 20/21, such as LF, FTK, EA or LS.")
    part = serializers.CharField(
        max_length=80, default="", allow_blank=True,
        help_text="Part of the work on the proposal: one of the usual ones or a title of its own; else other work.",
    )  # fmt: skip
    holds = serializers.CharField(
        max_length=200, default="", allow_blank=True, help_text="What a part of its own holds, in a homeowner's words."
    )
    items = ItemSerializer(many=True, default=list, max_length=200)
    labor = TaskSerializer(many=True, default=list, max_length=100)
    notes = RecipeNoteSerializer(many=True, default=list, max_length=50)
    posts = PostsSerializer(required=False)
    load = LoadSerializer(required=False)

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        kind, faults = values["kind"], {}
        by_length = units.unit(values["unit"]).dimension == "length"
        if ("load" in values) != (kind == "planter"):
            faults["load"] = "expected the load of a planter, and of nothing else"
        if "posts" in values and kind not in ("guard", "screen"):
            faults["posts"] = "expected posts of a guard or a screen only"
        elif "posts" in values and not by_length:
            faults["unit"] = "posts are counted along a length; expected a unit of length, such as LF"
        elif kind == "guard" and "posts" not in values:
            faults["posts"] = "expected the posts of a guard"
        rows = [*values["items"], *values["labor"]]
        if not rows:
            faults["items"] = "expected at least one item or task"
        if "posts" not in values and any(row["per"] == "post" for row in rows):
            faults["posts"] = "an item or task goes by the post; expected posts"
        if faults:
            raise serializers.ValidationError(faults)
        return values


class RecipeSerializer(StrictModelSerializer):
    in_force = serializers.SerializerMethodField(help_text="Id of the version in force today, or null.")

    class Meta:
        model = Recipe
        fields = ("id", "name", "active", "in_force")

    def get_in_force(self, row: Recipe) -> int | None:
        held = [version for version in row.versions.all()
                if version.number and version.in_force_from <= self.context["today"]]
        return max(held, key=lambda version: (version.in_force_from, version.number)).pk if held else None


class RecipeViewSet(RecordViewSet):
    """What the office takes for one unit of work that no framing counts, each through all its versions."""

    queryset = Recipe.objects.prefetch_related("versions")
    serializer_class = RecipeSerializer
    filterset_fields = {"name": ["exact", "icontains"], "active": ["exact"]}

    def get_serializer_context(self) -> dict[str, Any]:
        office, now = Office.objects.first(), timezone.now()
        return {**super().get_serializer_context(), "today": local_day(office, now) if office else now.date()}


class RecipeVersionSerializer(ContentSerializer):
    """A version of a recipe: a draft, or in force from a date and final."""

    id = serializers.IntegerField(read_only=True)
    recipe = serializers.IntegerField(source="recipe_id", read_only=True)
    number = serializers.IntegerField(read_only=True, allow_null=True, help_text="Null while it is a draft.")
    in_force_from = serializers.DateField(read_only=True, allow_null=True)
    created_at = serializers.DateTimeField(read_only=True)
    put_in_force_at = serializers.DateTimeField(read_only=True, allow_null=True)

    def to_representation(self, row: RecipeVersion) -> dict[str, Any]:
        said = {"kind": row.kind, "unit": row.unit, **row.content}
        own = {name: getattr(row, name) for name in ("id", "recipe_id", "number", "in_force_from", "created_at",
                                                     "put_in_force_at")}
        return super().to_representation({**said, **own})


class PutInForceSerializer(StrictSerializer):
    valid_from = serializers.DateField(help_text="First day, in the office's time zone.")


class RecipeVersionViewSet(ReadViewSet):
    """Versions of one recipe: write a draft, change or drop it, put it in force."""

    queryset = RecipeVersion.objects.none()
    serializer_class = RecipeVersionSerializer

    def recipe(self) -> Recipe:
        return get_object_or_404(Recipe, pk=self.kwargs["recipe_id"])

    def get_queryset(self) -> Any:
        return RecipeVersion.objects.filter(recipe=self.recipe())

    @idempotent
    def create(self, request: Request, recipe_id: int) -> Response:
        """Write a draft."""
        recipe, values = self.recipe(), self.said(request)
        row = recipes.draft_version(recipe.pk, values, by=request.user, now=timezone.now())
        response = self.answer(row, status=201)
        response["Location"] = f"{request.path.rstrip('/')}/{row.pk}"
        return response

    def update(self, request: Request, recipe_id: int, pk: str) -> Response:
        """Put other words into a draft, whole."""
        with transaction.atomic():
            row = self.locked()
            row = recipes.rewrite_draft(row, self.said(request), by=request.user, now=timezone.now())
        return self.answer(row)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, recipe_id: int, pk: str) -> Response:
        """Drop a draft."""
        with transaction.atomic():
            recipes.drop_draft(self.locked(), by=request.user, now=timezone.now())
        return Response(status=204)

    @extend_schema(request=PutInForceSerializer, responses={200: RecipeVersionSerializer})
    @idempotent
    def put_in_force(self, request: Request, recipe_id: int, pk: str) -> Response:
        """Make a draft the recipe's next version; from then on it never changes."""
        with transaction.atomic():
            row = self.locked()
            asked = PutInForceSerializer(data=request.data)
            asked.is_valid(raise_exception=True)
            row = recipes.put_in_force(row, **asked.validated_data, by=request.user, now=timezone.now())
        return self.answer(row)

    def said(self, request: Request) -> dict[str, Any]:
        asked = self.get_serializer(data=request.data)
        asked.is_valid(raise_exception=True)
        content = _plain(asked.validated_data)
        return {"kind": content.pop("kind"), "unit": content.pop("unit"), "content": content}


def _plain(value: Any) -> Any:
    """Validated values as JSON keeps them, numbers as text."""
    if isinstance(value, Mapping):
        return {name: _plain(inner) for name, inner in value.items()}
    if isinstance(value, list):
        return [_plain(inner) for inner in value]
    return format(value, "f") if isinstance(value, Decimal) else value
