"""Tests of `manage.py compare`: its table, its exit codes, and that the number of processes changes nothing."""

import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from framing.engine.design import compare, frame
from tests.framing.fixtures import good_survey
from tests.framing.test_compare import priced

ROOT = Path(__file__).parents[2]


@pytest.fixture
def run(tmp_path):
    """Runs the command on a survey and builds by name; answers exit code, what it printed and what it complained of."""

    def go(survey, builds, *options):
        paths = []
        for name, document in ({"survey": survey} | builds).items():
            path = tmp_path / f"{name}.json"
            path.write_text(document if isinstance(document, str) else json.dumps(document))
            paths.append(str(path))
        printed, said, code = io.StringIO(), io.StringIO(), 0
        try:
            call_command("compare", *paths, *options, stdout=printed, stderr=said)
        except SystemExit as left:
            code = left.code
        return code, printed.getvalue(), said.getvalue()

    return go


def test_two_builds_stand_side_by_side_in_a_hundred_columns(run):
    code, printed, said = run(good_survey(), {"usual": priced(), "deep": priced(joists={"minimum_depth": 2.5})},
                              "--jobs", "1", "--price", "labor/hour=48.26")
    assert (code, said) == (0, "")
    assert max(map(len, printed.splitlines())) <= 100
    assert "usual.json" in printed and "deep.json" in printed
    assert "support/pad" in printed.split("Not in the cost")[1] and "labor" not in printed.split("Not in the cost")[1]


def test_json_holds_everything_that_the_engine_answers(run):
    code, printed, _ = run(good_survey(), {"one": priced()}, "--json", "--jobs", "1")
    assert code == 0
    answer = compare(good_survey(), [priced()], names=["one.json"]).as_json()
    assert json.loads(printed) == json.loads(json.dumps(answer))


def test_two_processes_print_what_one_prints_and_write_the_unbeaten_builds(run, tmp_path):
    one, two = (run(good_survey(), {"usual": priced()}, "--find", "3", "--jobs", str(jobs), "--json",
                    "--out", str(tmp_path / f"out{jobs}")) for jobs in (1, 2))
    assert one == two and one[0] == 0
    told = json.loads(one[1])["builds"]
    unbeaten = {f"build-{b['number']}.json": b["build"] for b in told if b["state"] == "unbeaten"}
    written = {path.name: json.loads(path.read_text()) for path in (tmp_path / "out2").iterdir()}
    assert written == unbeaten
    assert not [c for c in frame(good_survey(), written["build-1.json"]).document["checks"] if c["status"] == "stop"]


def test_a_build_that_stops_is_in_the_table_and_in_the_exit_code(run):
    code, printed, _ = run(good_survey(), {"flat": priced(joists={"minimum_depth": 12}), "good": priced()},
                           "--jobs", "1")
    assert code == 3
    assert "flat.json: Too little height" in printed and "good.json" in printed


@pytest.mark.parametrize("options", [(), ("--find", "4")])
def test_a_refused_build_is_told_by_its_file_and_nothing_is_printed(run, options):
    builds = {"broken": priced(decking={"width": -1})} if options else {
        "good": priced(), "broken": priced(decking={"width": -1})}
    code, printed, said = run({**good_survey(), "ladder": 1}, builds, *options)
    assert (code, printed) == (2, "")
    assert "survey.json /ladder" in said and "broken.json /decking/width" in said
    errors = json.loads(run(good_survey(), builds, "--json", *options)[2])["errors"]
    assert [(e["pointer"], e["document"].rpartition("/")[2]) for e in errors] == [("/decking/width", "broken.json")]


def test_a_file_that_is_not_there_is_named(run, tmp_path):
    printed, said = io.StringIO(), io.StringIO()
    with pytest.raises(SystemExit) as left:
        call_command("compare", str(tmp_path / "none.json"), str(tmp_path / "none.json"), stdout=printed, stderr=said)
    assert left.value.code == 2 and "none.json" in said.getvalue()


@pytest.mark.parametrize("options", [("--find", "-1"), ("--jobs", "0"), ("--price", "8.50"), ("--price", "pad=cheap"),
                                     ("--price", "pad=-1"), ("--price", "pad=NaN"), ("--by", "beauty")])
def test_an_option_that_cannot_be_read_is_refused(run, options):
    with pytest.raises(CommandError):
        run(good_survey(), {"one": priced()}, *options)


def test_a_search_starts_from_one_build(run):
    with pytest.raises(CommandError, match="one build"):
        run(good_survey(), {"one": priced(), "two": priced()}, "--find", "4")


def test_the_line_of_the_readme_works_where_nothing_is_set_up():
    (line,) = re.findall(r"manage\.py (compare .*)", (ROOT / "README.md").read_text())
    bare = {name: value for name, value in os.environ.items()
            if name not in ("SECRET_KEY", "DEBUG", "DATABASE_URL", "DJANGO_SETTINGS_MODULE")}
    done = subprocess.run([sys.executable, "manage.py", *line.replace("--find 60", "--find 2").split()], cwd=ROOT,
                          env=bare, capture_output=True, text=True, timeout=120, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert "2 builds framed" in done.stdout
