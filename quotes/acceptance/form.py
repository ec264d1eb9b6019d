"""The first step of accepting: what a person chose and answered, read from a form and sealed until the second step.

The seal binds the answers to the link, the revision and the day; nothing of them is kept before the signature.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.core import signing

from estimating.notices import as_written
from quotes.acceptance.consent import CODE_LENGTH, VERSION
from quotes.acceptance.deeds import AGREED_WHERE, AS_OFFERED, Choices, NotTheSame
from quotes.models import OfferLink

SALT = "quotes.acceptance"
SEALED_FOR = 24 * 60 * 60  # s
OVER_65 = {"yes": True, "no": False, "unsaid": None}
DISASTER = {"yes": True, "no": False, "unknown": None}
BASE = "base"  # what the form calls the deck as first offered


@dataclass(frozen=True)
class Read:
    """What a form said: the choices, or what is wrong with it by the field's name, in the form's order."""

    choices: Choices | None
    faults: Mapping[str, str]


def read_choices(form: Mapping[str, str], link: OfferLink, *, fixed: str | None, now: datetime) -> Read:
    """Read the first step's form; `fixed` is the option that the other owner has signed, None where it is free."""
    options = [AS_OFFERED, *(row["key"] for row in link.offer.revision.document.get("options") or ())]
    option = fixed if fixed is not None else _option(form.get("option"), options)
    code = "".join(form.get("code", "").split()).lower()
    faults = {}
    if fixed is not None and form.get("option", shown(fixed)) != shown(fixed):
        faults["option"] = "The other owner has chosen and signed; you sign under the same choice."
    if option is None:
        faults["option"] = "Choose one of the ways to build it that stand in this proposal."
    for name, answers, told in (
        ("agreed_where", AGREED_WHERE, "Say how and where it was agreed."),
        ("over_65", OVER_65, "Choose an answer; “rather not say” is one."),
        ("disaster", DISASTER, "Choose an answer; “I do not know” is one."),
    ):
        if form.get(name, "") not in answers:
            faults[name] = told
    if form.get("consent") != "yes":
        faults["consent"] = "Without this consent it is signed on paper: print it, sign it and send it by post."
    if code != link.offer.revision.sha256[:CODE_LENGTH]:
        faults["code"] = (f"These are not the first {CODE_LENGTH} characters after “snapshot” at the foot of the "
                          "paper’s pages.")
    if faults or option is None:
        return Read(None, faults)
    return Read(Choices(
        option=option, agreed_where=form["agreed_where"], over_65=OVER_65[form["over_65"]],
        disaster=DISASTER[form["disaster"]], access_shown=code, consented_at=now,
    ), {})


def shown(option: str) -> str:
    """What the form calls an option."""
    return option or BASE


def seal(link: OfferLink, choices: Choices, day: date) -> str:
    """The choices as a form carries them to the second step."""
    return signing.dumps(_bound(link, day) | {
        "option": choices.option, "agreed_where": choices.agreed_where, "over_65": choices.over_65,
        "disaster": choices.disaster, "access_shown": choices.access_shown,
        "consented_at": choices.consented_at.isoformat(),
    }, salt=SALT)


def unseal(text: str, link: OfferLink, day: date) -> Choices:
    """The choices that were sealed for this link, revision and day. Raises NotTheSame."""
    try:
        kept = signing.loads(text, salt=SALT, max_age=SEALED_FOR)
    except signing.SignatureExpired:
        raise NotTheSame(f"Your choices were made too long ago; today is {as_written(day)}. Choose again, please."
                         ) from None
    except signing.BadSignature:
        raise NotTheSame("What this page sent is not what it was given; choose again, please.") from None
    bound = _bound(link, day)
    if any(kept.get(name) != bound[name] for name in bound if name != "day"):
        raise NotTheSame("The proposal that you read is not the one that would be signed; read it again, please.")
    if kept.get("day") != bound["day"]:
        raise NotTheSame(f"A day has passed, so the dates are others now: today is {as_written(day)}. Choose again, "
                         "please.")
    kept = {name: value for name, value in kept.items() if name not in bound}
    return Choices(**kept | {"consented_at": datetime.fromisoformat(kept["consented_at"])})


def _bound(link: OfferLink, day: date) -> dict[str, Any]:
    return {"link": link.pk, "revision": link.offer.revision.sha256, "consent": VERSION, "day": day.isoformat()}


def _option(text: str | None, options: list[str]) -> str | None:
    """The key of the option that was chosen; the only one where there is no other."""
    if text is None and options == [AS_OFFERED]:
        return AS_OFFERED
    return next((option for option in options if shown(option) == text), None)
