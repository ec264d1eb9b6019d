"""`python -m tests.quotes.run_notes 500`: notes of random framings against a reader of its own.

Prints a row a note: how often it was called for, how often the documents call for it, how often that is wrong, and how
often the reader cannot tell. Ends with 1 where anything is wrong, or where a text claims what none may claim.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import time
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from framing.engine.design import frame
from quotes.notes import claims_of, notes_for
from tests.quotes.notes_reading import expected, fired, statuses
from tests.quotes.random_notes import situation

SHOWN = 12


@dataclass
class Result:
    """What one situation shows: (fired, should fire) by the name of each note."""

    seed: int
    found: dict[str, tuple[bool, bool | None]] = field(default_factory=dict)
    claims: list[str] = field(default_factory=list)
    unsaid: list[str] = field(default_factory=list)
    same: int = 0
    error: str = ""
    seconds: float = 0.0

    @property
    def wrong(self) -> list[str]:
        return [name for name, (told, asked) in self.found.items() if asked is not None and told != asked]


def check(seed: int) -> Result:
    drawn, result = situation(seed), Result(seed)
    began = time.perf_counter()
    try:
        framing = frame(drawn.survey, drawn.build).document
        notes = notes_for(framing, drawn.survey, drawn.build, contract=drawn.contract)
        asked = expected(drawn.survey, drawn.build, framing, drawn.contract)
    except Exception as error:
        result.error = f"{type(error).__name__}: {error}"
        return result
    result.found = {name: (fired(name, notes), answer) for name, answer in asked.items()} | statuses(framing)
    result.claims = [note.text for note in notes if claims_of(note.text)]
    result.unsaid = [note.key for note in notes if not (note.basis and note.source and note.decided_by and note.text)]
    result.same = len(notes) - len({note.name for note in notes})
    result.seconds = time.perf_counter() - began
    return result


def results(seeds: Iterable[int], jobs: int) -> list[Result]:
    if jobs <= 1:
        return [check(seed) for seed in seeds]
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        return list(pool.imap(check, seeds, chunksize=4))


def report(found: list[Result]) -> int:
    told, asked, wrong, unsure = Counter(), Counter(), Counter(), Counter()
    for result in found:
        for name, (was, should) in result.found.items():
            told[name] += was
            asked[name] += should is True
            unsure[name] += should is None
            wrong[name] += should is not None and was != should
    names = list(dict.fromkeys(name for result in found for name in result.found))
    print(f"{'note':<62}{'fired':>7}{'should':>8}{'wrong':>7}{'cannot tell':>13}")
    for name in names:
        print(f"{name:<62}{told[name]:>7}{asked[name]:>8}{wrong[name]:>7}{unsure[name]:>13}")
    for result in found:
        if result.wrong or result.error or result.claims or result.unsaid or result.same:
            print(f"situation {result.seed}: {result.error or ', '.join(result.wrong)} {result.claims[:2]} "
                  f"{result.unsaid[:2]} {result.same}")
    bad = sum(bool(r.wrong or r.error or r.claims or r.unsaid or r.same) for r in found)
    told_apart = sum(was != should for r in found for was, should in r.found.values() if should is not None)
    count = sum(should is not None for r in found for _, should in r.found.values())
    print(f"{len(found)} framings, {count} notes held against the documents, {told_apart} wrong; "
          f"{bad} framings with a fault; median {sorted(r.seconds for r in found)[len(found) // 2]:.2f} s each")
    return int(bad > 0)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int, nargs="?", default=50)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    given = parser.parse_args()
    sys.exit(report(results(range(given.first, given.first + given.count), given.jobs)))
