"""Times against kinematics worked by hand and a published cornering rule."""

import math

import pytest

from blankcam.toolpath import timing
from blankcam.toolpath.timing import Leg, corner_speed, run_time, trapezoid


@pytest.mark.parametrize(
    ("length", "acceleration", "seconds"),
    [(43, 10, 5.3), (4, 10, 1.264911), (43, 200, 4.35), (4, 200, 0.45)],
)
def test_moves_from_rest_to_rest(length, acceleration, seconds):
    # t = L/v + v/a, or 2 sqrt(L/a) where the speed is not reached; v 10 mm/s
    assert trapezoid(length, 10, acceleration) == pytest.approx(seconds, rel=1e-5)


def test_move_with_speed_at_its_ends_against_integration():
    # 3 mm/s in, 5 mm/s out, 10 mm/s at most, 20 mm/s^2, 40 mm: by small steps of distance
    time, steps = 0.0, 200_000
    for i in range(steps):
        s = (i + 0.5) * 40 / steps
        v = min(10, math.sqrt(9 + 2 * 20 * s), math.sqrt(25 + 2 * 20 * (40 - s)))
        time += 40 / steps / v
    assert trapezoid(40, 10, 20, 3, 5) == pytest.approx(time, rel=1e-5)


@pytest.mark.parametrize(
    ("theta", "acceleration", "speed"),
    [
        (90, 10, 0.491346),
        (120, 10, 0.803996),
        (135, 10, 1.101684),
        (170, 10, 5.116554),
        (90, 200, 2.197368),
        (170, 200, 22.881925),
    ],
)
def test_corner_speed(theta, acceleration, speed):
    # S. Jeon, "Improving Grbl: Cornering Algorithm", 2011; deviation 0.01 mm, 180 is straight on
    turn = math.radians(180 - theta)
    after = (math.cos(turn), math.sin(turn), 0.0)
    got = corner_speed((1.0, 0.0, 0.0), after, acceleration, 0.01)
    assert got == pytest.approx(speed, rel=1e-5)


def test_straight_on_and_back():
    assert corner_speed((1, 0, 0), (1, 0, 0), 10, 0.01) == math.inf
    assert corner_speed((1, 0, 0), (-1, 0, 0), 10, 0.01) == 0.0


@pytest.mark.parametrize(("acceleration", "seconds"), [(10, 13.41187), (200, 9.94132)])
def test_rectangle(acceleration, seconds):
    # 43 x 6 mm at 10 mm/s, corners at the speed above, from rest to rest; worked by hand
    ways = [(1, 0, 0), (0, 1, 0), (-1, 0, 0), (0, -1, 0)]
    legs = [
        Leg(length=n, speed=10, acceleration=acceleration, begins=w, ends=w, cutting=True)
        for n, w in zip([43, 6, 43, 6], ways, strict=True)
    ]
    assert sum(run_time(legs, 0.01)) == pytest.approx(seconds, rel=1e-5)


def test_estimate_is_never_under_the_sum_of_program_and_a_tenth():
    times = timing.Times(cutting=100, air=20, changes=16)
    assert times.total == pytest.approx(148)
