"""`python -m tests.framing.fuzz 5000`: frames so many documents that nobody would send, and prints what came of them.

Whatever the documents are, `frame` answers with a framing that keeps its schema, or refuses with faults whose
pointers (RFC 6901) lead to a value of the document that was sent. Ends with 1 where anything else happened.
"""

from __future__ import annotations

import argparse
import copy
import json
import math
import re
import signal
import sys
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from typing import Any
from xml.etree import ElementTree

import jsonschema
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from framing.engine.design import frame
from framing.engine.documents import DocumentRefused, Fault, json_schema
from tests.framing.fixtures import good_build, good_survey
from tests.framing.odd_roofs import SMALL, odd_build, odd_survey

CHUNK = 250  # examples of one seed
LONGEST_WORK = 120  # seconds; a framing that takes longer is counted as an exception
LONGEST_WORDS = 400  # characters of what a fault reads, expects or adds
ANSWER = jsonschema.Draft202012Validator(json_schema("deck-framing/1"))
FORMATS = ("roof-survey/1", "deck-build/1")

Path = tuple[Any, ...]


# What documents are bent from: small terraces, quick to frame, that between them hold every field.


def _full_survey() -> dict[str, Any]:
    survey = odd_survey(SMALL, outlets=[(59, 40)], lines=[("ridge", [(2, 24), (30, 24), (58, 24)])])
    survey["positions"] |= {"v": [44, 30], "h1": [10, 30], "h2": [16, 30], "h3": [16, 36]}
    return survey | {
        "unit": "in", "surveyed_on": "2026-03-14", "surveyor": "crew of two", "position_sigma": "1/8",
        "datum": {"what": "cut cross in the sill", "where": "left jamb", "photo": "1.jpg"},
        "tape_sigma": "1/8", "level_sigma": "1/16", "closure_tolerance": "3/16",
        "tapes": [["A", "B", "60"], ["A", "C", "76 13/16"], ["r0", "A", 12], ["r1", "r0", 24]],
        "datum_checks": [{"after": 1, "drop": 0}, {"after": 6, "drop": "1/16"}],
        "obstacles": [{"name": "vent", "point": "v", "size": [4, "3 in"], "clearance": 1},
                      {"name": "hatch", "points": ["h1", "h2", "h3"]}],
        "site": {"height_above_grade": "30'", "exposure": "C", "stories": 3, "occupancy": "R-3",
                 "lot_line_distance": 60, "jurisdiction": "a town", "code_edition": "2021", "accessible_route": False},
        "photos": [{"point": "A", "file": "2.jpg", "note": "drain"}],
    }


def _taped_survey() -> dict[str, Any]:
    """The same terrace by tapes alone, two doors in its wall."""
    survey = odd_survey(SMALL)
    for name in "ABCD":
        del survey["positions"][name]
    del survey["threshold"]
    sides = [("A", "B", 60), ("B", "C", 48), ("C", "D", 60), ("D", "A", 48), ("A", "C", 76.8375), ("B", "D", 76.8375)]
    return survey | {
        "tapes": [list(tape) for tape in sides],
        "doors": [{"name": "house", "points": ["t0", "t1"], "clear_width": 32, "swing": "in", "egress": True,
                   "flashing_top": 0, "governs": True}, {"name": "side", "points": ["t2"]}],
    }


def _full_build() -> dict[str, Any]:
    build = odd_build(decking__stock_prices={"96": "12.50", "12'": 18}, joists__stock_prices={"2x8": {"96": "9.75"}})
    build["decking"]["edge_gaps"] = {"A-B": "1/2", "C-B": 1}
    build["access_panels"] = [{"over": "o0", "size": 12}]
    build["labor"] = {"difficulty": {"stair carry": 1.2}, "crew": ["carpenter", "helper"],
                      "rates": {"block": {"low": 0.1, "typical": 0.2, "high": 0.3, "unit": "EA"}}}
    build["loads"]["heavy"] = [{"points": [[10, 10], [20, 10], "r0"], "psf": 60}]
    return build


