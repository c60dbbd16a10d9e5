"""Fits by ISO 286-1 Table 1 and ISO 286-2 (values read in two secondary tables that agree)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.parts.fit import fit


# "over .. up to and including": 3.000 is in the first range, 6.000 in the second.
@pytest.mark.parametrize(
    ("seat", "name", "low_um", "high_um"),
    [
        (3.0, "snug", -6, 0), (3.001, "snug", -8, 0), (6.0, "snug", -8, 0), (6.05, "snug", -9, 0),
        (10.0, "snug", -9, 0), (10.1, "snug", -11, 0),
        (2.4, "sliding", -8, -2), (5.0, "sliding", -12, -4), (6.05, "sliding", -14, -5),
        (3.0, "hand", -25, 0), (5.0, "hand", -30, 0), (7.0, "hand", -36, 0),
    ],
)  # fmt: skip
def test_limits_of_a_shaft(seat, name, low_um, high_um):
    found = fit(seat, name)
    assert (found.low - seat) * 1000 == pytest.approx(low_um)
    assert (found.high - seat) * 1000 == pytest.approx(high_um)


# Clearance of the pair with an H7 hole: H7/g6 4..24, H7/h6 0..20 over 3 up to 6 mm.
@pytest.mark.parametrize(("name", "least", "most"), [("sliding", 4, 24), ("snug", 0, 20)])
def test_clearance_with_a_hole_of_the_same_table(name, least, most):
    hole_high = 12  # H7, 3 to 6 mm
    found = fit(5.0, name)
    assert (5.0 - found.high) * 1000 == pytest.approx(least)
    assert hole_high + (5.0 - found.low) * 1000 == pytest.approx(most)


# i = 0.45 D^(1/3) + 0.001 D, IT6 = 10 i: the table follows it within 1 um above 3 mm.
@pytest.mark.parametrize(("low", "high"), [(3, 6), (6, 10), (10, 18), (18, 30), (30, 50), (50, 80)])
def test_grades_follow_the_standards_formula(low, high):
    mean = (low * high) ** 0.5
    i = 0.45 * mean ** (1 / 3) + 0.001 * mean
    found = fit(high, "snug")
    assert (found.high - found.low) * 1000 == pytest.approx(10 * i, abs=1.0)


@pytest.mark.property
@given(st.floats(0.5, 119.0), st.sampled_from(["sliding", "snug", "hand"]))
def test_a_part_never_is_larger_than_its_seat(seat, name):
    found = fit(seat, name)
    assert found.low < found.target < found.high <= seat


def test_beyond_the_table():
    with pytest.raises(ValueError, match="beyond"):
        fit(121.0, "snug")
