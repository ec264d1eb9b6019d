"""Hours by task: what drives each, its rate, and the factors that make this roof harder than the usual.

Stage: lifts -> labor -> crew. Person-hours throughout. A task's hours grow with what is worked on: length ripped,
pads, splices, crossings, ends and edges cut at an angle, weight and floors up.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from framing.engine.adjustment import Adjustment
from framing.engine.boards import Decking
from framing.engine.documents import Build, Survey
from framing.engine.layout import Deck
from framing.engine.lifts import Lifts
from framing.engine.supports import Frame
from framing.engine.takeoff import angle_cuts, crossings, panels, rim_joints, rip_run, scribed_run, splices
from framing.reference import production

UP = {"stair": "hoist-stairs", "hoist": "hoist-rope", "elevator": "hoist-elevator", "boom": "hoist"}


@dataclass(frozen=True)
class Task:
    """One task: `hours` = quantity x hours_per_unit x factor, person-hours; `low` and `high` bound the hours a unit.

    `record` is the number of the office's own rate, where it is one.
    """

    task: str
    quantity: float
    unit: str
    hours_per_unit: float
    factor: float
    basis: str
    low: float
    high: float
    record: int | None = None

    @property
    def hours(self) -> float:
        return self.quantity * self.hours_per_unit * self.factor

    @property
    def hours_low(self) -> float:
        return self.quantity * self.low * self.factor

    @property
    def hours_high(self) -> float:
        return self.quantity * self.high * self.factor

    def as_json(self) -> dict[str, Any]:
        return {"task": self.task, "quantity": self.quantity, "unit": self.unit, "hours_per_unit": self.hours_per_unit,
                "low": self.low, "high": self.high, "factor": self.factor, "hours": self.hours, "basis": self.basis,
                "rate_record": self.record}


@dataclass(frozen=True)
class Factor:
    """One difficulty factor on all hours: its value, the band it is taken from, and why it is there."""

    name: str
    value: float
    low: float
    high: float
    why: str
    source: str


@dataclass(frozen=True)
class Difficulty:
    """The factors one by one; `used` is their product held to the cap."""

    factors: tuple[Factor, ...]

    @property
    def product(self) -> float:
        return math.prod(f.value for f in self.factors)

    @property
    def used(self) -> float:
        return min(self.product, production.FACTOR_CAP)

    @property
    def words(self) -> str:
        named = ", ".join(f"{f.name} {f.value:g}" for f in self.factors)
        held = f", their product {self.product:g} held to {self.used:g}" if self.used < self.product else ""
        return f"factors: {named or 'no difficulty'}{held}"

    def as_json(self) -> dict[str, Any]:
        return {"factors": [vars(f) for f in self.factors], "product": self.product, "cap": production.FACTOR_CAP,
                "used": self.used}


def difficulty(survey: Survey, build: Build, adjusted: Adjustment, deck: Deck) -> Difficulty:
    """The build's own factors, or else those that the survey shows by itself."""
    if build.labor is not None and build.labor.difficulty:
        return Difficulty(tuple(Factor(name, value, value, value, "the build says so", "the build")
                                for name, value in build.labor.difficulty.items()))
    found = []
    for name, why in _found(survey, adjusted, deck):
        f = production.FACTORS[name]
        found.append(Factor(name, f.typical, f.low, f.high, f"{why}: {f.what}", f.source))
    return Difficulty(tuple(found))


def _found(survey: Survey, adjusted: Adjustment, deck: Deck) -> list[tuple[str, str]]:
    """Difficulties that the survey shows by itself, and by what."""
    found = []
    if survey.access is not None and survey.access.lift == "stair":
        found.append(("stair-carry", "the survey's way up is the stairs"))
    elif survey.access is not None and (survey.access.floor or 0) >= production.UPPER_FLOOR:
        found.append(("upper-floor", f"floor {survey.access.floor}"))
    off = {name: abs((a + 45) % 90 - 45) for name, a in adjusted.angles.items()}
    worst = max(off, key=lambda name: off[name], default="")
    if worst and off[worst] > production.OUT_OF_SQUARE:
        found.append(("out-of-square", f"corner {worst} is {off[worst]:.1f} degrees off"))
    if deck.net_sqft < production.SMALL_JOB:
        found.append(("small-job", f"{deck.net_sqft:.0f} sq ft"))
    return found


def estimate_hours(build: Build, hard: Difficulty, deck: Deck, frame: Frame, decking: Decking,
                   lifts: Lifts) -> list[Task]:
    """Hours of every task on this deck. The build's own rates stand before the reference rates."""
    given = build.labor.rates if build.labor and build.labor.rates else {}
    tasks = [_task(task, quantity, basis, given, hard)
             for task, (quantity, basis) in _drivers(build, deck, frame, decking, lifts).items() if quantity > 0]
    return [*tasks, _task("clean-up", sum(t.hours for t in tasks), "hours of all other tasks", given)]


def _drivers(build: Build, deck: Deck, frame: Frame, decking: Decking, lifts: Lifts) -> dict[str, tuple[float, str]]:
    """What each task is counted by, in the unit of its rate, and how that was counted."""
    run = sum(m.run for m in frame.members) / 12
    floors = lifts.floors_up if lifts.by == "stair" else 1
    brought = f"{lifts.weight:.0f} lb in {len(lifts.bundles)} lifts" + (f" up {floors} floors" if floors > 1 else "")
    hung = sum(m.role in ("blocking", "border") for m in frame.members)
    packers = sum(s.packer > 0 for s in frame.supports)
    joints = rim_joints(frame)
    ends = angle_cuts(frame)
    boards = len(decking.boards)
    count = panels(decking, build.decking.gap)
    usual = deck.net_sqft * production.USUAL_CROSSINGS
    share = production.FIXING_SHARE
    crossed = crossings(frame, decking)
    laid = deck.net_sqft * (1 + share * (crossed / usual - 1))
    return {
        "check-survey": (1, "the job"),
        "protect": (deck.net_sqft, "net deck area"),
        UP[lifts.by]: (lifts.weight / 100 * floors, brought),
        "rip-tapers": (rip_run(frame), "length that is ripped"),
        "cut-angles": (ends, f"{ends} ends of members that meet another off square"),
        "set-pads": (len(frame.supports), "supports"),
        "set-members": (run, "length of all members"),
        "block": (hung + splices(frame) + packers + joints / 2,
                  f"{hung} blocking, {splices(frame)} splices, {packers} packers, {joints} rim joints in pairs"),
        "tape-joists": (run if build.joists.tape_thickness > 0 else 0, "length of all members"),
        f"deck-{build.decking.fastening}": (
            laid, f"{deck.net_sqft:.0f} sq ft, {share:.0%} of it times {crossed} crossings over {usual:.0f}, "
            "those of usual boards and joists"),
        "scribe": (scribed_run(decking.boards), "board edges cut at an angle"),
        "panels": (count, f"{count} lift-out panels"),
        "seal-ends": (2 * boards, f"both ends of {boards} boards"),
    }


def _task(task: str, quantity: float, basis: str, given: Mapping[str, Any], hard: Difficulty | None = None) -> Task:
    """The task at its rate, times what makes it hard."""
    rate = given.get(task) or production.RATES[task]
    source, record = rate.source or "the build's own rate", given[task].record if task in given else None
    basis = f"{basis}; rate {rate.low:g}-{rate.typical:g}-{rate.high:g}, {source}" + (f"; {hard.words}" if hard else "")
    return Task(task, float(quantity), rate.unit, rate.typical, hard.used if hard else 1.0, basis, rate.low, rate.high,
                record)
