"""Crew: person-hours as crew-days, and how many working days on the calendar they take.

Stage: labor -> crew. Days = person-hours / (people x hours a day) / availability, whole days: NAVEDTRA 14045 p. 2-28.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from framing.engine.documents import Build
from framing.engine.labor import Task
from framing.engine.takeoff import whole
from framing.reference import production


@dataclass(frozen=True)
class Schedule:
    """Who works how many days. Person-hours at low, typical and high rates; `crew` counts people by trade."""

    crew: dict[str, int]
    hours: tuple[float, float, float]
    hours_a_day: float
    availability: float
    basis: str

    @property
    def persons(self) -> int:
        return sum(self.crew.values())

    @property
    def crew_days(self) -> float:
        """Days that the whole crew works, none of it away."""
        return self.hours[1] / (self.persons * self.hours_a_day)

    @property
    def days(self) -> tuple[int, int, int]:
        """Working days on the calendar at low, typical and high rates."""
        low, typical, high = (working_days(h, self.persons, self.hours_a_day, self.availability) for h in self.hours)
        return low, typical, high

    def as_json(self) -> dict[str, Any]:
        low, typical, high = self.days
        return {
            "crew": self.crew, "persons": self.persons, "hours_a_day": self.hours_a_day,
            "availability": self.availability, "person_hours": self.hours[1], "person_hours_low": self.hours[0],
            "person_hours_high": self.hours[2], "crew_days": self.crew_days, "days": typical, "days_low": low,
            "days_high": high, "basis": self.basis,
        }


def working_days(hours: float, persons: int, hours_a_day: float, availability: float) -> int:
    """Whole working days that `hours` person-hours take."""
    return whole(hours / (persons * hours_a_day) / availability)


def plan_crew(build: Build, tasks: Sequence[Task]) -> Schedule:
    """The build's crew, day and availability, or the usual ones, on the hours of all tasks."""
    given = build.labor
    named = given.crew if given and given.crew else production.CREW
    crew = {"crew": named} if isinstance(named, int) else dict(Counter(named))
    day = given.hours_a_day if given and given.hours_a_day else production.HOURS_A_DAY
    share = given.availability if given and given.availability else production.AVAILABILITY
    hours = (sum(t.hours_low for t in tasks), sum(t.hours for t in tasks), sum(t.hours_high for t in tasks))
    of = "the build's" if given and given.availability else production.AVAILABILITY_SOURCE
    basis = (f"{hours[1]:.1f} person-hours / ({sum(crew.values())} people x {day:g} h) / {share:g} of them there on "
             f"the average day ({of}); " + ("the build's crew" if given and given.crew else "the usual crew")
             + "; low and high with every task at that end of its rate")
    return Schedule(crew, hours, day, share, basis)
