"""Tests of the checks: every code has its sentence, source and decider, and nothing is found under another name."""

import ast
import re
import string
from pathlib import Path

import pytest

from framing.engine import checks
from framing.engine.checks import CODES, MAYBE_SEVERAL, STATUSES, Change, _counted, check

ENGINE = Path(checks.__file__).parent
PLACES = {"value", "limit", "unit", "where"}


def called():
    """(code or None, keywords, module, line) of every call of check(...) in the engine."""
    for path in sorted(ENGINE.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "check":
                first = node.args[0]
                code = first.value if isinstance(first, ast.Constant) else None
                yield code, {k.arg for k in node.keywords}, path.name, node.lineno


def words_of(sentence):
    """Names of the fields that a sentence fills in."""
    return {name.split("[")[0].split(".")[0] for _, name, _, _ in string.Formatter().parse(sentence) if name}


@pytest.mark.parametrize("code", CODES)
def test_every_code_has_a_sentence_a_source_and_someone_who_decides(code):
    known = CODES[code]
    assert known.sentence.strip() and known.source.strip() and known.decided_by.strip()
    assert known.sentence.rstrip().endswith((".", "}"))
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", code)


@pytest.mark.parametrize("code", CODES)
def test_no_sentence_says_that_anything_complies(code):
    assert not re.search(r"compl(y|ies|iant)|approved|guarantee", CODES[code].sentence, re.IGNORECASE)


def test_every_code_that_the_engine_finds_is_known():
    assert [(code, *where) for code, _, *where in called() if code is not None and code not in CODES] == []


def test_every_known_code_is_found_somewhere():
    source = "\n".join(path.read_text() for path in ENGINE.glob("*.py") if path.name != "checks.py")
    written = {code for code in CODES if f'"{code}"' in source}
    from_parts = ("strength-", "roof-hump", "roof-low", "ponding-along-")
    made = {code for code in CODES if code.startswith(from_parts)}
    assert set(CODES) - written - made == set()


def test_every_call_passes_the_words_that_its_sentence_needs():
    short = []
    for code, given, module, line in called():
        if code in CODES and None not in given:  # None: words passed as a mapping
            missing = words_of(CODES[code].sentence) - given - PLACES
            if missing:
                short.append((code, missing, module, line))
    assert short == []


def test_the_sentence_is_filled_with_the_numbers():
    found = check("clear-gap", "caution", value=0.375, limit=0.75, where="J1, 3 in from end A", gap="3/8")
    assert "3/8 in, at J1, 3 in from end A; 0.75 in is usual" in found.text
    assert (found.source, found.decided_by) == ("common practice", "contractor")


def test_an_unknown_code_is_an_error():
    with pytest.raises(KeyError):
        check("no-such-code", "ok")


def test_a_missing_word_is_an_error_and_no_half_sentence():
    with pytest.raises(KeyError):
        check("clear-gap", "ok", value=1.0, limit=0.75, where="J1")


def test_a_source_that_the_stage_names_stands_before_the_codes_own():
    found = check("bearing", "ok", value=1.0, limit=4.0, where="J1", words="A fifth of 20 psi", source="maker's sheet")
    assert found.source == "maker's sheet" and found.decided_by == "roofer"


def test_json_carries_the_changes_with_from_and_to():
    found = check("no-joists", "stop", value=0, limit=1, unit="EA", where="frame",
                  clears=[Change("joists.spacing", 16.0, 12.0)])
    told = found.as_json()
    assert told["clears"] == [{"change": "joists.spacing", "from": 16.0, "to": 12.0}]
    assert set(told) == {"code", "status", "value", "limit", "unit", "where", "text", "source", "decided_by",
                         "acknowledge", "clears"}
    assert told["acknowledge"] is False


def test_the_statuses_are_the_four_of_the_document():
    assert STATUSES == ("ok", "note", "caution", "stop")


def test_a_sentence_counts_one_thing_and_several_in_their_own_words():
    assert _counted("3 pad(s) stand; 1 lift-out panel(s), 0 support(s) with joists") == (
        "3 pads stand; 1 lift-out panel, 0 supports with joists")
    assert _counted("2.0 butt joint(s), 1.0 reading(s)") == "2.0 butt joints, 1.0 reading"


def test_every_sentence_of_a_code_that_counts_has_its_number_before_the_thing():
    for code, known in CODES.items():
        counted = known.sentence.count("(s)")
        numbered = known.sentence.replace("{", "").replace("}", "")
        for word in ("count", "value", "limit", "joints", "value:.0f"):
            numbered = numbered.replace(f"{word} ", "7 ")
        assert len(MAYBE_SEVERAL.findall(numbered)) == counted, code
