"""`python -m tests.quotes.run_impact 1000 60`: many open quotes held against a new version, beside a loop over lines.

Makes a database of its own (SQLite, and PostgreSQL where DATABASE_URL is set), fills it with invented quotes, works out
the impact at once and by a loop that asks the database line by line, and compares. Ends with 1 where a price differs by
a cent or the ratio of times is under the bar: 40 on PostgreSQL, 10 on SQLite.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time

BARS = {"postgresql": 40, "sqlite": 10}
GOODS = 300


def measured(quotes: int, lines: int) -> int:
    """One database's table; 1 where a bar is not met."""
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    django.setup()
    from django.db import connection

    from tests.framing.tables import report

    connection.creation.create_test_db(verbosity=0)
    try:
        from quotes.impact import changes_of
        from quotes.models import Quote
        from tests.quotes.open_quotes import ON, a_framing, by_loop, goods, quotes_on

        rng = random.Random(1)
        job, framing = a_framing()
        old, new = goods(GOODS, rng)
        quotes_on(old, job, framing, quotes, lines, rng)
        times = []
        for _ in range(3):
            began = time.perf_counter()
            found = changes_of(new, ON)
            times.append(time.perf_counter() - began)
        began = time.perf_counter()
        looped = by_loop(new, list(Quote.objects.all()))
        loop = time.perf_counter() - began
        touched = {change.quote_id: change.after for change in found}
        differ = sum(touched.get(quote.pk, quote.price) != looped[quote.pk] for quote in Quote.objects.all())
        vendor, ratio = connection.vendor, loop / sorted(times)[1]
        return report([
            (f"{vendor}: open quotes", f"{quotes:,} of {lines} lines, {len(touched):,} touched, "
             f"{sum(change.is_blocked for change in found):,} lose a price", len(touched) > 0),
            ("prices that differ from the loop's", str(differ), differ == 0),
            ("at once", f"{sorted(times)[1]:.2f} s", True),
            ("line by line", f"{loop:.1f} s", True),
            ("ratio", f"{ratio:.0f} (bar {BARS[vendor]})", ratio >= BARS[vendor]),
        ])
    finally:
        connection.creation.destroy_test_db(connection.settings_dict["NAME"], verbosity=0)


def main(quotes: int, lines: int) -> int:
    """Each database in a process of its own."""
    here = [sys.executable, "-m", "tests.quotes.run_impact", str(quotes), str(lines), "--here"]
    kinds = [{**os.environ, "DATABASE_URL": ""}]
    if os.environ.get("DATABASE_URL"):
        kinds.append(dict(os.environ))
    return max(subprocess.run(here, env=env, check=False).returncode for env in kinds)


if __name__ == "__main__":
    asked = [int(word) for word in sys.argv[1:] if word.isdigit()] or [1000, 60]
    sys.exit(measured(*asked) if "--here" in sys.argv else main(*asked))
