"""What the measuring commands print: a row a figure, and whether it meets its bar."""

from __future__ import annotations

from collections.abc import Iterable


def report(rows: Iterable[tuple[str, str, bool]]) -> int:
    """Prints rows of (what, figure, whether its bar is met) as they come; 1 where a bar was missed, for `sys.exit`."""
    missed = False
    for what, figure, met in rows:
        print(f"{what}\n    {figure}{'' if met else '   BAR NOT MET'}", flush=True)
        missed |= not met
    return int(missed)
