"""The whole path over HTTP, from a token to the papers, and what each step refuses."""

import csv
import io
import json
import re

import ezdxf
import pytest
from django.core.management import call_command
from django.test import Client

from estimating.models import Run
from framing import records
from framing.models import Build, Framing, Survey
from quotes.demonstration import DATA, told
from quotes.models import Quote, Revision
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db
API = "/api/v1"
SURVEY = json.loads((DATA / "survey.json").read_text())
BUILD = json.loads((DATA / "build.json").read_text())
MOUNTAIN = "[" * 3_000_000


def made(answer, status=201):
    assert answer.status_code == status, answer.content[:2000]
    return answer.json()


@pytest.fixture
def job(api) -> int:
    """Office, customer and job, as a program makes them."""
    words = told()
    made(api.put(f"{API}/office", words["office"]), 200)
    customer = made(api.post(f"{API}/customers", words["customer"]))
    return made(api.post(f"{API}/jobs", {**words["job"], "customer": customer["id"]}))["id"]


@pytest.fixture
def prices(api, job) -> int:
    """Supplier, materials, approved price list and labor rates."""
    words = told()
    supplier = made(api.post(f"{API}/suppliers", words["supplier"]))["id"]
    with (DATA / "materials.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            made(api.post(f"{API}/materials", {
                "item_key": row["item_key"], "sku": row["sku"], "supplier": supplier,
                "thickness": row["thickness"] or None, "width": row["width"] or None,
                "taxable": row["taxable"] == "yes",
            }))
    for grade, rate in words["rates"]:
        made(api.post(f"{API}/rates/labor", {"grade": grade, "rate": rate, "valid_from": words["rates_from"]}))
    listed = made(api.post(f"{API}/price-lists", {"supplier": supplier, "name": "Trade list"}))["id"]
    staged = api.generic("POST", f"{API}/price-lists/{listed}/versions", (DATA / "price-list.csv").read_bytes(),
                         content_type="text/csv")
    version = made(staged)["id"]
    made(api.post(f"{API}/price-lists/{listed}/versions/{version}/approve", {}, HTTP_IF_MATCH=staged["ETag"]), 200)
    return version


@pytest.fixture
def survey(api, job) -> int:
    return made(api.post(f"{API}/surveys", {"job": job, "document": SURVEY}))["id"]


@pytest.fixture
def framing(api, survey) -> int:
    return made(api.post(f"{API}/framings", {"survey": survey, "build": BUILD}))["id"]


@pytest.fixture
def quote(api, job, framing, prices):
    extras = [dict(zip(("item", "quantity", "unit", "reason"), row, strict=True)) for row in told()["extras"]]
    body = {"job": job, "framing": framing, "price_list_versions": [prices], "extras": extras}
    return api.post(f"{API}/quotes", body)


def test_the_whole_path_from_a_token_to_the_papers(owner, stranger, quote, api):
    token = made(stranger.post(f"{API}/tokens", {"username": "owner", "password": PASSWORD, "name": "path"}))["token"]
    stranger.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    body = made(quote)
    assert body["estimate"]["findings"] == [] and re.fullmatch(r"[0-9]+\.[0-9]{2}", body["price"])
    assert all(line["came_from"] for line in body["lines"])
    revisions = f"{API}/quotes/{body['id']}/revisions"
    revision = made(stranger.post(revisions, {}, HTTP_IF_MATCH=quote["ETag"]))
    assert revision["price"] == body["price"] and re.fullmatch("[0-9a-f]{64}", revision["sha256"])
    answer = stranger.post(f"{revisions}/1/render", {})
    run = made(answer, 202)["run"]
    assert answer["Location"] == f"{API}/runs/{run['id']}"
    call_command("sweep")
    done = stranger.get(answer["Location"]).json()
    assert done["state"] == "done", done
    files = {file["kind"]: file for file in done["result"]["files"]}
    assert set(files) == {"proposal", "office-copy", "cut-sheets", "material-list", "care-sheet", "purchase-list"}
    proposal = stranger.get(files["proposal"]["url"])
    assert proposal.status_code == 200 and proposal.content.startswith(b"%PDF")
    assert len(proposal.content) == files["proposal"]["size"]
    assert files["proposal"]["name"] in proposal["Content-Disposition"]
    assert {row["sha256"] for row in stranger.get(f"{revisions}/1/files").json()["results"]} == {
        file["sha256"] for file in files.values()
    }


