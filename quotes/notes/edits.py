"""What the office changes of the notes, within limits, and who went on in spite of one. Pure; edits are plain JSON.

An edit is `{"kind": "add" | "reword" | "silence", "key", "where", "section", "text", "reason", "by", "at"}`, an
acknowledgement `{"key", "text", "name", "reason", "at"}`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from quotes.notes.claims import claims_of
from quotes.notes.note import SECTIONS, Note, apart
from quotes.notes.placing import to_acknowledge

KINDS = ("add", "reword", "silence")
MOST_LETTERS = 1000
LEAST_REASON = 10  # letters
NUMBER = re.compile(r"(?<![\w.])\d+(?:[.,]\d+)*(?:/\d+)?(?![\w])")


@dataclass(frozen=True)
class Refused:
    """An edit that was left out: which one of the list, what was read and what was expected."""

    at: int
    key: str
    where: str
    read: str
    expected: str

    @property
    def text(self) -> str:
        place = f"{self.key} at {self.where}" if self.where else self.key
        return f"Edit {self.at + 1}, of {place or 'no note'}, is left out: read {self.read}, expected {self.expected}."

    def as_json(self) -> dict[str, Any]:
        return {**asdict(self), "text": self.text}


class _Wrong(Exception):
    def __init__(self, read: str, expected: str) -> None:
        self.read, self.expected = read, expected
        super().__init__(f"read {read}, expected {expected}")


def edited(notes: Iterable[Note], edits: Sequence[Any]) -> tuple[tuple[Note, ...], tuple[Refused, ...]]:
    """The notes as the office left them, in their order and what it added behind; and every edit that was left out.

    Value, limit, basis, source and who decides stay as they are; a later edit of a note counts from its first sentence.
    """
    found = {note.name: note for note in apart(notes)}
    refused = []
    for at, edit in enumerate(edits):
        known = edit if isinstance(edit, Mapping) else {}
        try:
            changed = _changed(found, edit)
            found[changed.name] = changed
        except _Wrong as wrong:
            key, where = _plain(known.get("key")), _plain(known.get("where"))
            refused.append(Refused(at, key, where, wrong.read, wrong.expected))
    return tuple(sorted(found.values(), key=lambda note: SECTIONS.index(note.section))), tuple(refused)


def unacknowledged(notes: Iterable[Note], acknowledgements: Sequence[Any]) -> tuple[Note, ...]:
    """The notes that still ask for a named person's written word.

    One counts for a note of its key that says the same to the letter: where a number changed it is asked for again.
    """
    given = {(known["key"], known["text"]) for known in acknowledgements
             if isinstance(known, Mapping) and _counts(known)}
    return tuple(note for note in to_acknowledge(notes) if (note.key, note.text) not in given)


def _counts(known: Mapping[str, Any]) -> bool:
    return (all(isinstance(known.get(name), str) for name in ("key", "text", "name", "reason"))
            and bool(known["name"].strip()) and len(known["reason"].strip()) >= LEAST_REASON)


def _changed(found: Mapping[tuple[str, str], Note], edit: Any) -> Note:
    if not isinstance(edit, Mapping):
        raise _Wrong(_read(edit), "an edit: kind, key, where, section, text, reason, by, at")
    for name in ("key", "where", "section", "text", "reason", "by", "at"):
        if not isinstance(edit.get(name) or "", str):
            raise _Wrong(f"{name} {_read(edit[name])}", f"{name} as words")
    kind, key, where = edit.get("kind"), edit.get("key") or "", edit.get("where") or ""
    if kind not in KINDS:
        raise _Wrong(f"kind {_read(kind)}", " or ".join(KINDS))
    told: dict[str, Any] = {"edit_reason": (edit.get("reason") or "").strip(),
                            "edit_by": (edit.get("by") or "").strip()}
    note = found.get((key, where))
    if kind == "add":
        return _added(note, key, where, edit, told)
    if note is None:
        raise _Wrong("no such note", "a note of this key and place; it may have changed since")
    if kind == "silence":
        return _silenced(note, told)
    text = _own_words(edit)
    first = note.original or note.text
    missing = [number for number in dict.fromkeys(NUMBER.findall(first)) if number not in NUMBER.findall(text)]
    if missing:
        raise _Wrong(_read(text), f"every number of the sentence, also {', '.join(missing)}")
    return replace(note, text=text, edited="reworded", original=first, **told)


def _added(there: Note | None, key: str, where: str, edit: Mapping[str, Any], told: Mapping[str, Any]) -> Note:
    section = edit.get("section")
    if section not in SECTIONS:
        raise _Wrong(f"section {_read(section)}", " or ".join(SECTIONS))
    if not key.strip():
        raise _Wrong("no key", "a key of its own")
    if there is not None:
        raise _Wrong("a note of this key and place that is there", "a key or place of its own; or reword that one")
    return Note(key=key, section=section, text=_own_words(edit), basis="office", source="office",
                decided_by="contractor", where=where, status="caution" if section == "caution" else "note",
                edited="added", **told)


def _silenced(note: Note, told: Mapping[str, Any]) -> Note:
    if note.acknowledge or note.status == "stop":
        why = "a stop" if note.status == "stop" else "a caution that a named person has to acknowledge"
        raise _Wrong(f"the silencing of {why}", "that it stands")
    if len(told["edit_reason"]) < LEAST_REASON:
        raise _Wrong(f"reason {_read(told['edit_reason'])}", f"a reason of {LEAST_REASON} letters or more")
    first = note.original or note.text
    return replace(note, edited="silenced", original=first, **told)


def _own_words(edit: Mapping[str, Any]) -> str:
    text = (edit.get("text") or "").strip()
    if not text:
        raise _Wrong("no text", "a sentence")
    if len(text) > MOST_LETTERS:
        raise _Wrong(f"{len(text)} letters", f"{MOST_LETTERS} letters at most")
    if claims := claims_of(text):
        raise _Wrong(" and ".join(f"“{claim}”" for claim in claims),
                     "a number, its basis and who decides, and no word that something complies or is safe")
    return text


def _plain(value: Any) -> str:
    return value if isinstance(value, str) else ""


def _read(value: Any) -> str:
    """A value as it is quoted, cut where it is long."""
    text = f"“{value}”" if isinstance(value, str) else repr(value)
    return text if len(text) <= 80 else text[:77] + "…”"
