"""Notices of a jurisdiction on a day: which are needed, how they read, and what keeps a proposal from being sent.

A notice goes into a revision as the office's wording had it that day (`printed_on`), with the blanks of the acceptance
still open; they are filled when it is accepted. Whether a wording does what a law wants, counsel decides.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from datetime import date
from typing import Any, Final

from estimating.matching import place_key
from estimating.models import Notice, Office
from estimating.notice_text import NAME, blanks_of, brace_faults, fill
from estimating.reference.consumer_law import COOLING_OFF_SOURCE, EXEMPT_WAYS, WHERE_AGREED
from estimating.reference.states import STATES, state_in
from estimating.steps import OFFICE, Blocker

COUNSEL: Final = "counsel"
BODY_AT_MOST: Final = 20_000
VALUES_AT_MOST: Final = 50

# What a blank stands for, by who fills it: the office's record, the proposal, the acceptance.
FROM_OFFICE: Final[dict[str, str]] = {
    "seller_name": "the office's name", "seller_address": "the office's address", "seller_phone": "the office's phone",
    "seller_email": "the office's e-mail address", "license_number": "the office's license number",
}
PER_PROPOSAL: Final[dict[str, str]] = {
    "contract_price": "the contract price", "first_payment": "the first payment",
    "start": "when the work is to begin",
}
AT_ACCEPTANCE: Final[dict[str, str]] = {
    "transaction_date": "the day of acceptance", "cancel_by": "the last day to cancel",
    "buyer_name": "the customer's name",
}
KNOWN: Final[dict[str, str]] = {**FROM_OFFICE, **PER_PROPOSAL, **AT_ACCEPTANCE}

# 16 CFR 429.1 (b) and (e), as of 2021-02-25, V: the form is furnished in duplicate, in ten-point bold type, both
# copies completed with the seller's name and place of business, the date of the transaction and the date to cancel by.
CANCELLATION_BLANKS: Final = ("seller_name", "seller_address", "transaction_date", "cancel_by")
CANCELLATION_POINTS: Final = 10
CANCELLATION_SOURCE: Final = "16 CFR 429.1 (b) and (e)"


def notices_on(jurisdiction: str, on: date) -> list[Notice]:
    """The row of each kind that holds in a jurisdiction on a day, also where it says that none is needed.

    Its own row comes before that of its state, and this before one for everywhere; of several the last that began.
    """
    return _holding(Notice.objects.filter(valid_from__lte=on).order_by("valid_from", "id"), jurisdiction, on)


def own_cancel_days() -> Callable[[str, date], int]:
    """Business days to cancel that the office's notice gives in a jurisdiction on a day, as `days_given`; read once."""
    rows = list(Notice.objects.filter(kind=Notice.Kind.CANCELLATION).order_by("valid_from", "id"))
    return lambda jurisdiction, on: max((row.cancel_days or 0 for row in _holding(rows, jurisdiction, on)), default=0)


def _holding(rows: Iterable[Notice], jurisdiction: str, on: date) -> list[Notice]:
    """Of rows in the order in which they begin, the one of each kind that holds."""
    places = _places(jurisdiction)
    found: dict[str, Notice] = {}
    for row in rows:
        if row.valid_from > on:
            break
        rank = places.get(place_key(row.jurisdiction))
        before = found.get(row.kind)
        if rank is not None and (before is None or rank <= places[place_key(before.jurisdiction)]):
            found[row.kind] = row
    return [found[kind] for kind in Notice.Kind.values if kind in found]


def printed_on(jurisdiction: str, on: date, facts: Mapping[str, str], *,
               left_open: Collection[str] = tuple(AT_ACCEPTANCE)) -> list[dict[str, Any]]:
    """The notices of a jurisdiction as a revision keeps them (`filled`). One on file prints however it was agreed."""
    return [filled(row, facts, left_open=left_open) for row in notices_on(jurisdiction, on) if not row.not_needed]


def facts_of(office: Office, *, contract_price: str = "", first_payment: str = "", start: str = "") -> dict[str, str]:
    """What fills a notice's blanks, each as it is to be read; empty where it is not known."""
    return {
        "seller_name": office.name, "seller_phone": office.phone, "seller_email": office.email,
        "seller_address": ", ".join(line.strip() for line in office.address.splitlines() if line.strip()),
        "license_number": office.license_number, "contract_price": contract_price, "first_payment": first_payment,
        "start": start,
    }  # fmt: skip


