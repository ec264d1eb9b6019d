"""Notes on what others decide: an engineer, the building department, the roofer."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from framing.reference.drainage import RAIN_LOAD
from framing.reference.guards import (
    GUARD_DROP,
    GUARD_HEIGHT,
    GUARD_HEIGHT_OTHER,
    GUARD_HEIGHT_SOURCE,
    GUARD_REACH,
    GUARD_SOURCE,
)
from framing.reference.roofs import (
    BALLAST,
    CITY_SHARE,
    FIRE_SOURCE,
    LOT_LINE,
    MATERIALS,
    MEMBRANES,
    PAIRS,
    WIND_HEIGHT,
    WIND_SOURCE,
)
from quotes.notes.facts import Facts, edge_name
from quotes.notes.note import listed
from quotes.notes.rule import PRACTICE, Rule, Words, always

OPEN_COUNTRY = re.compile(r"\b(c|d|coast\w*|shore\w*|ocean\w*|sea)\b", re.IGNORECASE)
NONCOMBUSTIBLE = re.compile(r"^\s*(type\s*)?(i{1,2}|[12])\s*-?\s*[ab]?\s*$", re.IGNORECASE)
NEW_YORK_CITY = re.compile(r"\b(new york city|new york,? ny|nyc|manhattan|brooklyn|queens|bronx|staten island)\b",
                           re.IGNORECASE)
HAIR = 1e-9


def _roof_load(facts: Facts) -> Iterator[Words]:
    loads, worst = facts.framing.get("loads") or {}, facts.most("reaction_most")
    if loads.get("dead") is not None:
        pad = f", and up to {worst['reaction_most']:.0f} lb on one pad ({worst['member']})" if worst else ""
        yield {"dead": float(loads["dead"]), "live": float(loads.get("live") or 0), "pad": pad,
               "value": float(loads["dead"]), "unit": "psf"}


def _bearing(facts: Facts) -> Iterator[Words]:
    worst, strength = facts.most("pressure"), facts.roof.get("insulation_strength")
    if worst:
        rated = f"the insulation's rated strength was given as {strength} psi" if strength else \
            "the insulation's strength is not known"
        yield {"pressure": float(worst["pressure"]), "rated": rated, "value": float(worst["pressure"]),
               "limit": float(strength) if strength else None, "unit": "psi", "where": worst["member"]}


def _wind(facts: Facts) -> Iterator[Words]:
    """What was surveyed that bears on wind, and what of it counts against a deck that lies loose."""
    site, against = facts.site, []
    height = None if site.get("height_above_grade") is None else facts.inches(site["height_above_grade"])
    known = [f"{height / 12:g} ft above grade"] if height is not None else []
    known += [f"exposure {site['exposure']}"] if site.get("exposure") else []
    if height is not None and height > WIND_HEIGHT + HAIR:
        against.append(f"it lies over {WIND_HEIGHT / 12:g} ft high")
    if OPEN_COUNTRY.search(str(site.get("exposure") or "")):
        against.append("the place is open to the wind")
    if bare := [edge_name(edge) for edge in facts.edges if edge.get("against") == "open"]:
        against.append(f"no parapet stands at {listed(bare)}")
    dead = (facts.framing.get("loads") or {}).get("dead")
    if dead is not None and float(dead) < BALLAST - HAIR:
        against.append(f"the deck weighs {float(dead):.1f} psf, where pavers laid loose as ballast weigh {BALLAST:g} "
                       "psf or more")
    yield {"known": f" Surveyed: {', '.join(known)}." if known else
           " Height above grade and exposure were not surveyed.",
           "against": f" Against it here: {listed(against)}." if against else "",
           "value": None if dead is None else float(dead), "limit": BALLAST, "unit": "psf",
           "status": "caution" if against else "note"}


def _fire(facts: Facts) -> Iterator[Words]:
    site, against = facts.site, []
    lot = None if site.get("lot_line_distance") is None else facts.inches(site["lot_line_distance"])
    known = [f"{name.replace('_', ' ')} {site[name]}" for name in ("construction_type", "occupancy") if site.get(name)]
    known += [f"{lot / 12:g} ft to the lot line"] if lot is not None else []
    if NONCOMBUSTIBLE.match(str(site.get("construction_type") or "")):
        against.append("wood on a building of type I or II is for the building department to allow")
    if lot is not None and lot < LOT_LINE - HAIR:
        against.append(f"the lot line is nearer than {LOT_LINE / 12:g} ft")
    roof, deck = facts.adjustment.get("area_sqft"), facts.deck
    city = NEW_YORK_CITY.search(facts.jurisdiction)
    if city and roof and deck is not None and deck.area / 144 / float(roof) > CITY_SHARE + HAIR:
        against.append(f"New York City limits wood decks to {CITY_SHARE:.0%} of a roof's level, and this one takes "
                       f"{deck.area / 144 / float(roof):.0%} of the roof that was surveyed")
    yield {"known": f" Surveyed: {', '.join(known)}." if known else
           " Construction type, occupancy and distance to the lot line were not surveyed.",
           "against": f" Mind: {listed(against)}." if against else "", "value": lot,
           "limit": None if lot is None else LOT_LINE, "unit": "" if lot is None else "in",
           "status": "caution" if against else "note"}


def _guards(facts: Facts) -> Iterator[Words]:
    """Edges near the deck with more than 30 in from its surface down to what lies beyond, or open ones where nobody
    measured it."""
    high, unknown, drops = [], [], []
    priced = "" if "guard" in facts.priced else "; no guard is part of this price"
    for edge in facts.edges:
        if edge.get("against") == "house" or not facts.is_near_deck(edge):
            continue
        if edge.get("drop_beyond") is None:
            unknown += [edge_name(edge)] if edge.get("against") == "open" else []
            continue
        drop = facts.inches(edge["drop_beyond"]) + max([0.0, *facts.surface_along(edge)])
        if drop > GUARD_DROP + HAIR:
            high.append((f"{drop / 12:.1f} ft down", edge_name(edge)))
            drops.append(drop)
    if high:
        yield {"edges": f"From the deck it is {_grouped(high)}.",
               "priced": priced, "value": max(drops), "limit": GUARD_DROP, "unit": "in",
               "where": ", ".join(name for _, name in high)}
    if unknown:
        yield {"edges": f"How far down it is from the deck at {listed(unknown)} was not measured.", "priced": priced,
               "where": ", ".join(unknown)}


def _low_parapets(facts: Facts) -> Iterator[Words]:
    """Parapets that stand lower over the deck than a guard, but for those with no drop behind that asks for one."""
    low = []
    for edge in facts.edges:
        over = facts.surface_along(edge)
        if edge.get("against") != "parapet" or edge.get("height") is None or not over or not facts.is_near_deck(edge):
            continue
        beyond = edge.get("drop_beyond")
        if beyond is not None and facts.inches(beyond) + max(0.0, *over) <= GUARD_DROP + HAIR:
            continue
        stands = facts.inches(edge["height"]) - max(over)
        if stands < GUARD_HEIGHT_OTHER - HAIR:
            low.append((stands, edge_name(edge)))
    if low:
        yield {"walls": _grouped([(f"{stands:.1f} in", name) for stands, name in low]), "value": min(low)[0],
               "limit": GUARD_HEIGHT_OTHER, "unit": "in", "where": ", ".join(name for _, name in low),
               "status": "caution"}


def _grouped(told: Sequence[tuple[str, str]]) -> str:
    """(figure, side) pairs in words, sides of one figure together: 34.5 in at B–C and C–D, 34.8 in at D–A."""
    sides = {figure: [name for other, name in told if other == figure] for figure, _ in told}
    return ", ".join(f"{figure} at {listed(names)}" for figure, names in sides.items())


def _membrane(facts: Facts) -> Iterator[Words]:
    """The membrane, what lies on it, and whether one harms the other."""
    membrane, supports = facts.roof.get("membrane"), facts.build.get("supports") or {}
    laid = [str(supports[name]) for name in ("pad_material", "base_material") if supports.get(name)]
    harm = [pair for pair in PAIRS if membrane and re.search(MEMBRANES[pair.membrane], membrane, re.IGNORECASE)
            and any(re.search(MATERIALS[pair.material], words, re.IGNORECASE) for words in laid)]
    yield {"membrane": membrane or "kind not known",
           "laid": f"of {listed(laid)} " if laid else "",
           "harm": "".join(f" Mind: {pair.words} ({pair.source})." for pair in harm),
           "ask": "" if laid else " What they are made of is not stated yet.",
           "status": "caution" if harm or not membrane else "note"}


def _warranty(facts: Facts) -> Iterator[Words]:
    if facts.contract is not None and facts.contract.overburden_approved:
        return
    holder = facts.roof.get("warranty_holder")
    yield {"holder": f"held by {holder}" if holder else "holder not known"}


def _ways_out(facts: Facts) -> Iterator[Words]:
    doors = facts.survey.get("doors") or ()
    exits = [door.get("name", "a door") for door in doors if door.get("egress")]
    yield {"known": f" Surveyed as a required exit: {listed(exits)}." if exits else
           " No door was surveyed as a required exit.", "where": ", ".join(exits)}


DEFERRALS: tuple[Rule, ...] = (
    Rule("roof-load", "deferral",
         "The deck adds {dead:.1f} psf of its own weight and carries {live:.0f} psf live load{pad}. Whether the roof "
         "and its structure can carry this is for an engineer.",
         "computed", "computed from the build", "structural engineer", _roof_load, unless="weight"),
    Rule("bearing", "deferral",
         "The most heavily loaded pad presses {pressure:.1f} psi on the roof; {rated}.",
         "computed", "computed; strength as surveyed", "roofer", _bearing, unless="bearing"),
    Rule("blocked-drain-load", "deferral",
         "With the primary outlets blocked, water rises to the overflow and its head above it; each inch of it weighs "
         f"{RAIN_LOAD:g} psf. The rain load on the structure is for an engineer.",
         "rain load", f"ASCE 7-16 Eq. 8.3-1, R = {RAIN_LOAD:g} (ds + dh)", "structural engineer", always,
         unless=("blocked-primary-load", "blocked-primary-depth")),
    Rule("wind", "deferral",
         "The deck rests on the roof by its weight and is not fastened through the membrane. Wind uplift and sliding "
         "are for an engineer.{known}{against}",
         "site", WIND_SOURCE, "structural engineer", _wind),
    Rule("fire", "deferral",
         "Fire classification of the roof with a combustible deck on it, and its distance to lot lines, are for the "
         "building department.{known}{against}",
         "site", FIRE_SOURCE, "building department", _fire),
    Rule("guards", "deferral",
         "{edges} Height, strength and fixing of guards, measured from the new surface, are for the building "
         "department{priced}.",
         "survey", f"{GUARD_SOURCE}: a drop of more than {GUARD_DROP:g} in within {GUARD_REACH:g} in of the edge",
         "building department", _guards),
    Rule("parapet-low", "deferral",
         "The deck raises the floor, so that parapets stand lower over it: {walls}. Codes ask guards of "
         f"{GUARD_HEIGHT:g} in at houses and {GUARD_HEIGHT_OTHER:g} in elsewhere; which of them holds, and what a "
         "parapet counts for, is for the building department.",
         "computed", GUARD_HEIGHT_SOURCE, "building department", _low_parapets),
    Rule("ways-out", "deferral",
         "Ways out from the roof, and how many people may be on it, are for the building department.{known}",
         "survey", "survey", "building department", _ways_out),
    Rule("membrane", "deferral",
         "Pads and slip sheets {laid}touch the membrane ({membrane}).{harm}{ask} Its maker's approval in writing is "
         "needed before delivery.",
         "survey", PRACTICE, "roofer", _membrane),
    Rule("warranty", "deferral",
         "The roof's warranty ({holder}) may exclude what is laid on it; its holder must agree in writing.",
         "survey", PRACTICE, "roofer", _warranty),
)
