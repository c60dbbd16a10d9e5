"""Lengths as makers write them. Conversions: 1 in = 25.4 mm exactly (1959 agreement)."""

import contextlib
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.inputs.units import inches, parse_exact, parse_length, sixty_fourths


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
