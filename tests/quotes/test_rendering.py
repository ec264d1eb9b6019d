"""Tests of the papers as PDF: what a screen reader finds, what the homeowner reads, what must not stand there."""

import csv
import functools
import io
import os
import re
import subprocess
import sys
from decimal import Decimal

import pypdf
import pytest

from estimating.service.pdf import html_to_pdf
from quotes.models import RenderedFile
from quotes.paper import files as papers
from quotes.paper.materials import material_list
from quotes.paper.rendering import filled, proposal_html
from quotes.paper.scope import net_area_sqft, working_time

KIND = RenderedFile.Kind
PDFS = (KIND.PROPOSAL, KIND.OFFICE_COPY, KIND.CUT_SHEETS, KIND.MATERIAL_LIST, KIND.CARE_SHEET)


_render_once = functools.cache(html_to_pdf)


@pytest.fixture
def made(scenario, monkeypatch):
    """The papers of the demo's revision; the same HTML is rendered once for all tests."""
    with monkeypatch.context() as patch:
        patch.setattr(papers, "html_to_pdf", _render_once)
        return papers.make_papers(scenario.revision)


def text_of(content: bytes) -> list[str]:
    """Each page's text, spaces made one."""
    return [re.sub(r"\s+", " ", page.extract_text()) for page in pypdf.PdfReader(io.BytesIO(content)).pages]


def test_the_proposal_says_who_where_what_and_for_how_much(scenario, made):
    first, everything = text_of(made[KIND.PROPOSAL].content)[0], " ".join(text_of(made[KIND.PROPOSAL].content))
    price = f"${scenario.revision.price:,.2f}"
    for words in ("Proposal", "Harrow & Finch Terrace Carpentry", "DEMO-0000", "Odette Marlowe", "418 Fictional Quay",
                  scenario.revision.quote.number, "revision 1", "March 16, 2026", "April 15, 2026", price):
        assert words in first, words
    for payment in scenario.revision.document["estimate"]["payments"]:
        assert f"${Decimal(payment['amount']):,.2f}" in everything and payment["milestone"] in everything
    for group in scenario.revision.document["estimate"]["groups"]:
        assert f"${Decimal(group['amount']):,.2f}" in everything


def test_the_gravest_cautions_stand_on_the_first_page(made):
    first = text_of(made[KIND.PROPOSAL].content)[0]
    assert "Know this first" in first and "3/8 in" in first  # the clearance, half of what is usual


def test_every_page_says_its_number_of_all_and_the_snapshots_hash(scenario, made):
    for kind in PDFS:
        pages = text_of(made[kind].content)
        for number, page in enumerate(pages, start=1):
            assert f"page {number} of {len(pages)}" in page
            assert scenario.revision.sha256 in page
            assert f"{scenario.revision.quote.number}, revision 1" in page


def test_the_homeowner_sees_no_unit_prices_rates_or_margins(scenario, made):
    everything = " ".join(text_of(made[KIND.PROPOSAL].content))
    chain = scenario.revision.document["estimate"]["chain"]
    for amount in ("48.26", "7.85", f"{Decimal(chain['profit']):,.2f}", f"{Decimal(chain['overhead']):,.2f}"):
        assert amount not in everything, amount


def test_what_the_office_has_not_filled_in_is_named(scenario):
    words = "To be filled in by the office before this proposal may be sent"
    assert words not in scenario.revision.proposal_html
    assert words in proposal_html({**scenario.revision.document, "notices": []}, "", "")


def test_no_paper_says_that_anything_complies(made):
    for kind in (KIND.PROPOSAL, KIND.CUT_SHEETS):
        assert not re.search(r"compl(ies|y\b|iant)", " ".join(text_of(made[kind].content)), re.I)


def test_cut_sheets_show_every_member_with_its_stations(scenario, made):
    everything = " ".join(text_of(made[KIND.CUT_SHEETS].content))
    for member in scenario.framing.document["members"]:
        assert member["id"] in everything
        depths = " ".join(depth for _, depth in member["stations"][:3])
        assert depths in everything, member["id"]


def test_the_crews_papers_hold_no_price(made):
    for kind in (KIND.CUT_SHEETS, KIND.MATERIAL_LIST, KIND.CARE_SHEET):
        assert "$" not in " ".join(text_of(made[kind].content))
    assert b"price" not in made[KIND.PURCHASE_LIST].content


