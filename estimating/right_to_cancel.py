"""Until when a sale may be cancelled, counted the careful way, and from when goods may be ordered for it. Pure.

What nobody answered counts as the longer period, of two ways to count the later day holds, and where more than one
rule is known the longest. Nothing here says that a rule holds for a contract: counsel decides.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, timedelta
from typing import Any

from estimating.business_days import CancelBy, cancel_by
from estimating.reference.consumer_law import CANCEL_RULES, STATUS, CancelRule
from estimating.reference.states import STATES, state_in


@dataclass(frozen=True)
class CancelPeriod:
    """How many business days, by which rule, on what answers, from which source, and who decides."""

    days: int
    words: str
    counted_from: str
    how: str
    basis: str
    source: str
    decided_by: str = "counsel"


@dataclass(frozen=True)
class LastDay:
    """The last day to cancel: until midnight of `day` in the office's time zone, counted after `start`."""

    start: date
    counted: CancelBy
    period: CancelPeriod

    @property
    def day(self) -> date:
        return self.counted.day

    def as_json(self) -> dict[str, Any]:
        return {"start": self.start.isoformat(), "day": self.day.isoformat(),
                "literal": self.counted.literal.isoformat(), "careful": self.counted.careful.isoformat(),
                "ordering_from": ordering_from(self.day).isoformat(), **asdict(self.period)}


def cancel_rule(jurisdiction: str, *, over_65: bool | None, disaster: bool | None, on: date, at_least: int = 0
                ) -> CancelPeriod:
    """The longest period that the rules on file name for a sale on a day.

    `over_65`: whether a buyer is 65 or over; `disaster`: whether the work repairs damage of a declared one; None: not
    answered. `at_least`: business days that the office's own notice gives. The federal rule always counts; a
    jurisdiction in no known state counts as lying in any of them.
    """
    state = state_in(jurisdiction)
    rules = [rule for rule in _on(on) if rule.state in ("", state) or state is None]
    rule = max(rules, key=lambda rule: (_days(rule, over_65, disaster), rule.state == state))
    days = _days(rule, over_65, disaster)
    words, source = f"{rule.name}: {rule.words}", f"{rule.source}; {rule.read_as} ({STATUS[rule.status]})"
    if at_least > days:
        days, words, source = at_least, f"The office's own notice: {at_least} business days", "the office's notice"
    return CancelPeriod(days, words, rule.counted_from, rule.how, _basis(jurisdiction, state, over_65, disaster, rules),
                        source)


def cancel_by_for(jurisdiction: str, signed: date, *, over_65: bool | None, disaster: bool | None,
                  copy_received: date | None = None, at_least: int = 0) -> LastDay:
    """The last day to cancel what was signed on a day, which itself does not count.

    `copy_received`: the day that the customer had the completed copy, where that is later; it is counted from then,
    since some rules count from the copy and the later day is the safe one.
    """
    period = cancel_rule(jurisdiction, over_65=over_65, disaster=disaster, on=signed, at_least=at_least)
    start = max(signed, copy_received or signed)
    return LastDay(start, cancel_by(start, period.days), period)


def ordering_from(last_day: date) -> date:
    """The first day that goods may be ordered and work scheduled: the day after the last one to cancel.

    A cancellation that was mailed on the last day may still be on its way then.
    """
    return last_day + timedelta(days=1)


def _on(day: date) -> list[CancelRule]:
    """The rule of each state that holds on a day: the last that began."""
    return list({rule.state: rule for rule in CANCEL_RULES if rule.valid_from is None or rule.valid_from <= day}
                .values())


def _days(rule: CancelRule, over_65: bool | None, disaster: bool | None) -> int:
    return max(rule.days, 0 if over_65 is False else rule.senior_days, 0 if disaster is False else rule.disaster_days)


def _basis(jurisdiction: str, state: str | None, over_65: bool | None, disaster: bool | None,
           rules: list[CancelRule]) -> str:
    answers = {True: "yes", False: "no", None: "not answered, so that the longer period counts"}
    if state is None:
        where = "in no state that could be read, so that the longest rule on file counts"
    elif any(rule.state == state for rule in rules):
        where = f"in {STATES[state]}"
    else:
        where = f"in {STATES[state]}, of which no rule is on file; the federal rule counts"
    return (f"the job's jurisdiction, {jurisdiction.strip() or 'not given'}, {where}; a buyer of 65 or over: "
            f"{answers[over_65]}; damage of a declared disaster: {answers[disaster]}")