def filled(row: Notice, facts: Mapping[str, str], *, left_open: Collection[str] = tuple(AT_ACCEPTANCE)
           ) -> dict[str, Any]:
    """A notice as a snapshot keeps it: its blanks filled from facts and the office's values, but for those left open.

    `blanks` names those left open, written without room inside; `missing` says in words what is not filled in, and
    while it says anything the notice keeps the proposal from being sent. Only a notice that stands where the proposal
    is accepted has blanks of the acceptance.
    """
    if row.placement != Notice.Placement.ACCEPTANCE:
        left_open = [name for name in left_open if name not in AT_ACCEPTANCE]
    values: dict[str, str] = {}
    missing = [] if row.body.strip() else ["its wording is not written yet"]
    names = blanks_of(row.body)
    for name in names:
        if name in left_open:
            continue
        value = (facts.get(name, "") if name in KNOWN else row.values.get(name, "")).strip()
        if value and "{{" not in value:
            values[name] = value
        elif name in KNOWN:
            missing.append(f"{{{{{name}}}}}: {KNOWN[name]} is not known")
        else:
            missing.append(f"{{{{{name}}}}}: the office has given no text for it")
    text = fill(row.body, {name: f"{{{{{name}}}}}" for name in names} | values)
    return {
        "id": row.pk, "kind": row.kind, "title": row.title, "jurisdiction": row.jurisdiction,
        "text": text, "placement": row.placement, "copies": row.copies,
        "point_size": row.point_size, "bold": row.bold, "cancel_days": row.cancel_days, "source": row.source,
        "said_by": row.said_by, "valid_from": row.valid_from.isoformat(), "review_by": row.review_by.isoformat(),
        "blanks": [name for name in names if name in left_open], "missing": missing,
    }  # fmt: skip


def required_kinds(jurisdiction: str, on: date, where_agreed: str = "unknown") -> dict[str, str]:
    """Why a kind of notice is needed, by the kind: the office has it on file, or nobody said that it may be left out.

    A cancellation notice is needed unless the office states that the sale was agreed in a way that the federal rule
    leaves out (`EXEMPT_WAYS`), or that none is needed in the jurisdiction; whether they are right, counsel decides.
    """
    rows = {row.kind: row for row in notices_on(jurisdiction, on)}
    why = {kind: f"on file from {row.valid_from} ({row.source}), said by {row.said_by}"
           for kind, row in rows.items() if not row.not_needed}
    cancellation = Notice.Kind.CANCELLATION.value
    if cancellation not in rows and where_agreed not in EXEMPT_WAYS:
        told = f"a sale agreed {WHERE_AGREED[where_agreed]} may be one that can be cancelled"
        if where_agreed == "unknown":
            told = "where and how it was agreed was not asked, so that it counts as a sale that can be cancelled"
        why[cancellation] = f"{told} ({COOLING_OFF_SOURCE}); counsel decides"
    return why


def blockers(printed: Sequence[Mapping[str, Any]], jurisdiction: str, on: date, where_agreed: str = "unknown"
             ) -> tuple[Blocker, ...]:
    """What keeps a proposal with these notices (as `printed_on` gave them once) from being sent on a day."""
    rows = {row.kind: row for row in notices_on(jurisdiction, on)}
    has = {notice["kind"]: notice for notice in printed}
    found = []
    for kind, why in required_kinds(jurisdiction, on, where_agreed).items():
        if kind not in has and kind not in rows:
            found.append(Blocker("notice-missing", f"No {_label(kind)} is on file for {_place(jurisdiction)}: {why}.",
                                 COUNSEL))
    for kind in Notice.Kind.values:
        row, notice = rows.get(kind), has.get(kind)
        wanted = row.pk if row is not None and not row.not_needed else None
        if wanted != (notice.get("id") if notice else None):
            found.append(_changed(kind, row))
        elif notice:
            found += _not_in_order(notice, on)
        elif row is not None and row.review_by < on:
            found.append(Blocker("notice-out-of-date", f"That no {_label(kind)} is needed in {_place(row.jurisdiction)}"
                                 f" was said by {row.said_by} and was to be looked at again by {row.review_by}.",
                                 COUNSEL))
    return tuple(found)


def days_given(printed: Sequence[Mapping[str, Any]]) -> int:
    """The business days to cancel that the office's own notice gives; 0 where it leaves them to the rules on file."""
    return max((notice.get("cancel_days") or 0 for notice in printed), default=0)


def as_written(day: date) -> str:
    """A day as it stands in a notice: July 8, 2026."""
    return f"{day:%B} {day.day}, {day.year}"


