"""Kill -9 at random moments while proposals go out, as many kills as sends: `python -m tests.faults.run_kills 200`."""

from __future__ import annotations

import argparse
import os
import random
import sys
import threading
import time

from tests.faults.machines import Office, an_office

LONGEST_PAUSE = 1.6  # s between two kills
MAIL_PAUSE = 1.0  # s that the mail server takes over a message, at most, before and after writing it down
AT_LAST = 300  # s for what is left after the last kill


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kills", type=int, nargs="?", default=200)
    parser.add_argument("--sends", type=int, help="as many as kills where not given")
    parser.add_argument("--seed", type=int, default=None)
    asked = parser.parse_args()
    seed = random.randrange(10**6) if asked.seed is None else asked.seed
    began = time.monotonic()
    with an_office(pause=MAIL_PAUSE) as office:
        office.start_stores()
        os.environ.update(office.env)
        import django

        django.setup()
        return run(office, asked.kills, asked.sends or asked.kills, random.Random(seed), seed, began)


def run(office: Office, kills: int, sends: int, rng: random.Random, seed: int, began: float) -> int:
    from django.core.management import call_command
    from django.db import connection

    from tests.faults import offers

    call_command("migrate", verbosity=0)
    prepared = offers.prepare(sends)
    connection.close()
    office.start_rest()
    killed = threading.Semaphore(2)  # how far the sender may be ahead of the kills
    sender = offers.Sender(office.url, prepared, lambda nth: bool(killed.acquire()))
    ready = time.monotonic()
    sender.start()
    done = 0
    while done < kills:
        end = time.monotonic() + rng.random() * LONGEST_PAUSE
        while time.monotonic() < end:
            office.see_to_all()
            time.sleep(0.02)
        machine = rng.choice([*office.stores, rng.choice(office.workers), office.web, office.beat])
        if machine.kill(a_child=machine in office.workers and rng.random() < 0.3):
            done += 1
            if done % 25 == 0:
                print(f"{done} kills, {time.monotonic() - began:.0f} s", file=sys.stderr, flush=True)
            for _ in range(max(1, sends // kills)):
                killed.release()
    for _ in range(sends):
        killed.release()
    last = time.monotonic()
    while time.monotonic() < last + AT_LAST:
        office.see_to_all()
        if not sender.is_alive() and _answers(lambda: offers.all_sent(sends)):
            break
        time.sleep(0.2)
    sender.join(AT_LAST)
    found = offers.look(office, prepared, sender)
    now = time.monotonic()
    print(f"seed {seed}")
    for name, count in offers.kills_by_kind(office).items():
        print(f"  {name:<12} killed {count:>4} times")
    print(f"{done} kills, {found.offers} of {sends} offers, {found.tried_again} requests tried again, {found.mails} "
          f"mails, {found.taken} taken by the mail server, {found.doubled} doubled with the same Message-ID; "
          f"{found.runs_again} runs and {found.mails_again} mails were claimed more than once")
    print(f"{now - began:.0f} s: {ready - began:.0f} to set up, {last - ready:.0f} of kills, {now - last:.0f} after")
    for fault in found.faults:
        print(f"✗ {fault}")
    print("every proposal arrived" if not found.faults else f"{len(found.faults)} faults")
    return bool(found.faults)


def _answers(ask) -> bool:
    """What the database says; while it is away it says no."""
    from django.db import InterfaceError, OperationalError, connection

    try:
        return ask()
    except (OperationalError, InterfaceError):
        connection.close()
        return False


if __name__ == "__main__":
    sys.exit(main())
