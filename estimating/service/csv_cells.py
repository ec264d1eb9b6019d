"""Lists as CSV that a spreadsheet opens without computing anything."""

import csv
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from django.http import StreamingHttpResponse

OPENS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def harmless(cell: Any) -> str:
    """A cell's text; what a spreadsheet would take for a formula gets an apostrophe in front."""
    text = "" if cell is None else str(cell)
    return f"'{text}" if text.lstrip(" ").startswith(OPENS_A_FORMULA) else text


class _Echo:
    """Hands back what is written to it."""

    def write(self, text: str) -> str:
        return text


def csv_lines(headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> Iterator[str]:
    """The lines of a CSV file, the headings first, one at a time."""
    writer = csv.writer(_Echo(), lineterminator="\r\n")
    yield "\ufeff" + writer.writerow([harmless(cell) for cell in headings])
    for row in rows:
        yield writer.writerow([harmless(cell) for cell in row])


def csv_answer(name: str, headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> StreamingHttpResponse:
    """A CSV file to be saved, streamed."""
    return StreamingHttpResponse(
        csv_lines(headings, rows), content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"},
    )  # fmt: skip
