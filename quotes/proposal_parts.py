"""What the office decides of a proposal before it is issued: its options, its notes, the findings it goes on with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from estimating.models import User
from estimating.service.history import note
from estimating.service.problems import refusal
from quotes.drafts import locked_quote
from quotes.models import Quote, QuoteOption

OPTIONS = 6  # a homeowner who is to choose among more chooses none


@refusal(409)
class NoSuchOption(Exception):
    """A quote that cannot be an option of this one."""


@transaction.atomic
def set_options(quote_id: int, options: Sequence[Mapping[str, Any]], *, by: User | None, now: datetime) -> Quote:
    """Offer these quotes of the same job as other ways to build the deck, in this order, in place of those before.

    Each of `options` has `quote` (its number as a row), `name` and `words`. Raises NoSuchOption.
    """
    quote = locked_quote(quote_id)
    asked = [option["quote"] for option in options]
    others = {row.pk: row for row in Quote.objects.filter(pk__in=asked)}
    for pk in asked:
        row = others.get(pk)
        if row is None or row.job_id != quote.job_id:
            raise NoSuchOption(f"Quote {pk} is not a quote of job {quote.job_id}; an option is one of the same job.")
        if row.pk == quote.pk or asked.count(pk) > 1:
            raise NoSuchOption(f"{row.number} stands in the proposal already.")
        if row.options.exists():
            raise NoSuchOption(f"{row.number} has options of its own; an option has none.")
    if options and quote.option_of.exists():
        raise NoSuchOption(f"{quote.number} is an option of another quote; an option has none of its own.")
    before = [str(option.option) for option in quote.options.select_related("option")]
    quote.options.all().delete()
    QuoteOption.objects.bulk_create([
        QuoteOption(quote=quote, position=position, option_id=option["quote"], name=option["name"],
                    words=option.get("words", ""))
        for position, option in enumerate(options, start=1)
    ])
    quote.save()  # its tag follows what it offers
    note(quote, "change", {"options": [before, [others[pk].number for pk in asked]]}, by=by, now=now)
    return quote


@transaction.atomic
def edit_notes(quote_id: int, edits: Sequence[Mapping[str, Any]], *, by: User, now: datetime) -> Quote:
    """Keep these edits of the quote's notes in place of those before; they take effect when it is issued."""
    quote = locked_quote(quote_id)
    before = quote.note_edits
    stamped = [{**edit, "by": by.get_username(), "at": now.isoformat()} for edit in edits]
    known = {_without_stamp(edit): edit for edit in before}
    quote.note_edits = [known.get(_without_stamp(edit), edit) for edit in stamped]
    quote.save(update_fields=["note_edits"])
    note(quote, "edit-notes", {"note_edits": [len(before), len(stamped)]}, by=by, now=now)
    return quote


@transaction.atomic
def acknowledge(quote_id: int, key: str, text: str, *, name: str, reason: str, by: User | None, now: datetime) -> Quote:
    """Keep that a named person goes on in spite of a finding, and why; it is printed.

    It holds for the finding as it stands, `text`: one whose number has changed is to be acknowledged again.
    """
    quote = locked_quote(quote_id)
    others = [kept for kept in quote.acknowledgements if (kept["key"], kept["text"]) != (key, text)]
    quote.acknowledgements = [*others, {"key": key, "text": text, "name": name, "reason": reason,
                                        "at": now.isoformat()}]
    quote.save(update_fields=["acknowledgements"])
    note(quote, "acknowledge", {"finding": [None, key], "reason": [None, reason], "name": [None, name]}, by=by, now=now)
    return quote


def _without_stamp(edit: Mapping[str, Any]) -> tuple[tuple[str, Any], ...]:
    return tuple(sorted((name, value) for name, value in edit.items() if name not in ("by", "at")))
