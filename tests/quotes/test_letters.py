"""Letters as messages: read back by the standard library, nothing smuggled into a header, tokens put in on the way."""

import random
from datetime import UTC, datetime
from email import message_from_bytes, policy

import pytest

from quotes.mail import letters
from quotes.mail.letters import AddressRefused, Attachment, Letter, Person

NOW = datetime(2026, 3, 16, 14, 0, tzinfo=UTC)
OFFICE = Person("Harrow & Finch Terrace Carpentry (fictional)", "office@example.com")
PDF = bytes(range(256)) * 30


def letter(**more) -> Letter:
    told = {"sender": OFFICE, "recipient": Person("Odette Marlowe", "odette@example.com"), "subject": "Your proposal",
            "text": "Good day.\n\n.\nA dot alone, and from\nFrom the start: ä.\n", "html": "<p>Good day: ä.</p>\n"}
    return Letter(**{**told, **more})


def written(**more) -> bytes:
    return letters.written(letter(**more), message_id="<one@example.com>", at=NOW)


def read(raw: bytes):
    return message_from_bytes(raw, policy=policy.default)


def said(raw: bytes, kind: str = "plain") -> str:
    """The text as it was written; a message has CRLF at the ends of its lines."""
    return read(raw).get_body((kind,)).get_content().replace("\r\n", "\n")


def test_a_letter_reads_back_as_it_was_written():
    paper = Attachment("Q00001-1-proposal.pdf", "application/pdf", PDF)
    raw = written(attachment=paper, reply_to=OFFICE, automatic=True)
    message = read(raw)
    assert message.defects == [] and not any(part.defects for part in message.walk())
    assert str(message["From"]) == '"Harrow & Finch Terrace Carpentry (fictional)" <office@example.com>'
    assert (message["To"], message["Subject"]) == ("Odette Marlowe <odette@example.com>", "Your proposal")
    assert message["Reply-To"].addresses[0].addr_spec == "office@example.com"
    assert (message["Message-ID"], message["Auto-Submitted"]) == ("<one@example.com>", "auto-generated")
    assert message["Date"].datetime == NOW
    assert (said(raw), said(raw, "html")) == (letter().text, letter().html)
    [paper] = message.iter_attachments()
    assert (paper.get_content(), paper.get_content_type()) == (PDF, "application/pdf")
    assert paper.get_filename() == "Q00001-1-proposal.pdf"


def test_every_line_is_ascii_ends_in_crlf_and_is_no_longer_than_servers_take():
    raw = written(text="x" * 5000 + " ü\n", subject="Ä" * 400, attachment=Attachment("p.pdf", "application/pdf", PDF))
    assert raw.isascii() and b"\n" not in raw.replace(b"\r\n", b"") and b"\r" not in raw.replace(b"\r\n", b"")
    assert max(map(len, raw.split(b"\r\n"))) <= 998  # RFC 5322, 2.1.1


@pytest.mark.parametrize("text", [
    "Odette\r\nBcc: all@example.com", "Odette\nBcc: all@example.com", "Odette\r\n\r\nBody", "Odette\x00\x0bBcc: x",
    "Odette\u2028Bcc: x", "=?utf-8?q?Odette=0ABcc:_x?=",
])
def test_no_header_is_smuggled_in_by_a_name_a_subject_or_a_file_name(text):
    raw = written(recipient=Person(text, "odette@example.com"), sender=Person(text, "office@example.com"), subject=text,
                  attachment=Attachment(text, "application/pdf", PDF))
    message = read(raw)
    assert message["Bcc"] is None and message["To"].addresses[0].addr_spec == "odette@example.com"
    assert len(message["To"].addresses) == len(message["From"].addresses) == 1
    assert said(raw) == letter().text


@pytest.mark.parametrize("name", [
    "Zoë Müller-Łęcka", "王小明", 'Ann "Nan" O\'Neil, Jr.', "Ann <ann@example.org>", "a, b; c", "\\", '"', "",
    "()" * 30, "Doğan Çelik <x@y.example>, Çelik", "é" * 200,
])
def test_a_name_in_any_writing_reads_back_and_the_address_is_the_one(name):
    message = read(written(recipient=Person(name, "odette@example.com")))
    [address] = message["To"].addresses
    assert address.addr_spec == "odette@example.com"
    # Blanks between encoded words do not count (RFC 2047, 6.2), but the library's reader keeps them in long names.
    assert address.display_name.replace(" ", "") in (letters.one_line(name, letters.LONGEST_NAME).replace(" ", ""), "")


