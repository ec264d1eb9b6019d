"""How sure the answer is: seeded trials of the readings, of production rates and of culls, told as percentiles.

Handed its inputs by design.py. Every trial has a roof and a sill within the survey's standard errors, under the same
wood and pads (stack_trials.py), and rates and culls within what is usual (job_trials.py). p10, p50 and p90 are what one
trial in ten, every other trial and nine in ten do not exceed. The same seed gives the same numbers.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framing.engine import job_trials, stack_trials
from framing.engine.adjustment import Adjustment
from framing.engine.documents import Build, Survey
from framing.engine.job_trials import Row, contributions
from framing.engine.members import Member
from framing.engine.pads import Support
from framing.engine.plane import Plane
from framing.engine.roof import Roof
from framing.reference.decking import decking_key
from framing.reference.risk import CULLS

Array = NDArray[np.float64]
Sources = list[tuple[str, float, str]]  # what an answer's variance comes from: source, its share, the point read of it

TRIALS, SEED = 1000, 20260301
TOLD = 0.01  # a member at less risk than this is not named
NEXT = 0.05  # a second source of less of the variance than this is not said


def vary(survey: Survey, build: Build, adjusted: Adjustment, plane: Plane, roof: Roof, members: Sequence[Member],
         supports: Sequence[Support], labor: Sequence[Row], quantities: Sequence[Row], factors: Sequence[Row] = (), *,
         trials: int = TRIALS, seed: int = SEED) -> dict[str, Any]:
    """The `uncertainty` of deck-framing/1; `labor` and `quantities` are its rows, `factors` those of its `difficulty`.

    Percentiles of shims by size, of the least clear gap [in], of sticks that could not be cut as planned on the true
    roof, of what is bought and of person-hours; the chance that the gap falls below the least somewhere, that a stack
    cannot be closed, that an item's order with its spares is short; what the variance comes from.

    Raises ValueError for fewer than one trial.
    """
    if trials < 1:
        raise ValueError(f"{trials} trials were asked; expected 1 or more")
    moves = stack_trials.draw(survey, build, adjusted, plane, roof, trials, seed)
    heights, needed, sources = _heights(moves, build, plane, roof, members, supports)
    culls = {r["item"]: share for r in quantities if (share := _culled(r, build)) > 0}
    job = Trials.of(labor, quantities, factors, culls, needed, trials, seed)
    sources = {"hours": contributions(job.hours.total, job.hours.sources), **sources}
    return {
        "trials": trials, "seed": seed, **heights,
        "quantities": {item: band for item, n in job.needs.items() if (band := percentiles(n))["p90"] > 0},
        "order_short": {item: float((n > 0).mean()) for item, n in job.short.items()},
        "hours": _hours(job.hours, sum(float(r["hours"]) for r in labor)),
        "culls": culls, "needed": needed,
        "contributions": {what: [{"source": name, "share": share, **({"most": point} if point else {})}
                                 for name, share, point in found] for what, found in sources.items()},
        "told": {what: words(what, found) for what, found in sources.items() if found},
    }


def _heights(moves: stack_trials.Moves, build: Build, plane: Plane, roof: Roof, members: Sequence[Member],
             supports: Sequence[Support]) -> tuple[dict[str, Any], dict[str, list[int]], dict[str, Sources]]:
    """What is told of shims, gaps and sticks at risk, the shims of every trial by item, and where it comes from."""
    found: dict[str, Any] = {"shims": {}, "stack_open": 0.0}
    needed: dict[str, list[int]] = {}
    sources: dict[str, Sources] = {}
    if supports:
        stacks = stack_trials.stacks(moves, supports, build)
        by_size = dict(zip(build.supports.shim_sizes, stacks.shims.T, strict=True))
        needed = {f"support/shim/{size:g}": n.tolist() for size, n in by_size.items() if n.any()}
        found = {"shims": {f"{size:g}": percentiles(n) for size, n in by_size.items()},
                 "stack_open": float(stacks.open.mean())}
        sources["shims"] = stack_trials.shares(moves, np.array([s.at for s in supports]))
    wood = stack_trials.wood(moves, members, build, plane, roof)
    found["gap_below_least"] = float((wood.least < build.supports.clear_gap.least - 1e-9).mean())
    if members:
        found["least_gap"] = percentiles(wood.least)
        sources["gap"] = stack_trials.shares(moves, wood.tightest[None])
    return {**found, "at_risk": _at_risk(wood)}, needed, sources


def _hours(drawn: job_trials.Hours, planned: float) -> dict[str, Any]:
    """Bands of the total and of every task, and how often the total is over what is planned."""
    total = drawn.total
    return {"total": {**percentiles(total), "planned": planned, "over": float((total > planned).mean())},
            **{task: percentiles(hours) for task, hours in zip(drawn.tasks, drawn.hours, strict=True)}}


@dataclass(frozen=True)
class Trials:
    """Every trial of the job: person-hours, sticks and shims in packs."""

    hours: job_trials.Hours
    sticks: job_trials.Bought
    shims: job_trials.Bought

    @classmethod
    def of(cls, labor: Sequence[Row], quantities: Sequence[Row], factors: Sequence[Row],
           culls: Mapping[str, float], needed: Mapping[str, Sequence[int]], trials: int, seed: int) -> Trials:
        return cls(job_trials.draw_hours(labor, factors, trials, seed),
                   job_trials.draw_sticks(quantities, culls, trials, seed),
                   job_trials.count_shims(quantities, needed))

    @property
    def needs(self) -> dict[str, Array]:
        """Packs (trials,) of every item that varies, as the job takes them."""
        return {item: n for b in (self.shims, self.sticks) for item, n in zip(b.items, b.needs, strict=True)}

    @property
    def short(self) -> dict[str, Array]:
        """Packs (trials,) of every item that varies which the order with its spares does not cover."""
        return {item: n for b in (self.shims, self.sticks) for item, n in zip(b.items, b.short, strict=True)}


def trials_of(framing: Mapping[str, Any]) -> Trials | None:
    """The trials behind the `uncertainty` of a deck-framing/1 document, drawn again; None where it has none."""
    told = framing.get("uncertainty") or {}
    if not told.get("trials") or "hours" not in told:
        return None
    factors = (framing.get("difficulty") or {}).get("factors") or ()
    return Trials.of(framing["labor"], framing["quantities"], factors, told["culls"], told["needed"], told["trials"],
                     told["seed"])


def percentiles(values: NDArray[Any]) -> dict[str, float]:
    """p10, p50 and p90 of trials (n,): the least value that so many of ten do not exceed."""
    rising = np.sort(values)
    return {f"p{part}": float(rising[math.ceil(len(rising) * part / 100) - 1]) for part in (10, 50, 90)}


def _culled(row: Row, build: Build) -> float:
    """The share of an item's sticks that is culled: of natural wood alone."""
    kind = str(row["item"]).split("/", 1)[0]
    sticks = row["unit"] == "LF" and row["order_unit"] == "EA"
    natural = kind != "decking" or decking_key(build.decking.species or "") != "composite"
    return CULLS.get(kind, 0.0) if sticks and natural else 0.0


