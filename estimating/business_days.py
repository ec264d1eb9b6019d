"""Federal holidays and business days, by rule: pure functions of dates.

A business day of the cooling-off rule is any day but a Sunday and a federal holiday, so that Saturdays count (16 CFR
429.0). Whether the weekday off that stands for a holiday on a weekend counts as that holiday, the rule does not say:
counted literally it does not, counted carefully it does, and the later day is the safe one.
"""

from __future__ import annotations

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

MONDAY, THURSDAY, SATURDAY, SUNDAY = 0, 3, 5, 6

# 5 U.S.C. 6103(a), read for this: name, month, day of the month or (weekday, which of the month; -1 the last), and the
# first year where the day joined later (Juneteenth: Public Law 117-17 of 2021-06-17).
_HOLIDAYS: Final[tuple[tuple[str, int, int | tuple[int, int], int], ...]] = (
    ("New Year's Day", 1, 1, 0),
    ("Birthday of Martin Luther King, Jr.", 1, (MONDAY, 3), 1986),
    ("Washington's Birthday", 2, (MONDAY, 3), 0),
    ("Memorial Day", 5, (MONDAY, -1), 0),
    ("Juneteenth National Independence Day", 6, 19, 2021),
    ("Independence Day", 7, 4, 0),
    ("Labor Day", 9, (MONDAY, 1), 0),
    ("Columbus Day", 10, (MONDAY, 2), 0),
    ("Veterans Day", 11, 11, 0),
    ("Thanksgiving Day", 11, (THURSDAY, 4), 0),
    ("Christmas Day", 12, 25, 0),
)
FIRST_YEAR: Final = 1978  # Veterans Day is back on November 11 from then on (Public Law 94-97)


def federal_holidays(year: int) -> dict[date, str]:
    """Name of each federal holiday by the day itself, in order. Raises ValueError before 1978.

    5 U.S.C. 6103(a); the inauguration day of 6103(c) is one in and about Washington only and is left out.
    """
    if year < FIRST_YEAR:
        raise ValueError(f"the year {year} was read; expected {FIRST_YEAR} or later")
    found = {}
    for name, month, day, since in _HOLIDAYS:
        if year >= since:
            found[date(year, month, day) if isinstance(day, int) else _nth(year, month, *day)] = name
    return found


def observed_holidays(year: int) -> dict[date, str]:
    """Name of each weekday off in `year` that stands for a holiday on a weekend, in order.

    Friday before a Saturday, 5 U.S.C. 6103(b)(1); Monday after a Sunday, Executive Order 11582. New Year's Day of the
    next year may give the last Friday of this one.
    """
    found = {}
    for day, name in (*federal_holidays(year).items(), (date(year + 1, 1, 1), "New Year's Day")):
        moved = day + timedelta({SATURDAY: -1, SUNDAY: 1}.get(day.weekday(), 0))
        if moved != day and moved.year == year:
            found[moved] = name
    return found


def is_business_day(day: date, *, observed: bool) -> bool:
    """Whether `day` counts: no Sunday, no federal holiday, and where `observed`, no weekday off for one either."""
    if day.weekday() == SUNDAY or day in federal_holidays(day.year):
        return False
    return not (observed and day in observed_holidays(day.year))


def add_business_days(day: date, days: int, *, observed: bool) -> date:
    """The day that is `days` business days after `day`; `day` itself does not count. Raises ValueError below 1."""
    if days < 1:
        raise ValueError(f"{days} business days was read; expected 1 or more")
    while days:
        day += timedelta(1)
        days -= is_business_day(day, observed=observed)
    return day


@dataclass(frozen=True)
class CancelBy:
    """Until midnight of which day a sale may be cancelled, counted both ways; `day` is the later one."""

    literal: date
    careful: date

    @property
    def day(self) -> date:
        return max(self.literal, self.careful)


def cancel_by(signed: date, days: int) -> CancelBy:
    """The last day to cancel a sale signed on `signed`, `days` business days later, by both ways of counting."""
    return CancelBy(add_business_days(signed, days, observed=False), add_business_days(signed, days, observed=True))


def _nth(year: int, month: int, weekday: int, which: int) -> date:
    first = date(year, month, 1)
    offset = (weekday - first.weekday()) % 7
    if which > 0:
        return first + timedelta(offset + 7 * (which - 1))
    last = monthrange(year, month)[1]
    return date(year, month, offset + 1 + 7 * ((last - offset - 1) // 7))
