"""Recipes in a quote: how many units there are of each, and the rows of goods and hours that so many take.

Pure. Quantities are exact fractions until a row is written: needs stand there to six decimals, half up, and what is
ordered is whole packs of that. A recipe's hours are priced at its typical rate and carry no difficulty factor of the
framing's; low and high are told beside them. Every row knows recipe, version and measure that it came from.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil
from typing import Any

from estimating import money, units
from framing.reference.guards import GUARD_DROP, GUARD_REACH, GUARD_SOURCE
from framing.reference.production import RATES
from quotes.estimate import TITLES, Added, Finding
from quotes.measures import MeasureError, measure
from quotes.notes import Note

PLACES = 6  # decimals that a need is written with
UNITS_IN_WORDS = {"LF": "ft", "FOT": "ft", "INH": "in", "FTK": "ft²", "EA": "pieces", "C62": "pieces", "H87": "pieces"}


@dataclass(frozen=True)
class Rate:
    """Person-hours for one `unit` of a task, from the office's table or the published start."""

    low: Decimal
    typical: Decimal
    high: Decimal
    unit: str
    source: str


@dataclass(frozen=True)
class Use:
    """One recipe in a quote. `quantities` as they were asked: `typed` and `unit`, or `measure` and `of`.

    `corners` are posts more than the straight runs need, put in by a person; content is the version's.
    """

    recipe: int
    name: str
    version: int
    number: int
    kind: str
    unit: str
    content: Mapping[str, Any]
    quantities: Sequence[Mapping[str, Any]]
    corners: int = 0


@dataclass(frozen=True)
class Counted:
    """How many units of a recipe there are, how many posts, and the words for where both come from."""

    quantity: Fraction
    posts: int
    basis: str
    posts_basis: str = ""


def count(use: Use, framing: Mapping[str, Any], survey: Mapping[str, Any]) -> Counted:
    """The quantity of a recipe in its own unit, exact, and its posts.

    Posts stand on each straight run: ceil(run / spacing) of them, and one more at the end of each run of sides; a typed
    length counts as one straight run with one end. Raises MeasureError or UnitError.
    """
    whole, words, runs, ends = Fraction(0), [], [], 0
    for asked in use.quantities:
        if "measure" in asked:
            read = measure(asked["measure"], framing, survey, asked.get("of") or ())
            whole += units.convert(read.amount, read.unit, use.unit)
            runs += read.runs
            ends += read.ends
            words.append(f"{asked['measure']}: {read.basis}, {read.amount} {in_words(read.unit)}")
        else:
            typed, unit = Decimal(asked["typed"]), asked.get("unit") or use.unit
            whole += units.convert(typed, unit, use.unit)
            if units.unit(unit).dimension == "length":
                runs.append(money.rounded(units.convert(typed, unit, "INH"), PLACES))
                ends += 1
            why = f" ({asked['reason']})" if asked.get("reason") else ""
            words.append(f"typed: {_plain(typed)} {in_words(unit)}{why}")
    basis = "; ".join(words)
    if not (posts := use.content.get("posts")):
        return Counted(whole, 0, basis)
    spacing = Decimal(posts["spacing"])
    along = sum(ceil(money.exact(run) / money.exact(spacing)) for run in runs)
    corners = f" and {use.corners} put in by hand" if use.corners else ""
    return Counted(whole, along + ends + use.corners, basis,
                   f"at most {_plain(spacing)} in apart: {along} on {len(runs)} straight runs, {ends} at ends{corners}")


