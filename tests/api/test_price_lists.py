"""Tests of keeping price lists over HTTP: how a supplier's file is read, what changed, and fetching it."""

import csv
import io

import pytest
from openpyxl import Workbook

from estimating.models import Office, Price, PriceList, PriceListVersion, Run, Supplier
from estimating.price_columns import COLUMNS
from estimating.service import runs
from tests.estimating.price_sources import Source, serving

API = "/api/v1"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
THEIRS = "Item No;Description;UOM;Net price;Valid from\n" \
    "B-14;Board;LF;7,85;31.03.2026\nS-8;Stick;LF;1.180,00;31.03.2026\n"


@pytest.fixture
def desk(api):
    Office.objects.create(name="Test Decks")
    return api


@pytest.fixture
def where(desk) -> str:
    supplier = Supplier.objects.create(name="Test Timber")
    made = desk.post(f"{API}/price-lists", {"supplier": supplier.pk, "name": "yard"})
    assert made.status_code == 201, made.content
    return made["Location"]


def send(client, path: str, content: bytes, kind: str = "text/csv", **headers):
    return client.generic("POST", path, content, content_type=kind, **headers)


def patch(client, path: str, **values):
    return client.patch(path, values, HTTP_IF_MATCH=client.get(path)["ETag"])


def own(*rows: str) -> bytes:
    return "\n".join([",".join(COLUMNS), *rows, ""]).encode()


def board(sku: str = "B-14", price: str = "7.85", line_unit: str = "LF,LF,,LF", status: str = "active") -> str:
    return f"{sku},Board,{line_unit},{price},USD,,2026-03-01,,{status}"


def approved(client, where: str, content: bytes, **body):
    staged = send(client, f"{where}/versions", content)
    assert staged.status_code == 201, staged.content
    done = client.post(f"{staged['Location']}/approve", body, HTTP_IF_MATCH=staged["ETag"])
    assert done.status_code == 200, done.content
    return staged["Location"]


def test_a_suppliers_file_is_guessed_confirmed_and_then_read(desk, where):
    refused = send(desk, f"{where}/versions", THEIRS.encode())
    assert refused.status_code == 422
    guess = send(desk, f"{where}/guess", THEIRS.encode())
    assert guess.status_code == 200, guess.content
    body = guess.json()
    assert body["reading"]["columns"]["sku"] == "Item No" and body["reading"]["decimal"] == ","
    assert body["reading"]["dates"] == "dmy" and any(text.startswith("currency") for text in body["questions"])
    assert desk.get(where).json()["reading"] is None  # nothing is kept of a guess
    kept = patch(desk, where, reading=body["reading"] | {"constants": {"currency": "USD"}})
    assert kept.status_code == 200, kept.content
    staged = send(desk, f"{where}/versions", THEIRS.encode())
    assert staged.status_code == 201, staged.content
    prices = desk.get(f"{staged['Location']}/prices").json()["results"]
    assert [(row["sku"], row["price"], row["valid_from"]) for row in prices] == [
        ("B-14", "7.8500", "2026-03-31"), ("S-8", "1180.0000", "2026-03-31"),
    ]  # fmt: skip


def test_a_workbook_is_taken_and_a_bomb_is_not(desk, where):
    book = Workbook()
    book.active.append(COLUMNS)
    book.active.append(["B-14", "Board", "LF", "LF", None, "LF", 7.85, "USD", None, "2026-03-01", None, "active"])
    out = io.BytesIO()
    book.save(out)
    assert send(desk, f"{where}/versions", out.getvalue(), XLSX).json()["prices"] == 1
    assert send(desk, f"{where}/versions", out.getvalue()[:-50], XLSX).status_code == 422
    assert send(desk, f"{where}/guess", b"PK\x03\x04nonsense", XLSX).status_code == 422
    assert PriceListVersion.objects.count() == 1


@pytest.mark.parametrize(
    "values",
    [
        {"reading": {"columns": {}}}, {"reading": "csv"}, {"reading": []}, {"limits": {"most_rise": "5"}},
        {"limits": 5}, {"source_url": "http://prices.example.com/a.csv"}, {"source_url": "https://user:pw@prices.example.com/"},
        {"source_url": "https://prices.example.com/", "authorization": "NONE"}, {"authorization": "a b"},
        {"every_hours": 6}, {"every_hours": 0}, {"source_url": "https://prices.example.com/", "every_hours": 9_000},
        {"reading": {"columns": {"sku": "A"}, "decimal": None}}, {"tier": "t" * 41},
    ],
)  # fmt: skip
def test_what_a_list_cannot_be_set_to_is_refused_and_changes_nothing(desk, where, values):
    before = desk.get(where).json()
    refused = patch(desk, where, **values)
    assert refused.status_code == 422 and refused.json()["errors"], refused.content
    assert desk.get(where).json() == before


def test_the_secret_behind_an_authorization_is_never_shown(desk, where, settings):
    settings.PRICE_AUTHORIZATIONS = {"YARD": ("prices.example.com", "Bearer open-sesame")}
    kept = patch(desk, where, source_url="https://prices.example.com/list.csv", authorization="YARD", every_hours=24)
    assert kept.status_code == 200 and "open-sesame" not in str(kept.content)
    assert not PriceList.objects.filter(authorization__contains="sesame").exists()
    elsewhere = patch(desk, where, source_url="https://elsewhere.example.com/list.csv")
    assert elsewhere.status_code == 422 and "open-sesame" not in str(elsewhere.content)


