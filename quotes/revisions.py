"""Quotes and their revisions: a draft is priced as often as wanted, what is issued stays as it was.

A revision keeps everything that it was made from, so that every number on its papers can be followed to a reading, a
price or a rate. A person's name and address stand in none of it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max

from estimating.models import Job, Office, PriceListVersion, User
from estimating.money import Discount, Terms
from estimating.office import local_day, payment_schedule, the_office
from estimating.price_book import versions_in_force
from estimating.recipes import chosen_versions
from estimating.service.history import note
from estimating.service.moving_on import move_on
from estimating.service.problems import refusal
from estimating.taxes import terms_on
from framing.models import Framing
from framing.papers import cut_sheets_html
from framing.records import canonical
from quotes.accuracy import band, known_of
from quotes.cautions import deposit_caution, escalation_caution
from quotes.estimate import SETTLEMENTS, Added, Allowance, Estimate, Extra, Finding, Line, estimate, items_of
from quotes.models import Quote, QuoteLine, Revision
from quotes.notes import Contract, Note, apart, notes_for
from quotes.pricing import crew_on, prices_on, production_rates_on, uses_of
from quotes.recipe_lines import Use, recipe_notes, rows_of
from quotes.rendering import HASH_MARK, proposal_html
from quotes.sensitivity import Change, sensitivity
from quotes.templatetags.paper import money

FORMAT = "quote-snapshot/1"
NOTHING: Mapping[str, Any] = {}


@refusal(409)
class QuoteBlocked(Exception):
    """Something stands in the way of a price; `findings` says all of it."""

    def __init__(self, number: str, findings: Sequence[Finding]) -> None:
        self.findings = tuple(findings)
        super().__init__(f"{number} has no price yet: " + " ".join(finding.text for finding in findings))


@refusal(409)
class PricesEnded(Exception):
    """A price that the quote rests on no longer holds on the day of issue."""


@refusal(409)
class FramingElsewhere(Exception):
    """The framing belongs to another job."""


@refusal(409)
class NotApproved(Exception):
    """A price list version is staged, so its rows may still change; or two versions of one list were named."""


@transaction.atomic
def draft_quote(job_id: int, framing_id: int, *, version_ids: Collection[int] | None = None,
                extras: Sequence[Extra] = (), recipes: Sequence[Mapping[str, Any]] = (),
                priced_on: date | None = None, agreed: Mapping[str, Any] = NOTHING, by: User | None, now: datetime
                ) -> Quote:
    """A new quote of a framing, priced at once.

    `agreed` holds what is agreed beside it, as the quote keeps it: `crew_mix`, `allowances`, `discount`, `escalation`.

    Without `version_ids` the versions in force are taken, without `priced_on` today in the office's time zone; each of
    `recipes` (recipe, perhaps version, quantities, corners) in the version that is in force that day where none is
    named. What has no price is told in the quote's findings. Raises OfficeNotSet, FramingElsewhere, NotApproved or
    NotInForce.
    """
    office = the_office()
    framing = Framing.objects.select_related("build__survey").get(pk=framing_id)
    job = Job.objects.select_for_update().get(pk=job_id)
    if framing.build.survey.job_id != job.pk:
        raise FramingElsewhere(f"Framing {framing.pk} belongs to job {framing.build.survey.job_id}, not to {job.pk}.")
    versions = _approved(version_ids)
    day = priced_on or local_day(office, now)
    quote = Quote(job=job, framing=framing, priced_on=day, extras=[_as_json(extra) for extra in extras],
                  recipes=_pinned(recipes, day), created_at=now, created_by=by, **agreed)
    worked = _estimate(quote, framing, versions, office)
    quote.estimate, quote.price = _summary(worked), worked.price
    quote.save()
    quote.price_list_versions.set(versions)
    _write_lines(quote, worked, None)
    note(quote, "create", {"framing": [None, framing.pk], "price": [None, _text(worked.price)]}, by=by, now=now)
    return quote


@transaction.atomic
def reprice_quote(quote_id: int, *, framing_id: int | None = None, version_ids: Collection[int] | None = None,
                  extras: Sequence[Extra] | None = None, recipes: Sequence[Mapping[str, Any]] | None = None,
                  priced_on: date | None = None, agreed: Mapping[str, Any] = NOTHING, by: User | None, now: datetime
                  ) -> Quote:
    """Price a quote anew, with what is given in place of what it had. Raises as `draft_quote`.

    Recipes stay in the versions that they have; those that are given are chosen anew.
    """
    office = the_office()
    quote = _locked(quote_id)
    before = quote.price
    if framing_id is not None:
        framing = Framing.objects.select_related("build__survey").get(pk=framing_id)
        if framing.build.survey.job_id != quote.job_id:
            raise FramingElsewhere(f"Framing {framing_id} belongs to job {framing.build.survey.job_id}, "
                                   f"not to {quote.job_id}.")
        quote.framing = framing
    if version_ids is not None:
        quote.price_list_versions.set(_approved(version_ids))
    if extras is not None:
        quote.extras = [_as_json(extra) for extra in extras]
    quote.priced_on = priced_on or quote.priced_on
    before_agreed = {name: getattr(quote, name) for name in agreed}
    for name, value in agreed.items():
        setattr(quote, name, value)
    if recipes is not None:
        quote.recipes = _pinned(recipes, quote.priced_on)
    worked = _estimate(quote, quote.framing, _versions(quote), office)
    quote.estimate, quote.price = _summary(worked), worked.price
    quote.save()
    quote.lines.filter(revision=None).delete()
    _write_lines(quote, worked, None)
    changed = {name: [old, agreed[name]] for name, old in before_agreed.items() if old != agreed[name]}
    note(quote, "price", {"price": [_text(before), _text(worked.price)], **changed}, by=by, now=now)
    return quote


@transaction.atomic
def requote(quote_id: int, version_id: int, *, priced_on: date, by: User | None, now: datetime) -> Quote:
    """Price a quote anew from this version of a list in place of the one that it has of that list, at a day's prices.

    Raises NotApproved, also where the quote is priced from no version of that list; else as `reprice_quote`.
    """
    quote = _locked(quote_id)
    version = PriceListVersion.objects.select_related("price_list__supplier").get(pk=version_id)
    others = [row for row in _versions(quote) if row.price_list_id != version.price_list_id]
    if len(others) == quote.price_list_versions.count():
        raise NotApproved(f"{quote.number} is priced from no version of {version.price_list}.")
    return reprice_quote(quote_id, version_ids=[*(row.pk for row in others), version.pk], priced_on=priced_on, by=by,
                         now=now)


@transaction.atomic
def issue_revision(quote_id: int, *, by: User | None, now: datetime) -> Revision:
    """Freeze a quote as its next revision: snapshot, lines, drawings and the papers' HTML, all or nothing.

    Raises QuoteBlocked where the quote has no price, PricesEnded where one of its prices ended before today.
    """
    office = the_office()
    quote = _locked(quote_id)
    worked = _estimate(quote, quote.framing, _versions(quote), office)
    if worked.is_blocked or worked.price is None:
        raise QuoteBlocked(quote.number, worked.findings)
    today = local_day(office, now)
    ends = worked.prices_valid_to
    if ends is not None and ends < today:
        raise PricesEnded(f"{quote.number} rests on prices that ended on {ends}, and today is {today}; price it anew "
                          "with a list that holds today.")
    last = today + timedelta(days=office.quote_valid_days)
    valid_until = min(last, ends) if ends else last
    number = (quote.revisions.aggregate(most=Max("number"))["most"] or 0) + 1
    snapshot = _snapshot(quote, number, worked, office, today, valid_until)
    framing = quote.framing
    papers = {
        "plan_svg": framing.plan_svg,
        "section_svg": framing.section_svg,
        "proposal_html": proposal_html(snapshot, framing.plan_svg, framing.section_svg),
        "cut_sheets_html": cut_sheets_html(
            snapshot["framing"], snapshot["survey"], snapshot["build"],
            paper=f"Cut sheets {quote.number}, revision {number}", mark=HASH_MARK, plan_svg=framing.plan_svg,
        ),
    }
    text = canonical(snapshot)
    revision = Revision.objects.create(
        quote=quote, number=number, snapshot=text, sha256=snapshot_sha256(text, **papers), price=worked.price,
        valid_until=valid_until, issued_at=now, issued_by=by, **papers,
    )
    _write_lines(quote, worked, revision)
    move_on(quote.job_id, "quoted", by=by, now=now)
    note(revision, "issue", {"price": [None, str(worked.price)], "sha256": [None, revision.sha256]}, by=by, now=now)
    return revision


def sensitivity_of(quote: Quote) -> tuple[Decimal, tuple[Change, ...]]:
    """The price of a quote and what more or fewer hours, dearer or cheaper goods make of it. Raises QuoteBlocked."""
    findings = [Finding(**finding) for finding in quote.estimate["findings"]]
    if quote.price is None:
        raise QuoteBlocked(quote.number, findings)
    return quote.price, sensitivity(
        list(quote.lines.filter(revision=None)), terms_as_priced(quote.estimate["terms"]), discount_of(quote.discount)
    )


def terms_as_priced(kept: Mapping[str, str]) -> Terms:
    """The terms that an estimate was made with, from its text."""
    words = {"tax_place", "overhead_on", "profit_on", "taxed_lines"}
    return Terms(**{name: value if name in words else Decimal(value)  # type: ignore[arg-type]
                    for name, value in kept.items()})


def snapshot_sha256(snapshot: str, *, plan_svg: str, section_svg: str, proposal_html: str, cut_sheets_html: str) -> str:
    """The hash of what a revision keeps, and of nothing made from it later."""
    kept = [snapshot, plan_svg, section_svg, proposal_html, cut_sheets_html]
    return hashlib.sha256(json.dumps(kept).encode()).hexdigest()


def is_intact(revision: Revision) -> bool:
    """Whether a revision still is what its hash says."""
    return revision.sha256 == snapshot_sha256(
        revision.snapshot, plan_svg=revision.plan_svg, section_svg=revision.section_svg,
        proposal_html=revision.proposal_html, cut_sheets_html=revision.cut_sheets_html,
    )


def notes_of(framing: Framing, worked: Estimate | None = None, uses: Sequence[Use] = (), *,
             office: Office | None = None) -> tuple[Note, ...]:
    """The notes of a framing, and those of an estimate of it: what its recipes (`uses`) call for, its allowances.

    With the `office` that offers it they speak of the contract too.
    """
    build = framing.build
    documents = framing.document, build.survey.document, build.document
    told = worked.recipes if worked else ()
    recipes = recipe_notes(uses, told, *documents)
    allowances = [_allowance_note(line, worked.currency) for line in (worked.lines if worked else ()) if line.allowance]
    kinds = frozenset(recipe["kind"] for recipe in told)
    contract = None if office is None or worked is None else contract_of(build.survey.job, worked, office)
    return apart((*notes_for(*documents, priced=kinds, contract=contract), *recipes, *allowances))


def contract_of(job: Job, worked: Estimate, office: Office) -> Contract:
    """What the records know of a contract."""
    given = job.consent_given_on
    return Contract(jurisdiction=job.jurisdiction, price=worked.price, license_number=office.license_number,
                    roof_owner=job.roof_owner, consent_needed=job.consent_needed,
                    consent_given_on=given.isoformat() if given else "")


def _allowance_note(line: Line, currency: str) -> Note:
    """What is allowed, what it includes, and how the difference is settled; that of a price list goes at cost."""
    came = line.came_from
    text = f"{line.description}: {money(line.cost, currency)} before overhead and profit is allowed."
    text += f" Included: {came['includes'].rstrip('.')}." if came.get("includes") else ""
    basis, source = "price list", f"{came.get('sku')} of {came.get('price_list')} version " \
                                  f"{came.get('price_list_version')}"
    if line.kind == "allowance":
        basis, source = "agreed with the owner", "this quote"
    return Note(key="allowance", section="allowance", basis=basis, source=source, decided_by="owner and contractor",
                text=f"{text} {SETTLEMENTS[came.get('settlement', 'cost')]}.")


def _approved(version_ids: Collection[int] | None) -> list[PriceListVersion]:
    if version_ids is None:
        return versions_in_force()
    rows = PriceListVersion.objects.filter(pk__in=version_ids).select_related("price_list__supplier")
    versions = list(rows.order_by("pk"))
    for version in versions:
        if version.state != PriceListVersion.State.APPROVED:
            raise NotApproved(f"{version} is not approved yet; approve it before pricing from it.")
    lists = [version.price_list_id for version in versions]
    if len(set(lists)) < len(lists):
        raise NotApproved("Two versions of one price list were named; expected one of each list.")
    return versions


def _locked(quote_id: int) -> Quote:
    """The quote with its framing, nobody else changing it until the transaction ends."""
    rows = Quote.objects.select_for_update(of=("self",)).select_related("framing__build__survey", "job")
    return rows.get(pk=quote_id)


def _versions(quote: Quote) -> list[PriceListVersion]:
    return list(quote.price_list_versions.select_related("price_list__supplier").order_by("pk"))


def _pinned(recipes: Sequence[Mapping[str, Any]], on: date) -> list[dict[str, Any]]:
    """What a quote keeps of its recipes: each with the version that it is made with."""
    asked = [(recipe["recipe"], recipe.get("version")) for recipe in recipes]
    versions = chosen_versions(asked, on)
    return [{"recipe": key[0], "version": versions[key].pk, "quantities": list(recipe["quantities"]),
             "corners": recipe.get("corners", 0)} for key, recipe in zip(asked, recipes, strict=True)]


def _added(quote: Quote, framing: Framing, uses: Sequence[Use]) -> Added:
    tasks = {task["task"] for use in uses for task in use.content.get("labor") or ()}
    rates = production_rates_on(quote.priced_on, tasks)
    return rows_of(uses, framing.document, framing.build.survey.document, rates) if uses else Added()


def _estimate(quote: Quote, framing: Framing, versions: Sequence[PriceListVersion], office: Office) -> Estimate:
    document = framing.document
    added = _added(quote, framing, uses_of(quote.recipes))
    extras = [Extra(row["item"], Decimal(row["quantity"]), row["unit"], row["reason"]) for row in quote.extras]
    allowances = [Allowance(row["name"], Decimal(row["amount"]), row["includes"], row["settlement"], row["taxable"])
                  for row in quote.allowances or ()]
    terms, tax = terms_on(office, quote.job.jurisdiction, quote.priced_on)
    rates, mix, asks = crew_on(quote.priced_on, quote.crew_mix)
    worked = estimate(
        document, prices_on(items_of(document, extras, added), quote.priced_on, versions), rates, terms,
        currency=office.currency, schedule=payment_schedule(office), extras=extras, added=added, allowances=allowances,
        discount=discount_of(quote.discount), tax=tax, crew_mix=mix, asks=asks,
    )
    if worked.price is None:
        return worked
    cautions = (deposit_caution(worked.price, worked.payments, quote.job.jurisdiction, quote.priced_on),
                escalation_caution(quote.escalation))
    return replace(worked, accuracy=band(worked.price, known_of(document, worked.lines)),
                   cautions=tuple(found for found in cautions if found))


def discount_of(kept: Mapping[str, Any] | None) -> Discount | None:
    """The discount that a quote keeps."""
    if kept is None:
        return None
    amount, share = (None if kept[name] is None else Decimal(kept[name]) for name in ("amount", "share"))
    return Discount(kept["reason"], amount, share, kept["place"])


def _snapshot(quote: Quote, number: int, worked: Estimate, office: Office, today: date, valid_until: date
              ) -> dict[str, Any]:
    framing, build = quote.framing, quote.framing.build
    uses = uses_of(quote.recipes)
    return {
        "format": FORMAT,
        "quote": {"number": quote.number, "revision": number, "job": quote.job_id, "issued_on": today.isoformat(),
                  "valid_until": valid_until.isoformat(), "priced_on": quote.priced_on.isoformat()},
        "office": {name: getattr(office, name) for name in (
            "name", "address", "phone", "email", "license_number", "time_zone", "currency", "exclusions", "warranty",
            "notices",
        )},
        "survey": build.survey.document,
        "build": build.document,
        "framing": framing.document,
        "price_lists": [{"id": version.pk, "list": str(version), "sha256": version.source_sha256}
                        for version in _versions(quote)],
        "extras": quote.extras,
        "agreed": {"crew_mix": quote.crew_mix, "allowances": quote.allowances, "discount": quote.discount,
                   "escalation": quote.escalation},
        "recipes": [asdict(use) for use in uses],
        "estimate": worked.as_json(),
        "notes": [found.as_json() for found in apart((*notes_of(framing, worked, uses, office=office),
                                                      *_own_exclusions(office)))],
    }


def _own_exclusions(office: Office) -> list[Note]:
    """What the office always leaves out."""
    lines = [line.strip() for line in office.exclusions.splitlines() if line.strip()]
    return [Note(key="office-exclusion", section="exclusion", text=line, basis="scope", source="office",
                 decided_by="owner and contractor") for line in lines]


def _write_lines(quote: Quote, worked: Estimate, revision: Revision | None) -> None:
    QuoteLine.objects.bulk_create([
        QuoteLine(
            quote=quote, revision=revision, position=position, group=line.group, kind=line.kind, item=line.item,
            description=line.description, quantity=line.quantity, unit=line.unit, unit_price=line.unit_price,
            price_unit=line.price_unit, cost=line.cost, taxable=line.taxable, allowance=line.allowance,
            price_id=line.came_from.get("price"), came_from=line.came_from,
        )
        for position, line in enumerate(worked.lines, start=1)
    ])


def _summary(worked: Estimate) -> dict[str, Any]:
    return {name: value for name, value in worked.as_json().items() if name != "lines"}


def _as_json(extra: Extra) -> Mapping[str, str]:
    return {"item": extra.item, "quantity": str(extra.quantity), "unit": extra.unit, "reason": extra.reason}


def _text(amount: Decimal | None) -> str | None:
    return None if amount is None else str(amount)
