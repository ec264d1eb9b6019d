"""Tests of converting between buying and using units: exact, invertible, refusing what nothing joins."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimating.units import UNITS, CannotConvert, Pack, Piece, UnitError, UnknownUnit, convert, exact, unit

D = Decimal
STICK = Piece(D(168), D("1.25"), D(6))
BOX = Pack("XBX", D(175), "EA")
USABLE = sorted(code for code, found in UNITS.items() if not found.instead)


@pytest.mark.parametrize(
    ("quantity", "source", "target", "joined", "expected"),
    [
        (42, "EA", "LF", {"piece": STICK}, 588),  # 42 boards of 14 ft
        (588, "LF", "EA", {"piece": STICK}, 42),
        (588, "FOT", "LF", {}, 588),
        (1, "FTK", "MTK", {}, Fraction("0.09290304")),  # international foot, exactly
        (4, "QTL", "GLL", {}, 1),
        (1, "LBR", "ONZ", {}, 16),
        (1, "MIL", "CEN", {}, 10),
        (3, "PR", "EA", {}, 6),
        (545, "EA", "XBX", {"pack": BOX}, Fraction(109, 35)),
        (260, "LF", "XRO", {"pack": Pack("XRO", D(65), "LF")}, 4),
        (300, "FTK", "XRO", {"pack": Pack("XRO", D(100), "FTK")}, 3),
        (2, "XRO", "INH", {"pack": Pack("XRO", D(65), "LF")}, 1560),
        (2, "XBE", "MBF", {"pack": Pack("XBE", D(50), "EA"), "piece": Piece(D(144), D(2), D(10))}, 2),
    ],
)
def test_a_quantity_in_another_unit(quantity, source, target, joined, expected):
    assert convert(quantity, source, target, **joined) == expected


@pytest.mark.parametrize(
    ("source", "target", "joined", "needs"),
    [
        ("EA", "XBX", {}, "how much one box holds"),
        ("EA", "XRO", {"pack": BOX}, "how much one roll holds"),
        ("EA", "LF", {}, "length of a piece"),
        ("LF", "MBF", {}, "nominal thickness"),
        ("FTK", "LF", {"piece": STICK}, "same kind as LF"),
        ("LS", "EA", {}, "same kind as EA"),
        ("HUR", "DAY", {}, "same kind as DAY"),
        ("BFT", "MTQ", {"piece": STICK}, "same kind as MTQ"),
    ],
)
def test_what_nothing_joins_is_refused_and_the_message_says_what_would(source, target, joined, needs):
    with pytest.raises(CannotConvert, match=needs):
        convert(1, source, target, **joined)


@pytest.mark.parametrize("code", ["", "ea", " EA", "XYZ", "lf", "\x00", "É"])
def test_codes_are_compared_letter_for_letter(code):
    with pytest.raises(UnknownUnit, match="UN/ECE"):
        unit(code)


def test_a_float_is_no_quantity():
    with pytest.raises(TypeError, match="Decimal"):
        convert(1.5, "LF", "FOT")


@pytest.mark.parametrize("odd", ["NaN", "Infinity"])
def test_an_infinite_quantity_is_refused(odd):
    with pytest.raises(UnitError, match="finite"):
        exact(D(odd))


@pytest.mark.parametrize("size", [D(0), D(-1)])
def test_a_piece_or_pack_of_nothing_is_refused(size):
    with pytest.raises(CannotConvert, match="above 0"):
        Piece(size)
    with pytest.raises(CannotConvert, match="above 0"):
        Pack("XBX", size, "EA")


sizes = st.decimals(D("0.0001"), D(9999), places=4)


@given(
    st.decimals(-(10**9), 10**9, places=4), st.sampled_from(USABLE), st.sampled_from(USABLE), sizes, sizes, sizes,
    st.builds(Pack, st.just("XBX"), sizes, st.sampled_from(["EA", "LF", "FTK", "GLL"])),
)
def test_conversion_inverts_exactly_or_is_refused_both_ways(quantity, source, target, length, thickness, width, pack):
    joined = {"piece": Piece(length, thickness, width), "pack": pack}
    try:
        there = convert(quantity, source, target, **joined)
    except CannotConvert:
        with pytest.raises(CannotConvert):
            convert(quantity, target, source, **joined)
    else:
        assert convert(there, target, source, **joined) == Fraction(quantity)
