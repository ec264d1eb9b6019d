"""Tests of what the office may change of the notes, and of who went on in spite of one."""

import json
from dataclasses import replace

import pytest

from quotes.notes import Note, apart, claims_of, edited, gravest, printed, unacknowledged

GAP = Note("clear-gap", "drainage", "The least clearance is 3/8 in at E1; 0.75 in is usual.", "computed",
           "common practice", "contractor", value=0.375, limit=0.75, unit="in", where="E1", status="caution")
BLOCKED = Note("blocked-primary-depth", "deferral", "Water stands 7.60 in deep.", "computed", "ASCE 7-16", "engineer",
               value=7.6, unit="in", acknowledge=True, status="caution")
STOP = replace(BLOCKED, key="height", text="Too little height.", acknowledge=False, status="stop")
PLAIN = Note("upkeep", "drainage", "Outlets are cleaned twice a year.", "upkeep", "common practice", "owner")
NOTES = (GAP, PLAIN, BLOCKED, STOP)
REASON = "The owner asked for it."


def edit(kind, of=GAP, **more):
    return {"kind": kind, "key": of.key, "where": of.where, "section": "", "text": "", "reason": REASON, "by": "pat",
            "at": "2026-03-16T14:00:00Z", **more}


def by_key(notes):
    return {note.key: note for note in notes}


def test_a_reworded_note_keeps_all_that_it_rests_on_and_its_first_sentence():
    words = "Wood clears the roof by 3/8 in at E1, where 0.75 in is usual; we clean it each spring."
    notes, refused = edited(NOTES, [edit("reword", text=words)])
    assert refused == ()
    assert by_key(notes)["clear-gap"] == replace(GAP, text=words, edited="reworded", edit_reason=REASON, edit_by="pat",
                                                 original=GAP.text)
    assert [note for note in notes if note.key != "clear-gap"] == [PLAIN, BLOCKED, STOP]


@pytest.mark.parametrize(("text", "said"), [
    ("Wood clears the roof by 3/8 in.", "0.75"), ("It clears by 3/8, not by 10.75 in.", "0.75"),
    ("It clears by 13/8 in of 0.75.", "3/8"), ("", "a sentence"), ("  \n ", "a sentence"),
    ("3/8 and 0.75. " + "x" * 987, "1000 letters"), ("3/8 in of 0.75 complies.", "no word"),
])
def test_a_reworded_note_that_loses_a_number_or_says_too_much_is_told_and_left(text, said):
    notes, (refused,) = edited(NOTES, [edit("reword", text=text)])
    assert set(notes) == set(NOTES)
    assert said in refused.expected and refused.key == "clear-gap" and refused.where == "E1" and refused.at == 0
    assert "Edit 1, of clear-gap at E1, is left out" in refused.text


def test_a_thousand_letters_are_taken():
    text = ("3/8 0.75 " + "x" * 1000)[:1000]
    notes, refused = edited(NOTES, [edit("reword", text=text)])
    assert refused == () and by_key(notes)["clear-gap"].text == text


def test_edits_one_after_another_count_from_the_first_sentence():
    notes, refused = edited(NOTES, [edit("reword", text="3/8 of 0.75."), edit("reword", text="0.75, then 3/8.")])
    assert refused == ()
    note = by_key(notes)["clear-gap"]
    assert (note.text, note.original) == ("0.75, then 3/8.", GAP.text)


def test_a_silenced_note_stays_in_the_records_with_its_reason_and_off_the_proposal():
    notes, refused = edited(NOTES, [edit("silence")])
    note = by_key(notes)["clear-gap"]
    assert refused == () and (note.edited, note.edit_reason, note.text) == ("silenced", REASON, GAP.text)
    assert note not in printed(notes) and note not in gravest(notes) and len(printed(notes)) == 3


@pytest.mark.parametrize("of", [BLOCKED, STOP], ids=["acknowledged", "stop"])
def test_a_stop_and_what_must_be_acknowledged_cannot_be_silenced(of):
    notes, (refused,) = edited(NOTES, [edit("silence", of)])
    assert set(notes) == set(NOTES) and refused.expected == "that it stands"


@pytest.mark.parametrize(("reason", "counts"), [("x" * 10, True), ("x" * 9, False), (" " * 20, False), ("", False)])
def test_silence_needs_a_reason_of_ten_letters(reason, counts):
    notes, refused = edited(NOTES, [edit("silence", reason=reason)])
    assert (by_key(notes)["clear-gap"].edited == "silenced") == counts == (refused == ())


def test_the_office_adds_a_note_of_its_own():
    own = Note("own-1", "assumption", "", "", "", "")
    notes, refused = edited(NOTES, [edit("add", own, section="assumption", text="The hoist stands in the yard.")])
    assert refused == ()
    assert by_key(notes)["own-1"] == Note(
        "own-1", "assumption", "The hoist stands in the yard.", "office", "office", "contractor", edited="added",
        edit_reason=REASON, edit_by="pat")
    assert [note.section for note in notes][0] == "assumption"


