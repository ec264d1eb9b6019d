"""Text with blanks: `{{cancel_by}}` stands for what is filled in later. Pure; nothing is escaped here."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

NAME: Final = re.compile(r"[a-z][a-z0-9_]{0,59}")
BLANK: Final = re.compile(rf"\{{\{{ *({NAME.pattern}) *\}}\}}")
_BRACES: Final = re.compile(r"[{}]+")
TOLD_AT_MOST: Final = 5


def blanks_of(text: str) -> tuple[str, ...]:
    """The names of the blanks in a text, each once, in the order in which they stand."""
    return tuple(dict.fromkeys(BLANK.findall(text)))


def fill(text: str, values: Mapping[str, str]) -> str:
    """The text with those blanks filled that `values` names; the others stay, and what was filled in stays as it is."""
    return BLANK.sub(lambda blank: values.get(blank[1], blank[0]), text)


def brace_faults(text: str) -> list[str]:
    """Where braces stand that are no blank: line and column, what was read there and what was expected."""
    found = []
    for number, line in enumerate(text.split("\n"), start=1):
        rest = BLANK.sub(lambda blank: " " * len(blank[0]), line)
        for braces in _BRACES.finditer(rest):
            read = line[braces.start():braces.start() + 20]
            found.append(f"line {number}, column {braces.start() + 1}: {read!r} was read; expected a blank of small "
                         "letters, digits and _ between two braces on either side, such as {{cancel_by}}")
    return found[:TOLD_AT_MOST]
