"""Fifty random terraces of any outline, boards at any angle: what `run_boards` reads from outside holds on each."""

import pytest

from tests.framing.board_reading import frame_of, gaps, laid, narrow, read
from tests.framing.run_boards import check, table

SEEDS = 50


@pytest.fixture(scope="module")
def found():
    return [check(seed) for seed in range(SEEDS)]


def test_every_bar_is_met(found):
    assert [(what, figure) for what, figure, met in table(found, timed=False) if not met] == []


def test_the_terraces_have_borders_and_narrow_strips(found):
    assert sum(r.borders > 0 for r in found) > 10 and sum(r.thin > 0 for r in found) > 10


@pytest.mark.parametrize("seed", [0, 3])
def test_what_is_bent_is_seen(seed):
    deck = laid(seed)
    assert list(read(deck)) == []
    _, n = frame_of(deck)
    boards = deck.decking.boards
    big = max((b for b in boards if b.rip is None), key=lambda b: b.length)
    for bent, kinds in ((_moved(big, n * 0.05), {"gaps"}), (_moved(big, n * 2), {"overlap", "gaps"}),
                        (_moved(big, n * 500), {"outside", "bare"})):
        changed = _with(deck, big, bent)
        assert kinds <= {kind for kind, _ in read(changed)}
    assert list(gaps(deck)) == list(narrow(deck)) == []


def _moved(board, by):
    import shapely

    return type(board)(**{**board.__dict__, "polygon": shapely.transform(board.polygon, lambda xy: xy + by)})


def _with(deck, board, other):
    boards = tuple(other if b is board else b for b in deck.decking.boards)
    return type(deck)(**{**deck.__dict__, "decking": type(deck.decking)(**{**deck.decking.__dict__, "boards": boards})})