BASES: dict[str, tuple[Callable[[], Any], Callable[[], Any]]] = {
    "small": (lambda: odd_survey(SMALL), odd_build),
    "full": (_full_survey, _full_build),
    "taped": (_taped_survey, odd_build),
    "whole": (good_survey, good_build),
}


@dataclass(frozen=True)
class Bend:
    """One change of a document (0 the survey, 1 the build) at a path; the empty path is the whole document."""

    document: int
    path: Path
    change: str
    value: Any = None

    def on(self, documents: list[Any]) -> None:
        """Makes the change; a path that earlier changes took away is left alone."""
        owner, path = documents, (self.document, *self.path)
        try:
            for part in path[:-1]:
                owner = owner[part]
            old, last = owner[path[-1]], path[-1]
            if self.change == "put":
                owner[last] = copy.deepcopy(self.value)
            elif self.change == "drop" and self.path:
                del owner[last]
            elif self.change == "twice" and isinstance(owner, list) and self.path:
                owner.append(copy.deepcopy(old))
            elif self.change == "reverse" and isinstance(old, list):
                old.reverse()
            elif self.change == "add" and isinstance(old, dict):
                old[self.value[0]] = copy.deepcopy(self.value[1])
            elif self.change == "times" and isinstance(old, int | float) and not isinstance(old, bool):
                owner[last] = old * self.value
        except (KeyError, IndexError, TypeError, OverflowError):
            return


@dataclass(frozen=True)
class Case:
    """Two documents to frame: a base, its bends, and the form in which each of the two is sent."""

    base: str
    bends: tuple[Bend, ...] = ()
    forms: tuple[tuple[str, int], tuple[str, int]] = (("read", 0), ("read", 0))

    def sources(self) -> tuple[Any, Any]:
        documents = [make() for make in BASES[self.base]]
        for bend in self.bends:
            bend.on(documents)
        survey, build = (_sent(document, *form) for document, form in zip(documents, self.forms, strict=True))
        return survey, build


def _sent(document: Any, form: str, at: int) -> Any:
    """The document as it is sent: read already, or as JSON that is whole or broken at the place `at`."""
    if form == "read":
        return document
    text = json.dumps(document)
    at %= len(text)
    if form == "wide":  # not escaped; a lone surrogate makes bytes that are not UTF-8
        return json.dumps(document, ensure_ascii=False).encode("utf-8", "surrogatepass")
    if form == "key twice":
        place = text.find('"', text.find(", ", at) + 1)
        return text[:place] + '"name": "again", "unit": "mm", ' + text[place:]
    return {
        "text": text, "bytes": text.encode(), "marked": b"\xef\xbb\xbf" + text.encode(), "marked text": "\ufeff" + text,
        "cut": text[:at], "doubled": text + text, "no text": text[:at].encode() + b"\xff" + text[at:].encode(),
        "other text": text.encode("utf-16"), "a character": text[:at] + chr(at % 0x250) + text[at + 1 :],
        "nested": text[:at] + "[" * 500 + text[at:], "long number": text.replace(": 0", ": " + "9" * 5000, 1),
        "spaced": re.sub(r"(?<=[,:]) ", "\n\t ", text),
    }[form]


FORMS = ("text", "bytes", "wide", "marked", "marked text", "key twice", "cut", "doubled", "no text", "other text",
         "a character", "nested", "long number", "spaced")


# Strategies


def _nested(depth: int) -> list[Any]:
    found: list[Any] = []
    for _ in range(depth):
        found = [found]
    return found


NUMBERS = st.sampled_from([
    0, -0.0, 1, -1, 0.5, 1 / 3, 2, 12, 60, 1e-9, 1e-300, 5e-324, -1e-12, 11_999.9, -11_999.9, 12_000, 1e6, 1e9, 1e14,
    1e15, 1e16, 1e300, 10**400, 10**4200, math.nan, math.inf, -math.inf, True,
]) | st.integers() | st.floats()
WORDS = st.sampled_from([
    "A", "B", "C", "D", "t0", "t1", "r0", "r1", "o0", "vent", "nowhere", "in", "ft", "mm", "m", "roof", "ridge",
    "valley", "threshold", "outlet", "paver", "level", "follow-threshold", "fall", "auto", "2x4", "2x12", "wet",
    "lapped", "open", "house", "No.3", "Southern Pine", "5 5/8", "12' 3 1/2\"", "1,200 mm", "-3/4", "1/0", "1e3",
    "", " ", " A", "\x00",
    "\ud800", "\ufeffA", "<&>\"'", "~/~1", "Ａ", "½", "é" * 61, "x" * 300, "y" * 100_000, "\u202e\u0301", "😀",
]) | st.text(max_size=6)
LEAVES = st.none() | st.booleans() | NUMBERS | WORDS
FIELDS = sorted({name for document in (_full_survey(), _full_build()) for section in (document, *document.values())
                 if isinstance(section, dict) for name in section})
