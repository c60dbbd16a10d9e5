"""What a path spans, against points walked along it (the circle's own equation, no
source needed).
"""

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from blankcam.replay import envelope
from blankcam.replay.envelope import PlaneArc
from blankcam.replay.motions import MoveKind, Moves, bounds

POINTS = 4001
PLANES = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}  # NISTIR 6556 §3.5.3
angles = st.floats(-3.1, 3.1)
turns = st.floats(0.05, 6.2)


def arc(plane, first, turn, radius, rise):
    """One arc from angle ``first`` over the signed ``turn`` as moves, and points along it."""
    a, b, normal = PLANES[plane]
    t = first + np.linspace(0.0, turn, POINTS)
    points = np.empty((POINTS, 3))
    points[:, a], points[:, b] = 2 + radius * np.cos(t), -1 + radius * np.sin(t)
    points[:, normal] = 5 + np.linspace(0.0, rise, POINTS)
    centre = np.zeros((1, 3))
    centre[0, a], centre[0, b] = 2.0, -1.0
    one = np.ones(1, dtype=np.int64)
    kind = MoveKind.ARC_CCW if turn > 0 else MoveKind.ARC_CW
    moves = Moves(
        line=one, kind=one * kind, plane=one * plane, start=points[:1], end=points[-1:],
        centre=centre, feed=one * 100.0, speed=one * 8000.0, spindle=one, tool=one, aloft=0 * one,
    )  # fmt: skip
    return moves, points


@pytest.mark.property
@given(st.sampled_from([17, 18, 19]), angles, turns, st.sampled_from([1, -1]),
       st.floats(0.1, 300.0), st.floats(-3.0, 3.0))  # fmt: skip
def test_the_box_of_an_arc_holds_its_points_and_no_more(plane, first, turn, sign, radius, rise):
    moves, points = arc(plane, first, sign * turn, radius, rise)
    low, high = bounds(moves)
    near = radius * (1 - math.cos(turn / (POINTS - 1))) + 1e-9  # points fall so far short
    assert low[0] == pytest.approx(points.min(axis=0), abs=near)
    assert high[0] == pytest.approx(points.max(axis=0), abs=near)


@pytest.mark.property
@example(first=0.0, turn=0.125, ccw=False, radius=0.125, low=0.0, wide=3.0)
@given(angles, turns, st.booleans(), st.floats(0.1, 50.0), st.floats(-60.0, 60.0),
       st.floats(0.01, 60.0))  # fmt: skip
def test_the_lowest_of_an_arc_between_two_places(first, turn, ccw, radius, low, wide):
    t = first + np.linspace(0.0, turn, 20 * POINTS)
    u, z = 2 + radius * np.cos(t), -1 + radius * np.sin(t)
    start, end = (u[0], z[0]), (u[-1], z[-1])
    one = (
        PlaneArc(start, end, (2.0, -1.0), True) if ccw else PlaneArc(end, start, (2.0, -1.0), False)
    )
    got = envelope.lowest_on_arc(one, low, low + wide)
    inside = (u >= low) & (u <= low + wide)
    found = float(z[inside].min()) if inside.any() else math.inf
    if math.isinf(found):
        # no point fell between; then only an end of the arc may touch
        assert math.isinf(got) or np.abs(u - np.clip(u, low, low + wide)).min() < 1e-2
        return
    # where the arc is steep, the last point before a bound lies a little beside it
    step = radius * turn / (20 * POINTS - 1)
    beside = (u >= low - 2 * step) & (u <= low + wide + 2 * step)
    # near the circle's side a height from x falls as sqrt(2 r d), and an x of about 2 + r is
    # known to d = eps (2 + r) from each of its two roundings
    root = math.sqrt(4 * np.finfo(float).eps * (2 + radius) * radius) + 1e-9
    assert float(z[beside].min()) - 1e-6 - step**2 / radius <= got <= found + root
