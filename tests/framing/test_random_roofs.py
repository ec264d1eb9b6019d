"""The roof against the true one, over random roofs: few here, `python -m tests.framing.run_roofs 300` for all."""

import pytest

from tests.framing.random_roofs import KINDS
from tests.framing.run_roofs import measure

ROOFS = 6 * len(KINDS)


@pytest.fixture(scope="module")
def table():
    return list(measure(ROOFS))


def test_every_bar_is_met(table):
    assert [row for row in table if not row[2]] == []


def test_every_kind_of_roof_is_told_from_the_others(table):
    found = {what: figure for what, figure, _ in table if "as many planes" in what}
    assert len(found) == len(KINDS)
    assert all(figure.startswith("6 of 6") for figure in found.values()), found