def test_a_framing_is_handed_out_as_it_was_kept(api, framing):
    summary = api.get(f"{API}/framings/{framing}")
    assert summary.json()["stops"] == 0 and summary.json()["area_sqft"] == pytest.approx(299.6, abs=0.5)
    document = api.get(f"{API}/framings/{framing}/document")
    assert document.json()["format"] == "deck-framing/1"
    assert document.content.decode() == Framing.objects.get(pk=framing).text
    assert api.get(f"{API}/framings/{framing}/plan.svg").content.startswith(b"<svg")
    dxf = api.get(summary.json()["plan_dxf"])
    assert dxf["Content-Type"] == "image/vnd.dxf" and dxf.content.startswith(b"  0\nSECTION")
    assert not ezdxf.read(io.StringIO(dxf.content.decode())).audit().has_issues
    assert api.get(f"{API}/framings/{framing}", HTTP_IF_NONE_MATCH=summary["ETag"]).status_code == 304


def test_a_survey_with_faults_is_refused_with_every_place_and_nothing_is_kept(api, job):
    wrong = {**SURVEY, "tapes": [*SURVEY["tapes"], ["A", "Q", -3]], "ladder": 1}
    answer = api.post(f"{API}/surveys", {"job": job, "document": wrong})
    assert answer.status_code == 422
    pointers = {error["pointer"] for error in answer.json()["errors"]}
    assert {"/document/tapes/6/1", "/document/tapes/6/2", "/document/ladder"} <= pointers
    assert all(error["expected"] for error in answer.json()["errors"])
    assert not Survey.objects.exists()


@pytest.mark.parametrize(("change", "pointer"), [
    ({"corners": ["A", "C", "B", "D"], "edges": []}, "/document/corners"),
    ({"tapes": [["A", "B", "60 ft"], *SURVEY["tapes"][1:]]}, "/document/tapes/0/2"),
])
def test_a_survey_whose_tapes_make_no_roof_is_refused_before_it_is_kept(api, job, change, pointer):
    answer = api.post(f"{API}/surveys", {"job": job, "document": {**SURVEY, **change}})
    assert answer.status_code == 422, answer.content[:500]
    assert pointer in {error["pointer"] for error in answer.json()["errors"]}
    assert not Survey.objects.exists()


def test_a_build_with_faults_is_refused_with_every_place_and_nothing_is_kept(api, survey):
    wrong = {**BUILD, "decking": {**BUILD["decking"], "width": "wide", "edge_gaps": {"A-Z": 1}}}
    answer = api.post(f"{API}/framings", {"survey": survey, "build": wrong})
    assert answer.status_code == 422
    assert "/build/decking/width" in {error["pointer"] for error in answer.json()["errors"]}
    elsewhere = {**BUILD, "decking": {**BUILD["decking"], "edge_gaps": {"A-Z": 1}}}
    answer = api.post(f"{API}/framings", {"survey": survey, "build": elsewhere})
    assert "/build/decking/edge_gaps/A-Z" in {error["pointer"] for error in answer.json()["errors"]}
    assert not Build.objects.exists() and not Framing.objects.exists()


@pytest.mark.parametrize(("body", "statuses"), [
    ('{"job": 1, "job": 2}', {422}), ('{"job": NaN}', {400, 422}), (MOUNTAIN, {400, 422}), ("no json", {400}),
    ("[]", {422}), ('{"job": "x", "document": 3}', {422}), ('{"job": 99999999999999999999, "document": {}}', {422}),
])  # fmt: skip
def test_a_body_that_is_none_is_refused_and_never_a_defect(api, job, body, statuses):
    for path in ("surveys", "framings", "quotes"):
        answer = api.generic("POST", f"{API}/{path}", body, content_type="application/json")
        assert answer.status_code in statuses, (path, answer.status_code, answer.content[:300])
        assert answer["Content-Type"] == "application/problem+json"


def test_a_document_over_the_limit_is_refused_for_its_size(api, job):
    too_long = {**SURVEY, "surveyor": "x" * 5_000_000}
    assert api.post(f"{API}/surveys", {"job": job, "document": too_long}).status_code == 413
    many = {**SURVEY, "tapes": [["A", "B", 258]] * 2_001}
    assert api.post(f"{API}/surveys", {"job": job, "document": many}).status_code == 413
    assert not Survey.objects.exists()


