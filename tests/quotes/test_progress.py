"""Tests of what surveys, framings and quotes say of a job, and of papers with an erased person's name."""

from datetime import timedelta

import pytest
from django.core.files.storage import default_storage

from estimating.customers import erase_customer
from estimating.jobs import blockers_of, facts_of, today_at
from estimating.models import History, Job, Run
from estimating.records import create_record
from estimating.steps import blockers
from quotes import snapshots, tasks
from quotes.demonstration import NOW
from quotes.models import RenderedFile
from quotes.paper import files as papers
from quotes.progress import next_step


def facts(job, now=NOW):
    return facts_of([Job.objects.get(pk=job.pk)], today_at(now))[job.pk]


def test_the_facts_of_an_offered_job_come_from_its_records(scenario):
    found = facts(scenario.job)
    assert (found.surveys, found.framings, found.stops) == (1, 1, 0)
    assert found.quote == scenario.revision.quote.number and found.priced and found.offered
    assert found.valid_until == scenario.revision.valid_until and found.papers == 0
    assert found.state == "quoted"


def test_framing_and_issuing_are_noted_in_the_jobs_history_and_change_its_tag(scenario):
    entries = History.objects.filter(subject="job", subject_id=scenario.job.pk, action="change")
    assert [entry.changes["status"] for entry in entries] == [["lead", "framed"], ["framed", "quoted"]]
    assert Job.objects.get(pk=scenario.job.pk).version == 1 + len(entries)


def test_an_offer_holds_to_its_last_day_and_not_a_day_longer(scenario):
    last = scenario.revision.valid_until - NOW.date()

    def told(days):
        job = Job.objects.get(pk=scenario.job.pk)
        return "offer-ended" in [blocker.code for blocker in blockers_of(job, now=NOW + timedelta(days=days))]

    assert not told(last.days) and told(last.days + 1)


def test_prices_of_a_draft_hold_to_their_last_day(scenario):
    quote = scenario.revision.quote
    job = create_record(Job, {"name": "draft", "customer": scenario.job.customer}, by=None, now=NOW)
    Job.objects.filter(pk=job.pk).update(status="framed", roof_owner="customer")
    draft = type(quote).objects.get(pk=quote.pk)
    draft.pk, draft.job, draft._state.adding = None, job, True
    draft.estimate = {**draft.estimate, "prices_valid_to": NOW.date().isoformat()}
    draft.save()
    assert [row.code for row in blockers(facts(job))] == ["nothing-offered"]
    assert [row.code for row in blockers(facts(job, NOW + timedelta(days=1)))] == ["prices-ended"]


def test_a_job_of_which_there_is_nothing_has_no_facts(scenario):
    job = create_record(Job, {"name": "new", "customer": scenario.job.customer}, by=None, now=NOW)
    found = facts(job)
    assert (found.surveys, found.framings, found.quote, found.offered) == (0, 0, "", False)


def test_the_facts_of_many_jobs_take_no_more_queries(scenario, django_assert_max_num_queries):
    for n in range(10):
        create_record(Job, {"name": f"job {n}", "customer": scenario.job.customer}, by=None, now=NOW)
    jobs = list(Job.objects.all())
    with django_assert_max_num_queries(10):
        assert len(facts_of(jobs, NOW.date())) == 11


def test_an_offer_past_its_last_day_is_issued_again_before_anything_else(scenario):
    job, revision = Job.objects.get(pk=scenario.job.pk), scenario.revision
    late = NOW + (revision.valid_until - NOW.date()) + timedelta(days=1)
    for now, words in ((NOW, "papers of"), (late, "issue it again")):
        step = next_step(job, scenario.framing, revision.quote, revision, blockers_of(job, now=now))
        assert words in step


@pytest.fixture
def rendered(scenario):
    made = {kind: papers.Paper("application/pdf", b"%PDF Odette Marlowe " + kind.encode())
            for kind in RenderedFile.Kind.values}  # fmt: skip
    return papers.keep_papers(scenario.revision, made, now=NOW)


def test_papers_that_were_being_made_while_their_customer_was_erased_are_not_kept(scenario, monkeypatch):
    monkeypatch.setattr(tasks, "make_papers", lambda revision, report: {"proposal": papers.Paper("x", b"%PDF Odette")})
    run = Run(kind="render", subject=f"revision/{scenario.revision.pk}")
    store = tasks.render_run(run, lambda percent, doing: None)
    erase_customer(scenario.job.customer, by=None, now=NOW)
    with pytest.raises(papers.ErasedMeanwhile):
        store()
    assert not scenario.revision.files.exists()
    tasks.render_run(run, lambda percent, doing: None)  # read again, it names nobody
    papers.check_not_erased(type(scenario.revision).objects.get(pk=scenario.revision.pk))


def test_papers_with_an_erased_persons_name_leave_the_storage_and_their_rows_stay(
    scenario, rendered, django_capture_on_commit_callbacks
):
    assert all(default_storage.exists(file.path) for file in rendered)
    with django_capture_on_commit_callbacks(execute=True):
        erase_customer(scenario.job.customer, by=None, now=NOW)
    assert not any(default_storage.exists(file.path) for file in rendered)
    assert scenario.revision.files.count() == len(rendered) and snapshots.is_intact(scenario.revision)