def _at_risk(wood: stack_trials.Wood) -> dict[str, Any]:
    """Sticks of members that the true roof may ask deeper, or leaves too thin, and the chance of either by member."""
    pieces = np.array([len(m.pieces) for m in wood.members], int)
    either = wood.deeper | wood.thinner
    return {
        "deeper": float(wood.deeper.any(axis=1).mean()), "thinner": float(wood.thinner.any(axis=1).mean()),
        "sticks": percentiles(either @ pieces),
        "members": [{"member": m.id, "size": m.size, "deeper": float(d), "thinner": float(t)}
                    for m, d, t in zip(wood.members, wood.deeper.mean(axis=0), wood.thinner.mean(axis=0), strict=True)
                    if max(d, t) >= TOLD],
    }


SAID = {"hours": "The hours vary", "shims": "The shims' height varies", "gap": "The tightest gap varies",
        "cost": "The direct cost varies"}


def words(what: str, sources: Sources) -> str:
    """What an answer's variance comes from before all, and the next source where it counts."""
    def share(source: tuple[str, float, str]) -> str:
        name, part, point = source
        return f"{name}{f' ({point} before all)' if point else ''}, {100 * part:.0f} %"

    then = [f"; then {share(s)}" for s in sources[1:2] if s[1] >= NEXT]
    return f"{SAID[what]} most with {share(sources[0])} of the variance{''.join(then)}."
