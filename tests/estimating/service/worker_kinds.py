"""A kind of run for the test of a real worker, which imports it; it waits where its subject says so."""

import time

from estimating.models import Supplier
from estimating.service.runs import run_kind


@run_kind("test-worker", queue="compute")
def work(run, report):
    report(10, "at it")
    if run.subject.startswith("slow") and run.attempts == 1:
        time.sleep(60)
    return lambda: {"supplier": Supplier.objects.create(name=run.subject).pk}
