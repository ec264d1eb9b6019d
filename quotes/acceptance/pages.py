"""The homeowner's page behind a link: plain HTML and forms, no account, no script.

Looking at it changes nothing but the note that it was opened; whatever changes something is a form that was sent from
the page itself. A link that nobody was given gets one and the same answer, whatever stands in it.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import path, re_path, reverse
from django.utils import timezone
from django.views import csrf
from rest_framework.throttling import BaseThrottle

from estimating.office import local_day, the_office
from estimating.service.throttles import over_limit
from quotes.acceptance import signing
from quotes.acceptance.deeds import AcceptanceRefused, Choices, NotTheSame, deed_for
from quotes.acceptance.form import read_choices, seal, unseal
from quotes.acceptance.page import deed_of, form_of, frame_of, page_of
from quotes.models import Acceptance, OfferLink, RenderedFile, Signature
from quotes.offers import link_of
from quotes.paper import files as papers

# A minute. People read slowly; whoever comes quicker is a program.
VISITS_OF_AN_ADDRESS, UNKNOWN_LINKS_OF_AN_ADDRESS, VISITS_OF_A_LINK, FORMS_OF_A_LINK = 120, 20, 60, 12
LONGEST_TEXT = 4000  # characters of a question or reason
FORM_BYTES = 100_000
HEADERS = {
    "Referrer-Policy": "same-origin", "X-Robots-Tag": "noindex, nofollow", "Cache-Control": "no-store",
    "Content-Security-Policy": "default-src 'none'; img-src 'self' data:; style-src 'self'; font-src 'self'; "
                               "form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
}
SAFE = ("GET", "HEAD")

View = Callable[[HttpRequest, OfferLink], HttpResponse]


def behind_link(*methods: str) -> Callable[[View], Callable[..., HttpResponse]]:
    """A view of somebody's link. Whoever only looks at the address of a form is sent to the page."""

    def decorate(view: View) -> Callable[..., HttpResponse]:
        @wraps(view)
        def answer(request: HttpRequest, token: str) -> HttpResponse:
            return _guarded(_checked(view, methods, request, token))

        return answer

    return decorate


def _checked(view: View, methods: tuple[str, ...], request: HttpRequest, token: str) -> HttpResponse:
    address = BaseThrottle().get_ident(request)
    if wait := over_limit(f"homeowner address {address}", VISITS_OF_AN_ADDRESS):
        return _too_many(request, wait)
    link = link_of(token)
    if link is None or link.erased_at is not None or link.offer.revision.quote.job.customer.erased_at is not None:
        if wait := over_limit(f"homeowner unknown {address}", UNKNOWN_LINKS_OF_AN_ADDRESS):
            return _too_many(request, wait)
        return unknown(request)
    if wait := over_limit(f"homeowner link {link.pk}", VISITS_OF_A_LINK):
        return _too_many(request, wait)
    if request.method not in methods:
        if request.method in SAFE:
            return HttpResponseRedirect(reverse("homeowner", args=[token]))
        return _plain(request, 405, "This page is read, or sends a form; it takes nothing else.")
    if request.method == "POST":
        if wait := over_limit(f"homeowner form {link.pk}", FORMS_OF_A_LINK):
            return _too_many(request, wait)
        if len(request.body) > FORM_BYTES:
            return _plain(request, 413, "That is more than this page takes at once; please send the office a mail.")
    try:
        return view(request, link)
    except AcceptanceRefused as refused:
        return _page(request, link, status=409, refused=str(refused))


@behind_link(*SAFE)
def proposal(request: HttpRequest, link: OfferLink) -> HttpResponse:
    """The page itself."""
    if request.method == "GET" and "prefetch" not in _purpose(request):
        signing.note_opening(link, now=timezone.now())
    return _page(request, link)


@behind_link(*SAFE)
def paper(request: HttpRequest, link: OfferLink) -> HttpResponse:
    """The proposal as it was sent, as a PDF."""
    return _file(request, link, RenderedFile.Kind.PROPOSAL)


