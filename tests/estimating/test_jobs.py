"""Tests of jobs over HTTP: steps refused and overridden, consent in writing, and two people at one job."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from estimating.models import Customer, History, Job, StoredFile

API = "/api/v1"
PDF = b"%PDF-1.7 invented consent"


@pytest.fixture
def job(db) -> Job:
    now = timezone.now()
    return Job.objects.create(customer=Customer.objects.create(name="A. Tester", created_at=now), name="Terrace",
                              created_at=now)  # fmt: skip


@pytest.fixture
def where(job) -> str:
    return f"{API}/jobs/{job.pk}"


def tag(client, where) -> str:
    return client.get(where)["ETag"]


def read(answer) -> list[str]:
    return [fault["read"] for fault in answer.json()["errors"]]


@pytest.mark.django_db
def test_an_illegal_step_is_refused_with_every_blocker_and_changes_nothing(api, job, where):
    body = {"status": "quoted", "name": "Other name"}
    refused = api.patch(where, body, HTTP_IF_MATCH=tag(api, where))
    assert refused.status_code == 409
    assert read(refused) == ["survey-missing", "framing-missing", "roof-owner-unknown", "quote-missing"]
    assert "cleared by customer" in [fault["expected"] for fault in refused.json()["errors"]]
    job.refresh_from_db()
    assert (job.status, job.name, job.version) == ("lead", "Terrace", 1)
    assert not History.objects.filter(subject="job").exists()


@pytest.mark.django_db
def test_what_blocks_is_told_before_anybody_tries(api, where):
    told = api.get(f"{where}/blockers").json()
    assert (told["state"], told["to"]) == ("lead", "surveyed")
    assert told["blockers"] == [
        {"code": "survey-missing", "text": "The roof has no survey yet.", "who": "who surveys the roof"}
    ]
    assert "deposit-missing" in [row["code"] for row in api.get(f"{where}/blockers?to=closed").json()["blockers"]]
    assert api.get(f"{where}/blockers?to=lost").json()["blockers"] == []
    assert api.get(f"{where}/blockers?to=painted").status_code == 422


@pytest.mark.django_db
def test_the_owner_steps_over_with_a_reason_that_stays(api, job, where):
    body = {"to": "accepted", "reason": "Signed on paper before this was installed."}
    assert api.post(f"{where}/step", body).status_code == 428
    done = api.post(f"{where}/step", body, HTTP_IF_MATCH=tag(api, where))
    assert done.status_code == 200 and done.json()["status"] == "accepted"
    entry = History.objects.get(subject="job", action="override")
    assert entry.changes["reason"] == [None, body["reason"]] and "survey-missing" in entry.changes["blockers"][1]
    assert entry.by.role == "owner"


@pytest.mark.django_db
def test_nobody_else_steps_over(estimator, reader, as_user, job, where):
    body = {"to": "surveyed", "reason": "I am in a hurry."}
    desk = as_user(estimator)
    assert desk.post(f"{where}/step", body, HTTP_IF_MATCH=tag(desk, where)).status_code == 403
    assert desk.post(f"{where}/step", {"to": "surveyed"}, HTTP_IF_MATCH=tag(desk, where)).status_code == 409
    assert as_user(reader).post(f"{where}/step", body).status_code == 403
    job.refresh_from_db()
    assert job.status == "lead"


@pytest.mark.django_db
def test_a_step_that_nothing_blocks_needs_no_owner_and_leaves_no_override(estimator, as_user, where):
    desk = as_user(estimator)
    done = desk.post(f"{where}/step", {"to": "lost"}, HTTP_IF_MATCH=tag(desk, where))
    assert done.json()["status"] == "lost"
    assert History.objects.filter(subject="job").values_list("action", "changes").last() == (
        "change", {"status": ["lead", "lost"]},
    )  # fmt: skip


@pytest.mark.django_db
def test_a_job_begins_as_lead(api, job):
    refused = api.post(f"{API}/jobs", {"customer": job.customer_id, "name": "B", "status": "accepted"})
    assert refused.status_code == 422 and refused.json()["errors"][0]["pointer"] == "/status"
    assert api.post(f"{API}/jobs", {"customer": job.customer_id, "name": "B", "status": "lead"}).status_code == 201


@pytest.mark.django_db
def test_consent_is_given_in_writing_after_it_was_asked_for(api, job, where):
    def patch(**body):
        return api.patch(where, body, HTTP_IF_MATCH=tag(api, where))

    assert patch(roof_owner="board", consent_needed=True, consent_asked_on="2026-03-10").status_code == 200
    without = patch(consent_given_on="2026-03-12")
    assert without.status_code == 422 and without.json()["errors"][0]["pointer"] == "/consent_file"
    file = api.generic("POST", f"{API}/files?job={job.pk}&kind=consent&name=board.pdf", PDF,
                       content_type="application/pdf").json()["id"]  # fmt: skip
    early = patch(consent_given_on="2026-03-09", consent_file=file)
    assert early.status_code == 422 and early.json()["errors"][0]["pointer"] == "/consent_given_on"
    assert patch(consent_given_on="2026-03-10", consent_file=file).status_code == 200
    other = Customer.objects.create(name="B. Other", created_at=timezone.now())
    strange = api.generic("POST", f"{API}/files?customer={other.pk}", PDF, content_type="application/pdf").json()["id"]
    assert patch(consent_file=strange).status_code == 422
    with pytest.raises(IntegrityError), transaction.atomic():
        Job.objects.filter(pk=job.pk).update(consent_file=None)
    assert StoredFile.objects.count() == 2


@pytest.mark.django_db
def test_the_roofs_owner_is_one_of_a_few(api, where):
    refused = api.patch(where, {"roof_owner": "the cat"}, HTTP_IF_MATCH=tag(api, where))
    assert refused.status_code == 422 and refused.json()["errors"][0]["pointer"] == "/roof_owner"


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("path", ["", "/step"])
def test_of_two_people_who_change_one_job_at_once_the_second_is_told(make_user, as_user, job, where, path):
    clients = [as_user(make_user("owner", f"owner{n}")) for n in range(2)]
    read_by_both = tag(clients[0], where)
    start = Barrier(2)

    def change(n: int) -> int:
        try:
            start.wait()
            send = clients[n].post if path else clients[n].patch
            body = {"to": "lost"} if path else {"name": f"name {n}"}
            return send(f"{where}{path}", body, HTTP_IF_MATCH=read_by_both).status_code
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        assert sorted(pool.map(change, range(2))) == [200, 412]
    job.refresh_from_db()
    assert job.version == 2 and History.objects.filter(subject="job").count() == 1


@pytest.mark.django_db
def test_without_the_precondition_the_first_change_would_be_lost(job):
    """The damage: two copies read at once, each saved whole."""
    first, second = Job.objects.get(), Job.objects.get()
    first.jurisdiction = "Testtown"
    first.save()
    second.name = "Other"
    second.save()
    assert Job.objects.get().jurisdiction == ""
