"""Whatever deck is drawn, what is ordered, brought up and worked is counted alike from its documents alone."""

import copy

import numpy as np
import pytest

from framing.engine.design import frame
from tests.framing.decks import deck
from tests.framing.orders import _along_side, orders


@pytest.fixture(scope="module")
def framed():
    drawn = deck(9)
    return drawn.build, frame(drawn.survey, drawn.build).document


@pytest.mark.parametrize("seed", [2, 4, 9])
def test_orders_lifts_hours_and_days_of_a_random_deck(seed):
    drawn = deck(seed)
    document = frame(drawn.survey, drawn.build).document
    assert document["labor"] and orders(drawn.build, document) == []


def test_a_short_border_board_runs_along_its_side_and_not_along_its_mitre():
    """An obstacle leaves 5 in of a border 6 in wide by the corner; the mitre there is 6 x 1.414 = 8.5 in long."""
    outline = np.array([[0, 0], [100, 0], [100, 60], [0, 60]])
    run = _along_side(np.array([[0, 0], [11, 0], [11, 6], [6, 6]]), outline)
    assert run.tolist() == [11, 0]
    run = _along_side(np.array([[0, 0], [5, 0], [6, 6]]), outline)
    assert run.tolist() == [5, 0]


def _bend_bundle(f):
    f["lifts"]["bundles"][0]["items"].popitem()


# What a sound answer is bent by, and the part of the reader that must notice.
BENT = {
    "a pack too few": (lambda f: f["quantities"][-1].update(order=f["quantities"][-1]["order"] - 1), "quantities"),
    "a yield that is added on": (lambda f: f["quantities"][0].update(
        waste_yield=f["quantities"][0]["waste_added_on"]), "quantities"),
    "dressed board feet": (lambda f: f["quantities"][0].update(board_feet=f["quantities"][0]["board_feet"] * 0.7),
                           "quantities"),
    "a pad not counted": (lambda f: f["supports"].pop(), "counts"),
    "a splice not counted": (lambda f: f["members"][-1]["splices"].append(30.0), "counts"),
    "a board less": (lambda f: f["boards"].pop(4), "counts"),
    "a piece left in the street": (_bend_bundle, "lifts"),
    "a bundle over the limit": (lambda f: f["lifts"].update(most=10.0), "lifts"),
    "hours over the high rate": (lambda f: f["labor"][1].update(hours=f["labor"][1]["hours"] * 3), "labor"),
    "a product over its cap": (lambda f: f["difficulty"].update(used=1.9), "labor"),
    "a day too few": (lambda f: f["schedule"].update(days=f["schedule"]["days"] - 1), "schedule"),
}


@pytest.mark.parametrize("what", BENT)
def test_the_reader_notices_what_is_bent(framed, what):
    build, document = framed
    bent = copy.deepcopy(document)
    bend, part = BENT[what]
    bend(bent)
    assert any(words.startswith(part) for words in orders(build, bent)), what
