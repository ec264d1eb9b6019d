"""What changed from one revision to the next: two snapshots compared, told in words. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any

from quotes.paper.scope import net_area_sqft
from quotes.templatetags.paper import money

MOST = 40  # rows that are printed; what is more is counted
QUIET = ("name", "format", "stock_prices")  # of a build: what changes nothing that is built
ROLES = {"joist": "Joists", "rim": "Rims", "edge": "Edge joists", "blocking": "Blocking", "border": "Border members"}


@dataclass(frozen=True)
class Change:
    """One thing that is not as it was."""

    what: str
    before: str
    after: str

    def as_json(self) -> dict[str, str]:
        return asdict(self)


def changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[Change]:
    """Every difference that matters to who pays or builds: price, options, deck, quantities, what is told.

    Both are snapshots of one quote. What is more than `MOST` is counted in the last row.
    """
    found = [change for change in _all(before, after) if change.before != change.after]
    if len(found) > MOST:
        more = len(found) - MOST + 1
        found = [*found[: MOST - 1], Change("Further changes", "", f"{more}, in the papers of both revisions")]
    return found


def _all(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[Change]:
    currency = after["estimate"]["currency"]
    old, new = before["estimate"], after["estimate"]
    yield Change("Price", money(old["chain"]["price"], currency), money(new["chain"]["price"], currency))
    yield Change("Valid until", before["quote"]["valid_until"], after["quote"]["valid_until"])
    yield from _rows("Option", _options(before, currency), _options(after, currency))
    yield from _rows("", _groups(old, currency), _groups(new, currency))
    yield Change("Progress payments", _payments(old, currency), _payments(new, currency))
    yield Change("Discount", _discount(old, currency), _discount(new, currency))
    yield from _rows("Allowance", _allowances(before, currency), _allowances(after, currency))
    yield from _rows("Work besides", _recipes(old), _recipes(new))
    yield Change("Deck", f"{net_area_sqft(before['framing']):.1f} ft²", f"{net_area_sqft(after['framing']):.1f} ft²")
    yield from _rows("", _counts(before), _counts(after))
    yield from _rows("Build: ", _leaves(before["build"]), _leaves(after["build"]))
    yield Change("Survey", _survey(before), _survey(after))
    yield Change("Prices of", before["quote"]["priced_on"], after["quote"]["priced_on"])
    yield from _notes(before, after)


def _rows(title: str, before: Mapping[str, str], after: Mapping[str, str]) -> Iterator[Change]:
    for name in dict.fromkeys((*before, *after)):
        spaced = f"{title} {name}" if title and not title.endswith(" ") else f"{title}{name}"
        yield Change(spaced, before.get(name, "none"), after.get(name, "none"))


def _options(snapshot: Mapping[str, Any], currency: str) -> dict[str, str]:
    return {option["name"]: money(option["price"], currency) for option in snapshot.get("options") or ()}


def _groups(estimate: Mapping[str, Any], currency: str) -> dict[str, str]:
    return {group["title"]: money(group["amount"], currency) for group in estimate["groups"]}


def _payments(estimate: Mapping[str, Any], currency: str) -> str:
    return "; ".join(f"{money(row['amount'], currency)} {row['milestone']}" for row in estimate["payments"])


def _discount(estimate: Mapping[str, Any], currency: str) -> str:
    given = estimate.get("discount")
    return f"{money(estimate['chain']['discount'], currency)}, {given['reason']}" if given else "none"


def _allowances(snapshot: Mapping[str, Any], currency: str) -> dict[str, str]:
    rows = (snapshot.get("agreed") or {}).get("allowances") or ()
    return {row["name"]: money(row["amount"], currency) for row in rows}


def _recipes(estimate: Mapping[str, Any]) -> dict[str, str]:
    return {row["name"]: f"{round(float(row['quantity']), 2):g} {row['unit']}" for row in estimate.get("recipes") or ()}


def _counts(snapshot: Mapping[str, Any]) -> dict[str, str]:
    roles = [member["role"] for member in snapshot["framing"].get("members") or ()]
    counts = {name: str(roles.count(role)) for role, name in ROLES.items() if role in roles}
    return counts | {"Pads": str(len(snapshot["framing"].get("supports") or ()))}


def _survey(snapshot: Mapping[str, Any]) -> str:
    survey = snapshot["survey"]
    told = f"{len(survey.get('tapes') or ())} tapes, {len(survey.get('shots') or ())} levels"
    return f"{told}, of {survey['surveyed_on']}" if survey.get("surveyed_on") else told


def _leaves(document: Any, path: str = "") -> dict[str, str]:
    """Every value of a build by its path in words: `decking width`."""
    if isinstance(document, Mapping):
        found: dict[str, str] = {}
        for name, value in document.items():
            if name not in QUIET:
                found |= _leaves(value, f"{path} {name.replace('_', ' ')}".strip())
        return found
    if isinstance(document, list):
        return {path: ", ".join(_plain(value) for value in document)}
    return {path: _plain(document)}


def _plain(value: Any) -> str:
    if isinstance(value, list):
        return " × ".join(_plain(inner) for inner in value)
    if isinstance(value, bool) or value is None:
        return {True: "yes", False: "no", None: "none"}[value]
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {_plain(inner)}" for name, inner in value.items())
    return f"{Decimal(str(value)).normalize():f}" if isinstance(value, int | float) else str(value)


def _notes(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[Change]:
    """Cautions and what others decide that came or went; wording that only follows a number is not told again."""
    old, new = _told(before), _told(after)
    silent = {(note["key"], note["where"]) for note in after["notes"] if note.get("edited") == "silenced"}
    for key in dict.fromkeys((*old, *new)):
        if key in silent:
            continue  # it is as it was, though it is not printed any more
        if key not in old:
            yield Change("New to know", "", new[key])
        elif key not in new:
            yield Change("No longer so", old[key], "")


def _told(snapshot: Mapping[str, Any]) -> dict[tuple[str, str], str]:
    return {(note["key"], note["where"]): note["text"] for note in snapshot["notes"]
            if note["section"] in ("caution", "deferral", "drainage") and note.get("edited") != "silenced"}
