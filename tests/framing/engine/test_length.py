"""Lengths in every form that a crew writes, nonsense refused with its place, and exact round trips."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from framing.engine.length import LengthError, read, sixteenths, write


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("5 5/8", 5.625), ('5-5/8"', 5.625), ("5 5/8 in", 5.625), ("5 5/8in.", 5.625), ("5⅝", 5.625), ("5 ⅝", 5.625),
        ("5⅝”", 5.625), ("5-⅝", 5.625), ("5 5⁄8", 5.625), ("5–5/8″", 5.625), ('5" 5/8', 5.625),
        ("5.625 inches", 5.625), ('3/4"', 0.75), ("3/4", 0.75), ("¾", 0.75), ("3 / 4", 0.75), ("9/8", 1.125),
        (".5", 0.5), ("5.", 5.0), ("+5", 5.0), ("0", 0.0), ("  7  ", 7.0), ("\t 5 5/8 in \n", 5.625),
        ("12‘ 3“", 147.0), ("12’-3½”", 147.5), (" 12’ 3 1/2” ", 147.5), ("+ 12' 3\"", 147.0),
        ("–5⅝", -5.625), ("— 5 5/8 in", -5.625), (" -12'3-1/2 ", -147.5), ("1,200mm", 1200 / 25.4), ("12,000", 12000.0),
        ("7\u00a01/2", 7.5), ("1 inch", 1.0),
        ("12' 3 1/2\"", 147.5), ("12'-3.5\"", 147.5), ("12'3-1/2", 147.5), ("12'3-1/2\"", 147.5),
        ("12’ 3 ½”", 147.5), ("12′3½″", 147.5), ("12' - 3 1/2''", 147.5), ("12 ft 3 1/2 in", 147.5),
        ("12 ft. 3 in. 1/2", 147.5), ("12FT 3.5IN", 147.5), ("12feet3½inches", 147.5), ("12'", 144.0), ("12 ft", 144.0),
        ("12.5'", 150.0), ("12 1/2'", 150.0), ("12'0\"", 144.0), ("0' 3\"", 3.0), ("12' 3/4", 144.75),
        ("-5 5/8", -5.625), ("−5 5/8", -5.625), ("- 3/4", -0.75), ("-12' 3 1/2\"", -147.5), ("-143 mm", -143 * 5 / 127),
        ("143 mm", 143 * 5 / 127), ("143mm", 143 * 5 / 127), ("1,200 mm", 1200 / 25.4),
        ("1,200.5 mm", 1200.5 * 5 / 127),
        ("1.2 m", 1200 / 25.4), ("120 cm", 1200 / 25.4), ("1.2M", 1200 / 25.4), ("25.4mm", 1.0),
    ],
)
def test_reads_what_a_crew_writes(text, inches):
    assert read(text) == inches


@pytest.mark.parametrize(
    ("value", "unit", "inches"),
    [
        (12, "in", 12.0), (25.4, "mm", 1.0), (0.0254, "m", 1.0), (12.5, "ft", 150.0),
        (254, "mm", 10.0), (1.27, "m", 50.0),
        ("254", "mm", 10.0),
        ("2.5", "ft", 30.0), ("1.27", "m", 50.0), ("-254", "mm", -10.0), ("1,270", "mm", 50.0),
    ],
)
def test_a_number_and_bare_text_are_in_the_documents_unit(value, unit, inches):
    assert read(value, unit) == inches


@pytest.mark.parametrize("unit", ["in", "ft", "mm", "m"])
@pytest.mark.parametrize(
    ("text", "inches"),
    [("5 5/8", 5.625), ("⅝", 0.625), ('5"', 5.0), ("12' 3", 147.0), ("12'", 144.0), ("10 ft 6", 126.0)],
)
def test_a_fraction_or_a_mark_means_inches_and_feet_whatever_the_unit(text, inches, unit):
    assert read(text, unit) == inches


@pytest.mark.parametrize(
    ("text", "position"),
    [
        ("", 0), ("   ", 0), ("-", 1), ("abc", 0), ("twelve", 0), ("5 5/0", 4), ("5 9/8", 2), ("5 5/", 3), ("5/8/4", 3),
        ("5 5 8", 2), ("12 3 1/2", 3), ("5.5 1/2", 4), ("5.5/8", 3), ("1,2 m", 0), ("12,50", 0), ("1e3", 1),
        ("5 furlongs", 2), ("5 x", 2), ("--5", 1), ("5-", 2), ("12'-", 4), ("12' 3' 4\"", 4), ('3" 12\'', 3),
        ("12.5' 3\"", 0),
        ("12' 14\"", 4), ("12' 3 mm", 4), ("1 m 20 cm", 4), ("5 1/2 mm", 0), ("1/2 m", 0), ("5 5/8 in 3", 9),
        ("nan", 0), ("inf", 0),
        ("0x10", 1), ("1_000", 1), ("5\\", 1), ("٥", 0), ("12' -- 3\"", 5), ("$5", 0), ("5%", 1), ("5 ½ ½", 4),
        ("½5", 1), ("[5]", 0), ("1..5", 2), ("9" * 61, 60),
    ],
)
def test_nonsense_is_refused_with_its_place(text, position):
    with pytest.raises(LengthError) as refused:
        read(text)
    assert refused.value.position == position
    assert refused.value.expected
    assert text[:5] in str(refused.value.read)


@pytest.mark.parametrize(
    "value", [True, False, None, float("nan"), float("inf"), float("-inf"), [], {}, b"5", (1,), 10**400, 5j]
)
def test_what_is_no_length_is_refused(value):
    with pytest.raises(LengthError):
        read(value)


TO_200_FEET = range(200 * 12 * 32 + 1)  # in thirty-seconds of an inch


def _spelled(steps, denominator):
    """So many steps of 1/denominator inch as a carpenter writes them, in whole numbers alone."""
    whole, part = divmod(steps, denominator)
    while part and part % 2 == 0:
        part, denominator = part // 2, denominator // 2
    if not part:
        return str(whole)
    return f"{whole} {part}/{denominator}" if whole else f"{part}/{denominator}"


def test_every_thirty_second_to_200_feet_goes_out_and_back_exactly():
    """Both ways, with feet and without: what is written is as a carpenter spells it, and reads as what it was."""
    for steps in TO_200_FEET:
        inches = steps / 32
        text, feet = write(inches, 32), write(inches, 32, feet=True)
        assert text == _spelled(steps, 32) and read(text) == inches
        assert feet == f"{steps // 384}'-{_spelled(steps % 384, 32)}\"" and read(feet, "mm") == inches


def test_signs_and_metric_marks_do_not_change_the_round_trip():
    for steps in range(1, 200 * 12 * 32, 37):
        assert read(write(-steps / 32, 32)) == read(write(-steps / 32, 32, feet=True)) == -steps / 32


@pytest.mark.parametrize("denominator", [1, 2, 4, 8, 16, 32])
def test_every_sixty_fourth_is_written_to_the_nearest_step_and_carries(denominator):
    """Against whole-number rounding, ties up: over 2 ft, and about every foot to 200 ft, where inches carry."""
    about = [foot * 768 + step for foot in range(3, 201) for step in (-33, -32, -17, -3, -2, -1, 0, 1, 2, 33)]
    for sixty_fourths in [*range(2 * 768), *about]:
        steps = (sixty_fourths * denominator * 2 + 64) // 128
        text = _spelled(steps, denominator)
        feet = f"{steps // (12 * denominator)}'-{_spelled(steps % (12 * denominator), denominator)}\""
        inches = sixty_fourths / 64
        assert write(inches, denominator) == text and write(inches, denominator, feet=True) == feet
        # what arithmetic in floats leaves behind does not show
        assert write(inches + 1e-9, denominator) == text and write(inches - 1e-9, denominator) == text


@pytest.mark.parametrize(
    ("inches", "denominator", "plain", "feet"),
    [
        (11.75, 2, "12", "1'-0\""), (11.875, 4, "12", "1'-0\""), (11.9375, 8, "12", "1'-0\""),
        (11.96875, 16, "12", "1'-0\""), (11.984375, 32, "12", "1'-0\""), (11.9843, 32, "11 31/32", "0'-11 31/32\""),
        (143.99, 32, "144", "12'-0\""), (0.984375, 32, "1", "0'-1\""), (0.015625, 32, "1/32", "0'-1/32\""),
        (0.0156, 32, "0", "0'-0\""), (-11.99, 16, "-12", "-1'-0\""), (5.6875, 8, "5 3/4", "0'-5 3/4\""),
        (sum([0.1] * 160), 32, "16", "1'-4\""), (3 * 1.1, 32, "3 5/16", "0'-3 5/16\""),
    ],
)
def test_a_step_that_fills_an_inch_or_a_foot_is_carried(inches, denominator, plain, feet):
    assert write(inches, denominator) == plain and write(inches, denominator, feet=True) == feet


@pytest.mark.parametrize(("unit", "inches"), [("in", (1, 1)), ("ft", (12, 1)), ("mm", (10, 254)), ("m", (10000, 254))])
def test_a_decimal_is_the_number_that_was_written_whether_text_or_number(unit, inches):
    """In ten-thousandths, by whole numbers: one rounding, to the nearest float, wherever the length came from."""
    for parts in [*range(0, 300_000, 41), *range(0, 120_000_000, 199_999)]:
        text = f"{parts // 10_000}.{parts % 10_000:04d}"
        exact = float(Fraction(parts * inches[0], 10_000 * inches[1]))
        assert read(f"{text} {unit}") == read(text, unit) == read(float(text), unit) == exact


@pytest.mark.parametrize(
    ("inches", "text"),
    [
        (3.125, "3 1/8"), (5.6875, "5 11/16"), (0, "0"), (0.0, "0"), (0.03, "0"), (-0.03, "0"), (0.5, "1/2"),
        (3.09375, "3 1/8"), (3.09374, "3 1/16"), (3.03125, "3 1/16"), (11.99, "12"), (12, "12"), (-5.625, "-5 5/8"),
        (0.1 + 0.2 + 2.79375, "3 1/8"), (3.09375 - 1e-12, "3 1/8"),
    ],
)
def test_stations_are_the_nearest_sixteenth_in_lowest_terms_and_ties_go_deeper(inches, text):
    assert sixteenths(inches) == text


@pytest.mark.parametrize(
    ("inches", "text"),
    [
        (171.25, "14'-3 1/4\""), (144, "12'-0\""), (0.75, "0'-3/4\""),
        (143.99, "12'-0\""), (-147.5, "-12'-3 1/2\""), (0, "0'-0\""),
    ],
)
def test_feet_and_inches_are_written_with_their_marks(inches, text):
    assert write(inches, feet=True) == text


@pytest.mark.parametrize("inches", [float("nan"), float("inf")])
def test_a_length_that_is_not_finite_is_not_written(inches):
    with pytest.raises(LengthError):
        write(inches)


@given(st.fractions(min_value=0, max_value=2400, max_denominator=10**6), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_the_written_length_is_never_further_than_half_a_step(inches, denominator):
    assert abs(read(write(float(inches), denominator)) - inches) <= Fraction(1, 2 * denominator) + Fraction(1, 10**6)


@given(st.text(max_size=20) | st.text(alphabet="0123456789 /-'\"½.,inftm", max_size=20))
def test_any_text_is_read_or_refused_at_a_place_inside_it(text):
    try:
        assert isinstance(read(text, "mm"), float)
    except LengthError as refused:
        assert 0 <= refused.position <= len(text)
