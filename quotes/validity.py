"""Until when an offer holds. Pure: the office's days, the prices' last day, and how long ordering is held."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

OrderDay = Callable[[date], date]


@dataclass(frozen=True)
class Validity:
    """The last day of an offer and why it is that one."""

    until: date
    because: str


def valid_until(today: date, office_days: int, prices_end: date | None, order_day: OrderDay) -> Validity | None:
    """The earlier of the office's days and the last day on which an acceptance still leaves time to order.

    Parameters
    ----------
    today : date
        The day of issue.
    office_days : int
        How long the office lets its offers stand. [days]
    prices_end : date or None
        The earliest day on which a price that is used ends; None where none ends.
    order_day : callable
        First day on which goods are ordered for an offer that is accepted on a given day; never before it, and never
        earlier for a later acceptance.

    Returns
    -------
    Validity or None
        None where goods that are ordered for an acceptance of today would come after the prices' end.
    """
    last = today + timedelta(days=office_days)
    of_the_office = Validity(last, f"{office_days} days from the day of issue, as the office lets offers stand")
    if prices_end is None or order_day(last) <= prices_end:
        return of_the_office
    day = min(last, prices_end)
    while day >= today and order_day(day) > prices_end:
        day -= timedelta(days=1)
    if day < today:
        return None
    held = (order_day(day) - day).days
    after = f", {held} days later," if held else ""
    return Validity(day, f"prices that it rests on end on {prices_end}, and goods are ordered on {order_day(day)}"
                         f"{after} for an acceptance on the last day")
