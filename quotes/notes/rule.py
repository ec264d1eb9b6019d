"""One rule of the notes: when it is called for and with which words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from quotes.notes.facts import Facts
from quotes.notes.note import Note, Section

Words = dict[str, Any]
PRACTICE = "common practice"


@dataclass(frozen=True)
class Rule:
    """One note: when it is called for and with which words.

    `find` yields the words of `text` once for each place; among them may stand the note's own `value`, `limit`, `unit`,
    `where`, `status`, `source` and `decided_by`.
    """

    key: str
    section: Section
    text: str
    basis: str
    source: str
    decided_by: str
    find: Callable[[Facts], Iterable[Words]]
    unless: str | tuple[str, ...] = ()  # the beginnings of checks' codes that say the same with more to it

    def notes(self, facts: Facts, said: set[str]) -> Iterator[Note]:
        """Its notes, where none of the codes `said` speaks for it."""
        if self.unless and any(code.startswith(self.unless) for code in said):
            return
        for words in self.find(facts):
            yield Note(
                key=self.key, section=self.section, text=self.text.format(**words), basis=self.basis,
                source=words.get("source", self.source), decided_by=words.get("decided_by", self.decided_by),
                value=words.get("value"), limit=words.get("limit"), unit=words.get("unit", ""),
                where=words.get("where", ""), status=words.get("status", "note"),
            )


def always(facts: Facts) -> Iterator[Words]:
    yield {}
