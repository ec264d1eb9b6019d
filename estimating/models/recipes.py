"""Recipes: what the office takes, in goods and hours, for one unit of work that no framing counts.

A recipe is known by its name through all its versions. A version is written as a draft, read over, and put in force
from a date; from then on it never changes, and quotes name the version that they were made with.
"""

from django.conf import settings
from django.db import models
from django.db.models import Q

from estimating.models.base import AppendOnly, Versioned


class Recipe(Versioned):
    """Work under one name, through all its versions."""

    name = models.CharField(max_length=120, unique=True)
    active = models.BooleanField(default=True, help_text="No quote takes up one that is not.")

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return self.name


class RecipeVersion(AppendOnly, Versioned):
    """What one unit of a recipe takes. `number` is given when it is put in force, 1 first.

    `content` holds numbers as text: items and labor with their quantities, posts, load, notes, and the part of the work
    that its lines stand under. Its one definition is the interface's (`api/recipes.py`).
    """

    frozen_when = "OLD.number IS NOT NULL"

    class Kind(models.TextChoices):
        GENERAL = "general", "nothing besides its own notes"
        GUARD = "guard", "guard: deferred to building department and engineer, posts counted"
        SCREEN = "screen", "screen: wind on it for an engineer, posts counted where it has them"
        PLANTER = "planter", "planter: its saturated weight against what the deck was reckoned for"
        BY_ROOFER = "by-roofer", "work by the roofer: every line an allowance"

    recipe = models.ForeignKey(Recipe, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField(null=True, blank=True)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    unit = models.CharField(max_length=3, help_text="What it is counted in, UN/ECE Rec 20/21.")
    content = models.JSONField()
    in_force_from = models.DateField(null=True, blank=True)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    put_in_force_at = models.DateTimeField(null=True, blank=True)
    put_in_force_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["recipe", "number"], name="recipe_version_number_a_recipe"),
            models.CheckConstraint(
                condition=Q(number__isnull=True, in_force_from__isnull=True, put_in_force_at__isnull=True)
                | Q(number__isnull=False, in_force_from__isnull=False, put_in_force_at__isnull=False),
                name="recipe_version_numbered_when_in_force",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["general", "guard", "screen", "planter", "by-roofer"]),
                name="recipe_version_of_a_known_kind",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.recipe} v{self.number}" if self.number else f"{self.recipe} (draft {self.pk})"

    def is_final(self) -> bool:
        return not self._state.adding and type(self).objects.filter(pk=self.pk, number__isnull=False).exists()
