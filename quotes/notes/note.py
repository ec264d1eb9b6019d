"""One sentence of the proposal with all that it rests on, and the sections that such sentences stand in."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

Section = Literal["caution", "assumption", "drainage", "deferral", "exclusion", "allowance"]
SECTIONS: tuple[Section, ...] = ("caution", "assumption", "drainage", "deferral", "exclusion", "allowance")
Edited = Literal["", "added", "reworded", "silenced"]


@dataclass(frozen=True)
class Note:
    """One sentence of the proposal and what it rests on. `value` and `limit` are in `unit`.

    `key` and `where` together name it. What the office changed is told in `edited`: `original` is the sentence before.
    """

    key: str
    section: Section
    text: str
    basis: str
    source: str
    decided_by: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    where: str = ""
    acknowledge: bool = False
    status: str = "note"
    edited: Edited = ""
    edit_reason: str = ""
    edit_by: str = ""
    original: str = ""

    @property
    def name(self) -> tuple[str, str]:
        return self.key, self.where

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


def apart(notes: Iterable[Note]) -> tuple[Note, ...]:
    """The same notes, each with a name of its own: the second of a key and place has (2) behind its place."""
    seen: Counter[tuple[str, str]] = Counter()
    found = []
    for note in notes:
        seen[note.name] += 1
        if seen[note.name] > 1:
            note = replace(note, where=f"{note.where} ({seen[note.name]})".strip())
        found.append(note)
    return tuple(found)


def printed(notes: Iterable[Note]) -> tuple[Note, ...]:
    """What the customer's proposal says: all but what the office silenced."""
    return tuple(note for note in notes if note.edited != "silenced")


def listed(words: Sequence[str]) -> str:
    """a, b and c"""
    return ", ".join(words[:-1]) + " and " + words[-1] if len(words) > 1 else "".join(words)