def rows_of(uses: Sequence[Use], framing: Mapping[str, Any], survey: Mapping[str, Any], rates: Mapping[str, Rate]
            ) -> Added:
    """What the recipes of a quote take, as the estimate adds it to the framing's own rows.

    `rates` are the office's production rates of the day by task; where it has none, the published start stands in. What
    cannot be counted, or has no rate, is a finding and stands in the way of a price.
    """
    bought: list[tuple[str, Mapping[str, Any]]] = []
    labor: list[tuple[str, Mapping[str, Any]]] = []
    findings: list[Finding] = []
    told: list[Mapping[str, Any]] = []
    parts: dict[str, str] = {}
    for at, use in enumerate(uses):
        try:
            counted = count(use, framing, survey)
        except (MeasureError, units.UnitError) as error:
            findings.append(Finding("no-quantity", use.name, f"{use.name} cannot be counted: {error}."))
            continue
        part = use.content.get("part") or TITLES[-1]
        if part not in TITLES:
            held = use.content.get("holds") or use.name
            known = parts.setdefault(part, held)
            parts[part] = known if held in known.split("; ") else f"{known}; {held}"
        common = {"part": part, "recipe": {
            "recipe": use.recipe, "recipe_name": use.name, "recipe_version": use.version, "recipe_number": use.number,
            "measure": counted.basis,
        }}
        bought += [(f"recipes/{at}/items/{n}", {**row, **common}) for n, row in enumerate(_items(use, counted))]
        for n, task in enumerate(use.content.get("labor") or ()):
            row = _task(use, task, counted, rates)
            if isinstance(row, Finding):
                findings.append(row)
            else:
                labor.append((f"recipes/{at}/labor/{n}", {**row, **common}))
        told.append({
            "at": at, "recipe": use.recipe, "name": use.name, "version": use.version, "number": use.number,
            "kind": use.kind, "quantity": _plain(money.rounded(counted.quantity, PLACES)), "unit": use.unit,
            "basis": counted.basis, "posts": counted.posts, "posts_basis": counted.posts_basis,
        })
    return Added(tuple(bought), tuple(labor), parts, tuple(told), tuple(findings))


def _items(use: Use, counted: Counted) -> Iterator[dict[str, Any]]:
    by_roofer = use.kind == "by-roofer"
    for item in use.content.get("items") or ():
        net = _times(item["per"], counted) * money.exact(Decimal(item["quantity"]))
        waste = money.exact(Decimal(item["waste"]))
        need = net / (1 - waste) if item["waste_as"] == "yield" else net * (1 + waste)
        yield _row(item["item"], item["unit"], net, need, use, f"{_words(item, counted, use)}; {_waste(item)}",
                   pack=Decimal(item["pack"]), order_unit=item.get("order_unit") or "",
                   allowance=by_roofer or item["allowance"])
    posts = use.content.get("posts") or {}
    if posts.get("item") and counted.posts:
        yield _row(posts["item"], "EA", Fraction(counted.posts), Fraction(counted.posts), use,
                   f"allowance for each post through the membrane; posts {counted.posts_basis}", allowance=True)


def _row(item: str, unit: str, net: Fraction, need: Fraction, use: Use, basis: str, *, pack: Decimal = Decimal(1),
         order_unit: str = "", allowance: bool = False) -> dict[str, Any]:
    """A row as a framing's `quantities` have it. Net and waste add up to the need as it is rounded."""
    need_text, net_text = money.rounded(need, PLACES), money.rounded(net, PLACES)
    row = {"item": item, "description": "", "unit": unit, "net": _normal(net_text),
           "waste": _normal(need_text - net_text), "order": Decimal(ceil(money.exact(need_text) / money.exact(pack))),
           "basis": f"{use.name}, version {use.number}: {basis}", "allowance": allowance}
    return {**row, "pack": _normal(pack), "order_unit": order_unit} if order_unit else row


