"""What a price is made of, how it is paid and what may move it, in the words of the proposal."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from quotes.notes import listed
from quotes.templatetags.paper import money, percent


def price_in_words(estimate: Mapping[str, Any]) -> dict[str, Any]:
    """Total, parts, tax statement, discount and progress payments."""
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


def escalation(snapshot: Mapping[str, Any]) -> dict[str, Any] | None:
    """The clause that lets the price move: the office's own text, and what it is tied to."""
    clause = (snapshot.get("agreed") or {}).get("escalation")
    if clause is None:
        return None
    bounds = [f"{word} of {percent(clause[name])}" for name, word in (("cap", "cap"), ("floor", "floor"))
              if clause[name] is not None]
    return {
        "lines": [line.strip() for line in clause["text"].splitlines() if line.strip()],
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
