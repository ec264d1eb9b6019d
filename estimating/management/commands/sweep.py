"""Do the background work that waits; with --watch go on until told to stop."""

import signal
import threading
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db import InterfaceError, OperationalError, close_old_connections
from django.utils import timezone

from estimating.service import sweeping


class Command(BaseCommand):
    help = "Do all that waits, oldest first: runs, mail. With --watch look again every second until stopped."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--watch", action="store_true", help="go on looking until stopped")
        parser.add_argument("--every", type=float, default=1.0, metavar="SECONDS", help="how often to look (1)")

    def handle(self, *, watch: bool, every: float, **_: Any) -> None:
        if not watch:
            self._sweep(quiet=False)
            return
        stop = threading.Event()
        for signum in (signal.SIGINT, signal.SIGTERM):
            signal.signal(signum, lambda *_: stop.set())
        while not stop.wait(every):
            try:
                self._sweep(quiet=True)
            except (OperationalError, InterfaceError) as exc:  # away or busy: it comes back, or the next start tells
                self.stderr.write(f"the database does not answer: {exc}")
            close_old_connections()

    def _sweep(self, *, quiet: bool) -> None:
        done = sweeping.sweep(timezone.now())
        told = [f"{count} {name}{'s' * (count != 1)}" for name, count in done.items() if count]
        if told or not quiet:
            self.stdout.write(", ".join(told or ["nothing"]) + " done")
