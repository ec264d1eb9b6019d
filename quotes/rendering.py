"""Papers: the proposal from a snapshot as HTML, the material list as CSV, and PDFs from what a revision keeps.

The HTML holds marks where the customer's name, the site and the snapshot's hash belong; they are filled in when the
paper is rendered. So what is kept names nobody, and the hash can cover the HTML that will show it.
"""

from __future__ import annotations

import base64
import csv
import html
import io
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django.template.loader import render_to_string

from framing.engine import length
from quotes.notes import SECTIONS, Note, gravest, listed
from quotes.recipe_lines import in_words
from quotes.templatetags.paper import money, percent

NAME_MARK, SITE_MARK, HASH_MARK = "[[customer.name]]", "[[job.site]]", "[[snapshot.sha256]]"


def proposal_html(snapshot: Mapping[str, Any], plan_svg: str, section_svg: str) -> str:
    """The proposal of a snapshot, its marks still open."""
    notes = [Note(**note) for note in snapshot["notes"]]
    sections = {section: [note for note in notes if note.section == section] for section in SECTIONS}
    grave = gravest(notes)
    cautions = sum(note.status in ("stop", "caution") for note in notes)
    office = snapshot["office"]
    return render_to_string("paper/proposal.html", {
        "quote": {**snapshot["quote"], "issued_on": _day(snapshot["quote"]["issued_on"]),
                  "valid_until": _day(snapshot["quote"]["valid_until"])},
        "office": {**office, "address_lines": _lines(office["address"]), "notice_lines": _lines(office["notices"]),
                   "warranty_lines": _lines(office["warranty"])},
        "person": {"name": NAME_MARK, "site": SITE_MARK},
        "snapshot_mark": HASH_MARK,
        "currency": snapshot["estimate"]["currency"],
        "scope": scope(snapshot),
        "price": _price(snapshot["estimate"]),
        "grave": grave,
        "more_cautions": cautions - len(grave),
        "sections": sections,
        "figures": figures(snapshot["framing"], plan_svg, section_svg),
        "schedule": _schedule(snapshot),
        "escalation": _escalation(snapshot),
    })


def filled(page: str, *, name: str, site: str, sha256: str) -> str:
    """The page with its marks filled in; names are escaped."""
    for mark, value in ((NAME_MARK, name), (SITE_MARK, ", ".join(_lines(site))), (HASH_MARK, sha256)):
        page = page.replace(mark, html.escape(value))
    return page


def material_list(snapshot: Mapping[str, Any]) -> bytes:
    """What is to be bought, as CSV in UTF-8, a row an item; no prices, so that the crew may have it.

    `weight_lb` is of the whole order, `delivery` the order that it comes with; both empty for what no framing counts.
    """
    framing = snapshot.get("framing") or {}
    weights = {row["item"]: round(row.get("weight") or 0) for row in framing.get("quantities") or ()}
    deliveries = {item: bundle["order"] for bundle in (framing.get("lifts") or {}).get("bundles", ())
                  for item in bundle["items"]}
    out = io.StringIO(newline="")
    rows = csv.writer(out)
    rows.writerow(["supplier", "sku", "description", "order", "unit", "net", "waste", "spare", "item", "basis",
                   "weight_lb", "delivery"])
    for line in snapshot["estimate"]["lines"]:
        if line["kind"] == "material":
            came = line["came_from"]
            counted = came.get("framing", "/").startswith("/")  # what no framing counts has no weight and lift there
            rows.writerow([_cell(value) for value in (
                came["supplier"], came["sku"], line["description"], line["quantity"], line["unit"], came["net"],
                came["waste"], came["spare"], line["item"], came["basis"],
                (weights.get(line["item"]) or "") if counted else "", deliveries.get(line["item"]) if counted else "",
            )])
    return out.getvalue().encode()


