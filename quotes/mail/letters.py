"""A letter as a mail message, byte for byte: RFC 5322 with text, HTML and one paper; no header can be smuggled in.

The token of a homeowner's link is in no message that is kept: a place holder of the same length stands for it, and
`completed` puts the token there while the message is on its way.
"""

from __future__ import annotations

import hashlib
import re
import secrets
import unicodedata
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from email import message_from_bytes, policy
from email.headerregistry import Address
from email.message import EmailMessage
from email.parser import BytesHeaderParser
from ipaddress import ip_address
from urllib.parse import urlsplit

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

LONGEST_NAME, LONGEST_SUBJECT = 100, 180  # characters
TOKEN_LENGTH = 43  # of 256 bits in base 64
PLACE = "the-token-of-this-link-goes-here".center(TOKEN_LENGTH, "_")
# A line of the message may end, by "=" and a line break, between any two signs of the token.
_PLACE = re.compile(rb"(?:=\r\n)?".join(re.escape(sign.encode()) for sign in PLACE))
# Letters that two editions of the rules for international domain names read differently: UTS 46, section 2.3.
AMBIGUOUS = frozenset("\u00df\u03c2\u200c\u200d")


class AddressRefused(ValueError):
    """Nobody can be written to at this address; the sentence says why."""


@dataclass(frozen=True)
class Person:
    """Who writes or is written to."""

    name: str
    email: str


@dataclass(frozen=True)
class Attachment:
    """A paper that goes along."""

    name: str
    media_type: str
    content: bytes


@dataclass(frozen=True)
class Letter:
    """What is written to whom. `automatic`: no person pressed a button for it (RFC 3834)."""

    sender: Person
    recipient: Person
    subject: str
    text: str
    html: str
    reply_to: Person | None = None
    attachment: Attachment | None = None
    automatic: bool = False


def one_line(text: str, longest: int) -> str:
    """Text as it may stand in a header: no control signs, no line breaks, nothing encoded (RFC 2047), not over long."""
    clean = "".join(" " if unicodedata.category(sign)[0] in "CZ" else sign for sign in text)
    line = " ".join(clean.replace("=?", "= ?").split())
    return line if len(line) <= longest else line[: longest - 1].rstrip() + "…"


def envelope(email: str) -> str:
    """An address as mail servers take it, an international domain by its ASCII name. Raises AddressRefused."""
    text = email.strip()
    if not text:
        raise AddressRefused("There is no address.")
    try:
        validate_email(text)
    except ValidationError:
        raise AddressRefused(f"{one_line(text, 80)!r} is no address; expected name@example.com, "
                             "the name in letters without accents.") from None
    name, _, domain = text.rpartition("@")
    if found := AMBIGUOUS & set(domain):
        raise AddressRefused(f"The domain of {text} has {', '.join(map(repr, sorted(found)))}, which mail servers read "
                             "in two ways; expected the domain in its ASCII form, beginning with xn--.")
    try:
        return f"{name}@{domain.encode('idna').decode()}"
    except UnicodeError:
        raise AddressRefused(f"The domain of {text} has no ASCII form.") from None


def new_message_id(domain: str) -> str:
    """An identifier that no other message ever has."""
    return f"<{secrets.token_hex(16)}@{domain}>"


def domain_of(site_url: str, email: str) -> str:
    """The domain that makes this installation's identifiers its own: the site's, or else that of the office's mail."""
    host = urlsplit(site_url).hostname or ""
    if "." in host and not _is_number(host):
        return host.encode("idna").decode()
    try:
        return envelope(email).rpartition("@")[2]
    except AddressRefused:
        return "localhost"


def written(letter: Letter, *, message_id: str, at: datetime) -> bytes:
    """The message, 7-bit, lines ending in CRLF. Raises AddressRefused for sender or recipient.

    Where answers should go is left off when nobody can be written to there.
    """
    message = EmailMessage(policy=policy.SMTP)
    _put_person(message, "From", letter.sender)
    _put_person(message, "To", letter.recipient)
    if letter.reply_to is not None:
        with suppress(AddressRefused):
            _put_person(message, "Reply-To", letter.reply_to)
    message["Subject"] = one_line(letter.subject, LONGEST_SUBJECT)
    message["Date"] = at
    message["Message-ID"] = message_id
    if letter.automatic:
        message["Auto-Submitted"] = "auto-generated"
    message.set_content(letter.text, cte="quoted-printable")
    message.add_alternative(letter.html, subtype="html", cte="quoted-printable")
    if (paper := letter.attachment) is not None:
        main, _, sub = paper.media_type.partition("/")
        name = one_line(paper.name, LONGEST_NAME)
        message.add_attachment(paper.content, maintype=main, subtype=sub, filename=name)
    for nth, part in enumerate(message.walk()):
        if part.is_multipart():  # the library would draw it by lot
            part.set_boundary(f"=_{nth}_{hashlib.sha256(message_id.encode()).hexdigest()[:32]}")
    return message.as_bytes()


def readdressed(kept: bytes, *, sender: Person, to: str, message_id: str, at: datetime) -> bytes:
    """A message as it was, to the same person at this address, as a new one of this moment. Raises AddressRefused."""
    message = message_from_bytes(kept, policy=policy.SMTP)
    recipient = Person(message["To"].addresses[0].display_name, to)
    del message["From"], message["To"], message["Date"], message["Message-ID"]
    _put_person(message, "From", sender)
    _put_person(message, "To", recipient)
    message["Date"] = at
    message["Message-ID"] = message_id
    return message.as_bytes()


def completed(kept: bytes, token: str) -> bytes:
    """A message with the token where its place holder stands; the same bytes as if it had been written with it."""
    if len(token) != TOKEN_LENGTH or not re.fullmatch(r"[A-Za-z0-9_-]+", token):
        raise ValueError(f"a token has {TOKEN_LENGTH} letters and digits")
    signs = token.encode()

    def laid_out(match: re.Match[bytes]) -> bytes:
        token_signs: Iterator[int] = iter(signs)
        return b"".join(piece if piece.startswith(b"=") else bytes([next(token_signs)])
                        for piece in re.findall(rb"=\r\n|.", match[0]))

    return _PLACE.sub(laid_out, kept)


def ends_of(message: bytes) -> tuple[str, str]:
    """The addresses that a message goes from and to, as mail servers take them."""
    head = BytesHeaderParser(policy=policy.default).parsebytes(message)
    return head["From"].addresses[0].addr_spec, head["To"].addresses[0].addr_spec


def _put_person(message: EmailMessage, header: str, person: Person) -> None:
    """A header with one address; a name that would not read back as it is written is left off."""
    name, _, domain = envelope(person.email).rpartition("@")
    message[header] = Address(display_name=one_line(person.name, LONGEST_NAME), username=name, domain=domain)
    read = message_from_bytes(message.as_bytes(), policy=policy.default)[header].addresses
    if [(address.username, address.domain) for address in read] != [(name, domain)]:
        del message[header]
        message[header] = Address(username=name, domain=domain)


def _is_number(host: str) -> bool:
    try:
        return bool(ip_address(host))
    except ValueError:
        return False
