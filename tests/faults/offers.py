"""Offers to send, a client that sends them as a good one does, and what must be true of all of them afterwards."""

from __future__ import annotations

import hashlib
import json
import threading
import time
import urllib.error
import urllib.request
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from email import message_from_bytes, policy
from http.client import HTTPException
from typing import Any

from django.db import transaction
from django.utils import timezone

from estimating.models import Customer, Job, Run, User
from estimating.office import describe_office, local_day, the_office
from estimating.records import create_record
from estimating.service.tokens import make_token
from framing import records
from framing.models import Framing
from framing.records import canonical
from quotes.demonstration import DATA, told
from quotes.models import Offer, OutboxMail, Quote, RenderedFile, Revision
from quotes.offers import address_with, token_of
from quotes.paper.files import read_paper
from quotes.snapshots import is_intact, snapshot_sha256
from tests.faults.machines import Office

AGREED = "remote"
WINDOW = 4.0  # s after a mail server wrote a message down, in which its 250 and the commit come on a busy machine


@dataclass
class Prepared:
    """Revisions that can be offered: (quote, number, tag), and a token to offer them by."""

    revisions: list[tuple[int, int, str]]
    token: str
    hashes: dict[int, str]


def prepare(count: int) -> Prepared:
    """An office with so many jobs, each of an owner of its own, with a quote issued on light paper."""
    words, now = told(), timezone.now()
    describe_office({name: Decimal(value) if name.endswith("_rate") else value
                     for name, value in words["office"].items()}, by=None, now=now)
    owner = User.objects.create_user("owner", role="owner")
    first = create_record(Customer, {**words["customer"], "name": "Nobody"}, by=None, now=now)
    job = create_record(Job, {**words["job"], "customer": first}, by=None, now=now)
    survey = records.keep_survey(job.pk, json.loads((DATA / "survey.json").read_text()), by=None, now=now)
    build = records.keep_build(survey, json.loads((DATA / "build.json").read_text()), by=None, now=now)
    framing = Framing.objects.create(build=build, text="{}", stops=0, created_at=now)
    with transaction.atomic():
        made = [_revision(number, framing, now) for number in range(1, count + 1)]
    return Prepared([(row.quote_id, row.number, f'"revision-{row.pk}-{row.version}"') for row in made],
                    make_token(owner, "sender", now=now)[0], {row.pk: row.sha256 for row in made})


def _revision(number: int, framing: Framing, now: Any) -> Revision:
    customer = create_record(Customer, {"name": f"Owner {number}", "email": f"owner{number}@example.com"}, by=None,
                             now=now)
    job = create_record(Job, {
        "customer": customer, "name": f"Terrace {number}", "site_address": f"{number} Fictional Quay",
        "roof_owner": Job.RoofOwner.CUSTOMER, "status": Job.Status.QUOTED,
    }, by=None, now=now)
    today = local_day(the_office(), now)
    quote = Quote.objects.create(job=job, framing=framing, priced_on=today, estimate={"findings": []},
                                 price=Decimal(1000 + number), created_at=now)
    until = today + timedelta(days=30)
    snapshot = canonical({"format": "quote-snapshot/1", "quote": {"number": quote.number, "revision": 1,
                                                                  "valid_until": str(until)},
                          "estimate": {"lines": [], "currency": "USD"}, "framing": {"checks": []}, "notes": [],
                          "notices": []})
    page = f'<html lang="en"><head><title>Paper</title></head><body><h1>{{}} of {quote.number}</h1></body></html>'
    kept = {"plan_svg": "", "section_svg": "", "proposal_html": page.format("Proposal"),
            "cut_sheets_html": page.format("Cut sheets"), "more_html": {"care-sheet": page.format("Care")}}
    return Revision.objects.create(quote=quote, number=1, snapshot=snapshot, price=quote.price, valid_until=until,
                                   sha256=snapshot_sha256(snapshot, **kept), issued_at=now, **kept)


class Sender(threading.Thread):
    """Sends every offer once, and asks again with the same Idempotency-Key until there is an answer.

    `may_go` paces it.
    """

    def __init__(self, url: str, prepared: Prepared, may_go: Callable[[int], None] = lambda nth: None) -> None:
        super().__init__(daemon=True)
        self.url, self.prepared, self.may_go = url, prepared, may_go
        self.offers: list[int] = []
        self.tries = 0
        self.wrong: list[str] = []

    def run(self) -> None:
        for nth, revision in enumerate(self.prepared.revisions):
            self.may_go(nth)
            self._send(*revision)

    def _send(self, quote: int, number: int, tag: str) -> None:
        request = urllib.request.Request(
            f"{self.url}/api/v1/quotes/{quote}/revisions/{number}/offer", method="POST",
            data=json.dumps({"agreed_where": AGREED}).encode(),
            headers={"Authorization": f"Bearer {self.prepared.token}", "Content-Type": "application/json",
                     "Idempotency-Key": f"offer-{quote}", "If-Match": tag})
        deadline = time.monotonic() + 120
        while time.monotonic() < deadline:
            self.tries += 1
            try:
                with urllib.request.urlopen(request, timeout=20) as answer:
                    self.offers.append(json.load(answer)["id"])
                    return
            except urllib.error.HTTPError as refused:
                if refused.code < 500:
                    self.wrong.append(f"{quote}: {refused.code} {refused.read()[:500]!r}")
                    return
            except (OSError, HTTPException, json.JSONDecodeError):  # away, or cut off in the middle of the answer
                pass
            time.sleep(0.2)
        self.wrong.append(f"{quote}: no answer")