def test_random_names_never_change_who_is_written_to():
    rng = random.Random(7)
    signs = "aé王 \t\r\n\",;:<>@()[]\\=?_.-🙂\u202e'%"
    kept = 0
    for _ in range(400):
        name = "".join(rng.choice(signs) for _ in range(rng.randrange(40)))
        message = read(written(recipient=Person(name, "odette@example.com")))
        assert [address.addr_spec for address in message["To"].addresses] == ["odette@example.com"], name
        kept += message["To"].addresses[0].display_name == letters.one_line(name, letters.LONGEST_NAME)
    assert kept > 200


def test_an_international_domain_is_written_by_its_ascii_name():
    # The standard's own example of the encoding: RFC 3490 names, Punycode of "bücher" is "bcher-kva" (RFC 3492).
    assert letters.envelope("info@bücher.example") == "info@xn--bcher-kva.example"
    assert read(written(recipient=Person("", "info@bücher.example")))["To"] == "info@xn--bcher-kva.example"


@pytest.mark.parametrize(("email", "words"), [
    ("", "no address"), ("odette", "expected name@example.com"), ("odette@", "expected name@example.com"),
    ("odette@example.com\nBcc: x@example.com", "expected name@example.com"), ("zoë@example.com", "without accents"),
    ("a@b.example, c@d.example", "expected name@example.com"), ("a@faß.example", "xn--"),
])
def test_an_address_that_cannot_be_written_to_is_refused_with_what_was_expected(email, words):
    with pytest.raises(AddressRefused, match=words):
        written(recipient=Person("Odette", email))


def test_an_answer_address_that_is_none_is_left_off():
    assert read(written(reply_to=Person("Odette", "")))["Reply-To"] is None


@pytest.mark.parametrize("before", range(0, 90, 7))
def test_a_completed_message_is_the_same_as_one_written_with_the_token(before):
    token = "Ab_-" * 10 + "xyz"
    address = "x" * before + "https://quotes.example.com/proposal/"

    def with_link(it: str) -> bytes:
        return written(text=f"ä {address}{it} end\n", html=f'<p><a href="{address}{it}">ä</a> {address}{it}</p>\n',
                       attachment=Attachment("p.pdf", "application/pdf", PDF))

    kept, whole = with_link(letters.PLACE), with_link(token)
    boundary = read(kept).get_boundary(), [part.get_boundary() for part in read(kept).walk()][1]
    for mine, theirs in zip(boundary, (read(whole).get_boundary(), [p.get_boundary() for p in read(whole).walk()][1]),
                            strict=True):
        whole = whole.replace(theirs.encode(), mine.encode())
    assert token not in said(kept)
    assert letters.completed(kept, token) == whole
    assert letters.completed(kept, token).count(b"this-link") == 0


def test_nothing_but_a_token_takes_its_place():
    for token in ("short", "a" * 42 + "\n", "a" * 44, "=" * 43):
        with pytest.raises(ValueError):
            letters.completed(written(), token)


def test_a_message_to_another_address_is_the_same_letter_as_a_new_message():
    raw = written(attachment=Attachment("p.pdf", "application/pdf", PDF), reply_to=OFFICE)
    again = letters.readdressed(raw, sender=OFFICE, to="odette@example.org", message_id="<two@example.com>", at=NOW)
    before, after = read(raw), read(again)
    assert str(after["To"]) == "Odette Marlowe <odette@example.org>" and after["Message-ID"] == "<two@example.com>"
    assert after["Reply-To"] == before["Reply-To"] and after["Subject"] == before["Subject"]
    assert raw.partition(b"\r\n\r\n")[2] == again.partition(b"\r\n\r\n")[2]
    assert letters.ends_of(again) == ("office@example.com", "odette@example.org")


@pytest.mark.parametrize(("site", "email", "domain"), [
    ("https://quotes.example.com", "office@example.org", "quotes.example.com"),
    ("http://127.0.0.1:8000", "office@example.org", "example.org"),
    ("http://[::1]:8000", "office@example.org", "example.org"),
    ("http://localhost:8000", "", "localhost"), ("", "office@bücher.example", "xn--bcher-kva.example"),
    ("https://bücher.example", "", "xn--bcher-kva.example"),
])
def test_identifiers_carry_the_sites_domain_or_that_of_the_offices_mail(site, email, domain):
    assert letters.domain_of(site, email) == domain
    one, other = (letters.new_message_id(domain) for _ in range(2))
    assert one != other and one.endswith(f"@{domain}>")
