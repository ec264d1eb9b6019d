"""Every paper read back against ISO 14289-1:2014 (PDF/UA-1), clause by clause, with pikepdf.

Clauses are cited as the PDF Association's Matterhorn Protocol 1.1 restates them (V2).
"""

import functools
import io
import re
from html import unescape

import pikepdf
import pytest

from estimating.service.pdf import html_to_pdf
from framing.papers import cut_sheets_html
from quotes.paper.rendering import body_of, care_sheet_html, filled, material_list_html, office_copy_html, proposal_html
from quotes.paper.signed import signed_html
from tests.quotes.conftest import _terrace, framed_once, scenario  # noqa: F401 - the invented terrace
from tests.quotes.rich import RECORD, enriched

TITLES = {"proposal": "Proposal Q00001", "office": "Office copy of proposal Q00001", "cut sheets": "Cut sheets Q00001",
          "materials": "Material list Q00001", "care": "Care sheet Q00001", "signed": "Proposal Q00001, revision 2"}
_pdf_of = functools.cache(html_to_pdf)


@pytest.fixture(params=TITLES)
def paper(request, scenario):  # noqa: F811
    """The name of a paper, its HTML and the PDF of it."""
    revision = scenario.revision
    snapshot, drawings = enriched(revision.document), (revision.plan_svg, revision.section_svg)
    proposal = proposal_html(snapshot, *drawings)
    page = {
        "proposal": lambda: proposal,
        "office": lambda: office_copy_html(snapshot, *drawings),
        "cut sheets": lambda: cut_sheets_html(snapshot["framing"], snapshot["survey"], snapshot["build"],
                                              paper="Cut sheets Q00001, revision 2", mark="0" * 64,
                                              plan_svg=drawings[0]),
        "materials": lambda: material_list_html(snapshot),
        "care": lambda: care_sheet_html(snapshot, drawings[0]),
        "signed": lambda: signed_html(proposal, RECORD),
    }[request.param]()
    page = filled(page, name="Odette Marlowe", site="418 Fictional Quay #4R", sha256="0" * 64)
    with pikepdf.open(io.BytesIO(_pdf_of(page))) as pdf:
        yield request.param, page, pdf


def elements(pdf) -> list[tuple[pikepdf.Dictionary, tuple[str, ...]]]:
    """Every structure element in reading order, with the kinds of those it stands in."""
    found = []

    def walk(node, parents):
        for kid in node if isinstance(node, pikepdf.Array) else [node]:
            if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
                found.append((kid, parents))
                if "/K" in kid:
                    walk(kid.K, (*parents, str(kid.S)))

    walk(pdf.Root.StructTreeRoot.K, ())
    return found


def kinds(pdf) -> list[str]:
    return [str(element.S) for element, _ in elements(pdf)]


def test_it_says_that_it_is_pdf_ua_1_and_is_tagged(paper):
    """Clauses 5 (identification), 7.1 (Marked, DisplayDocTitle, dc:title), 7.2 (language)."""
    name, _, pdf = paper
    assert bool(pdf.Root.MarkInfo.Marked) is True
    assert bool(pdf.Root.ViewerPreferences.DisplayDocTitle) is True
    assert str(pdf.Root.Lang) == "en"
    with pdf.open_metadata() as metadata:
        assert metadata["pdfuaid:part"] == "1"
        assert metadata["dc:title"].startswith(TITLES[name])


def test_all_content_is_tagged_or_an_artifact(paper):
    """Clause 7.1: every piece of a page is in the tag tree or marked as an artifact; footers are artifacts (7.8)."""
    _, _, pdf = paper
    read = {}
    for element, _ in elements(pdf):
        for kid in element.get("/K", []) if isinstance(element.get("/K"), pikepdf.Array) else []:
            if not isinstance(kid, pikepdf.Object):
                read.setdefault(element.Pg.objgen, set()).add(int(kid))
    for page in pdf.pages:
        depth, footers, marks = 0, 0, set()
        for operands, operator in pikepdf.parse_content_stream(page):
            match str(operator):
                case "BMC" | "BDC":
                    depth += 1
                    footers += "/Footer" in str(operands)
                    if str(operands[0]) != "/Artifact":
                        marks.add(int(operands[1].MCID))
                case "EMC":
                    depth -= 1
                case "Tj" | "TJ" | "Do" | "f" | "S" | "B" | "f*":
                    assert depth > 0, f"{operator} is neither tagged nor an artifact"
        assert footers >= 2  # number with revision and hash; page of pages
        assert marks == read.get(page.obj.objgen, set())


def test_every_figure_has_a_text_in_its_stead_and_a_place_on_its_page(paper):
    """Clause 7.3: Alt; ISO 32000-1, 14.8.5.4: BBox in the page's own units."""
    name, page, pdf = paper
    figures = [element for element, _ in elements(pdf) if str(element.S) == "/Figure"]
    assert len(figures) == len(re.findall(r"<img |<svg ", body_of(page)))
    assert bool(figures) == (name != "materials")
    for figure in figures:
        assert len(str(figure.Alt).split()) >= 2
        left, bottom, right, top = (float(value) for value in figure.A.BBox)
        _, _, wide, high = (float(value) for value in figure.Pg.MediaBox)
        assert 0 <= left < right <= wide and 0 <= bottom < top <= high


def test_tables_have_header_cells_with_a_scope_and_cells_that_name_their_headers(paper):
    """Clause 7.5: TH with Scope, or IDs that the Headers of each TD name."""
    _, _, pdf = paper
    assert kinds(pdf).count("/Table") >= 3
    for table, _ in (found for found in elements(pdf) if str(found[0].S) == "/Table"):
        cells = [element for element, _ in _inside(table)]
        heads = [cell for cell in cells if str(cell.S) == "/TH"]
        names = {str(cell.ID) for cell in heads}
        assert heads and len(names) == len(heads)
        for head in heads:
            assert str(head.A.Scope) in ("/Row", "/Column")
        for cell in (cell for cell in cells if str(cell.S) == "/TD"):
            assert {str(name) for name in cell.A.Headers} and {str(name) for name in cell.A.Headers} <= names


