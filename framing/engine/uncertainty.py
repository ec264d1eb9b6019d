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
from framing.reference import production
from framing.reference.decking import decking_key
from framing.reference.risk import CULLS

Array = NDArray[np.float64]

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
    """
    moves = stack_trials.draw(survey, build, adjusted, plane, roof, trials, seed)
    found: dict[str, Any] = {"trials": trials, "seed": seed}
    needed: dict[str, list[int]] = {}
    if supports:
        stacks = stack_trials.stacks(moves, supports, build)
        by_size = dict(zip(build.supports.shim_sizes, stacks.shims.T, strict=True))
        needed = {f"support/shim/{size:g}": n.tolist() for size, n in by_size.items() if n.any()}
        found["shims"] = {f"{size:g}": percentiles(n) for size, n in by_size.items()}
        found["stack_open"] = float(stacks.open.mean())
        from_heights = {"shims": stack_trials.shares(moves, np.array([s.at for s in supports]))}
    else:
        found |= {"shims": {}, "stack_open": 0.0}
        from_heights = {}
    wood = stack_trials.wood(moves, members, build, plane, roof)
    found["gap_below_least"] = float((wood.least < build.supports.clear_gap.least - 1e-9).mean())
    if members:
        found["least_gap"] = percentiles(wood.least)
        from_heights["gap"] = stack_trials.shares(moves, wood.tightest[None])
    found["at_risk"] = _at_risk(wood)

    culls = {r["item"]: share for r in quantities if (share := _culled(r, build)) > 0}
    ranges = {r["task"]: ends for r in labor if (ends := _range(r, build)) is not None}
    job = Trials.of(labor, quantities, factors, ranges, culls, needed, trials, seed)
    bands = {item: percentiles(np.array(n)) for item, n in needed.items()}
    bands |= {item: percentiles(n) for item, n in zip(job.sticks.items, job.sticks.needs, strict=True)}
    found["quantities"] = {item: band for item, band in bands.items() if band["p90"] > 0}
    found["order_short"] = {item: float((n > 0).mean()) for item, n in job.short.items()}
    planned, total = sum(float(r["hours"]) for r in labor), job.hours.total
    found["hours"] = {
        "total": {**percentiles(total), "planned": planned, "over": float((total > planned).mean())},
        **{task: {**percentiles(h), "low": ranges[task][0], "high": ranges[task][1]}
           for task, h in zip(job.hours.tasks, job.hours.hours, strict=True) if task in ranges},
    }
    found["culls"], found["needed"] = culls, needed
    told = {"hours": contributions(total, job.hours.sources), **from_heights}
    found["contributions"] = {what: [{"source": name, "share": share, **({"most": point} if point else {})}
                                     for name, share, point in sources] for what, sources in told.items()}
    found["told"] = {what: words(what, sources) for what, sources in told.items() if sources}
    return found


@dataclass(frozen=True)
class Trials:
    """Every trial of the job: person-hours, sticks and shims in packs."""

    hours: job_trials.Hours
    sticks: job_trials.Bought
    shims: job_trials.Bought

    @classmethod
    def of(cls, labor: Sequence[Row], quantities: Sequence[Row], factors: Sequence[Row],
           ranges: Mapping[str, tuple[float, float]], culls: Mapping[str, float], needed: Mapping[str, Sequence[int]],
           trials: int, seed: int) -> Trials:
        return cls(job_trials.draw_hours(labor, ranges, factors, trials, seed),
                   job_trials.draw_sticks(quantities, culls, trials, seed),
                   job_trials.count_shims(quantities, needed))

    @property
    def short(self) -> dict[str, Array]:
        """Packs (trials,) of every item that varies which the order with its spares does not cover."""
        return {item: n for b in (self.sticks, self.shims) for item, n in zip(b.items, b.short, strict=True)}


def trials_of(framing: Mapping[str, Any]) -> Trials | None:
    """The trials behind the `uncertainty` of a deck-framing/1 document, drawn again; None where it has none."""
    told = framing.get("uncertainty") or {}
    if not told.get("trials") or "hours" not in told:
        return None
    ranges = {task: (band["low"], band["high"]) for task, band in told["hours"].items() if task != "total"}
    factors = (framing.get("difficulty") or {}).get("factors") or ()
    return Trials.of(framing["labor"], framing["quantities"], factors, ranges, told["culls"], told["needed"],
                     told["trials"], told["seed"])


def percentiles(values: NDArray[Any]) -> dict[str, float]:
    """p10, p50 and p90 of trials (n,): the least value that so many of ten do not exceed."""
    rising = np.sort(values)
    return {f"p{part}": float(rising[math.ceil(len(rising) * part / 100) - 1]) for part in (10, 50, 90)}


def _range(row: Row, build: Build) -> tuple[float, float] | None:
    """Low and high of a task's rate [h a unit], as its row says or else the build or the reference; None: nowhere."""
    if "low" in row and "high" in row:
        return float(row["low"]), float(row["high"])
    given = build.labor.rates if build.labor and build.labor.rates else {}
    rate = given.get(row["task"]) or production.RATES.get(row["task"])
    return None if rate is None else (float(rate.low), float(rate.high))


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


def words(what: str, sources: Sequence[tuple[str, float, str]]) -> str:
    """What an answer's variance comes from before all: the greatest of its (source, share, point that it owes most to),
    and the next where it counts."""
    def share(source: tuple[str, float, str]) -> str:
        name, part, point = source
        return f"{name}{f' ({point} before all)' if point else ''}, {100 * part:.0f} %"

    then = [f"; then {share(s)}" for s in sources[1:2] if s[1] >= NEXT]
    return f"{SAID[what]} most with {share(sources[0])} of the variance{''.join(then)}."
