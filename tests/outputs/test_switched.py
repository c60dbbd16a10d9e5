"""Lengths that a page switches: 1 in is 25.4 mm exactly (international yard and pound agreement,
1959).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.faults import printable
from blankcam.outputs import switched, typeface


@given(st.floats(-500, 500), st.sampled_from([2, 3]))
def test_a_marked_length_reads_as_the_length_itself_in_both_units(mm, places):
    text = f"out {switched.marked(mm, places)} mm"
    assert switched.reading(text) == f"out {mm:z.{places}f} mm"
    assert switched.reading(text, "in") == f"out {mm / 25.4:z.{places + 1}f} mm"


@pytest.mark.parametrize(
    ("mm", "kept"), [(1.0, "{1.00}"), (6.4137, "{6.414}"), (0.0381, "{0.038;3}")]
)
def test_no_more_digits_are_kept_than_the_inches_need(mm, kept):
    """6.4137 mm are 0.2525 in, 6.41 mm 0.2524: one digit more comes to the same thousandth."""
    assert switched.in_braces(switched.marked(mm, 3 if ";3" in kept else 2)) == kept


def test_a_switched_word_takes_the_room_of_its_wider_reading():
    inches, mm = typeface.width("0.252 floor", 3.0), typeface.width("6.41 floor", 3.0)
    assert typeface.width(f"{switched.marked(6.41)} floor", 3.0) == max(inches, mm) == inches


def test_no_words_of_a_job_hold_a_mark():
    assert switched.OPEN not in printable(f"a{switched.OPEN}1.00{switched.CLOSE}", 100)