@dataclass
class Found:
    """What came of it. `faults` is empty where every bar is met."""

    offers: int
    mails: int
    taken: int
    doubled: int
    tried_again: int  # requests
    runs_again: int  # claimed more than once
    mails_again: int
    faults: list[str] = field(default_factory=list)


def all_sent(count: int) -> bool:
    return OutboxMail.objects.filter(kind="proposal", state=OutboxMail.State.SENT).count() >= count


def look(office: Office, prepared: Prepared, sender: Sender) -> Found:
    """Every proposal arrived, none lost; doubled only from the window, with one Message-ID; no revision altered."""
    faults = list(sender.wrong)
    mails = {mail.message_id: mail for mail in OutboxMail.objects.select_related("link", "offer__revision")}
    arrived: dict[str, list[tuple[float, str, bytes]]] = {}
    for path in sorted(office.taken.glob("[0-9]*")):
        envelope, _, content = path.read_bytes().partition(b"\n")
        message_id = message_from_bytes(content, policy=policy.default)["Message-ID"]
        arrived.setdefault(message_id, []).append((float(path.name.partition("-")[0]), envelope.decode(), content))
    _expect(faults, len(sender.offers) == len(set(sender.offers)) == Offer.objects.count() == len(prepared.revisions),
            f"{len(sender.offers)} answers, {Offer.objects.count()} offers of {len(prepared.revisions)}")
    _expect(faults, len(mails) == len(prepared.revisions), f"{len(mails)} mails for {len(prepared.revisions)} offers")
    for message_id in arrived.keys() - mails.keys():
        faults.append(f"{message_id} arrived and nobody wrote it")
    for message_id, mail in mails.items():
        copies = arrived.get(message_id, [])
        _expect(faults, bool(copies), f"mail {mail.pk} is {mail.state} ({mail.words}) and did not arrive")
        _expect(faults, mail.state == "sent", f"mail {mail.pk} is {mail.state}: {mail.words}")
        _expect(faults, len(set(content for _, _, content in copies)) <= 1, f"mail {mail.pk} came in two shapes")
        for (before, _, _), (after, _, _) in zip(copies, copies[1:], strict=False):
            _expect(faults, _explained(office, before, after), f"mail {mail.pk} came twice without a kill between")
        if copies:
            faults += _as_it_should(mail, *copies[0][1:])
    _expect(faults, {row.pk: row.sha256 for row in Revision.objects.all()} == prepared.hashes
            and all(map(is_intact, Revision.objects.all())), "a revision was altered")
    extra = sum(len(copies) - 1 for copies in arrived.values())
    return Found(Offer.objects.count(), len(mails), sum(map(len, arrived.values())), extra,
                 sender.tries - len(sender.offers), Run.objects.filter(attempts__gt=1).count(),
                 OutboxMail.objects.filter(attempts__gt=1).count(), faults)


def _as_it_should(mail: OutboxMail, envelope: str, content: bytes) -> Iterable[str]:
    """Whether what arrived was to be sent: to the owner, with the link that opens the offer, the paper as stored."""
    message = message_from_bytes(content, policy=policy.default)
    [paper] = [part.get_content() for part in message.iter_attachments()]
    link, revision = mail.link, mail.offer.revision
    files = RenderedFile.objects.filter(revision=revision, kind="proposal")
    checks = {
        "to its owner": envelope == f"office@example.com {link.email}" and message["To"].addresses[0].addr_spec
        == link.email,
        "with its link": address_with(token_of(link)) in message.get_body(("plain",)).get_content(),
        "with the paper as stored": [hashlib.sha256(paper).hexdigest()] == [file.sha256 for file in files]
        and read_paper(files[0]) == paper,
    }
    return [f"mail {mail.pk} did not go {what}" for what, is_so in checks.items() if not is_so]


def _explained(office: Office, before: float, after: float) -> bool:
    """Whether somebody who had to do with it was killed between the server's writing it down and the commit.

    While the database is away the commit waits, and so the window is as much longer.
    """
    end = before + WINDOW
    for fell, back in office["postgresql"].down:
        if fell < end and back > before:
            end = max(end, back + WINDOW)
    concerned = ["mail server", "postgresql", *(worker.name for worker in office.workers)]
    return any(before - 0.1 <= kill <= min(end, after) for name in concerned for kill in office[name].kills)


def _expect(faults: list[str], is_so: bool, words: str) -> None:
    if not is_so:
        faults.append(words)


def kills_by_kind(office: Office) -> Counter[str]:
    return Counter({machine.name: len(machine.kills) for machine in office.machines})