def figures(framing: Mapping[str, Any], plan_svg: str, section_svg: str) -> list[dict[str, str]]:
    """Plan and door section as images with a text that stands in for them."""
    members, supports = framing.get("members") or (), framing.get("supports") or ()
    count = _count(members)
    reveals = (framing.get("plane") or {}).get("reveals") or {}
    steps = ", ".join(f"{length.write(drop)} in at {point}" for point, drop in reveals.items())
    plan = (f"Plan of the deck seen from above: outline with {len(framing.get('outline') or ())} corners, "
            f"{count.get('joist', 0)} joists and {len(supports)} pads on the surveyed roof.")
    surface = f"finished surface {steps} below it" if steps else "finished surface"
    section = f"Sections at the door and where the roof stands highest: sill, {surface}, boards, joist, pad and roof."
    return [
        {"kind": kind, "alt": alt, "data": data_address(svg), "caption": caption}
        for kind, alt, svg, caption in (
            ("plan", plan, plan_svg, "Plan. Drawn from the survey; corner letters are those of the survey."),
            ("section", section, section_svg, "Sections. Heights hang on the survey's datum."),
        ) if svg
    ]


def data_address(svg: str) -> str:
    """A drawing as an address that an image can carry in itself."""
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()


def scope(snapshot: Mapping[str, Any]) -> dict[str, Any]:
    """What is built, in plain words with its numbers."""
    framing, build = snapshot["framing"], snapshot["build"]
    members, supports = framing.get("members") or (), framing.get("supports") or ()
    count = _count(members)
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


def _price(estimate: Mapping[str, Any]) -> dict[str, Any]:
    chain, terms, currency = estimate["chain"], estimate["terms"], estimate["currency"]
    rate, on_cost, on_sale = percent(terms["tax_rate"]), Decimal(chain["tax_on_cost"]), Decimal(chain["tax_on_sale"])
    if terms["tax_place"] == "sale":
        statement = (f"Sales tax of {rate} on {money(chain['taxed'], currency)} is added to the sale: "
                     f"{money(on_sale, currency)}.")
    else:
        what = "the whole cost" if terms.get("taxed_lines") == "all" else "materials"
        statement = (f"Sales tax of {rate} on {what}, {money(on_cost, currency)}, is paid by the contractor on "
                     "what it buys and stands in the price; none is added to the sale.")
    return {
        "total": chain["price"], "groups": estimate["groups"], "sale_tax": on_sale if on_sale else None,
        "discount": _discount(estimate),
        "tax_rate": rate, "tax_statement": statement,
        "payments": [{**payment, "share": percent(payment["share"])} for payment in estimate["payments"]],
    }


def _escalation(snapshot: Mapping[str, Any]) -> dict[str, Any] | None:
    """The clause that lets the price move: the office's own text, and what it is tied to."""
    clause = (snapshot.get("agreed") or {}).get("escalation")
    if clause is None:
        return None
    bounds = [f"{word} of {percent(clause[name])}" for name, word in (("cap", "cap"), ("floor", "floor"))
              if clause[name] is not None]
    return {
        "lines": _lines(clause["text"]),
        "tied": f"Tied to Producer Price Index series {clause['series']}, base month {clause['base_month']} at "
                f"{clause['base_index']}, {clause['figures'].replace('-', ' ')} figures; "
                f"{listed(bounds) if bounds else 'no cap and no floor'}. If the series ends: "
                f"{clause['if_series_ends'].rstrip('.')}.",
    }


def _discount(estimate: Mapping[str, Any]) -> dict[str, Any] | None:
    """The discount as it is printed: how much, why, and on which side of the tax."""
    given = estimate.get("discount")
    if given is None:
        return None
    late = given["place"] == "after-tax"
    of = f"{percent(given['share'])} of " if given["share"] else "off "
    return {"amount": -Decimal(estimate["chain"]["discount"]), "reason": given["reason"], "late": late,
            "how": of + ("the price with its tax" if late else "the price before tax")}


def _schedule(snapshot: Mapping[str, Any]) -> dict[str, str]:
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


def _count(members: Any) -> dict[str, int]:
    count: dict[str, int] = {}
    for member in members:
        count[member["role"]] = count.get(member["role"], 0) + 1
    return count


def _others(count: Mapping[str, int]) -> str:
    names = {"rim": "rims", "edge": "edge joists", "blocking": "pieces of blocking", "border": "border members"}
    parts = [f"{count[role]} {name}" for role, name in names.items() if count.get(role)]
    return f", with {listed(parts)}" if parts else ""


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]


def _day(text: str) -> str:
    day = date.fromisoformat(text)
    return f"{day:%B} {day.day}, {day.year}"


def _cell(value: Any) -> str:
    """A cell that no spreadsheet takes for a formula."""
    text = str(value if value is not None else "")
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
