"""Classes of estimates and deposit rules as they are published."""

from decimal import Decimal
from fractions import Fraction

import pytest

from estimating.reference.consumer_law import DEPOSIT_RULES
from estimating.reference.estimate_classes import ESTIMATE_CLASSES, SOURCE

# AACE International 18R-97, table 1: maturity of definition and the outermost range of each class, as three pages
# restate it; the innermost range from memory.
PUBLISHED = {
    5: ((0, 2), "-0.50", "1.00", "-0.20", "0.30"), 4: ((1, 15), "-0.30", "0.50", "-0.15", "0.20"),
    3: ((10, 40), "-0.20", "0.30", "-0.10", "0.10"), 2: ((30, 75), "-0.15", "0.20", "-0.05", "0.05"),
    1: ((65, 100), "-0.10", "0.15", "-0.03", "0.03"),
}


@pytest.mark.parametrize("number", PUBLISHED)
def test_classes_have_the_published_ranges(number):
    row = ESTIMATE_CLASSES[number]
    definition, *bands = PUBLISHED[number]
    assert row.definition == definition and row.name == f"Class {number}"
    assert [row.low, row.high, row.inner_low, row.inner_high] == [Decimal(band) for band in bands]
    assert (row.status, row.inner_status) == ("V2", "M") and "18R-97" in SOURCE


def test_the_more_is_known_the_narrower_the_band():
    bands = [ESTIMATE_CLASSES[number] for number in (5, 4, 3, 2, 1)]
    for wide, narrow in zip(bands, bands[1:], strict=False):
        assert wide.low < narrow.low < 0 < narrow.high < wide.high


# California B&P 7159.5: 1,000 or 10 %, the lesser, contracts over 500. Massachusetts c. 142A s. 2: a third or special
# orders, the greater, over 1,000. Maryland BR 8-617 (2005): a third. Pennsylvania 73 P.S. 517.7 and New Jersey N.J.A.C.
# 13:45A-16: from memory.
DEPOSITS = {
    "CA": ("lesser", Fraction(1, 10), Decimal(1000), "7159.5", "V"),
    "MA": ("greater", Fraction(1, 3), None, "142A", "V"),
    "MD": ("share", Fraction(1, 3), None, "8-617", "V"),
    "PA": ("greater", Fraction(1, 3), None, "517.7", "M"),
    "NJ": ("greater", Fraction(1, 3), None, "13:45A-16", "M"),
}


@pytest.mark.parametrize("state", DEPOSITS)
def test_deposit_rules_stand_as_their_sources_have_them(state):
    row = DEPOSIT_RULES[state]
    which, share, amount, statute, status = DEPOSITS[state]
    assert (row.which, row.share, row.amount, row.status) == (which, share, amount, status)
    assert statute in row.source and row.read_as and row.words


def test_no_rule_stands_without_a_source_a_status_and_how_it_was_read():
    assert set(DEPOSIT_RULES) == set(DEPOSITS)
    for row in DEPOSIT_RULES.values():
        assert row.status in {"V", "V2", "M"} and row.source and row.read_as
