"""Tests of the office's plain pages: who may look, what each sees, and nothing inline in them."""

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from estimating.files import keep_file
from estimating.models import Contact, Job, Note
from estimating.records import create_record
from quotes.demonstration import NOW
from quotes.models import OfferEvent, RenderedFile
from quotes.paper import files as papers
from tests.conftest import PASSWORD
from tests.quotes.offered import offered


@pytest.fixture
def page(scenario):
    """A browser of a person of the office."""

    def of(user) -> Client:
        client = Client()
        client.force_login(user)
        return client

    return of


@pytest.fixture
def rendered(scenario):
    """Papers without their looks: rendering is tested elsewhere."""
    made = {kind: papers.Paper("application/pdf", b"%PDF " + kind.encode()) for kind in RenderedFile.Kind.values}
    return papers.keep_papers(scenario.revision, made, now=scenario.revision.issued_at)


def address(scenario) -> str:
    return f"/jobs/{scenario.job.pk}/"


def test_every_page_asks_for_a_log_in_first(scenario, rendered):
    framing = scenario.framing.pk
    for path in ("/", address(scenario), f"/framings/{framing}/plan.svg", f"/papers/{rendered[0].pk}"):
        answer = Client().get(path)
        assert answer.status_code == 302 and answer.headers["Location"].startswith("/login/"), path


def test_a_person_logs_in_with_name_and_password_and_out_again(scenario, owner):
    client = Client()
    wrong = client.post("/login/", {"username": "owner", "password": "guess"})
    assert wrong.status_code == 200 and "not known here" in wrong.content.decode()
    assert client.post("/login/", {"username": "owner", "password": PASSWORD}).headers["Location"] == "/"
    assert client.get("/").status_code == 200
    assert client.post("/logout/").status_code == 302
    assert client.get("/").status_code == 302


def test_the_list_shows_the_job_with_its_price(scenario, page, estimator):
    text = page(estimator).get("/").content.decode()
    assert "Marlowe Residence" in text and f"${scenario.revision.price:,.2f}" in text


def test_the_job_page_shows_plan_findings_price_and_papers(scenario, rendered, page, estimator):
    text = page(estimator).get(address(scenario)).content.decode()
    assert f"${scenario.revision.price:,.2f}" in text
    assert re.search(rf'<img src="/framings/{scenario.framing.pk}/plan.svg" alt="[^"]{{40,}}"', text)
    for check in scenario.framing.document["checks"]:
        if check["status"] == "caution":
            assert check["decided_by"] in text and check["text"][:20].split("&")[0] in text
    assert all(f"/papers/{file.pk}" in text for file in rendered)
    assert "is not accepted; nothing is ordered for it" in text


CREWS = {"cut-sheets", "purchase-list", "material-list", "care-sheet"}


def test_the_crew_sees_its_papers_and_no_price(scenario, rendered, page, crew):
    client = page(crew)
    for path in ("/", address(scenario)):
        assert "$" not in client.get(path).content.decode()
    text = client.get(address(scenario)).content.decode()
    seen = {file.kind: f'href="/papers/{file.pk}"' in text for file in rendered}
    assert {kind for kind, is_seen in seen.items() if is_seen} == CREWS
    answers = {file.kind: client.get(f"/papers/{file.pk}").status_code for file in rendered}
    assert answers == {kind: 200 if kind in CREWS else 404 for kind in seen}


def test_the_job_page_says_how_sure_it_is_and_what_the_cost_may_come_to(scenario, page, estimator, crew):
    text = page(estimator).get(address(scenario)).content.decode()
    spread = scenario.revision.document["estimate"]["spread"]
    assert "How sure this is" in text and "Least clear gap" in text
    assert all(f"${float(spread['direct'][name]):,.2f}" in text for name in ("p10", "p50", "p90"))
    assert spread["told"] in text
    assert spread["told"] not in page(crew).get(address(scenario)).content.decode()


def test_the_job_page_says_who_works_how_long_and_what_goes_up(scenario, page, crew):
    text = page(crew).get(address(scenario)).content.decode()
    plan, lifts = scenario.framing.document["schedule"], scenario.framing.document["lifts"]
    assert f"about {plan['days']} working days of a crew of {plan['persons']}" in text
    assert f"{plan['person_hours']:.0f} person-hours" in text
    assert f"{lifts['weight']:,.0f} lb go up in {lifts['count']} lifts" in text


