"""Tests that everything a proposal has to tell is told by something, and that nothing claims what it may not."""

import re
from pathlib import Path

import pytest

from framing.engine.checks import CODES
from quotes import cautions
from quotes.notes import PLACES, RULES, claims_of
from tests.quotes.note_coverage import CONTRACT_NOTES, DRAINAGE_NOTES, OTHER_FACTS

ROOT = Path(__file__).resolve().parents[2]
RULE_KEYS = {rule.key for rule in RULES}


def test_each_of_the_34_notes_on_drainage_is_told_by_a_check_or_a_rule():
    assert list(DRAINAGE_NOTES) == list(range(1, 35))
    for what, names in [*DRAINAGE_NOTES.values(), *OTHER_FACTS.items(), *CONTRACT_NOTES.items()]:
        assert names and set(names) <= RULE_KEYS | CODES.keys(), what


def test_every_rule_answers_to_something_that_has_to_be_told():
    told = {name for _, names in [*DRAINAGE_NOTES.values(), *OTHER_FACTS.items(), *CONTRACT_NOTES.items()]
            for name in names}
    assert RULE_KEYS - told == {"access", "heights-unsure"}  # how sticks come up; how sure the clearance is
    assert callable(cautions.deposit_caution)


def test_a_rule_and_a_check_of_one_name_never_stand_beside_each_other():
    for rule in RULES:
        if rule.key in CODES:
            assert rule.unless and rule.key.startswith(rule.unless), rule.key


def test_what_is_placed_is_a_check():
    for beginning in PLACES:
        assert beginning == "guard" or any(code.startswith(beginning) for code in CODES), beginning


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.key)
def test_no_rule_claims_that_anything_complies(rule):
    assert claims_of(rule.text) == () and claims_of(rule.source) == ()


@pytest.mark.parametrize("code", CODES)
def test_no_sentence_of_a_check_claims_that_anything_complies(code):
    assert claims_of(CODES[code].sentence) == () and claims_of(CODES[code].source) == ()


@pytest.mark.parametrize("path", sorted((ROOT / "templates").rglob("*.html")), ids=lambda path: path.name)
def test_no_paper_or_page_claims_that_anything_complies(path):
    text = re.sub(r"<[^>]+>|\{[%{#].*?[%}#]\}", " ", path.read_text(), flags=re.DOTALL)
    assert claims_of(text) == ()


def words_in(path):
    """The sentences that a module writes, docstrings and comments apart: what stands between quotes."""
    code = re.sub(r'""".*?"""', "", path.read_text(), flags=re.DOTALL)
    code = re.sub(r'"\s*\n\s*f?"', "", code)  # a sentence over several lines
    return re.findall(r'"((?:[^"\\\n]|\\.)*)"', re.sub(r"^\s*#.*$", "", code, flags=re.MULTILINE))


SAYING = [path for room in ("quotes/notes", "quotes", "framing/engine") for path in sorted((ROOT / room).glob("*.py"))]


@pytest.mark.parametrize("path", [path for path in SAYING if path.name != "claims.py"], ids=lambda path: path.stem)
def test_no_words_written_in_code_claim_that_anything_complies(path):
    assert [text for text in words_in(path) if claims_of(text)
            and "no word that something complies" not in text] == []
