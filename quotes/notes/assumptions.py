"""Notes on what the price rests on and what it leaves out: the survey, the way up, the roof as it is found."""

from __future__ import annotations

from collections.abc import Iterator

from shapely import Point

from framing.engine import length
from framing.reference.guards import FALL_PROTECTION, FALL_PROTECTION_SOURCE
from framing.reference.roofs import OLD
from framing.reference.surveying import SHOT_MARGIN, SHOT_REACH
from quotes.notes.facts import Facts, edge_name
from quotes.notes.note import listed
from quotes.notes.rule import PRACTICE, Rule, Words, always

HAIR = 1e-6


def _survey_accuracy(facts: Facts) -> Iterator[Words]:
    survey, misclosure = facts.survey, facts.adjustment.get("misclosure")
    when = f" on {survey['surveyed_on']}" if survey.get("surveyed_on") else ""
    by = f" by {survey['surveyor']}" if survey.get("surveyor") else ""
    tape = length.write(facts.inches(survey.get("tape_sigma", 0.125), survey if "tape_sigma" in survey else {}))
    allowed = facts.inches(survey["closure_tolerance"]) if "closure_tolerance" in survey else 0.1875
    if misclosure is None:
        closes = "no tape stands to check another"
    elif misclosure > allowed:
        closes = f"the tapes do not close by {misclosure:.2f} in"
    else:
        closes = f"the tapes close to {misclosure:.2f} in"
    yield {"when": when, "by": by, "tape": tape, "level": length.write(facts.level_sigma), "closes": closes,
           "value": misclosure, "limit": allowed, "unit": "in"}


def _datum(facts: Facts) -> Iterator[Words]:
    datum = facts.survey.get("datum") or {}
    if datum.get("what"):
        where = f", {datum['where']}" if datum.get("where") else ""
        yield {"what": datum["what"], "place": where}


def _few_shots(facts: Facts) -> Iterator[Words]:
    """Pads more than 4 ft from the nearest height reading, or outside the area that the readings span."""
    shots = facts.shots
    if not facts.supports or shots.is_empty:
        return
    away = [(shots.distance(Point(s["at"])), shots.convex_hull.distance(Point(s["at"])), s) for s in facts.supports]
    far = [(near, s) for near, beyond, s in away if near > SHOT_REACH + HAIR or beyond > SHOT_MARGIN + HAIR]
    if far:
        most, support = max(far, key=lambda pair: pair[0])
        yield {"count": len(far), "all": len(facts.supports), "reach": SHOT_REACH / 12, "margin": SHOT_MARGIN / 12,
               "most": most / 12, "member": support["member"], "value": most, "limit": SHOT_REACH, "unit": "in",
               "where": support["member"], "status": "caution"}


def _access(facts: Facts) -> Iterator[Words]:
    access = facts.survey.get("access") or {}
    if access.get("longest_stick") is not None:
        stick = facts.inches(access["longest_stick"])
        yield {"stick": length.write(stick, feet=True), "lift": access.get("lift") or "way up not stated",
               "value": stick, "unit": "in"}


def _authority(facts: Facts) -> Iterator[Words]:
    known = (facts.jurisdiction, facts.site.get("code_edition"))
    yield {"known": " ".join(str(word) for word in known if word) or "not stated in the survey"}


def _sawn_faces(facts: Facts) -> Iterator[Words]:
    members = facts.framing.get("members") or ()
    if members:
        yield {"value": float(len(members)), "unit": "EA"}


def _falls(facts: Facts) -> Iterator[Words]:
    """Edges of the roof with 6 ft or more to what lies beyond."""
    high = [(facts.inches(edge["drop_beyond"]), edge_name(edge)) for edge in facts.edges
            if edge.get("against") != "house" and edge.get("drop_beyond") is not None]
    high = [(drop, name) for drop, name in high if drop >= FALL_PROTECTION - HAIR]
    if high:
        yield {"edges": listed([name for _, name in high]), "value": max(high)[0], "limit": FALL_PROTECTION,
               "unit": "in", "where": ", ".join(name for _, name in high)}


def _roof_condition(facts: Facts) -> Iterator[Words]:
    age, seen = facts.roof.get("age"), facts.roof.get("inspected_on")
    yield {"age": f"{age} years old as told" if age is not None else "age not known",
           "seen": f", inspected on {seen}" if seen else ", no inspection on record",
           "value": None if age is None else float(age), "limit": OLD, "unit": "years",
           "status": "caution" if age is None or float(age) > OLD else "note",
           "old": f" Over {OLD:g} years, have a roofer look at it before it is covered."
           if age is not None and float(age) > OLD else ""}


ASSUMPTIONS: tuple[Rule, ...] = (
    Rule("survey-accuracy", "assumption",
         "Dimensions come from the roof survey{when}{by}, taped to ±{tape} in and levelled to ±{level} in (one "
         "standard error); {closes}. The frame is cut to these readings.",
         "survey", "computed by least squares from the survey", "contractor", _survey_accuracy),
    Rule("datum", "assumption", "All heights hang on one mark: {what}{place}. It must stand until the deck is built.",
         "survey", "survey", "contractor", _datum),
    Rule("few-shots", "assumption",
         "{count} of {all} pads stand more than {reach:g} ft from the nearest height reading of the roof, or more than "
         "{margin:g} ft outside all readings (the farthest {most:.1f} ft, under {member}). The roof there is worked "
         "out from its neighbors; it is read again before cutting.",
         "survey", PRACTICE, "contractor", _few_shots, unless="roof-under-pads"),
    Rule("access", "assumption",
         "The longest stick that reaches the roof is {stick} ({lift}); the cut list holds to it.",
         "survey", "survey", "contractor", _access),
    Rule("permits", "assumption",
         "Code edition and authority: {known}. Permits and approvals, the building's board included, are the owner's "
         "unless the price names them.",
         "survey", "survey", "owner and building department", _authority),
    Rule("sawn-faces", "assumption",
         "Where the joists are of treated wood, every face and end that is sawn is treated again by brush before it "
         "is laid.",
         "build document", "IRC R317.1.1, by AWPA M4", "contractor", _sawn_faces),
    Rule("fall-protection", "assumption",
         f"The roof drops {FALL_PROTECTION / 12:g} ft or more at {{edges}}: while the deck is built, people at work "
         "there are protected from falling.",
         "survey", FALL_PROTECTION_SOURCE, "contractor", _falls),
)

EXCLUSIONS: tuple[Rule, ...] = (
    Rule("roof-condition", "exclusion",
         "The roof itself ({age}{seen}): leaks, hidden moisture, and correction of its slope. A test of the membrane "
         "before it is covered is advised.{old}",
         "survey", PRACTICE, "roofer", _roof_condition),
    Rule("drains-downstream", "exclusion",
         "Drains, leaders and scuppers beyond the roof's surface, and their freezing or blockage.",
         "scope", PRACTICE, "owner", always),
    Rule("structure", "exclusion", "Structural, electrical and plumbing work, and design by a licensed engineer.",
         "scope", PRACTICE, "owner", always),
    Rule("as-found", "exclusion",
         "Work made necessary by what was hidden or not surveyed; it is priced as a change order before it is done.",
         "scope", PRACTICE, "owner and contractor", always),
)
