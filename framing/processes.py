"""Several builds framed at a time, each in a process of its own; the engine itself knows of none."""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager

from framing.engine.design import Each


@contextmanager
def processes(jobs: int) -> Iterator[Each]:
    """A map over so many processes; the builtin one where one does it all."""
    if jobs == 1:
        yield map
        return
    with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        yield pool.map
