"""The framing's checks as notes: which section each stands in, which are the gravest, places in plain words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from framing.engine import places
from quotes.notes.note import Note, Section, printed

# A place in the survey's frame, as checks tell it, with the same in words behind it where it has those.
COORDINATES = re.compile(r"(?:\b([Aa]t) )?\bx (-?\d+), y (-?\d+)(?: \(((?:at |[^()]* in (?:from|past) )[^()]*)\))?")

# Which section a check of the framing belongs to, by the longest beginning of its code.
PLACES: dict[str, Section] = {
    "clear-gap": "drainage",
    "water-under-joists": "drainage",
    "blocked-primary": "drainage",
    "blocked-primary-load": "deferral",
    "blocked-primary-depth": "deferral",
    "ponding-stability": "deferral",
    "leader": "drainage",
    "no-outlet": "drainage",
    "no-overflow": "drainage",
    "single-outlet": "drainage",
    "outlet": "drainage",
    "overflow": "drainage",
    "pad-near-outlet": "drainage",
    "pad-by-wall-water": "drainage",
    "panel": "drainage",
    "pond": "drainage",
    "ponding": "drainage",
    "roof-slope-low": "drainage",
    "bearing": "deferral",
    "weight": "deferral",
    "live-load-basis": "deferral",
    "heavy-load": "deferral",
    "snow-drift": "deferral",
    "tip-load": "deferral",
    "rim-splice": "caution",
    "lap-not-laid": "caution",
    "lap-spacing": "caution",
    "lap-gap": "drainage",
    "packed-up": "caution",
    "drying": "caution",
    "wall-rips": "assumption",
    "border-courses": "assumption",
    "colour-lot": "assumption",
    "best-face": "assumption",
    "membrane": "deferral",
    "door-step": "deferral",
    "door-landing": "deferral",
    "landing-slope": "deferral",
    "accessible-threshold": "deferral",
    "regrade": "deferral",
    "guard": "deferral",
}

# Beginnings of keys, the gravest first: water in the house, water in the wood, cuts that are wrong, the roofer's own.
# Our judgement; it decides only what stands on the first page.
GRAVE: tuple[str, ...] = (
    "blocked-primary", "no-outlet", "no-overflow", "water-under-joists", "clear-gap", "misclosure", "datum-drift",
    "level-suspect", "deck-above-sill", "may-touch-roof", "membrane-upturn", "bearing", "regrade", "single-outlet",
    "pond", "parapet-low", "wind",
)
FIRST_PAGE = 5  # cautions
FOR_THE_ROOF = ("measure-next",)  # advice to whoever surveys, of no use to a homeowner
DOES_NOT_CLOSE = ("misclosure", "level-suspect", "datum-drift")  # cautions that somebody goes on in spite of by name


def from_checks(framing: Mapping[str, Any]) -> Iterator[Note]:
    """A note for each finding of a framing that is not in order."""
    named = (framing.get("survey_adjustment") or {}).get("points") or {}
    points = {name: (float(p["x"]), float(p["y"])) for name, p in named.items()}
    for found in framing.get("checks") or ():
        if found["status"] == "ok" or found["code"] in FOR_THE_ROOF:
            continue
        yield Note(
            key=found["code"], section=_place(found["code"], found["status"]), text=in_words(found["text"], points),
            basis="computed", source=found["source"], decided_by=found["decided_by"], value=found.get("value"),
            limit=found.get("limit"), unit=found.get("unit") or "",
            where=in_words(_words(found.get("where")), points), status=found["status"],
            acknowledge=bool(found.get("acknowledge"))
            or found["status"] == "caution" and found["code"] in DOES_NOT_CLOSE,
        )


def gravest(notes: Iterable[Note], *, most: int = FIRST_PAGE) -> tuple[Note, ...]:
    """The cautions for the first page, one a code: stops, what must be acknowledged, then in the order of `GRAVE`."""
    first: dict[str, Note] = {}
    for note in sorted((note for note in printed(notes) if note.status in ("stop", "caution")), key=gravity):
        first.setdefault(note.key, note)
    return tuple(first.values())[:most]


def to_acknowledge(notes: Iterable[Note]) -> tuple[Note, ...]:
    """The notes that a named person must take note of before the proposal may go out."""
    return tuple(note for note in notes if note.acknowledge)


def gravity(note: Note) -> tuple[int, int, int]:
    """What notes are sorted by: stops, then what must be acknowledged, then in the order of `GRAVE`."""
    rank = next((rank for rank, word in enumerate(GRAVE) if note.key.startswith(word)), len(GRAVE))
    return {"stop": 0, "caution": 1}.get(note.status, 2), 0 if note.acknowledge else 1, rank


def in_words(text: str, points: Mapping[str, tuple[float, float]]) -> str:
    """The text with every place in coordinates told from the survey points `points` [in], as on the plan."""
    def told(found: re.Match[str]) -> str:
        at, x, y, known = found.groups()
        words = known or places.from_points((float(x), float(y)), points)
        if not words:
            return found[0]
        return f"{at} {words.removeprefix('at ')}" if at else words

    return COORDINATES.sub(told, text)


def _place(code: str, status: str) -> Section:
    prefixes = [prefix for prefix in PLACES if code == prefix or code.startswith(prefix + "-")]
    if prefixes:
        return PLACES[max(prefixes, key=len)]
    return "caution" if status in ("stop", "caution") else "assumption"


def _words(where: Any) -> str:
    if isinstance(where, str) or where is None:
        return where or ""
    if isinstance(where, list | tuple):
        return ", ".join(str(part) for part in where)
    return str(where)
