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

from estimating.models import Office
from framing.models import Framing
from quotes.drafts import versions_of
from quotes.estimate import SETTLEMENTS, Estimate, Line
from quotes.models import Quote, QuoteOption, Revision
from quotes.notes import Note, notes_for
from quotes.pricing import uses_of
from quotes.recipe_lines import Use, recipe_notes
from quotes.templatetags.paper import money
from quotes.validity import Validity

FORMAT = "quote-snapshot/1"


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
    notes = [*notes_of(framing, worked, uses), *_own_exclusions(office)]
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
        "options": [_option(priced, base, notes) for priced in options],
        "acknowledgements": quote.acknowledgements,
    }


def _option(priced: Priced, base: Priced, known: Sequence[Note]) -> dict[str, Any]:
    """Another way to build the deck: what it is made of, its price, and the notes that the first way does not have."""
    quote, option = priced.quote, priced.option
    assert option is not None
    said = {(note.key, note.text) for note in known}
    notes = notes_of(quote.framing, priced.worked, uses_of(quote.recipes))
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


def notes_of(framing: Framing, worked: Estimate | None = None, uses: Sequence[Use] = ()) -> tuple[Note, ...]:
    """The notes of a framing, and those of an estimate of it: what its recipes (`uses`) call for, its allowances."""
    build = framing.build
    documents = framing.document, build.survey.document, build.document
    told = worked.recipes if worked else ()
    recipes = recipe_notes(uses, told, *documents)
    allowances = [_allowance_note(line, worked.currency) for line in (worked.lines if worked else ()) if line.allowance]
    kinds = frozenset(recipe["kind"] for recipe in told)
    return (*notes_for(*documents, priced=kinds), *recipes, *allowances)


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