def _task(use: Use, task: Mapping[str, Any], counted: Counted, rates: Mapping[str, Rate]) -> dict[str, Any] | Finding:
    name = task["task"]
    if "typical" in task:
        rate = Rate(*(Decimal(task[part]) for part in ("low", "typical", "high")), task["unit"], "the recipe's own")
    elif (rate := rates.get(name) or _published(name)) is None:  # type: ignore[assignment]
        return Finding("no-production-rate", name, f"{use.name}: {name} has no hours in the recipe and no production "
                                                   "rate of the office on the day; set one.")
    if rate.unit != task["unit"]:
        return Finding("unit-mismatch", name, f"{use.name}: {name} is counted by {task['unit']} and its rate is by "
                                              f"{rate.unit}; expected one unit.")
    quantity = _times(task["per"], counted) * money.exact(Decimal(task["quantity"]))
    return {
        "task": name, "quantity": _normal(money.rounded(quantity, PLACES)), "unit": task["unit"],
        "hours_per_unit": _normal(rate.typical), "low": _normal(rate.low), "high": _normal(rate.high),
        "factor": Decimal(1), "hours": _normal(money.rounded(quantity * money.exact(rate.typical), PLACES)),
        "basis": f"{use.name}, version {use.number}: {_words(task, counted, use)}; rate {_plain(rate.low)}-"
                 f"{_plain(rate.typical)}-{_plain(rate.high)}, {rate.source}; no difficulty factor",
    }


def _published(task: str) -> Rate | None:
    found = RATES.get(task)
    if found is None:
        return None
    low, typical, high = (Decimal(str(value)) for value in (found.low, found.typical, found.high))
    return Rate(low, typical, high, found.unit, found.source)


def _times(per: str, counted: Counted) -> Fraction:
    return {"unit": counted.quantity, "post": Fraction(counted.posts), "job": Fraction(1)}[per]


def _words(row: Mapping[str, Any], counted: Counted, use: Use) -> str:
    each = f"{_plain(Decimal(row['quantity']))} {in_words(row['unit'])}"
    if row["per"] == "job":
        return f"{each}, once"
    if row["per"] == "post":
        return f"{each} for each of {counted.posts} posts ({counted.posts_basis})"
    return f"{each} for each of {_short(counted.quantity)} {in_words(use.unit)} ({counted.basis})"


def _waste(item: Mapping[str, Any]) -> str:
    percent = _plain(Decimal(item["waste"]) * 100)
    if not Decimal(item["waste"]):
        return "no waste"
    return f"waste {percent} % " + ("of what is bought (yield)" if item["waste_as"] == "yield" else
                                     "of net (added on)")


def recipe_notes(uses: Sequence[Use], told: Sequence[Mapping[str, Any]], framing: Mapping[str, Any],
                 survey: Mapping[str, Any], build: Mapping[str, Any]) -> Iterator[Note]:
    """What the recipes of a quote bring to the proposal: what their kind calls for, then their own sentences.

    `told` is the estimate's `recipes`: only what could be counted has a note.
    """
    for counted in told:
        use = uses[counted["at"]]
        words = {"name": use.name, "quantity": _short(money.exact(Decimal(counted["quantity"]))),
                 "unit": in_words(use.unit), "posts": str(counted["posts"])}
        yield from _kind_notes(use, counted, words, framing, survey, build)
        for own in use.content.get("notes") or ():
            yield Note(key="recipe", section=own["section"], text=own["text"].format(**words), basis=own["basis"],
                       source=own["source"], decided_by=own["decided_by"], value=float(counted["quantity"]),
                       unit=use.unit, where=use.name, acknowledge=own["acknowledge"],
                       status="caution" if own["section"] == "caution" else "note")


