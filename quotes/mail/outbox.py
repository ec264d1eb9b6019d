"""The outbox: a mail is a row with its exact message before anything is sent, and stays as the record of it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from datetime import datetime
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction

from estimating.models import Job, User
from estimating.office import the_office
from estimating.service.broker import tell
from estimating.service.history import note
from estimating.service.problems import refusal
from quotes.mail import letters, transport
from quotes.mail.letters import AddressRefused, Letter, Person
from quotes.models import Offer, OfferLink, OutboxMail
from quotes.offers import Standing, standing

NOBODY = Person("", "nobody@address.invalid")  # in a message that was refused before it was sent; RFC 2606
State = OutboxMail.State
ON_ITS_WAY = (State.WAITING, State.SENDING)


@refusal(409)
class CannotResend(Exception):
    """The mail is not sent again; the sentence says why."""


@refusal(422)
class BadAddress(Exception):
    """A mail cannot be addressed to this."""


@refusal(409)
class NothingToSee(Exception):
    """Only a refused mail waits for a person."""


@transaction.atomic
def post(key: str, letter: Letter, *, kind: str, job: Job, offer: Offer | None = None, link: OfferLink | None = None,
         now: datetime) -> OutboxMail:
    """Write a mail; a worker is told of it once that is committed. The same key again gives the row of before.

    `link` is whose token completes the message. A mail that cannot be addressed is a refused one from the start, so
    that the office is told.
    """
    known = OutboxMail.objects.filter(key=key).first()
    if known is not None:
        return known
    message_id, words = _new_message_id(), ""
    try:
        message = letters.written(letter, message_id=message_id, at=_local(now))
    except AddressRefused as refused:
        words = str(refused)
        unaddressed = replace(letter, sender=NOBODY, recipient=replace(NOBODY, name=letter.recipient.name))
        message = letters.written(unaddressed, message_id=message_id, at=_local(now))
    mail, made = OutboxMail.objects.get_or_create(key=key, defaults={
        "kind": kind, "job": job, "offer": offer, "link": link, "recipient": letter.recipient.email[:320],
        "subject": letters.one_line(letter.subject, letters.LONGEST_SUBJECT), "message_id": message_id,
        "message": message, "state": State.REFUSED if words else State.WAITING, "words": words, "due_at": now,
        "created_at": now,
    })
    if made and mail.state == State.WAITING:
        announce(mail)
    return mail


def announce(mail: OutboxMail) -> None:
    """Tell a worker of a mail, once it is committed."""
    transaction.on_commit(partial(tell, "quotes.tasks.deliver_mail", mail.pk, queue="mail"), robust=True)


def why_stopped(mail: OutboxMail, now: datetime) -> str:
    """Why a mail that has not gone yet should not go any more; empty: nothing speaks against it."""
    if mail.job.customer.erased_at is not None:
        return "The customer's data were erased."
    if mail.kind != OutboxMail.Kind.PROPOSAL or mail.offer is None:
        return ""
    if mail.job.status == Job.Status.LOST:
        return "The job stands as lost."
    found = standing(mail.offer, now)
    return "" if found in (Standing.OPEN, Standing.SIGNED_IN_PART) else f"The offer is {found}."


@transaction.atomic
def resend_mail(mail_id: int, *, to: str | None = None, by: User | None, now: datetime) -> OutboxMail:
    """Send a mail again as a new one, to another address where one is given; the old one is dealt with.

    Raises CannotResend or BadAddress.
    """
    old = OutboxMail.objects.select_for_update(of=("self",)).select_related("job__customer", "offer").get(pk=mail_id)
    if old.state in ON_ITS_WAY:
        raise CannotResend(f"{old} is on its way still: {old.words or 'it has not been tried yet'}.")
    if reason := why_stopped(old, now):
        raise CannotResend(f"{old} is not sent again: {reason}")
    office, email = the_office(), (to or old.recipient).strip()
    message_id = _new_message_id()
    try:
        message = letters.readdressed(bytes(old.message), sender=Person(office.name, office.email),
                                      to=email, message_id=message_id, at=_local(now))
    except AddressRefused as refused:
        raise BadAddress(str(refused)) from None
    new = OutboxMail.objects.create(
        key=f"resend/{old.pk}/{old.resent_as.count() + 1}", kind=old.kind, job=old.job, offer=old.offer, link=old.link,
        recipient=email, subject=old.subject, message_id=message_id, message=message, due_at=now, resend_of=old,
        created_at=now,
    )
    old.seen_at = old.seen_at or now
    old.save(update_fields=["seen_at"])
    note(old, "resend", {"resent_as": [None, new.pk]}, by=by, now=now)
    announce(new)
    return new


@transaction.atomic
def see_mail(mail_id: int, *, by: User | None, now: datetime) -> OutboxMail:
    """A person has dealt with a refused mail: it leaves the waiting list. Raises NothingToSee."""
    mail = OutboxMail.objects.select_for_update().get(pk=mail_id)
    if mail.state != State.REFUSED:
        raise NothingToSee(f"{mail} is {mail.state}; only a refused one waits for a person.")
    if mail.seen_at is None:
        mail.seen_at = now
        mail.save(update_fields=["seen_at"])
        note(mail, "see", {}, by=by, now=now)
    return mail


def forget_mails(sender: Any, jobs: Collection[int], **_: Any) -> None:
    """Blank the mails of an erased customer's jobs. Receives `customers.customer_erased`.

    What has not gone yet does not go any more. Addresses that mail went to and the letters themselves are gone; that
    there was a mail, when, and its Message-ID stay.
    """
    mails = OutboxMail.objects.filter(job__in=jobs)
    for message_id in mails.values_list("message_id", flat=True):
        transaction.on_commit(partial(transport.forget, message_id), robust=True)
    mails.filter(state__in=ON_ITS_WAY).update(state=State.STOPPED)
    for mail in mails.select_for_update():
        mail.recipient, mail.subject, mail.words, mail.message = "", "", "", b""
        mail.save(update_fields=["recipient", "subject", "words", "message"])


def _new_message_id() -> str:
    return letters.new_message_id(letters.domain_of(settings.SITE_URL, the_office().email))


def _local(now: datetime) -> datetime:
    """The moment as the office's clock shows it."""
    return now.astimezone(ZoneInfo(the_office().time_zone))
