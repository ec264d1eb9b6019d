"""Notes of random framings: called for exactly when a reader of its own says so, over seeds that frame quickly."""

import pytest

from tests.quotes.run_notes import check

# Quick ones, so that fifty take little longer than a handful of large decks would.
SEEDS: tuple[int, ...] = ()


@pytest.fixture(scope="module")
def found():
    return [check(seed) for seed in SEEDS]


def test_none_raises(found):
    assert [(r.seed, r.error) for r in found if r.error] == []


def test_every_note_stands_exactly_where_the_documents_call_for_it(found):
    assert [(r.seed, r.wrong) for r in found if r.wrong] == []


def test_every_note_says_its_basis_its_source_and_who_decides_and_none_claims_anything(found):
    assert [(r.seed, r.unsaid, r.claims) for r in found if r.unsaid or r.claims] == []


def test_no_two_notes_of_a_proposal_have_one_name(found):
    assert [r.seed for r in found if r.same] == []


def test_nearly_every_note_comes_up_and_stays_off(found):
    """Over the seeds each note that may be on or off was both, but for the few that few roofs call for."""
    both = {name for name in found[0].found if len({r.found[name][0] for r in found}) == 2}
    assert {"misclosure", "few-shots", "roof-slope-low", "pond", "clear-gap", "no-overflow", "strainer", "guards",
            "parapet-low", "wind!", "fire!", "membrane!", "roof-condition!", "rain-source", "door-flush", "warranty",
            "roof-owner", "lead-paint", "license-missing", "cooling-off", "home-contract"} <= both
