"""Tests of lapped splices: how pieces lie, what pads bear by hand, and a lapped frame read from outside."""

import copy
import json
from pathlib import Path

import numpy as np
import pytest

from framing.engine.design import frame
from framing.engine.laps import Through, _farthest_apart, bearing_stress, fixings, whole_members, with_through
from framing.engine.layout import Line
from framing.engine.members import Member, _fewest_pieces
from framing.engine.pads import Piece
from framing.engine.structure import Beam, Load, MemberDesign, adjusted_values, solve, strength
from tests.framing.deck_reading import read
from tests.framing.decks import Deck, deck
from tests.framing.identities import identities

DEMO = Path(__file__).parents[3] / "quotes" / "demo"
LOAD, WIDTH = Load(10.0, 40.0), 16.0
SPAN = 48.0


def two_spans(lap=28.0):
    """A level joist over two spans of 48 in, its pieces lapped over the middle pad."""
    m = Member(Line("J1", "joist", (0, 0), (2 * SPAN, 0)), "2x8", np.array([[0, 7.25], [2 * SPAN, 7.25]]), (SPAN,),
               lap=lap)
    return [Piece(m, a, b, np.array([a, b])) for a, b in m.pieces]


def beam(run, *supports):
    return Beam(run, np.array([[0, 7.25], [run, 7.25]]), np.array(supports, float), np.array([WIDTH]), 1.5)


def test_pieces_run_on_past_the_splice_and_lie_a_thickness_apart():
    m = two_spans()[0].member
    assert m.sawn == ((0.0, 76.0), (20.0, 96.0)) and m.run == 96 + 2 * 28 and m.offsets == (0.75, -0.75)
    assert np.allclose(m.centre_lines, [[[0, 0.75], [76, 0.75]], [[20, -0.75], [96, -0.75]]])
    assert m.as_json([])["pieces"] == [[0.0, 76.0, 0.75], [20.0, 96.0, -0.75]]
    assert fixings(m) == 2 * 5  # rows 16 in apart at most along 56 in


def test_lapped_pieces_stand_furthest_from_a_skewed_member_where_one_has_just_ended():
    """The first piece, on the near side, ends at 120 in; the edge joist is there 16 - 120 x 6 / 200 = 12.4 in from the
    joist's line, and the other piece 3/4 in further."""
    joist = Member(Line("J1", "joist", (0, 0), (200, 0)), "2x8", np.array([[0, 7.25], [200, 7.25]]), (100.0,), lap=20.0)
    edge = Member(Line("E1", "edge", (0, 16), (200, 10)), "2x8", np.array([[0, 7.25], [200.09, 7.25]]))
    apart, where = _farthest_apart([joist, edge], 17.5)
    assert apart == pytest.approx(12.4 + 0.75, abs=1e-5) and where == "J1 and E1"


def test_a_lap_takes_its_length_from_what_a_stick_reaches():
    """143 in reach 230 in butted in two pieces; with laps of 28 in past each splice two reach 230 = 2 (143 - 28)."""
    grid = np.arange(28, 300.0).tolist()
    assert _fewest_pieces(230, 143, grid, lap=28) == (115.0,)
    assert len(_fewest_pieces(232, 143, grid, lap=28)) == 2
    assert len(_fewest_pieces(232, 143, grid)) == 1


def test_a_member_that_runs_through_bears_five_quarters_in_the_middle():
    """Two equal spans under an even load: 3/8, 5/4 and 3/8 of a span's load; with a hinge 1/2, 1 and 1/2."""
    pieces = two_spans()
    whole = whole_members(pieces)
    assert whole[0].pads.tolist() == [0, SPAN, 2 * SPAN]
    through = Through(tuple(whole), (beam(2 * SPAN, 0, SPAN, 2 * SPAN),),
                      solve([beam(2 * SPAN, 0, SPAN, 2 * SPAN)], LOAD, 1.4e6))
    on_span = 50 / 144 * WIDTH * SPAN
    found = [r[0] / on_span for r in through.reactions().values()]
    assert found == pytest.approx([3 / 8, 5 / 4, 3 / 8], rel=1e-6)
    hinged = solve([beam(SPAN, 0, SPAN)] * 2, LOAD, 1.4e6)
    assert hinged.moment_most[0].max() == pytest.approx(on_span * SPAN / 8)  # the wood is held against the hinge's
    assert hinged.reaction[0][1] + hinged.reaction[1][0] == pytest.approx(on_span)