@pytest.fixture
def people(scenario):
    """A contact, a note and files of the job and its customer; the file's number by kind."""
    job, by = scenario.job, {"by": None, "now": NOW}
    create_record(Contact, {"job": job, "name": "Rae Rooferson", "role": "roofer", "phone": "555-0177"}, **by)
    create_record(Note, {"customer": job.customer, "text": "Gate <b>opens</b>\nat seven."}, **by)
    keep = {"job": job, **by}
    return {
        "photo": keep_file(b"\xff\xd8\xff\xe0", name="roof.jpg", kind="photo", **keep).pk,
        "consent": keep_file(b"%PDF-1.7 consent", name="board.pdf", kind="consent", **keep).pk,
    }


def test_the_job_page_says_what_blocks_the_next_step_and_who_clears_it(scenario, page, crew):
    Job.objects.filter(pk=scenario.job.pk).update(roof_owner="unknown")
    text = page(crew).get(address(scenario)).content.decode()
    assert "Before the job is accepted:" in text
    assert "Who owns and controls the roof is not known." in text and "Up to: customer." in text


def test_the_job_page_shows_people_notes_and_what_was_handed_in(scenario, people, page, reader):
    text = page(reader).get(address(scenario)).content.decode()
    for words in ("Roof owned and controlled by: the customer", "Rae Rooferson", "555-0177", "Odette Marlowe",
                  "Gate &lt;b&gt;opens&lt;/b&gt;<br>at seven.", "roof.jpg", "board.pdf"):  # fmt: skip
        assert words in text, words
    file = page(reader).get(f"/files/{people['consent']}")
    assert file.content == b"%PDF-1.7 consent" and file["Content-Disposition"].startswith("attachment")
    assert Client().get(f"/files/{people['consent']}").status_code == 302


def test_the_crew_sees_photos_and_neither_people_nor_notes(scenario, people, page, crew):
    text = page(crew).get(address(scenario)).content.decode()
    assert "roof.jpg" in text
    for words in ("Rae Rooferson", "555-0177", "at seven", "board.pdf"):
        assert words not in text, words
    assert page(crew).get(f"/files/{people['photo']}").status_code == 200
    assert page(crew).get(f"/files/{people['consent']}").status_code == 404


def test_a_paper_is_handed_out_under_a_name_for_people(scenario, rendered, page, reader):
    answer = page(reader).get(f"/papers/{rendered[0].pk}")
    assert answer.content.startswith(b"%PDF")
    assert f"{scenario.revision.quote.number}-1-proposal.pdf" in answer.headers["Content-Disposition"]


def test_pages_hold_no_inline_script_or_style(scenario, rendered, page, owner):
    for path in ("/", address(scenario), "/login/"):
        answer = page(owner).get(path) if path != "/login/" else Client().get(path)
        text = answer.content.decode()
        assert not re.search(r"<script|<style|\sstyle=|\son[a-z]+=", text), path
        assert "unsafe-inline" not in answer.headers["Content-Security-Policy"]


def test_a_drawing_is_a_picture_that_can_run_nothing(scenario, page, owner):
    answer = page(owner).get(f"/framings/{scenario.framing.pk}/section.svg")
    assert answer.headers["Content-Type"] == "image/svg+xml"
    assert "sandbox" in answer.headers["Content-Security-Policy"]
    assert page(owner).get(f"/framings/{scenario.framing.pk}/other.svg").status_code == 404


def test_a_job_that_is_not_there_is_not_found(scenario, page, owner):
    assert page(owner).get("/jobs/999999/").status_code == 404


def test_the_list_asks_the_database_no_more_for_more_jobs(scenario, page, owner):
    client = page(owner)
    with CaptureQueriesContext(connection) as few:
        client.get("/")
    for i in range(20):
        Job.objects.create(customer=scenario.job.customer, name=f"job {i}", created_at=NOW)
    with CaptureQueriesContext(connection) as many:
        assert "job 19" in client.get("/").content.decode()
    assert len(many) == len(few)


def test_the_job_page_says_what_stands_in_the_way_of_offering_and_then_how_the_offer_stands(
    scenario, rendered, page, estimator, crew, site
):
    text = page(estimator).get(address(scenario)).content.decode()
    assert "Before Q00001 revision 1 can be offered" in text and "was valid until" in text  # its day is long past
    offer = offered(scenario.revision, second=True)
    link = offer.links.first()
    OfferEvent.objects.create(offer=offer, link=link, kind="question", text="How <long>?", created_at=NOW)
    text = page(estimator).get(address(scenario)).content.decode()
    assert "was offered on 2026-03-16 and is <strong>expired" in text and "can be offered" not in text
    assert "How &lt;long&gt;?" in text and "not answered yet" in text and link.email in text
    text = page(crew).get(address(scenario)).content.decode()
    assert "Proposal" not in text and link.email not in text
