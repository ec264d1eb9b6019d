"""Background work of the quotes app: the papers of a revision, what new prices do to open quotes."""

from typing import Any

from django.utils import timezone

from estimating.models import Run
from estimating.service.runs import Report, Store, run_kind
from quotes.impact import changes_of, keep_changes
from quotes.models import PriceImpact, Revision
from quotes.papers import check_not_erased, keep_papers, make_papers


@run_kind("render", queue="render")
def render_run(run: Run, report: Report) -> Store:
    """Make the papers of the revision that the run names, and keep them."""
    number = int(run.subject.removeprefix("revision/"))
    revision = Revision.objects.select_related("quote__job__customer").get(pk=number)
    papers = make_papers(revision, report)

    def store() -> dict[str, Any]:
        check_not_erased(revision)
        files = keep_papers(revision, papers, now=timezone.now())
        where = f"/api/v1/quotes/{revision.quote_id}/revisions/{revision.number}/files"
        return {"files": [{"kind": file.kind, "sha256": file.sha256, "size": file.size, "name": file.name,
                           "url": f"{where}/{file.sha256}"} for file in files]}

    return store


@run_kind("price-impact", queue="compute")
def impact_run(run: Run, report: Report) -> Store:
    """Work out the impact that the run names, and keep it."""
    impact = PriceImpact.objects.select_related("price_list_version__price_list__supplier").get(
        pk=int(run.subject.removeprefix("price-impact/")))
    changes = changes_of(impact.price_list_version, impact.on, report)
    return lambda: keep_changes(impact, changes, now=timezone.now())
