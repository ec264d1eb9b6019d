"""Background work of the quotes app: papers, offers and their mail, what new prices do to open quotes."""

from typing import Any

from celery import shared_task
from django.utils import timezone

from estimating.models import Run
from estimating.service.broker import tell
from estimating.service.runs import Report, Store, run_kind
from estimating.service.sweeping import on_sweep
from quotes.impact import changes_of, keep_changes
from quotes.mail import sending
from quotes.mail.delivery import deliver, deliver_due
from quotes.models import PriceImpact, Revision
from quotes.paper.files import check_not_erased, keep_papers, make_papers

run_kind(sending.KIND, queue="render")(sending.send)
on_sweep(lambda now: sending.start_left_behind(now=now))
on_sweep(lambda now: deliver_due(), lambda now: tell("quotes.tasks.deliver_due_mails", queue="mail"), name="mail")


@shared_task(name="quotes.tasks.deliver_mail")
def deliver_mail(mail_id: int) -> None:
    deliver(mail_id)


@shared_task(name="quotes.tasks.deliver_due_mails")
def deliver_due_mails() -> None:
    """Deliver what lost messages, put-off attempts and cut-off workers left waiting. Beat's sweep asks for it."""
    deliver_due()


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