def faults_of(values: Mapping[str, Any]) -> dict[str, list[str]]:
    """What is wrong with a notice that is to be filed, by field, in words."""
    body, own = values.get("body", ""), values.get("values") or {}
    faults = {"body": brace_faults(body), "values": [], "review_by": [], "cancel_days": [], "copies": [], "bold": [],
              "placement": []}
    names = set(blanks_of(body))
    for name, text in own.items():
        if name in KNOWN:
            faults["values"].append(f"{name} is filled from the records; expected a blank of the office's own")
        elif not NAME.fullmatch(name):
            faults["values"].append(f"{name[:60]!r} was read; expected a name of small letters, digits and _")
        elif name not in names:
            faults["values"].append(f"there is no blank {{{{{name}}}}} in the body")
        if "{" in text or "}" in text:
            faults["values"].append(f"the text for {name[:60]} holds braces; expected plain text")
    if len(own) > VALUES_AT_MOST:
        faults["values"].append(f"{len(own)} values were read; expected at most {VALUES_AT_MOST}")
    if values["review_by"] < values["valid_from"]:
        faults["review_by"].append(f"expected {values['valid_from']}, from when it holds, or a later day")
    if values.get("not_needed") and not body.strip():
        faults["body"].append("why this notice is not needed is to be said here; expected the reason")
    cancellation = values["kind"] == Notice.Kind.CANCELLATION
    if values.get("cancel_days") is not None and not cancellation:
        faults["cancel_days"].append("only a cancellation notice gives days to cancel; leave it out")
    early = sorted(names & AT_ACCEPTANCE.keys())
    if early and not cancellation and values.get("placement") != Notice.Placement.ACCEPTANCE:
        faults["placement"].append(f"{', '.join(early)} is filled in at acceptance; expected acceptance")
    if cancellation and not values.get("not_needed"):
        for name, wanted in (("copies", 2), ("bold", True), ("placement", Notice.Placement.ACCEPTANCE.value)):
            if values.get(name) != wanted:
                faults[name].append(f"a cancellation notice goes out completed, in duplicate and in bold type, where "
                                    f"the proposal is accepted ({CANCELLATION_SOURCE}); expected {wanted}")
        if body.strip() and (lacking := [name for name in CANCELLATION_BLANKS if name not in names]):
            told = ", ".join(f"{{{{{name}}}}}" for name in lacking)
            faults["body"].append(f"expected the blanks {told}: both copies of a cancellation notice are completed "
                                  f"with them ({CANCELLATION_SOURCE})")
    return {name: told for name, told in faults.items() if told}


def _changed(kind: str, row: Notice | None) -> Blocker:
    if row is None:
        return Blocker("notice-changed", f"The {_label(kind)} of this revision is not on file for the job's "
                       "jurisdiction; issue another revision.", OFFICE)
    if row.not_needed:
        return Blocker("notice-changed", f"This revision has a {_label(kind)}, and from {row.valid_from} none is needed"
                       f" in {_place(row.jurisdiction)}; issue another revision.", OFFICE)
    return Blocker("notice-changed", f"The {_label(kind)} of {_place(row.jurisdiction)} from {row.valid_from}, "
                   f"{row.title}, is not the one in this revision; issue another revision.", OFFICE)


def _not_in_order(notice: Mapping[str, Any], on: date) -> list[Blocker]:
    name = f"{notice['title']} ({_label(notice['kind'])} of {_place(notice['jurisdiction'])})"
    found = []
    if notice["missing"]:
        found.append(Blocker("notice-unfilled", f"{name} is not filled in: {'; '.join(notice['missing'])}.", OFFICE))
    if (review_by := date.fromisoformat(notice["review_by"])) < on:
        found.append(Blocker("notice-out-of-date", f"{name} is out of date: it was to be looked at again by "
                             f"{review_by}.", COUNSEL))
    return found


def _places(jurisdiction: str) -> dict[str, int]:
    """The names that a notice for a jurisdiction may be filed under, the nearest lowest: itself, its state, all."""
    state = state_in(jurisdiction)
    names = [[jurisdiction], [state, STATES[state]] if state else [], [""]]
    places: dict[str, int] = {}
    for rank, same in enumerate(names):
        for name in same:
            places.setdefault(place_key(name), rank)
    return places


def _place(jurisdiction: str) -> str:
    return jurisdiction.strip() or "everywhere"


def _label(kind: str) -> str:
    return str(Notice.Kind(kind).label)
