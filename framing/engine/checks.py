"""Checks: what the engine found, as one frozen record; every code, its sentence, source and who decides.

A stage makes its findings with `check(code, status, ...)`. The sentence of a code stands here once, so that
notes and papers can be made from the code and the numbers alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

Status = Literal["ok", "note", "caution", "stop"]
STATUSES: tuple[Status, ...] = ("ok", "note", "caution", "stop")


@dataclass(frozen=True)
class Change:
    """One single change of the build that would clear a stop: the document pointer's words, its value now and then."""

    change: str
    from_: float | str
    to: float | str

    def as_json(self) -> dict[str, Any]:
        return {"change": self.change, "from": self.from_, "to": self.to}


@dataclass(frozen=True)
class Check:
    """One finding. `value` and `limit` are in `unit`; `where` names the place on the roof or in the frame."""

    code: str
    status: Status
    value: float | None
    limit: float | None
    unit: str
    where: str
    text: str
    source: str
    decided_by: str
    acknowledge: bool = False
    clears: tuple[Change, ...] = ()

    def as_json(self) -> dict[str, Any]:
        fields = asdict(self)
        fields["clears"] = [c.as_json() for c in self.clears]
        return fields


@dataclass(frozen=True)
class Code:
    """What a check code says, where its limit comes from and who decides on it.

    `sentence` is a format string over `value`, `limit`, `unit`, `where` and the words the stage passes.
    """

    sentence: str
    source: str = "computed"
    decided_by: str = "contractor"


CODES: dict[str, Code] = {
    # adjustment: tapes, levels, datum
    "misclosure": Code(
        "{tape} reads {value:.2f} in {side} than the other tapes of the figure {where} give; "
        "the survey's tolerance is {limit:.2f} in.{advice}",
    ),
    "no-redundancy": Code("Nothing checks the places of {where}: no reading is left over. {advice}"),
    "undetected-slip": Code("Tapes that others hardly check: a slip could pass unseen of {slips}."),
    "corner-not-fixed": Code(
        "The readings do not fix {where}; at least {missing} more needed: {advice}.",
    ),
    "point-in-line": Code(
        "{where} lies in one line with {others}, to which it was taped, so nothing holds it sideways: {advice}.",
    ),
    "point-weak": Code(
        "{where}: weakly fixed, {worst} has a standard error of {value:.1f} in; tape across the roof to hold it.",
    ),
    "shape-not-settled": Code(
        "The tapes fit two shapes: {where} would be {value:.1f} in or {limit:.1f} in. The first was taken, since it "
        "{reason}; tape {where} to settle it.",
    ),
    "datum-not-described": Code(
        "The datum mark is not described; the crew must find it again to set the deck.", "common practice",
    ),
    "datum-not-checked": Code("The datum was not read again, so drift of the level is not known.", "common practice"),
    "datum-drift": Code(
        "Read again, the datum came out {value:.2f} in {way} (usual limit {limit:.3f} in); the readings were corrected "
        "by their order.{advice}", "common practice",
    ),
}


def check(
    code: str,
    status: Status,
    *,
    value: float | None = None,
    limit: float | None = None,
    unit: str = "in",
    where: str = "",
    acknowledge: bool = False,
    clears: Sequence[Change] = (),
    source: str | None = None,
    decided_by: str | None = None,
    **words: Any,
) -> Check:
    """A finding of `code`; its text is the code's sentence with the numbers filled in.

    Raises KeyError for a code that does not stand in `CODES`.
    """
    known = CODES[code]
    text = known.sentence.format(value=value, limit=limit, unit=unit, where=where, **words)
    return Check(
        code, status, value, limit, unit, where, text,
        source or known.source, decided_by or known.decided_by, acknowledge, tuple(clears),
    )
