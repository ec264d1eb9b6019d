"""Lays boards on random terraces and reads every one from outside: `python -m tests.framing.run_boards 500`.

Prints a table and ends with 1 where a bar is not met. The bars: no exception; no overlap, nothing outside, gaps exact,
every end on wood, no strip under the least rip without its flag, joints clear of their neighbours' or told; cover
within 0.5 % of the formula in `board_reading.formula`; 300 sq ft of boards in 50 ms of the processor's time, 7,500 in
1 s.
"""

from __future__ import annotations

import argparse
import sys
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from framing.engine.boards import lay_boards
from tests.framing.board_reading import formula, laid, read
from tests.framing.odd_roofs import odd_build, odd_survey
from tests.framing.staged import stages
from tests.framing.tables import report

SHOWN = 8
KINDS = ("overlap", "outside", "gaps", "ends", "ends at sides", "narrow", "joints", "cover", "bare")
SIZES = {300: ((240, 180), 0.05), 7500: ((1200, 900), 1.0)}  # area [sq ft] -> sides [in], bar [s]
SHORT_STICK = 191.75


@dataclass
class Result:
    """What one terrace shows."""

    seed: int
    error: str = ""
    boards: int = 0
    borders: int = 0
    off_formula: float = 0.0
    off_plain: float = 0.0
    thin: int = 0
    bare: float = 0.0  # longest part of a border's seam that is told to have no wood
    broken: list[tuple[str, str]] = field(default_factory=list)


def check(seed: int) -> Result:
    found = Result(seed)
    try:
        deck = laid(seed)
        found.broken = list(read(deck))
    except Exception as error:
        place = traceback.extract_tb(error.__traceback__)[-1]
        found.error = f"{type(error).__name__}: {error} ({place.name}, line {place.lineno} of {place.filename[-40:]})"
        return found
    boards, d = deck.decking.boards, deck.build.decking
    covered = sum(b.polygon.area for b in boards) / deck.deck.net.area
    found.boards, found.borders = len(boards), sum(b.kind == "border" for b in boards)
    found.off_formula = abs(covered - (formula(deck) or covered))
    found.off_plain = abs(covered - d.width / (d.width + d.gap))
    found.thin = sum(b.narrowest < 1.5 - 1e-6 for b in boards)
    found.bare = max((c.value or 0.0 for c in deck.bare), default=0.0)
    return found


def seconds(wide: float, deep: float) -> float:
    """Processor's time that the boards of a rectangle take, cut from 16 ft sticks: the least of three."""
    staged = stages(odd_survey([(0, 0), (wide, 0), (wide, deep), (0, deep)], lambda x, y: -8), odd_build())
    lines, times = staged.layout.lines, []
    for _ in range(3):
        began = time.process_time()
        lay_boards(staged.deck, lines, staged.build, 90.0, SHORT_STICK)
        times.append(time.process_time() - began)
    return min(times)


def table(found: list[Result], *, timed: bool = True) -> Iterator[tuple[str, str, bool]]:
    """(what, figure, whether it meets its bar)."""
    yield ("terraces, boards, border boards", f"{len(found)}, {sum(r.boards for r in found)}, "
           f"{sum(r.borders for r in found)}", True)
    errors = [f"terrace {r.seed}: {r.error}" for r in found if r.error]
    yield "exceptions", _listed(errors), not errors
    count = Counter(kind for r in found for kind, _ in r.broken)
    for kind in KINDS:
        words = [f"terrace {r.seed}: {w}" for r in found for k, w in r.broken if k == kind]
        yield f"broken: {kind}", f"{count[kind]}{_listed(words, '')}", not words
    worst = max(found, key=lambda r: r.off_formula)
    yield ("cover off the formula, the worst", f"{worst.off_formula:.3%} (terrace {worst.seed})",
           worst.off_formula <= 0.005)
    plain = sum(r.off_plain <= 0.005 for r in found)
    yield "... within 0.5 % of width over width and gap", f"{plain} of {len(found)}", True
    yield ("strips under the least rip, all flagged", f"{sum(r.thin for r in found)} boards on "
           f"{sum(r.thin > 0 for r in found)} terraces", True)
    bare = [r for r in found if r.bare]
    yield ("borders with a seam or mitre partly on no wood, told", f"{len(bare)} of {sum(r.borders > 0 for r in found)}"
           f", the longest {max((r.bare for r in bare), default=0):.1f} in", True)
    for area, (sides, bar) in SIZES.items() if timed else ():
        took = seconds(*sides)
        yield f"boards of {area:,} sq ft", f"{1000 * took:.0f} ms (bar {1000 * bar:.0f})", took <= bar


def _listed(words: list[str], head: str = "none") -> str:
    return "".join(f"\n        {w[:200]}" for w in words[:SHOWN]) if words else head


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int, nargs="?", default=500)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    asked = parser.parse_args()
    sys.exit(report(table([check(seed) for seed in range(asked.first, asked.first + asked.count)])))
