"""Papers as HTML: the proposal and its office copy, care sheet and material list, each from a snapshot.

The HTML holds marks where the customer's name, the site and the snapshot's hash belong; they are filled in when the
paper is rendered. So what is kept names nobody, and the hash can cover the HTML that will show it. Its body has classes
alone, no style and no script of its own, so that a page under a strict policy can show it as it was sent.
"""

from __future__ import annotations

import base64
import hashlib
import html
from collections.abc import Mapping, Sequence
from dataclasses import fields
from functools import cache
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string

from framing.engine import length
from framing.papers import lifts_in_words, on_paper
from quotes.notes import SECTIONS, Note, gravest
from quotes.paper.care import care
from quotes.paper.costs import chain_rows, cost_groups
from quotes.paper.materials import supplies
from quotes.paper.notices import printed
from quotes.paper.price_words import escalation, price_in_words
from quotes.paper.scope import count_of, schedule, scope
from quotes.templatetags.paper import money

NAME_MARK, SITE_MARK, HASH_MARK = "[[customer.name]]", "[[job.site]]", "[[snapshot.sha256]]"
PAPER_SIZES = ("letter", "a4")
SILENCED = "silenced"
NOTE_FIELDS = {field.name for field in fields(Note)}


def proposal_html(snapshot: Mapping[str, Any], plan_svg: str, section_svg: str) -> str:
    """The proposal of a snapshot, its marks still open. Notes that were silenced are left off."""
    return render_to_string("paper/proposal.html", _proposal(snapshot, plan_svg, section_svg))


def office_copy_html(snapshot: Mapping[str, Any], plan_svg: str, section_svg: str) -> str:
    """The proposal with what only the office sees: edited notes and why, every line's cost, the way to the price."""
    currency = snapshot["estimate"]["currency"]
    priced = [{"title": "As described in section 1", "estimate": snapshot["estimate"]}]
    priced += [{"title": f"Option {option['key']}: {option['name']}", "estimate": option["estimate"]}
               for option in snapshot.get("options") or ()]
    return render_to_string("paper/office_copy.html", {
        **_proposal(snapshot, plan_svg, section_svg),
        "edited": [note for note in snapshot["notes"] if note.get("edited")],
        "price_lists": snapshot["price_lists"],
        "cost_groups": cost_groups(snapshot["estimate"]),
        "chains": [{"title": one["title"], "rows": chain_rows(one["estimate"], currency),
                    "price": money(one["estimate"]["chain"]["price"], currency)} for one in priced],
    })


def care_sheet_html(snapshot: Mapping[str, Any], plan_svg: str) -> str:
    """What the owner keeps: outlets and panels, the space to keep free, upkeep, what not to put on it, whom to call."""
    return render_to_string("paper/care_sheet.html", {
        **_letter(snapshot), "care": care(snapshot), "scope": scope(snapshot),
        "figures": figures(snapshot["framing"], plan_svg, ""),
    })


def material_list_html(snapshot: Mapping[str, Any]) -> str:
    """What is to be bought, by supplier, with what comes to the curb when and goes up in which lift; no prices."""
    framing = snapshot.get("framing") or {}
    return render_to_string("paper/material_list.html", {
        **_letter(snapshot), "scope": scope(snapshot), "suppliers": supplies(snapshot),
        "lifts": lifts_in_words(framing),
    })


def filled(page: str, *, name: str, site: str, sha256: str) -> str:
    """The page with its marks filled in; names are escaped."""
    for mark, value in ((NAME_MARK, name), (SITE_MARK, ", ".join(_lines(site))), (HASH_MARK, sha256)):
        page = page.replace(mark, html.escape(value))
    return page


def body_of(page: str) -> str:
    """What stands between the page's body tags."""
    return page.partition("<body>")[2].rpartition("</body>")[0]


@cache
def templates_version() -> str:
    """SHA-256 over what papers are made with beside a snapshot: names and bytes of the templates and fonts."""
    found = hashlib.sha256()
    for folder in ("templates/paper", "quotes/static/fonts"):
        for path in sorted((settings.ROOT / folder).iterdir()):
            found.update(f"{folder}/{path.name}\0{path.stat().st_size}\0".encode() + path.read_bytes())
    return found.hexdigest()


