"""What the office sees of a price: every line with what it came from, and the way from cost to price."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from estimating import money as arithmetic
from quotes.recipe_lines import in_words
from quotes.templatetags.paper import money, percent

BASES = {"compound": "everything before it", "cost": "direct cost and contingency", "direct": "direct cost",
         "margin": "the sale itself"}


def cost_groups(estimate: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Lines under the part of the work that they belong to, each part with its cost."""
    rows: dict[str, list[dict[str, Any]]] = {}
    for line in estimate["lines"]:
        rows.setdefault(line["group"], []).append(_line(line, estimate["currency"]))
    costs = {group["title"]: group["cost"] for group in estimate["groups"]}
    return [{"title": title, "lines": lines, "cost": costs.get(title)} for title, lines in rows.items()]


def chain_rows(estimate: Mapping[str, Any], currency: str) -> list[dict[str, str]]:
    """Each step from the sum of the lines to the price, with its rate and what that is taken on."""
    chain, terms = estimate["chain"], estimate["terms"]
    tax = f"{percent(terms['tax_rate'])} of {money(chain['taxed'], currency)}"
    early = chain.get("discount_place", "before-tax") == "before-tax"
    discount = ("Discount", (estimate.get("discount") or {}).get("reason", ""), -Decimal(chain.get("discount") or 0))
    on_cost = terms["tax_place"] == "cost"
    steps = [
        ("Sum of the lines", "", chain["net"]),
        ("Sales tax on cost", tax if on_cost else "", chain["tax_on_cost"]),
        ("Direct cost", "", chain["direct"]),
        ("Contingency", f"{percent(terms['contingency'])} of direct cost", chain["contingency"]),
        ("Overhead", f"{percent(terms['overhead'])} of {BASES[terms['overhead_on']]}", chain["overhead"]),
        ("Profit", f"{percent(terms['profit'])} of {BASES[terms['profit_on']]}", chain["profit"]),
        ("Sale", "", chain["sale"]),
        *([discount] if early else []),
        ("Sales tax on the sale", "" if on_cost else tax, chain["tax_on_sale"]),
        *([] if early else [discount]),
    ]
    shown = [step for step in steps if Decimal(step[2])]
    return [{"step": step, "how": how, "amount": money(amount, currency)} for step, how, amount in shown]


def _line(line: Mapping[str, Any], currency: str) -> dict[str, Any]:
    came = line["came_from"]
    return {
        "description": line["description"], "item": line["item"], "cost": line["cost"],
        "count": f"{_plain(line['quantity'])} {in_words(line['unit'])}",
        "price": f"{money(_cents(line['unit_price']), currency)} / {in_words(line['price_unit'])}",
        "from": _hours(came) if line["kind"] == "labor" else _bought(came),
        "basis": came.get("basis") or "",
    }


def _hours(came: Mapping[str, Any]) -> str:
    """Person-hours as they were reckoned, and of which day the rates are."""
    if not came.get("hours_per_unit"):
        return ""
    since = sorted({rate["valid_from"] for rate in came.get("rates") or () if rate.get("valid_from")})
    rates = f"; rates of {', '.join(since)}" if since else ""
    factor = f" × {_plain(came['factor'])}" if Decimal(str(came.get("factor") or 1)) != 1 else ""
    return f"{_plain(came['quantity'])} {in_words(came['unit'])} × {_plain(came['hours_per_unit'])} h{factor}{rates}"


def _bought(came: Mapping[str, Any]) -> str:
    """Net, waste and spare in their unit, and the list that the price stands in."""
    parts = [f"{name} {_plain(came[name])}" for name in ("net", "waste", "spare")
             if came.get(name) and Decimal(str(came[name]))]
    told = f"{', '.join(parts)} {in_words(came['unit'])}" if parts and came.get("unit") else ""
    listed = ""
    if came.get("price_list"):
        listed = f"{came.get('sku') or ''}, {came['supplier']}: {came['price_list']} v{came['price_list_version']}"
        listed += f", from {came['valid_from']}" if came.get("valid_from") else ""
    return "; ".join(part for part in (told, listed) if part)


def _cents(amount: Any) -> Decimal:
    return arithmetic.rounded(Decimal(str(amount)))


def _plain(value: Any) -> str:
    """A count for people: at most two decimals, three significant ones where it is small."""
    number = Decimal(str(value))
    places = Decimal("0.01") if abs(number) >= 1 else Decimal("0.0001")
    text = f"{number.quantize(places):,f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
