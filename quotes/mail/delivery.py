"""Delivery: a mail that is due is claimed, handed to the mail server outside any transaction, and its row told.

A mail is never given up because a worker was cut off: its claim runs out, and another takes it up with the same
message. It may arrive twice only where a worker or the database was cut off between the server's 250 and the commit.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from datetime import datetime, timedelta

from django.conf import settings
from django.db import InterfaceError, OperationalError, connection
from django.db.models import F, Q
from django.utils import timezone

from estimating.service import runs
from quotes.mail import letters, transport
from quotes.mail.outbox import why_stopped
from quotes.mail.transport import Answer, Outcome
from quotes.models import OutboxMail, Revision
from quotes.offers import link_of, token_of

logger = logging.getLogger(__name__)
State = OutboxMail.State

# How long after each attempt the next is made, in the installation's first wait (MAIL_RETRY_SECONDS, a minute), up to
# a day; given up after five days, as RFC 5321, 4.5.4.1 asks for "at least 4-5 days".
WAITS = (1, 2, 5, 15, 30, 60, 120, 240, 480, 960, 1440)
GIVE_UP_AFTER = timedelta(days=5)
GIVEN_UP = "Given up after 5 days. "
KEY_CHANGED = "SECRET_KEY is another than when the offer was made, so its link cannot be made anew: offer it again."
KEEP_TRYING = 300  # s that a database which is away is waited for to take down what the mail server said
A_TURN = 60  # s that one task goes on delivering what is due

Clock = Callable[[], datetime]


def due(now: datetime) -> Q:
    """Mails whose moment has come, and mails whose worker was cut off."""
    return Q(state=State.WAITING, due_at__lte=now) | Q(state=State.SENDING, claimed_at__lt=now - runs.LEASE)


def claim_mail(mail_id: int, *, now: datetime) -> OutboxMail | None:
    """Take a mail: one conditional UPDATE, so that of all who try only one gets it. None where another has it."""
    taken = OutboxMail.objects.filter(due(now), pk=mail_id).update(
        state=State.SENDING, claimed_at=now, attempts=F("attempts") + 1, version=F("version") + 1
    )
    rows = OutboxMail.objects.select_related("job__customer", "offer__revision", "link").defer(
        *(f"offer__revision__{name}" for name in Revision.HEAVY))
    return rows.get(pk=mail_id) if taken else None


def deliver(mail_id: int, *, clock: Clock = timezone.now) -> OutboxMail | None:
    """Claim a mail and hand it over. None where there was nothing to claim, or the claim was lost on the way."""
    mail = claim_mail(mail_id, now=clock())
    if mail is None:
        return None
    if reason := why_stopped(mail, clock()):
        _told(mail, state=State.STOPPED, words=reason)
        return mail
    message = bytes(mail.message)
    if mail.link is not None:
        token = token_of(mail.link)
        if link_of(token) != mail.link:
            _told(mail, state=State.REFUSED, words=KEY_CHANGED)
            return mail
        message = letters.completed(message, token)
    sender, recipient = letters.ends_of(message)
    try:
        with runs.beating(lambda: _hold(mail, clock), f"mail {mail_id}"):
            answer = transport.hand_over(message, name=mail.message_id, sender=sender, recipient=recipient,
                                         is_ours=lambda: _is_ours(mail, clock))
    except transport.ClaimLost:
        logger.warning("mail %s was broken off before it was handed over", mail_id)
        return None
    _keep_answer(mail, answer, clock)
    mail.refresh_from_db()
    return mail


def deliver_due(*, clock: Clock = timezone.now, seconds: float = A_TURN) -> int:
    """Deliver what is due, oldest first, for so long; how many were handed over or answered."""
    end, count = time.monotonic() + seconds, 0
    for mail_id in OutboxMail.objects.filter(due(clock())).order_by("due_at", "pk").values_list("pk", flat=True):
        if time.monotonic() > end:
            break
        count += deliver(mail_id, clock=clock) is not None
    return count


def next_try(mail: OutboxMail, now: datetime) -> datetime | None:
    """When a mail that was put off is tried again; None: not any more."""
    if now - mail.created_at >= GIVE_UP_AFTER:
        return None
    wait = WAITS[min(mail.attempts, len(WAITS)) - 1]
    return now + timedelta(seconds=wait * settings.MAIL_RETRY_SECONDS)


def _mine(mail: OutboxMail):
    return OutboxMail.objects.filter(pk=mail.pk, state=State.SENDING, attempts=mail.attempts)


def _hold(mail: OutboxMail, clock: Clock) -> bool:
    return bool(_mine(mail).update(claimed_at=clock()))


def _is_ours(mail: OutboxMail, clock: Clock) -> bool:
    """Whether the claim holds, which is prolonged; a database that does not answer says no."""
    try:
        return _hold(mail, clock)
    except (OperationalError, InterfaceError):
        connection.close()
        return False


def _keep_answer(mail: OutboxMail, answer: Answer, clock: Clock) -> None:
    """Write down what the server said, and wait for a database that is away: nobody else can claim the mail then."""
    end = time.monotonic() + KEEP_TRYING
    while True:
        try:
            _tell(mail, answer, clock())
            return
        except (OperationalError, InterfaceError):
            connection.close()
            if time.monotonic() > end:
                raise
            logger.warning("mail %s: %s; the database does not take it down yet", mail.pk, answer.outcome)
            time.sleep(0.2)


def _tell(mail: OutboxMail, answer: Answer, now: datetime) -> None:
    if answer.outcome == Outcome.TAKEN:  # true whoever has the mail by now, and then keeps that one from its dot
        OutboxMail.objects.filter(pk=mail.pk).exclude(state=State.SENT).update(
            state=State.SENT, sent_at=now, words=answer.words, version=F("version") + 1)
    elif answer.outcome == Outcome.REFUSED:
        _told(mail, state=State.REFUSED, words=answer.words)
    elif (again := next_try(mail, now)) is not None:
        _told(mail, state=State.WAITING, due_at=again, words=answer.words)
    else:
        _told(mail, state=State.REFUSED, words=GIVEN_UP + answer.words)


def _told(mail: OutboxMail, **values: object) -> None:
    _mine(mail).update(**values, version=F("version") + 1)
