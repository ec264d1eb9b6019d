"""The level round: datum drift shared out by reading order, readings brought down to the membrane, repeats compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from framing.engine.documents import DatumCheck, Level


@dataclass(frozen=True)
class AdjustedLevel:
    """One reading: height `z` [in] above the datum of what it was taken `on`, its 1-based `number` in the round.

    A reading on a paver, ballast or an old deck is brought down to the membrane. `suspect` readings disagree
    with others at their own point.
    """

    point: str
    z: float
    on: str
    number: int
    suspect: bool = False


def adjust_levels(levels: Sequence[Level], datum_checks: Sequence[DatumCheck]) -> tuple[AdjustedLevel, ...]:
    """Heights of all readings: z = -(drop - drift), less the depth to the membrane where one was given. [in]

    The datum's true drop is 0, so what it reads is drift: 0 before the first reading, linear by reading number
    between checks, constant after the last one.
    """
    if not levels:
        return ()
    number = np.arange(1, len(levels) + 1)
    read_at: dict[int, list[float]] = {0: [0.0]}
    for datum in datum_checks:
        read_at.setdefault(datum.after, []).append(datum.drop)
    after = sorted(read_at)
    drift = np.interp(number, after, [float(np.mean(read_at[k])) for k in after])
    z = drift - np.array([level.drop for level in levels]) - [level.depth_to_membrane or 0.0 for level in levels]
    return tuple(
        AdjustedLevel(level.point, float(height), level.on, int(k))
        for level, height, k in zip(levels, z, number, strict=True)
    )


def datum_drift(datum_checks: Sequence[DatumCheck]) -> float | None:
    """What the datum read the last time, a signed drop [in]; None if it was never read again."""
    return datum_checks[-1].drop if datum_checks else None


def compare_repeats(
    levels: Sequence[AdjustedLevel], sigma: float, critical: float
) -> tuple[tuple[AdjustedLevel, ...], tuple[str, ...]]:
    """Mark readings that disagree with others of the same point and surface; also their points, worst first.

    Of three readings or more the worst goes first and the rest are compared again; of two that disagree neither
    can be told from the other, and both are marked. `sigma` [in] is that of one reading.
    """
    groups: dict[tuple[str, str], list[AdjustedLevel]] = {}
    for level in levels:
        groups.setdefault((level.point, level.on), []).append(level)
    marked: set[int] = set()
    worst: dict[str, float] = {}
    for (point, _), group in groups.items():
        z, number = np.array([level.z for level in group]), np.array([level.number for level in group])
        while len(z) > 1:
            standardised = np.abs(z - z.mean()) / (sigma * np.sqrt(1 - 1 / len(z)))
            k = int(standardised.argmax())
            if standardised[k] <= critical:
                break
            worst[point] = max(worst.get(point, 0.0), float(standardised[k]))
            out = np.arange(2) if len(z) == 2 else np.array([k])
            marked.update(number[out].tolist())
            z, number = np.delete(z, out), np.delete(number, out)
    return (
        tuple(replace(level, suspect=True) if level.number in marked else level for level in levels),
        tuple(sorted(worst, key=lambda point: -worst[point])),
    )
