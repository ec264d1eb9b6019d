"""Tests that a revision's notes know what the records know of the contract, and that each has a name of its own."""

from datetime import date

from estimating.files import keep_file
from estimating.models import Job, Office
from quotes import revisions, snapshots
from quotes.demonstration import NOW


def keys(notes):
    return {note["key"] for note in notes}


def again(scenario):
    revision = revisions.issue_revision(scenario.revision.quote_id, why="asked for again", by=None, now=NOW)
    return revision.document["notes"]


def test_a_revision_tells_what_the_contract_calls_for(scenario):
    notes = scenario.revision.document["notes"]
    assert {"cooling-off", "lead-paint", "electronic-records", "liens"} <= keys(notes)
    assert not {"roof-owner", "license-missing", "home-contract", "rescission"} & keys(notes)
    names = [(note["key"], note["where"]) for note in notes]
    assert len(names) == len(set(names))


def test_without_an_office_no_note_speaks_of_the_contract(scenario):
    said = {note.key for note in snapshots.notes_of(scenario.framing)}
    assert "survey-accuracy" in said and not {"roof-owner", "cooling-off", "liens"} & said


def test_consent_in_writing_and_a_license_number_are_read_from_the_records(scenario):
    Office.objects.update(license_number="")
    Job.objects.filter(pk=scenario.job.pk).update(roof_owner="board", jurisdiction="Towson, Maryland 21204")
    notes = again(scenario)
    assert {"license-missing", "home-contract"} <= keys(notes)
    assert "A board has a say" in next(note["text"] for note in notes if note["key"] == "roof-owner")
    kept = keep_file(b"%PDF-1.7 consent", name="consent.pdf", kind="consent", job=scenario.job, by=None, now=NOW)
    Job.objects.filter(pk=scenario.job.pk).update(consent_file=kept, consent_given_on=date(2026, 3, 1))
    assert "roof-owner" not in keys(again(scenario))
