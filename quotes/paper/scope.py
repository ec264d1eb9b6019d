"""What is built, how long it takes and how it gets up, in plain words with its numbers."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from framing.engine import length
from quotes.notes import listed
from quotes.recipe_lines import in_words


def scope(snapshot: Mapping[str, Any]) -> dict[str, Any]:
    """What is built, in plain words with its numbers."""
    framing, build = snapshot["framing"], snapshot["build"]
    members, supports = framing.get("members") or (), framing.get("supports") or ()
    count = count_of(members)
    decking, joists = build["decking"], build["joists"]
    unit = build.get("unit", "in")
    net = net_area_sqft(framing)
    boards = f"{decking.get('species') or decking.get('item') or 'deck'} boards"
    width, gap = length.write(length.read(decking["width"], unit)), length.write(length.read(decking["gap"], unit))
    depths = [depth for member in members for _, depth in member.get("profile") or ()]
    least, most = (length.write(min(depths)), length.write(max(depths))) if depths else ("?", "?")
    reveals = (framing.get("plane") or {}).get("reveals") or {}
    sill = "; ".join(f"{length.write(drop)} in below the sill at {point}" for point, drop in reveals.items())
    mode = {"level": "is level", "follow-threshold": "follows the line of the sill",
            "fall": "falls away from the door"}.get(build["surface"]["mode"], build["surface"]["mode"])
    fastening = {"hidden": "with hidden fixings", "face": "screwed through the face"}.get(decking.get("fastening"), "")
    sentences = [
        f"We build a deck of {net:.0f} ft² on the roof, of {boards} {width} in wide with {gap} in between them, fixed "
        f"{fastening} to {count.get('joist', 0)} tapered {joists.get('species', 'lumber')} joists"
        f"{_others(count)}. The frame stands on {len(supports)} pads and is not fastened through the roof's membrane.",
        f"The finished surface {mode}{f' and lies {sill}' if sill else ''}. Each joist is sawn to the roof under it, "
        f"between {least} and {most} in deep, so that the surface is true while the roof beneath it falls.",
    ]
    if panels := sum(board.get("kind") == "panel" for board in framing.get("boards") or ()):
        sentences.append(f"Panels ({panels} boards) lift out over the outlets, so that they can be cleaned.")
    if recipes := snapshot["estimate"].get("recipes"):
        more = [f"{recipe['name']} ({round(float(recipe['quantity']), 2):g} {in_words(recipe['unit'])})"
                for recipe in recipes]
        sentences.append(f"In the price besides: {listed(more)}.")
    return {"title": f"Rooftop deck, {net:.0f} ft², {boards}", "sentences": sentences}


def net_area_sqft(framing: Mapping[str, Any]) -> float:
    """Area of the deck's outline less its holes. [ft2]"""
    def area(ring: Any) -> float:
        pairs = zip(ring, [*ring[1:], ring[0]], strict=True)
        return abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairs)) / 2

    outline = framing.get("outline") or ()
    if not outline:
        return 0.0
    return (area(outline) - sum(area(hole) for hole in framing.get("holes") or ())) / 144


def schedule(snapshot: Mapping[str, Any]) -> dict[str, str]:
    """Sentences on working time and on the way up."""
    access = snapshot["survey"].get("access") or {}
    lift = {"stair": "carried up the stairs", "elevator": "brought up in the elevator", "hoist": "hoisted",
            "boom": "lifted by a boom truck"}.get(access.get("lift"), "brought to the roof in a way still to be agreed")
    floor = f" to floor {access['floor']}" if access.get("floor") is not None else ""
    stick = ""
    if access.get("longest_stick") is not None:
        inches = length.read(access["longest_stick"], snapshot["survey"].get("unit", "in"))
        stick = f" Nothing longer than {length.write(inches, feet=True)} is brought up."
    return {
        "hours": f"{working_time(snapshot['framing'])}{_hours_besides(snapshot['estimate'])}",
        "access": f"Materials are {lift}{floor}.{stick} Permission to use the street, the lobby and the roof, and the "
                  "hours for it, come from the building before delivery is ordered.",
    }


def working_time(framing: Mapping[str, Any]) -> str:
    """How many working days the crew is on the roof, with the range that its rates leave; empty where none is known."""
    plan = framing.get("schedule")
    if not plan:
        return ""
    low, days, high = plan["days_low"], plan["days"], plan["days_high"]
    days = f"about {days} working day{'s' if days != 1 else ''}"
    spread = f", between {low} and {high} as the work goes" if low < high else ""
    return f"The work takes {days} of a crew of {plan['persons']}{spread}."


def _hours_besides(estimate: Mapping[str, Any]) -> str:
    """The hours that come on top of the framing's days: those of recipes."""
    hours = sum((Decimal(line["quantity"]) for line in estimate["lines"]
                 if line["kind"] == "labor" and line["came_from"].get("recipe")), Decimal(0))
    return f" {hours:.0f} person-hours of other work come on top." if hours else ""


def work(framing: Mapping[str, Any]) -> list[str]:
    """Sentences for the office on time and way up: crew, days, person-hours, lifts, deliveries."""
    found = []
    if plan := framing.get("schedule"):
        crew = listed([f"{count} {trade}" for trade, count in plan["crew"].items()])
        found.append(f"{working_time(framing)} {plan['crew_days']:.1f} days of the whole crew ({crew}); "
                     f"{plan['person_hours']:.0f} person-hours, {plan['person_hours_low']:.0f} with every task at the "
                     f"low of its rate and {plan['person_hours_high']:.0f} at the high. Basis: {plan['basis']}.")
    if lifts := framing.get("lifts"):
        orders = "; ".join(f"{d['order']} {d['weight']:,.0f} lb"
                           + (f", up to {length.write(d['longest'], feet=True)} long" if d["longest"] else "")
                           for d in lifts["deliveries"])
        count = lifts["count"]
        found.append(f"{lifts['weight']:,.0f} lb go up in {count} lift{'s' if count != 1 else ''}; deliveries: "
                     f"{orders}. Basis: {lifts['basis']}.")
    return found


def count_of(members: Any) -> dict[str, int]:
    """How many members there are of each role."""
    count: dict[str, int] = {}
    for member in members:
        count[member["role"]] = count.get(member["role"], 0) + 1
    return count


def _others(count: Mapping[str, int]) -> str:
    names = {"rim": "rims", "edge": "edge joists", "blocking": "pieces of blocking", "border": "border members"}
    parts = [f"{count[role]} {name}" for role, name in names.items() if count.get(role)]
    return f", with {listed(parts)}" if parts else ""
