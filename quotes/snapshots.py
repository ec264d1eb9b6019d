"""What a revision keeps: everything that it was made from as one document, its notes, and its hash.

Every number on a paper can be followed from here to a reading, a price or a rate. A person's name and address stand
in none of it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from estimating import notices
from estimating.models import Job, Office
from estimating.office import the_office
from estimating.service.problems import refusal
from framing.models import Framing
from quotes.drafts import versions_of, worked_estimate
from quotes.estimate import SETTLEMENTS, Estimate, Line
from quotes.models import Quote, QuoteOption, Revision
from quotes.notes import Contract, Note, apart, edited, notes_for
from quotes.paper.rendering import templates_version
from quotes.pricing import uses_of
from quotes.recipe_lines import Use, recipe_notes
from quotes.templatetags.paper import money
from quotes.validity import Validity

FORMAT = "quote-snapshot/1"


@refusal(409)
class EditsAdrift(Exception):
    """An edit of a note that the quote no longer has."""


@dataclass(frozen=True)
class Priced:
    """A quote as it was worked out for a revision, or as one of its options where `option` is set."""

    quote: Quote
    worked: Estimate
    option: QuoteOption | None = None

    @property
    def price(self) -> Decimal:
        assert self.worked.price is not None
        return self.worked.price


def snapshot(base: Priced, options: Sequence[Priced], number: int, office: Office, today: date, validity: Validity
             ) -> dict[str, Any]:
    """The document of a revision: quote-snapshot/1."""
    quote, worked = base.quote, base.worked
    framing, build = quote.framing, quote.framing.build
    uses = uses_of(quote.recipes)
    notes = _edited(quote, notes_of(framing, worked, uses, office=office))
    return {
        "format": FORMAT,
        "quote": {"number": quote.number, "revision": number, "job": quote.job_id, "issued_on": today.isoformat(),
                  "valid_until": validity.until.isoformat(), "valid_because": validity.because,
                  "priced_on": quote.priced_on.isoformat()},
        "office": {name: getattr(office, name) for name in (
            "name", "address", "phone", "email", "license_number", "time_zone", "currency", "exclusions", "warranty",
            "notices",
        )},
        "paper_size": office.paper_size,
        "survey": build.survey.document,
        "build": build.document,
        "framing": framing.document,
        "price_lists": [{"id": version.pk, "list": str(version), "sha256": version.source_sha256}
                        for version in versions_of(quote)],
        "extras": quote.extras,
        "agreed": {"crew_mix": quote.crew_mix, "allowances": quote.allowances, "discount": quote.discount,
                   "escalation": quote.escalation},
        "recipes": [asdict(use) for use in uses],
        "estimate": worked.as_json(),
        "notes": [found.as_json() for found in notes],
        "options": [_option(priced, base, notes, office) for priced in options],
        "acknowledgements": quote.acknowledgements,
        "notices": _notices(quote, worked, office, today),
        "templates": templates_version(),
    }


def _option(priced: Priced, base: Priced, known: Sequence[Note], office: Office) -> dict[str, Any]:
    """Another way to build the deck: what it is made of, its price, and the notes that the first way does not have."""
    quote, option = priced.quote, priced.option
    assert option is not None
    said = {(note.key, note.text) for note in known}
    notes = _edited(quote, notes_of(quote.framing, priced.worked, uses_of(quote.recipes), office=office))
    return {
        "key": option.key, "name": option.name, "words": option.words, "quote": quote.number,
        "survey": quote.framing.build.survey.document,
        "build": quote.framing.build.document, "framing": quote.framing.document, "estimate": priced.worked.as_json(),
        "price": str(priced.price), "difference": str(priced.price - base.price),
        "notes": [note.as_json() for note in notes if (note.key, note.text) not in said],
        "acknowledgements": quote.acknowledgements,
    }


def snapshot_sha256(snapshot: str, *, plan_svg: str, section_svg: str, proposal_html: str, cut_sheets_html: str,
                    more_html: Mapping[str, str]) -> str:
    """The hash of what a revision keeps, and of nothing made from it later."""
    kept: list[Any] = [snapshot, plan_svg, section_svg, proposal_html, cut_sheets_html]
    if more_html:  # revisions of the time before these papers have none
        kept.append(sorted(more_html.items()))
    return hashlib.sha256(json.dumps(kept).encode()).hexdigest()


def is_intact(revision: Revision) -> bool:
    """Whether a revision still is what its hash says."""
    return revision.sha256 == snapshot_sha256(
        revision.snapshot, plan_svg=revision.plan_svg, section_svg=revision.section_svg,
        proposal_html=revision.proposal_html, cut_sheets_html=revision.cut_sheets_html, more_html=revision.more_html,
    )


def notes_of(framing: Framing, worked: Estimate | None = None, uses: Sequence[Use] = (), *,
             office: Office | None = None) -> tuple[Note, ...]:
    """The notes of a framing, and those of an estimate of it: what its recipes (`uses`) call for, its allowances.

    With the `office` that offers it they speak of the contract too, and of what the office always leaves out.
    """
    build = framing.build
    documents = framing.document, build.survey.document, build.document
    told = worked.recipes if worked else ()
    recipes = recipe_notes(uses, told, *documents)
    allowances = [_allowance_note(line, worked.currency) for line in (worked.lines if worked else ()) if line.allowance]
    kinds = frozenset(recipe["kind"] for recipe in told)
    contract = None if office is None or worked is None else contract_of(build.survey.job, worked, office)
    own = [] if office is None else _own_exclusions(office)
    return apart((*notes_for(*documents, priced=kinds, contract=contract), *recipes, *allowances, *own))


def notes_of_quote(quote: Quote) -> tuple[Note, ...]:
    """The notes of a quote as it stands, before the office's edits of them."""
    office = the_office()
    worked = worked_estimate(quote, quote.framing, versions_of(quote), office)
    return notes_of(quote.framing, worked, uses_of(quote.recipes), office=office)


