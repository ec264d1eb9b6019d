"""Tests of `manage.py frame`: its files, its exit codes, and that a refused document leaves nothing behind."""

import copy
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command

from framing.management.commands import frame as command
from quotes.demonstration import DATA

ROOT = Path(__file__).parents[2]
SURVEY = json.loads((DATA / "survey.json").read_text())
BUILD = json.loads((DATA / "build.json").read_text())


@pytest.fixture
def run(tmp_path):
    """Runs the command on two documents; answers exit code, messages, and the folder."""

    def go(survey, build, *options):
        for name, document in (("survey.json", survey), ("build.json", build)):
            text = document if isinstance(document, str) else json.dumps(document)
            (tmp_path / name).write_text(text)
        said, code = io.StringIO(), 0
        try:
            call_command("frame", str(tmp_path / "survey.json"), str(tmp_path / "build.json"),
                         "--out", str(tmp_path / "out"), *options, stderr=said)
        except SystemExit as left:
            code = left.code
        return code, said.getvalue(), tmp_path / "out"

    return go


def changed(document, **fields):
    return {**copy.deepcopy(document), **fields}


def door_at(drop):
    """The demo's survey with its whole sill at one height."""
    levels = [{**level, "drop": drop} if level["on"] == "threshold" else level for level in SURVEY["levels"]]
    return changed(SURVEY, levels=levels)


def test_a_roof_that_can_be_framed_gives_documents_drawings_and_cut_sheets(run):
    code, said, out = run(SURVEY, BUILD)
    assert (code, said) == (0, "")
    assert {path.name for path in out.iterdir()} == {
        "framing.json", "plan.svg", "section.svg", "plan.dxf", "cut-sheets.pdf"}
    assert json.loads((out / "framing.json").read_text())["format"] == "deck-framing/1"
    assert (out / "cut-sheets.pdf").read_bytes().startswith(b"%PDF")


def test_a_section_along_any_member_is_drawn_where_it_is_asked_for(run):
    code, _, folder = run(SURVEY, BUILD, "--along", "J3", "--along", "E1")
    assert code == 0 and {p.name for p in folder.glob("section-*")} == {"section-J3.svg", "section-E1.svg"}
    assert "J3" in (folder / "section-J3.svg").read_text()


def test_a_section_along_a_member_that_is_not_there_is_refused_and_nothing_is_written(run):
    code, said, folder = run(SURVEY, BUILD, "--along", "J99")
    assert code == 2 and "J99" in said and "J1, J2" in said and not folder.exists()


def test_a_roof_with_too_little_height_stops_and_says_what_would_clear_it(run):
    # The ridge stands at 8 1/16, the sill at 4 5/8: 3 5/16 in are left under a step-down of 1/8. Boards of 1, wood of
    # 1 1/2 and a clearance of 1 need 3 1/2; with a clearance of 3/4 it would do.
    tight = changed(BUILD, supports={**BUILD["supports"], "clear_gap": {"least": 1, "target": 1, "most": 2}})
    code, said, out = run(door_at("4 5/8"), tight)
    assert code == 3
    assert said.startswith("stop ") and "would be cleared by" in said
    document = json.loads((out / "framing.json").read_text())
    assert any(check["status"] == "stop" and check["clears"] for check in document["checks"])
    assert not (out / "cut-sheets.pdf").exists()  # nobody may saw from an answer that stops


def test_a_stop_takes_away_the_cut_sheets_of_an_earlier_answer(run, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "cut-sheets.pdf").write_bytes(b"%PDF of yesterday")
    assert run(door_at("7"), BUILD)[0] == 3
    assert not (tmp_path / "out" / "cut-sheets.pdf").exists()


@pytest.mark.parametrize(("survey", "build", "pointer"), [
    (changed(SURVEY, tapes=[*SURVEY["tapes"], ["A", "Q", 10]]), BUILD, "/tapes/6/1"),
    (changed(SURVEY, corners=["A", "B"]), BUILD, "/corners"),
    (changed(SURVEY, wheelbarrow=1), BUILD, "/wheelbarrow"),
    (SURVEY, changed(BUILD, decking={**BUILD["decking"], "width": -5.5}), "/decking/width"),
    (SURVEY, changed(BUILD, format="deck-build/2"), "/format"),
    (SURVEY, {name: value for name, value in BUILD.items() if name != "loads"}, ""),  # the place that lacks it
])
def test_a_wrong_document_is_refused_with_its_place_and_nothing_is_written(run, survey, build, pointer):
    code, said, out = run(survey, build, "--json")
    assert code == 2 and not out.exists()
    errors = json.loads(said)["errors"]
    assert pointer in [error["pointer"] for error in errors]
    assert all(error["expected"] for error in errors)


def test_the_faults_of_both_documents_come_in_one_answer(run):
    code, said, _ = run(changed(SURVEY, wheelbarrow=1), changed(BUILD, ladder=2))
    assert code == 2
    assert "survey.json /wheelbarrow" in said and "build.json /ladder" in said


@pytest.mark.parametrize("text", [
    "", "{", "[" * 100_000, '{"format": NaN}', '{"format": 1, "format": 1}', "null", "\ufeff",
])
def test_what_is_no_document_is_refused(run, text):
    code, said, out = run(text, BUILD, "--json")
    assert code == 2 and not out.exists() and json.loads(said)["errors"]


def test_a_file_that_is_not_there_is_named(tmp_path):
    said = io.StringIO()
    with pytest.raises(SystemExit) as left:
        call_command("frame", str(tmp_path / "none.json"), str(tmp_path / "none.json"), "--out", str(tmp_path / "out"),
                     stderr=said)
    assert left.value.code == 2 and "none.json" in said.getvalue() and not (tmp_path / "out").exists()


def test_a_folder_that_cannot_be_made_is_told(tmp_path, run):
    (tmp_path / "out").write_text("a file stands here")
    code, said, _ = run(SURVEY, BUILD)
    assert code == 2 and str(tmp_path / "out") in said


def test_a_file_cut_off_while_it_is_written_leaves_the_old_one_whole(tmp_path, monkeypatch):
    (tmp_path / "framing.json").write_text("old")

    def full_disk(path, content):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(command.Path, "write_bytes", full_disk)
    with pytest.raises(OSError, match="No space"):
        command.write_files(tmp_path, {"framing.json": b"new"})
    assert (tmp_path / "framing.json").read_text() == "old"


def test_the_command_needs_nothing_set_up(tmp_path):
    bare = {name: value for name, value in os.environ.items() if name not in ("SECRET_KEY", "DEBUG", "DATABASE_URL")}
    bare.pop("DJANGO_SETTINGS_MODULE", None)
    done = subprocess.run([sys.executable, ROOT / "manage.py", "frame", DATA / "survey.json", DATA / "build.json",
                           "--out", tmp_path], env=bare, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert (tmp_path / "framing.json").exists()
