"""What the office and a homeowner write to each other about an offer: the proposal, receipts, questions and answers."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import transaction
from django.template.loader import render_to_string

from estimating.models import Job, User
from estimating.office import local_day, the_office
from estimating.service.history import note
from estimating.service.problems import refusal
from quotes.mail.letters import PLACE, Attachment, Letter, Person, one_line
from quotes.mail.outbox import post
from quotes.models import Offer, OfferEvent, OfferLink, OutboxMail, Revision, Signature
from quotes.offers import address_with

ATTACHED_AT_MOST = 8_000_000  # bytes of a paper; many mailboxes take no more than 10 MB, and base 64 adds a third
PDF = "application/pdf"
Kind = OutboxMail.Kind
DONE = {OfferEvent.Kind.DECLINED: "declined", OfferEvent.Kind.CANCELLED: "cancelled",
        OfferEvent.Kind.WITHDRAWN: "withdrawn"}


@refusal(409)
class NoSuchQuestion(Exception):
    """An answer belongs to a question that a homeowner asked."""


@refusal(422)
class NothingSaid(Exception):
    """An answer without words is none."""


def post_proposal(link: OfferLink, pdf: bytes, file_name: str, *, now: datetime) -> OutboxMail:
    """The proposal to the person of a link; once a link."""
    offer = link.offer
    letter = proposal_letter(offer.revision, Person(link.name, link.email), paper=Attachment(file_name, PDF, pdf),
                             others=others_of(link))
    return post(f"offer-link/{link.pk}/proposal", letter, kind=Kind.PROPOSAL, job=offer.revision.quote.job,
                offer=offer, link=link, now=now)


def preview(revision: Revision, recipient: Person | None = None, *, others: Sequence[str] = (),
            paper_size: int = 0) -> Letter:
    """The proposal's mail as it would go, with a place holder for the token of the link; to the customer, or to whom.

    `paper_size` is that of the PDF where it is made already [bytes].
    """
    customer = revision.quote.job.customer
    paper = Attachment("", PDF, b"") if paper_size <= ATTACHED_AT_MOST else None
    return proposal_letter(revision, recipient or Person(customer.name, customer.email), paper=paper, others=others)


def proposal_letter(revision: Revision, recipient: Person, *, paper: Attachment | None,
                    others: Sequence[str] = ()) -> Letter:
    """The letter that brings a proposal; `others` are the names of who else got a link of their own."""
    before = Offer.objects.filter(revision__quote=revision.quote_id, revision__number__lt=revision.number).last()
    paper = _light(paper)
    return _letter("proposal", recipient, f"Your proposal {_number(revision)}", {
        **_about(revision), "address": address_with(PLACE), "attached": paper is not None, "others": others,
        "valid_until": revision.valid_until, "replaces": before.revision.number if before else None,
        "changes": (revision.document.get("changes") or {}).get("items", ()),
    }, paper=paper)


def post_receipt(link: OfferLink, *, pdf: bytes, file_name: str, kind: str, words: Sequence[str],
                 now: datetime) -> list[OutboxMail]:
    """A signed paper to the person of a link and to the office: `receipt`, or `signed` by all.

    `words` are the paragraphs that tell the person what it is: which way to build, at what price, until when it can be
    cancelled and how. Once a link and paper; the office gets each paper once.
    """
    offer, office = link.offer, the_office()
    revision, paper = offer.revision, Attachment(file_name, PDF, pdf)
    person, desk = Person(link.name, link.email), Person(office.name, office.email)
    signers = [name for name in Signature.objects.filter(acceptance__offer=offer, role__in=OfferLink.Role.values)
               .order_by("pk").values_list("name", flat=True) if name]
    subject = {Kind.RECEIPT: "Your receipt for", Kind.SIGNED: "Signed by all:"}[Kind(kind)] + f" {_number(revision)}"
    about = {**_about(revision), "words": words, "signers": " and ".join(signers) or link.name}
    light, of_paper = _light(paper), hashlib.sha256(pdf).hexdigest()[:16]
    rest: dict[str, Any] = {"kind": kind, "job": revision.quote.job, "offer": offer, "now": now}

    def letter(recipient: Person, reply_to: Person, **more: Any) -> Letter:
        return _letter(kind, recipient, subject, {**about, "attached": light is not None, **more}, paper=light,
                       reply_to=reply_to, automatic=True)

    theirs = letter(person, desk, address=address_with(PLACE))
    ours = letter(desk, person, address=_job_page(revision.quote.job), for_office=True, person=link.name)
    return [post(f"offer-link/{link.pk}/{kind}/{of_paper}", theirs, link=link, **rest),
            post(f"offer/{offer.pk}/{kind}/{of_paper}/office", ours, **rest)]


def post_question(event: OfferEvent, *, now: datetime) -> OutboxMail:
    """A homeowner's question to the office's mailbox; answering that mail writes to the homeowner."""
    assert event.link is not None
    revision, office = event.offer.revision, the_office()
    person = Person(event.link.name, event.link.email)
    letter = _letter("question", Person(office.name, office.email), f"Question about {_number(revision)}", {
        **_about(revision), "person": person.name, "email": person.email, "text": event.text,
        "address": _job_page(revision.quote.job),
    }, reply_to=person, automatic=True)
    return post(f"offer-event/{event.pk}/question", letter, kind=Kind.QUESTION, job=revision.quote.job,
                offer=event.offer, now=now)


def post_event(event: OfferEvent, *, now: datetime) -> OutboxMail:
    """To the office's mailbox: that a homeowner declined an offer, or cancelled a sale within the time for it."""
    revision, office = event.offer.revision, the_office()
    person = Person(event.link.name, event.link.email) if event.link is not None else None
    letter = _letter("event", Person(office.name, office.email),
                     f"{DONE[event.kind].capitalize()}: {_number(revision)}", {
        **_about(revision), "person": person.name if person else "", "done": DONE[event.kind], "text": event.text,
        "address": _job_page(revision.quote.job),
    }, reply_to=person, automatic=True)
    return post(f"offer-event/{event.pk}/notice", letter, kind=Kind.NOTICE, job=revision.quote.job, offer=event.offer,
                now=now)


