"""Notes: rules that turn what was computed and surveyed into what the proposal says beside its price.

Two sources feed them. Every check of the framing is placed in a section by its code (`PLACES`); a code that stands
nowhere goes by its status, so no finding is lost. The rules of `RULES` say what the survey and the framing call for
even when nothing failed. A note gives the number, the basis, the source and who decides; none says that anything
meets a code.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import cached_property
from typing import Any, Literal

from framing.engine import length, places
from framing.reference.drainage import RAIN_LOAD
from framing.reference.guards import GUARD_DROP, GUARD_REACH, GUARD_SOURCE

# A place in the survey's frame, as checks tell it, with the same in words behind it where it has those.
COORDINATES = re.compile(r"(?:\b([Aa]t) )?\bx (-?\d+), y (-?\d+)(?: \(((?:at |[^()]* in (?:from|past) )[^()]*)\))?")

Section = Literal["caution", "assumption", "drainage", "deferral", "exclusion", "allowance"]
SECTIONS: tuple[Section, ...] = ("caution", "assumption", "drainage", "deferral", "exclusion", "allowance")


@dataclass(frozen=True)
class Note:
    """One sentence of the proposal and what it rests on. `value` and `limit` are in `unit`."""

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

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


@dataclass(frozen=True)
class Facts:
    """What the rules may ask: the three documents as they were stored, lengths read into inches."""

    survey: Mapping[str, Any]
    build: Mapping[str, Any]
    framing: Mapping[str, Any]
    priced: frozenset[str] = frozenset()  # kinds of recipes that the price holds

    def inches(self, value: Any, document: Mapping[str, Any] | None = None) -> float:
        return float(length.read(value, (self.survey if document is None else document).get("unit", "in")))

    @property
    def adjustment(self) -> Mapping[str, Any]:
        return self.framing.get("survey_adjustment") or {}

    @property
    def roof(self) -> Mapping[str, Any]:
        return self.survey.get("roof") or {}

    @property
    def site(self) -> Mapping[str, Any]:
        return self.survey.get("site") or {}

    @property
    def rain(self) -> Mapping[str, Any]:
        return self.build.get("rain") or {}

    @property
    def outlets(self) -> list[Mapping[str, Any]]:
        return list(self.survey.get("outlets") or ())

    @property
    def edges(self) -> list[Mapping[str, Any]]:
        return list(self.survey.get("edges") or ())

    @cached_property
    def gaps(self) -> list[tuple[float, Mapping[str, Any]]]:
        """Clearance over the roof at every support, least first. [in]"""
        supports = self.framing.get("supports") or ()
        return sorted(((float(s["clear_gap"]), s) for s in supports), key=lambda pair: pair[0])

    def most(self, field: str) -> Mapping[str, Any] | None:
        supports = [s for s in self.framing.get("supports") or () if s.get(field) is not None]
        return max(supports, key=lambda s: s[field], default=None)

    def site_words(self, *fields: str) -> str:
        return ", ".join(f"{name.replace('_', ' ')} {self.site[name]}" for name in fields if self.site.get(name))


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

# Beginnings of codes, the gravest first: water in the house, water in the wood, cuts that are wrong, the roofer's own.
# Our judgement; it decides only what stands on the first page.
GRAVE: tuple[str, ...] = (
    "blocked-primary", "no-outlet", "no-overflow", "water-under-joists", "clear-gap", "misclosure", "datum-drift",
    "level-suspect", "deck-above-sill", "membrane-upturn", "bearing", "regrade", "single-outlet", "pond",
)
FIRST_PAGE = 5  # cautions
FOR_THE_ROOF = ("measure-next",)  # advice to whoever surveys, of no use to a homeowner


@dataclass(frozen=True)
class Rule:
    """One note: when it is called for and with which words. `find` yields the words once for each place."""

    key: str
    section: Section
    text: str
    basis: str
    source: str
    decided_by: str
    find: Callable[[Facts], Iterable[dict[str, Any]]]
    unless: str | tuple[str, ...] = ""  # the beginnings of checks' codes that say the same with more to it


def _always(facts: Facts) -> Iterator[dict[str, Any]]:
    yield {}


def _survey_accuracy(facts: Facts) -> Iterator[dict[str, Any]]:
    survey, misclosure = facts.survey, facts.adjustment.get("misclosure")
    when = f" on {survey['surveyed_on']}" if survey.get("surveyed_on") else ""
    by = f" by {survey['surveyor']}" if survey.get("surveyor") else ""
    tape = length.write(facts.inches(survey.get("tape_sigma", 0.125), survey if "tape_sigma" in survey else {}))
    level = length.write(facts.inches(survey.get("level_sigma", 0.0625), survey if "level_sigma" in survey else {}))
    closes = f"the tapes do not close by {misclosure:.2f} in" if misclosure else "no tape stands to check another"
    yield {"when": when, "by": by, "tape": tape, "level": level, "closes": closes, "value": misclosure, "unit": "in"}


def _datum(facts: Facts) -> Iterator[dict[str, Any]]:
    datum = facts.survey.get("datum") or {}
    if datum.get("what"):
        where = f", {datum['where']}" if datum.get("where") else ""
        yield {"what": datum["what"], "place": where}


def _clear_path(facts: Facts) -> Iterator[dict[str, Any]]:
    if facts.gaps:
        least, support = facts.gaps[0]
        mean = sum(gap for gap, _ in facts.gaps) / len(facts.gaps)
        yield {"least": least, "mean": mean, "count": len(facts.gaps), "member": support["member"],
               "value": least, "unit": "in", "where": support["member"]}


def _heights_unsure(facts: Facts) -> Iterator[dict[str, Any]]:
    told = facts.framing.get("uncertainty") or {}
    if told.get("least_gap"):
        gap = told["least_gap"]
        yield {"low": gap["p10"], "high": gap["p90"], "value": gap["p10"], "unit": "in"}


def _outlets(facts: Facts) -> Iterator[dict[str, Any]]:
    if facts.outlets:
        named = [f"the {o.get('kind', 'outlet')} at {o.get('point', '?')} ({o.get('purpose') or 'purpose not stated'})"
                 for o in facts.outlets]
        yield {"named": listed(named), "where": ", ".join(str(o.get("point", "")) for o in facts.outlets)}


def _rain(facts: Facts) -> Iterator[dict[str, Any]]:
    if facts.rain.get("primary") is not None:
        source = facts.rain.get("source") or "source not stated"
        secondary = facts.rain.get("secondary")
        yield {"primary": float(facts.rain["primary"]), "rain_source": source, "unit": "in/h",
               "secondary": f" and {float(secondary):g} in/h for the overflow" if secondary is not None else "",
               "value": float(facts.rain["primary"])}


def _no_rain(facts: Facts) -> Iterator[dict[str, Any]]:
    if facts.rain.get("primary") is None:
        yield {}


def _one_outlet(facts: Facts) -> Iterator[dict[str, Any]]:
    primaries = [o for o in facts.outlets if o.get("purpose", "primary") == "primary"]
    if len(primaries) == 1:
        yield {"kind": primaries[0].get("kind", "outlet"), "point": primaries[0].get("point", "?"), "value": 1.0,
               "unit": "outlets", "where": str(primaries[0].get("point", ""))}


def _no_overflow(facts: Facts) -> Iterator[dict[str, Any]]:
    walled = [e for e in facts.edges if e.get("against") in ("house", "parapet")]
    if facts.edges and len(walled) == len(facts.edges) and not any(o.get("purpose") == "overflow"
                                                                  for o in facts.outlets):
        yield {"count": len(walled)}


def _roof_load(facts: Facts) -> Iterator[dict[str, Any]]:
    loads, worst = facts.framing.get("loads") or {}, facts.most("reaction_most")
    if loads.get("dead") is not None:
        pad = f", and up to {worst['reaction_most']:.0f} lb on one pad ({worst['member']})" if worst else ""
        yield {"dead": float(loads["dead"]), "live": float(loads.get("live") or 0), "pad": pad,
               "value": float(loads["dead"]), "unit": "psf"}


def _bearing(facts: Facts) -> Iterator[dict[str, Any]]:
    worst, strength = facts.most("pressure"), facts.roof.get("insulation_strength")
    if worst:
        rated = f"the insulation's rated strength was given as {strength} psi" if strength else \
            "the insulation's strength is not known"
        yield {"pressure": float(worst["pressure"]), "rated": rated, "value": float(worst["pressure"]),
               "limit": float(strength) if strength else None, "unit": "psi", "where": worst["member"]}


def _wind(facts: Facts) -> Iterator[dict[str, Any]]:
    known = facts.site_words("height_above_grade", "exposure", "stories")
    yield {"known": f" Surveyed: {known}." if known else " Height above grade and exposure were not surveyed."}


def _fire(facts: Facts) -> Iterator[dict[str, Any]]:
    known = facts.site_words("construction_type", "occupancy", "lot_line_distance")
    yield {"known": f" Surveyed: {known}." if known else
           " Construction type, occupancy and distance to the lot line were not surveyed."}


def _guards(facts: Facts) -> Iterator[dict[str, Any]]:
    """Edges with more than 30 in to what lies beyond, or open ones where nobody measured it."""
    high, unknown, drops = [], [], []
    priced = "" if "guard" in facts.priced else "; no guard is part of this price"
    for edge in facts.edges:
        name, beyond, height = f"{edge.get('from')}–{edge.get('to')}", edge.get("drop_beyond"), edge.get("height")
        if edge.get("against") == "house":
            continue
        if beyond is None:
            unknown += [name] if edge.get("against") == "open" else []
            continue
        drop = facts.inches(beyond)
        if drop > GUARD_DROP:
            wall = f", parapet {length.write(facts.inches(height))} in over the roof" if height is not None else ""
            high.append(f"{name} ({drop / 12:.1f} ft{wall})")
            drops.append(drop)
    if high:
        yield {"edges": f"The roof drops away at {listed(high)}.", "priced": priced, "value": max(drops),
               "limit": GUARD_DROP, "unit": "in", "where": ", ".join(name.split(" ")[0] for name in high)}
    if unknown:
        yield {"edges": f"How far the roof drops away at {listed(unknown)} was not measured.", "priced": priced,
               "where": ", ".join(unknown)}


def _membrane(facts: Facts) -> Iterator[dict[str, Any]]:
    yield {"membrane": facts.roof.get("membrane") or "kind not known"}


def _roof_condition(facts: Facts) -> Iterator[dict[str, Any]]:
    age = facts.roof.get("age")
    seen = facts.roof.get("inspected_on")
    yield {"age": f"{age} years old as told" if age is not None else "age not known",
           "seen": f", inspected on {seen}" if seen else ", no inspection on record"}


def _authority(facts: Facts) -> Iterator[dict[str, Any]]:
    where, edition = facts.site.get("jurisdiction"), facts.site.get("code_edition")
    yield {"known": " ".join(str(word) for word in (where, edition) if word) or "not stated in the survey"}


def _access(facts: Facts) -> Iterator[dict[str, Any]]:
    access = facts.survey.get("access") or {}
    if access.get("longest_stick") is not None:
        stick = facts.inches(access["longest_stick"])
        yield {"stick": length.write(stick, feet=True), "lift": access.get("lift") or "way up not stated",
               "value": stick, "unit": "in"}


def _no_warranty(facts: Facts) -> Iterator[dict[str, Any]]:
    holder = facts.roof.get("warranty_holder")
    yield {"holder": f"held by {holder}" if holder else "holder not known"}


def _pads(facts: Facts) -> Iterator[dict[str, Any]]:
    if facts.gaps:
        yield {"count": len(facts.gaps)}


PRACTICE = "common practice"

# In the order in which the proposal prints them, within their section.
RULES: tuple[Rule, ...] = (
    Rule("survey-accuracy", "assumption",
         "Dimensions come from the roof survey{when}{by}, taped to ±{tape} in and levelled to ±{level} in (one "
         "standard error); {closes}. The frame is cut to these readings.",
         "survey", "computed by least squares from the survey", "contractor", _survey_accuracy),
    Rule("datum", "assumption", "All heights hang on one mark: {what}{place}. It must stand until the deck is built.",
         "survey", "survey", "contractor", _datum),
    Rule("rain-assumed", "assumption",
         "Rain assumed: {primary:g} in/h for the primary outlets{secondary} ({rain_source}).",
         "build document", "as stated in the build", "building department", _rain, unless="rain-basis"),
    Rule("rain-unknown", "assumption",
         "No rainfall rate was given, so no outlet has been checked for the water that it must carry.",
         "build document", "not given", "building department", _no_rain, unless="rain-not-given"),
    Rule("access", "assumption",
         "The longest stick that reaches the roof is {stick} ({lift}); the cut list holds to it.",
         "survey", "survey", "contractor", _access),
    Rule("permits", "assumption",
         "Code edition and authority: {known}. Permits and approvals, the building's board included, are the owner's "
         "unless the price names them.",
         "survey", "survey", "owner and building department", _authority),
    Rule("clear-path", "drainage",
         "Water passes under the frame: the clearance over the roof is {least:.2f} in at the tightest of {count} pads "
         "(on {member}) and {mean:.2f} in on average. Nothing may be stored or left in it.",
         "computed", "computed", "contractor", _clear_path),
    Rule("heights-unsure", "drainage",
         "Heights are known to the accuracy of the survey: in eight of ten cases the least clearance over the roof as "
         "it truly is lies between {low:.2f} and {high:.2f} in. Pads are shimmed on site to the true heights.",
         "computed", "computed: seeded trials within the standard errors of the readings", "contractor",
         _heights_unsure),
    Rule("outlet-reach", "drainage",
         "These outlets stay in place, free of pads, and within reach for cleaning: {named}.",
         "survey", PRACTICE, "contractor", _outlets),
    Rule("upkeep", "drainage",
         "The owner has outlets, strainers and the space under the deck cleaned at least twice a year, before winter "
         "and after the leaves, and after every storm that leaves debris.",
         "upkeep", PRACTICE, "owner", _always),
    Rule("one-outlet", "drainage",
         "One {kind}, at {point}, drains this roof. If it is blocked, water has no second way out at that level.",
         "survey", "survey", "roofer and building department", _one_outlet, unless="single-outlet"),
    Rule("no-overflow", "drainage",
         "All {count} edges stand against walls or parapets and no overflow was found in the survey: where the primary "
         "outlets are blocked, water is held on the roof.",
         "survey", "survey", "building department", _no_overflow, unless="no-overflow"),
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
         "rain load", f"ASCE 7-16 Eq. 8.3-1, R = {RAIN_LOAD:g} (ds + dh)", "structural engineer", _always,
         unless=("blocked-primary-load", "blocked-primary-depth")),
    Rule("wind", "deferral",
         "The deck rests on the roof by its weight and is not fastened through the membrane. Wind uplift and sliding "
         "are for an engineer.{known}",
         "site", "no consensus method for loose-laid decking is known to us", "structural engineer", _wind),
    Rule("fire", "deferral",
         "Fire classification of the roof with a combustible deck on it, and its distance to lot lines, are for the "
         "building department.{known}",
         "site", "IBC 1505.1 rates the assembly", "building department", _fire),
    Rule("guards", "deferral",
         "{edges} Height, strength and fixing of guards, measured from the new surface, are for the building "
         "department{priced}.",
         "survey", f"{GUARD_SOURCE}: a drop of more than {GUARD_DROP:g} in within {GUARD_REACH:g} in of the edge",
         "building department", _guards, unless="guard"),
    Rule("membrane", "deferral",
         "Pads and slip sheets touch the membrane ({membrane}). Its maker's approval in writing is needed before "
         "delivery.",
         "survey", PRACTICE, "roofer", _membrane),
    Rule("warranty", "deferral",
         "The roof's warranty ({holder}) may exclude what is laid on it; its holder must agree in writing.",
         "survey", PRACTICE, "roofer", _no_warranty),
    Rule("roof-condition", "exclusion",
         "The roof itself ({age}{seen}): leaks, hidden moisture, and correction of its slope. A test of the membrane "
         "before it is covered is advised.",
         "survey", PRACTICE, "roofer", _roof_condition),
    Rule("drains-downstream", "exclusion",
         "Drains, leaders and scuppers beyond the roof's surface, and their freezing or blockage.",
         "scope", PRACTICE, "owner", _always),
    Rule("structure", "exclusion", "Structural, electrical and plumbing work, and design by a licensed engineer.",
         "scope", PRACTICE, "owner", _always),
    Rule("as-found", "exclusion",
         "Work made necessary by what was hidden or not surveyed; it is priced as a change order before it is done.",
         "scope", PRACTICE, "owner and contractor", _always),
)


def notes_for(framing: Mapping[str, Any], survey: Mapping[str, Any], build: Mapping[str, Any], *,
              priced: frozenset[str] = frozenset()) -> tuple[Note, ...]:
    """All notes of a proposal, by section and within it the gravest first, then in the order of the rules.

    `priced` are the kinds of recipes that stand in the price.
    """
    checks = [*_from_checks(framing)]
    rules = [*_from_rules(Facts(survey, build, framing, priced), {note.key for note in checks})]
    grave = [note for note in checks if note.status in ("stop", "caution")]
    found = [*sorted(grave, key=_gravity), *rules, *(note for note in checks if note not in grave)]
    return tuple(sorted(found, key=lambda note: SECTIONS.index(note.section)))


def gravest(notes: Iterable[Note], *, most: int = FIRST_PAGE) -> tuple[Note, ...]:
    """The cautions for the first page, one a code: stops, what must be acknowledged, then in the order of `GRAVE`."""
    grave = sorted((note for note in notes if note.status in ("stop", "caution")), key=_gravity)
    one_of_a_kind = {note.key: note for note in reversed(grave)}
    return tuple(sorted(one_of_a_kind.values(), key=_gravity)[:most])


def to_acknowledge(notes: Iterable[Note]) -> tuple[Note, ...]:
    """The notes that a named person must take note of before the proposal may go out."""
    return tuple(note for note in notes if note.acknowledge)


def _gravity(note: Note) -> tuple[int, int, int]:
    rank = next((rank for rank, word in enumerate(GRAVE) if note.key.startswith(word)), len(GRAVE))
    return {"stop": 0, "caution": 1}.get(note.status, 2), 0 if note.acknowledge else 1, rank


def _from_checks(framing: Mapping[str, Any]) -> Iterator[Note]:
    named = (framing.get("survey_adjustment") or {}).get("points") or {}
    points = {name: (float(p["x"]), float(p["y"])) for name, p in named.items()}
    for found in framing.get("checks") or ():
        if found["status"] == "ok" or found["code"] in FOR_THE_ROOF:
            continue
        yield Note(
            key=found["code"], section=_place(found["code"], found["status"]), text=in_words(found["text"], points),
            basis="computed",
            source=found["source"], decided_by=found["decided_by"], value=found.get("value"), limit=found.get("limit"),
            unit=found.get("unit") or "", where=in_words(_words(found.get("where")), points),
            acknowledge=bool(found.get("acknowledge")), status=found["status"],
        )


def _from_rules(facts: Facts, said: set[str]) -> Iterator[Note]:
    for rule in RULES:
        if rule.unless and any(code.startswith(rule.unless) for code in said):
            continue
        for words in rule.find(facts):
            yield Note(
                key=rule.key, section=rule.section, text=rule.text.format(**words), basis=rule.basis,
                source=rule.source, decided_by=rule.decided_by, value=words.get("value"), limit=words.get("limit"),
                unit=words.get("unit", ""), where=words.get("where", ""),
            )


def in_words(text: str, points: Mapping[str, tuple[float, float]]) -> str:
    """The text with every place in coordinates told from the survey points `points` [in], as on the plan."""
    def told(found: re.Match[str]) -> str:
        at, x, y, known = found.groups()
        words = known or places.from_points((float(x), float(y)), points)
        if not words:
            return found[0]
        return f"{at} {words.removeprefix('at ')}" if at else words

    return COORDINATES.sub(told, text)


def listed(words: Sequence[str]) -> str:
    """a, b and c"""
    return ", ".join(words[:-1]) + " and " + words[-1] if len(words) > 1 else "".join(words)


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
