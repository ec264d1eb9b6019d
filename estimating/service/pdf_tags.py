"""What PDF/UA-1 (ISO 14289-1:2014) asks for beyond what the renderer writes into a tag tree.

Footers become artifacts, so that no screen reader reads them between two lines of a paragraph (7.1, 7.8); header cells
say what they head (7.5); a figure's place is told in the page's own units (7.3).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pydyf

POINTS_A_PIXEL = 0.75  # CSS Values 3, 5.2: 1 px is 1/96 in; a PDF point is 1/72 in
FOOTER = {"Type": "/Pagination", "Subtype": "/Footer"}  # ISO 32000-1, 14.8.2.2.2


def mend_tags(document: Any, pdf: pydyf.PDF) -> None:
    """Mend the tags of a PDF that is about to be written (a `finisher` of WeasyPrint)."""
    root = _object(pdf, pdf.catalog["StructTreeRoot"])
    read = set()
    for element, parents in _elements(pdf, root, ()):
        read.add(element.number)
        kind = element["S"]
        if kind == "/TH":
            element["A"]["Scope"] = "/Column" if "/THead" in parents else "/Row"
        elif kind == "/Figure":
            element["A"]["BBox"] = _on_page(element["A"]["BBox"], _object(pdf, element["Pg"]))
    _footers_aside(pdf, root, read)


def _object(pdf: pydyf.PDF, reference: bytes) -> Any:
    return pdf.objects[int(reference.split()[0])]


def _elements(pdf: pydyf.PDF, node: Any, parents: tuple[str, ...]) -> Iterator[tuple[Any, tuple[str, ...]]]:
    """Every structure element under a node in reading order, with the kinds of those it stands in."""
    for kid in node["K"]:
        if isinstance(kid, bytes):
            element = _object(pdf, kid)
            if element.get("Type") == "/StructElem":
                yield element, parents
                yield from _elements(pdf, element, (*parents, element["S"]))


def _on_page(box: Any, page: Any) -> pydyf.Array:
    """A box of the layout (pixels, down from the top) as one of the page (points, up from the bottom)."""
    left, top, right, bottom = (float(value) * POINTS_A_PIXEL for value in box)
    height = float(page["MediaBox"][3])
    return pydyf.Array(round(value, 2) for value in (left, height - bottom, right, height - top))


def _footers_aside(pdf: pydyf.PDF, root: Any, read: set[int]) -> None:
    """Make an artifact of every piece of a page that the tag tree does not lead to: what stands in its margins."""
    pages = [_object(pdf, reference) for reference in pdf.page_references]
    nums = _object(pdf, root["ParentTree"])["Nums"]
    tagged = dict(zip(nums[::2], nums[1::2], strict=True))
    for page in pages:
        elements = tagged[page["StructParents"]]
        aside = {mark for mark, element in enumerate(elements) if _object(pdf, element).number not in read}
        stream = _object(pdf, page["Contents"]).stream
        for place, item in enumerate(stream):
            if isinstance(item, pydyf.Dictionary) and item.get("MCID") in aside:
                stream[place - 1:place + 1] = ["/Artifact", pydyf.Dictionary(FOOTER)]
        for mark in aside:
            elements[mark] = "null"
