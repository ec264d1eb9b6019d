"""Numbers that notes turn on, against what their sources print."""

from decimal import Decimal

from estimating.reference import home_contracts
from framing.reference import drainage, guards, roofs


def test_guards_and_falls():
    # IRC 2018 R312.1.2, in Jefferson County's reprint: 36 in; IBC 1015.3, in restatements: 42 in
    assert (guards.GUARD_HEIGHT, guards.GUARD_HEIGHT_OTHER) == (36, 42)
    # OSHA interpretation of 2003-09-26 of 29 CFR 1926.501(b)(1): 6 feet
    assert guards.FALL_PROTECTION == 6 * 12


def test_strainers():
    # La. Admin. Code 51:XIV-1109: not less than 4 inches above the surface of the roof
    assert drainage.STRAINER == 4


def test_wind_and_fire():
    # ANSI/SPRI RP-4 2008, in restatements: ballast pavers of at least 22 psf; IBC 1505.1 (2015): 6 feet; New York City,
    # in two articles: a fifth of the roof
    assert (roofs.BALLAST, roofs.LOT_LINE, roofs.CITY_SHARE) == (22, 6 * 12, 1 / 5)


def test_sales_away_from_the_sellers_place():
    # 16 CFR 429.0(a), eCFR of 2021-02-25: $25 at the buyer's residence, $130 at other places
    assert Decimal(25) == home_contracts.COOLING_OFF_AT_HOME
    assert Decimal(130) == home_contracts.COOLING_OFF_ELSEWHERE


def test_contracts_from_which_a_states_law_speaks():
    # Cal. B&P 7159: more than $500; Mass. G.L. c. 142A s. 2: more than $1,000
    over = {rule.state: rule.over for rule in home_contracts.CONTRACT_RULES}
    assert (over["CA"], over["MA"]) == (500, 1000)