def test_a_corrected_survey_is_the_jobs_next_and_the_first_stays(api, job, survey):
    second = made(api.post(f"{API}/surveys", {"job": job, "document": {**SURVEY, "surveyor": "B. Finch"}}))
    assert second["number"] == 2
    assert api.get(f"{API}/surveys/{survey}").json()["document"] == SURVEY
    listed = api.get(f"{API}/surveys?job={job}").json()["results"]
    assert [row["number"] for row in listed] == [1, 2] and "document" not in listed[0]


def test_a_retry_with_the_same_key_makes_one_quote(api, job, framing, prices):
    body = {"job": job, "framing": framing}
    first = api.post(f"{API}/quotes", body, HTTP_IDEMPOTENCY_KEY="once")
    again = api.post(f"{API}/quotes", body, HTTP_IDEMPOTENCY_KEY="once")
    assert made(first)["id"] == made(again)["id"] and Quote.objects.count() == 1
    assert api.post(f"{API}/quotes", {"job": job}, HTTP_IDEMPOTENCY_KEY="once").status_code == 422


def test_a_revision_is_issued_only_of_the_quote_as_it_was_read(api, quote):
    path = f"{API}/quotes/{made(quote)['id']}"
    assert api.post(f"{path}/revisions", {}).status_code == 428
    assert made(api.patch(path, {"extras": []}, HTTP_IF_MATCH=quote["ETag"]), 200)["extras"] == []
    assert api.post(f"{path}/revisions", {}, HTTP_IF_MATCH=quote["ETag"]).status_code == 412
    assert not Revision.objects.exists()


def test_a_quote_without_a_price_for_something_names_it_and_cannot_be_issued(api, job, framing, prices):
    extra = {"item": "service/helicopter", "quantity": "1", "unit": "LS"}
    answer = api.post(f"{API}/quotes", {"job": job, "framing": framing, "extras": [extra]})
    body = made(answer)
    assert body["price"] is None and body["estimate"]["findings"][0]["about"] == "service/helicopter"
    refused = api.post(f"{API}/quotes/{body['id']}/revisions", {}, HTTP_IF_MATCH=answer["ETag"])
    assert refused.status_code == 409 and refused.json()["errors"][0]["read"] == "service/helicopter"
    assert not Revision.objects.exists()


def test_a_framing_that_stops_is_kept_and_cannot_be_issued(api, job, prices):
    levels = [{**level, "drop": "7"} if level["on"] == "threshold" else level for level in SURVEY["levels"]]
    survey = made(api.post(f"{API}/surveys", {"job": job, "document": {**SURVEY, "levels": levels}}))["id"]
    framing = made(api.post(f"{API}/framings", {"survey": survey, "build": BUILD}))
    assert framing["stops"] > 0
    body = made(api.post(f"{API}/quotes", {"job": job, "framing": framing["id"]}))
    assert body["price"] is None
    assert "framing-stop" in [finding["code"] for finding in body["estimate"]["findings"]]


@pytest.mark.parametrize("change", [
    {"framing": 999_999}, {"framing": None}, {"price_list_versions": "all"}, {"price_list_versions": [999_999]},
    {"priced_on": "yesterday"}, {"extras": [{"item": "x", "quantity": "-1", "unit": "EA"}]}, {"discount": "10"},
    {"extras": [{"item": "x", "quantity": "1", "unit": "LFT"}]}, {"extras": [{"quantity": "1", "unit": "EA"}]},
    {"extras": [{"item": "x", "quantity": "NaN", "unit": "EA"}]}, {"price_list_versions": [10**30]},
    {"extras": [{"item": "x", "quantity": "1", "unit": "EA"}] * 501}, {"price_list_versions": [1] * 51},
])  # fmt: skip
def test_a_quote_that_asks_for_what_is_not_there_is_refused(api, job, framing, change):
    answer = api.post(f"{API}/quotes", {"job": job, "framing": framing, **change})
    assert answer.status_code == 422 and answer.json()["errors"], answer.content
    assert not Quote.objects.exists()


def test_a_quantity_without_bounds_makes_no_price_and_no_defect(api, job, framing, prices):
    extra = {"item": "service/hoist", "quantity": "99999999999", "unit": "LS"}
    body = made(api.post(f"{API}/quotes", {"job": job, "framing": framing, "extras": [extra]}))
    assert body["price"] is None and body["estimate"]["findings"][0]["code"] == "too-large"