@pytest.mark.parametrize(("change", "said"), [
    ({"section": "scope"}, "caution or assumption"), ({"key": " "}, "a key of its own"),
    ({"key": "clear-gap", "where": "E1"}, "reword that one"), ({"text": "Built to code."}, "no word"),
    ({"text": ""}, "a sentence"), ({"text": "x" * 1001}, "1000 letters"),
])
def test_an_added_note_keeps_the_same_limits(change, said):
    asked = {**edit("add", PLAIN, key="own-1", section="caution", text="Mind the hoist."), **change}
    notes, (refused,) = edited(NOTES, [asked])
    assert set(notes) == set(NOTES) and said in refused.expected


def test_an_edit_of_a_note_that_is_gone_is_told():
    notes, (refused,) = edited((PLAIN,), [edit("silence")])
    assert notes == (PLAIN,) and refused.read == "no such note" and "clear-gap at E1" in refused.text


def test_a_reworded_sentence_whose_number_changed_since_is_told_and_the_new_one_printed():
    worse = replace(GAP, text=GAP.text.replace("3/8", "1/4"), value=0.25)
    notes, (refused,) = edited((worse,), [edit("reword", text="Clears by 3/8 in of 0.75.")])
    assert notes == (worse,) and "1/4" in refused.expected


@pytest.mark.parametrize("odd", [
    None, 7, "silence", [], {}, {"kind": "erase", "key": "clear-gap", "where": "E1"},
    {"kind": ["add"]}, {"kind": "reword", "key": 5}, {"kind": "silence", "key": "clear-gap", "where": ["E1"]},
    {"kind": "add", "key": "own", "section": "caution", "text": {"a": 1}}, {"kind": "silence", "reason": 1.5},
])
def test_what_is_no_edit_is_told_and_changes_nothing(odd):
    notes, (refused,) = edited(NOTES, [odd])
    assert set(notes) == set(NOTES) and refused.text
    json.dumps(refused.as_json())


def test_notes_of_one_key_and_place_are_told_apart_so_that_an_edit_means_one():
    twice = apart((PLAIN, replace(PLAIN, text="And before winter."), PLAIN))
    assert [note.where for note in twice] == ["", "(2)", "(3)"]
    notes, _ = edited((PLAIN, replace(PLAIN, text="And before winter.")), [edit("silence", twice[1])])
    assert [note.edited for note in notes] == ["", "silenced"]


def test_an_edited_note_comes_back_whole_from_a_snapshot():
    notes, _ = edited(NOTES, [edit("silence")])
    assert tuple(Note(**json.loads(json.dumps(note.as_json()))) for note in notes) == notes
    old = {name: value for name, value in GAP.as_json().items() if not name.startswith("edit") and name != "original"}
    assert Note(**old) == GAP


@pytest.mark.parametrize("text", [
    "This complies with IRC R312.", "It is fully COMPLIANT.", "In compliance", "meets code", "Meets the building code",
    "met all applicable codes", "meets IBC 2021 requirements", "Up to code.", "up-to-code", "built to code",
    "code-approved pads", "Code approved", "guaranteed safe", "Guaranteed to be safe", "The roof is safe.",
    "com\u00adplies", "comp\u200blies", "\uff43\uff4fmplies", "conforms to R507", "passes inspection",
    "according to code",
    "satisfies every local code", "certified safe", "structurally sound",
])
def test_a_claim_is_read_however_it_is_written(text):
    assert claims_of(text)


@pytest.mark.parametrize("text", [
    "Codes ask guards of 36 in.", "Whether it meets with approval is open.", "The code edition is not known.",
    "A complicated roof, a complete survey.", "Water meets the wall.", "For the building department.",
    "Keep it safely; the unsafe edge is closed off.", "Ask for the building code's edition.",
    "A certified renovator tests the paint.",
])
def test_plain_words_are_no_claim(text):
    assert claims_of(text) == ()


ACK = {"key": BLOCKED.key, "text": BLOCKED.text, "name": "Pat Example", "reason": "Engineer asked.", "at": "2026-03-16"}


def test_what_a_named_person_acknowledged_with_a_reason_is_asked_for_no_more():
    assert unacknowledged(NOTES, []) == (BLOCKED,)
    assert unacknowledged(NOTES, [ACK]) == ()


@pytest.mark.parametrize("change", [
    {"text": "Water stands 7.61 in deep."}, {"key": "clear-gap"}, {"name": "  "}, {"reason": "x" * 9},
    {"reason": " " * 12}, {"name": None}, {"reason": 12345678901}, {"text": None},
])
def test_an_acknowledgement_counts_only_for_the_same_words_with_name_and_reason(change):
    assert unacknowledged(NOTES, [{**ACK, **change}]) == (BLOCKED,)


@pytest.mark.parametrize("odd", [None, 3, "Pat", [], {}])
def test_what_is_no_acknowledgement_counts_for_nothing(odd):
    assert unacknowledged(NOTES, [odd]) == (BLOCKED,)


def test_ten_letters_of_reason_count():
    assert unacknowledged(NOTES, [{**ACK, "reason": "x" * 10}]) == ()
