"""Passes on a slope keep to the plunging feed, also as their ends are printed."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.toolpath.moves import LineMove
from blankcam.toolpath.slowing import slowed

PLACE = st.tuples(st.floats(-60, 60), st.floats(-5, 5), st.floats(0, 12))
STEPS = {"mm": 1e-4, "inch": 25.4e-5}
"""The last digit of a coordinate: four decimals of a millimetre, five of an inch."""


def printed(place, step):
    return tuple(round(v / step) * step for v in place)


@pytest.mark.property
@pytest.mark.parametrize("unit", STEPS)
@given(start=PLACE, to=st.tuples(*[st.floats(-0.3, 0.3)] * 3), feed=st.floats(20, 800))
def test_a_printed_line_goes_down_no_faster_than_it_may_plunge(unit, start, to, feed):
    end = tuple(a + b for a, b in zip(start, to, strict=True))
    first, last = slowed([LineMove(start, 100.0), LineMove(end, feed)], most=600.0, plunge=95.0)
    a, b = printed(first.to, STEPS[unit]), printed(last.to, STEPS[unit])
    long = math.dist(a, b)
    down = (a[2] - b[2]) / long * last.feed if long else 0.0
    assert last.feed <= feed
    assert down <= 95.0 * (1 + 1e-9)
    assert -down <= 600.0 * (1 + 1e-9)


def test_a_level_line_keeps_its_feed():
    moves = [LineMove((0.0, 0.0, 1.0), 100.0), LineMove((5.0, 0.0, 1.0), 700.0)]
    assert [m.feed for m in slowed(moves, most=600.0, plunge=95.0)] == [100.0, 700.0]
