"""Documents that nobody would send are framed, stopped or refused at places that they have; nothing else happens."""

import pytest
from hypothesis import HealthCheck, given, settings

from tests.framing import fuzz
from tests.framing.fuzz import BASES, Bend, Case, cases, outcome, resolves


@settings(max_examples=200, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck))
@given(cases())
def test_any_two_documents_are_framed_or_refused_at_places_that_they_have(case):
    found = outcome(case)
    assert found.is_well, found


@pytest.mark.parametrize("base", BASES)
def test_what_the_documents_are_bent_from_is_framed(base):
    assert outcome(Case(base)).kind == "framed"


@pytest.mark.parametrize(
    ("pointer", "leads"),
    [
        ("", True), ("/a", True), ("/a/0", True), ("/a/1/b~1c", True), ("/a/1/~0", True), ("/", True), ("/a/2", False),
        ("/a/-", False), ("/a/00", False), ("/a/+0", False), ("/a/-1", False), ("/b", False), ("a", False),
        ("/a/1/b/c", False), ("/a/1/~", False), ("/a/0/0", False), ("/a/٠", False),
    ],
)
def test_pointers_are_followed_as_the_standard_has_it(pointer, leads):
    assert resolves({"a": [1, {"b/c": 2, "~": 3}], "": 4}, pointer) is leads
    assert resolves('{"a": [1, {"b/c": 2, "~": 3}], "": 4}', pointer) is leads
    assert resolves(b"no json", pointer) is (pointer == "")


def test_the_command_prints_what_came_of_each(capsys):
    assert fuzz.main(["30", "--jobs", "1"]) == 0
    rows = dict(line.rsplit(maxsplit=1) for line in capsys.readouterr().out.splitlines()[:7])
    assert rows["examples"] == "30" and rows["exception"] == rows["pointers that lead nowhere"] == "0"
    assert sum(int(rows[kind]) for kind in ("refused", "framed", "stopped")) == 30


def test_what_goes_wrong_is_told_by_the_smallest_example(monkeypatch):
    def frame(survey, build):
        raise KeyError("joists")

    monkeypatch.setattr(fuzz, "frame", frame)
    tally = fuzz.Tally()
    case = Case("small", (Bend(0, ("name",), "put", 5), Bend(1, ("unit",), "put", "ft")), (("text", 3), ("cut", 9)))
    tally.add(case, outcome(case))
    assert tally.counts["exception"] == 1
    (key,) = tally.worst
    assert "KeyError at " in key and fuzz._smaller(case, key) == Case("small")
