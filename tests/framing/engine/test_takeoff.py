"""Tests of the takeoff: what is ordered covers what is needed, and each count against its pieces."""

import math
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from shapely import Polygon, box

from framing.engine.boards import Board, lay_boards
from framing.engine.cutting import Piece, Stock, plan
from framing.engine.takeoff import (
    Quantity,
    angle_cuts,
    board_feet,
    colour_lot,
    crossings,
    panels,
    rim_joints,
    rip_run,
    scribed_run,
    splices,
    take_off,
    whole,
)
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
        _, frame, decking, _, found = bought(decking__fastening=fastening)
        q = found[f"fixing/{fastening}"]
        members = sum(m.role in ("joist", "edge") for m in frame.members)  # boards run across all of them, none jointed
        assert all(b.length < 191.75 for b in decking.boards) and frame.members
        assert q.net == each * members * len(decking.boards) and q.waste == math.ceil(0.05 * q.net)


def test_structural_screws_are_four_a_joint():
    """Each joist and edge joist meets a rim at both ends; a splice is screwed on each side."""
    _, frame, _, _, found = bought(longest=95.75)
    joists = [m for m in frame.members if m.role in ("joist", "edge")]
    joints = 2 * len(joists) + 2 * sum(len(m.splices) for m in frame.members)
    assert all(m.splices for m in joists) and not any(m.role == "blocking" for m in frame.members)
    headers = sum(m.line.header for m in frame.members)
    assert headers == 0 and angle_cuts(frame) == 0
    assert rim_joints(frame) == 2 * len(joists) and splices(frame) == sum(len(m.splices) for m in frame.members)
    assert found["fixing/structural"].net == 4 * joints


def test_joist_tape_runs_over_every_member_only_where_it_is_asked_for():
    assert "treatment/joist-tape" not in bought()[-1]
    _, frame, _, _, found = bought(joists__tape_thickness="1/16")
    q = found["treatment/joist-tape"]
    assert (q.net, q.unit) == (pytest.approx(sum(m.line.length for m in frame.members) / 12), "LF")


def ends_of(frame):
    """Sawn area of all piece ends, 1 1/2 in by the depth there [sq ft]."""
    return sum(1.5 * m.depth(np.array([a, b])).sum() for m in frame.members for a, b in m.pieces) / 144


def test_preservative_covers_rips_and_end_cuts_a_gallon_to_a_hundred_square_feet():
    """1 1/2 in of rip over the run of ripped members, and both ends of every piece."""
    _, frame, _, _, found = bought(supports__clear_gap={"least": 0.75, "target": 0.75, "most": 1.25})
    ripped = sum(m.line.length for m in frame.members if m.ripped) / 12
    assert ripped > 0 and rip_run(frame) == pytest.approx(ripped)
    assert found["treatment/preservative"].net == pytest.approx((ripped * 1.5 / 12 + ends_of(frame)) / 100)


def test_wood_that_is_not_ripped_takes_preservative_on_its_end_cuts_alone():
    """Every cut into treated wood is treated again, crosscuts too: IRC R317.1.1, AWPA M4."""
    staged, frame, decking, plans, _ = bought(supports__clear_gap={"least": 0.75, "target": 0.75, "most": 1.25})
    left = replace(frame, members=tuple(replace(m, ripped=False) for m in frame.members))
    found = {q.item: q for q in take_off(plans, left, decking, staged.deck, staged.build)}
    assert found["treatment/preservative"].net == pytest.approx(ends_of(frame) / 100)
    assert "rips 1" not in found["treatment/preservative"].basis


def test_only_what_is_shallower_than_its_stick_is_ripped():
    """Full depth over the first third of 120 in, then down to 3 in: 80 in of rip."""
    _, frame, _, _, _ = bought()
    m = next(m for m in frame.members if m.size == "2x6")
    line = replace(m.line, start=(0.0, 0.0), end=(120.0, 0.0))
    sawn = replace(m, line=line, profile=np.array([[0, 5.5], [40, 5.5], [120, 3.0]]), splices=(), ripped=True)
    assert rip_run(replace(frame, members=(sawn,))) == pytest.approx(80 / 12)


def test_end_sealer_covers_both_ends_of_every_board_a_quart_to_25_square_feet(plain):
    decking, q = plain[2], plain[-1]["treatment/end-sealer"]
    assert q.net == pytest.approx(2 * len(decking.boards) * 5.5 * 1.0 / 144 / 25)
    assert (q.unit, q.order) == ("QTL", 1)


def test_protection_covers_the_deck_with_a_tenth_for_laps_in_sheets_of_32(plain):
    staged, q = plain[0], plain[-1]["protection/sheet"]
    assert q.net == pytest.approx(staged.deck.net_sqft) and q.waste == pytest.approx(0.1 * staged.deck.net_sqft)
    assert q.order == math.ceil(1.1 * 190 * 118.5 / 144 / 32)


def test_both_waste_conventions_come_to_what_is_used():
    """15 on 100 is 15 % added on to net and 13.04 % of what is used: 100 x 1.15 = 100 / 0.8696 = 115."""
    q = quantity(net=100.0, waste=15.0)
    assert q.waste_added_on == pytest.approx(0.15) and q.waste_yield == pytest.approx(0.1304, abs=5e-5)
    assert 100 * (1 + q.waste_added_on) == pytest.approx(100 / (1 - q.waste_yield)) == pytest.approx(115)


def test_the_basis_of_sticks_names_both_conventions(plain):
    for item, q in plain[-1].items():
        if item.startswith(("lumber/2", "decking/")):
            assert f"{q.waste_added_on:.1%} of net (added on)" in q.basis
            assert f"{q.waste_yield:.1%} of the sticks (yield)" in q.basis