@behind_link(*SAFE)
def signed(request: HttpRequest, link: OfferLink) -> HttpResponse:
    """The signed paper, for who has signed."""
    if not Signature.objects.filter(link=link).exists():
        return _plain(request, 404, "There is no signed paper of yours here.", link)
    return _file(request, link, RenderedFile.Kind.SIGNED)


@behind_link("POST")
def question(request: HttpRequest, link: OfferLink) -> HttpResponse:
    """Ask the office."""
    text = signing.clean(request.POST.get("text", ""))
    if fault := _text_fault(text, "Write your question first."):
        return _again(request, "homeowner/question.html", link, {"text": text}, {"text": fault})
    signing.ask(link.pk, text, now=timezone.now())
    return _to_page(request, "questions")


@behind_link("POST")
def decline(request: HttpRequest, link: OfferLink) -> HttpResponse:
    """Decline, with a reason or without."""
    text, faults = signing.clean(request.POST.get("reason", "")), {}
    if request.POST.get("sure") != "yes":
        faults["sure"] = "Tick the box if you mean to decline; it cannot be undone here."
    if len(text) > LONGEST_TEXT:
        faults["reason"] = f"Please stay within {LONGEST_TEXT} characters; there are {len(text)}."
    if faults:
        return _again(request, "homeowner/decline.html", link, {"reason": text}, faults)
    signing.decline(link.pk, text, now=timezone.now())
    return _to_page(request)


@behind_link("POST")
def choices(request: HttpRequest, link: OfferLink) -> HttpResponse:
    """The first step of accepting: choices and answers; shows what would be signed, and keeps nothing."""
    now = timezone.now()
    signing.check_may_sign(link, now=now)
    if request.POST.get("revision_sha256") != link.offer.revision.sha256:
        raise NotTheSame("The proposal that you read is not the one that would be signed; read it again, please.")
    other = Acceptance.objects.filter(offer=link.offer).first()
    form = {name: request.POST[name] for name in request.POST}
    read = read_choices(form, link, fixed=other.option if other else None, now=now)
    if read.choices is None:
        return _again(request, "homeowner/choices.html", link, form, read.faults)
    sealed = seal(link, read.choices, local_day(the_office(), now))
    return _to_sign(request, link, read.choices, sealed)


@behind_link("POST")
def accept(request: HttpRequest, link: OfferLink) -> HttpResponse:
    """The second step: sign what was shown."""
    now = timezone.now()
    signing.check_may_sign(link, now=now)
    sealed = request.POST.get("choices", "")
    chosen = unseal(sealed, link, local_day(the_office(), now))
    try:
        signing.accept(
            link.pk, chosen, request.POST.get("name", ""), revision_sha256=request.POST.get("revision_sha256", ""),
            deed_sha256=request.POST.get("deed_sha256", ""), remote_address=BaseThrottle().get_ident(request),
            user_agent=signing.clean(request.META.get("HTTP_USER_AGENT", "")), now=now,
        )
    except signing.NotAName as fault:
        return _to_sign(request, link, chosen, sealed, name=request.POST.get("name", ""), faults={"name": str(fault)})
    return _to_page(request)


@behind_link("POST")
def cancel(request: HttpRequest, link: OfferLink) -> HttpResponse:
    """Cancel what was signed, within the time for it."""
    if request.POST.get("sure") != "yes":
        return _again(request, "homeowner/cancel.html", link, {},
                      {"sure": "Tick the box if you mean to cancel; it cannot be undone here."})
    signing.cancel_sale(link.pk, now=timezone.now())
    return _to_page(request)


def unknown(request: HttpRequest, rest: str = "") -> HttpResponse:
    """A link that nobody was given."""
    return _guarded(render(request, "homeowner/unknown.html", status=404))


