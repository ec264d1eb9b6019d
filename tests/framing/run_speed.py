"""The engine's time on decks of growing area: `python -m tests.framing.run_speed`.

Boards and cutting plans are timed apart and taken off, since an estimator tries frames before either; the whole is told
beside it. Ends with 1 where a 300 sq ft terrace takes over 0.25 s without them or 0.6 s with, a 7,500 sq ft plaza over
3 s or 15 s, or time grows faster than 1.2 times the area.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from statistics import median
from typing import Any

from framing.engine import assembly
from framing.engine.design import frame
from tests.framing.odd_roofs import odd_build, odd_survey
from tests.framing.tables import report

SIZES = ((240, 180), (480, 360), (840, 640), (1200, 900))  # [in]
BARS = {300: (0.25, 0.6), 7500: (3.0, 15.0)}  # area [sq ft] -> without boards and cutting, with all [s]
GROWTH = 1.2
ROUNDS = 3


def timed(survey: dict[str, Any], build: dict[str, Any]) -> tuple[float, float, int]:
    """Seconds without boards and cutting, seconds of all, and the pads of the frame."""
    apart = [0.0]

    def clocked(work: Callable[..., Any]) -> Callable[..., Any]:
        def run(*args: Any, **options: Any) -> Any:
            began = time.perf_counter()
            try:
                return work(*args, **options)
            finally:
                apart[0] += time.perf_counter() - began
        return run

    boards, plan = assembly.lay_boards, assembly.plan_all
    assembly.lay_boards, assembly.plan_all = clocked(boards), clocked(plan)
    try:
        began = time.perf_counter()
        pads = len(frame(survey, build).document["supports"])
        whole = time.perf_counter() - began
        return whole - apart[0], whole, pads
    finally:
        assembly.lay_boards, assembly.plan_all = boards, plan


def main() -> int:
    rows, found = [], {}
    for wide, deep in SIZES:
        survey = odd_survey([(0, 0), (wide, 0), (wide, deep), (0, deep)],
                            lambda x, y, w=wide: -8 - 0.007 * abs(x - w / 2),
                            lines=[("ridge", [(wide / 2, 6), (wide / 2, deep / 2), (wide / 2, deep - 6)])],
                            outlets=[(1, deep * 0.7), (wide - 1, deep * 0.7)])
        runs = [timed(survey, odd_build()) for _ in range(ROUNDS)]
        area, seconds = wide * deep / 144, [median(r[i] for r in runs) for i in (0, 1)]
        found[round(area)] = seconds[0]
        bars = BARS.get(round(area), (float("inf"),) * 2)
        for what, took, bar in zip(("the frame", "with boards, cutting and the rest"), seconds, bars, strict=True):
            rows.append((f"{area:,.0f} sq ft, {what}",
                         f"{took:.2f} s, {runs[0][2]} pads" + (f" (bar {bar:g} s)" if bar < 1e9 else ""), took <= bar))
    areas = list(found)
    grown = found[areas[-1]] / found[areas[0]] / (areas[-1] / areas[0])
    rows.append(("growth of time, of the area's", f"{grown:.2f} (bar {GROWTH:g})", grown <= GROWTH))
    return report(rows)


if __name__ == "__main__":
    sys.exit(main())
