"""The board against tables worked outside: fret places, sagitta, cones."""

import math

import numpy as np
import pytest

from blankcam.instrument.board import Board


def board(**changes):
    values = {
        "scale": 650.0, "width_at_nut": 52.0, "radius_at_nut": math.inf, "radius_slope": 0.0,
        "fret_height": 1.1, "relief": 0.0, "body_fret": 12,
    }  # fmt: skip
    return Board(**(values | changes))


# Equal temperament, L(1 - 2^(-n/12)); table of factors printed in the trade, six digits.
@pytest.mark.parametrize(
    ("fret", "factor"),
    [(1, 0.056126), (2, 0.109101), (3, 0.159104), (5, 0.250847), (7, 0.332580), (12, 0.5),
     (14, 0.554551), (19, 0.666290), (22, 0.719385), (24, 0.75)],
)  # fmt: skip
def test_fret_places(fret, factor):
    assert float(board().fret_at(fret)) / 650 == pytest.approx(factor, abs=9e-6)


@pytest.mark.parametrize(
    ("scale", "places"),
    [(650, (36.482, 70.916, 103.417, 163.050, 216.177, 325, 360.458, 433.089)),
     (648, (36.369, 70.698, 103.099, 162.549, 215.512, 324, 359.349, 431.756)),
     (432, (24.246, 47.132, 68.733, 108.366, 143.675, 216, 239.566, 287.837))],
)  # fmt: skip
def test_fret_places_in_millimetres(scale, places):
    found = board(scale=scale).fret_at([1, 2, 3, 5, 7, 12, 14, 19])
    assert found == pytest.approx(places, abs=6e-4)


# Sagitta s = R - sqrt(R^2 - w^2/4), worked for the radii of the trade.
@pytest.mark.parametrize(
    ("radius", "width", "sagitta"),
    [(184.15, 42, 1.2013), (241.3, 44, 1.0050), (254, 52, 1.3342), (304.8, 52, 1.1109),
     (406.4, 44, 0.5959), (508, 56, 0.7722)],
)  # fmt: skip
def test_sagitta_of_the_wood(radius, width, sagitta):
    assert float(board(radius_at_nut=radius).wood(0.0, width / 2)) == pytest.approx(
        -sagitta, abs=6e-5
    )


def test_a_compound_board_is_carried_on_to_the_saddle():
    # 10 in at the nut, 16 in at fret 22 (x/L = 0.719385): 18.340 in at the saddle, 14.170 at fret
    # 12.
    cone = board(radius_at_nut=254.0, radius_slope=6 * 25.4 / (650 * 0.719385))
    assert cone.radius(650) / 25.4 == pytest.approx(18.340, abs=1e-3)
    assert cone.radius(325) / 25.4 == pytest.approx(14.170, abs=1e-3)


def test_strings_on_a_cone_that_fits_them_lie_straight():
    # Hartstein's relation, R(x) = Rn S(x)/Sn: nut 254 mm, spread 36 to 54 gives 381 at the saddle,
    # and a string over it then keeps one height over the frets (a cone's ruling is straight).
    cone = board(radius_at_nut=254.0, radius_slope=(381.0 - 254.0) / 650)
    s = np.linspace(0, 650, 14)
    u = 18 + (27 - 18) * s / 650
    wood = cone.wood(s, u)
    straight = wood[0] + (wood[-1] - wood[0]) * s / 650
    assert np.max(np.abs(wood - straight)) < 1e-9


def test_strings_tapering_over_a_cylinder_leave_it():
    # R 304.8, spread 36 to 54: the outer string sits 0.0335 mm off the arc at fret 12.
    cylinder = board(radius_at_nut=304.8)
    ends = (float(cylinder.wood(0, 18)) + float(cylinder.wood(650, 27))) / 2
    assert float(cylinder.wood(325, 22.5)) - ends == pytest.approx(0.0335, abs=5e-5)


def test_relief_is_a_parabola_from_fret_1_to_the_body():
    bowed = board(relief=0.2, body_fret=14)
    first, body = float(bowed.fret_at(1)), float(bowed.fret_at(14))
    s = np.array([0.0, first, (first + body) / 2, body, 640.0])
    assert bowed.dip(s) == pytest.approx([0, 0, 0.2, 0, 0], abs=1e-12)
    quarter = first + (body - first) / 4
    assert float(bowed.dip(quarter)) == pytest.approx(0.15)  # 3/4 of the depth, by the parabola
    assert float(bowed.fret_top(first, 0.0)) == pytest.approx(1.1)