def contract_of(job: Job, worked: Estimate, office: Office) -> Contract:
    """What the records know of a contract."""
    given = job.consent_given_on
    return Contract(jurisdiction=job.jurisdiction, price=worked.price, license_number=office.license_number,
                    roof_owner=job.roof_owner, consent_needed=job.consent_needed,
                    consent_given_on=given.isoformat() if given else "", financed=job.financed,
                    year_built=job.year_built)


def _edited(quote: Quote, notes: Sequence[Note]) -> tuple[Note, ...]:
    """The notes as the office left them. Raises EditsAdrift where an edit is of a note that is no longer there."""
    changed, wrong = edited(notes, quote.note_edits)
    if wrong:
        raise EditsAdrift(f"{quote.number}: " + " ".join(one.text for one in wrong) + " Look through its notes again.")
    return changed


def _notices(quote: Quote, worked: Estimate, office: Office, on: date) -> list[dict[str, Any]]:
    """The notices of the job's jurisdiction, what belongs to this contract filled in."""
    payment = worked.payments[0] if worked.payments else None
    facts = notices.facts_of(
        office, contract_price=money(worked.price, worked.currency),
        first_payment=f"{money(payment.amount, worked.currency)}, {payment.milestone}" if payment else "",
        start="a date agreed in writing on signing",
    )
    return notices.printed_on(quote.job.jurisdiction, on, facts)


def _allowance_note(line: Line, currency: str) -> Note:
    """What is allowed, what it includes, and how the difference is settled; that of a price list goes at cost."""
    came = line.came_from
    text = f"{line.description}: {money(line.cost, currency)} before overhead and profit is allowed."
    text += f" Included: {came['includes'].rstrip('.')}." if came.get("includes") else ""
    basis, source = "price list", f"{came.get('sku')} of {came.get('price_list')} version " \
                                  f"{came.get('price_list_version')}"
    if line.kind == "allowance":
        basis, source = "agreed with the owner", "this quote"
    return Note(key="allowance", section="allowance", basis=basis, source=source, decided_by="owner and contractor",
                text=f"{text} {SETTLEMENTS[came.get('settlement', 'cost')]}.")


def _own_exclusions(office: Office) -> list[Note]:
    """What the office always leaves out."""
    lines = [line.strip() for line in office.exclusions.splitlines() if line.strip()]
    return [Note(key="office-exclusion", section="exclusion", text=line, basis="scope", source="office",
                 decided_by="owner and contractor") for line in lines]
