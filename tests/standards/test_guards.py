"""When a guard is asked for, against the published words."""

from framing.reference import guards


def test_a_guard_is_asked_for_over_30_in_within_36_in_of_the_edge():
    # IRC 2018 R312.1.1 as reprinted by Jefferson County, Colorado (form 2088).
    assert (guards.GUARD_DROP, guards.GUARD_REACH) == (30, 36)
