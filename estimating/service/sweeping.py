"""What a sweep does, registered by whoever has work that waits in rows; each app adds its own.

Without a broker a sweep does the work itself; with one, beat's sweep tells the workers of it.
"""

import logging
from collections.abc import Callable
from datetime import datetime
from typing import NamedTuple

from django.db import InterfaceError, OperationalError

logger = logging.getLogger(__name__)
Step = Callable[[datetime], object]


class Chore(NamedTuple):
    """`name` is what its steps count, if anything."""

    do: Step
    announce: Step
    name: str


_chores: list[Chore] = []


def on_sweep(do: Step, announce: Step | None = None, *, name: str = "") -> None:
    """Have every sweep do this, in the order of registration; where there are workers `announce` stands in for it."""
    _chores.append(Chore(do, announce or do, name))


def sweep(now: datetime) -> dict[str, int]:
    """Do all that waits, in this process; how much was done of what is counted."""
    done = [(chore.name, _tried(chore.do, now)) for chore in _chores]
    return {name: count for name, count in done if name and isinstance(count, int)}


def announce(now: datetime) -> None:
    """Tell the workers of all that waits."""
    for chore in _chores:
        _tried(chore.announce, now)


def _tried(step: Step, now: datetime) -> object:
    """A step with a defect is logged and keeps no other from its turn; a database that is away is told."""
    try:
        return step(now)
    except (OperationalError, InterfaceError):
        raise
    except Exception:
        logger.exception("a step of the sweep failed: %s", step)
        return None
