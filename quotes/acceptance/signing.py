"""What people do with an offer: ask, decline, sign, cancel, countersign. Each is one transaction that locks the offer.

What is signed is a `deeds.Deed`. Rows that may exist once keep an offer from being accepted twice, whoever gets past
the lock.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from datetime import date, datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Max

from estimating.models import Customer, Job, User
from estimating.notices import as_written
from estimating.office import local_day, the_office
from estimating.service.history import note
from estimating.service.moving_on import move_on
from estimating.service.problems import refusal
from estimating.service.runs import start_run
from framing.records import canonical
from quotes.acceptance.consent import METHOD
from quotes.acceptance.deeds import AcceptanceRefused, Choices, NotTheSame, deed_for
from quotes.acceptance.telling import tell_office, tell_others, tell_owners
from quotes.models import Acceptance, Offer, OfferEvent, OfferLink, Signature
from quotes.offers import Standing, end_of_day, is_signed_by_owners, locked_offer, standing
from quotes.sales import last_signed, sales_of

QUESTIONS_FOR = timedelta(days=90)  # after an offer's last day its page still takes questions for so long
QUESTIONS_A_DAY = 20
LONGEST_NAME = 200
JOINERS = "\u200c\u200d"  # what some scripts spell with, though nobody sees it
OPENED_AGAIN_AFTER = timedelta(hours=1)

@refusal(409)
class NotOpen(AcceptanceRefused):
    """The offer cannot be accepted any more, or not be declined or cancelled any more."""


@refusal(409)
class AlreadySigned(AcceptanceRefused):
    """This person has signed; nothing is signed twice."""


@refusal(409)
class NotYetTheirs(AcceptanceRefused):
    """The second owner signs what the first one chose, so the first signs first."""


@refusal(422)
class NotAName(AcceptanceRefused):
    """What was typed in place of a name is none."""


@refusal(409)
class TooManyQuestions(AcceptanceRefused):
    """More questions in a day than anybody answers."""


@transaction.atomic
def accept(link_id: int, choices: Choices, name: str, *, revision_sha256: str, deed_sha256: str, remote_address: str,
           user_agent: str, now: datetime) -> Signature:
    """Sign as the person of a link: the first signature makes the acceptance, the last one moves the job on.

    `revision_sha256` and `deed_sha256` are what the form says was read and shown. Raises a subclass of
    AcceptanceRefused, and then nothing is written.
    """
    link = _locked_link(link_id)
    offer, job = link.offer, Job.objects.select_for_update().get(pk=link.offer.revision.quote.job_id)
    check_may_sign(link, now=now)
    name = _checked_name(name)
    deed = deed_for(link, choices, now=now)
    if revision_sha256 != deed.revision_sha256:
        raise NotTheSame("The proposal that you read is not the one that would be signed; read it again, please.")
    if deed_sha256 != deed.sha256:
        raise NotTheSame("What would be signed has changed since it was shown to you (a day may have passed); look "
                         "through it again, please.")
    acceptance = Acceptance.objects.filter(offer=offer).first()
    if acceptance is not None and (acceptance.option, acceptance.price) != (deed.option, deed.price):
        raise NotTheSame("The other owner chose differently. The second signature goes under the same choice; ask the "
                         "office if it should be another.")
    try:
        acceptance = acceptance or Acceptance.objects.create(
            offer=offer, option=deed.option, price=deed.price, revision_sha256=deed.revision_sha256, created_at=now)
        signature = Signature.objects.create(
            acceptance=acceptance, role=link.role, link=link, name=name, remote_address=remote_address[:60],
            user_agent=user_agent[:300], signed_sha256=deed.sha256, access_shown=choices.access_shown,
            consent={"version": deed.consent.version, "text": deed.consent.text, "method": METHOD,
                     "at": choices.consented_at.isoformat()},
            agreed_where=choices.agreed_where, over_65=choices.over_65, disaster=choices.disaster,
            transaction_date=deed.transaction_date, cancel_by=deed.cancel_by, cancel_rule=dict(deed.cancel_rule),
            notices=[dict(notice) for notice in deed.notices], created_at=now,
        )
    except IntegrityError:
        raise AlreadySigned("This proposal has just been signed by you; it is not signed twice.") from None
    note(offer, "accept", {"role": [None, link.role], "option": [None, deed.option], "price": [None, str(deed.price)],
                           "signed_sha256": [None, deed.sha256]}, by=None, now=now)
    if is_signed_by_owners(acceptance):
        note(job, "change", {"accepted_on": [_text(job.accepted_on), deed.transaction_date.isoformat()]}, by=None,
             now=now)
        job.accepted_on = deed.transaction_date
        job.save(update_fields=["accepted_on"])
        move_on(job.pk, "accepted", by=None, now=now)
    tell_others(acceptance, now=now)
    start_run("receipt", f"acceptance/{acceptance.pk}", by=None, now=now)
    return signature


@transaction.atomic
def decline(link_id: int, reason: str, *, now: datetime) -> OfferEvent:
    """Decline an offer, once, with a reason or without. Raises NotOpen, or AlreadySigned: who signed cancels."""
    link = _locked_link(link_id)
    if Signature.objects.filter(link=link).exists():
        raise AlreadySigned("You have signed this proposal; within the time for it you may cancel instead.")
    _check_standing(link.offer, now, Standing.OPEN, Standing.SIGNED_IN_PART)
    event = OfferEvent.objects.create(offer=link.offer, kind=OfferEvent.Kind.DECLINED, link=link,
                                      text=clean(reason), created_at=now)
    note(link.offer, "decline", {"role": [None, link.role]}, by=None, now=now)
    tell_office(event, now=now)
    return event


@transaction.atomic
def ask(link_id: int, text: str, *, now: datetime) -> OfferEvent:
    """Put a question to the office. Raises NotOpen long after the offer's end, and TooManyQuestions."""
    link = _locked_link(link_id)
    if not takes_questions(link.offer, now):
        raise NotOpen("This page has been closed for a long time and takes no questions any more; please write or call "
                      "the office.")
    asked = link.events.filter(kind=OfferEvent.Kind.QUESTION, created_at__gt=now - timedelta(days=1)).count()
    if asked >= QUESTIONS_A_DAY:
        raise TooManyQuestions(f"{QUESTIONS_A_DAY} questions came from this link within a day; the office answers "
                               "these first. If it is urgent, please call.")
    event = OfferEvent.objects.create(offer=link.offer, kind=OfferEvent.Kind.QUESTION, link=link, text=clean(text),
                                      created_at=now)
    note(link.offer, "question", {"role": [None, link.role]}, by=None, now=now)
    tell_office(event, now=now)
    return event


