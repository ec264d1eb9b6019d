"""A whole price list in: time against the database's own quickest way, memory, and a kill on the way.

`python -m tests.estimating.run_price_import 50000` makes a list of so many rows and reads, checks, compares, stages and
approves it, three versions one after another, on SQLite and, where DATABASE_URL is set, on PostgreSQL; beside each the
same rows go into a table with the same constraints by bare COPY (PostgreSQL) or by bulk insert in chunks (SQLite).
Ends with 1 where an import takes over 6 times the COPY or 4 times the bulk insert, or its memory peaks 150 MB or more
over where it began. Another version is killed while its rows go in: the old one must stay in force, and the run be
done when it is taken up again.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import suppress
from datetime import timedelta
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING

from tests.estimating.price_sources import Source, kill_half_way, serving
from tests.framing.tables import report

if TYPE_CHECKING:
    from estimating.models import PriceList, PriceListVersion

BARS = {"postgresql": 6.0, "sqlite": 4.0}  # times the bare way
MEMORY = 150.0  # MB over start
ROUNDS = 3
CHUNK = 2_000
KINDS = (  # unit words and codes, pack, what it holds, basis
    ("EA", "EA", "", "EA", "per EA"), ("LF", "LF", "", "LF", "per LF"), ("BX", "XBX", "175", "EA", "per box"),
    ("MBF", "MBF", "", "EA", "per MBF"), ("GL", "GLL", "", "GLL", "per gal"),
)  # fmt: skip


def rows_of(count: int, turn: int) -> Iterator[str]:
    """An invented list as CSV lines; each turn a third of the prices rises, and one in 5,000 is blank."""
    from estimating.price_lists import COLUMNS

    yield ",".join(COLUMNS) + "\n"
    for n in range(count):
        word, code, pack, base, basis = KINDS[n % len(KINDS)]
        cents = 100 + n * 7919 % 90_000
        cents = cents * (100 + 3 * turn) // 100 if n % 3 == 0 else cents
        price = "" if n % 5_000 == 4_999 else f"{cents // 100}.{cents % 100:02}"
        yield (
            f'SKU-{n:06},"Board {n}, 5/4 x 6, {8 + n % 9} ft",{word},{code},{pack},{base},{price},USD,{basis},'
            "2026-03-01,,active\n"
        )


def memory_now() -> float:
    """Of this process. [MB]"""
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
    except OSError:
        return memory_peak()
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def memory_peak() -> float:
    """Of this process since `forget_peak`, or since it began where the system does not forget. [MB]"""
    try:
        status = Path("/proc/self/status").read_text()
        return int(status.partition("VmHWM:")[2].split()[0]) / 1e3
    except (OSError, IndexError, ValueError):
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        return peak / 1e6 if sys.platform == "darwin" else peak / 1e3


def forget_peak() -> None:
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")


def measure(count: int) -> int:
    """Everything on one database; 0 where every bar is met."""
    import django

    django.setup()
    from django.conf import settings
    from django.db import connection
    from django.utils import timezone

    settings.DATABASES["default"].setdefault("TEST", {})
    folder = tempfile.TemporaryDirectory()
    on = connection.vendor
    name = f"test_price_import_{os.getpid()}" if on == "postgresql" else str(Path(folder.name) / "db.sqlite3")
    connection.settings_dict["TEST"]["NAME"] = name
    connection.creation.create_test_db(verbosity=0, autoclobber=True)
    try:
        from estimating.models import Office, PriceList, Supplier
        from estimating.price_lists import approve_version, stage_price_file

        Office.objects.create(name="Test Decks")
        price_list = PriceList.objects.create(supplier=Supplier.objects.create(name="Test Timber"), name="yard")
        path = Path(folder.name) / "list.csv"
        imports, bare, over = [], [], 0.0
        for turn in range(ROUNDS):
            with path.open("w") as file:
                file.writelines(rows_of(count, turn))
            forget_peak()
            began, start = memory_now(), time.perf_counter()
            content = path.read_bytes()
            staged = stage_price_file(price_list.pk, content, source_name="list.csv", by=None, now=timezone.now())
            version = approve_version(staged.pk, by=None, now=timezone.now())
            imports.append(time.perf_counter() - start)
            over = max(over, memory_peak() - began)
            kept = version.prices.count()
            assert version.number == turn + 1 and kept + version.rejected.count() == count
            del content
            bare.append(bare_copy(version) if on == "postgresql" else bare_bulk(version))
        killed = kill_and_resume(price_list, count)
    finally:
        connection.creation.destroy_test_db(name, verbosity=0)
        folder.cleanup()
    ratio = median(imports) / median(bare)
    plainly = "bare COPY" if on == "postgresql" else "bulk insert in chunks"
    return report([
        (f"{count} rows read, checked, compared, staged and approved on {on} [s]",
         f"first version {imports[0]:.2f}, later ones {median(imports[1:]):.2f}", True),
        (f"the same rows by {plainly} [s]", f"{median(bare):.2f}", True),
        ("times as long", f"{ratio:.2f}, at most {BARS[on]:.0f}", ratio <= BARS[on]),
        ("peak of memory over start [MB]", f"{over:.0f}, under {MEMORY:.0f}", over < MEMORY),
        ("killed while its rows went in", killed or "the old version stayed in force; the run was taken up and done",
         not killed),
    ])  # fmt: skip


def bare_copy(version: PriceListVersion) -> float:
    """Seconds for COPY of a version's rows into a table with the same constraints and indexes."""
    from django.db import connection, transaction

    columns = ", ".join(f'"{field.column}"' for field in version.prices.model._meta.concrete_fields)
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE bare (LIKE estimating_price INCLUDING ALL)")
        cursor.execute(f"SELECT {columns} FROM estimating_price WHERE list_version_id = %s ORDER BY line", [version.pk])
        rows = [tuple(None if cell is None else str(cell) for cell in row) for row in cursor.fetchall()]
        start = time.perf_counter()
        with transaction.atomic(), cursor.copy(f"COPY bare ({columns}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
        took = time.perf_counter() - start
        cursor.execute("DROP TABLE bare")
    return took


def bare_bulk(version: PriceListVersion) -> float:
    """Seconds for inserting a version's rows again, in chunks, through the ORM."""
    from django.db import transaction
    from django.utils import timezone

    from estimating.models import Price, PriceListVersion

    other = PriceListVersion.objects.create(
        price_list=version.price_list, source_sha256="0" * 64, line_count=1, valid_from="2026-03-01",
        staged_at=timezone.now(),
    )  # fmt: skip
    rows = list(version.prices.values())
    start = time.perf_counter()
    with transaction.atomic():
        for at in range(0, len(rows), CHUNK):
            Price.objects.bulk_create(
                Price(**{**row, "id": None, "list_version_id": other.pk}) for row in rows[at:at + CHUNK]
            )
    took = time.perf_counter() - start
    other.delete()
    return took


def kill_and_resume(price_list: PriceList, count: int) -> str:
    """What went wrong when a run was killed while its rows went in and then taken up again; or nothing."""
    from django.conf import settings
    from django.db import connection
    from django.utils import timezone

    from estimating.models import Price
    from estimating.price_lists import latest_version
    from estimating.price_sync import start_sync
    from estimating.service import runs

    before, prices = latest_version(price_list), Price.objects.count()
    with serving(Source("".join(rows_of(count, ROUNDS)).encode())) as source:
        price_list.source_url = source.url
        price_list.limits = {
            "most_rise": "10", "most_fall": "0", "most_new": 0, "most_gone": 0, "most_rejected": count
        }  # fmt: skip
        price_list.save()
        settings.PRICE_HOSTS = [source.host]
        run = start_sync(price_list, by=None, now=timezone.now())
        connection.close()
        kill_half_way(run.pk, connection.settings_dict, source)
        if latest_version(price_list) != before or Price.objects.count() != prices:
            return "the killed import left something behind"
        done = runs.perform(run.pk, clock=lambda: timezone.now() + runs.LEASE + timedelta(seconds=1))
    after = latest_version(price_list)
    if done is None or done.state != "done" or after == before:
        return f"the run was not resumed: {done and (done.state, done.result, done.problem)}"
    return ""


def main(count: int) -> int:
    """Each database in a process of its own, since the settings take one; 1 where one missed a bar."""
    urls = ["", *([os.environ["DATABASE_URL"]] if "postgres" in os.environ.get("DATABASE_URL", "") else [])]
    missed = 0
    for url in urls:
        env = os.environ | {"DATABASE_URL": url, "DJANGO_SETTINGS_MODULE": "tests.settings"}
        missed |= subprocess.run([sys.executable, "-m", __spec__.name, str(count), "here"], env=env).returncode
    return int(bool(missed))


if __name__ == "__main__":
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    sys.exit(measure(rows) if sys.argv[2:] == ["here"] else main(rows))