def test_a_floats_dust_is_no_piece_more():
    """100 x 1.1 is 110.00000000000001 in floats: 110 are enough; a thousandth over is one more."""
    assert 100 * 1.1 > 110 and whole(100 * 1.1) == 110 and whole(110.001) == 111
    assert quantity(net=100.0, waste=100 * 1.1 - 100, pack=11.0).order == 10


def test_both_boards_of_a_butt_joint_are_fixed_to_the_joist_under_it():
    _, frame, decking, _, _ = bought()
    whole_row = decking.boards[3]
    (x0, y0, x1, y1), joist = whole_row.polygon.bounds, next(m for m in frame.members if m.role == "joist")
    y = joist.line.start[1]
    halves = [replace(whole_row, polygon=box(x0, a, x1, b)) for a, b in ((y0, y), (y, y1))]
    one = crossings(frame, replace(decking, boards=(whole_row,)))
    assert crossings(frame, replace(decking, boards=tuple(halves))) == one + 1
    assert crossings(frame, replace(decking, boards=tuple(replace(b, kind="panel") for b in halves))) == 0


def test_one_pad_in_25_of_each_size_is_spare(plain):
    for item, q in plain[-1].items():
        if item.startswith("support/pad/"):
            assert q.spare == math.ceil(q.net / 25) and q.order == q.net + q.spare


def test_an_order_of_lumber_has_the_board_feet_of_its_nominal_size(plain):
    for item, q in plain[-1].items():
        if item.startswith("lumber/2x6/"):
            assert q.board_feet == pytest.approx(q.order * 2 * 6 * float(item.split("/")[2]) / 144)
    # 1 x 5 1/2 in dressed is nominal 5/4 x 6: 0.625 board feet a foot
    for item, q in plain[-1].items():
        if item.startswith("decking/"):
            assert q.board_feet == pytest.approx(0.625 * q.order * float(item.split("/")[2]) / 12)


def test_boards_of_no_nominal_size_have_no_board_feet():
    found = bought(decking__width=5.36, decking__thickness=0.94)[-1]
    assert all(q.board_feet == 0 for item, q in found.items() if item.startswith("decking/"))
    assert board_feet(0.75, 4, 8) == board_feet(1, 4, 8)  # under 1 in counts as 1 in


def test_an_order_weighs_what_its_sticks_do(plain):
    """Cumaru at its heavy end, 81 lb/cu ft: 1 x 5 1/2 in is 3.094 lb/ft. Every other item weighs something too."""
    found = bought(decking__species="cumaru")[-1]
    for item, q in found.items():
        if item.startswith("decking/"):
            assert q.weight == pytest.approx(3.094 * q.order * q.pack, rel=1e-3)
        assert q.weight > 0
    wet, dry = (bought(joists__moisture=word)[-1] for word in ("wet", "kdat"))
    assert all(wet[k].weight > 1.2 * dry[k].weight for k in wet if k.startswith("lumber/2"))


def board(*corners, kind="field"):
    return Board("B", kind, Polygon(corners), 100.0, None, 0, 5.5, 0.0)


def test_scribed_edges_are_those_neither_along_nor_square():
    """A taper rip of 100 in falling 2 in, a skew end over 5 1/2 in, and a square board: by Pythagoras."""
    taper = board((0, 0), (100, 0), (100, 3.5), (0, 5.5))
    skew = board((0, 0), (100, 0), (98, 5.5), (0, 5.5))
    square = board((0, 0), (100, 0), (100, 4), (0, 4))
    assert scribed_run([taper]) == pytest.approx(math.hypot(100, 2) / 12)
    assert scribed_run([skew, square]) == pytest.approx(math.hypot(2, 5.5) / 12)
    assert scribed_run([square]) == scribed_run([]) == 0


def test_boards_of_one_panel_lie_a_gap_apart():
    rows = [board((0, y), (24, y), (24, y + 5.5), (0, y + 5.5), kind="panel") for y in (0, 5.6875, 11.375, 60)]
    _, _, decking, _, _ = bought()
    assert panels(replace(decking, boards=tuple(rows)), 3 / 16) == 2
    assert panels(replace(decking, boards=()), 3 / 16) == 0


def test_ends_that_meet_off_square_are_cut_at_an_angle():
    """The far side runs 24 in out over 192, 7.1 degrees: joist ends on its rim are cut so, the near ones not."""
    skewed = odd_survey([(0, 0), (192, 0), (192, 120), (0, 144)])
    staged = stages(skewed, odd_build(), 90.0, longest=191.0)
    frame = staged.frame()
    joists = sum(m.role == "joist" for m in frame.members)
    assert joists <= angle_cuts(frame) <= joists + 4  # and the rim's and edge joists' own corners


def test_slip_sheet_lies_under_every_pad(plain):
    frame, q = plain[1], plain[-1]["support/slip-sheet"]
    assert q.net == pytest.approx(len(frame.supports) * 36 / 144) and q.waste == pytest.approx(0.1 * q.net)


def test_the_colour_lot_is_as_many_boards_as_the_takeoff_orders_and_not_the_pieces_cut_from_them():
    staged, frame, decking, plans = deck()
    found = take_off(plans, frame, decking, staged.deck, staged.build)
    told = colour_lot(found, staged.build)
    ordered = [q for q in found if q.item.startswith("decking/")]
    assert told.value == sum(q.order for q in ordered) == len(plans[1].sticks) + sum(
        round(q.spare / q.pack) for q in ordered)
    assert told.value != len(decking.boards)
    assert f"Order all {told.value:.0f} boards" in told.text
