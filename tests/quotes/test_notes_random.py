"""Notes of random framings, on small roofs for quickness: called for exactly when a reader of its own says so."""

import pytest

from tests.quotes.run_notes import check

# The smallest roofs among the first 260; `python -m tests.quotes.run_notes 500` takes all sizes.
SEEDS = (
    7, 9, 13, 24, 25, 36, 42, 44, 49, 51, 53, 54, 61, 72, 75, 81, 89, 94, 113, 114, 118, 122, 127, 136, 144, 145,
    146, 149, 151, 154, 157, 159, 169, 170, 174, 181, 191, 194, 198, 202, 215, 223, 224, 239, 240, 243, 249, 255,
    256, 258
)


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


def test_nearly_every_note_that_may_be_on_or_off_was_both(found):
    both = {name for name in found[0].found if len({r.found[name][0] for r in found}) == 2}
    assert both >= {
        "accessible-threshold", "across-the-water", "clear-gap", "cooling-off", "deck-above-sill", "door-flush",
        "door-step", "electronic-records", "fall-protection", "few-shots", "fire!", "guards", "home-contract",
        "lead-paint", "license-missing", "may-touch-roof", "membrane!", "membrane-upturn", "misclosure", "no-outlet",
        "no-overflow", "overflow-opening", "overflow-size", "parapet-low", "pond", "ponding-stability", "rain-source",
        "rescission", "roof-condition!", "roof-owner", "roof-slope-low", "strainer", "warranty", "water-under-joists",
        "wind!",
    }
