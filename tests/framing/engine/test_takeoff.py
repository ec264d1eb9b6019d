"""Tests of the takeoff: what is ordered covers what is needed, and each count against its pieces."""

import math
from dataclasses import replace
from decimal import Decimal

import pytest

from framing.engine.boards import lay_boards
from framing.engine.cutting import Piece, Stock, plan
from framing.engine.takeoff import Quantity, rim_joints, rip_run, splices, take_off
from tests.framing.odd_roofs import RECTANGLE, odd_build, odd_survey
from tests.framing.staged import stages

LIMITS = {"kerf": 0.125, "trim": 0.25}


def quantity(**more):
    return Quantity(**{"item": "a", "description": "b", "unit": "EA", "net": 0.0, "waste": 0.0, "spare": 0.0,
                       "pack": 1.0, "order_unit": "EA", "basis": "c", **more})


@pytest.mark.parametrize(("net", "waste", "spare", "pack", "order"), [
    (519, 26, 0, 175, 4),  # 545 clips in boxes of 175
    (350, 0, 0, 175, 2), (351, 0, 0, 175, 3), (0.1, 0, 0, 1, 1), (29.5, 2.95, 0, 32, 2), (1, 1, 1, 1, 3),
    (0.3 * 10, 0, 0, 0.3, 10),  # a float's last digit is no further pack
])
def test_whole_packs_cover_net_waste_and_spare(net, waste, spare, pack, order):
    q = quantity(net=net, waste=waste, spare=spare, pack=pack)
    assert q.order == order
    assert q.order * pack >= net + waste + spare - 1e-6
    assert (q.order - 1) * pack < net + waste + spare


def test_json_states_the_order():
    assert quantity(net=7.0, pack=2.0).as_json()["order"] == 4


# --- a whole deck


def deck(longest=143.75, survey=None, **build):
    """Everything that the takeoff asks for, of the plain rectangle."""
    staged = stages(survey or odd_survey(RECTANGLE), odd_build(**build), longest=longest)
    frame = staged.frame()
    decking = lay_boards(staged.deck, staged.layout.lines, staged.build, 90, 191.75)
    sticks = plan([Piece(m.id, "member", i, b - a) for m in frame.members for i, (a, b) in enumerate(m.pieces, 1)],
                  Stock("lumber/2x6", "2x6", (96.0, 120.0, 144.0)), **LIMITS)
    boards = plan([Piece(b.id, "board", 1, b.length) for b in decking.boards],
                  Stock("decking/board", "board", (120.0, 144.0), {120.0: Decimal(30), 144.0: Decimal(40)}), **LIMITS)
    return staged, frame, decking, (sticks, boards)


def bought(longest=143.75, **build):
    staged, frame, decking, plans = deck(longest, **build)
    found = {q.item: q for q in take_off(plans, frame, decking, staged.deck, staged.build)}
    return staged, frame, decking, plans, found


@pytest.fixture(scope="module")
def plain():
    return bought()


def test_every_order_covers_what_is_needed(plain):
    for q in plain[-1].values():
        assert q.order * q.pack >= q.net + q.waste + q.spare - 1e-6
        assert q.net > 0 and q.waste >= 0 and q.spare >= 0 and q.basis


def test_no_item_is_listed_twice(plain):
    staged, frame, decking, plans, found = plain
    items = [q.item for q in take_off(plans, frame, decking, staged.deck, staged.build)]
    assert len(items) == len(set(items))


def test_sticks_are_the_cutting_plans_with_one_spare_in_25_of_the_longest(plain):
    plans, found = plain[3], plain[-1]
    for cut in plans:
        longest = max(cut.counts)
        for stick, count in cut.counts.items():
            q = found[f"{cut.stock.item}/{stick:g}"]
            spare = math.ceil(count / 25) if stick == longest else 0
            assert q.order == count + spare and q.pack == stick / 12
            assert q.net + q.waste == pytest.approx(count * stick / 12)


def test_what_is_cut_from_sticks_is_what_the_members_measure(plain):
    frame, found = plain[1], plain[-1]
    run = sum(m.line.length for m in frame.members) / 12
    assert sum(q.net for item, q in found.items() if item.startswith("lumber/")) == pytest.approx(run)


