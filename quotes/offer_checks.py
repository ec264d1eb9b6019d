"""What stands in the way of offering a revision, all of it at once. Pure: facts in, reasons out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, NamedTuple

from quotes.notes import Note, unacknowledged
from quotes.notes.placing import DOES_NOT_CLOSE


class Reason(NamedTuple):
    """One thing in the way: a code for programs, a sentence for people, and who can clear it."""

    code: str
    text: str
    who: str


@dataclass(frozen=True)
class Surroundings:
    """What the snapshot does not hold: the day, the records beside it, and what the office answered."""

    today: date
    intact: bool = True
    newest: bool = True
    offered_before: bool = False
    job_status: str = "quoted"
    erased: bool = False
    consent: str = ""  # why the consent of the roof's owner stands in the way; empty where it does not
    notices: Sequence[str] = field(default_factory=tuple)  # what the notices of the place lack today
    site_url: str = ""
    addresses: Sequence[str] = field(default_factory=tuple)  # where the mail goes
    office_email: str = ""


def reasons(snapshot: Mapping[str, Any], around: Surroundings) -> tuple[Reason, ...]:
    """Everything that stands in the way of offering a revision with this snapshot; empty where nothing does."""
    return tuple(dict.fromkeys((*_record(snapshot, around), *_prices(snapshot, around), *_deck(snapshot),
                                *_notices(around), *_people(around))))


def _record(snapshot: Mapping[str, Any], around: Surroundings) -> Iterator[Reason]:
    if not around.intact:
        yield Reason("not-intact", "What the revision keeps is not what its hash says; issue the quote again.",
                     "office")
    if around.offered_before:
        yield Reason("offered", "It was offered before; send its mail again, or issue another revision.", "office")
    if not around.newest:
        yield Reason("not-newest", "A later revision of the quote was issued; offer that one.", "office")
    if around.job_status not in ("lead", "surveyed", "framed", "quoted"):
        yield Reason("job-further-on", f"The job is {around.job_status}; what changes then is a change order.",
                     "office")


def _prices(snapshot: Mapping[str, Any], around: Surroundings) -> Iterator[Reason]:
    until = date.fromisoformat(snapshot["quote"]["valid_until"])
    if until < around.today:
        yield Reason("offer-ended", f"It was valid until {until}, and today is {around.today}; price the quote anew "
                     "and issue it again.", "estimator")
    for name, estimate in _estimates(snapshot):
        ends = estimate.get("prices_valid_to")
        if ends and date.fromisoformat(ends) < around.today:
            yield Reason("prices-ended", f"A price of {name} ended on {ends}; price it anew with a list that holds "
                         "today.", "estimator")


def _deck(snapshot: Mapping[str, Any]) -> Iterator[Reason]:
    """Stops, and findings that a named person has to acknowledge, of the deck and of each option."""
    everywhere = snapshot.get("acknowledgements") or ()
    for name, deck in [("The deck", snapshot), *((f"Option {option['key']}", option)
                                                 for option in snapshot.get("options") or ())]:
        for check in deck["framing"].get("checks") or ():
            if check["status"] == "stop":
                yield Reason("stop", f"{name} cannot be built as asked: {check['text']}", "estimator")
        known = [*everywhere, *(deck.get("acknowledgements") or ())]
        for note in unacknowledged(asking(deck["notes"], deck["estimate"]), known):
            code = "survey-does-not-close" if note.key in DOES_NOT_CLOSE else "not-acknowledged"
            yield Reason(code, f"{name}: \"{note.text}\" A named person has to go on in spite of it and say why; that "
                         "is printed.", note.decided_by)


def asking(notes: Sequence[Mapping[str, Any]], estimate: Mapping[str, Any]) -> list[Note]:
    """Notes, and cautions of an estimate, as what somebody may have to acknowledge."""
    cautions = [Note(key=kept["key"], section="caution", text=kept["text"], basis=kept["basis"], source=kept["source"],
                     decided_by=kept["decided_by"], acknowledge=True, status="caution")
                for kept in estimate.get("cautions") or () if kept.get("acknowledge")]
    return [*(Note(**kept) for kept in notes), *cautions]


def _estimates(snapshot: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    yield snapshot["quote"]["number"], snapshot["estimate"]
    for option in snapshot.get("options") or ():
        yield f"option {option['key']}", option["estimate"]


def _notices(around: Surroundings) -> Iterator[Reason]:
    for text in around.notices:
        yield Reason("notice", text, "office, with its counsel")


def _people(around: Surroundings) -> Iterator[Reason]:
    if around.erased:
        yield Reason("erased", "The customer's data were erased.", "office")
        return
    if around.consent:
        yield Reason("consent", around.consent, "whoever owns the roof")
    if not around.addresses or not all(around.addresses):
        yield Reason("no-address", "A recipient has no e-mail address.", "customer")
    if len(set(address.casefold() for address in around.addresses)) < len(around.addresses):
        yield Reason("same-address", "Two owners have the same e-mail address; each signs by a link of their own.",
                     "customer")
    if not around.office_email:
        yield Reason("office-email", "The office has no e-mail address that answers could come to.", "office")
    if not around.site_url:
        yield Reason("site-url", "SITE_URL is not set, so there is no address for the homeowner's link.", "office")
