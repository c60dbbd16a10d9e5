"""The way back over a nut, by when each axis of a machine gets where it is sent by itself."""

import dataclasses
import math

import pytest

from blankcam.inputs.machine import Axis
from blankcam.inputs.machine_file import read_profile
from blankcam.toolpath.crosswise import WayBack

TILT = math.radians(10.0)


class Surface:
    tilt = TILT


class Target:
    surface = Surface


class Nut:
    @staticmethod
    def at(stage):
        return Target


@dataclasses.dataclass
class Bench:
    profile: object
    uncut: bool = False
    stage: str = "rough"


def machine(rapid_z, acceleration_z):
    """A machine that goes 3000 mm/min along Y at 100 mm/s2."""
    mill = read_profile("bench-mill")
    return dataclasses.replace(
        mill,
        rapid=Axis(x=3000.0, y=3000.0, z=rapid_z),
        acceleration=Axis(x=100.0, y=100.0, z=acceleration_z),
    )


def seconds(length, speed, acceleration):
    """Of a move from rest to rest: the usual trapezoid of speed over time (textbook kinematics)."""
    if length < speed**2 / acceleration:
        return 2 * math.sqrt(length / acceleration)
    return length / speed + speed / acceleration


@pytest.mark.parametrize(
    ("rapid_z", "acceleration_z", "follows"),
    [
        (600.0, 20.0, True), (530.0, 18.0, True), (528.0, 20.0, False), (600.0, 17.0, False),
        (100.0, 100.0, False), (3000.0, 5.0, False),
    ],
)  # fmt: skip
def test_the_way_back_follows_the_top_only_where_z_is_up_first(rapid_z, acceleration_z, follows):
    """Along 6 mm with a rise of tan 10 degrees a mm: 529 mm/min and 17.6 mm/s2 are just enough."""
    on = machine(rapid_z, acceleration_z)
    back = WayBack.over(Nut, Bench(on), 9.0)
    assert back.fall == (pytest.approx(math.tan(TILT)) if follows else 0.0)
    for length in (0.5, 2.0, 6.0, 12.0):
        up = seconds(length * back.fall, rapid_z / 60, acceleration_z) if back.fall else 0.0
        assert up <= seconds(length, 50.0, 100.0) + 1e-9


def test_over_a_top_that_is_not_cut_it_goes_level():
    assert WayBack.over(Nut, Bench(machine(3000.0, 100.0), uncut=True), 9.0).fall == 0.0