KEYS = st.sampled_from(FIELDS) | st.text(max_size=5) | st.sampled_from(["", "~", "a/b", "\ud800", "k" * 1000, "0", "-"])
VALUES = st.recursive(
    LEAVES, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4), max_leaves=8
) | st.sampled_from([_nested(70), _nested(200), {"a": _nested(62)}])
PLACES = st.sampled_from([0, 1e-12, 1e-6, 1 / 32, 1, 24, 30, 48, 47.99, 59.9999, 60, 60, -60, 1000, 11_999, -12_000])
FACTORS = st.sampled_from([-1, 0, 0.5, 2, 10, 0.1, 25.4, 1 / 25.4, 1e-6, 1e3, 1 + 1e-12])


def _places(value: Any, path: Path = ()) -> Iterator[Path]:
    """The way to everything inside a JSON value, eight levels down."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items if len(path) < 8 else ():
        yield (*path, key)
        yield from _places(inner, (*path, key))


@st.composite
def bent(draw: st.DrawFn, wild: bool) -> Case:
    """One to four changes anywhere: wild ones, or such as leave a value of its kind."""
    base = draw(st.sampled_from(["small", "small", "full", "full", "taped", "whole"]))
    documents = [make() for make in BASES[base]]
    bends = []
    for _ in range(draw(st.integers(1, 4))):
        which = draw(st.integers(0, 1))
        document = documents[which]
        # a field first, so that the many readings do not hide the few words
        first = draw(st.sampled_from(sorted(document)))
        path = draw(st.sampled_from([(first,), *((first, *rest) for rest in _places(document[first]))]))
        if wild:
            change = draw(st.sampled_from(["put", "put", "put", "drop", "twice", "add", "reverse"]))
            value = draw(st.tuples(KEYS, VALUES) if change == "add" else VALUES)
        else:
            change = draw(st.sampled_from(["times", "times", "put", "twice", "reverse", "drop"]))
            value = draw(FACTORS if change == "times" else _like(document, path))
        bends.append(Bend(which, path, change, value))
        bends[-1].on(documents)
        if not documents[which]:
            break
    return Case(base, tuple(bends))


def _like(document: Any, path: Path) -> st.SearchStrategy[Any]:
    """Values of the kind that stands at the path."""
    for part in path:
        document = document[part]
    if isinstance(document, bool):
        return st.booleans()
    if isinstance(document, int | float):
        return st.floats(-200, 200).map(lambda v: round(v, 3)) | st.integers(0, 24)
    return WORDS if isinstance(document, str) else st.just([]) | st.just({})


@st.composite
def half_finished(draw: st.DrawFn) -> Case:
    """A survey before its end: any of its sections, tapes, readings and positions left out; the build's options too."""
    base = draw(st.sampled_from(["small", "full", "full", "taped"]))
    survey, build = (make() for make in BASES[base])
    gone: list[tuple[int, Path]] = []
    for which, document in enumerate((survey, build)):
        optional = [(which, path) for path in _places(document) if _may_go(which, path)]
        gone += draw(st.lists(st.sampled_from(optional), max_size=6, unique=True))
    for section in ("tapes", "levels"):
        places = range(len(survey.get(section, ())))
        kept = draw(st.sampled_from(["all", "all", "some", "some", "some", "none"]))
        some = draw(st.sets(st.sampled_from(places))) if kept == "some" and places else set()
        gone += [(0, (section, place)) for place in reversed(places) if kept == "none" or place in some]
    if draw(st.integers(0, 5)) == 0:
        gone.append((0, ("positions", draw(st.sampled_from(sorted(survey["positions"]))))))
    if draw(st.integers(0, 3)) == 0:
        gone += [(0, ("datum_checks",)), (0, ("levels", 0))]
    return Case(base, tuple(Bend(which, path, "drop") for which, path in gone))


