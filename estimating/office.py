"""The office: its terms for going from cost to price, and its progress payments."""

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from estimating import money
from estimating.models import Office, PriceListVersion, User
from estimating.records import change_record, create_record
from estimating.service.problems import refusal


@refusal(409)
class OfficeNotSet(Exception):
    """The office has not been described yet."""


@refusal(409)
class CurrencyInUse(Exception):
    """Prices are kept in the office's currency already."""


def the_office() -> Office:
    """The office of this installation. Raises OfficeNotSet."""
    office = Office.objects.first()
    if office is None:
        raise OfficeNotSet("The office is not described yet: PUT /api/v1/office with its name, currency, rates and "
                           "payments first.")
    return office


def describe_office(values: Mapping[str, Any], *, by: User | None, now: datetime) -> Office:
    """Set up the office, or change it. Raises CurrencyInUse where prices stand in the old currency."""
    with transaction.atomic():
        office = Office.objects.select_for_update().first()
        if office is None:
            return create_record(Office, values, by=by, now=now)
        new = values.get("currency", office.currency)
        if new != office.currency and PriceListVersion.objects.exists():
            raise CurrencyInUse(f"Price lists are kept in {office.currency}; it cannot become {new}.")
        return change_record(office, values, by=by, now=now)


def terms_of(office: Office) -> money.Terms:
    """The office's rates as terms of the price chain."""
    return money.Terms(
        contingency=office.contingency_rate, overhead=office.overhead_rate, profit=office.profit_rate,
        tax_rate=office.tax_rate, tax_place=office.tax_place,  # type: ignore[arg-type]
        overhead_on=office.overhead_on, profit_on=office.profit_on,  # type: ignore[arg-type]
    )


def payment_schedule(office: Office) -> tuple[tuple[Decimal, str], ...]:
    """(share, milestone) of each progress payment, as `money.progress_payments` takes them."""
    return tuple((Decimal(entry["share"]), entry["milestone"]) for entry in office.payment_schedule)


def local_day(office: Office, moment: datetime) -> date:
    """The day that it is in the office's time zone."""
    return moment.astimezone(ZoneInfo(office.time_zone)).date()
