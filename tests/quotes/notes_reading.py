"""An independent reader of notes: from the documents alone, by arithmetic of its own, which notes are called for.

`expected` answers yes, no, or None where the documents do not tell: where a figure lies within the reader's own
error of its limit, or where it would take the engine's model of running water to know. Limits are written out here
again from the reference table, so that a wrong one in the rules is seen.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

from tests.quotes.places_reading import Place, area, hull, inside, side_to_ring, to_ring, to_segment

IN_UNIT = {"in": 1.0, "ft": 1 / 12, "mm": 25.4, "m": 0.0254}
Doc = Mapping[str, Any]
Answer = bool | None
NEAR = 1e-4  # documents are rounded to nine digits, lengths of the crew are exact


def inches(value: Any, unit: str) -> float:
    """A length as random documents write it. [in]"""
    if not isinstance(value, str):
        return float(value) / IN_UNIT[unit]
    if value.endswith(" m"):
        return float(value[:-2]) / 0.0254
    if value.endswith(" ft"):
        return float(value[:-3]) * 12
    sign, feet, whole, part, of = re.fullmatch(r'(-?)(?:(\d+)\' )?([\d.]+)(?: (\d+)/(\d+))?"?', value).groups()
    return (-1 if sign else 1) * (12 * int(feet or 0) + float(whole) + (int(part) / int(of) if part else 0))


def over(value: float, limit: float, error: float = NEAR) -> Answer:
    return None if abs(value - limit) <= error else value > limit


def under(value: float, limit: float, error: float = NEAR) -> Answer:
    return None if abs(value - limit) <= error else value < limit


def any_of(answers: Any) -> Answer:
    answers = list(answers)
    return True if True in answers else None if None in answers else False


# -- what the documents say ------------------------------------------------------------------------------------

class Read:
    """The documents of one deck, lengths in inches."""

    def __init__(self, survey: Doc, build: Doc, framing: Doc) -> None:
        self.survey, self.build, self.framing, self.unit = survey, build, framing, survey.get("unit", "in")
        self.adjusted = framing.get("survey_adjustment") or {}
        self.points = {name: (p["x"], p["y"]) for name, p in (self.adjusted.get("points") or {}).items()}
        self.facets = (framing.get("roof") or {}).get("facets") or []
        self.ponds = (framing.get("roof") or {}).get("ponds") or []
        self.mounds = (framing.get("roof") or {}).get("mounds") or []
        self.supports = framing.get("supports") or []
        self.outline = framing.get("outline") or []
        self.plane = framing.get("plane")
        self.site, self.roof = survey.get("site") or {}, survey.get("roof") or {}
        self.edges, self.outlets = survey.get("edges") or [], survey.get("outlets") or []
        self.rain = build.get("rain") or {}
        self.doors = survey.get("doors") or [{"name": "door", "points": survey.get("threshold") or []}]
        self.stopped = any(check["status"] == "stop" for check in framing["checks"])
        self.codes = {check["code"] for check in framing["checks"] if check["status"] != "ok"}

    def long(self, value: Any) -> float:
        return inches(value, self.unit)

    def facet(self, p: Place) -> Doc:
        return min(self.facets, key=lambda f: to_ring(p, f["polygon"]))

    def roof_z(self, p: Place) -> float:
        plane = self.facet(p)["plane"]
        return plane["z0"] + plane["sx"] * p[0] + plane["sy"] * p[1]

    def deck_z(self, p: Place) -> float:
        return self.plane["z0"] + self.plane["sx"] * p[0] + self.plane["sy"] * p[1]

    def deck_along(self, edge: Doc) -> float | None:
        """The most that the surface lies over the roof along a side: at its corners and wherever facets meet it."""
        if not self.plane or not self.facets or edge["from"] not in self.points or edge["to"] not in self.points:
            return None
        a, b = self.points[edge["from"]], self.points[edge["to"]]
        places = [a, b, *(p for f in self.facets for p in f["polygon"] if to_segment(p, a, b) < 0.5)]
        return max(self.deck_z(p) - self.roof_z(p) for p in places)

    def near_deck(self, edge: Doc) -> Answer:
        if edge["from"] not in self.points or edge["to"] not in self.points or not self.outline:
            return True
        return under(side_to_ring(self.points[edge["from"]], self.points[edge["to"]], self.outline), 36.0)


def both(*answers: Answer) -> Answer:
    return False if False in answers else None if None in answers else True


def expected(survey: Doc, build: Doc, framing: Doc, contract: Any) -> dict[str, Answer]:
    """Whether each note is called for, by its key; `key!` asks for a caution, `a|b` for one of both."""
    r = Read(survey, build, framing)
    return {**of_survey(r), **of_water(r), **of_doors(r), **of_others(r, contract), **of_contract(contract)}


def of_survey(r: Read) -> dict[str, Answer]:
    misclosure, datum = r.adjusted.get("misclosure"), r.survey.get("datum") or {}
    allowed = r.long(r.survey["closure_tolerance"]) if "closure_tolerance" in r.survey else 3 / 16
    read = {level["point"] for level in r.survey["levels"]
            if level["on"] in ("roof", "ridge", "valley", "outlet", "paver", "ballast", "old-deck")} & set(r.points)
    shots = [r.points[name] for name in read]
    ring = hull(shots)
    far = any_of(
        any_of([over(min(math.dist(s["at"], p) for p in shots), 48.0, 1e-3),
                over(to_ring(s["at"], ring), 12.0, 1e-3)]) for s in r.supports) if shots else False
    drops = [r.long(e["drop_beyond"]) for e in r.edges if e["against"] != "house" and "drop_beyond" in e]
    age = r.roof.get("age")
    stick = (r.survey.get("access") or {}).get("longest_stick")
    return {
        "survey-accuracy": True, "datum": bool(datum.get("what")), "permits": True, "access": stick is not None,
        "misclosure": False if misclosure is None else over(misclosure, allowed, 1e-8),
        "few-shots": both(far, "roof-under-pads" not in r.codes),
        "sawn-faces": bool(r.framing.get("members")),
        "fall-protection": any(drop >= 72 - 1e-6 for drop in drops),
        "roof-condition": True, "roof-condition!": age is None or age > 10,
        "drains-downstream": True, "structure": True, "as-found": True,
    }


def of_water(r: Read) -> dict[str, Answer]:
    slopes = [12 * math.hypot(f["plane"]["sx"], f["plane"]["sy"]) for f in r.facets]
    low = any_of(under(slope, 0.25) for slope in slopes)
    gaps = [s["clear_gap"] for s in r.supports]
    sigma = r.long(r.survey["level_sigma"]) if "level_sigma" in r.survey else 1 / 16
    primary = [o for o in r.outlets if o["purpose"] == "primary"]
    overflow = [o for o in r.outlets if o["purpose"] == "overflow"]
    opened = any(e["against"] == "open" for e in r.edges)
    source = (r.rain.get("source") or "").lower()
    own = ("noaa" in source or "atlas 14" in source or "rain gauge" in source) and not re.search(
        r"\b(assumed|typical|city|invented)\b", source)
    known = bool(r.facets)
    drains = [o for o in r.outlets if o["kind"] == "drain" and o["point"] in r.points and r.outline and r.supports
              and inside(r.points[o["point"]], r.outline)]
    nearest = [min(r.supports, key=lambda s, o=o: math.dist(s["at"], r.points[o["point"]])) for o in drains]
    return {
        "roof-slope-low": known and low, "pond": bool(r.ponds), "ponding-stability": any_of([low, bool(r.ponds)]),
        "clear-path": bool(gaps), "clear-gap": any(gap < 0.75 - 1e-8 for gap in gaps),
        "may-touch-roof": any_of(under(s["clear_gap"], 2 * (s.get("roof_se") or sigma), 1e-7) for s in r.supports),
        "water-under-joists": head_over_gap(r, primary, overflow, opened),
        "outlet-capacity": over_capacity(r, primary, overflow, opened),
        "one-outlet|single-outlet": True if len(primary) == 1 else None,
        "one-outlet": None if len(primary) == 1 else False,
        "no-overflow": not overflow and not opened,
        "no-outlet": known and not primary and not opened,
        "overflow-opening": known and any(r.long(o["height"]) < 4 - 1e-6 for o in overflow
                                          if o["kind"] == "scupper" and "height" in o and o["point"] in r.points),
        "overflow-size": known and small_overflow(r, primary, overflow),
        "blocked-drain-load|blocked-primary-load|blocked-primary-depth": True,
        "strainer": any(s["clear_gap"] < 4 for s in nearest),
        "across-the-water": across(r),
        "outlet-reach": bool(r.outlets), "upkeep": True,
        "panels|panel-refused|panel-off-deck": reached(r),
        "rain-basis|rain-assumed": bool(r.rain),
        "rain-not-given|rain-unknown": True if not r.rain else None,
        "rain-source": bool(r.rain) and not own,
    }


def head_over_gap(r: Read, primary: list[Doc], overflow: list[Doc], opened: bool) -> Answer:
    """Depth of the design storm at the outlets against the least clearance: certain where one outlet takes it all, or
    where not even the whole roof's rain at one would reach the wood. A frame that a stop left unfinished is not yet
    held against the water."""
    if not r.rain or not r.supports or not primary:
        return False
    if r.stopped:
        return None
    found = []
    for o in primary:
        q = 0.0104 * r.rain["primary"] * r.adjusted["area_sqft"]
        if o["point"] not in r.points or ("width" if o["kind"] == "scupper" else "diameter") not in o:
            continue
        head = needed_head(r, o, q)
        depth = max(0.0, -r.long(o["invert_drop"]) + head - r.roof_z(r.points[o["point"]]))
        least = min(s["clear_gap"] for s in r.supports)
        error = 0.03 * depth + 0.02
        answer = over(depth, least, error)
        alone = len(primary) == 1 and not opened
        found.append(answer if alone or answer is False else None)
    return any_of(found)


def needed_head(r: Read, o: Doc, q: float) -> float:
    if o["kind"] == "drain":
        d = r.long(o["diameter"])
        return max((q / (2.9 * math.pi * d)) ** (2 / 3), (q / (4.33 * math.pi / 4 * d * d)) ** 2)
    b = r.long(o["width"])
    weir = (q / (2.9 * b)) ** (2 / 3)
    if "height" not in o or weir <= (d := r.long(o["height"])):
        return weir
    return max(weir, d / 2 + (q / (4.3 * b * d)) ** 2)


def over_capacity(r: Read, primary: list[Doc], overflow: list[Doc], opened: bool) -> Answer:
    """Rain on the roof against what an outlet carries before water reaches an overflow, or 2 in deep without one."""
    if not r.rain or not r.facets:
        return False
    found = []
    for o in primary:
        if o["point"] not in r.points or ("width" if o["kind"] == "scupper" else "diameter") not in o:
            continue
        above = [r.long(o["invert_drop"]) - r.long(v["invert_drop"]) for v in overflow if v["point"] in r.points]
        room = min([a for a in above if a > 0], default=2.0)
        head = needed_head(r, o, 0.0104 * r.rain["primary"] * r.adjusted["area_sqft"])
        answer = over(head, room, 0.02 * room)
        found.append(answer if (len(primary) == 1 and not opened) or answer is False else None)
    return any_of(found)


def small_overflow(r: Read, primary: list[Doc], overflow: list[Doc]) -> Answer:
    """Openings of the overflows under three times the primary ones, by area or, where one is open at the top, by
    width; drains as overflows ask for as much only."""
    if not primary or not overflow or any(o["point"] not in r.points for o in r.outlets):
        return None if primary and overflow else False
    times = 3.0 if any(o["kind"] == "scupper" for o in overflow) else 1.0

    def opening(o: Doc) -> float | None:
        if o["kind"] == "drain":
            return math.pi / 4 * r.long(o["diameter"]) ** 2 if "diameter" in o else None
        return r.long(o["width"]) * r.long(o["height"]) if "width" in o and "height" in o else None

    first, second = [opening(o) for o in primary], [opening(o) for o in overflow]
    if None in first or None in second:
        if any(o["kind"] == "drain" or "width" not in o for o in r.outlets):
            return False
        first, second = [r.long(o["width"]) for o in primary], [r.long(o["width"]) for o in overflow]
    return under(sum(second), times * sum(first), 1e-6)


def across(r: Read) -> Answer:
    """Joists within 30 degrees of the contour with under half an inch open, pads taken off their clearance."""
    found = []
    for m in r.framing.get("members") or []:
        pads = [s for s in r.supports if s["member"] == m["id"]]
        a, b = m["start"], m["end"]
        run = math.dist(a, b)
        if m["role"] not in ("joist", "edge") or not pads or run == 0:
            continue
        plane = r.facet([(a[0] + b[0]) / 2, (a[1] + b[1]) / 2])["plane"]
        fall = math.hypot(plane["sx"], plane["sy"])
        if fall < 1e-6:
            continue
        contour = math.degrees(math.atan2(plane["sx"], -plane["sy"]))
        turn = abs((math.degrees(math.atan2(b[1] - a[1], b[0] - a[0])) - contour + 90) % 180 - 90)
        open_part = max(0.0, 1 - sum(s["pad_size"][0] for s in pads) / run)
        mean = sum(s["clear_gap"] for s in pads) / len(pads)
        found.append(both(under(turn, 30.0, 1e-4), under(mean * open_part, 0.5, 1e-7)))
    return any_of(found)


def reached(r: Read) -> Answer:
    """Whether an outlet lies in the deck or within 24 in of it, and so a panel or the reason for none is told."""
    if not r.framing.get("boards"):
        return None
    refused = any("none" in p or p["over"] not in {o["point"] for o in r.outlets}
                  for p in r.build.get("access_panels") or [])
    near = any_of(under(to_ring(r.points[o["point"]], r.outline), 24.0) for o in r.outlets if o["point"] in r.points)
    return near if near or not refused else None


def of_doors(r: Read) -> dict[str, Answer]:
    upturn, step, above, flush, level = [], [], [], [], []
    drift = bool(r.survey.get("datum_checks")) or bool(r.mounds)
    wanted = bool(r.site.get("accessible_route"))
    reveals = (r.plane or {}).get("reveals") or {}
    for door in r.doors:
        for name in door["points"]:
            read = [-r.long(v["drop"]) for v in r.survey["levels"] if v["point"] == name and v["on"] == "threshold"]
            if read and name in r.points and r.facets:
                high = min(read) - r.roof_z(r.points[name])
                upturn.append(under(high, 8.0, 0.5 if drift else 1e-3))
        here = [reveals[name] for name in door["points"] if name in reveals]
        if here:
            most, least = max(here), min(here)
            near = door.get("egress") is not False and door.get("swing") in (None, "out")
            limit = 1.5 if near and (door.get("swing") or most <= 7.75) else 7.75
            step.append(most > limit + 1e-6)
            above.append(least < -1e-6)
            flush.append(least < 0.5 - 1e-6)
            level.append(wanted and max(abs(v) for v in here) > 0.5 + 1e-6)
    told = {"door-step": any_of(step), "deck-above-sill": any_of(above), "door-flush": any_of(flush),
            "accessible-threshold": any_of(level)}
    if not r.outline:  # nothing was laid out, so that nothing is said of its doors
        told = dict.fromkeys(told)
    return {"membrane-upturn": any_of(upturn), **told}


def of_others(r: Read, contract: Any) -> dict[str, Answer]:
    site, loads = r.site, r.framing.get("loads") or {}
    high = "height_above_grade" in site and r.long(site["height_above_grade"]) > 360 + 1e-6
    windy = str(site.get("exposure", "")).lower() in ("c", "d", "exposure c", "coastal")
    light = loads.get("dead") is not None and loads["dead"] < 22
    opened = any(e["against"] == "open" for e in r.edges)
    lot = "lot_line_distance" in site and r.long(site["lot_line_distance"]) < 72 - 1e-6
    where = site.get("jurisdiction") or (contract.jurisdiction if contract else "")
    city = where in ("Brooklyn, New York", "Manhattan, New York City") and bool(r.outline)
    share = over(area(r.outline) / 144 / r.adjusted["area_sqft"], 0.2) if city else False
    kind = (r.roof.get("membrane") or "").lower()
    laid = " ".join(str(r.build["supports"].get(n, "")) for n in ("pad_material", "base_material")).lower()
    bitumen = any(w in laid for w in ("bitumen", "asphalt", "felt"))
    rubber = "rubber" in laid or "epdm" in laid
    vinyl = kind.startswith(("pvc", "kee"))
    harm = ((vinyl and (bitumen or rubber)) or (kind.startswith("epdm") and (bitumen or "oil" in laid))
            or (kind.startswith("tpo") and rubber))
    drops, unknown, low = [], [], []
    for e in r.edges:
        if e["against"] == "house":
            continue
        rise, near = r.deck_along(e), r.near_deck(e)
        deep = None if "drop_beyond" not in e else over(r.long(e["drop_beyond"]) + max(0.0, rise or 0.0), 30.0, 1e-6)
        if "drop_beyond" in e:
            drops.append(both(near, deep))
        elif e["against"] == "open":
            unknown.append(near)
        if e["against"] == "parapet" and "height" in e and rise is not None:
            asked = True if "drop_beyond" not in e else deep
            low.append(both(near, asked, under(r.long(e["height"]) - rise, 42.0, 1e-6)))
    approved = contract is not None and contract.overburden_approved
    return {
        "weight|roof-load": True if loads.get("dead") is not None else None, "bearing": bool(r.supports) or None,
        "wind": True, "wind!": high or windy or light or opened,
        "fire": True, "fire!": any_of([site.get("construction_type") in ("I-A", "Type IIB", "type 2"), lot, share]),
        "guards": any_of([*drops, *unknown]), "parapet-low": any_of(low), "ways-out": True,
        "membrane": True, "membrane!": harm or not kind, "warranty": not approved,
    }


def of_contract(c: Any) -> dict[str, Answer]:
    keys = ("roof-owner", "lead-paint", "license-missing", "cooling-off", "rescission", "electronic-records",
            "home-contract", "liens")
    if c is None:
        return dict.fromkeys(keys, False)
    least = {"unknown": 25, "buyer-home": 25, "elsewhere": 130}.get(c.agreed_where)
    over_by_state = {"Boston, MA": 1000, "Oakland CA 94607": 500, "Brooklyn, New York": 500, "Towson, Maryland": 0,
                     "Trenton, NJ": 500, "Erie, PA": 500}.get(c.jurisdiction)
    return {
        "roof-owner": not c.consent_given_on and (c.roof_owner != "customer" or bool(c.consent_needed)),
        "lead-paint": c.year_built is None or c.year_built < 1978,
        "license-missing": not c.license_number.strip(),
        "cooling-off": c.price is not None and least is not None and c.price >= least,
        "rescission": c.financed is True, "electronic-records": c.electronic, "liens": True,
        "home-contract": c.price is not None and over_by_state is not None and c.price > over_by_state,
    }


# Checks that are cautions where their value is over, or under, their limit, and in order otherwise.
OVER = ("misclosure", "datum-drift", "water-under-joists", "outlet-capacity", "leader-capacity", "outlet-off-roof",
        "blocked-primary-joists", "blocked-primary-deck", "door-step", "accessible-threshold", "landing-slope",
        "roof-extrapolated")
UNDER = ("clear-gap", "clear-gap-at-hump", "roof-slope-low", "ponding-along-edge", "ponding-along-valley",
         "membrane-upturn", "door-flush", "deck-above-sill", "overflow-opening", "overflow-size",
         "blocked-primary-sill", "door-landing")
STATUSES = ("caution where over its limit", "caution where under its limit")


def statuses(framing: Doc) -> dict[str, tuple[bool, bool]]:
    """(no check tells otherwise, yes) for both kinds: whether each is a caution exactly on its side of its limit."""
    told = {}
    for name, codes, sign in zip(STATUSES, (OVER, UNDER), (1, -1), strict=True):
        checks = [c for c in framing["checks"] if c["code"] in codes]
        odd = [c for c in checks if abs(c["value"] - c["limit"]) > 1e-8
               and (sign * (c["value"] - c["limit"]) > 0) != (c["status"] == "caution")]
        told[name] = (not odd, True)
    return told


def fired(name: str, notes: Sequence[Any]) -> bool:
    """Whether the notes hold one of a name of `expected`."""
    if name.endswith("!"):
        return any(note.key == name[:-1] and note.status == "caution" for note in notes)
    return any(note.key in name.split("|") for note in notes)
