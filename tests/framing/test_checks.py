"""Tests of findings: their sentences count things in the reader's words."""

from framing.engine.checks import CODES, MAYBE_SEVERAL, _counted


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
