"""The demo's snapshot with everything that a proposal can hold, and with the longest names that people come with."""

import copy
from datetime import date
from decimal import Decimal
from typing import Any

LONG_WORD = "Dachterrassenbretterbefestigungsschraubenherstellungsgesellschaft"
LONG_NAME = f"Maximiliane-Wilhelmine Freifrau von und zu {LONG_WORD}-Niederoberhausen und Partner mbB"
LONG_SITE = ("Hinterhaus im vierten Obergeschoss, Aufgang rechts neben der ehemaligen Schlosserei\n"
             "Oberbürgermeister-Fictionalhausener-Straße 1234567 a bis g, Zugang über den Innenhof\n"
             f"{LONG_WORD}\n00000 Sampleton an der erfundenen Aue, Ortsteil Unterfictionalbach")

SIGNED_AT = "2026-03-18T22:04:05+00:00"
RECORD = {
    "accepted_at": SIGNED_AT, "time_zone": "America/New_York", "currency": "USD",
    "option": {"key": "A", "name": "Ipe instead of cumaru", "price": "24310.55"}, "price": "24310.55",
    "signatures": [
        {"role": "owner", "name": "Odette Marlowe", "at": SIGNED_AT, "sha256": "a1" * 32},
        {"role": "co-owner", "name": "Ambrose Marlowe", "at": SIGNED_AT, "sha256": "b2" * 32},
        {"role": "office", "name": "Rosalind Harrow", "at": SIGNED_AT, "sha256": "c3" * 32},
    ],
    "agreed_where": "418 Fictional Quay #4R", "transaction_date": "2026-03-18", "cancel_by": "2026-03-21",
    "notices": [
        {"title": "Notice of cancellation", "text": "Dated March 18, 2026.\nYou may cancel until midnight of March 21, "
         "2026.", "copies": 2, "point_size": 12, "bold": True},
        {"title": "Lien notice", "text": "Those who help to improve your property may have a claim.", "copies": 1,
         "point_size": 10, "bold": False},
    ],
    "consent": {"version": "1", "text": "I agree to sign and to receive this contract electronically.",
                "at": "2026-03-18T22:00:00+00:00"},
}


def enriched(snapshot: dict[str, Any], *, long: bool = False, options: int = 2) -> dict[str, Any]:
    """The snapshot with options, changes, acknowledgements, notices and edited notes; `long` with names that are."""
    rich = copy.deepcopy(snapshot)
    rich["quote"] |= {"revision": 2, "valid_because": "the office's 30 days; no price list ends before"}
    names = [("Ipe instead of cumaru", "Ipe boards of the same size"),
             ("A border of two courses", "Mitred at the corners")]
    if long:
        names = [(f"{LONG_WORD} aus Robinienholz"[:80], LONG_WORD), ("Umlaufender Fries " * 4, "Auf Gehrung " * 20)]
        rich["office"] |= {"name": f"{LONG_WORD} Harrow & Finch", "address": LONG_SITE,
                           "email": f"{LONG_WORD}@example.com", "license_number": LONG_WORD}
        rich["estimate"]["groups"][0] |= {"title": LONG_WORD, "holds": LONG_WORD}
        rich["estimate"]["payments"][0]["milestone"] = f"{LONG_WORD} " * 3
        rich["notes"][0] |= {"text": f"{LONG_WORD} " * 4, "source": LONG_WORD, "decided_by": LONG_WORD}
        for line in rich["estimate"]["lines"][:4]:
            line["description"] = LONG_WORD
            line["came_from"] |= {"supplier": f"{LONG_WORD} Holz", "sku": LONG_WORD}
    rich["options"] = [_option(rich, "ABCDEFGH"[place], *names[place % 2], place) for place in range(options)]
    rich["changes"] = {"since": 1, "why": "The owner asked for wider boards by the door.", "items": [
        {"what": "Price", "before": "$22,900.00", "after": f"${Decimal(rich['estimate']['chain']['price']):,.2f}"},
        {"what": LONG_WORD if long else "Boards", "before": "cumaru 5/4x4", "after": "cumaru 5/4x6"},
    ]}
    found = next(note for note in rich["notes"] if note["acknowledge"])
    rich["acknowledgements"] = [{
        "key": found["key"], "text": found["text"], "name": LONG_NAME if long else "Rosalind Harrow",
        "reason": "The engineer has the drawing and answers before delivery.", "at": "2026-03-16T15:00:00+00:00",
    }]
    rich["notes"][-1] |= {"edited": "silenced", "edit_reason": "There is no old deck on this roof.",
                          "edit_by": "Rosalind Harrow", "original": ""}
    rich["notes"][-2] |= {"edited": "reworded", "original": rich["notes"][-2]["text"], "edit_by": "Rosalind Harrow",
                          "edit_reason": "The owner asked what counts as furniture.",
                          "text": "Railings, planters, benches and lighting."}
    rich["notices"] = [_notice("right to cancel", "Notice of cancellation", "acceptance", copies=2, point_size=12,
                               bold=True, blanks=["transaction_date", "cancel_by"],
                               text="Dated {{transaction_date}}.\nYou may cancel until midnight of {{cancel_by}}."),
                       _notice("lien", "Lien notice", "proposal", text="Those who help to improve your property may "
                               "have a claim on it.\nAsk for releases with each payment."),
                       _notice("insurance", "Insurance", "proposal", text="Insured by {{insurer}}.",
                               missing=["the name of the insurer", "its telephone number"])]
    return rich


def _option(rich: dict[str, Any], key: str, name: str, words: str, place: int) -> dict[str, Any]:
    """Another way to build it, dearer or cheaper by a sum whose payments add up."""
    estimate = copy.deepcopy(rich["estimate"])
    more = Decimal("1276.66") if place % 2 == 0 else Decimal("-310.10")
    price = Decimal(estimate["chain"]["price"]) + more
    estimate["chain"] |= {"price": str(price), "sale": str(price)}
    last = estimate["payments"][-1]
    last["amount"] = str(Decimal(last["amount"]) + more)
    note = {**rich["notes"][0], "key": f"only-{key}", "edited": "", "text": f"Boards of option {key} come in two lots."}
    return {"key": key, "name": name, "words": words, "quote": 7, "build": rich["build"], "framing": rich["framing"],
            "estimate": estimate, "price": str(price), "difference": str(more), "notes": [note]}


def _notice(kind: str, title: str, placement: str, *, text: str, **more: Any) -> dict[str, Any]:
    return {"kind": kind, "title": title, "jurisdiction": "Sampleton ST (fictional)", "text": text,
            "placement": placement, "copies": 1, "point_size": 10, "bold": False, "source": "invented for a test",
            "said_by": "nobody", "valid_from": date(2026, 1, 1).isoformat(), "review_by": "2026-12-31", "blanks": [],
            "missing": [], **more}
