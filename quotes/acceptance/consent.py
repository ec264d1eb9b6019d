"""The consent to electronic records: what a person is told before, as 15 U.S.C. 7001(c)(1) asks, in a dated version.

The clauses were read in a law page's copy of the statute; each paragraph names the one that asks for it. A change of
any word is a new version, so that what was consented to can always be told. Whether it suffices, counsel decides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

VERSION: Final = "electronic-records/1"
SOURCE: Final = "15 U.S.C. 7001(c)"
# (C)(ii): consent is given in a manner that reasonably demonstrates that the person can read what will be sent.
METHOD: Final = "characters read off the foot of the PDF and typed"
CODE_LENGTH: Final = 8  # characters of the snapshot's hash that are read off the paper


@dataclass(frozen=True)
class Consent:
    """What is shown before somebody consents: (heading, text) of each paragraph."""

    version: str
    paragraphs: tuple[tuple[str, str], ...]

    @property
    def text(self) -> str:
        return "\n\n".join(f"{heading}. {text}" for heading, text in self.paragraphs)


def consent_to(proposal: str, office: Mapping[str, Any]) -> Consent:
    """What is told before somebody consents to the records of a proposal; `office` has name, address, phone, email."""
    ways = [f"{words} {office[key]}" for key, words in (("email", "by e-mail to"), ("phone", "by phone at"))
            if office.get(key)]
    how = ", ".join([*ways, "or by asking on this page" if ways else "by asking on this page"])
    post = ", ".join(line.strip() for line in (office.get("address") or "").splitlines() if line.strip())
    return Consent(VERSION, (
        ("Paper instead",  # (B)(i)(I)
         "You need not do this electronically. You may have every record on paper: print the proposal, sign it and "
         f"send it to {office['name']}{f', {post}' if post else ''}, or ask the office to post it to you."),
        ("What it covers",  # (B)(ii)
         f"Your consent covers proposal {proposal} alone: the proposal, its acceptance, the notices that go with it "
         "(those of a right to cancel among them) and the receipt with the signed paper."),
        ("Taking it back",  # (B)(i)(II) and (iii); 7001(c)(4) for what was provided before
         f"You may take the consent back at any time, {how}. There is no fee for it. From then on the office sends "
         "you paper by post, which takes longer. What was signed before stays signed, and a right to cancel stays as "
         "it is."),
        ("A new address",  # (B)(iii)
         f"If your e-mail address changes, tell the office {how}."),
        ("Paper copies later",  # (B)(iv)
         f"After consenting you may still have a paper copy of any of these records: ask {how}. There is no fee for "
         "it."),
        ("What you need",  # (C)(i), and (D) for changes
         "A device with a current web browser and access to the internet, an e-mail address, a program that opens "
         "PDF files, and room to keep them or a printer. Should that change so that you might no longer open or keep "
         "the records, the office tells you and asks again."),
    ))