@pytest.mark.parametrize("path", [
    "quotes/99999999999999999999", "quotes/99999999999999999999/revisions", "framings/99999999999999999999",
    "quotes/1/revisions/99999999999999999999", "surveys/99999999999999999999/document", "quotes/1/revisions/1/files/x",
])  # fmt: skip
def test_an_address_that_leads_nowhere_is_not_found(api, path):
    assert api.get(f"{API}/{path}").status_code == 404


@pytest.mark.parametrize("query", ["quotes?job=99999999999999999999", "framings?survey=x", "surveys?colour=red",
                                   "framings?job=99999999999999999999"])
def test_a_filter_that_means_nothing_is_refused(api, query):
    assert api.get(f"{API}/{query}").status_code == 422


def test_framings_are_listed_by_survey_and_job(api, job, survey, framing):
    for query in (f"survey={survey}", f"job={job}", ""):
        assert [row["id"] for row in api.get(f"{API}/framings?{query}").json()["results"]] == [framing]


def test_a_large_roof_is_framed_by_a_run(api, survey, monkeypatch):
    monkeypatch.setattr(records, "AT_ONCE_SQFT", 100.0)
    answer = api.post(f"{API}/framings", {"survey": survey, "build": BUILD})
    assert answer.status_code == 202 and answer["Retry-After"]
    assert not Framing.objects.exists()
    call_command("sweep")
    done = api.get(answer["Location"]).json()
    assert done["state"] == "done"
    assert api.get(done["result"]["url"]).json()["area_sqft"] == pytest.approx(299.6, abs=0.5)


def test_everything_asks_for_a_token(stranger, quote):
    number = made(quote)["id"]
    for path in ("surveys", "framings", "quotes", f"quotes/{number}", f"quotes/{number}/revisions",
                 f"quotes/{number}/revisions/1/files", "framings/1/document", "framings/1/plan.svg",
                 "framings/1/plan.dxf"):
        assert stranger.get(f"{API}/{path}").status_code == 401, path


def test_the_crew_reads_surveys_and_its_papers_but_no_price(api, crew, as_user, quote):
    path = f"{API}/quotes/{made(quote)['id']}"
    made(api.post(f"{path}/revisions", {}, HTTP_IF_MATCH=quote["ETag"]))
    made(api.post(f"{path}/revisions/1/render", {}), 202)
    call_command("sweep")
    files = {file["kind"]: file for file in Run.objects.get(kind="render").result["files"]}
    hand = as_user(crew)
    assert hand.get(f"{API}/surveys").status_code == hand.get(f"{API}/framings").status_code == 200
    for closed in ("", "/revisions", "/revisions/1"):
        assert hand.get(path + closed).status_code == 403, closed
    assert hand.get(f"{API}/quotes").status_code == 403
    assert {row["kind"] for row in hand.get(f"{path}/revisions/1/files").json()["results"]} == {
        "cut-sheets", "material-list", "care-sheet", "purchase-list"}
    assert hand.get(files["cut-sheets"]["url"]).status_code == 200
    assert hand.get(files["proposal"]["url"]).status_code == 404
    assert hand.post(f"{path}/revisions/1/render", {}).status_code == 403


def test_who_may_only_read_changes_nothing(reader, as_user, job):
    eyes = as_user(reader)
    assert eyes.get(f"{API}/quotes").status_code == 200
    assert eyes.post(f"{API}/surveys", {"job": job, "document": SURVEY}).status_code == 403


def test_a_paper_is_not_handed_out_by_another_revisions_address(api, quote):
    path = f"{API}/quotes/{made(quote)['id']}/revisions"
    made(api.post(path, {}, HTTP_IF_MATCH=quote["ETag"]))
    assert api.get(f"{path}/1/files/{'0' * 64}").status_code == 404
    assert api.get(f"{path}/2/files").status_code == 404


def test_the_formats_and_the_schema_are_published(api):
    for name in ("roof-survey-1", "deck-build-1", "deck-framing-1"):
        assert api.get(f"{API}/formats/{name}").json()["$schema"]
    schema = Client().get(f"{API}/schema?format=json").json()
    for path in ("surveys", "framings", "quotes", "quotes/{quote_id}/revisions"):
        assert f"{API}/{path}" in schema["paths"], path
