"""The notices that go with an acceptance: filled in with its dates, and shown in as many copies as the law asks for.

What is kept and hashed leaves the buyer's name open, as the rest of what is frozen does; it is filled in where a notice
is shown, so that the name can be erased and the hash stays true.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from estimating.notice_text import blanks_of, fill
from estimating.notices import as_written

NAME = "buyer_name"


def completed_notices(snapshot: Mapping[str, Any], *, transaction_date: date, cancel_by: date) -> list[dict[str, Any]]:
    """The notices of a snapshot that are signed with it, their dates filled in, their place for the name open."""
    values = {"transaction_date": as_written(transaction_date), "cancel_by": as_written(cancel_by)}
    return [{**notice, "text": fill(notice["text"], values)} for notice in snapshot.get("notices") or ()
            if notice["placement"] == "acceptance"]


def unfilled(notices: Sequence[Mapping[str, Any]]) -> str:
    """What is still open in notices besides the name, in words; empty where nothing is."""
    blanks = [name.replace("_", " ") for notice in notices for name in blanks_of(notice["text"]) if name != NAME]
    return "; ".join([*blanks, *(words for notice in notices for words in notice.get("missing") or ())])


def copies_of(notices: Sequence[Mapping[str, Any]], name: str) -> list[dict[str, Any]]:
    """Each copy of each notice as it is shown: `title`, `paragraphs`, `copy` of `copies`."""
    shown = []
    for notice in notices:
        text = fill(notice["text"], {NAME: name})
        paragraphs = [part.strip() for part in re.split(r"\n\s*\n", text) if part.strip()]
        shown += [{**notice, "text": text, "paragraphs": paragraphs, "copy": number}
                  for number in range(1, notice.get("copies", 1) + 1)]
    return shown
