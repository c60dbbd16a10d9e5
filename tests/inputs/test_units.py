"""Lengths as makers write them. Conversions: 1 in = 25.4 mm exactly (1959 agreement)."""

import contextlib
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.inputs import units
from blankcam.inputs.units import (
    inches,
    parse_exact,
    parse_length,
    parse_quantity,
    sixty_fourths,
)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("1 11/16 in", Fraction("42.8625")),
        ("1-11/16 in", Fraction("42.8625")),
        ("25 1/2 in", Fraction("647.7")),
        ("7/64 in", Fraction(7, 64) * Fraction("25.4")),
        ('0.024"', Fraction("0.6096")),
        (".024 in", Fraction("0.6096")),
        ("24 thou", Fraction("0.6096")),
        ("10 thou", Fraction("0.254")),
        ("1.25 ft", Fraction(381)),
        ("43.5 mm", Fraction("43.5")),
        ("4.4 cm", Fraction(44)),
        ("5. mm", Fraction(5)),
        ("  43.5mm ", Fraction("43.5")),
        ("43.5 MM", Fraction("43.5")),
        ("-3.2 mm", Fraction("-3.2")),
        ("+3.2 mm", Fraction("3.2")),
        ("1/3 in", Fraction(1, 3) * Fraction("25.4")),
    ],
)
def test_lengths_are_read_exactly(text, mm):
    assert parse_exact(text) == mm


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("43.5", "no unit"),
        ("0,5 mm", "comma"),
        ("1,000 mm", "comma"),
        ("12 kg", "not known"),
        ("1/0 in", "zero"),
        ("nan mm", "not a length"),
        ("inf mm", "not a length"),
        ("1e3 mm", "not known|not a length"),
        ("", "not a length"),
        ("mm", "not a length"),
        ("1 2 mm", "not a length"),
        ("1/2/3 in", "not a length"),
        ("--3 mm", "not a length"),
        ("٣ mm", "not a length"),
        ("3 mm; rm", "not a length"),
        ("9" * 50 + " mm", "too long"),
    ],
)
def test_what_is_no_length_is_refused_in_words(text, words):
    with pytest.raises(ValueError, match=words):
        parse_exact(text)


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("1 kW", units.POWER, 1000),
        ("30 N", units.FORCE, 30),
        ("1.5 min", units.TIME, 90),
        ("15 deg", units.ANGLE, 15),
        ("7°", units.ANGLE, 7),
        ("10000 rpm", units.SPEED, 10000),
        ("10000 1/min", units.SPEED, 10000),
        ("100 mm/s2", units.ACCELERATION, 100),
        ("1 in/s²", units.ACCELERATION, 25.4),
        ("0.5 ft/min", units.FEED, 152.4),
        ("2 days", units.HOURS, 48),
        ("10.2 g/m", units.UNIT_WEIGHT, 10.2),
        # the pound is 0.45359237 kg exactly (1959 agreement)
        ("1 lb/in", units.UNIT_WEIGHT, 453.59237 / 0.0254),
    ],
)
def test_quantities_of_every_dimension(text, dimension, value):
    assert parse_quantity(text, dimension) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "words"),
    [
        ("30 in", units.FEED, "unit 'in' is not known here; use mm/min or in/min"),
        ("10000", units.SPEED, 'has no unit; write it like "10000 rpm"'),
        ("nan rpm", units.SPEED, 'not a speed; write it like "10000 rpm"'),
        ("7 mm", units.ANGLE, "unit 'mm' is not known here; use deg"),
        ("7,5 deg", units.ANGLE, "a comma can't stand in a number"),
    ],
)
def test_what_is_no_such_quantity_is_refused_in_words(text, dimension, words):
    with pytest.raises(units.UnfitError) as told:
        parse_quantity(text, dimension)
    assert words in str(told.value)


@pytest.mark.property
@given(st.integers(0, 40), st.integers(0, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_mixed_fractions_are_sums(whole, over, under):
    assert parse_exact(f"{whole} {over}/{under} in") == (
        Fraction(whole) + Fraction(over, under)
    ) * Fraction("25.4")


@pytest.mark.property
@given(st.text(max_size=60))
def test_any_text_is_a_length_or_a_value_error(text):
    with contextlib.suppress(ValueError):
        assert isinstance(parse_length(text), float)


def test_inches_beside_millimetres():
    assert inches(25.4) == "1.0000"
    # 0.010 in = 0.254 mm and 0.110 in = 2.794 mm: machinists' conversion table
    assert inches(0.254) == "0.0100"
    assert inches(2.794) == "0.1100"


@pytest.mark.parametrize(
    ("mm", "words"),
    [
        (42.8625, "1 11/16"),
        (25.4, "1"),
        (2.778125, "7/64"),
        (0.0, "0"),
        (12.7, "1/2"),
        (44.45, "1 3/4"),
    ],
)
def test_nearest_sixty_fourth(mm, words):
    assert sixty_fourths(mm) == words
