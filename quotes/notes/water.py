"""Notes on water: its way under the frame, outlets and who cleans them, the rain that was taken."""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any

from shapely import Point

from framing.engine import length
from framing.reference.clearances import ACROSS, OPEN_UNDER
from framing.reference.drainage import STRAINER, STRAINER_SOURCE
from quotes.notes.facts import Facts
from quotes.notes.note import listed
from quotes.notes.rule import PRACTICE, Rule, Words, always

# Rain of the place itself, and words of a source that speaks of no place.
OF_THE_PLACE = re.compile(r"noaa|atlas 14|rain gauge|weather station", re.IGNORECASE)
OF_NO_PLACE = re.compile(r"\b(invented|assumed|typical|generic|guess\w*|city|example|default)\b", re.IGNORECASE)
LEVEL = 1e-6  # a roof that falls less has no contour [in/in]
HAIR = 1e-9


def _clear_path(facts: Facts) -> Iterator[Words]:
    if facts.gaps:
        least, support = facts.gaps[0]
        mean = sum(gap for gap, _ in facts.gaps) / len(facts.gaps)
        yield {"least": least, "mean": mean, "count": len(facts.gaps), "member": support["member"],
               "value": least, "unit": "in", "where": support["member"]}


def _may_touch(facts: Facts) -> Iterator[Words]:
    """Supports whose clearance is no more than the roof's height may be off by."""
    unsure = [(gap, 2 * float(s.get("roof_se") or facts.level_sigma), s) for gap, s in facts.gaps]
    found = [(gap, error, s) for gap, error, s in unsure if gap <= error + HAIR]
    if found:
        gap, error, support = min(found, key=lambda row: row[0] - row[1])
        yield {"count": len(found), "gap": gap, "error": error, "member": support["member"], "value": gap,
               "limit": error, "unit": "in", "where": support["member"], "status": "caution"}


def _heights_unsure(facts: Facts) -> Iterator[Words]:
    told = facts.framing.get("uncertainty") or {}
    if told.get("least_gap"):
        gap = told["least_gap"]
        yield {"low": gap["p10"], "high": gap["p90"], "value": gap["p10"], "unit": "in"}


def _outlets(facts: Facts) -> Iterator[Words]:
    if facts.outlets:
        named = [f"the {o.get('kind', 'outlet')} at {o.get('point', '?')} ({o.get('purpose') or 'purpose not stated'})"
                 for o in facts.outlets]
        yield {"named": listed(named), "where": ", ".join(str(o.get("point", "")) for o in facts.outlets)}


def _strainers(facts: Facts) -> Iterator[Words]:
    """Drains under the deck with less room over the roof than a strainer is high, by the clearance nearest to each."""
    for outlet in facts.outlets:
        at = facts.points.get(outlet.get("point", ""))
        if outlet.get("kind") != "drain" or at is None or facts.deck is None or not facts.supports:
            continue
        nearest = min(facts.supports, key=lambda s: math.dist(s["at"], at))
        room = float(nearest["clear_gap"])
        if facts.deck.covers(Point(at)) and room < STRAINER - HAIR:
            yield {"point": outlet["point"], "room": length.write(room), "member": nearest["member"], "value": room,
                   "limit": STRAINER, "unit": "in", "where": outlet["point"], "status": "caution"}


def _across(facts: Facts) -> Iterator[Words]:
    """Joists along the roof's contour with too little open under them: clearance less what pads fill of the length."""
    beneath: defaultdict[str, list[Mapping[str, Any]]] = defaultdict(list)
    for support in facts.supports:
        beneath[support["member"]].append(support)
    tight = []
    for member in facts.framing.get("members") or ():
        pads = beneath.get(member["id"])
        (x0, y0), (x1, y1) = member["start"], member["end"]
        run = math.hypot(x1 - x0, y1 - y0)
        if member.get("role") not in ("joist", "edge") or not pads or run < HAIR or not facts.facets:
            continue
        plane = facts.facet_at((x0 + x1) / 2, (y0 + y1) / 2)
        fall = math.hypot(plane["sx"], plane["sy"])
        if fall < LEVEL:
            continue
        down = abs((x1 - x0) * plane["sx"] + (y1 - y0) * plane["sy"]) / run / fall
        filled = sum(pad.get("pad_size", [0.0])[0] for pad in pads) / run
        under = sum(float(pad["clear_gap"]) for pad in pads) / len(pads) * max(1 - filled, 0.0)
        if down <= math.sin(math.radians(ACROSS)) + HAIR and under < OPEN_UNDER - HAIR:
            tight.append((under, member["id"]))
    if tight:
        least, worst = min(tight)
        yield {"count": len(tight), "least": least, "worst": worst, "value": least, "limit": OPEN_UNDER, "unit": "in",
               "where": worst, "status": "caution"}


