"""Sales tax of a day and a place, as terms of the price chain."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from estimating import money
from estimating.matching import place_key
from estimating.models import Office, TaxRule
from estimating.office import terms_of


def tax_rule_on(jurisdiction: str, on: date) -> TaxRule | None:
    """The rule that holds in a jurisdiction on a day; large and small letters and spaces are alike."""
    wanted = place_key(jurisdiction)
    rows = TaxRule.objects.filter(valid_from__lte=on).order_by("valid_from", "id") if wanted else ()
    return {place_key(row.jurisdiction): row for row in rows}.get(wanted)


def terms_on(office: Office, jurisdiction: str, on: date) -> tuple[money.Terms, dict[str, Any]]:
    """The office's terms with the tax of a jurisdiction on a day, and what that tax came from.

    Where no rule names the jurisdiction the office's own rate and place hold, if the office says so; else the place
    is unknown, which blocks a price.
    """
    terms = terms_of(office)
    rule = tax_rule_on(jurisdiction, on)
    if rule is not None:
        terms = replace(terms, tax_rate=rule.rate, tax_place=rule.place, taxed_lines=rule.taxed_lines)
        return terms, {"from": "rule", "rule": rule.pk, "jurisdiction": rule.jurisdiction, "source": rule.source,
                       "said_by": rule.said_by, "valid_from": rule.valid_from.isoformat()}
    if not office.tax_is_fallback:
        terms = replace(terms, tax_place="unknown")
    return terms, {"from": "nobody" if terms.tax_place == "unknown" else "office", "rule": None,
                   "jurisdiction": jurisdiction}
