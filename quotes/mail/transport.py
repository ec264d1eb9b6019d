"""Handing a message over: to a mail server, or into a folder; and what came of it in three words."""

from __future__ import annotations

import hashlib
import logging
import re
import smtplib
import ssl
from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import Any, NamedTuple

from django.conf import settings
from django.core.files.base import ContentFile

from estimating.service.storage import write_whole

logger = logging.getLogger(__name__)
PATIENCE = 60  # s for each answer of the server
LAST_PATIENCE = 300  # s for the answer to it all; RFC 5321, 4.5.3.2.6 asks for ten minutes, our tasks end sooner
WORDS = 1000  # characters of a server's answer that are kept


class Outcome(StrEnum):
    TAKEN = "taken"
    REFUSED = "refused"
    LATER = "later"


class Answer(NamedTuple):
    """`words` are the server's, with its code."""

    outcome: Outcome
    words: str


class ClaimLost(Exception):
    """Another worker has the mail, or the database cannot say that it is still ours: nothing was handed over."""


def hand_over(message: bytes, *, name: str, sender: str, recipient: str, is_ours: Callable[[], bool]) -> Answer:
    """Hand a message over, once. Raises ClaimLost.

    Everything before the lone dot that ends a message can be broken off without a trace, so `is_ours` is asked just
    before it: whoever lost the mail meanwhile sends no dot. `name` tells the message from all others.
    """
    if folder := settings.MAIL.get("folder"):
        if not is_ours():
            raise ClaimLost
        write_whole(_file(folder, name), ContentFile(message))
        return Answer(Outcome.TAKEN, f"written to {_file(folder, name).name}")
    smtp: smtplib.SMTP | None = None
    try:
        smtp = _connected(settings.MAIL)
        return _handed(smtp, message, sender, recipient, is_ours)
    except (OSError, smtplib.SMTPException, UnicodeError) as exc:
        return Answer(Outcome.LATER, _told(exc))
    finally:
        if smtp is not None:
            _leave(smtp)


def forget(name: str) -> None:
    """Remove a message from the folder, where mail goes to one."""
    if folder := settings.MAIL.get("folder"):
        _file(folder, name).unlink(missing_ok=True)


def _file(folder: Path, name: str) -> Path:
    return folder / f"{hashlib.sha256(name.encode()).hexdigest()[:32]}.eml"


def _connected(server: dict[str, Any]) -> smtplib.SMTP:
    if server["tls"] == "tls":
        smtp: smtplib.SMTP = smtplib.SMTP_SSL(server["host"], server["port"], timeout=PATIENCE,
                                              context=ssl.create_default_context())
    else:
        smtp = smtplib.SMTP(server["host"], server["port"], timeout=PATIENCE)
    try:
        if server["tls"] == "starttls":
            smtp.starttls(context=ssl.create_default_context())
        if server["user"]:
            smtp.login(server["user"], server["password"])
        smtp.ehlo_or_helo_if_needed()
    except BaseException:
        _leave(smtp)
        raise
    return smtp


def _handed(smtp: smtplib.SMTP, message: bytes, sender: str, recipient: str, is_ours: Callable[[], bool]) -> Answer:
    stuffed = re.sub(rb"(?m)^\.", b"..", message)  # RFC 5321, 4.5.2
    options = [f"size={len(stuffed)}"] if smtp.has_extn("size") else []
    for asked, wanted in ((lambda: smtp.mail(sender, options), 2), (lambda: smtp.rcpt(recipient), 2),
                          (lambda: smtp.docmd("DATA"), 3)):
        code, words = asked()
        if code // 100 != wanted:
            return _answer(code, words)
    smtp.send(stuffed if stuffed.endswith(b"\r\n") else stuffed + b"\r\n")
    if not is_ours():
        smtp.close()
        raise ClaimLost
    smtp.sock.settimeout(LAST_PATIENCE)
    smtp.send(b".\r\n")
    return _answer(*smtp.getreply())


def _answer(code: int, words: bytes) -> Answer:
    """RFC 5321, 4.2.1: 250 it is done, 4 not now, 5 not at all."""
    outcome = Outcome.TAKEN if code == 250 else Outcome.REFUSED if code // 100 == 5 else Outcome.LATER
    return Answer(outcome, f"{code} {words.decode('utf-8', 'replace')}"[:WORDS])


def _told(exc: Exception) -> str:
    """What kept the message from being handed over; troubles of logging in or connecting are none of the message."""
    if isinstance(exc, smtplib.SMTPResponseException):
        words = exc.smtp_error.decode("utf-8", "replace") if isinstance(exc.smtp_error, bytes) else exc.smtp_error
        return f"{exc.smtp_code} {words}"[:WORDS]
    return (str(exc) or type(exc).__name__)[:WORDS]


def _leave(smtp: smtplib.SMTP) -> None:
    """Say goodbye without waiting for an answer: what was taken is to be written down at once."""
    try:
        if smtp.sock is not None:
            smtp.putcmd("QUIT")
    except (OSError, smtplib.SMTPException):
        pass
    finally:
        smtp.close()
