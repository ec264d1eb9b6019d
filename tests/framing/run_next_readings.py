"""What three advised readings are worth against three random ones: `python -m tests.framing.run_next_readings 100`.

Every roof has its break lines given and a first survey; the readings are then really taken (true height or distance
and an error of the survey's own size), the survey adjusted and fitted anew, and the worst standard error read off the
engine's answer at places known from the truth. Prints a table; ends with 1 where the bar is not met: on half-finished
surveys the worst standard error after three random readings is at least twice that after the advised ones (median).
"""

from __future__ import annotations

import copy
import itertools
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from framing.engine.adjustment import adjust
from framing.engine.candidate_readings import NextReading
from framing.engine.documents import parse_survey
from framing.engine.next_readings import next_readings
from framing.engine.roof import fit_roof
from tests.framing.random_roofs import TrueRoof, random_roof, survey_of
from tests.framing.tables import report

DRAWS = 10  # random choices on every roof
READINGS = 3
NEAR_DOOR = 0.25  # the share of a facet, nearest to the door, that a half-finished survey has reached
BAR = 2.0

Documents = dict[str, Any]
Shot = tuple[str, Any]  # ("level", (x, y)), ("sill", name) or ("tape", (from, to))


def half_finished(true: TrueRoof) -> Documents:
    """The outline taped, the threshold read, 5 to 8 readings in the quarter of each facet nearest to the door.

    Break lines are marked but not read, except at the end nearest to the door.
    """
    rng = np.random.default_rng([7, true.seed])
    survey = survey_of(true, lines=True)
    door = np.array(survey["positions"]["t1"])
    many = true.places(6000, rng)
    many = many[shapely.contains_xy(true.outline.buffer(-4), many)]
    under = np.abs(true.planes[:, 0] + many @ true.planes[:, 1:].T - true.height(many)[:, None]).argmin(axis=1)
    spots = []
    for k in range(len(true.planes)):
        own = many[under == k]
        near = own[np.argsort(np.hypot(*(own - door).T))[: max(12, int(NEAR_DOOR * len(own)))]]
        spots += near[rng.choice(len(near), rng.integers(5, 9), replace=False)].tolist()
    marks = [p for line in survey["breaklines"] for p in line["points"]]
    first = [min(line["points"], key=lambda p: np.hypot(*(survey["positions"][p] - door)))
             for line in survey["breaklines"]]
    kept = [p for p in survey["positions"] if p[0] != "r"]
    survey["levels"] = [r for r in survey["levels"] if r["point"] not in marks and r["point"][0] != "r"
                        or r["point"] in first]
    survey["positions"] = {p: survey["positions"][p] for p in kept}
    return taken(true, survey, [("level", tuple(at)) for at in spots], rng)


def well_covered(true: TrueRoof) -> Documents:
    """20 to 60 readings all over the roof, 10 at least on every plane; break lines marked and read."""
    return survey_of(true, lines=True)


def taken(true: TrueRoof, survey: Documents, shots: Sequence[Shot], rng: np.random.Generator) -> Documents:
    """The survey with further readings of the true roof, each with an error of the survey's own size."""
    survey = copy.deepcopy(survey)
    corners = dict(zip(survey["corners"], true.corners, strict=True))
    for kind, what in shots:
        error = float(rng.normal(0, true.tape_sigma if kind == "tape" else true.level_sigma))
        if kind == "tape":
            ends = [corners.get(p, np.array(survey["positions"].get(p))) for p in what]
            survey["tapes"].append([*what, float(np.hypot(*(ends[0] - ends[1]))) + error])
        elif kind == "sill":
            survey["levels"].append({"point": what, "drop": error, "on": "threshold"})
        else:
            name = f"n{len(survey['levels'])}"
            survey["positions"][name] = [float(v) for v in what]
            survey["levels"].append({"point": name, "drop": error - float(true.height(np.array(what))[0]),
                                     "on": "roof"})
    return survey


@dataclass(frozen=True)
class Worst:
    """The worst standard errors of a survey [in], and the greater of them in units of what is required of each."""

    heights: float
    plan: float
    share: float


def worst_of(true: TrueRoof, survey: Documents) -> Worst:
    """Read off the engine's own answer: the roof at its true corners, folds' ends and pads; the sill; the corners."""
    parsed = parse_survey(copy.deepcopy(survey))
    adjusted = adjust(parsed)
    roof = fit_roof(parsed, adjusted)
    x0, y0, x1, y1 = true.outline.bounds
    x, y = np.meshgrid(np.arange(x0, x1, 24), np.arange(y0, y1, 24))
    pads = np.c_[x.ravel(), y.ravel()][shapely.contains_xy(true.outline, x.ravel(), y.ravel())]
    ends = shapely.get_coordinates([line for _, line in true.folds])
    if not roof.facets:
        return Worst(np.inf, np.inf, np.inf)
    read = sum(r.on == "threshold" for r in parsed.levels)
    heights = max(float(roof.standard_error(np.vstack([true.corners, ends, pads])).max()),
                  parsed.level_sigma / np.sqrt(read))
    plan = max(adjusted.points[c].se for c in parsed.corners)
    return Worst(heights, plan, max(heights / parsed.level_sigma, plan / parsed.closure_tolerance))


