"""Hours by task: what drives each, its rate, and the factors that make this roof harder than the usual.

Stage: takeoff -> labor. Person-hours throughout.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from framing.engine.adjustment import Adjustment
from framing.engine.boards import Decking
from framing.engine.documents import Build, Survey
from framing.engine.layout import Deck
from framing.engine.supports import Frame
from framing.engine.takeoff import rim_joints, rip_run, splices
from framing.reference import production


@dataclass(frozen=True)
class Task:
    """One task: `hours` = quantity x hours_per_unit x factor, person-hours."""

    task: str
    quantity: float
    unit: str
    hours_per_unit: float
    factor: float
    basis: str

    @property
    def hours(self) -> float:
        return self.quantity * self.hours_per_unit * self.factor

    def as_json(self) -> dict[str, Any]:
        return {"task": self.task, "quantity": self.quantity, "unit": self.unit, "hours_per_unit": self.hours_per_unit,
                "factor": self.factor, "hours": self.hours, "basis": self.basis}


def estimate_hours(survey: Survey, build: Build, adjusted: Adjustment, deck: Deck, frame: Frame, decking: Decking,
                   weight: float) -> list[Task]:
    """Hours of every task on this deck; `weight` is what goes up [lb].

    The build's own rates stand before the reference rates, its own factors before those found in the survey.
    """
    factor, why = difficulty(survey, build, adjusted, deck)
    run = sum(m.line.length for m in frame.members) / 12
    scribed = sum(b.length for b in decking.boards if b.rip and abs(b.rip[0] - b.rip[1]) > 1 / 16) / 12
    scribed += sum(build.decking.width / 12 * b.skew_ends for b in decking.boards)
    hundredweight = weight / 100
    floor = survey.access.floor if survey.access and survey.access.floor else 1
    stairs = survey.access is not None and survey.access.lift == "stair"
    drivers: dict[str, tuple[float, str]] = {
        "check-survey": (1, "the job"),
        "protect": (deck.net_sqft, "net deck area"),
        ("hoist-stairs" if stairs else "hoist"): (
            hundredweight * (max(floor - 1, 1) if stairs else 1),
            f"{weight:.0f} lb" + (f" up {max(floor - 1, 1)} floors" if stairs else "")),
        "rip-tapers": (rip_run(frame), "length of ripped members"),
        "set-pads": (len(frame.supports), "supports"),
        "set-members": (run, "length of all members"),
        "block": (sum(m.role == "blocking" for m in frame.members) + splices(frame) + rim_joints(frame) / 2,
                  "blocking, splices and rim joints in pairs"),
        "tape-joists": (run if build.joists.tape_thickness > 0 else 0, "length of all members"),
        f"deck-{build.decking.fastening}": (deck.net_sqft, "net deck area"),
        "scribe": (scribed, "taper-ripped and skew-ended boards"),
        "seal-ends": (2 * len(decking.boards), "board ends"),
    }
    given = build.labor.rates if build.labor and build.labor.rates else {}
    tasks = []
    for task, (quantity, basis) in drivers.items():
        if quantity > 0:
            rate, unit, source = _rate(task, given)
            tasks.append(Task(task, float(quantity), unit, rate, factor, f"{basis}; {source}; {why}"))
    rate, unit, source = _rate("clean-up", given)
    hours = sum(t.hours for t in tasks)
    tasks.append(Task("clean-up", hours, unit, rate, 1.0, f"hours of all other tasks; {source}"))
    return tasks


def _rate(task: str, given: Mapping[str, Any]) -> tuple[float, str, str]:
    """Hours a unit, the unit, and where the rate comes from."""
    if task in given:
        return given[task].typical, given[task].unit, "the build's own rate"
    rate = production.RATES[task]
    return rate.typical, rate.unit, f"rate {rate.low:g}-{rate.typical:g}-{rate.high:g}, {rate.source}"


def difficulty(survey: Survey, build: Build, adjusted: Adjustment, deck: Deck) -> tuple[float, str]:
    """The product of the difficulty factors, held to the cap, and each of them in words."""
    if build.labor is not None and build.labor.difficulty:
        named = dict(build.labor.difficulty)
    else:
        named = {k: production.FACTORS[k].typical for k in _found(survey, adjusted, deck)}
    product = 1.0
    for value in named.values():
        product *= float(value)
    held = min(product, production.FACTOR_CAP)
    words = ", ".join(f"{k} {float(v):g}" for k, v in named.items()) or "no difficulty"
    return held, f"factors: {words}" + (f", held to {held:g}" if held < product else "")


def _found(survey: Survey, adjusted: Adjustment, deck: Deck) -> list[str]:
    """Difficulties that the survey shows by itself."""
    found = []
    if survey.access is not None and survey.access.lift == "stair":
        found.append("stair-carry")
    elif survey.access is not None and (survey.access.floor or 0) >= production.UPPER_FLOOR:
        found.append("upper-floor")
    if any(abs((a + 45) % 90 - 45) > production.OUT_OF_SQUARE for a in adjusted.angles.values()):
        found.append("out-of-square")
    if deck.net_sqft < production.SMALL_JOB:
        found.append("small-job")
    return found
