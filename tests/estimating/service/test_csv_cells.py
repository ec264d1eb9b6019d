"""Tests that an exported list opens in a spreadsheet as text, and reads back."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimating.service.csv_cells import OPENS_A_FORMULA, csv_lines, harmless


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =1", "＝1", "=HYPERLINK(\"x\")"])
def test_what_would_be_a_formula_gets_an_apostrophe(cell):
    assert harmless(cell) == f"'{cell}"


@pytest.mark.parametrize("cell", ["", "7.85", "B-14", "5/4 x 6", "'", "Café", None])
def test_other_cells_stay_as_they_are(cell):
    assert harmless(cell) == (cell or "")


cells = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\x00"), max_size=8)


@given(st.lists(st.lists(cells, min_size=3, max_size=3), max_size=5))
def test_any_rows_read_back_with_no_cell_that_opens_a_formula(rows):
    text = "".join(csv_lines(("a", "b", "c"), rows)).removeprefix("\ufeff")
    read = list(csv.reader(io.StringIO(text, newline="")))
    assert read[0] == ["a", "b", "c"] and len(read) == len(rows) + 1
    for row, back in zip(rows, read[1:], strict=True):
        assert all(cell in (kept, f"'{kept}") for cell, kept in zip(back, row, strict=True))
        assert not any(cell.lstrip(" ").startswith(OPENS_A_FORMULA) for cell in back)
