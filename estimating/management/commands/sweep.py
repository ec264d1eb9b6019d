"""Do the background work that waits; with --watch go on until told to stop."""

import signal
import threading
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db import OperationalError, close_old_connections
from django.utils import timezone

from estimating import files, price_sync
from estimating.service import idempotency, runs


class Command(BaseCommand):
    help = "Do every run that waits, oldest first. With --watch look again every second until stopped."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--watch", action="store_true", help="go on looking until stopped")
        parser.add_argument("--every", type=float, default=1.0, metavar="SECONDS", help="how often to look (1)")

    def handle(self, *, watch: bool, every: float, **_: Any) -> None:
        if not watch:
            price_sync.start_due_syncs(now=timezone.now())
            done = runs.sweep()
            idempotency.forget_old_keys(timezone.now())
            files.remove_erased(timezone.now())
            self.stdout.write(f"{done} run{'s' * (done != 1)} done")
            return
        stop = threading.Event()
        for signum in (signal.SIGINT, signal.SIGTERM):
            signal.signal(signum, lambda *_: stop.set())
        while not stop.wait(every):
            try:
                price_sync.start_due_syncs(now=timezone.now())
                if done := runs.sweep():
                    self.stdout.write(f"{done} run{'s' * (done != 1)} done")
                idempotency.forget_old_keys(timezone.now())
                files.remove_erased(timezone.now())
            except OperationalError as exc:  # the database is away or busy: it comes back, or the next start tells
                self.stderr.write(f"the database does not answer: {exc}")
            close_old_connections()