def test_one_pad_under_each_support_by_size():
    _, frame, _, _, found = bought(supports__pad_size=[[4, 4], [6, 6], [8, 8]])
    for (a, b) in {s.pad_size for s in frame.supports}:
        assert found[f"support/pad/{a:g}x{b:g}"].net == sum(s.pad_size == (a, b) for s in frame.supports)
    assert sum(q.net for item, q in found.items() if item.startswith("support/pad/")) == len(frame.supports)


def test_shims_are_those_in_the_stacks_by_size(plain):
    frame, found = plain[1], plain[-1]
    for size in (0.0625, 0.125, 0.25):
        in_stacks = sum(s.shims.count(size) for s in frame.supports)
        q = found.get(f"support/shim/{size:g}")
        assert (q.net if q else 0) == in_stacks
        if q:
            assert q.waste == math.ceil(in_stacks * 0.05)


def test_a_hidden_clip_or_two_face_screws_at_each_crossing_and_five_percent_over():
    for fastening, each in (("hidden", 1), ("face", 2)):
        _, _, decking, _, found = bought(decking__fastening=fastening)
        q = found[f"fixing/{fastening}"]
        assert q.net == each * decking.crossings and q.waste == math.ceil(0.05 * q.net)


def test_structural_screws_are_four_a_joint():
    """Each joist and edge joist meets a rim at both ends; a splice is screwed on each side."""
    _, frame, _, _, found = bought(longest=95.75)
    joists = [m for m in frame.members if m.role in ("joist", "edge")]
    joints = 2 * len(joists) + 2 * sum(len(m.splices) for m in frame.members)
    assert all(m.splices for m in joists) and not any(m.role == "blocking" for m in frame.members)
    assert rim_joints(frame) == 2 * len(joists) and splices(frame) == sum(len(m.splices) for m in frame.members)
    assert found["fixing/structural"].net == 4 * joints


def test_joist_tape_runs_over_every_member_only_where_it_is_asked_for():
    assert "treatment/joist-tape" not in bought()[-1]
    _, frame, _, _, found = bought(joists__tape_thickness="1/16")
    q = found["treatment/joist-tape"]
    assert (q.net, q.unit) == (pytest.approx(sum(m.line.length for m in frame.members) / 12), "LF")


def test_preservative_covers_the_rips_a_gallon_to_a_hundred_square_feet():
    """1 1/2 in of rip over the run of ripped members."""
    _, frame, _, _, found = bought(supports__clear_gap={"least": 0.75, "target": 0.75, "most": 1.25})
    ripped = sum(m.line.length for m in frame.members if m.ripped) / 12
    assert ripped > 0 and rip_run(frame) == pytest.approx(ripped)
    assert found["treatment/preservative"].net == pytest.approx(ripped * 1.5 / 12 / 100)


def test_wood_that_is_not_ripped_takes_no_preservative():
    _, frame, decking, plans, _ = bought(supports__clear_gap={"least": 0.75, "target": 0.75, "most": 1.25})
    whole = replace(frame, members=tuple(replace(m, ripped=False) for m in frame.members))
    staged = stages(odd_survey(RECTANGLE), odd_build())
    items = {q.item for q in take_off(plans, whole, decking, staged.deck, staged.build)}
    assert "treatment/preservative" not in items


def test_end_sealer_covers_both_ends_of_every_board_a_quart_to_25_square_feet(plain):
    decking, q = plain[2], plain[-1]["treatment/end-sealer"]
    assert q.net == pytest.approx(2 * len(decking.boards) * 5.5 * 1.0 / 144 / 25)
    assert (q.unit, q.order) == ("QTL", 1)


def test_protection_covers_the_deck_with_a_tenth_for_laps_in_sheets_of_32(plain):
    staged, q = plain[0], plain[-1]["protection/sheet"]
    assert q.net == pytest.approx(staged.deck.net_sqft) and q.waste == pytest.approx(0.1 * staged.deck.net_sqft)
    assert q.order == math.ceil(1.1 * 190 * 118.5 / 144 / 32)


def test_slip_sheet_lies_under_every_pad(plain):
    frame, q = plain[1], plain[-1]["support/slip-sheet"]
    assert q.net == pytest.approx(len(frame.supports) * 36 / 144) and q.waste == pytest.approx(0.1 * q.net)