def figures(framing: Mapping[str, Any], plan_svg: str, section_svg: str) -> list[dict[str, str]]:
    """Plan and door section as images with a text that stands in for them."""
    members, supports = framing.get("members") or (), framing.get("supports") or ()
    count = count_of(members)
    reveals = (framing.get("plane") or {}).get("reveals") or {}
    steps = ", ".join(f"{length.write(drop)} in at {point}" for point, drop in reveals.items())
    plan = (f"Plan of the deck seen from above: outline with {len(framing.get('outline') or ())} corners, "
            f"{count.get('joist', 0)} joists and {len(supports)} pads on the surveyed roof.")
    surface = f"finished surface {steps} below it" if steps else "finished surface"
    section = f"Sections at the door and where the roof stands highest: sill, {surface}, boards, joist, pad and roof."
    return [
        {"kind": kind, "alt": alt, "data": data_address(on_paper(svg)), "caption": caption}
        for kind, alt, svg, caption in (
            ("plan", plan, plan_svg, "Plan. Drawn from the survey; corner letters are those of the survey."),
            ("section", section, section_svg, "Sections. Heights hang on the survey's datum."),
        ) if svg
    ]


def data_address(svg: str) -> str:
    """A drawing as an address that an image can carry in itself."""
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()


def _letter(snapshot: Mapping[str, Any]) -> dict[str, Any]:
    """What every paper has: who wrote it, for whom, its number, its size."""
    office, size = snapshot["office"], snapshot.get("paper_size") or "letter"
    if size not in PAPER_SIZES:
        raise ValueError(f"a paper size of {size!r} was read; expected one of {', '.join(PAPER_SIZES)}")
    return {
        "paper_size": size,
        "quote": snapshot["quote"],
        "office": {**office, **{f"{name}_lines": _lines(office.get(name) or "")
                                for name in ("address", "notices", "warranty")}},
        "person": {"name": NAME_MARK, "site": SITE_MARK},
        "snapshot_mark": HASH_MARK,
    }


def _proposal(snapshot: Mapping[str, Any], plan_svg: str, section_svg: str) -> dict[str, Any]:
    acknowledged = {row["key"]: row for row in snapshot.get("acknowledgements") or ()}
    notes = _to_print(snapshot["notes"], acknowledged)
    first = [(note.key, note.text) for note in gravest([_note(row) for row in notes])]
    grave = [next(row for row in notes if (row["key"], row["text"]) == key) for key in first]
    return {
        **_letter(snapshot),
        "currency": snapshot["estimate"]["currency"],
        "scope": scope(snapshot),
        "price": price_in_words(snapshot["estimate"]),
        "options": [_option(option, acknowledged) for option in snapshot.get("options") or ()],
        "changes": snapshot.get("changes"),
        "acknowledgements": list(acknowledged.values()),
        "grave": grave,
        "more_cautions": sum(row["status"] in ("stop", "caution") for row in notes) - len(grave),
        "sections": {section: [row for row in notes if row["section"] == section] for section in SECTIONS},
        "figures": figures(snapshot["framing"], plan_svg, section_svg),
        "schedule": schedule(snapshot),
        "escalation": escalation(snapshot),
        "notices": [printed(notice) for notice in snapshot.get("notices") or ()],
    }


def _option(option: Mapping[str, Any], acknowledged: Mapping[str, Any]) -> dict[str, Any]:
    """Another way to build the deck: what it is, and what there is to know that the base has not."""
    return {**option, "title": scope(option)["title"], "payments": price_in_words(option["estimate"])["payments"],
            "notes": _to_print(option.get("notes") or (), acknowledged)}


def _to_print(notes: Sequence[Mapping[str, Any]], acknowledged: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [{**note, "acknowledged": acknowledged.get(note["key"])} for note in notes if note.get("edited") != SILENCED]


def _note(row: Mapping[str, Any]) -> Note:
    return Note(**{name: value for name, value in row.items() if name in NOTE_FIELDS})


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]
