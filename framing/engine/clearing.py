"""The single changes of a build that clear its stops: which to try, how one is made, and which of them hold.

A stage that stops says which changes make up for what it found. Whether the frame then stands is known only by
framing again, so each is tried before it is offered; `design.py` hands in the function that frames.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import zip_longest
from typing import Any

from framing.engine.checks import Change, Check
from framing.engine.documents import Build, DocumentRefused, parse_build
from framing.engine.plane import (
    FULL_STEP,
    LEAST_CLEAR_GAP,
    LEAST_DEPTH,
    LEAST_PAD,
    LEAST_REVEAL,
    TO_HOUSE,
    least_decking,
    to_fall,
)
from framing.engine.shims import PACKER_STEP
from framing.reference import doors
from framing.reference.lumber import DRESSED

CLOSER_SPACINGS = (24.0, 16.0, 12.0, 8.0)  # what joists are set out by [in]
MOST_TRIALS = 12  # a stop's answer takes at most so many frames more
LARGER = 3  # a change that just misses is tried this many steps larger


def applied(build: Build, change: Change) -> Build | None:
    """The build with one change made, read as a document would be; None where that is refused.

    A field that is a list takes the new value in beside what it holds; a patch is merged (RFC 7396).
    """
    plain = build.model_dump(mode="json", by_alias=True, exclude_none=True) | {"unit": "in"}
    if change.patch is not None:
        plain = _merged(plain, change.patch)
    else:
        *owners, last = change.change.split(".")
        here = plain
        for owner in owners:
            here = here.setdefault(owner, {})
        held = here.get(last)
        if isinstance(held, list):
            here[last] = sorted([*held, change.to]) if isinstance(change.to, float | int) else [*held, change.to]
        else:
            here[last] = change.to
    try:
        return parse_build(plain)
    except DocumentRefused:
        return None


def _merged(document: Any, patch: Any) -> Any:
    if not isinstance(patch, Mapping):
        return patch
    kept = dict(document) if isinstance(document, Mapping) else {}
    for key, value in patch.items():
        if value is None:
            kept.pop(key, None)
        else:
            kept[key] = _merged(kept.get(key), value)
    return kept


def cleared(stops: Sequence[Check], build: Build, frames: Callable[[Build], bool]) -> tuple[Change, ...]:
    """Of the changes that the stops name, each at its least step that leaves no stop, as `frames` finds.

    Every stop's changes are tried, since one must clear them all; a change that misses is tried a step larger after
    all others have had their turn, up to `MOST_TRIALS` in all.
    """
    steps = [list(_steps(build, change)) for change in _asked(stops, build)]
    held: dict[int, Change] = {}
    tried = 0
    for row in zip_longest(*steps):
        for i, change in enumerate(row):
            if change is None or i in held or tried >= MOST_TRIALS:
                continue
            changed = applied(build, change)
            if changed is None or changed == build:
                continue
            tried += 1
            if frames(changed):
                held[i] = change
    return tuple(held[i] for i in sorted(held))


def told(stop: Check, build: Build, kept: Sequence[Change]) -> Check:
    """The stop with the changes that hold, in its text as well."""
    if not _asked([stop], build):
        return replace(stop, clears=tuple(kept))
    words = (f"Any one of these clears it: {'; '.join(c.words for c in kept)}." if kept else
             "No single change within the limits was found that leaves no stop.")
    return replace(stop, clears=tuple(kept), text=f"{stop.text} {words}")


def _asked(stops: Sequence[Check], build: Build) -> list[Change]:
    """What the stops ask to be tried, each change once; wood that is too weak asks for closer joists, or deeper ones
    by a lesser gap."""
    found: dict[tuple[str, str], Change] = {}
    for stop in stops:
        changes = list(stop.clears)
        if stop.code.startswith("strength-"):
            j, gap = build.joists, build.supports.clear_gap
            closer = [v for v in CLOSER_SPACINGS if v < j.spacing - 1e-9]
            changes += [Change("joists.spacing", j.spacing, closer[0])] if closer else []
            changes += [Change("supports.clear_gap.target", gap.target, gap.least)] if gap.least < gap.target else []
        for change in changes:
            found.setdefault((change.change, str(change.to)), change)
    return list(found.values())


def _steps(build: Build, change: Change) -> Iterator[Change]:
    """The change, then the same in larger steps, none past the floors of documents.md."""
    yield change
    to, path = change.to, change.change
    if change.patch is not None:
        surface = change.patch["surface"]
        if surface["mode"] == "fall":
            per_ft = float(str(surface["fall_per_ft"]).rstrip('"')) + FULL_STEP
            while per_ft <= doors.LANDING_FALL + 1e-9:
                yield to_fall(build, per_ft, float(surface["toward"]), to_house=str(to).endswith(TO_HOUSE))
                per_ft += FULL_STEP
    elif path == "joists.spacing":
        yield from (replace(change, to=v) for v in CLOSER_SPACINGS if v < float(to) - 1e-9)
    elif path == "joists.sizes":
        deeper = sorted((d, k) for k, (_, d) in DRESSED.items() if d > DRESSED[str(to)][1])
        yield from (replace(change, to=k) for _, k in deeper)
    elif path == "supports.packer_most":
        yield from (replace(change, to=float(to) + PACKER_STEP * n) for n in range(1, LARGER + 1))
    elif path.endswith("stock_lengths"):
        yield from (replace(change, to=float(to) + 24.0 * n) for n in range(1, LARGER + 1))
    elif isinstance(to, float | int) and isinstance(change.from_, float | int):
        way = 1.0 if to > change.from_ else -1.0
        for n in range(1, LARGER + 1):
            value = to + way * FULL_STEP * 2 ** (n - 1)
            if way > 0 or value >= _floor(build, path) - 1e-9:
                yield replace(change, to=value)


def _floor(build: Build, path: str) -> float:
    """What no change goes under [in]."""
    s = build.supports
    return {
        "surface.reveal": LEAST_REVEAL, "decking.thickness": least_decking(build), "joists.minimum_depth": LEAST_DEPTH,
        "supports.clear_gap.least": LEAST_CLEAR_GAP, "surface.fall_per_ft": FULL_STEP,
        "supports.pad_thickness": max(LEAST_PAD, 0.0 if s.clear_gap.least >= LEAST_CLEAR_GAP
                                      else LEAST_CLEAR_GAP - s.base_thickness),
    }.get(path, LEAST_CLEAR_GAP)
