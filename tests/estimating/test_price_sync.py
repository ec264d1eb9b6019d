"""Tests of keeping a list up to date: what changes it, what waits for a person, what changes nothing, and a kill."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection

from estimating.models import History, Office, Price, PriceFetch, PriceList, PriceListVersion, Run, Supplier
from estimating.price_columns import COLUMNS
from estimating.price_lists import approve_version, latest_version, stage_price_file
from estimating.price_sync import NoAddress, start_due_syncs, start_sync
from estimating.service import runs
from tests.estimating.price_sources import Source, kill_half_way, serving

NOW = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
LIMITS = {"most_rise": "5", "most_fall": "5", "most_new": 1, "most_gone": 1, "most_rejected": 0}


def file_of(price: str = "10.00", items: int = 4, **more: str) -> bytes:
    lines = [f"T-{n},Board,LF,LF,,LF,{price},USD,per LF,2026-03-01,,active" for n in range(items)]
    lines += [f"{sku},Board,LF,LF,,LF,{cost},USD,per LF,2026-03-01,,active" for sku, cost in more.items()]
    return "\n".join([",".join(COLUMNS), *lines, ""]).encode()


@pytest.fixture
def source(settings):
    with serving(Source(file_of())) as served:
        settings.PRICE_HOSTS = [served.host]
        yield served


@pytest.fixture
def price_list(db, source) -> PriceList:
    Office.objects.create(name="Test Decks")
    supplier = Supplier.objects.create(name="Test Timber")
    made = PriceList.objects.create(supplier=supplier, name="yard", source_url=source.url, limits=LIMITS)
    first = stage_price_file(made.pk, file_of(), source_name="first.csv", by=None, now=NOW)
    approve_version(first.pk, by=None, now=NOW)
    return made


def synced(price_list: PriceList, later: int = 0) -> Run:
    run = start_sync(price_list, by=None, now=NOW + timedelta(hours=later))
    done = runs.perform(run.pk, clock=lambda: NOW + timedelta(hours=later))
    assert done is not None
    return done


def send(source: Source, content: bytes) -> None:
    source.content, source.etag = content, f'"{hash(content)}"'


def versions(price_list: PriceList) -> list[tuple[str, int | None]]:
    return list(price_list.versions.order_by("pk").values_list("state", "number"))


def test_a_change_within_the_offices_limits_is_in_force_at_once(price_list, source):
    send(source, file_of("10.40"))
    run = synced(price_list)
    assert (run.state, run.result["outcome"]) == ("done", "approved")
    assert versions(price_list) == [("approved", 1), ("approved", 2)]
    latest = latest_version(price_list)
    assert run.result["url"] == f"/api/v1/price-lists/{price_list.pk}/versions/{latest.pk}"
    assert latest.approved_by is None and latest.changes["dearer"] == 4
    assert History.objects.filter(action="approve", subject_id=latest.pk).exists()


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (file_of("10.51"), "5.1 % is the largest rise; the office's limit is 5"),
        (file_of("9.40"), "6 % is the largest fall"),
        (file_of("21.00"), "under half or over twice"),
        (file_of(N1="1.00", N2="1.00"), "2 rows are new"),
        (file_of(items=2), "2 items are gone"),
        (file_of(items=1), "only 1 are in this file: is it whole?"),
        (file_of(N1=""), "1 rows were rejected"),
    ],
)
def test_a_change_beyond_a_limit_waits_for_a_person_and_says_why(price_list, source, content, why):
    send(source, content)
    run = synced(price_list)
    assert (run.state, run.result["outcome"]) == ("done", "staged")
    assert why in run.result["detail"]
    assert versions(price_list) == [("approved", 1), ("staged", None)]


def test_without_limits_every_version_waits_for_a_person(price_list, source):
    PriceList.objects.update(limits=None)
    send(source, file_of("10.01"))
    assert synced(price_list).result["outcome"] == "staged"


def test_the_same_file_changes_nothing(price_list, source):
    run = synced(price_list)
    assert run.result["outcome"] == "unchanged" and "nothing was changed" in run.result["detail"]
    again = synced(price_list, later=1)
    assert again.result["outcome"] == "unchanged" and source.asked[-1]["if-none-match"] == '"1"'
    assert versions(price_list) == [("approved", 1)] and Price.objects.count() == 4


def test_tags_are_not_sent_once_another_version_is_in_force(price_list, source):
    """Else a file that was replaced by hand could never come back."""
    send(source, file_of("10.40"))
    synced(price_list)
    other = stage_price_file(price_list.pk, file_of("10.50"), source_name="by hand", by=None, now=NOW)
    approve_version(other.pk, by=None, now=NOW)
    assert synced(price_list, later=1).result["outcome"] == "approved"
    assert "if-none-match" not in source.asked[-1]
    assert versions(price_list)[-1] == ("approved", 4)


@pytest.mark.parametrize(
    ("content", "said"), [(b"", "empty file"), (b"<html>Log in</html>", "no column"), (file_of()[:-20], "cut off")]
)
def test_a_file_that_cannot_be_read_fails_the_run_and_changes_nothing(price_list, source, content, said):
    send(source, content)
    run = synced(price_list)
    assert run.state == "failed" and said in run.problem["detail"]
    assert PriceFetch.objects.get().outcome == "refused" and versions(price_list) == [("approved", 1)]


def test_an_address_that_does_not_answer_fails_the_run_and_is_tried_again_when_due(price_list, source, settings):
    settings.PRICE_HOSTS = []
    PriceList.objects.update(every_hours=6, source_url="https://127.0.0.1:1/list.csv")
    price_list.refresh_from_db()
    run = synced(price_list)
    assert run.state == "failed" and "not on the public internet" in run.problem["detail"]
    tried = PriceFetch.objects.get().at
    assert start_due_syncs(now=tried + timedelta(hours=5)) == 0
    assert start_due_syncs(now=tried + timedelta(hours=6)) == 1


def test_a_list_is_due_by_its_own_hours_and_only_once(price_list):
    assert start_due_syncs(now=NOW) == 0  # by hand only
    PriceList.objects.update(every_hours=24)
    assert start_due_syncs(now=NOW) == 1
    assert start_due_syncs(now=NOW + timedelta(seconds=1)) == 0  # it is at it
    (run,) = Run.objects.all()
    assert runs.perform(run.pk).state == "done"
    done = PriceFetch.objects.get().at
    assert start_due_syncs(now=done + timedelta(hours=23)) == 0
    assert start_due_syncs(now=done + timedelta(hours=24)) == 1


def test_asking_twice_gives_the_run_that_is_at_it(price_list):
    assert start_sync(price_list, by=None, now=NOW) == start_sync(price_list, by=None, now=NOW)


def test_a_list_without_an_address_is_not_fetched(price_list):
    price_list.source_url = ""
    with pytest.raises(NoAddress):
        start_sync(price_list, by=None, now=NOW)


def test_a_cancelled_run_leaves_nothing(price_list, source):
    send(source, file_of("10.40"))
    run = start_sync(price_list, by=None, now=NOW)

    def cancel(handler) -> None:
        raise AssertionError("not reached")

    runs.cancel_run(run, now=NOW)
    source.answer = cancel
    assert runs.perform(run.pk) is None
    assert versions(price_list) == [("approved", 1)]


def test_a_version_approved_while_the_file_was_read_is_what_it_is_compared_with(price_list, source, monkeypatch):
    from estimating import price_lists

    send(source, file_of("10.40"))
    look_at = price_lists.look_at

    def meanwhile(*args, **words):
        look = look_at(*args, **words)
        monkeypatch.setattr(price_lists, "look_at", look_at)
        other = stage_price_file(price_list.pk, file_of("15.00"), source_name="by hand", by=None, now=NOW)
        approve_version(other.pk, by=None, now=NOW)
        return look

    monkeypatch.setattr(price_lists, "look_at", meanwhile)
    run = synced(price_list)
    assert run.result["outcome"] == "staged" and "largest fall" in run.result["detail"]
    staged = price_list.versions.get(state="staged")
    assert staged.compared_with.number == 2 and staged.changes["cheaper"] == 4


@pytest.mark.django_db(transaction=True)
def test_an_import_that_is_killed_leaves_the_old_version_in_force_and_is_resumed(price_list, source):
    send(source, file_of("10.40", items=5_000))
    PriceList.objects.update(limits=LIMITS | {"most_new": 5_000})
    run = start_sync(price_list, by=None, now=NOW)
    connection.close()
    kill_half_way(run.pk, connection.settings_dict, source)
    run.refresh_from_db()
    assert run.state == "running"
    assert versions(price_list) == [("approved", 1)] and Price.objects.count() == 4
    assert not PriceFetch.objects.exists()
    assert runs.perform(run.pk) is None  # it may still be at it, as far as anyone knows
    later = run.heartbeat_at + runs.LEASE + timedelta(seconds=1)
    done = runs.perform(run.pk, clock=lambda: later)
    assert done.state == "done" and done.attempts == 2 and done.result["outcome"] == "approved"
    assert versions(price_list) == [("approved", 1), ("approved", 2)] and Price.objects.count() == 5_004
    assert PriceListVersion.objects.count() == 2
