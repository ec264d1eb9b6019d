"""Papers: tagged PDF from the project's own files only, the same bytes each time."""

import io

import pypdf
import pytest

from estimating.service.pdf import NotOurFile, html_to_pdf, own_file

PAPER = """<!DOCTYPE html><html lang="en"><head><title>Proposal</title><style>{style}</style></head>
<body><h1>Proposal</h1><p>Joists {words}</p><table><tr><th>Size</th></tr><tr><td>2x8</td></tr></table></body></html>"""


def paper(words: str = "", style: str = "") -> str:
    return PAPER.format(words=words, style=style)


def test_a_paper_is_tagged_pdf_ua_with_title_and_language():
    reader = pypdf.PdfReader(io.BytesIO(html_to_pdf(paper())))
    assert reader.metadata.title == "Proposal"
    assert reader.root_object["/Lang"] == "en"
    assert reader.root_object["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in reader.root_object
    assert b"pdfuaid:part" in reader.root_object["/Metadata"].get_object().get_data()
    assert "Joists" in reader.pages[0].extract_text()


def test_the_same_html_gives_the_same_bytes_and_nothing_of_the_moment():
    first, second = html_to_pdf(paper()), html_to_pdf(paper())
    assert first == second
    assert b"CreationDate" not in first and b"ModDate" not in first


@pytest.mark.parametrize(
    "address",
    [
        "file:///etc/hostname",
        "https://example.com/logo.png",
        "http://127.0.0.1:8000/static/logo.png",
        "//example.com/logo.png",
        "ftp://example.com/logo.png",
        "/etc/hostname",
        "../../manage.py",
        "%2e%2e/%2e%2e/manage.py",
        "../office/login.html",
        "no-such.png",
    ],
)
def test_a_paper_that_asks_for_anything_else_is_not_made(address):
    with pytest.raises(NotOurFile):
        html_to_pdf(paper(words=f'<img src="{address}" alt="">'))
    with pytest.raises(NotOurFile):
        html_to_pdf(paper(style=f'p {{ background: url("{address}") }}'))


def test_a_data_address_is_part_of_the_paper_itself():
    svg = "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' width='9' height='9'/%3E"
    assert html_to_pdf(paper(words=f'<img src="{svg}" alt="a square">')).startswith(b"%PDF")


def test_own_files_are_found_among_the_paper_templates():
    assert own_file("paper.css") is not None
    assert own_file("../paper/paper.css") is not None  # the same file by a longer way
    assert own_file("../../manage.py") is None
    assert html_to_pdf(paper(style='@import url("paper.css");')).startswith(b"%PDF")