@transaction.atomic
def cancel_sale(link_id: int, *, now: datetime) -> OfferEvent:
    """Cancel within the time for it what was signed; one owner cancels for both. Raises NotOpen."""
    link = _locked_link(link_id)
    offer = link.offer
    _check_standing(offer, now, Standing.ACCEPTED, Standing.SIGNED_IN_PART)
    if not may_cancel(offer.acceptance, now):
        raise NotOpen(f"The last day to cancel here was {as_written(last_signed(offer.acceptance)[1])}. Please call "
                      "the office.")
    if not Signature.objects.filter(link=link).exists():
        raise NotOpen("You have not signed this proposal; you may decline it instead.")
    event = OfferEvent.objects.create(offer=offer, kind=OfferEvent.Kind.CANCELLED, link=link, created_at=now)
    note(offer, "cancel", {"role": [None, link.role]}, by=None, now=now)
    tell_office(event, now=now)
    tell_owners(event, now=now)
    return event


@transaction.atomic
def note_cancellation(offer_id: int, words: str, *, posted_on: date, by: User, now: datetime) -> OfferEvent:
    """Note a cancellation that came by letter, mail or hand; it counts by the day on which it was sent.

    Raises NotOpen where there is nothing to cancel, or where it was sent after the last day.
    """
    offer = locked_offer(offer_id)
    _check_standing(offer, now, Standing.ACCEPTED, Standing.SIGNED_IN_PART)
    last = last_signed(offer.acceptance)[1]
    if posted_on > min(last, local_day(the_office(), now)):
        raise NotOpen(f"A cancellation sent on {posted_on} was read; expected a day up to {last}, the last day to "
                      "cancel, and no later than today. What to do with a later one, counsel says.")
    event = OfferEvent.objects.create(offer=offer, kind=OfferEvent.Kind.CANCELLED, text=clean(words), created_at=now,
                                      created_by=by)
    note(offer, "cancel", {"posted_on": [None, posted_on.isoformat()]}, by=by, now=now)
    tell_owners(event, now=now)
    return event


@transaction.atomic
def countersign(offer_id: int, name: str, *, by: User, now: datetime) -> Signature:
    """Sign for the office under what every owner has signed. Raises NotOpen, AlreadySigned or NotAName."""
    offer = locked_offer(offer_id)
    _check_standing(offer, now, Standing.ACCEPTED)
    acceptance = offer.acceptance
    if acceptance.signatures.filter(role=Signature.Role.OFFICE).exists():
        raise AlreadySigned(f"The {offer} is countersigned already.")
    day = local_day(the_office(), now)
    theirs = acceptance.signatures.order_by("pk").values_list("role", "signed_sha256")
    text = canonical({"revision": acceptance.revision_sha256, "option": acceptance.option,
                      "price": str(acceptance.price), "under": dict(theirs), "date": day.isoformat()})
    signature = Signature.objects.create(
        acceptance=acceptance, role=Signature.Role.OFFICE, name=_checked_name(name), transaction_date=day,
        signed_sha256=hashlib.sha256(text.encode()).hexdigest(), created_at=now, created_by=by,
    )
    note(offer, "countersign", {"signed_sha256": [None, signature.signed_sha256]}, by=by, now=now)
    start_run("receipt", f"acceptance/{acceptance.pk}", by=by, now=now)
    return signature


