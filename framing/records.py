"""Keeping surveys and framings: each function is one change of the records, in one transaction."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Max

from estimating.models import Job, Office, ProductionRate, Run, User
from estimating.service import runs
from estimating.service.history import note
from estimating.service.moving_on import move_on
from estimating.service.problems import pointer
from framing.engine.adjustment import adjust
from framing.engine.design import Framing as Framed
from framing.engine.design import frame
from framing.engine.documents import Build as ParsedBuild
from framing.engine.documents import (
    DocumentRefused,
    Fault,
    canonical_sha256,
    check_together,
    parse_build,
    parse_survey,
)
from framing.models import Build, Framing, Survey
from framing.reference.production import RATES

AT_ONCE_SQFT = 600.0  # a roof up to this area is framed in the request


def canonical(document: Mapping[str, Any]) -> str:
    """The text that a document is kept as: the one that its hash is taken over."""
    return json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


@transaction.atomic
def keep_survey(job_id: int, document: Mapping[str, Any], *, by: User | None, now: datetime) -> Survey:
    """Keep a survey as the job's next one. Raises DocumentRefused, and then nothing is kept.

    It is adjusted too: an outline that crosses itself may show only once the tapes have placed its corners.
    """
    adjust(parse_survey(document))
    job = Job.objects.select_for_update().get(pk=job_id)
    number = (job.surveys.aggregate(most=Max("number"))["most"] or 0) + 1
    survey = Survey.objects.create(job=job, number=number, text=canonical(document), sha256=canonical_sha256(document),
                                   created_at=now, created_by=by)
    note(survey, "create", {"job": [None, job.pk], "number": [None, number]}, by=by, now=now)
    return survey


def keep_build(survey: Survey, document: Mapping[str, Any], *, by: User | None, now: datetime) -> Build:
    """Keep a way to build on a survey. Raises DocumentRefused, also for what only the two together show."""
    build = parse_build(document)
    check_together(parse_survey(survey.document), build)
    check_records(build)
    return Build.objects.create(survey=survey, text=canonical(document), sha256=canonical_sha256(document),
                                created_at=now, created_by=by)


def with_office_rates(document: Mapping[str, Any], now: datetime) -> Mapping[str, Any]:
    """The build with what the office's table of production rates has that day and the build does not give itself.

    Tasks that the engine does not count are left out. What is no build is left as it is, to be refused as read.
    """
    office = Office.objects.first()
    day = now.astimezone(ZoneInfo(office.time_zone)).date() if office else now.date()
    rows = ProductionRate.objects.filter(task__in=RATES, valid_from__lte=day).order_by("valid_from", "id")
    kept = {row.task: {**_hours(row), "source": f"the office's rate {row.pk} of {row.valid_from}: {row.source}".strip(),
                       "record": row.pk} for row in rows}
    labor = document.get("labor") or {}
    rates = (labor.get("rates") or {}) if isinstance(labor, Mapping) else None
    if not kept or not isinstance(rates, Mapping):
        return document
    return {**document, "labor": {**labor, "rates": {**kept, **rates}}}


def _hours(row: ProductionRate) -> dict[str, Any]:
    """A rate as a build gives it."""
    return {"low": float(row.low), "typical": float(row.typical), "high": float(row.high), "unit": row.unit}


def check_records(build: ParsedBuild) -> None:
    """See that a rate which says that it is the office's record is that record. Raises DocumentRefused if it is not."""
    claimed = {task: rate for task, rate in ((build.labor and build.labor.rates) or {}).items() if rate.record}
    rows = ProductionRate.objects.in_bulk([rate.record for rate in claimed.values()]) if claimed else {}
    faults = []
    for task, rate in claimed.items():
        row = rows.get(rate.record)
        given = {name: getattr(rate, name) for name in ("low", "typical", "high", "unit")}
        if row is None or row.task != task or _hours(row) != given:
            faults.append(Fault(pointer("labor", "rates", task, "record"), str(rate.record),
                                f"the number of the office's rate of {task} with these hours, or no number",
                                f"the office's rate {rate.record} is another one"))
    if faults:
        raise DocumentRefused(faults)


@transaction.atomic
def frame_build(survey: Survey, document: Mapping[str, Any], *, by: User | None, now: datetime) -> Framing | Run:
    """Frame a build: at once on a roof of usual size, else as a run that ends with the framing.

    It is kept and framed with the office's production rates of the day for tasks that it gives none for. Raises
    DocumentRefused, and then nothing is kept.
    """
    document = with_office_rates(document, now)
    build = keep_build(survey, document, by=by, now=now)
    area = adjust(parse_survey(survey.document)).area_sqft
    if area is not None and area > AT_ONCE_SQFT:
        return runs.start_run("frame", f"build/{build.pk}", by=by, now=now)
    return keep_framing(build, frame(survey.document, document), by=by, now=now)


@transaction.atomic
def keep_framing(build: Build, framed: Framed, *, by: User | None, now: datetime) -> Framing:
    """Keep what the engine answered to a build; framed twice by the same engine, the first answer is handed back."""
    version = framed.document["provenance"]["engine"]
    if (known := build.framings.filter(engine=version).first()) is not None:
        return known
    framing = Framing.objects.create(
        build=build, text=canonical(framed.document), plan_svg=framed.plan_svg, section_svg=framed.section_svg,
        engine=version, stops=sum(check["status"] == "stop" for check in framed.document["checks"]),
        area_sqft=framed.document["survey_adjustment"]["area_sqft"], created_at=now, created_by=by,
    )
    move_on(build.survey.job_id, "surveyed" if framing.stops else "framed", by=by, now=now)
    note(framing, "create", {"build": [None, build.pk], "stops": [None, framing.stops]}, by=by, now=now)
    return framing
