"""Spacing against worked examples of the trade."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.instrument.spacing import centres, graded

NYLON = [1.092, 0.890, 0.736, 1.024, 0.818, 0.712]  # bass to treble
SIX = [1, 2, 3, 4, 5, 6]


def test_equal_centres_of_a_classical_nut():
    # W 52, margins 4.5 to centres: pitch 8.600
    found = centres(NYLON, SIX, 4.5, 47.5, rule="equal centres", course_gap=1.6)
    assert found == pytest.approx([4.5, 13.1, 21.7, 30.3, 38.9, 47.5])


@pytest.mark.parametrize(("width", "pitch"), [(44.5, 7.700), (44.0, 7.600)])
def test_equal_centres_of_two_published_nuts(width, pitch):
    # trade article: margins 3.0, six strings
    found = centres([0.5] * 6, SIX, 3.0, width - 3.0, rule="equal centres", course_gap=1.6)
    assert [b - a for a, b in itertools.pairwise(found)] == pytest.approx([pitch] * 5)


def test_six_slots_over_45_mm_stand_9_mm_apart():
    # common practice, no source: equally spaced between outer slots 45 mm apart
    found = centres([0.5] * 6, SIX, 0.0, 45.0, rule="equal centres", course_gap=1.6)
    assert found == pytest.approx([0, 9, 18, 27, 36, 45])


def test_outer_slots_of_a_wide_nut():
    # common practice, no source: laid at 5/32 in and a little over 6/32 in from the nut's ends
    bass, treble = 5 / 32 * 25.4, 6.2 / 32 * 25.4
    found = centres(NYLON, SIX, bass, 52 - treble, rule="equal gaps", course_gap=1.6)
    assert found[0] == pytest.approx(3.96875)
    assert 52 - found[-1] == pytest.approx(4.92125)


def test_equal_gaps_from_centre_margins():
    # W 52, centre margins 4.5: s = 7.7260, worked by s = (W - mL - mR - sum d + (d1 + dN)/2)/(N -
    # 1)
    found = centres(NYLON, SIX, 4.5, 47.5, rule="equal gaps", course_gap=1.6)
    assert found == pytest.approx([4.5, 13.217, 21.756, 30.362, 39.009, 47.5], abs=6e-4)


def test_equal_gaps_from_edge_margins():
    # W 52, edge margins 4.5: s = 7.5456
    first, last = 4.5 + NYLON[0] / 2, 47.5 - NYLON[-1] / 2
    found = centres(NYLON, SIX, first, last, rule="equal gaps", course_gap=1.6)
    expected = [5.0460, 13.5826, 21.9412, 30.3668, 38.8334, 47.1440]
    assert found == pytest.approx(expected, abs=6e-5)


def test_equal_gaps_of_a_published_web_tutorial():
    # outside to outside 1.442 in, gauges .010 .013 .017 .026 .036 .046: s = .2588 in
    gauges = [0.010, 0.013, 0.017, 0.026, 0.036, 0.046]
    found = centres(gauges, SIX, 0.005, 1.442 - 0.023, rule="equal gaps", course_gap=0.06)
    assert found == pytest.approx([0.0050, 0.2753, 0.5491, 0.8294, 1.1192, 1.4190], abs=6e-5)


def test_courses_keep_their_inner_gap():
    # trade: mandolin 1.6 mm to the edge, 1.6 mm between the strings of a course
    gauges = [1.016, 1.016, 0.66, 0.66, 0.381, 0.381, 0.279, 0.279]
    courses = [1, 1, 2, 2, 3, 3, 4, 4]
    for rule in ("equal gaps", "equal centres"):
        at = centres(gauges, courses, 2.1, 26.5, rule=rule, course_gap=1.6)
        clear = [
            b - a - (g + h) / 2 for a, b, g, h in zip(at, at[1:], gauges, gauges[1:], strict=False)
        ]
        assert clear[0::2] == pytest.approx([1.6] * 4)
        assert (at[0], at[-1]) == pytest.approx((2.1, 26.5))
        between = clear[1::2] if rule == "equal gaps" else [
            (at[i + 2] + at[i + 3] - at[i] - at[i + 1]) / 2 for i in (0, 2, 4)
        ]  # fmt: skip
        assert between == pytest.approx([between[0]] * 3)


@pytest.mark.property
@given(
    st.lists(st.floats(0.2, 1.5), min_size=2, max_size=12),
    st.sampled_from(["equal gaps", "equal centres"]),
)
def test_a_mirrored_set_lies_mirrored(gauges, rule):
    courses = list(range(1, len(gauges) + 1))
    there = centres(gauges, courses, 3.0, 60.0, rule=rule, course_gap=1.6)
    back = centres(gauges[::-1], courses, -60.0, -3.0, rule=rule, course_gap=1.6)
    assert [-x for x in reversed(back)] == pytest.approx(there, abs=1e-9)


def test_values_graded_across():
    assert graded(2.0, 1.0, [0.0, 10.0, 40.0]) == pytest.approx((2.0, 1.75, 1.0))
    assert graded(2.0, 1.0, [20.0, 10.0, -20.0]) == pytest.approx((2.0, 1.75, 1.0))
