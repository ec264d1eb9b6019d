"""Filters for papers and pages."""

from decimal import Decimal

from django import template

from quotes.spread import often

register = template.Library()

SIGNS = {"USD": "$", "EUR": "€", "GBP": "£", "CAD": "CA$", "AUD": "A$"}


@register.filter
def money(amount: object, currency: str) -> str:
    """An amount as people read it: $25,479.75."""
    if amount in (None, ""):
        return ""
    value = Decimal(str(amount))
    sign = SIGNS.get(currency, f"{currency} ")
    return f"{'−' if value < 0 else ''}{sign}{abs(value):,.2f}"


@register.filter
def percent(rate: object) -> str:
    """A fraction as per cent, no more decimals than it has: 0.0725 is 7.25 %."""
    value = (Decimal(str(rate)) * 100).normalize()
    return f"{value:f} %"


register.filter(often)
