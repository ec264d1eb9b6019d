"""`python -m tests.framing.run_uncertainty 10000`: trials of heights at once against a loop with a fit for each.

Ends with 1 where they are not 25 times as fast, percentiles included, where a percentile differs, where a second run
gives other numbers, where the trials take too long beside the framing that they belong to, or where roofs whose truth
is known do not lie from p10 to p90 in eight of ten cases.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from framing.engine import design, stack_trials
from framing.engine.members import Member
from framing.engine.pads import Support
from framing.engine.roof import Roof
from framing.engine.uncertainty import SEED, percentiles
from tests.framing.known_roofs import ONE, THREE, covered
from tests.framing.odd_roofs import odd_build, odd_survey
from tests.framing.refitted import Case
from tests.framing.staged import Staged, stages
from tests.framing.tables import report

AS_FAST = 25  # bar: times as fast
SAME = {False: 1e-9, True: 1e-5}  # bars: gaps apart [in]; over a ridge the engine finds its ends to 1e-4 in
ROOFS = 300
WITHIN = 0.07  # bar: off eight in ten, three standard errors of `ROOFS` roofs; twice that for the lowest of readings
BESIDE = {300: 0.040, 7500: 0.5}  # bars: area [sq ft] -> time of the trials within a framing [s]
WIDE, DEEP, RIDGE = 288.0, 240.0, 144.0


@dataclass(frozen=True)
class Terrace:
    """A terrace of some 160 pads, read in about 20 places."""

    staged: Staged
    roof: Roof
    members: list[Member]
    supports: list[Support]
    case: Case


def terrace(ridge: bool = True) -> Terrace:
    """The terrace and the same as plain arrays; places of break lines, which no fit draws anew, are taken as exact."""
    survey = odd_survey([(0, 0), (WIDE, 0), (WIDE, DEEP), (0, DEEP)],
                        lambda x, y: -8 - 0.01 * abs(x - RIDGE) if ridge else -8 - 0.01 * x - 0.004 * y,
                        lines=[("ridge", [(RIDGE, 6), (RIDGE, 120), (RIDGE, 234)])] if ridge else (), step=66)
    staged = stages(survey, odd_build())
    frame = staged.frame()
    readings = sum(bool(p) for p in staged.roof.sources)
    roof = replace(staged.roof, gain=staged.roof.gain[:, :readings], sources=staged.roof.sources[:readings])
    return Terrace(staged, roof, list(frame.members), list(frame.supports),
                   Case.of(staged, frame, RIDGE if ridge else None))


def at_once(t: Terrace, trials: int) -> tuple[list[dict[str, float]], np.ndarray, np.ndarray]:
    """Percentiles of shims by size and of the least gap, with the trials behind them."""
    s = t.staged
    moves = stack_trials.draw(s.survey, s.build, s.adjusted, s.plane, t.roof, trials, SEED)
    shims = stack_trials.stacks(moves, t.supports, s.build).shims
    least = stack_trials.wood(moves, t.members, s.build, s.plane, t.roof).least
    return [percentiles(v) for v in (*shims.T, least)], shims, least


def one_by_one(t: Terrace, trials: int) -> tuple[list[dict[str, float]], np.ndarray, np.ndarray]:
    """The same from a loop, with the errors that the engine drew."""
    streams = [np.random.Generator(np.random.PCG64(s)) for s in np.random.SeedSequence(SEED).spawn(3)]
    errors = streams[0].standard_normal((trials, len(t.case.z))) * t.case.sigma
    sill = streams[2].standard_normal((trials, len(t.case.sill))) * t.case.sigma
    shims, least = t.case.loop(errors, sill)
    return [percentiles(v) for v in (*shims.T, least)], shims, least


def timed(work: Callable[[], Any], rounds: int = 1) -> tuple[float, Any]:
    """The least process time of some rounds [s], and the answer."""
    took = []
    for _ in range(rounds):
        began = time.process_time()
        answer = work()
        took.append(time.process_time() - began)
    return min(took), answer


def beside(wide: float, deep: float) -> tuple[float, int, dict[str, Any], dict[str, Any]]:
    """Time of the trials within a framing [s], its pads, and the uncertainty of two runs."""
    survey = odd_survey([(0, 0), (wide, 0), (wide, deep), (0, deep)],
                        lambda x, y: -8 - 0.007 * abs(x - wide / 2),
                        lines=[("ridge", [(wide / 2, 6), (wide / 2, deep / 2), (wide / 2, deep - 6)])],
                        outlets=[(1, deep * 0.7), (wide - 1, deep * 0.7)])
    took: list[float] = []
    vary = design.vary

    def clocked(*args: Any, **options: Any) -> dict[str, Any]:
        seconds, answer = timed(lambda: vary(*args, **options), 3)
        took.append(seconds)
        return answer

    design.vary = clocked
    try:
        first, again = (design.frame(survey, odd_build()).document for _ in range(2))
    finally:
        design.vary = vary
    return min(took), len(first["supports"]), first["uncertainty"], again["uncertainty"]


def main(trials: int) -> int:
    rows = []
    for name, ridge in (("one plane", False), ("two planes over a ridge", True)):
        t = terrace(ridge)
        ours, (bands, shims, least) = timed(lambda t=t: at_once(t, trials), 7)
        theirs, (their_bands, their_shims, their_least) = timed(lambda t=t: one_by_one(t, trials))
        what = f"{name}: {trials:,} trials, {len(t.case.z)} readings, {len(t.supports)} pads"
        rows += [
            (what, f"{1000 * ours:.0f} ms at once, {theirs:.2f} s one by one: {theirs / ours:.0f} times as fast "
             f"(bar {AS_FAST})", theirs / ours >= AS_FAST),
            ("    shims of all trials and sizes", f"{int((shims != their_shims).sum())} of {shims.size:,} differ",
             bool((shims != their_shims).mean() < 100 * SAME[ridge])),
            ("    least gap", f"{abs(least - their_least).max():.1e} in apart (bar {SAME[ridge]:g})",
             bool(abs(least - their_least).max() < SAME[ridge])),
            ("    percentiles", f"{sum(a != b for a, b in zip(bands[:-1], their_bands[:-1], strict=True))} of "
             f"{len(bands) - 1} bands of shims differ; gap p10 {bands[-1]['p10']:.4f} in",
             bands[:-1] == their_bands[:-1]),
        ]
    for wide, deep in ((240.0, 180.0), (1200.0, 900.0)):
        seconds, pads, first, again = beside(wide, deep)
        bar = BESIDE[round(wide * deep / 144)]
        rows += [(f"{wide * deep / 144:,.0f} sq ft, {pads} pads, {first['trials']:,} trials within the framing",
                  f"{1000 * seconds:.0f} ms (bar {1000 * bar:.0f} ms)", seconds <= bar),
                 ("    framed twice", "the same to the last digit" if first == again else "other numbers",
                  first == again)]
    for door, bar in ((ONE, WITHIN), (THREE, 2 * WITHIN)):
        for what, share in zip(("height of all shims", "height over one pad"), covered(ROOFS, door), strict=True):
            rows.append((f"{ROOFS} roofs read with errors, the sill at {len(door)}: the true {what}",
                         f"from p10 to p90 in {100 * share:.0f} % (bar 80 ± {100 * bar:.0f} %)",
                         abs(share - 0.8) <= bar))
    return report(rows)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000))
