"""Frame a survey and a build from the command line: documents and drawings into a folder."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from estimating.service.pdf import html_to_pdf
from framing.dxf import plan_dxf
from framing.engine.design import Framing, frame
from framing.engine.documents import DocumentRefused, Fault, canonical_sha256
from framing.engine.json_reading import MOST_BYTES
from framing.papers import cut_sheets_html
from framing.records import canonical

REFUSED, STOPPED = 2, 3  # exit codes beside 0


class Command(BaseCommand):
    help = ("Frame a roof survey and a deck build. Exit 0 when it could be framed, 3 when the answer holds a stop, "
            "2 when a document is refused and nothing is written.")
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("survey", type=Path, metavar="SURVEY.json")
        parser.add_argument("build", type=Path, metavar="BUILD.json")
        parser.add_argument("--out", type=Path, required=True, metavar="DIR",
                            help="folder to write to; made if missing")
        parser.add_argument("--along", action="append", default=[], metavar="MEMBER",
                            help="draw a section along this member too (J3: section-J3.svg); may be given again")
        parser.add_argument("--json", action="store_true", dest="as_json",
                            help="messages on standard error as JSON")

    def handle(self, *, survey: Path, build: Path, out: Path, along: list[str], as_json: bool, **_: Any) -> None:
        try:
            sources = read_document(survey), read_document(build)
            framed = frame(*sources)
            write_files(out, {**_files(framed, *sources), **_sections(framed, along)})
        except DocumentRefused as refused:
            self._tell(refused.as_json(), (_words(fault, survey, build) for fault in refused.faults), as_json)
            sys.exit(REFUSED)
        except OSError as error:
            fault = Fault("", str(out), "a folder that can be written to", error.strerror or str(error))
            self._tell({"errors": [asdict(fault)]}, [_words(fault, survey, build)], as_json)
            sys.exit(REFUSED)
        stops = [check for check in framed.document["checks"] if check["status"] == "stop"]
        if stops:
            self._tell({"stops": stops}, _stop_words(stops), as_json)
            sys.exit(STOPPED)

    def _tell(self, document: Mapping[str, Any], sentences: Iterable[str], as_json: bool) -> None:
        self.stderr.write(json.dumps(document) if as_json else "\n".join(sentences))


def read_document(path: Path) -> bytes:
    """The file's bytes, no more than a document may have. Raises DocumentRefused where it cannot be read."""
    try:
        with path.open("rb") as file:
            return file.read(MOST_BYTES + 1)
    except OSError as error:
        raise DocumentRefused([Fault("", str(path), "a file that can be read", error.strerror or str(error))]) from None


def _words(fault: Fault, survey: Path, build: Path) -> str:
    name = {"roof-survey/1": str(survey), "deck-build/1": str(build)}.get(fault.document, "")
    where = " ".join(part for part in (name, fault.pointer) if part)
    return f"{where}: read {fault.read}, expected {fault.expected}: {fault.detail}".removeprefix(": ")


def _stop_words(stops: Iterable[Mapping[str, Any]]) -> Iterable[str]:
    for stop in stops:
        yield f"stop {stop['code']}: {stop['text']}"
        for change in stop["clears"]:
            yield f"  would be cleared by {change['change']} from {change['from']} to {change['to']}"


def _files(framed: Framing, survey: bytes, build: bytes) -> dict[str, bytes | None]:
    """What is written, by name; None for a paper that this answer does not give."""
    document = framed.document
    is_stopped = any(check["status"] == "stop" for check in document["checks"])
    cut_sheets = None if is_stopped else html_to_pdf(cut_sheets_html(
        document, json.loads(survey), json.loads(build), paper="Cut sheets", mark=canonical_sha256(document),
        plan_svg=framed.plan_svg,
    ))
    return {
        "framing.json": canonical(document).encode() + b"\n",
        "plan.svg": framed.plan_svg.encode(),
        "section.svg": framed.section_svg.encode(),
        "plan.dxf": plan_dxf(document, json.loads(survey)),
        "cut-sheets.pdf": cut_sheets,
    }


def _sections(framed: Framing, along: Iterable[str]) -> dict[str, bytes | None]:
    """Sections along members, by file name. Raises DocumentRefused for a member that the framing has not."""
    known = [member["id"] for member in framed.document["members"]]
    if unknown := [name for name in along if name not in known]:
        there = f"one of {', '.join(known)}" if known else "no member: none could be laid out"
        raise DocumentRefused([Fault("--along", name, there, "the framing has no such member") for name in unknown])
    return {f"section-{name}.svg": framed.section_along(name).encode() for name in along}


def write_files(folder: Path, files: Mapping[str, bytes | None]) -> None:
    """Write all files into a folder, each whole or not at all; one that is None is removed, since it would be stale."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        if content is None:
            (folder / name).unlink(missing_ok=True)
            continue
        new = folder / f".{name}.new"
        new.write_bytes(content)
        new.replace(folder / name)
