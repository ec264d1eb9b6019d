"""Tests of the signed paper: what was sent, with its acceptance and every copy of its notices filled in."""

import io
import re

import pypdf
import pytest

from estimating.service.pdf import html_to_pdf
from quotes.paper.rendering import body_of, filled, proposal_html
from quotes.paper.signed import NoPlaceForAcceptance, signed_html
from tests.quotes.rich import RECORD, enriched


@pytest.fixture
def proposal(scenario):
    return proposal_html(enriched(scenario.revision.document), "", "")


def words(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", body_of(page)).split())


def test_the_record_stands_where_the_empty_acceptance_stood(proposal):
    said = words(signed_html(proposal, RECORD))
    assert "Accepted March 18, 2026, 18:04 (America/New_York) What Option A, Ipe instead of cumaru" in said
    assert "Price $24,310.55" in said and "Cancel by March 21, 2026" in said
    for role, name in (("Owner", "Odette Marlowe"), ("Second owner", "Ambrose Marlowe"),
                       ("For the office", "Rosalind Harrow")):
        assert f"{role} {name} SHA-256" in said
    assert "I agree to sign and to receive this contract electronically. Version 1, given" in said
    assert "I choose one of these" not in said and "Second owner, where there is one" not in said


def test_the_rest_of_the_proposal_is_as_it_was_sent(proposal):
    page = signed_html(proposal, RECORD)
    start, end = "<h2>3. Progress payments", "<h2>9. Notices"
    assert page[page.index(start):page.index(end)] == proposal[proposal.index(start):proposal.index(end)]


def test_a_signed_paper_does_not_say_that_it_is_no_contract(proposal):
    page = signed_html(proposal, RECORD)
    assert "not a contract until signed" in proposal and "not a contract" not in page
    assert "<title>Proposal Q00001, revision 2 – signed</title>" in page


def test_a_blank_notice_gives_way_to_the_filled_one(proposal):
    page = signed_html(proposal, RECORD)
    assert 'class="blank"' in proposal and 'class="blank"' not in page
    assert "Notice of cancellation Stands filled in at the end of this paper." in words(page)


def test_without_an_option_the_deck_is_accepted_as_described(proposal):
    said = words(signed_html(proposal, {**RECORD, "option": None, "consent": None}))
    assert "What As described in section 1" in said and "Consent" not in said


def test_what_is_no_proposal_has_no_place_for_an_acceptance():
    with pytest.raises(NoPlaceForAcceptance):
        signed_html("<html><body><h1>Cut sheets</h1></body></html>", RECORD)


def test_names_in_a_record_are_text_and_never_markup(proposal):
    page = signed_html(proposal, {**RECORD, "agreed_where": "<script>alert(1)</script>"})
    assert "<script>" not in page and "&lt;script&gt;" in page


def test_each_copy_stands_on_a_page_of_its_own_under_the_snapshots_hash(proposal):
    page = filled(signed_html(proposal, RECORD), name="Odette Marlowe", site="418 Fictional Quay", sha256="d" * 64)
    content = html_to_pdf(page)
    pages = [" ".join(sheet.extract_text().split()) for sheet in pypdf.PdfReader(io.BytesIO(content)).pages]
    cancel = [place for place, text in enumerate(pages) if "midnight of March 21, 2026" in text]
    assert len(cancel) == 2 and ["Copy 1 of 2" in pages[cancel[0]], "Copy 2 of 2" in pages[cancel[1]]] == [True, True]
    lien = [place for place, text in enumerate(pages) if "may have a claim." in text]
    assert len(lien) == 1 and "Copy" not in pages[lien[0]] and lien[0] not in cancel
    acceptance = next(place for place, text in enumerate(pages) if "10. Acceptance" in text)
    assert acceptance < cancel[0]
    assert all("Proposal Q00001, revision 2" in text and "d" * 64 in text for text in pages)
    assert html_to_pdf(page) == content
