"""Every number on a proposal is the snapshot's, and every number of the snapshot that is to be printed is printed.

The PDF is read back with pypdf and walked number by number; what stands in the drawings is read from their own text.
"""

import io
import re
from collections import Counter
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pypdf
import pytest

from estimating.service.pdf import html_to_pdf
from framing.engine import length
from quotes.paper.rendering import filled, proposal_html
from tests.quotes.rich import enriched

MONEY = re.compile(r"[−-]?\$\d[\d,]*\.\d\d")
NUMBER = re.compile(r"(?<![\w.,/-])\d[\d,]*(?:\.\d+)?(?:/\d+)?(?![\w/]|[.,]\d)")
NAME, SITE = "Odette Marlowe", "418 Fictional Quay #4R, Sampleton ST"
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
          "December")


def leaves(value: Any) -> Iterator[Any]:
    """Everything in a document that is no list and no object."""
    if isinstance(value, dict):
        for inner in value.values():
            yield from leaves(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from leaves(inner)
    else:
        yield value


def amounts_of(snapshot: dict[str, Any]) -> set[Decimal]:
    """Every amount that a snapshot keeps as text with cents, or writes with its sign in a sentence."""
    found = set()
    for leaf in leaves(snapshot):
        if isinstance(leaf, str):
            if re.fullmatch(r"-?\d+\.\d\d", leaf):
                found.add(abs(Decimal(leaf)))
            found |= {read(amount) for amount in MONEY.findall(leaf)}
    return found


def read(amount: str) -> Decimal:
    return abs(Decimal(re.sub(r"[$,−-]", "", amount)))


def numbers_of(snapshot: dict[str, Any], drawings: str) -> set[str]:
    """Every number that a snapshot or its drawings hold, as it may be printed: as it is, rounded, or as per cent."""
    found = set(NUMBER.findall(re.sub(r"<[^>]+>", " ", drawings)))
    for leaf in leaves(snapshot):
        if isinstance(leaf, str):
            found |= {number.rstrip(",") for number in re.findall(r"\d[\d,]*(?:\.\d+)?(?:/\d+)?", leaf)}
        if isinstance(leaf, bool) or leaf is None:
            continue
        try:
            value = Decimal(str(leaf))
        except ArithmeticError:
            continue
        for printed in (value, value * 100):  # a share is printed as per cent
            found |= {f"{abs(printed):,.{places}f}" for places in range(3)} | {f"{abs(printed).normalize():f}"}
    return found


def counted(snapshot: dict[str, Any]) -> set[str]:
    """What a proposal counts in the framing: members of a role, pads, boards that lift out, its own sections."""
    framing = snapshot["framing"]
    counts = [*Counter(member["role"] for member in framing["members"]).values(), len(framing["supports"]),
              sum(board["kind"] == "panel" for board in framing["boards"]), len(snapshot.get("options") or ()),
              sum(note["status"] in ("stop", "caution") for note in snapshot["notes"]) - 5]
    payments = range(1, len(snapshot["estimate"]["payments"]) + 1)
    return {str(count) for count in (*counts, *payments, *range(1, 11))}


def inches_of(snapshot: dict[str, Any]) -> set[str]:
    """Depths and steps in the scope to the finest fraction that a tape has; feet and inches of the longest stick."""
    framing = snapshot["framing"]
    depths = [depth for member in framing["members"] for _, depth in member["profile"]]
    told = [min(depths), max(depths), *framing["plane"]["reveals"].values()]
    stick = length.read(snapshot["survey"]["access"]["longest_stick"], "in")
    return {part for value in told for part in length.write(value).split()} | \
        set(re.findall(r"\d+", length.write(stick, feet=True)))


@pytest.fixture(params=["as issued", "with everything"])
def printed(request, scenario):
    """A snapshot, its drawings and the text of its proposal as pypdf reads it."""
    revision = scenario.revision
    snapshot = revision.document if request.param == "as issued" else enriched(revision.document)
    page = filled(proposal_html(snapshot, revision.plan_svg, revision.section_svg), name=NAME, site=SITE,
                  sha256="f" * 64)
    pages = pypdf.PdfReader(io.BytesIO(html_to_pdf(page))).pages
    text = "\n".join(re.sub(r"page \d+ of \d+|f{64}", " ", sheet.extract_text()) for sheet in pages)
    return snapshot, revision.plan_svg + revision.section_svg, text


def test_every_number_on_the_proposal_is_the_snapshots_and_every_price_of_it_is_printed(printed):
    snapshot, drawings, text = printed
    found = [read(amount) for amount in MONEY.findall(text)]
    assert len(found) > 15
    assert set(found) - amounts_of(snapshot) == set()

    told = re.sub(rf"{re.escape(NAME)}|418 Fictional Quay #4R", " ", MONEY.sub(" ", text))
    told = re.sub(rf"(?:{'|'.join(MONTHS)}) \d+, \d{{4}}(?:, \d\d:\d\d)?", " ", told)
    known = numbers_of(snapshot, drawings) | counted(snapshot) | inches_of(snapshot)
    numbers = [number.rstrip(",") for number in NUMBER.findall(told)]
    assert len(numbers) > 150
    assert sorted({number for number in numbers if number not in known}) == []

    estimate = snapshot["estimate"]
    must = [estimate["chain"]["price"], *(group["amount"] for group in estimate["groups"]),
            *(payment["amount"] for payment in estimate["payments"])]
    for option in snapshot.get("options") or ():
        must += [option["price"], option["difference"].lstrip("-"),
                 *(payment["amount"] for payment in option["estimate"]["payments"])]
    counts = Counter(found)
    for amount, times in Counter(Decimal(value) for value in must).items():
        assert counts[amount] >= times, amount


def test_every_note_is_printed_word_for_word(printed):
    snapshot, _, text = printed
    flat = re.sub(r"\s+", "", text)
    notes = [note for note in snapshot["notes"] if note.get("edited") != "silenced"]
    assert len(notes) > 30
    for note in notes:
        for part in (note["text"], f"Decides: {note['decided_by']}.", f"ource: {note['source']}."):
            assert re.sub(r"\s+", "", part) in flat, note["key"]


def test_the_extractor_finds_a_number_that_is_not_the_snapshots(scenario):
    """That the walk above can fail: one cent, one inch more."""
    snapshot = scenario.revision.document
    assert read("$23,033.90") not in amounts_of(snapshot) and "23,033.90" not in numbers_of(snapshot, "")
    assert "39.6" not in numbers_of(snapshot, "") | counted(snapshot)  # the water's weight is 39.5 psf
    assert NUMBER.findall("7.60 in, 1/8 in, 6.9 J10 B-C 12,000 lb 5/4x6 39.5") == ["7.60", "1/8", "6.9", "12,000",
                                                                                  "39.5"]
