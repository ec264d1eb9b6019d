"""Filters for papers and pages."""

from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

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
def difference(amount: object, currency: str) -> str:
    """An amount that comes on top or goes off: +$120.00, −$12.00, or none."""
    if amount in (None, ""):
        return ""
    value = Decimal(str(amount))
    return "none" if not value else f"{'+' if value > 0 else ''}{money(value, currency)}"


@register.filter
def percent(rate: object) -> str:
    """A fraction as per cent, no more decimals than it has: 0.0725 is 7.25 %."""
    value = (Decimal(str(rate)) * 100).normalize()
    return f"{value:f} %"


@register.filter
def day(text: str) -> str:
    """A date as it is written out: 2026-03-16 is March 16, 2026."""
    found = date.fromisoformat(text)
    return f"{found:%B} {found.day}, {found.year}"


@register.filter
def clock(text: str, time_zone: str) -> str:
    """A time as the clocks of a time zone tell it: March 16, 2026, 10:00."""
    found = datetime.fromisoformat(text).astimezone(ZoneInfo(time_zone))
    return f"{day(found.date().isoformat())}, {found:%H:%M}"


@register.filter
def moment(text: str, time_zone: str) -> str:
    """The same with its time zone named: March 16, 2026, 10:00 (America/New_York)."""
    return f"{clock(text, time_zone)} ({time_zone})"


register.filter(often)