def post_turn(link: OfferLink, *, now: datetime) -> OutboxMail:
    """To an owner who has not signed yet, once the first has: that it is their turn; once a link."""
    return _post_word(link, "turn", "Your signature on {number}", [
        "The other owner has read and signed this proposal. It is now yours to read; if you agree, sign it under the "
        "same choice. If you do not, or if something is unclear, tell us on the same page or by answering this mail."],
        now=now)


def post_cancelled(link: OfferLink, *, now: datetime) -> OutboxMail:
    """To an owner: that the sale was cancelled, so that they have it in writing; once a link."""
    return _post_word(link, "cancelled", "Cancelled: {number}", [
        "This proposal had been accepted, and was cancelled within the time for it. Nothing is ordered and no work "
        "begins. What was paid is given back within the time that the notice of cancellation names.",
        "If you did not want this, answer this mail or call us at once."], now=now)


def _post_word(link: OfferLink, what: str, subject: str, words: Sequence[str], *, now: datetime) -> OutboxMail:
    revision = link.offer.revision
    letter = _letter("word", Person(link.name, link.email), subject.format(number=_number(revision)),
                     {**_about(revision), "words": words, "address": address_with(PLACE)})
    return post(f"offer-link/{link.pk}/{what}", letter, kind=Kind.NOTICE, job=revision.quote.job, offer=link.offer,
                link=link, now=now)


@transaction.atomic
def answer_question(event_id: int, text: str, *, by: User | None, now: datetime) -> OfferEvent:
    """Answer a homeowner's question: kept under it, and sent to who asked. Raises NoSuchQuestion or NothingSaid."""
    offers = "offer__revision__quote__job__customer"
    question = OfferEvent.objects.select_related(offers, "link").filter(
        pk=event_id, kind=OfferEvent.Kind.QUESTION, link__isnull=False, erased_at=None).first()
    if question is None:
        raise NoSuchQuestion(f"There is no question {event_id} of a homeowner.")
    if not text.strip():
        raise NothingSaid("The answer is empty; expected some words.")
    answer = OfferEvent.objects.create(
        offer=question.offer, kind=OfferEvent.Kind.ANSWER, link=question.link, answers=question, text=text.strip(),
        created_at=now, created_by=by,
    )
    note(question.offer, "answer", {"question": [None, question.pk], "answer": [None, answer.pk]}, by=by, now=now)
    link, revision = question.link, question.offer.revision
    letter = _letter("answer", Person(link.name, link.email), f"Your question about {_number(revision)}", {
        **_about(revision), "text": answer.text, "question": question.text,
        "asked_on": local_day(the_office(), question.created_at), "address": address_with(PLACE),
    })
    post(f"offer-event/{answer.pk}/answer", letter, kind=Kind.ANSWER, job=revision.quote.job, offer=question.offer,
         link=link, now=now)
    return answer


def questions_of(jobs: Collection[int]) -> list[OfferEvent]:
    """The questions that homeowners asked about the offers of these jobs, newest first, each with `answered_by`."""
    rows = OfferEvent.objects.filter(kind=OfferEvent.Kind.QUESTION, offer__revision__quote__job__in=jobs)
    return list(rows.select_related("link", "offer__revision__quote").prefetch_related("answered_by").order_by("-pk"))


def others_of(link: OfferLink) -> list[str]:
    """The names of who else got a link to the same offer."""
    return [name for name in link.offer.links.exclude(pk=link.pk).values_list("name", flat=True) if name]


def _letter(template: str, recipient: Person, subject: str, context: dict[str, Any], *,
            paper: Attachment | None = None, reply_to: Person | None = None, automatic: bool = False) -> Letter:
    office = the_office()
    desk = Person(office.name, office.email)
    context = {**context, "office": office, "name": one_line(recipient.name, 100), "subject": subject}
    text, html = (render_to_string(f"mail/{template}.{kind}", context).strip() + "\n" for kind in ("txt", "html"))
    return Letter(sender=desk, recipient=recipient, subject=subject, text=text, html=html, reply_to=reply_to or desk,
                  attachment=paper, automatic=automatic)


def _light(paper: Attachment | None) -> Attachment | None:
    """A paper that is not too heavy to go along."""
    return paper if paper is not None and len(paper.content) <= ATTACHED_AT_MOST else None


def _number(revision: Revision) -> str:
    return f"{revision.quote.number}, revision {revision.number}"


def _about(revision: Revision) -> dict[str, Any]:
    job = revision.quote.job
    place = ", ".join((job.site_address or job.name).splitlines())
    return {"number": revision.quote.number, "revision": revision.number, "job": job, "site": one_line(place, 200)}


def _job_page(job: Job) -> str:
    return f"{settings.SITE_URL}/jobs/{job.pk}/"
