"""Frames random decks and reads every answer from outside: `python -m tests.framing.run_decks 1000 --jobs 2`.

Prints a table and ends with 1 where a bar is not met. The bars: no exception, no broken identity or limit, the least
clear gap kept everywhere, the true roof within two standard errors in 95 % of places, no cut more than the corridor
needs, every stop true and every change that it offers clearing it.
"""

from __future__ import annotations

import argparse
import multiprocessing
import statistics
import sys
import time
import traceback
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from framing.engine.design import frame
from tests.framing.deck_cuts import corridor, fewest_links
from tests.framing.deck_reading import SLACK, read, runs
from tests.framing.deck_stops import judged, stops, uncleared
from tests.framing.decks import Deck, deck
from tests.framing.identities import Answer, Document, asked_of, identities
from tests.framing.tables import report

SHOWN = 12  # findings of a kind that are printed
AREAS = (200.0, 500.0, 1000.0)  # of roof [sq ft]


@dataclass
class Result:
    """What one deck's answer shows."""

    seed: int
    seconds: float = 0.0
    area: float = 0.0
    codes: tuple[str, ...] = ()
    asked: int = 0
    error: str = ""
    broken: list[tuple[str, str]] = field(default_factory=list)
    margin: float = float("inf")
    places: int = 0
    within: int = 0
    members: int = 0
    cuts: int = 0
    fewest: int = 0
    offered: int = 0
    told: tuple[str, ...] = ()


def check(seed: int) -> Result:
    """One deck drawn, framed and read."""
    drawn, found = deck(seed), Result(seed)
    began = time.perf_counter()
    try:
        framing = frame(drawn.survey, drawn.build).document
    except Exception as error:
        place = traceback.extract_tb(error.__traceback__)[-1]
        found.error = f"{type(error).__name__}: {error} ({place.name}, line {place.lineno} of {place.filename[-40:]})"
        return found
    found.seconds = time.perf_counter() - began
    found.area = framing["survey_adjustment"].get("area_sqft") or 0.0
    found.asked = asked_of(framing)
    found.codes = tuple(sorted({c["code"] for c in stops(framing)}))
    found.broken += [(words.split(":")[0], words) for words in identities(drawn.survey, drawn.build, framing)]
    answer = Answer(drawn.survey, drawn.build, framing)
    if found.codes:
        read_stops(drawn, answer, found)
    else:
        read_frame(drawn, answer, framing, found)
    return found


def read_stops(drawn: Deck, answer: Answer, found: Result) -> None:
    for stop in stops(answer.framing):
        if why := judged(answer, stop):
            found.broken.append(("untrue stop", f"{stop['code']} at {stop['where']}: {why}"))
        found.offered += len(stop["clears"])
        found.broken += [("does not clear", words) for words in uncleared(drawn.survey, drawn.build, stop)]


def read_frame(drawn: Deck, answer: Answer, framing: Document, found: Result) -> None:
    reading = read(drawn, framing)
    found.broken += reading.broken
    found.margin, found.places, found.within = reading.margin, reading.places, reading.within
    found.told = tuple(sorted(reading.told))
    for r in runs(answer):
        cuts = len(r.member["profile"]) - 1
        fewest = fewest_links(*corridor(answer, r), cuts)
        found.members, found.cuts, found.fewest = found.members + 1, found.cuts + cuts, found.fewest + fewest
        if fewest < cuts:
            found.broken.append(("cuts", f"{r.name} has {cuts} straight cuts, {fewest} would do"))


def results(seeds: Iterable[int], jobs: int) -> list[Result]:
    if jobs <= 1:
        return [check(seed) for seed in seeds]
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        return list(pool.imap(check, seeds, chunksize=4))


def table(found: list[Result]) -> Iterator[tuple[str, str, bool]]:
    """(what, figure, whether it meets its bar)."""
    framed = [r for r in found if not r.codes and not r.error]
    yield "decks", f"{len(found)}, {len(framed)} framed ({len(framed) / len(found):.0%})", True
    codes = Counter(code for r in found for code in r.codes)
    yield "stops by code", ", ".join(f"{code} {n}" for code, n in codes.most_common()) or "none", True
    errors = [f"deck {r.seed}: {r.error}" for r in found if r.error]
    yield "exceptions", _listed(errors), not errors
    yield "identities asked", f"{sum(r.asked for r in found)}", True
    kinds = Counter(kind for r in found for kind, _ in r.broken)
    for kind, n in kinds.most_common():
        decks = [r for r in found if any(k == kind for k, _ in r.broken)]
        each = [f"deck {r.seed}: {next(words for k, words in r.broken if k == kind)}" for r in decks]
        yield f"broken: {kind}", f"{n} in {len(decks)} decks{_listed(each, '')}", False
    if not kinds:
        yield "broken", "nothing", True
    margin = min((r.margin for r in framed), default=0.0)
    yield "least clear gap over what was asked", f"{margin:.4f} in", margin >= -SLACK
    share = sum(r.within for r in framed) / max(1, sum(r.places for r in framed))
    places = sum(r.places for r in framed)
    yield "true roof within two standard errors", f"{share:.2%} of {places} places", share >= 0.95
    cuts, fewest = (sum(getattr(r, k) for r in framed) for k in ("cuts", "fewest"))
    yield ("straight cuts, and the fewest found", f"{cuts} and {fewest} over {sum(r.members for r in framed)} members",
           cuts <= fewest)
    offered, bad = sum(r.offered for r in found), sum(k == "does not clear" for r in found for k, _ in r.broken)
    yield "changes offered by stops that do not clear", f"{bad} of {offered}", bad == 0
    none = sum(bool(r.codes) and not r.offered for r in found)
    yield "stopped decks with no change on offer", f"{none}", True
    told = Counter(what for r in framed for what in r.told)
    yield "keep-outs not kept and told", ", ".join(f"{k}: {n} decks" for k, n in told.items()) or "none", True
    times = [r.seconds for r in found if not r.error]
    if times:
        worst = max(found, key=lambda r: r.seconds)
        yield ("engine's time", f"median {statistics.median(times):.2f} s, worst {worst.seconds:.2f} s (deck "
               f"{worst.seed}, {worst.area:.0f} sq ft)", True)
        for low, high in zip((0.0, *AREAS), (*AREAS, float("inf")), strict=True):
            here = [r.seconds for r in framed if low <= r.area < high]
            if here:
                yield (f"... framed, {low:g} to {high:g} sq ft", f"{len(here)} decks, median "
                       f"{statistics.median(here):.2f} s, worst {max(here):.2f} s", True)


def _listed(words: list[str], head: str = "none") -> str:
    return "".join(f"\n        {w[:240]}" for w in words[:SHOWN]) if words else head


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int, nargs="?", default=200)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    asked = parser.parse_args()
    sys.exit(report(table(results(range(asked.first, asked.first + asked.count), asked.jobs))))