def check_may_sign(link: OfferLink, *, now: datetime) -> None:
    """Whether the person of a link may sign at a moment; asked again under the lock. Raises as `accept`."""
    job = link.offer.revision.quote.job
    signed = Signature.objects.filter(link=link).first()
    if signed is not None:
        raise AlreadySigned(f"You signed this proposal on {as_written(signed.transaction_date)}; it is not signed "
                            "twice.")
    _check_standing(link.offer, now, Standing.OPEN, Standing.SIGNED_IN_PART)
    if link.role == OfferLink.Role.CO_OWNER and not Acceptance.objects.filter(offer=link.offer).exists():
        raise NotYetTheirs("The first owner chooses and signs first; then you sign under the same choice here.")
    sale = sales_of([job.pk]).get(job.pk)
    if sale is not None and not sale.cancelled:
        raise NotOpen(f"A proposal for this deck was accepted on {as_written(sale.accepted_on)} already; a second one "
                      "is not accepted beside it. A change to it is agreed in writing with the office.")


def note_opening(link: OfferLink, *, now: datetime) -> None:
    """Note that a person opened the page, at most once an hour; a scanner of mail may be that person."""
    recent = OfferEvent.objects.filter(link=link, kind=OfferEvent.Kind.OPENED, created_at__gt=now - OPENED_AGAIN_AFTER)
    if recent.exists():
        return
    with transaction.atomic():
        locked_offer(link.offer_id)
        if not recent.exists():
            OfferEvent.objects.create(offer=link.offer, kind=OfferEvent.Kind.OPENED, link=link, created_at=now)


def may_cancel(acceptance: Acceptance, now: datetime) -> bool:
    """Whether the last day to cancel, the latest of those of all who signed, has not passed in the office's zone."""
    return now < end_of_day(last_signed(acceptance)[1], the_office().time_zone)


def takes_questions(offer: Offer, now: datetime) -> bool:
    """Whether the page of an offer still takes questions."""
    return now < offer.expires_at + QUESTIONS_FOR


def clean(text: str) -> str:
    """What somebody typed, less what no keyboard types (control and half characters), its ends trimmed."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    kept = (c if c in "\n\t" or c in JOINERS or c.isprintable() else " " * c.isspace() for c in lines)
    return "".join(kept).strip()


def forget_people(sender: Any, jobs: Collection[int], **_: Any) -> None:
    """Blank names, addresses and words in the offers of an erased customer's jobs; hashes and dates stay.

    Receives `customers.customer_erased`. With its name a link is gone too: its page is as one that nobody was given.
    """
    now = Customer.objects.filter(jobs__in=jobs).aggregate(at=Max("erased_at"))["at"]
    for rows in (OfferLink.objects.filter(offer__revision__quote__job__in=jobs),
                 OfferEvent.objects.filter(offer__revision__quote__job__in=jobs),
                 Signature.objects.filter(acceptance__offer__revision__quote__job__in=jobs)):
        for row in rows.filter(erased_at=None):
            row.erase(now)


def _checked_name(text: str) -> str:
    """A typed name with single blanks. Raises NotAName."""
    name = " ".join(text.split())
    odd = clean(name) != name or any(c in "<>{}[]\\" for c in name)
    if odd or not any(c.isalpha() for c in name) or len(name) > LONGEST_NAME:
        raise NotAName("Type your full name as your signature: letters and what goes with them in a name, at most "
                       f"{LONGEST_NAME} characters.")
    return name


def _locked_link(link_id: int) -> OfferLink:
    """The link with its offer, nobody else adding to the offer until the transaction ends."""
    link = OfferLink.objects.get(pk=link_id)
    link.offer = locked_offer(link.offer_id)
    return link


def _check_standing(offer: Offer, now: datetime, *expected: Standing) -> None:
    found = standing(offer, now)
    if found not in expected:
        raise NotOpen(SENTENCES[found].format(until=as_written(offer.revision.valid_until)))


# What each standing says to whoever comes with something that it does not allow.
SENTENCES = {
    Standing.OPEN: "This proposal is not signed yet.",
    Standing.SIGNED_IN_PART: "This proposal is signed by one owner; the other has still to sign.",
    Standing.ACCEPTED: "This proposal is accepted and signed; nothing is accepted twice.",
    Standing.CANCELLED: "The sale was cancelled within the time for it; this proposal cannot be accepted any more.",
    Standing.DECLINED: "This proposal was declined; it cannot be accepted any more.",
    Standing.WITHDRAWN: "The office has withdrawn this proposal; it cannot be accepted any more.",
    Standing.SUPERSEDED: "A newer proposal has taken the place of this one, which cannot be accepted any more. The "
                         "newer one came to you by mail with a link of its own; ask the office if it did not.",
    Standing.EXPIRED: "This proposal was valid until the end of {until} and cannot be accepted any more.",
}


def _text(day: date | None) -> str | None:
    return day and day.isoformat()
