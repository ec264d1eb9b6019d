"""The time of looking for builds on a 300 sq ft terrace, and builds looked for on random decks:
`python -m tests.framing.run_compare [BUILDS] [--jobs N] [--decks N]`.

Ends with 1 where 60 builds take over 15 s on two processes, where another number of processes gives another answer,
where a build that is told as unbeaten is beaten by one that was framed, or where one that was found does not frame to
what was told of it. The processes' own time is printed beside the clock's, which others on the machine make longer.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from pathlib import Path

from framing.engine.design import find_builds, frame
from framing.engine.ranking import Comparison
from framing.processes import processes
from tests.framing.decks import deck
from tests.framing.tables import report

BAR = 15.0  # [s]
ON_A_DECK = 6  # builds looked for on a random deck
DEMO = Path(__file__).parents[2] / "quotes" / "demo"  # the worked terrace has 299.6 sq ft


def looked(builds: int, jobs: int) -> tuple[Comparison, float, float]:
    """The comparison, seconds by the clock, and seconds of all processes' own time."""
    with processes(jobs) as each:
        began, spent = time.perf_counter(), sum(os.times()[:4])
        found = find_builds((DEMO / "survey.json").read_bytes(), (DEMO / "build.json").read_bytes(), most=builds,
                            each=each)
        took = time.perf_counter() - began
    return found, took, sum(os.times()[:4]) - spent


def beaten_unseen(found: Comparison) -> int:
    """Builds told as unbeaten that another is no worse than on any count and better than on one."""
    rows = {p.number: [(-1 if c.more else 1) * p.figures[c.key] for c in found.counts] for p in found.builds
            if p.state != "stopped"}
    return sum(any(all(x <= y for x, y in zip(row, rows[p.number], strict=True)) and row != rows[p.number]
                   for row in rows.values()) for p in found.in_state("unbeaten"))


def untrue(seed: int) -> list[str]:
    """What does not hold of the builds looked for on a random deck."""
    drawn = deck(seed)
    try:
        found = find_builds(drawn.survey, drawn.build, most=ON_A_DECK)
        faults = [f"deck {seed}: {n} unbeaten builds are beaten" for n in [beaten_unseen(found)] if n]
        given = next(p for p in found.builds if not p.tried.changes)
        if (given.state == "stopped") != any(c["status"] == "stop" for c in frame(drawn.survey, drawn.build)
                                             .document["checks"]):
            faults.append(f"deck {seed}: the build as given stops or does not, by turns")
        for p in found.in_state("unbeaten")[:1]:
            document = frame(drawn.survey, p.as_json()["build"]).document
            told = {"pads": len(document["supports"]),
                    "cuts": sum(len(m["profile"]) - 1 for m in document["members"] if m["ripped"])}
            faults += [f"deck {seed}: {key} {p.figures[key]:g} told, {n} framed" for key, n in told.items()
                       if p.figures[key] != n]
            faults += [f"deck {seed}: {p.tried.name} stops" for c in document["checks"] if c["status"] == "stop"]
    except Exception as error:
        return [f"deck {seed}: {type(error).__name__}: {error}"]
    return faults


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("builds", type=int, nargs="?", default=60)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--decks", type=int, default=0)
    asked = parser.parse_args()
    faults = [fault for seed in range(asked.decks) for fault in untrue(seed)]
    found, took, spent = looked(asked.builds, asked.jobs)
    alone, took_alone, _ = looked(asked.builds, 1)
    states = Counter(p.state for p in found.builds)
    wrong, same = beaten_unseen(found), found.as_json() == alone.as_json()
    return report([
        ("builds looked at", f"{len(found.builds)} ({', '.join(f'{n} {s}' for s, n in sorted(states.items()))}), "
         f"{len(found.left_out)} left out early", True),
        (f"time with {asked.jobs} processes", f"{took:.1f} s by the clock, {spent:.1f} s of the processes' own, "
         f"{spent / asked.jobs:.1f} s shared evenly (bar {BAR:g} s by the clock)", took <= BAR),
        ("time with one", f"{took_alone:.1f} s by the clock", True),
        ("the same answer with one process", "yes" if same else "no", same),
        ("unbeaten builds that are beaten", str(wrong), wrong == 0),
        (f"what does not hold on {asked.decks} random decks", "; ".join(faults) or "nothing", not faults),
    ])


if __name__ == "__main__":
    sys.exit(main())