def advised(survey: Documents) -> list[NextReading]:
    """The three best readings; a survey that lacks what it cannot do without is answered by those."""
    parsed = parse_survey(copy.deepcopy(survey))
    adjusted = adjust(parsed)
    found = next_readings(parsed, adjusted, fit_roof(parsed, adjusted))
    return [r for r in found if not r.missing][:READINGS]


def as_shot(reading: NextReading) -> Shot:
    if reading.kind == "tape":
        return "tape", reading.points
    return ("sill", reading.points[0]) if reading.points and reading.points[0][0] == "t" else ("level", reading.at)


def random_shots(true: TrueRoof, survey: Documents, rng: np.random.Generator) -> list[Shot]:
    """Three of all that could be read: a hundred places on the roof, the threshold points, all tapes of two corners."""
    every: list[Shot] = [("level", tuple(at)) for at in true.places(100, rng).tolist()]
    every += [("sill", p) for p in survey["threshold"]]
    every += [("tape", pair) for pair in itertools.combinations(survey["corners"], 2)]
    return [every[k] for k in rng.choice(len(every), READINGS, replace=False)]


@dataclass(frozen=True)
class Outcome:
    """One roof: its worst errors before, after the advised readings and after each random choice."""

    true: TrueRoof
    before: Worst
    advised: Worst
    random: tuple[Worst, ...]
    foretold: float
    seconds: float

    def gain(self, of: Callable[[Worst], float]) -> float:
        """How many times worse the median random choice leaves the worst error than the advice."""
        return float(np.median([of(w) for w in self.random])) / of(self.advised)


def outcome(seed: int, first: Callable[[TrueRoof], Documents]) -> Outcome:
    true = random_roof(seed)
    survey = first(true)
    began = time.perf_counter()
    advice = advised(survey)
    seconds = time.perf_counter() - began
    rng = np.random.default_rng([8, seed])
    after = worst_of(true, taken(true, survey, [as_shot(r) for r in advice], rng))
    draws = tuple(worst_of(true, taken(true, survey, random_shots(true, survey, rng), rng)) for _ in range(DRAWS))
    foretold = [r.after for r in advice if r.kind == "level" and r.after is not None]
    return Outcome(true, worst_of(true, survey), after, draws, foretold[-1] if foretold else float("nan"), seconds)


MEASURES: dict[str, Callable[[Worst], float]] = {
    "all places, each against what is required": lambda w: w.share,
    "heights, in inches": lambda w: w.heights,
    "corners in plan, in inches": lambda w: w.plan,
}


def measure(count: int) -> Iterator[tuple[str, str, bool]]:
    """(what, figure, whether it meets its bar)."""
    for name, first in (("half-finished", half_finished), ("well covered", well_covered)):
        outcomes = [outcome(seed, first) for seed in range(count)]
        for what, of in MEASURES.items():
            gains = np.array([o.gain(of) for o in outcomes])
            better = np.array([of(o.before) / of(o.advised) for o in outcomes])
            by_chance = np.array([of(o.before) / np.median([of(w) for w in o.random]) for o in outcomes])
            barred = name == "half-finished" and of is not MEASURES["corners in plan, in inches"]
            yield (f"{name}: {what}",
                   f"random leaves {np.median(gains):.2f} times the worst error that the advice leaves (quarter of the "
                   f"roofs under {np.percentile(gains, 25):.2f}); 2 times or more on {(gains >= BAR).mean():.0%}; "
                   f"the advice divides it by {np.median(better):.2f}, chance by {np.median(by_chance):.2f}",
                   not barred or float(np.median(gains)) >= BAR)
        for planes in range(1, 5):
            mine = [o.gain(MEASURES["heights, in inches"]) for o in outcomes if len(o.true.planes) == planes]
            if mine:
                yield f"{name}: heights, roofs of {planes} plane(s)", f"{np.median(mine):.2f} ({len(mine)} roofs)", True
        off = [abs(o.foretold / o.advised.heights - 1) for o in outcomes if np.isfinite(o.foretold)]
        if off:
            yield f"{name}: error foretold against the one found", f"{np.median(off):.1%} off (median)", True
        seconds = [o.seconds for o in outcomes]
        yield f"{name}: adjusted, fitted, advised", f"{np.median(seconds) * 1e3:.0f} ms (median)", True


if __name__ == "__main__":
    sys.exit(report(measure(int(sys.argv[1]) if len(sys.argv) > 1 else 100)))
