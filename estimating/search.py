"""Looking for customers, jobs, contacts and notes by the beginnings of words, or by a phone's digits."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db.models import Q

from estimating.matching import search_terms
from estimating.models import Contact, Customer, Job, Note, Role

LONGEST = 200  # characters of a question
MOST_WORDS = 10
A_KIND = 20  # results
_NUMBER = re.compile(r"\s*J0*([1-9][0-9]{0,17})\s*", re.IGNORECASE)


@dataclass(frozen=True)
class Hit:
    """One record that was found; `text` says which it is."""

    kind: str
    id: int
    text: str
    customer: int | None
    job: int | None


def _excerpt(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= 120 else line[:119] + "…"


# Each kind in the order it is shown: its model, who may see it, and how one row is told.
_OFFICE = (Role.OWNER, Role.ESTIMATOR, Role.READ_ONLY)
_KINDS: list[tuple[str, type[Any], tuple[str, ...], Callable[[Any], Hit]]] = [
    ("customer", Customer, _OFFICE, lambda row: Hit("customer", row.pk, row.name, row.pk, None)),
    ("job", Job, (*_OFFICE, Role.CREW),
     lambda row: Hit("job", row.pk, f"{row.number} {row.name}", row.customer_id, row.pk)),
    ("contact", Contact, _OFFICE, lambda row: Hit("contact", row.pk, str(row), row.customer_id, row.job_id)),
    ("note", Note, _OFFICE, lambda row: Hit("note", row.pk, _excerpt(row.text), row.customer_id, row.job_id)),
]  # fmt: skip


def search(question: str, role: str) -> tuple[list[Hit], list[str]]:
    """What a person of this role may see of what was found, newest first by kind; and the kinds that hold more.

    Every word must stand in the record. One query a kind, whatever is found.
    """
    terms = search_terms(question)[:MOST_WORDS]
    number = _NUMBER.fullmatch(question)
    hits: list[Hit] = []
    more: list[str] = []
    for kind, model, roles, told in _KINDS:
        if role not in roles or not (terms or number):
            continue
        wanted = Q(*(("words__contains", term) for term in terms)) if terms else Q(pk__in=())
        if number and model is Job:
            wanted |= Q(pk=int(number[1]))
        rows = list(model.objects.filter(wanted).order_by("-pk")[: A_KIND + 1])
        hits += [told(row) for row in rows[:A_KIND]]
        more += [kind] * (len(rows) > A_KIND)
    return hits, more
