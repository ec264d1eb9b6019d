"""`python -m tests.framing.run_orders 200`: frames random decks, counts orders, lifts and hours again from outside.

Prints a table and ends with 1 where a count is not the engine's.
"""

from __future__ import annotations

import statistics
import sys
from collections import Counter

from framing.engine.design import frame
from tests.framing.decks import deck
from tests.framing.orders import orders
from tests.framing.tables import report


def main(count: int) -> int:
    """Frames `count` decks; 1 where something was counted otherwise."""
    wrong: list[str] = []
    waste, lifts, hours, days, angles = [], [], [], [], []
    ways: Counter[str] = Counter()
    for seed in range(count):
        drawn = deck(seed)
        document = frame(drawn.survey, drawn.build).document
        if not document["labor"]:
            continue
        wrong += [f"deck {seed}: {words}" for words in orders(drawn.build, document)]
        sticks = [q for q in document["quantities"] if q["item"].startswith(("lumber/2", "decking/"))]
        waste.append(100 * sum(q["waste"] for q in sticks) / sum(q["net"] for q in sticks))
        lifts.append(document["lifts"]["count"])
        ways[document["lifts"]["by"]] += 1
        hours.append(document["schedule"]["person_hours"] / document["net_sqft"] * 100)
        days.append(document["schedule"]["days"])
        angles.append(sum(t["quantity"] for t in document["labor"] if t["task"] == "cut-angles"))
    for words in wrong[:40]:
        print(words)
    return report([
        ("decks framed and counted again", f"{len(hours)} of {count}, by " + ", ".join(
            f"{way} {n}" for way, n in sorted(ways.items())), len(hours) > 0),
        ("counts that differ", str(len(wrong)), not wrong),
        *((what, f"median {statistics.median(v):.1f}, {min(v):.1f} to {max(v):.1f}", True) for what, v in (
            ("waste of sticks added on to net [%]", waste), ("lifts", lifts), ("person-hours a hundred sq ft", hours),
            ("working days", days), ("ends cut at an angle", angles)) if v),
    ])


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 200))
