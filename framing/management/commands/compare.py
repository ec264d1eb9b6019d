"""Hold builds against each other on one survey, or let the engine look for builds, from the command line."""

from __future__ import annotations

import json
import os
import sys
from argparse import ArgumentTypeError
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, replace
from decimal import Decimal, InvalidOperation
from pathlib import Path
from textwrap import wrap
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from framing.engine.candidates import AS_GIVEN
from framing.engine.design import compare, find_builds
from framing.engine.documents import DocumentRefused, Fault
from framing.engine.ranking import HOUR, RANKED_BY, Comparison, Count, Placed
from framing.management.commands.frame import REFUSED, STOPPED, read_document, write_files
from framing.processes import processes
from framing.records import canonical

WIDTH = 100  # characters of a line
COLUMNS = {"cost": 10, "lumber": 7, "boards": 7, "hours": 7, "pads": 5, "gap": 6, "cuts": 6, "weight": 7, "step": 6,
           "cautions": 9}
HEADS = {"cuts": "rips", "weight": "lb", "step": "door", "lumber": "bd ft", "boards": "deck ft"}


class Command(BaseCommand):
    help = ("Hold deck builds against each other on one survey, or let the engine look for builds itself, and say why "
            "each is where it is. Exit 0 when every build given could be framed, 3 when one of them stops, 2 when a "
            "document is refused.")
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("survey", type=Path, metavar="SURVEY.json")
        parser.add_argument("builds", type=Path, nargs="+", metavar="BUILD.json")
        parser.add_argument("--find", type=int, default=0, metavar="N",
                            help="look for up to N builds that are made from the one given")
        parser.add_argument("--by", choices=RANKED_BY, default=RANKED_BY[0], help="the count to order by")
        parser.add_argument("--price", type=_price, action="append", default=[], metavar="ITEM=AMOUNT",
                            help=f"money for one order unit of an item of the takeoff, {HOUR} for a person-hour; "
                            "before the build's own prices")
        parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="processes; the answer is the same")
        parser.add_argument("--out", type=Path, metavar="DIR", help="write every build that no other beats here")
        parser.add_argument("--json", action="store_true", dest="as_json", help="everything, as JSON")

    def handle(self, *, survey: Path, builds: list[Path], find: int, by: str, price: list[tuple[str, Decimal]],
               jobs: int, out: Path | None, as_json: bool, **_: Any) -> None:
        if find < 0 or jobs < 1:
            raise CommandError("--find takes a number of builds, --jobs one of processes")
        if find and len(builds) > 1:
            raise CommandError("--find starts from one build")
        try:
            sources = [read_document(path) for path in (survey, *builds)]
            with processes(jobs if find else min(jobs, len(builds))) as each:
                options: dict[str, Any] = {"by": by, "prices": dict(price), "each": each}
                found = (find_builds(*sources, most=find, **options) if find else
                         compare(sources[0], sources[1:], names=[path.name for path in builds], **options))
            if out:
                write_files(out, {f"build-{p.number}.json": canonical(p.as_json()["build"]).encode() + b"\n"
                                  for p in found.in_state("unbeaten")})
        except DocumentRefused as refused:
            self._refuse([_placed(fault, survey, builds) for fault in refused.faults], as_json)
        except OSError as error:
            fault = Fault("", str(out), "a folder that can be written to", error.strerror or str(error))
            self._refuse([fault], as_json)
        self.stdout.write(json.dumps(found.as_json()) if as_json else "\n".join(report(found)))
        if any(p.state == "stopped" and (not find or p.tried.name == AS_GIVEN) for p in found.builds):
            sys.exit(STOPPED)

    def _refuse(self, faults: Sequence[Fault], as_json: bool) -> None:
        words = (f"{f'{f.document} {f.pointer}'.strip()}: read {f.read}, expected {f.expected}: {f.detail}"
                 .removeprefix(": ") for f in faults)
        self.stderr.write(json.dumps({"errors": [asdict(f) for f in faults]}) if as_json else "\n".join(words))
        sys.exit(REFUSED)


def _price(text: str) -> tuple[str, Decimal]:
    """ITEM=AMOUNT as (item, amount)."""
    item, _, amount = text.rpartition("=")
    try:
        money = Decimal(amount)
    except InvalidOperation:
        money = Decimal(-1)
    if not item or not money.is_finite() or money < 0:
        raise ArgumentTypeError(f"read {text}, expected an item and its price, as in support/pad/8x8=6.40")
    return item, money


def _placed(fault: Fault, survey: Path, builds: Sequence[Path]) -> Fault:
    """The fault with the file that it is in for its document, and a pointer into that file."""
    if fault.document != "deck-build/1":
        return replace(fault, document=str(survey) if fault.document else "")
    _, first, *rest = f"{fault.pointer}/".split("/")
    if first != "builds":
        return replace(fault, document=str(builds[0]))
    return replace(fault, document=str(builds[int(rest[0])]), pointer="/".join(["", *rest[1:]]).rstrip("/"))


def report(found: Comparison) -> Iterator[str]:
    """The comparison as lines of text: a table, then why each build is where it is."""
    unbeaten, beaten, stopped = (found.in_state(state) for state in ("unbeaten", "beaten", "stopped"))
    yield f"{found.name}: {len(unbeaten) + len(beaten)} builds framed, {len(stopped)} stop, " \
          f"{len(found.left_out)} left out"
    if unbeaten:
        yield ""
        yield f" No{''.join(_head(c) for c in found.counts)}"
    for title, builds in (("no other is as good on all counts", unbeaten), ("another is better", beaten)):
        if builds:
            yield f"--- {title} {'-' * (WIDTH - 5 - len(title))}"
        for p in builds:
            yield f"{p.number:3d}{''.join(_figure(c, p) for c in found.counts)}"
            yield from _hung(f"{_name(p)}. {p.why}", 5)
    if unbeaten:
        yield ""
        yield from _hung("* best of all on that count. gap: least clear gap over a pad [in]; rips: straight rips of "
                         "the frame; lb: wood and boards; door: greatest step down at the governing door [in]; "
                         "cautions: kinds of them.", 0)
    if found.not_priced:
        yield from _hung(f"Not in the cost, for want of a price: {', '.join(found.not_priced)}.", 0)
    for title, rows in (("stop:", [(p.tried.name, p.why) for p in stopped]),
                        ("left out:", [(v.name, v.why) for v in found.left_out])):
        if rows:
            yield ""
            yield title
            for name, why in rows:
                yield from _hung(f"{name}: {why}", 5)


def _name(placed: Placed) -> str:
    """What a build is called; of one that was given, which way it came to lie."""
    t = placed.tried
    if t.changes or not t.directions:
        return t.name
    joists, boards = t.directions
    return f"{t.name}, joists at {joists:.0f} and boards at {boards:.0f} degrees"


def _head(count: Count) -> str:
    return HEADS.get(count.key, count.key).rjust(COLUMNS[count.key]) + " "


def _figure(count: Count, placed: Placed) -> str:
    best = "*" if count.key in placed.best_on else " "
    return count.shown(placed.figures[count.key]).rjust(COLUMNS[count.key]) + best


def _hung(text: str, indent: int) -> Iterable[str]:
    """The text in lines of at most WIDTH, hanging from `indent`."""
    space = " " * indent
    return wrap(text, WIDTH, initial_indent=space, subsequent_indent=space + ("  " if indent else ""),
                break_on_hyphens=False)
