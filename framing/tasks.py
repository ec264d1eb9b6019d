"""Background work of the framing app: framing a large roof."""

from typing import Any

from django.utils import timezone

from estimating.models import Run
from estimating.service.runs import Report, Store, run_kind
from framing.engine.design import frame
from framing.models import Build
from framing.records import keep_framing


@run_kind("frame", queue="compute")
def frame_run(run: Run, report: Report) -> Store:
    """Frame the build that the run names, and keep the answer."""
    build = Build.objects.select_related("survey").get(pk=int(run.subject.removeprefix("build/")))
    report(10, "framing")
    framed = frame(build.survey.document, build.document)
    report(90, "keeping the answer")

    def store() -> dict[str, Any]:
        framing = keep_framing(build, framed, by=run.created_by, now=timezone.now())
        return {"framing": framing.pk, "url": f"/api/v1/framings/{framing.pk}"}

    return store
