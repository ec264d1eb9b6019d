"""`python -m tests.framing.run_identities 300`: frames so many random terraces and prints what the reader found."""

from __future__ import annotations

import statistics
import sys
import time
from collections import Counter

from framing.engine.design import frame
from tests.framing.identities import asked_of, identities
from tests.framing.terraces import terrace


def main(count: int) -> int:
    """Number of broken identities over `count` terraces."""
    times, stops = [], Counter[str]()
    framed = asked = 0
    broken: list[str] = []
    for seed in range(count):
        t = terrace(seed)
        start = time.perf_counter()
        document = frame(t.survey, t.build).document
        times.append(time.perf_counter() - start)
        codes = {c["code"] for c in document["checks"] if c["status"] == "stop"}
        framed += not codes
        stops.update(codes)
        asked += asked_of(document)
        broken += [f"terrace {seed}: {words}" for words in identities(t.survey, t.build, document)]
    rows = [
        ("terraces", count), ("framed", framed), ("stopped", count - framed),
        *((f"  by {code}", n) for code, n in stops.most_common()),
        ("identities checked", asked), ("violations", len(broken)),
        ("median engine time", f"{statistics.median(times):.2f} s"),
        ("worst engine time", f"{max(times):.2f} s (terrace {times.index(max(times))})"),
    ]
    for name, value in rows:
        print(f"{name:<28}{value:>10}")
    for words in broken[:200]:
        print(words)
    return len(broken)


if __name__ == "__main__":
    sys.exit(bool(main(int(sys.argv[1]) if len(sys.argv) > 1 else 300)))