def form_refused(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form that did not come from the page itself (django's CSRF_FAILURE_VIEW)."""
    if not request.path_info.startswith("/proposal/"):
        return csrf.csrf_failure(request, reason)
    return _guarded(_plain(request, 403, "This form did not come from the page itself, or your browser keeps no "
                           "cookies for it, so nothing was done. Open your link again and send it from there."))


def _guarded(response: HttpResponse) -> HttpResponse:
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    return response


def _page(request: HttpRequest, link: OfferLink, *, status: int = 200, refused: str = "") -> HttpResponse:
    return render(request, "homeowner/proposal.html", {**page_of(link, now=timezone.now()), "refused": refused,
                                                       "token": _token(request)}, status=status)


def _to_sign(request: HttpRequest, link: OfferLink, chosen: Choices, sealed: str, *, name: str = "",
             faults: dict[str, str] | None = None) -> HttpResponse:
    deed = deed_for(link, chosen, now=timezone.now())
    return render(request, "homeowner/sign.html", {
        **deed_of(link, chosen, deed), "sealed": sealed, "typed": name, "faults": faults or {},
        "token": _token(request),
    }, status=422 if faults else 200)


def _again(request: HttpRequest, template: str, link: OfferLink, values: dict[str, str], faults: Any) -> HttpResponse:
    """A form with what is wrong in it."""
    return render(request, template, {**frame_of(link), **form_of(link, values, faults), "token": _token(request)},
                  status=422)


def _to_page(request: HttpRequest, place: str = "") -> HttpResponse:
    address = reverse("homeowner", args=[_token(request)])
    return HttpResponseRedirect(f"{address}#{place}" if place else address, status=303)


def _file(request: HttpRequest, link: OfferLink, kind: str) -> HttpResponse:
    file = link.offer.revision.files.filter(kind=kind).select_related("revision__quote").order_by("pk").last()
    try:
        if file is None:
            raise FileNotFoundError
        content = papers.read_paper(file)
    except FileNotFoundError:
        return _plain(request, 404, "This paper is still being made; come back in a few minutes, or ask the office.",
                      link)
    return HttpResponse(content, content_type=file.media_type, headers={
        "Content-Disposition": f'inline; filename="{file.name}"',
        "Content-Security-Policy": "frame-ancestors 'none'"})  # some browsers show a PDF as a page with the PDF in it


def _plain(request: HttpRequest, status: int, sentence: str, link: OfferLink | None = None) -> HttpResponse:
    return render(request, "homeowner/plain.html", {"sentence": sentence, "token": _token(request) if link else ""},
                  status=status)


def _too_many(request: HttpRequest, wait: int) -> HttpResponse:
    response = _plain(request, 429, f"That was more than this page answers in a minute. Try again in {wait} seconds.")
    response.headers["Retry-After"] = str(wait)
    return response


def _text_fault(text: str, empty: str) -> str:
    if not text:
        return empty
    return f"Please stay within {LONGEST_TEXT} characters; there are {len(text)}." if len(text) > LONGEST_TEXT else ""


def _purpose(request: HttpRequest) -> str:
    """What a browser says that it fetches a page for."""
    return " ".join(request.headers.get(name, "") for name in ("Sec-Purpose", "Purpose", "X-Moz")).lower()


def _token(request: HttpRequest) -> str:
    assert request.resolver_match is not None
    return request.resolver_match.kwargs["token"]


urlpatterns = [
    path("<str:token>", proposal, name="homeowner"),
    path("<str:token>/", proposal),
    path("<str:token>/paper", paper, name="homeowner-paper"),
    path("<str:token>/signed", signed, name="homeowner-signed"),
    path("<str:token>/question", question, name="homeowner-question"),
    path("<str:token>/decline", decline, name="homeowner-decline"),
    path("<str:token>/choices", choices, name="homeowner-choices"),
    path("<str:token>/accept", accept, name="homeowner-accept"),
    path("<str:token>/cancel", cancel, name="homeowner-cancel"),
    re_path(r"^(?P<rest>.*)$", unknown),
]
