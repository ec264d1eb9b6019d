"""Tests of the proposal with everything it can hold, of the office copy, and of names that are longer than a line."""

import re
from html import escape
from html.parser import HTMLParser

import pypdfium2
import pytest

from estimating.service.pdf import html_to_pdf
from quotes.paper import rendering
from quotes.paper.notices import printed
from quotes.paper.rendering import (
    body_of,
    care_sheet_html,
    filled,
    material_list_html,
    office_copy_html,
    proposal_html,
    templates_version,
)
from tests.quotes.rich import LONG_NAME, LONG_SITE, enriched

SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><title>A square</title></svg>'


@pytest.fixture
def snapshot(scenario):
    return enriched(scenario.revision.document)


def words(page: str) -> str:
    """What is read on a page, spaces made one."""
    return " ".join(re.sub(r"<[^>]+>", " ", body_of(page)).split())


class Elements(HTMLParser):
    """The elements of a page in order, each with its attributes."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))


def every_paper(snapshot) -> dict[str, str]:
    return {"proposal": proposal_html(snapshot, SVG, SVG), "office copy": office_copy_html(snapshot, SVG, SVG),
            "care sheet": care_sheet_html(snapshot, SVG), "material list": material_list_html(snapshot)}


def test_options_stand_with_name_price_difference_what_differs_and_their_own_notes(snapshot):
    said = words(proposal_html(snapshot, "", ""))
    assert "2. Options and price" in said
    price = snapshot["options"][0]["price"]
    assert f"A Ipe instead of cumaru Ipe boards of the same size Rooftop deck, 295 ft², cumaru boards " \
           f"+$1,276.66 ${float(price):,.2f}" in said
    assert "−$310.10" in said
    assert "What option A brings with it Boards of option A come in two lots." in said
    assert "I choose one of these: As described in section 1, at" in said


def test_each_options_payments_are_printed_and_add_up_to_its_price(snapshot):
    said = words(proposal_html(snapshot, "", ""))
    for option in snapshot["options"]:
        assert f"With option {option['key']}, {option['name']}." in said
        amounts = [f"${float(payment['amount']):,.2f}" for payment in option["estimate"]["payments"]]
        assert all(amount in said for amount in amounts)


def test_without_options_nothing_is_said_of_any(scenario):
    said = words(proposal_html(scenario.revision.document, "", ""))
    assert "2. Price" in said and "ption A" not in said and "I choose" not in said and "What changed" not in said


def test_what_changed_since_the_last_revision_stands_with_its_reason(snapshot):
    said = words(proposal_html(snapshot, "", ""))
    assert "What changed since revision 1 The owner asked for wider boards by the door." in said
    assert "Boards cumaru 5/4x4 cumaru 5/4x6" in said


def test_an_acknowledgement_prints_with_its_name_and_reason(snapshot):
    said = words(proposal_html(snapshot, "", ""))
    assert "Caution, acknowledged by Rosalind Harrow." in said
    assert "Rosalind Harrow: The engineer has the drawing and answers before delivery." in said
    assert "March 16, 2026, 11:00 (America/New_York)" in said


def test_a_caution_that_nobody_has_acknowledged_says_so(snapshot):
    assert "Caution, to be acknowledged." in words(proposal_html(snapshot, "", ""))


def test_a_silenced_note_is_left_off_the_proposal_and_stands_in_the_office_copy_with_its_reason(snapshot):
    silenced = snapshot["notes"][-1]["text"]
    assert silenced not in words(proposal_html(snapshot, "", ""))
    said = words(office_copy_html(snapshot, "", ""))
    assert f"Silenced. {silenced}" in said and "There is no old deck on this roof. Rosalind Harrow" in said


def test_a_reworded_note_prints_as_it_is_now_and_the_office_copy_has_what_it_was(snapshot):
    original = snapshot["notes"][-2]["original"]
    assert original not in words(proposal_html(snapshot, "", ""))
    said = words(office_copy_html(snapshot, "", ""))
    assert f"Reworded. Railings, planters, benches and lighting. {original}" in said


def test_a_silenced_caution_is_not_among_those_to_know_first(snapshot):
    grave = next(note for note in snapshot["notes"] if note["key"] == "blocked-primary-depth")
    told = escape(grave["text"])
    assert proposal_html(snapshot, "", "").count(told) == 2  # there and in its section
    grave["edited"] = "silenced"
    assert told not in proposal_html(snapshot, "", "")


def test_a_notice_is_printed_in_its_size_and_weight_with_its_blanks_named(snapshot):
    page = proposal_html(snapshot, "", "")
    assert '<p class="pt-12 bold">Dated <span class="blank">transaction date</span>.</p>' in page
    assert "Handed over in 2 copies" in page and "{{" not in page
    assert '<p class="pt-10">Those who help to improve your property may have a claim on it.</p>' in page


def test_an_unfilled_notice_names_what_is_missing_and_shows_no_text(snapshot):
    said = words(proposal_html(snapshot, "", ""))
    assert "To be filled in by the office before this proposal may be sent. the name of the insurer its tele" in said
    assert "Insured by" not in said


@pytest.mark.parametrize(("asked", "printed_in"), [(8, "pt-8"), (10, "pt-10"), (10.5, "pt-11"), (24, "pt-24")])
def test_a_size_is_never_printed_smaller_than_it_was_asked_for(asked, printed_in):
    assert printed({"title": "x", "text": "y", "point_size": asked})["type"] == printed_in


@pytest.mark.parametrize("asked", [7, 25])
def test_a_size_that_the_paper_has_no_type_for_is_refused(asked):
    with pytest.raises(ValueError, match="expected 8 to 24"):
        printed({"title": "x", "text": "y", "point_size": asked})


def test_the_office_copy_shows_every_line_and_the_way_from_cost_to_price(snapshot):
    said = words(office_copy_html(snapshot, "", ""))
    assert "Office copy, not for the customer." in said
    for line in snapshot["estimate"]["lines"]:
        assert line["item"] in said and f"${float(line['cost']):,.2f}" in said
    chain = snapshot["estimate"]["chain"]
    for step in ("net", "direct", "contingency", "overhead", "profit", "sale", "price"):
        assert f"${float(chain[step]):,.2f}" in said, step
    assert "20 % of everything before it" in said and "Trade list v1, from 2026-03-01" in said
    assert "Option B: A border of two courses." in said


def test_no_price_stands_on_what_the_crew_and_the_owner_keep(snapshot):
    for page in (care_sheet_html(snapshot, SVG), material_list_html(snapshot)):
        assert "$" not in words(page) and "price" not in words(page).lower()


def test_the_material_list_has_every_order_under_its_supplier(snapshot):
    said = words(material_list_html(snapshot))
    assert "Sample Timber Yard" in said and "Bringing it up" in said and "Deliveries to the curb" in said
    for line in snapshot["estimate"]["lines"]:
        if line["kind"] == "material":
            assert line["description"] in said and line["came_from"]["sku"] in said


def test_the_care_sheet_says_what_to_clean_what_lifts_out_and_whom_to_call(snapshot):
    said = words(care_sheet_html(snapshot, SVG))
    for expected in ("Scupper S1", "3 boards lift out: P50, P52, P54", "4 boards lift out: P1, P3, P5, P7",
                     "3/8 in high at the tightest", "Before winter and when the leaves are down", "oil it again",
                     "40 psf", "dwelling-40", "555-0117", "Do not lean over the parapet", "42 in"):
        assert expected in said, expected


def test_composite_boards_are_not_oiled(snapshot):
    snapshot["build"]["decking"]["species"] = "composite"
    said = words(care_sheet_html(snapshot, SVG))
    assert "neither oil nor sanding" in said and "oil it again" not in said


def test_the_bodies_have_neither_style_nor_script_of_their_own(snapshot):
    for name, page in every_paper(snapshot).items():
        found = Elements(body_of(page)).found
        assert found, name
        assert not [tag for tag, _ in found if tag in ("script", "style", "link", "iframe")], name
        assert not [attrs for _, attrs in found if any(key == "style" or key.startswith("on") for key in attrs)], name


def test_headings_never_skip_a_level(snapshot):
    for name, page in every_paper(snapshot).items():
        levels = [int(tag[1]) for tag, _ in Elements(page).found if re.fullmatch("h[1-6]", tag)]
        assert levels[0] == 1 and levels.count(1) == 1, name
        assert all(after <= before + 1 for before, after in zip(levels, levels[1:], strict=False)), name


def test_no_paper_says_that_anything_complies(snapshot):
    for name, page in every_paper(snapshot).items():
        assert not re.search(r"compl(ies|y\b|iant)", words(page), re.I), name


def test_the_version_of_the_templates_changes_with_any_byte_of_theirs(settings, tmp_path):
    for folder in ("templates/paper", "quotes/static/fonts"):
        (tmp_path / folder).mkdir(parents=True)
        (tmp_path / folder / "a").write_bytes(b"1")
    settings.ROOT = tmp_path
    version = templates_version.__wrapped__
    before = version()
    assert version() == before
    (tmp_path / "quotes/static/fonts/a").write_bytes(b"2")
    assert version() != before
    (tmp_path / "quotes/static/fonts/a").write_bytes(b"1")
    assert version() == before
    (tmp_path / "templates/paper/a").rename(tmp_path / "templates/paper/b")
    assert version() != before


def test_a_paper_size_that_is_not_known_is_refused(snapshot):
    with pytest.raises(ValueError, match="'a3' was read; expected one of letter, a4"):
        proposal_html({**snapshot, "paper_size": "a3"}, "", "")


# ISO 216: A4 is 210 x 297 mm; US letter is 8.5 x 11 in. Points of 1/72 in.
SIZES = {"letter": (612.0, 792.0), "a4": (595.28, 841.89)}
MARGIN, FOOT = 0.95 * 72, 0.95 * 72  # the papers' own margins at the sides and below


@pytest.mark.parametrize(("paper", "size"), [
    ("office copy", "letter"), ("office copy", "a4"), ("care sheet", "a4"), ("material list", "letter"),
])  # the office copy is the proposal and more
def test_the_longest_names_stay_inside_the_margins_and_never_lie_on_one_another(scenario, monkeypatch, size, paper):
    """Read back character by character; without drawings, whose words may stand on end."""
    monkeypatch.setattr(rendering, "figures", lambda *_: [])
    snapshot = {**enriched(scenario.revision.document, long=True), "paper_size": size}
    page = filled(every_paper(snapshot)[paper], name=LONG_NAME, site=LONG_SITE, sha256="0" * 64)
    wide, high = SIZES[size]
    document = pypdfium2.PdfDocument(html_to_pdf(page))
    assert len(document) > 1
    for sheet in document:
        assert sheet.get_size() == pytest.approx((wide, high), abs=0.5)
        text = sheet.get_textpage()
        found = [text.get_charbox(place) for place in range(text.count_chars())
                 if text.get_text_range(place, 1).strip()]
        boxes = [box for box, before in zip(found, [None, *found], strict=False) if box != before]  # a ligature is one
        assert min(box[0] for box in boxes) >= MARGIN - 1 and max(box[2] for box in boxes) <= wide - MARGIN + 1
        body = [box for box in boxes if box[1] > FOOT]
        assert not _on_one_another(body)


def _lie_on_one_another(a, b) -> bool:
    """Whether two characters share more than a quarter of the smaller one."""
    across, up = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
    least = min((a[2] - a[0]) * (a[3] - a[1]), (b[2] - b[0]) * (b[3] - b[1]))
    return across > 0 and up > 0 and across * up > least / 4


def _on_one_another(boxes) -> list:
    """Any two characters of a page that lie on one another, looked for in squares of 12 points."""
    grid: dict[tuple[int, int], list] = {}
    for box in boxes:
        grid.setdefault((int(box[0] // 12), int(box[1] // 12)), []).append(box)
    return [(a, b) for near in grid.values() for i, a in enumerate(near) for b in near[:i] if _lie_on_one_another(a, b)]
