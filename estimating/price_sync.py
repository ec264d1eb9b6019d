"""Keeping a price list up to date from its address: fetched by hand, by the interface or on schedule, as a run.

A run that is cut off changes nothing and is taken up again from its row: the file is fetched anew, and its prices, its
comparison and, within the office's limits, its approval are one transaction with the run's end.
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import OuterRef, Subquery
from django.utils import timezone

from estimating import price_lists
from estimating.models import PriceFetch, PriceList, PriceListVersion, Run, User
from estimating.office import OfficeNotSet, local_day, the_office
from estimating.price_fetch import Fetched, FetchFailed, fetch
from estimating.price_files import PriceListError
from estimating.service import runs
from estimating.service.problems import refusal
from estimating.service.runs import RunRefused

KIND = "price-sync"
Outcome = PriceFetch.Outcome
Store = Callable[[], dict[str, Any]]


@refusal(409)
class NoAddress(PriceListError):
    """The price list has no address to be fetched from."""


def subject_of(price_list: PriceList) -> str:
    return f"price-list/{price_list.pk}"


def start_sync(price_list: PriceList, *, by: User | None, now: datetime) -> Run:
    """Start fetching a list, or hand back the run that is at it. Raises NoAddress."""
    if not price_list.source_url:
        raise NoAddress(f"{price_list} has no source_url to be fetched from.")
    with transaction.atomic():
        PriceList.objects.select_for_update().get(pk=price_list.pk)
        going = Run.objects.filter(kind=KIND, subject=subject_of(price_list)).exclude(state__in=runs.ENDED).first()
        return going or runs.start_run(KIND, subject_of(price_list), by=by, now=now)


def start_due_syncs(*, now: datetime) -> int:
    """Start every list whose time has come since it was last tried; how many there were."""
    last = PriceFetch.objects.filter(price_list=OuterRef("pk")).order_by("-at").values("at")[:1]
    lists = PriceList.objects.filter(every_hours__isnull=False).exclude(source_url="").annotate(last=Subquery(last))
    due = [row for row in lists if row.last is None or row.last + timedelta(hours=row.every_hours) <= now]
    return sum(start_sync(row, by=None, now=now).created_at == now for row in due)


def sync(run: Run, report: runs.Report, *, clock: Callable[[], datetime] = timezone.now) -> Store:
    """The work of a run of this kind."""
    try:
        price_list = PriceList.objects.select_related("supplier").get(pk=run.subject.partition("/")[2])
    except (PriceList.DoesNotExist, ValueError):
        raise RunRefused(f"There is no {run.subject} any more") from None
    report(5, "fetching")
    known = last_good(price_list)
    try:
        got = fetch(
            price_list.source_url, authorization=price_list.authorization,
            authorizations=settings.PRICE_AUTHORIZATIONS, own_hosts=settings.PRICE_HOSTS,
            etag=known.etag if known else "", last_modified=known.last_modified if known else "",
        )  # fmt: skip
    except FetchFailed as failed:
        raise _tell(price_list, Outcome.FAILED, str(failed), clock()) from None
    if got.content is None:
        return lambda: _told(_note(price_list, Outcome.UNCHANGED, "as it was", clock(), got))
    try:
        file = price_lists.read_file(
            price_list, got.content, report=lambda rows: report(min(60, 20 + rows // 5_000), f"{rows} rows read")
        )
        report(70, "comparing with the version in force")
        look = price_lists.look_at(price_list, file, today=local_day(the_office(), clock()))
    except (PriceListError, OfficeNotSet) as refused:
        raise _tell(price_list, Outcome.REFUSED, str(refused)[:2_000], clock()) from None
    report(80, f"keeping {len(file.prices)} prices")

    def store() -> dict[str, Any]:
        now = clock()
        try:
            with transaction.atomic():
                version, kept = price_lists.stage(
                    price_list, file, look, source_name=got.url.rpartition("/")[2], by=run.created_by, now=now
                )
        except price_lists.RepeatedFile as repeated:
            return _told(_note(price_list, Outcome.UNCHANGED, str(repeated), now, got, repeated.version))
        reasons = price_lists.why_a_person(version, kept)
        if reasons:
            fetched = _note(price_list, Outcome.STAGED, "For a person: " + "; ".join(reasons), now, got, version)
        else:
            version = price_lists.approve_version(version.pk, by=None, now=now)
            inside = "every change is within the office's limits"
            fetched = _note(price_list, Outcome.APPROVED, inside, now, got, version)
        return _told(fetched)

    return store


def last_good(price_list: PriceList) -> PriceFetch | None:
    """The last fetch from the present address whose file is still there, staged or in force: only its tags hold."""
    good = price_list.fetches.filter(
        outcome__in=(Outcome.UNCHANGED, Outcome.STAGED, Outcome.APPROVED), url=price_list.source_url
    ).order_by("-pk").first()
    if good is None or good.list_version is None:
        return None
    latest = price_lists.latest_version(price_list)
    there = good.list_version.state == PriceListVersion.State.STAGED or good.list_version == latest
    return good if there else None


def _note(
    price_list: PriceList, outcome: str, detail: str, at: datetime, got: Fetched | None = None,
    version: PriceListVersion | None = None,
) -> PriceFetch:
    if got is not None and got.content is None and version is None:
        known = last_good(price_list)
        version = known.list_version if known else None
    return PriceFetch.objects.create(
        price_list=price_list, at=at, outcome=outcome, detail=detail, url=price_list.source_url,
        etag=got.etag if got else "", last_modified=got.last_modified if got else "", list_version=version,
    )


def _tell(price_list: PriceList, outcome: str, detail: str, at: datetime) -> RunRefused:
    """Note an attempt that came to nothing; the refusal for the run."""
    _note(price_list, outcome, detail, at)
    return RunRefused(detail)


def _told(fetched: PriceFetch) -> dict[str, Any]:
    """The result of a run."""
    result: dict[str, Any] = {"outcome": fetched.outcome, "detail": fetched.detail}
    if fetched.list_version_id:
        where = f"/api/v1/price-lists/{fetched.price_list_id}/versions/{fetched.list_version_id}"
        result |= {"version": fetched.list_version_id, "url": where}
    return result
