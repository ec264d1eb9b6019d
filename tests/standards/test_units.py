"""Unit codes and board measure against what UN/ECE and the trade's handbooks print."""

from decimal import Decimal
from fractions import Fraction

import pytest

from estimating.units import UNITS, CannotConvert, Piece, UnknownUnit, board_feet, convert, unit

# UN/ECE Recommendation 20, revision 17 (2021), annex: codes that stand there without a status mark.
ACTIVE = [
    "EA", "C62", "H87", "PR", "CEN", "MIL", "T3", "FOT", "LF", "INH", "MTR", "LM", "FTK", "SQR", "MTK", "YDQ", "MTQ",
    "QTL", "GLL", "ONZ", "LBR", "BFT", "BP", "MBF", "HUR", "DAY", "WEE", "MON", "LS", "E51", "LO", "SET", "KT", "P1",
]  # fmt: skip
# Same annex: status X (deleted), of which those that are packages are now in Recommendation 21.
DELETED = ["BX", "RO", "PK", "CT", "BE", "CA", "ST", "PF", "TS", "CY"]
# Same annex: status D (deprecated).
DEPRECATED = ["QT", "OZ", "SHT"]
# UN/ECE Recommendation 21 package codes, written with the prefix X where a unit of measure is asked (the mapping of
# the prefix from memory).
PACKAGES = ["XBX", "XRO", "XPK", "XCT", "XBE", "XCA", "XST", "XPX"]


@pytest.mark.parametrize("code", ACTIVE + PACKAGES)
def test_an_active_code_is_taken(code):
    assert unit(code).status == "active"


@pytest.mark.parametrize("code", DELETED)
def test_a_deleted_code_is_refused_with_the_code_to_use(code):
    assert UNITS[code].status == "deleted"
    with pytest.raises(UnknownUnit, match="deleted"):
        unit(code)


@pytest.mark.parametrize("code", DEPRECATED)
def test_a_deprecated_code_is_refused_with_the_code_to_use(code):
    assert UNITS[code].status == "deprecated"
    with pytest.raises(UnknownUnit, match="deprecated"):
        unit(code)


@pytest.mark.parametrize(
    ("code", "instead"),
    [("BX", "XBX"), ("RO", "XRO"), ("PK", "XPK"), ("CT", "XCT"), ("TS", "FTK"), ("QT", "QTL"), ("OZ", "ONZ"),
     ("BE", "XBE"), ("CA", "XCA"), ("ST", "XST"), ("PF", "XPX"), ("CY", "YDQ"), ("SHT", "XST")],
)
def test_the_refusal_names_the_code_to_use(code, instead):
    with pytest.raises(UnknownUnit, match=instead):
        unit(code)


def test_lft_is_no_code_of_the_annex_and_lf_is_named():
    assert "LFT" not in UNITS
    with pytest.raises(UnknownUnit, match="perhaps LF"):
        unit("LFT")


# Rec 20 rev. 17, annex: the descriptions of BFT (board foot) and WCD (cord) stand in each other's row, so that WCD read
# by its words would be board feet. It is no unit of ours.
def test_a_cord_is_never_taken_for_a_board_foot():
    assert unit("BFT").dimension == "board measure" and "WCD" not in UNITS
    with pytest.raises(UnknownUnit):
        unit("WCD")


@pytest.mark.parametrize("code", ["EACH", "ea", " EA", "PCS", "MBF ", "LNFT", "BDFT", "", "SQFT", "CWT", "GAL"])
def test_what_people_write_for_a_unit_is_no_code(code):
    with pytest.raises(UnknownUnit):
        unit(code)


def test_m_alone_is_no_code():
    with pytest.raises(UnknownUnit, match="MIL"):
        unit("M")


def test_a_us_hundredweight_is_a_hundred_pounds():
    # Rec 20 code CWA, hundredweight (US); from memory, as is its size.
    assert convert(1, "CWA", "LBR") == 100


def test_a_content_ton_is_not_taken_for_a_carton():
    with pytest.raises(UnknownUnit, match="XCT"):
        unit("CTN")


def test_a_square_is_not_a_roofing_square():
    with pytest.raises(UnknownUnit, match="perhaps SQR"):
        unit("SQ")
    assert convert(1, "SQR", "FTK") == 100  # common practice: a roofing square covers 100 square feet


# Navy Engineering Aid Basic, ch. 6-3 (tpub.com/engbas): one 2x4 of 14 ft; Army EN5155 p. 1-28: 14 pieces 1x4 of 8 ft.
@pytest.mark.parametrize(
    ("thickness", "width", "feet", "pieces", "published"),
    [(2, 4, 14, 1, Fraction(28, 3)), (1, 4, 8, 14, Fraction(112, 3))],
    ids=["Navy: 9 1/3 BF", "Army: 37 1/3 BF"],
)
def test_board_feet_as_the_manuals_print_them(thickness, width, feet, pieces, published):
    piece = Piece(Decimal(12 * feet), Decimal(thickness), Decimal(width))
    assert board_feet(piece) * pieces == published
    assert convert(pieces, "EA", "BFT", piece=piece) == published


def test_stock_thinner_than_an_inch_counts_as_an_inch():
    # Navy Engineering Aid Basic, ch. 6-3.
    thin, inch = (Piece(Decimal(96), Decimal(t), Decimal(6)) for t in ("0.75", "1"))
    assert board_feet(thin) == board_feet(inch) == 4


def test_decking_five_quarters_by_six_is_five_eighths_of_a_board_foot_a_foot():
    # Trade arithmetic: 1.25 x 6 / 12 = 0.625 nominal.
    assert board_feet(Piece(Decimal(12), Decimal("1.25"), Decimal(6))) == Fraction(5, 8)


def test_board_measure_needs_the_section():
    with pytest.raises(CannotConvert, match="nominal thickness"):
        convert(1, "EA", "MBF", piece=Piece(Decimal(144)))
