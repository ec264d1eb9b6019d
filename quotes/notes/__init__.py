"""Notes: rules that turn what was computed, surveyed and agreed into what the proposal says beside its price.

Two sources feed them. Every check of the framing is placed in a section by its code (`PLACES`); a code that stands
nowhere goes by its status, so no finding is lost. The rules of `RULES` say what survey, build, framing and contract
call for even when nothing failed. A note gives the number, the basis, the source and who decides; none says that
anything meets a code. What the office changes of them stands apart (`edited`) and is told.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quotes.notes.assumptions import ASSUMPTIONS, EXCLUSIONS
from quotes.notes.claims import claims_of
from quotes.notes.deferrals import DEFERRALS
from quotes.notes.edits import Refused, edited, unacknowledged
from quotes.notes.facts import Contract, Facts
from quotes.notes.law import LAW
from quotes.notes.note import SECTIONS, Note, Section, apart, listed, printed
from quotes.notes.placing import GRAVE, PLACES, from_checks, gravest, gravity, in_words, to_acknowledge
from quotes.notes.rule import Rule
from quotes.notes.water import DRAINAGE, RAIN

__all__ = [
    "GRAVE", "PLACES", "RULES", "SECTIONS", "Contract", "Facts", "Note", "Refused", "Rule", "Section", "apart",
    "claims_of", "edited", "gravest", "in_words", "listed", "notes_for", "printed", "to_acknowledge", "unacknowledged",
]

# In the order in which the proposal prints them, within their section.
RULES: tuple[Rule, ...] = (*ASSUMPTIONS, *RAIN, *DRAINAGE, *DEFERRALS, *LAW, *EXCLUSIONS)


def notes_for(framing: Mapping[str, Any], survey: Mapping[str, Any], build: Mapping[str, Any], *,
              priced: frozenset[str] = frozenset(), contract: Contract | None = None) -> tuple[Note, ...]:
    """All notes of a proposal, by section and within it the gravest first, then in the order of the rules.

    `priced` are the kinds of recipes that stand in the price; without a `contract` no note speaks of it.
    """
    checks = [*from_checks(framing)]
    said = {note.key for note in checks}
    facts = Facts(survey, build, framing, priced, contract)
    found = [note for rule in RULES for note in rule.notes(facts, said)]
    grave = [note for note in (*checks, *found) if note.status in ("stop", "caution")]
    rest = [note for note in (*found, *checks) if note.status not in ("stop", "caution")]
    by_section = sorted([*sorted(grave, key=gravity), *rest], key=lambda note: SECTIONS.index(note.section))
    return apart(by_section)