def test_the_material_list_has_a_row_for_everything_that_is_bought(scenario):
    rows = list(csv.DictReader(io.StringIO(material_list(scenario.revision.document).decode())))
    bought = {row["item"] for row in scenario.framing.document["quantities"]}
    assert bought <= {row["item"] for row in rows}
    assert all(row["supplier"] == "Sample Timber Yard" and Decimal(row["order"]) > 0 for row in rows)


def test_the_material_list_says_what_each_order_weighs_and_with_which_delivery_it_comes(scenario):
    rows = list(csv.DictReader(io.StringIO(material_list(scenario.revision.document).decode())))
    weights = {name: sum(int(row["weight_lb"] or 0) for row in rows if row["delivery"] == name)
               for name in ("protection and small goods", "frame", "decking")}
    for delivery in scenario.framing.document["lifts"]["deliveries"]:
        assert weights[delivery["order"]] == pytest.approx(delivery["weight"], abs=len(rows) / 2)
    assert {row["delivery"] for row in rows if row["item"].startswith("decking/")} == {"decking"}
    assert {row["delivery"] for row in rows if row["item"].startswith("service")} <= {""}


@pytest.mark.parametrize(("low", "days", "high", "said"), [
    (6, 7, 11, "The work takes about 7 working days of a crew of 3, between 6 and 11 as the work goes."),
    (1, 1, 1, "The work takes about 1 working day of a crew of 3."),
])
def test_the_proposal_tells_working_days_with_their_range(low, days, high, said):
    assert working_time({"schedule": {"days_low": low, "days": days, "days_high": high, "persons": 3}}) == said


def test_the_days_of_the_proposal_are_those_of_the_framing(scenario, made):
    assert working_time({}) == ""
    days = scenario.framing.document["schedule"]["days"]
    assert f"about {days} working days" in " ".join(" ".join(text_of(made[KIND.PROPOSAL].content)).split())


def test_no_cell_of_the_material_list_is_a_formula():
    line = {"kind": "material", "description": "=HYPERLINK(1)", "quantity": "1", "unit": "EA", "item": "@x",
            "came_from": {"supplier": "+1", "sku": "-2", "net": "1", "waste": "0", "spare": "0", "basis": "\t=1"}}
    rows = list(csv.reader(io.StringIO(material_list({"estimate": {"lines": [line]}}).decode())))
    assert all(cell[:1] not in "=+-@\t" for cell in rows[1] if cell)


def test_a_name_is_text_and_never_markup(scenario):
    page = filled(scenario.revision.proposal_html, name="<b>O'Hara & Sons</b>", site="x", sha256="0" * 64)
    assert "<b>O'Hara" not in page and "&lt;b&gt;O&#x27;Hara &amp; Sons&lt;/b&gt;" in page
    assert "[[" not in page


def test_rendering_again_gives_the_same_bytes_and_one_row(scenario, made):
    again = papers.make_papers(scenario.revision)
    assert {kind: paper.content for kind, paper in again.items()} == {k: p.content for k, p in made.items()}
    first = papers.keep_papers(scenario.revision, made, now=scenario.revision.issued_at)
    second = papers.keep_papers(scenario.revision, again, now=scenario.revision.issued_at)
    assert [file.pk for file in first] == [file.pk for file in second]
    assert papers.read_paper(first[0]) == made[KIND.PROPOSAL].content


def test_a_process_of_its_own_with_other_hashes_gives_the_same_bytes(made, scenario):
    job = scenario.job
    page = filled(scenario.revision.proposal_html, name=job.customer.name, site=job.site_address,
                  sha256=scenario.revision.sha256)
    code = ("import django, sys; django.setup(); from estimating.service.pdf import html_to_pdf; "
            "sys.stdout.buffer.write(html_to_pdf(sys.stdin.read()))")
    again = subprocess.run([sys.executable, "-c", code], input=page.encode(), capture_output=True, check=True,
                           env={**os.environ, "DJANGO_SETTINGS_MODULE": "tests.settings", "PYTHONHASHSEED": "1"})
    assert again.stdout == made[KIND.PROPOSAL].content


def test_the_area_of_a_deck_is_its_outline_less_its_holes():
    ring = [[0, 0], [120, 0], [120, 144], [0, 144]]  # 10 ft x 12 ft
    hole = [[24, 24], [36, 24], [36, 36], [24, 36]]  # 1 ft x 1 ft
    assert net_area_sqft({"outline": ring, "holes": [hole]}) == pytest.approx(119)
    assert net_area_sqft({}) == 0
