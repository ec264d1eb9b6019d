"""`python -m tests.quotes.draw_demo build/demo`: the pictures of the README, from the papers that `./run demo` made."""

from __future__ import annotations

import sys
from pathlib import Path

import pypdfium2
import weasyprint

DATA = Path(__file__).resolve().parents[2] / "quotes/demo"
PAGE = ("<!doctype html><html lang=en><title>Plan</title><style>@page {{ size: letter landscape; margin: 0 }}"
        "body {{ margin: 0 }} svg {{ display: block; width: 11in; height: 8.5in }}</style>{}")


def draw(pdf: bytes, name: str, dpi: int) -> None:
    """The first page as a picture beside the demo's documents."""
    pypdfium2.PdfDocument(pdf)[0].render(scale=dpi / 72).to_pil().convert("RGB").save(DATA / name, optimize=True)


def main(folder: Path) -> None:
    page = PAGE.format((folder / "plan.svg").read_text())
    draw(weasyprint.HTML(string=page).write_pdf(), "plan.png", 96)
    draw((folder / "proposal.pdf").read_bytes(), "proposal.png", 90)


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "build/demo"))