def _may_go(document: int, path: Path) -> bool:
    """Whether a document may lack what stands there, as documents.md has it."""
    if document == 1:
        return path[0] in ("name", "unit", "rain", "saw", "access_panels", "labor") and len(path) < 3 or path in {
            ("decking", "species"), ("decking", "direction"), ("decking", "edge_gaps"), ("decking", "stock_prices"),
            ("joists", "moisture"), ("joists", "stock_prices"), ("joists", "minimum_depth"), ("joists", "direction"),
            ("supports", "maximum_spacing"), ("loads", "basis"), ("loads", "heavy"), ("surface", "reveal"),
        }
    needed = ("format", "name", "corners", "levels", "positions", "tapes", "threshold", "doors")
    return path[0] not in needed and len(path) < 3


@st.composite
def degenerate(draw: st.DrawFn) -> Case:
    """Corners, doors, break lines and readings in one line, in one place, crossed, or beyond any roof."""
    base = draw(st.sampled_from(["small", "small", "full", "taped"]))
    survey = BASES[base][0]()
    bends = []
    points = sorted(survey["positions"])
    for name in draw(st.lists(st.sampled_from([*points[:4], *points]), max_size=8, unique=True)):  # corners come first
        place = draw(st.sampled_from(points).map(survey["positions"].get) | st.tuples(PLACES, PLACES).map(list))
        bends.append(Bend(0, ("positions", name), "put", place))
    if draw(st.booleans()):
        some = st.lists(st.sampled_from([*survey["corners"], *points]), min_size=3, max_size=8)
        bends.append(Bend(0, ("corners",), "put", draw(st.permutations(survey["corners"]) | some)))
        bends.append(Bend(0, ("edges",), "put", []))
        bends.append(Bend(1, ("decking", "edge_gaps"), "put", {}))
    if draw(st.booleans()):
        ends = st.sampled_from([*survey["corners"], *points, "T"])
        bends.append(Bend(0, ("tapes",), "put", draw(st.lists(st.tuples(ends, ends, PLACES).map(list), max_size=9))))
    if draw(st.integers(0, 2)) == 0:
        scale = draw(st.sampled_from([0, 1e-9, 1e-3, 0.2, 1.5, 3, 5, 300]))
        bends += [Bend(0, ("positions", name, axis), "times", scale) for name in points for axis in (0, 1)]
    for place, _ in enumerate(survey.get("tapes", ())):
        if draw(st.integers(0, 3)) == 0:
            bends.append(Bend(0, ("tapes", place, 2), "times", draw(st.floats(0.9, 1.1) | FACTORS)))
    for place in draw(st.lists(st.integers(0, len(survey["levels"]) - 1), max_size=4, unique=True)):
        bends.append(Bend(0, ("levels", place, "drop"), "put", draw(PLACES)))
    return Case(base, tuple(bends))


@st.composite
def arbitrary(draw: st.DrawFn) -> Case:
    """Any JSON value in place of a document, or a document of known fields with any values in them."""
    bends = []
    for which in draw(st.sampled_from([(0,), (1,), (0, 1)])):
        value = draw(VALUES | st.dictionaries(KEYS, VALUES, max_size=6))
        if isinstance(value, dict) and draw(st.booleans()):
            value = {**BASES["full"][which](), **value} if draw(st.booleans()) else {"format": FORMATS[which], **value}
        bends.append(Bend(which, (), "put", value))
    return Case("small", tuple(bends))


@st.composite
def cases(draw: st.DrawFn) -> Case:
    """Any of these, sent as it is read or as JSON text, some of it broken."""
    wild, mild = bent(wild=True), bent(wild=False)
    case = draw(st.one_of(wild, wild, mild, half_finished(), degenerate(), arbitrary()))
    if draw(st.booleans()):
        form = st.tuples(st.sampled_from(FORMS[:5]) | st.sampled_from(FORMS), st.integers(0, 10_000))
        case = replace(case, forms=(draw(form), draw(form)))
    return case


