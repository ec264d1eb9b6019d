"""Issuing a quote: it is frozen as its next revision, with everything that it was made from, and stays as it was."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction
from django.db.models import Max

from estimating.models import Office, User
from estimating.notices import own_cancel_days
from estimating.office import local_day, the_office
from estimating.right_to_cancel import cancel_by_for, ordering_from
from estimating.service.history import note
from estimating.service.moving_on import move_on
from estimating.service.problems import refusal
from framing.papers import cut_sheets_html
from framing.records import canonical
from quotes.changes import changes
from quotes.drafts import QuoteBlocked, locked_quote, versions_of, worked_estimate, write_lines
from quotes.models import Quote, QuoteOption, Revision
from quotes.paper.files import more_html
from quotes.paper.rendering import HASH_MARK, proposal_html
from quotes.sales import Sale, last_held_day
from quotes.snapshots import Priced, snapshot, snapshot_sha256
from quotes.validity import OrderDay, Validity, valid_until


@refusal(409)
class PricesEnded(Exception):
    """A price that the quote rests on no longer holds when goods could be ordered."""


@refusal(422)
class ReasonMissing(Exception):
    """A revision after the first says why it was made."""


@transaction.atomic
def issue_revision(quote_id: int, *, why: str = "", by: User | None, now: datetime) -> Revision:
    """Freeze a quote as its next revision: snapshot, lines, drawings and the papers' HTML, all or nothing.

    Its options are priced with it. From the second revision on `why` says why there is another one, and the snapshot
    tells what changed. Raises QuoteBlocked where the quote or an option has no price, PricesEnded where one of the
    prices ends before goods could be ordered for it, ReasonMissing where `why` is empty.
    """
    office = the_office()
    quote = locked_quote(quote_id)
    base = _priced(quote, office)
    options = [_priced(locked_quote(option.option_id), office, option) for option in quote.options.all()]
    before = quote.revisions.order_by("number").last()
    if before is not None and not why.strip():
        raise ReasonMissing(f"{before} was issued before; say why there is another one.")
    today = local_day(office, now)
    validity = _validity([base, *options], office, today)
    number = (quote.revisions.aggregate(most=Max("number"))["most"] or 0) + 1
    document = snapshot(base, options, number, office, today, validity)
    document["changes"] = None if before is None else {
        "since": before.number, "why": why.strip(),
        "items": [change.as_json() for change in changes(before.document, document)],
    }
    framing = quote.framing
    papers = {
        "plan_svg": framing.plan_svg,
        "section_svg": framing.section_svg,
        "proposal_html": proposal_html(document, framing.plan_svg, framing.section_svg),
        "cut_sheets_html": cut_sheets_html(
            document["framing"], document["survey"], document["build"],
            paper=f"Cut sheets {quote.number}, revision {number}", mark=HASH_MARK, plan_svg=framing.plan_svg,
            paper_size=office.paper_size,
        ),
        "more_html": more_html(document, framing.plan_svg, framing.section_svg),
    }
    text = canonical(document)
    revision = Revision.objects.create(
        quote=quote, number=number, snapshot=text, sha256=snapshot_sha256(text, **papers), price=base.price,
        valid_until=validity.until, issued_at=now, issued_by=by, **papers,
    )
    write_lines(quote, base.worked, revision)
    move_on(quote.job_id, "quoted", by=by, now=now)
    told = {"price": [None, str(base.price)], "sha256": [None, revision.sha256]}
    note(revision, "issue", told | ({"why": [None, why.strip()]} if before else {}), by=by, now=now)
    return revision


def _priced(quote: Quote, office: Office, option: QuoteOption | None = None) -> Priced:
    worked = worked_estimate(quote, quote.framing, versions_of(quote), office)
    if worked.is_blocked or worked.price is None:
        raise QuoteBlocked(quote.number, worked.findings)
    return Priced(quote, worked, option)


def _validity(priced: Sequence[Priced], office: Office, today: date) -> Validity:
    ends = {one.quote.number: one.worked.prices_valid_to for one in priced if one.worked.prices_valid_to}
    number, end = min(ends.items(), key=lambda item: item[1], default=("", None))
    order_day = order_day_of(office, priced[0].quote.job.jurisdiction)
    found = valid_until(today, office.quote_valid_days, end, order_day)
    if found is None:
        raise PricesEnded(f"{number} rests on prices that end on {end}; accepted today, {today}, its goods are ordered "
                          f"on {order_day(today)}. Price it anew with a list that holds then.")
    return found


def order_day_of(office: Office, jurisdiction: str) -> OrderDay:
    """When goods are ordered for an acceptance of a day, as orders are held for sales; what is not asked yet counts as
    the longer time to cancel."""
    own_days = own_cancel_days()

    def order_day(accepted: date) -> date:
        last = cancel_by_for(jurisdiction, accepted, over_65=None, disaster=None,
                             at_least=own_days(jurisdiction, accepted)).day
        return ordering_from(last_held_day(Sale(accepted, last), office.ordering_held_days))

    return order_day