def _one_outlet(facts: Facts) -> Iterator[Words]:
    primaries = [o for o in facts.outlets if o.get("purpose", "primary") == "primary"]
    if len(primaries) == 1:
        yield {"kind": primaries[0].get("kind", "outlet"), "point": primaries[0].get("point", "?"), "value": 1.0,
               "unit": "outlets", "where": str(primaries[0].get("point", ""))}


def _no_overflow(facts: Facts) -> Iterator[Words]:
    walled = [e for e in facts.edges if e.get("against") in ("house", "parapet")]
    if facts.edges and len(walled) == len(facts.edges) and not any(o.get("purpose") == "overflow"
                                                                  for o in facts.outlets):
        yield {"count": len(walled)}


def _rain(facts: Facts) -> Iterator[Words]:
    if facts.rain.get("primary") is not None:
        source = facts.rain.get("source") or "source not stated"
        secondary = facts.rain.get("secondary")
        yield {"primary": float(facts.rain["primary"]), "rain_source": source, "unit": "in/h",
               "secondary": f" and {float(secondary):g} in/h for the overflow" if secondary is not None else "",
               "value": float(facts.rain["primary"])}


def _no_rain(facts: Facts) -> Iterator[Words]:
    if facts.rain.get("primary") is None:
        yield {}


def _rain_of_no_place(facts: Facts) -> Iterator[Words]:
    source = str(facts.rain.get("source") or "")
    if facts.rain.get("primary") is None or (OF_THE_PLACE.search(source) and not OF_NO_PLACE.search(source)):
        return
    yield {"value": float(facts.rain["primary"]), "unit": "in/h", "status": "caution"}


RAIN: tuple[Rule, ...] = (
    Rule("rain-assumed", "assumption",
         "Rain assumed: {primary:g} in/h for the primary outlets{secondary} ({rain_source}).",
         "build document", "as stated in the build", "building department", _rain, unless="rain-basis"),
    Rule("rain-unknown", "assumption",
         "No rainfall rate was given, so no outlet has been checked for the water that it must carry.",
         "build document", "not given", "building department", _no_rain, unless="rain-not-given"),
    Rule("rain-source", "assumption",
         "The rain taken, {value:g} in/h, is not known to be this place's own. The building department sets the rate "
         "that counts; NOAA Atlas 14 gives rates by place.",
         "build document", "NOAA Atlas 14 for rates by place", "building department", _rain_of_no_place),
)

DRAINAGE: tuple[Rule, ...] = (
    Rule("clear-path", "drainage",
         "Water passes under the frame: the clearance over the roof is {least:.2f} in at the tightest of {count} pads "
         "(on {member}) and {mean:.2f} in on average. Nothing may be stored or left in it.",
         "computed", "computed", "contractor", _clear_path),
    Rule("may-touch-roof", "drainage",
         "At {count} pad(s) the wood may touch the roof: the clearance is {gap:.2f} in under {member}, and the roof's "
         "height there is known to {error:.2f} in (two standard errors). Read the roof there again before cutting.",
         "computed", "computed", "contractor", _may_touch),
    Rule("heights-unsure", "drainage",
         "Heights are known to the accuracy of the survey: in eight of ten cases the least clearance over the roof as "
         "it truly is lies between {low:.2f} and {high:.2f} in. Pads are shimmed on site to the true heights.",
         "computed", "computed: seeded trials within the standard errors of the readings", "contractor",
         _heights_unsure),
    Rule("across-the-water", "drainage",
         "{count} joist(s) lie across the water's way, within "
         f"{ACROSS:g} degrees of the roof's contour, with little open under them: clearance less what the pads fill "
         f"comes to {{least:.2f}} in under {{worst}}, where {OPEN_UNDER:g} in is usual. Leaves and dirt may gather "
         "there.",
         "computed", PRACTICE, "contractor", _across),
    Rule("outlet-reach", "drainage",
         "These outlets stay in place, free of pads, and within reach for cleaning: {named}.",
         "survey", PRACTICE, "contractor", _outlets),
    Rule("strainer", "drainage",
         "The drain at {point} lies under the deck, where wood stands {room} in over the roof (under {member}). A "
         f"strainer commonly rises {STRAINER:g} in; the roofer says whether it fits or a flat one that is cleaned "
         "often takes its place.",
         "computed", STRAINER_SOURCE, "roofer", _strainers),
    Rule("upkeep", "drainage",
         "The owner has outlets, strainers and the space under the deck cleaned at least twice a year, before winter "
         "and after the leaves, and after every storm that leaves debris.",
         "upkeep", PRACTICE, "owner", always),
    Rule("one-outlet", "drainage",
         "One {kind}, at {point}, drains this roof. If it is blocked, water has no second way out at that level.",
         "survey", "survey", "roofer and building department", _one_outlet, unless="single-outlet"),
    Rule("no-overflow", "drainage",
         "All {count} edges stand against walls or parapets and no overflow was found in the survey: where the primary "
         "outlets are blocked, water is held on the roof.",
         "survey", "survey", "building department", _no_overflow, unless="no-overflow"),
)
