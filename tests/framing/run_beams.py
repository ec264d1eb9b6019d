"""`python -m tests.framing.run_beams 60`: stepped joists under every pattern of load, ours and by a frame program."""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass

import numpy as np

from framing.engine.beams import Beam, Load, solve
from tests.framing.frame_program import Cases, by_frame_program, joist, stepped

E = 1.26e6
HEAVY = Load(50, 40)  # dead load enough that few pads lift: a frame program holds them both ways
ELEMENTS = 8
AS_FAST, EQUAL = 300, 1e-9  # the bars: times as fast, reactions apart


@dataclass(frozen=True)
class Compared:
    """Seconds that either took, and the greatest difference, as a part of the greatest value of its joist."""

    joists: int
    elements: int
    ours: float
    theirs: float
    reactions: float
    moments: float
    shears: float
    deflections: float

    @property
    def times_as_fast(self) -> float:
        return self.theirs / self.ours


def joists(count: int, seed: int = 4) -> list[Beam]:
    """Joists of five to eight spans, each span in eight steps of depth."""
    random = np.random.default_rng(seed)
    return [stepped(joist(random, int(random.integers(5, 9))), ELEMENTS) for _ in range(count)]


def compare(count: int) -> Compared:
    """Both on the same joists, in the same elements, in one run; ours the quickest of five, theirs at once."""
    beams = joists(count)
    solve(beams, HEAVY, E)
    ours = []
    for _ in range(5):
        start = time.perf_counter()
        found = solve(beams, HEAVY, E)
        ours.append(time.perf_counter() - start)
    start = time.perf_counter()
    cases = [by_frame_program(beam, HEAVY, E, ELEMENTS) for beam in beams]
    theirs = time.perf_counter() - start

    apart = np.zeros((count, 4))
    for i, case in enumerate(cases):
        most = found.reaction[i].max()
        apart[i, 0] = max(abs(case.reactions.sum(axis=0) - found.reaction[i]).max(),
                          abs(case.reactions[0] - found.reaction_dead[i]).max(),
                          abs(case.least("reactions") - found.lift[i]).max()) / most
        if found.lift[i].min() > 0:
            apart[i, 0] = max(apart[i, 0], abs(case.most("reactions") - found.reaction_most[i]).max() / most)
            apart[i, 1:] = _fields_apart(case, found, i)
    worst = apart.max(axis=0)
    return Compared(count, sum(c.s.size - 1 for c in cases), min(ours), theirs, *worst.tolist())


def _fields_apart(case: Cases, found, i: int) -> tuple[float, float, float]:
    """Moments and shears at the ends of the elements, sag under dead load at the nodes, of joist i."""
    s = found.s[i]
    # stations at either end of each element: just inside of it
    at = np.stack([np.searchsorted(s, case.s[:-1] + 1e-9) - 1, np.searchsorted(s, case.s[1:] - 1e-9)])
    moment = max(abs(case.most("moment") - found.moment_most[i][at]).max(),
                 abs(case.least("moment") - found.moment_least[i][at]).max()) / abs(found.moment_least[i]).max()
    shear = np.maximum(abs(case.most("shear")), abs(case.least("shear")))
    sag = found.deflection_dead[i][at]
    apart = abs(np.stack([case.deflection[0, :-1], case.deflection[0, 1:]]) - sag).max()
    return moment, abs(shear - found.shear[i][at]).max() / found.shear[i].max(), apart / abs(sag).max()


def main(count: int) -> bool:
    """Whether both bars are held."""
    c = compare(count)
    for name, value in (
        ("joists of 5 to 8 spans", f"{c.joists}"), ("elements", f"{c.elements}"),
        ("ours, every pattern", f"{1000 * c.ours:.1f} ms"), ("frame program", f"{c.theirs:.1f} s"),
        ("times as fast", f"{c.times_as_fast:.0f}"), ("reactions apart", f"{c.reactions:.1e}"),
        ("moments apart", f"{c.moments:.1e}"), ("shears apart", f"{c.shears:.1e}"),
        ("deflections apart", f"{c.deflections:.1e}"),
    ):
        print(f"{name:<28}{value:>12}")
    return c.times_as_fast >= AS_FAST and c.reactions < EQUAL


if __name__ == "__main__":
    sys.exit(not main(int(sys.argv[1]) if len(sys.argv) > 1 else 60))