def _kind_notes(use: Use, counted: Mapping[str, Any], words: Mapping[str, str], framing: Mapping[str, Any],
                survey: Mapping[str, Any], build: Mapping[str, Any]) -> Iterator[Note]:
    source = f"recipe {use.name}, version {use.number}"
    posts = counted["posts"]
    if use.kind == "guard":
        yield Note(
            key="guard-priced", section="deferral", basis=counted["basis"], where=use.name,
            source=f"{GUARD_SOURCE}: a drop of more than {GUARD_DROP:g} in within {GUARD_REACH:g} in of the edge",
            decided_by="building department and structural engineer", value=float(posts), unit="EA",
            text="{name}, {quantity} {unit} with {posts} posts, is part of this price. Where a guard is required, its "
                 "height, openings and strength, measured from the new surface, are for the building department; the "
                 "posts, their fixing and what carries them are for an engineer.".format(**words),
        )
    if use.kind == "screen":
        yield Note(
            key="screen-wind", section="deferral", basis=counted["basis"], source=source, where=use.name,
            decided_by="structural engineer", value=float(counted["quantity"]), unit=use.unit,
            text="{name}, {quantity} {unit}, catches wind. The wind on it, its fixing and what carries it are for an "
                 "engineer.".format(**words),
        )
    if posts and (use.content.get("posts") or {}).get("through_membrane"):
        yield Note(
            key="post-through-membrane", section="deferral", basis=f"posts {counted['posts_basis']}", source=source,
            decided_by="roofer", value=float(posts), unit="EA", where=use.name,
            text="{posts} posts of {name} go through the membrane. Each is flashed by the roofer, for whom an "
                 "allowance stands in the price; the membrane's maker and whoever holds the warranty agree in writing "
                 "first.".format(**words),
        )
    if use.kind == "by-roofer":
        yield Note(
            key="by-roofer", section="deferral", basis=counted["basis"], source=source, decided_by="roofer",
            where=use.name, value=float(counted["quantity"]), unit=use.unit,
            text="{name}, {quantity} {unit}, is the roofer's work and stands in the price as an allowance. How it is "
                 "done, and what it does to the roof's warranty, is for the roofer.".format(**words),
        )
    if use.kind == "planter":
        yield _planter_note(use, counted, words, framing, survey, build)


def _planter_note(use: Use, counted: Mapping[str, Any], words: Mapping[str, str], framing: Mapping[str, Any],
                  survey: Mapping[str, Any], build: Mapping[str, Any]) -> Note:
    """A planter's weight beside every number that was reckoned without it, or with the heavy places of the build."""
    load = use.content["load"]
    each, place = Decimal(load["saturated_weight"]), Decimal(load["footprint"])
    psf, pounds = float(each / place), float(each * Decimal(counted["quantity"]))
    live = (framing.get("loads") or {}).get("live")
    heavy = [float(spot["psf"]) for spot in (build.get("loads") or {}).get("heavy") or ()]
    limit = max(heavy, default=None if live is None else float(live))
    reckoned = f"for {live:g} psf live load" if live is not None else "for a live load that is not known"
    spots = f" and {max(heavy):g} psf at the heaviest of {len(heavy)} heavy places" if heavy else \
        " and for no heavy place"
    pads = framing.get("supports") or ()
    worst = max(pads, key=lambda pad: pad.get("reaction_most") or 0, default=None)
    pad = f"; its most loaded pad carries {worst['reaction_most']:.0f} lb at {worst['pressure']:.1f} psi " \
          f"({worst['member']})" if worst else ""
    strength = (survey.get("roof") or {}).get("insulation_strength")
    rated = f"was given as {strength} psi" if strength is not None else "is not known"
    return Note(
        key="planter-load", section="caution", status="caution", where=use.name, value=psf, limit=limit, unit="psf",
        basis=f"{counted['basis']}; {_plain(each)} lb saturated on {_plain(place)} ft² a unit",
        source=load["source"], decided_by="structural engineer", acknowledge=limit is None or psf > limit,
        text="{name}, {quantity} {unit}: ".format(**words)
             + f"{pounds:,.0f} lb when saturated, {psf:.0f} psf where it stands. The deck was reckoned {reckoned}"
             + f"{spots}{pad}, and the insulation's strength {rated}. Whether roof, pads and frame bear the planter "
               "where it is put is for an engineer; the build names place and weight before the deck is framed for it.",
    )


def in_words(unit: str) -> str:
    """A unit as people write it behind a number."""
    return UNITS_IN_WORDS.get(unit) or units.unit(unit).name


def _short(quantity: Fraction) -> str:
    """A quantity for people: at most two decimals."""
    return _plain(money.rounded(quantity))


def _normal(value: Decimal) -> Decimal:
    return Decimal(_plain(value))


def _plain(value: Decimal) -> str:
    """A number without zeros at its end."""
    text = format(value, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text
