"""A hundred proposals by two workers, none lost and none doubled: `python -m tests.faults.run_hundred [100]`."""

from __future__ import annotations

import os
import sys
import time

from tests.faults.machines import Office, an_office


def main() -> int:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    with an_office() as office:
        office.start_stores()
        os.environ.update(office.env)
        import django

        django.setup()
        return run(office, count)


def run(office: Office, count: int) -> int:
    from django.core.management import call_command

    from tests.faults import offers

    call_command("migrate", verbosity=0)
    prepared = offers.prepare(count)
    office.start_rest()
    sender = offers.Sender(office.url, prepared)
    began = time.monotonic()
    sender.start()
    while time.monotonic() < began + 600 and not sender.wrong and not offers.all_sent(count):
        time.sleep(0.1)
    seconds = time.monotonic() - began
    sender.join(60)
    found = offers.look(office, prepared, sender)
    found.faults += [f"{found.doubled} doubled"] * bool(found.doubled)
    print(f"{found.offers} proposals, {len(office.workers)} workers, {seconds:.1f} s from first request to last 250: "
          f"{found.taken} taken, {found.doubled} doubled; {found.runs_again} runs and {found.mails_again} mails were "
          "claimed more than once")
    for fault in found.faults:
        print(f"✗ {fault}")
    return bool(found.faults)


if __name__ == "__main__":
    sys.exit(main())
