"""The signed paper: the proposal as it was sent, with the record of its acceptance and its notices filled in."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from django.template.loader import render_to_string

from quotes.paper.notices import printed

ROLES = {"owner": "Owner", "co-owner": "Second owner", "office": "For the office"}
ACCEPTANCE = re.compile(r"<!--acceptance-->.*?<!--/acceptance-->", re.S)
FORM = re.compile(r"<!--form-->.*?<!--/form-->", re.S)
TITLE = re.compile(r"(?<=<title>)(.*?) – not a contract until signed(?=</title>)")
NOT_YET = re.compile(r' <span class="not-yet">.*?</span>', re.S)
FILLED_IN = '<p class="small quiet">Stands filled in at the end of this paper.</p>'
HEADING = re.compile(r"<h3>(.*?)</h3>", re.S)


class NoPlaceForAcceptance(ValueError):
    """The HTML is not that of a proposal with a place for its acceptance."""


def signed_html(proposal: str, record: Mapping[str, Any]) -> str:
    """The proposal's HTML with a filled acceptance in place of the empty one, and each notice's copies behind it.

    Every copy stands on a page of its own. `record` holds accepted_at, time_zone, currency (USD where it is absent),
    option, price, signatures, agreed_where, transaction_date, cancel_by, notices (filled in) and consent. Raises
    NoPlaceForAcceptance.
    """
    if not ACCEPTANCE.search(proposal):
        raise NoPlaceForAcceptance("the paper has no place for an acceptance; expected a proposal's HTML")
    notices = [printed({**notice, "placement": "signed", "missing": []}) for notice in record.get("notices") or ()]
    acceptance = render_to_string("paper/signed.html", {
        "record": record, "currency": record.get("currency") or "USD",
        "signatures": [{**signature, "role": ROLES[signature["role"]]} for signature in record["signatures"]],
        "copies": [{**notice, "copy_number": copy if notice["copies"] > 1 else None}
                   for notice in notices for copy in range(1, notice["copies"] + 1)],
    })
    page = ACCEPTANCE.sub(lambda _: acceptance, proposal, count=1)
    page = FORM.sub(lambda form: (HEADING.search(form[0]) or [""])[0] + FILLED_IN, page)
    page = NOT_YET.sub(' <span class="not-yet">signed; the record of its acceptance stands in section 10</span>', page,
                       count=1)
    return TITLE.sub(r"\1 – signed", page, count=1)
