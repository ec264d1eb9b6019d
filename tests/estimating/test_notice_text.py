"""Tests of text with blanks: what is a blank, what is none and where, and that a filling is not filled again."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimating.notice_text import blanks_of, brace_faults, fill


def test_blanks_are_named_once_in_their_order_and_may_have_room_inside():
    assert blanks_of("{{b}} {{ a }} {{b}} {{a1_x}}") == ("b", "a", "a1_x")
    assert fill("{{b}} {{ a }} {{c}}", {"a": "1", "b": "2"}) == "2 1 {{c}}"


@pytest.mark.parametrize("text", ["", "none", "{{a}}", "{{a}}{{b}}", "a\n{{ a }}\n"])
def test_text_without_a_fault(text):
    assert brace_faults(text) == []


@pytest.mark.parametrize(("text", "where"), [
    ("x {{Name}}", "line 1, column 3"), ("one\n{{name", "line 2, column 1"), ("{name}", "line 1, column 1"),
    ("a }} b", "line 1, column 3"), ("{{}}", "line 1, column 1"), ("{{a}} and {{a b}}", "line 1, column 11"),
    ("{{{a}}}", "line 1, column 1"), ("{{1a}}", "line 1, column 1"), (f"{{{{{'a' * 61}}}}}", "line 1, column 1"),
    ("{{a\n}}", "line 1, column 1"),
])
def test_a_brace_that_is_no_blank_is_told_with_line_and_column_and_what_was_read(text, where):
    first = brace_faults(text)[0]
    assert first.startswith(f"{where}: ") and "was read; expected a blank" in first


def test_a_text_full_of_braces_is_told_in_few_words():
    assert len(brace_faults("} " * 10_000)) == 5


def test_what_was_filled_in_is_not_taken_for_a_blank():
    assert fill("{{a}}", {"a": "{{b}}", "b": "no"}) == "{{b}}"


@given(st.text(alphabet="{}ab _\n", max_size=60))
def test_either_a_fault_is_told_or_nothing_but_blanks_had_braces(text):
    rest = fill(text, dict.fromkeys(blanks_of(text), ""))
    assert bool(brace_faults(text)) == ("{" in rest or "}" in rest)
