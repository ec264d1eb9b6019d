"""Surveys as they were handed in, and what the engine made of them; both stay as they were written."""

from __future__ import annotations

import json
from typing import Any

from django.conf import settings
from django.db import models

from estimating.models.base import AppendOnly


class Unchanging(AppendOnly):
    """A row whose tag never changes, since the row does not."""

    version = 1

    class Meta:
        abstract = True


class Survey(Unchanging):
    """One version of a roof survey of a job; a corrected one is the next version.

    The document is kept as canonical text: a database's own JSON type may rewrite numbers, and the hash would no longer
    be that of what was read.
    """

    job = models.ForeignKey("estimating.Job", on_delete=models.PROTECT, related_name="surveys")
    number = models.PositiveIntegerField(help_text="1 is the job's first survey.")
    text = models.TextField(help_text="roof-survey/1, canonical JSON.")
    sha256 = models.CharField(max_length=64)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["job", "number"], name="survey_number_a_job")]

    def __str__(self) -> str:
        return f"survey {self.number} of {self.job_id}"

    @property
    def document(self) -> dict[str, Any]:
        return json.loads(self.text)


class Build(Unchanging):
    """One way to build a deck on a surveyed roof, as it was asked for."""

    survey = models.ForeignKey(Survey, on_delete=models.PROTECT, related_name="builds")
    text = models.TextField(help_text="deck-build/1, canonical JSON.")
    sha256 = models.CharField(max_length=64)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"build {self.pk} on survey {self.survey_id}"

    @property
    def document(self) -> dict[str, Any]:
        return json.loads(self.text)


class Framing(Unchanging):
    """What the engine answered to one survey and one build."""

    build = models.ForeignKey(Build, on_delete=models.PROTECT, related_name="framings")
    text = models.TextField(help_text="deck-framing/1, canonical JSON.")
    plan_svg = models.TextField()
    section_svg = models.TextField()
    engine = models.CharField(max_length=60, help_text="The engine's version.")
    stops = models.PositiveIntegerField(help_text="How many checks say that it cannot be made as asked.")
    area_sqft = models.FloatField(null=True, help_text="Roof area inside the corners. [ft2]")
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"framing {self.pk} of build {self.build_id}"

    @property
    def document(self) -> dict[str, Any]:
        return json.loads(self.text)

    @property
    def survey(self) -> Survey:
        return self.build.survey