def test_differences_are_told_row_by_row_page_by_page_and_as_csv(desk, where):
    approved(desk, where, own(board("A", "10.00"), board("B", "10.00"), board("C", "10.00"), board("G", "10.00")))
    staged = send(desk, f"{where}/versions", own(
        board("A", "11.00"), board("B", "9.00"), board("C", "100.00", "XBX,XBX,10,LF"), board("N", "1.00")
    ))
    assert staged.json()["changes"] == {
        "new": 1, "gone": 1, "dearer": 1, "cheaper": 1, "unit-changed": 1, "pack-changed": 0, "status-changed": 0,
        "same": 0,
    }  # fmt: skip
    path = f"{staged['Location']}/differences"
    body = desk.get(f"{path}?limit=3").json()
    assert [(row["kind"], row["sku"], row["percent"]) for row in body["results"]] == [
        ("dearer", "A", "10.00"), ("cheaper", "B", "-10.00"), ("unit-changed", "C", "0.00"),
    ]  # fmt: skip
    assert body["results"][0]["old"]["price"] == "10.0000" and body["results"][0]["new"]["line"] == 2
    rest = desk.get(body["next"]).json()
    assert [row["sku"] for row in rest["results"]] == ["N", "G"] and rest["next"] is None
    assert [row["sku"] for row in desk.get(f"{path}?kind=gone").json()["results"]] == ["G"]
    for query in ("kind=odd", "limit=0", "limit=201", "after=-1", "colour=red"):
        assert desk.get(f"{path}?{query}").status_code == 422, query
    answer = desk.get(f"{path}.csv")
    text = b"".join(answer.streaming_content).decode("utf-8-sig")
    assert [row["kind"] for row in csv.DictReader(io.StringIO(text))] == [
        "dearer", "cheaper", "unit-changed", "new", "gone",
    ]  # fmt: skip


def test_looking_at_differences_takes_no_more_queries_for_more_rows(desk, where, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def queries(count: int) -> int:
        version = approved(desk, where, own(*(board(f"{count}-{n}") for n in range(count))), accept=["partial"])
        with CaptureQueriesContext(connection) as seen:
            assert desk.get(f"{version}/differences").status_code == 200
        return len(seen)

    queries(1)
    assert queries(2) == queries(40)


def test_rejected_rows_are_exported_as_csv_in_which_no_cell_is_a_formula(desk, where):
    staged = send(desk, f"{where}/versions", own(
        board(), board("=HYPERLINK(1)"), board("@SUM(A1)"), board("+1"), board("-2"), board("N", "")
    ))
    answer = desk.get(f"{staged['Location']}/rejected.csv")
    assert answer["Content-Type"].startswith("text/csv") and "attachment" in answer["Content-Disposition"]
    text = b"".join(answer.streaming_content).decode("utf-8-sig")
    rows = list(csv.reader(io.StringIO(text)))
    assert rows[0] == ["line", "column", "code", "reason", *COLUMNS]
    assert [row[2] for row in rows[1:]] == ["formula", "odd-sku", "odd-sku", "odd-sku", "no-price"]
    assert [row[4] for row in rows[1:]] == ["'=HYPERLINK(1)", "'@SUM(A1)", "'+1", "'-2", "N"]
    assert not any(cell.startswith(("=", "+", "-", "@")) for row in rows for cell in row)


def test_what_holds_a_version_has_to_be_named_on_approval(desk, where):
    approved(desk, where, own(board("A", "10.00")))
    staged = send(desk, f"{where}/versions", own(board("A", "30.00")))
    assert [finding["code"] for finding in staged.json()["findings"] if finding["holds"]] == ["implausible"]
    path = f"{staged['Location']}/approve"
    held = desk.post(path, {}, HTTP_IF_MATCH=staged["ETag"])
    assert held.status_code == 409 and "implausible" in held.json()["detail"]
    assert desk.post(path, {"accept": ["partial"]}, HTTP_IF_MATCH=staged["ETag"]).status_code == 409
    assert Price.objects.count() == 2
    passed = desk.post(path, {"accept": ["implausible"]}, HTTP_IF_MATCH=staged["ETag"])
    assert passed.status_code == 200 and passed.json()["number"] == 2


def test_a_list_is_fetched_as_a_run(desk, where, settings):
    with serving(Source(own(board()))) as source:
        settings.PRICE_HOSTS = [source.host]
        assert desk.post(f"{where}/sync").status_code == 409  # there is no address yet
        assert patch(desk, where, source_url=source.url).status_code == 200
        accepted = desk.post(f"{where}/sync")
        assert accepted.status_code == 202 and accepted["Location"].startswith(f"{API}/runs/")
        assert desk.post(f"{where}/sync").json()["run"]["id"] == accepted.json()["run"]["id"]
        assert runs.sweep() == 1
    done = desk.get(accepted["Location"]).json()
    assert (done["state"], done["result"]["outcome"]) == ("done", "staged")
    assert desk.get(done["result"]["url"]).json()["prices"] == 1
    (fetched,) = desk.get(f"{where}/fetches").json()["results"]
    assert fetched["outcome"] == "staged" and fetched["list_version"] == done["result"]["version"]


@pytest.mark.parametrize("path", ["guess", "sync"])
def test_only_the_office_may_ask(where, path, as_user, crew, reader, stranger):
    for person, status in ((as_user(crew), 403), (as_user(reader), 403), (stranger, 401)):
        assert send(person, f"{where}/{path}", b"x").status_code == status
    assert not Run.objects.exists()


@pytest.mark.parametrize("path", ["differences", "differences.csv", "rejected.csv"])
def test_crew_and_strangers_see_no_differences(desk, where, path, as_user, crew, reader, stranger):
    version = approved(desk, where, own(board()))
    assert as_user(reader).get(f"{version}/{path}").status_code == 200
    assert as_user(crew).get(f"{version}/{path}").status_code == 403
    assert stranger.get(f"{version}/{path}").status_code == 401
    assert desk.get(f"{where}/versions/999999/{path}").status_code == 404