def _inside(table):
    found = []

    def walk(node):
        for kid in node if isinstance(node, pikepdf.Array) else [node]:
            if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
                found.append((kid, ()))
                if "/K" in kid:
                    walk(kid.K)

    walk(table.K)
    return found


def test_columns_and_rows_are_headed_by_what_stands_over_and_before_them(paper):
    _, _, pdf = paper
    for element, parents in elements(pdf):
        if str(element.S) == "/TH":
            assert str(element.A.Scope) == ("/Column" if "/THead" in parents else "/Row")


def test_headings_begin_with_one_title_and_skip_no_level(paper):
    """Clause 7.4.2."""
    _, page, pdf = paper
    levels = [int(kind[2]) for kind in kinds(pdf) if re.fullmatch("/H[1-6]", kind)]
    assert levels == [int(level) for level in re.findall(r"<h([1-6])", body_of(page))]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after <= before + 1 for before, after in zip(levels, levels[1:], strict=False))


def test_lists_are_lists_of_items_with_bodies(paper):
    """Clause 7.6."""
    _, _, pdf = paper
    for element, parents in elements(pdf):
        if str(element.S) == "/LI":
            assert parents[-1] == "/L"
        if str(element.S) == "/LBody":
            assert parents[-1] == "/LI"


def test_every_font_is_embedded_with_a_map_to_unicode(paper):
    """Clauses 7.21.4.1 (embedded) and 7.21.7 (Unicode); the fonts are the project's own, no system's."""
    _, _, pdf = paper
    names = set()
    for item in pdf.objects:
        if isinstance(item, pikepdf.Dictionary) and item.get("/Type") == "/Font" and "/DescendantFonts" in item:
            described = item.DescendantFonts[0].FontDescriptor
            assert "/FontFile2" in described or "/FontFile3" in described
            assert "/ToUnicode" in item
            names.add(str(item.BaseFont).partition("+")[2])
    assert names and all(name.startswith("Deck-") for name in names), names


def test_what_is_read_stands_in_the_order_of_the_html(paper):
    """Clause 7.1: logical reading order. The text of the tags, page by page, is that of the HTML.

    Heads of tables are held apart, since a table that goes on overleaf has its head again.
    """
    _, page, pdf = paper
    body = re.sub(r"<svg .*?</svg>|<!--.*?-->", " ", body_of(page), flags=re.S)
    heads = re.findall(r"<thead>.*?</thead>", body, flags=re.S)
    pieces = _pieces_in_order(pdf)
    read = _letters(" ".join(words for words, parents in pieces if "/THead" not in parents))
    assert read == _letters(_text(re.sub(r"<thead>.*?</thead>", " ", body, flags=re.S)))
    assert _in_turn(_heads(pieces)) == _in_turn([_letters(_text(head)) for head in heads])


def _text(body: str) -> str:
    return unescape(re.sub(r"<[^>]+>", " ", body))


def _heads(pieces) -> list[str]:
    """The words of each head of a table."""
    heads, before = [], False
    for words, parents in pieces:
        if "/THead" in parents:
            heads[-1:] = [heads[-1] + _letters(words)] if before else [*heads[-1:], _letters(words)]
        before = "/THead" in parents
    return heads


def _in_turn(heads: list[str]) -> list[str]:
    return [head for head, before in zip(heads, [None, *heads], strict=False) if head != before]


def _letters(text: str) -> str:
    """Letters and digits alone: a line's end may fall at a hyphen or a blank."""
    return "".join(re.findall(r"[^\W_]+", text))


def _pieces_in_order(pdf) -> list[tuple[str, tuple[str, ...]]]:
    """What a screen reader is given, in the order of the tag tree: words, and the kinds of what they stand in."""
    pieces = {page.obj.objgen: _marked(page) for page in pdf.pages}
    told = []
    for element, parents in elements(pdf):
        kids = element.get("/K")
        if str(element.S) != "/Figure" and isinstance(kids, pikepdf.Array):
            told += [(pieces[element.Pg.objgen].get(int(kid), ""), parents)
                     for kid in kids if not isinstance(kid, pikepdf.Object)]
    return told


def _marked(page) -> dict[int, str]:
    """The words of each marked piece of a page, read through its fonts' maps to Unicode."""
    maps = {str(name): _to_unicode(font) for name, font in page.Resources.Font.items()}
    found: dict[int, str] = {}
    mark, font = None, {}
    for operands, operator in pikepdf.parse_content_stream(page):
        match str(operator):
            case "BDC":
                mark = int(operands[1].MCID) if "/MCID" in operands[1] else None
            case "EMC":
                mark = None
            case "Tf":
                font = maps[str(operands[0])]
            case "Tj" | "TJ" if mark is not None:
                shown = operands[0] if isinstance(operands[0], pikepdf.Array) else [operands[0]]
                for part in shown:
                    if isinstance(part, pikepdf.String):
                        codes = bytes(part)
                        found[mark] = found.get(mark, "") + "".join(
                            font.get(codes[i:i + 2], "") for i in range(0, len(codes), 2))
    return found


def _to_unicode(font) -> dict[bytes, str]:
    rows = re.findall(rb"<([0-9A-Fa-f]{4})>\s*<([0-9A-Fa-f]+)>", font.ToUnicode.read_bytes())
    return {bytes.fromhex(code.decode()): bytes.fromhex(text.decode()).decode("utf-16-be") for code, text in rows}