def test_the_worse_of_hinge_and_running_through_counts_for_bearing():
    """Over the splice two lengths lie on all of the pad: 5/4 of a span's load on 2 x 1 1/2 x 6 in."""
    pieces = two_spans()
    on_span = 50 / 144 * WIDTH * SPAN
    p = whole_members(pieces)[0]
    most = np.array([3 / 8, 5 / 4, 3 / 8]) * on_span
    assert bearing_stress(p, most, 6.0) == pytest.approx(most / [1.5 * 3, 2 * 1.5 * 6, 1.5 * 3])
    beams = [beam(SPAN, 0, SPAN)] * 2
    solution = solve(beams, LOAD, 1.4e6)
    values = adjusted_values("Southern Pine", "No.2", "2x8")
    strong = strength(solution, beams, MemberDesign(values, 6.0))
    through = Through((p,), (beam(2 * SPAN, 0, SPAN, 2 * SPAN),), solve([beam(2 * SPAN, 0, SPAN, 2 * SPAN)], LOAD, 1e6))
    Fcp = np.full(2, values.Fcp)
    _, same = with_through(solution, strong, pieces, through, 6.0, Fcp)
    assert (same.bearing.ratio >= strong.bearing.ratio).all()
    assert same.bending is strong.bending  # a hinge for bending, whatever the pads bear
    through.solution.reaction_most[0][1] *= 10
    _, worse = with_through(solution, strong, pieces, through, 6.0, Fcp)
    assert worse.bearing.ratio[0] == pytest.approx(
        through.solution.reaction_most[0][1] / (2 * 1.5 * 6) / values.Fcp) and worse.bearing.s[0] == SPAN


@pytest.fixture(scope="module")
def lapped():
    survey, build = (json.loads((DEMO / f"{n}.json").read_text()) for n in ("survey", "build"))
    butted = frame(survey, build).document
    build["joists"]["splice"] = "lapped"
    return survey, build, butted, frame(survey, build).document


def test_a_lapped_terrace_keeps_every_identity_and_says_how_it_is_lapped(lapped):
    survey, build, butted, document = lapped
    assert identities(survey, build, document) == []
    codes = {c["code"] for c in document["checks"]}
    assert {"lapped", "lap-gap"} <= codes and "not-covered" not in codes
    assert all(m["pieces"] for m in document["members"] if m["splices"] and m["role"] != "rim")
    hours = {t["task"]: t["hours"] for t in document["labor"]}
    assert hours["set-members"] > {t["task"]: t["hours"] for t in butted["labor"]}["set-members"]
    assert not any("pieces" in m for m in butted["members"])


def test_a_reader_notices_a_lap_too_short_and_pieces_in_one_place(lapped):
    survey, build, _, document = lapped
    for bend, words in ((lambda p: p[0].__setitem__(1, p[0][1] - 6), "laps from"),
                        (lambda p: p[1].__setitem__(2, p[0][2]), "beside its line")):
        bent = copy.deepcopy(document)
        bend(next(m for m in bent["members"] if m.get("pieces"))["pieces"])
        assert any("laps:" in v and words in v for v in identities(survey, build, bent))


def test_a_random_lapped_deck_is_read_from_outside_without_a_fault():
    drawn = deck(117)
    assert drawn.build["joists"]["splice"] == "lapped" and isinstance(drawn, Deck)
    document = frame(drawn.survey, drawn.build).document
    assert max(len(m.get("pieces", ())) for m in document["members"]) == 3
    assert identities(drawn.survey, drawn.build, document) == [] and read(drawn, document).broken == []


@pytest.mark.parametrize("seed", [3, 106, 128, 222])
def test_lapped_joists_are_laid_closer_so_that_boards_span_no_more_than_they_may(seed):
    """Each stood up to 1 1/2 in further apart than its decking spans, a length left of its line beside one right."""
    drawn = deck(seed)
    document = frame(drawn.survey, drawn.build).document
    spacing, = (c for c in document["checks"] if c["code"] == "lap-spacing")
    assert spacing["status"] == "ok" and spacing["value"] <= spacing["limit"] + 1 / 32
    assert identities(drawn.survey, drawn.build, document) == [] and read(drawn, document).broken == []


def test_where_pads_are_too_narrow_for_both_lengths_they_butt_and_that_is_told():
    survey, build = (json.loads((DEMO / f"{n}.json").read_text()) for n in ("survey", "build"))
    build["joists"]["splice"] = "lapped"
    build["supports"]["pad_size"] = [[6, 2.5], [8, 8]]
    document = frame(survey, build).document
    told = [c["text"] for c in document["checks"] if c["code"] == "lap-not-laid"]
    assert told and "2 1/2" in told[0] and not any("pieces" in m for m in document["members"])
