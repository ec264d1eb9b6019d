"""The office's plain pages behind a log-in: the jobs, and one job with its plan, findings, price and papers."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, re_path, reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from estimating import files as handed_in
from estimating.api.contacts import CREW_FILES, file_response
from estimating.customers import of_customer
from estimating.jobs import blockers_of, today_at
from estimating.models import Contact, Job, Note, Office, Role, StoredFile
from estimating.steps import next_state
from framing.api import drawing_response
from framing.models import Framing
from quotes.api.quotes import CREW_PAPERS, paper_response
from quotes.mail.mailing import questions_of
from quotes.models import Offer, OfferEvent, Quote, RenderedFile, Revision
from quotes.notes import SECTIONS
from quotes.offers import customer_of, links_of, reasons_against, standing
from quotes.paper.rendering import figures
from quotes.paper.scope import work
from quotes.progress import next_step
from quotes.sales import orders_held_until
from quotes.snapshots import notes_of
from quotes.spread import how_sure

TITLES = {"caution": "Cautions", "assumption": "Assumptions", "drainage": "Drainage",
          "deferral": "Left to others", "exclusion": "Not included", "allowance": "Allowances"}
A_PAGE = 50
ENDED = (OfferEvent.Kind.DECLINED, OfferEvent.Kind.WITHDRAWN, OfferEvent.Kind.CANCELLED)


@require_safe
@login_required
def jobs(request: HttpRequest) -> HttpResponse:
    """The jobs, newest first."""
    page = Paginator(Job.objects.order_by("-pk"), A_PAGE).get_page(request.GET.get("page"))
    found = list(page.object_list)
    prices = dict(Quote.objects.filter(job__in=found).order_by("pk").values_list("job_id", "price"))
    rows = [{"job": job, "price": prices.get(job.pk)} for job in found]
    return render(request, "office/jobs.html", {**_office(request), "rows": rows, "page": page})


@require_safe
@login_required
def job(request: HttpRequest, pk: int) -> HttpResponse:
    """One job: what stands, what was found, what it costs, its papers, and the next step."""
    row = get_object_or_404(Job.objects.select_related("customer"), pk=pk)
    quote = row.quotes.select_related("framing__build__survey").last()
    framing = Framing.objects.filter(build__survey__job=row).select_related("build__survey").last()
    if quote is not None and framing is not None and quote.framing_id == framing.pk:
        framing = quote.framing
    revision = quote.revisions.last() if quote else None
    blocked = blockers_of(row, now=timezone.now())
    context = {
        **_office(request), "job": row, "framing": framing, "quote": quote, "revision": revision,
        "next_step": next_step(row, framing, quote, revision, blocked), "next_state": next_state(row.status),
        "blockers": blocked, **_people(request, row), **_proposal(request, row, revision),
        "hold": orders_held_until(row, today_at(timezone.now())) if revision else None,
        "files": _visible(request, revision.files.select_related("revision")) if revision else [],
    }
    if framing is not None:
        notes = notes_of(framing)
        context["sections"] = [
            {"title": TITLES[section], "notes": [note for note in notes if note.section == section]}
            for section in SECTIONS if any(note.section == section for note in notes)
        ]
        context["work"] = work(framing.document)
        context["sure"] = how_sure(framing.document)
        context["figures"] = [
            {**figure, "address": reverse("drawing", args=[framing.pk, figure["kind"]])}
            for figure in figures(framing.document, framing.plan_svg, framing.section_svg)
        ]
    return render(request, "office/job.html", context)


@require_safe
@login_required
def handed(request: HttpRequest, pk: int) -> HttpResponse:
    """A photo or paper that was handed in, to take home; of the crew only a job's photos and drawings."""
    file = get_object_or_404(StoredFile, pk=pk)
    if request.user.role == Role.CREW and (file.kind not in CREW_FILES or file.job_id is None):
        raise Http404
    try:
        return file_response(file)
    except handed_in.FileGone as gone:
        raise Http404(str(gone)) from None


@require_safe
@login_required
def drawing(request: HttpRequest, pk: int, kind: str) -> HttpResponse:
    """Plan or section of a framing."""
    framing = get_object_or_404(Framing, pk=pk)
    return drawing_response(framing.plan_svg if kind == "plan" else framing.section_svg)


@require_safe
@login_required
def paper(request: HttpRequest, pk: int) -> HttpResponse:
    """A paper to take home; of the crew only its own."""
    file = get_object_or_404(RenderedFile.objects.select_related("revision__quote"), pk=pk)
    if file not in _visible(request, RenderedFile.objects.filter(pk=pk)):
        raise Http404
    try:
        return paper_response(file)
    except FileNotFoundError:
        raise Http404("The paper is no longer stored; render the revision again.") from None


def _visible(request: HttpRequest, files: Any) -> list[RenderedFile]:
    """The newest of each kind that this person may see."""
    newest = {file.kind: file for file in files.order_by("pk")}
    may_see = CREW_PAPERS if request.user.role == Role.CREW else RenderedFile.Kind.values
    return [newest[kind] for kind in RenderedFile.Kind.values if kind in newest and kind in may_see]


def _proposal(request: HttpRequest, row: Job, revision: Revision | None) -> dict[str, Any]:
    """How the newest offer stands and what was asked, or what stands in the way of one; nothing of it for the crew."""
    if request.user.role == Role.CREW or revision is None:
        return {}
    now = timezone.now()
    offer = Offer.objects.filter(revision__quote__job=row).select_related("revision__quote").last()
    found: dict[str, Any] = {"questions": questions_of([row.pk])}
    if offer is not None:
        found |= {"offer": offer, "standing": standing(offer, now), "links": links_of(offer),
                  "ended": offer.events.filter(kind__in=ENDED).last()}
    if offer is None or offer.revision_id != revision.pk:
        found["in_the_way"] = reasons_against(revision, customer_of(revision), now=now)
    return found


def _people(request: HttpRequest, row: Job) -> dict[str, Any]:
    """Whom to call, what was said and what was handed in about a job and its customer; the crew sees its files."""
    def of(model: Any) -> Any:
        return (model.objects.filter(job=row) | of_customer(model.objects.all(), row.customer_id)).distinct()

    if request.user.role == Role.CREW:
        return {"handed": StoredFile.objects.filter(job=row, kind__in=CREW_FILES, erased_at=None)}
    return {
        "sees_people": True, "contacts": of(Contact).exclude(name=""),
        "said": of(Note).filter(erased_at=None).select_related("created_by").order_by("-pk"),
        "handed": of(StoredFile).filter(erased_at=None),
    }


def _office(request: HttpRequest) -> dict[str, Any]:
    office = Office.objects.first()
    return {"office_name": office.name if office else "", "currency": office.currency if office else "",
            "sees_prices": request.user.role != Role.CREW}


urlpatterns = [
    path("", jobs, name="jobs"),
    path("jobs/<int:pk>/", job, name="job"),
    re_path(r"^framings/(?P<pk>[0-9]{1,18})/(?P<kind>plan|section)\.svg$", drawing, name="drawing"),
    path("papers/<int:pk>", paper, name="paper"),
    path("files/<int:pk>", handed, name="handed"),
]