# What came of a case


@dataclass(frozen=True)
class Outcome:
    """`kind` is refused, framed, stopped or exception; `lost` are faults whose pointers lead nowhere."""

    kind: str
    what: str = ""  # of an exception: its kind and where it was raised
    lost: tuple[str, ...] = ()
    amiss: tuple[str, ...] = ()  # words that are missing or too long, an answer that breaks its schema
    seconds: float = 0.0

    @property
    def is_well(self) -> bool:
        return self.kind != "exception" and not self.lost and not self.amiss


class TooLong(Exception):
    """The work took longer than anybody waits."""


def outcome(case: Case) -> Outcome:
    survey, build = case.sources()
    start = time.perf_counter()
    try:
        framed = frame(survey, build)
    except DocumentRefused as refused:
        found = _of_refusal(refused, survey, build)
    except Exception as error:  # whatever it is, it is what is looked for
        found = Outcome("exception", _raised(error))
    else:
        found = Outcome("stopped" if framed.stops else "framed", amiss=tuple(_amiss(framed)))
    return replace(found, seconds=time.perf_counter() - start)


def _raised(error: Exception) -> str:
    frames = traceback.extract_tb(error.__traceback__)
    own = [f for f in frames if "/framing/" in f.filename] or list(frames)
    where = f"{own[-1].filename.rsplit('/', 1)[-1]}:{own[-1].lineno} {own[-1].name}"
    return f"{type(error).__name__} at {where}: {str(error)[:160]}"


def _of_refusal(refused: DocumentRefused, survey: Any, build: Any) -> Outcome:
    sources = dict(zip(FORMATS, (survey, build), strict=True))
    amiss = [f"words of {fault}"[:300] for fault in refused.faults if not _is_told(fault)]
    if not refused.faults:
        amiss.append("a refusal without faults")
    json.dumps(refused.as_json(), ensure_ascii=False).encode()
    lost = tuple(f"{fault.document} {fault.pointer}"[:200] for fault in refused.faults
                 if not resolves(sources[fault.document], fault.pointer))
    return Outcome("refused", lost=lost, amiss=tuple(amiss))


def _is_told(fault: Fault) -> bool:
    return all(text.strip() and len(text) <= LONGEST_WORDS for text in (fault.read, fault.expected, fault.detail))


def resolves(source: Any, pointer: str) -> bool:
    """Whether the pointer leads to a value of the document that was sent, by RFC 6901 as read here."""
    if pointer == "":
        return True
    if isinstance(source, str | bytes):
        try:
            text = source.removeprefix("\ufeff") if isinstance(source, str) else source
            source = json.loads(text, parse_int=float)  # as int, thousands of digits are an error
        except (ValueError, RecursionError):
            return False
    if not pointer.startswith("/"):
        return False
    for part in pointer[1:].split("/"):
        if re.search("~(?![01])", part):
            return False
        key = part.replace("~1", "/").replace("~0", "~")
        if isinstance(source, list | tuple) and re.fullmatch("0|[1-9][0-9]*", key) and int(key) < len(source):
            source = source[int(key)]
        elif isinstance(source, dict) and key in source:
            source = source[key]
        else:
            return False
    return True


def _amiss(framed: Any) -> Iterator[str]:
    try:
        json.dumps(framed.document, allow_nan=False).encode()
        json.dumps(framed.document, ensure_ascii=False).encode()
    except ValueError as error:
        yield f"the answer is no JSON: {error}"
    yield from (f"schema: {'/'.join(map(str, e.path))}: {e.message[:160]}" for e in ANSWER.iter_errors(framed.document))
    for drawing in (framed.plan_svg, framed.section_svg):
        try:
            ElementTree.fromstring(drawing)
        except ElementTree.ParseError as error:
            yield f"a drawing is no XML: {error}"


# The command


@dataclass
class Tally:
    counts: Counter[str] = field(default_factory=Counter)
    worst: dict[str, Case] = field(default_factory=dict)  # by what went wrong, the smallest case
    slowest: tuple[float, str] = (0.0, "")

    def add(self, case: Case, found: Outcome) -> None:
        self.counts.update(["examples", found.kind])
        self.counts.update({"pointers that lead nowhere": len(found.lost), "words or answers amiss": len(found.amiss)})
        self.slowest = max(self.slowest, (found.seconds, f"{found.kind}, {_story(case)}"))
        for key in _signatures(found):
            self.keep(key, case)

    def keep(self, key: str, case: Case) -> None:
        if key not in self.worst or len(repr(case)) < len(repr(self.worst[key])):
            self.worst[key] = case

    def join(self, other: Tally) -> None:
        self.counts.update(other.counts)
        self.slowest = max(self.slowest, other.slowest)
        for key, case in other.worst.items():
            self.keep(key, case)


def _signatures(found: Outcome) -> list[str]:
    """What went wrong, places in lists left out so that the same fault counts once."""
    raised = [f"exception: {found.what}"] if found.kind == "exception" else []
    told = [*raised, *(f"pointer: {text}" for text in found.lost), *(f"amiss: {text}" for text in found.amiss)]
    return [re.sub(r"/\d+(?=/|$)", "/#", ": ".join(text.split(": ")[:2])) for text in told]


def _story(case: Case) -> str:
    bends = "; ".join(
        f"{FORMATS[bend.document]}/{'/'.join(map(str, bend.path))} {bend.change}"
        + (f" {_short(bend.value)}" if bend.change in ("put", "add", "times") else "") for bend in case.bends
    )
    return f"{case.base} sent as {case.forms[0][0]}, {case.forms[1][0]}: {bends}"


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) < 200 else text[:200] + "…"


def _smaller(case: Case, key: str) -> Case:
    """The case with the fewest bends, sent as plainly as can be, that goes wrong in the same way."""
    plain = replace(case, forms=Case.forms)
    case = plain if key in _signatures(outcome(plain)) else case
    for bend in reversed(case.bends):
        less = replace(case, bends=tuple(b for b in case.bends if b is not bend))
        if key in _signatures(outcome(less)):
            case = less
    return case


def _strict() -> None:
    """As in the tests: what numpy only warns of counts as an exception; nothing runs for ever."""
    warnings.simplefilter("error", RuntimeWarning)

    def stop(*_: Any) -> None:
        raise TooLong(f"not done within {LONGEST_WORK} s")

    signal.signal(signal.SIGALRM, stop)


def run(job: tuple[int, int]) -> Tally:
    """The tally of so many examples of one seed."""
    number, count = job
    _strict()
    tally = Tally()

    @seed(number)
    @settings(max_examples=count, deadline=None, database=None, phases=[Phase.generate],
              suppress_health_check=list(HealthCheck))
    @given(cases())
    def frame_it(case: Case) -> None:
        signal.alarm(LONGEST_WORK)
        try:
            tally.add(case, outcome(case))
        finally:
            signal.alarm(0)

    frame_it()
    return tally


def main(arguments: Iterable[str]) -> int:
    parser = argparse.ArgumentParser(prog="tests.framing.fuzz")
    parser.add_argument("count", type=int, nargs="?", default=5000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=2)
    given_ = parser.parse_args(list(arguments))
    start = time.perf_counter()
    chunks = [(given_.seed + i, min(CHUNK, given_.count - i * CHUNK)) for i in range(math.ceil(given_.count / CHUNK))]
    tally = Tally()
    with ProcessPoolExecutor(given_.jobs) as pool:
        for part in pool.map(run, chunks):
            tally.join(part)
    rows = ("examples", "refused", "framed", "stopped", "exception", "pointers that lead nowhere",
            "words or answers amiss")
    for name in rows:
        print(f"{name:<32}{tally.counts[name]:>8}")
    print(f"{'seconds':<32}{time.perf_counter() - start:>8.0f}")
    print(f"{'slowest example, seconds':<32}{tally.slowest[0]:>8.1f}  {tally.slowest[1][:600]}")
    if tally.worst:
        _strict()
    for key, case in sorted(tally.worst.items()):
        print(f"\n{key}\n  {_story(_smaller(case, key))}")
    return int(bool(tally.worst))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
