"""Feeds by axis, air, and what must not be touched: against dense samples and shapely's
distances.
"""

import dataclasses
import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from blankcam.inputs.machine import Holding
from blankcam.inputs.tool import Shape
from blankcam.parts.frames import Box
from blankcam.replay import limits
from blankcam.replay.codes import Code
from blankcam.replay.findings import Collector
from blankcam.replay.reader import read_program
from tests.replay.bench import MILL, tool

HEAD = "G21 G17 G90 G94 G40\nG49\nG54\nT1\nS8000 M3\nG4 P3\nG0 Z30\nG0 X0 Y0\n"
TAIL = "G0 Z30\nM5\nM30\n"
STOCK = Box(x0=-2.0, x1=14.0, y0=0.0, y1=5.0, z0=0.0, z1=8.0)
MOST = (MILL.feed_max.x, MILL.feed_max.y, MILL.feed_max.z)


def program(*lines):
    got = read_program(HEAD + "\n".join([*lines, TAIL]), MILL)
    assert got.findings == (), [str(f) for f in got.findings]
    return got


def faulted(check, *given_):
    found = Collector()
    check(*given_, found)
    return found.kept


@pytest.mark.parametrize(("end", "feed", "axis"), [
    ("X10", 600, None), ("X10", 601, "X"), ("X10 Y10", 848, None), ("X10 Y10", 850, "X"),
    ("X6 Y8", 749, None), ("X6 Y8", 752, "Y"), ("X3 Z26", 250, None), ("X3 Z26", 251, "Z"),
    ("X3 Z25", 233, None), ("X3 Z25", 234, "Z"), ("Z20", 200, None), ("Z20", 201, "Z"),
])  # fmt: skip
def test_the_feed_of_each_axis_is_its_share_of_the_move(end, feed, axis):
    """By the direction's cosines: 3-4-5 triangles and the like; 600, 600 and 200 mm/min."""
    kept = faulted(limits.check_feeds, program(f"G1 {end} F{feed}"), MILL)
    assert [f.what.split()[3] for f in kept] == ([axis] if axis else [])


ANGLES = st.floats(0.0, 2 * math.pi)


@pytest.mark.property
@settings(max_examples=150, deadline=None)
@given(ANGLES, st.floats(0.05, 6.2), st.booleans(), st.sampled_from([17, 18, 19]),
       st.floats(150.0, 900.0))  # fmt: skip
def test_an_arcs_feed_by_axis_is_that_of_its_steepest_place(first, turned, ccw, plane, feed):
    """Tangents at 4,001 places of the arc."""
    a, b = {17: (0, 1), 18: (2, 0), 19: (1, 2)}[plane]
    turned = turned if ccw else -turned
    middle = np.array([0.0, 0.0, 20.0])
    angles = first + np.linspace(0.0, turned, 4001)
    tangents = np.zeros((4001, 3))
    tangents[:, a], tangents[:, b] = -np.sin(angles), np.cos(angles)
    asked = np.abs(tangents).max(axis=0) * feed / MOST
    assume(np.abs(asked - 1.0).min() > 0.003)
    start, end = (middle.copy() for _ in range(2))
    for at, angle in ((start, angles[0]), (end, angles[-1])):
        at[a] += 8 * math.cos(angle)
        at[b] += 8 * math.sin(angle)
    offset = dict(zip("IJK", np.round(middle - np.round(start, 4), 4), strict=True))
    words = " ".join(f"{'IJK'[axis]}{offset['IJK'[axis]]:.4f}" for axis in (a, b))
    x, y, z = start
    text = [f"G0 X{x:.4f} Y{y:.4f}", f"G0 Z{z:.4f}", f"G{plane}",
            f"G{3 if ccw else 2} X{end[0]:.4f} Y{end[1]:.4f} Z{end[2]:.4f} {words} F{feed:.2f}",
            "G17"]  # fmt: skip
    got = read_program(HEAD + "\n".join([*text, TAIL]), MILL)
    assume(got.findings == ())  # rounded ends of a nearly full turn are a fault of their own
    kept = faulted(limits.check_feeds, got, MILL)
    assert bool(kept) == bool((asked > 1.0).any())
    if kept:
        told = "XYZ".index(kept[0].what.split()[3])
        assert asked[told] == pytest.approx(asked.max(), rel=0.003)


@pytest.mark.parametrize(("height", "good"), [(13.0, True), (12.9995, True), (12.99, False)])
def test_a_program_in_the_air_stays_five_millimetres_over_everything(height, good):
    text = HEAD.replace("S8000 M3\nG4 P3\n", "M5\n") + f"G0 Z{height:.4f}\nG0 X5 Y2\n" + TAIL
    got = read_program(text, MILL, air=True)
    assert got.findings == ()
    kept = faulted(limits.check_air, got, 8.0)
    assert [f.code for f in kept] == ([] if good else [Code.AIR] * 3)  # down, across, up again


HELD = Holding(jaw_top=3.5, jaw_length=12.0, jaw_width=20.0, bed_gap=10.0)
JAWS = shapely.union_all([shapely.box(0.0, -20.0, 12.0, 0.0), shapely.box(0.0, 5.0, 12.0, 25.0)])
CUTTER = tool(1, Shape.FLAT, 3.0, flute_length=4.0, reach=8.0, shank=6.0, stick_out=16.0)
PLACES = st.tuples(st.floats(-12.0, 24.0), st.floats(-20.0, 25.0))


@pytest.mark.property
@settings(max_examples=200, deadline=None)
@given(PLACES, PLACES, st.floats(-14.0, 5.0))
def test_what_touches_the_jaws_is_what_comes_near_enough_in_plan(start, end, height):
    """A cylinder comes as near to a box as its axis does in plan, less its radius."""
    got = program(f"G0 X{start[0]:.3f} Y{start[1]:.3f}", f"G1 Z{height:.3f} F60",
                  f"G1 X{end[0]:.3f} Y{end[1]:.3f} F200")  # fmt: skip
    near = shapely.LineString((start, end)).distance(JAWS)
    wide = [(1.5, 0.0), (3.0, 8.0), (MILL.holder_diameter / 2, 16.0)]
    over = [(near - radius, height + above - 3.5) for radius, above in wide]
    assume(all(abs(aside) > 0.02 and abs(up) > 0.01 for aside, up in over))
    around = limits.obstacles_on_edge(STOCK, HELD)[:2]
    found = Collector()
    touched = limits.check_obstacles(got, {1: CUTTER}, MILL, around, found)
    assert bool(touched) == any(aside < 0 and up < 0 for aside, up in over)
    assert {f.code for f in found.kept} <= {Code.JAWS}


def test_the_bed_lies_under_everything():
    around = limits.obstacles_on_edge(STOCK, HELD)
    found = Collector()
    deep = program("G0 X50 Y50", "G1 Z-10.1 F60")
    assert limits.check_obstacles(deep, {1: CUTTER}, MILL, around, found) == 2  # down and up
    assert {f.code for f in found.kept} == {Code.BED}


@pytest.mark.parametrize(("on_face", "names"), [
    ("carrier", {"bed"}), ("tape", {"bed"}), ("clamps", {"bed", "clamp"}),
    ("fixture", {"bed", "fixture"}),
])  # fmt: skip
def test_what_stands_around_a_blank_on_face(on_face, names):
    held = dataclasses.replace(HELD, face=on_face, clamp_reach=3.0, clamp_height=6.0,
                               clamp_width=4.0, face_top=2.0)  # fmt: skip
    around = limits.obstacles_on_face(STOCK, held)
    assert {o.name for o in around} == names
    box = STOCK.on_face()  # x as it was, y the part's z, z from -5 to 0
    for one in around:
        if one.name == "clamp":
            assert (one.low[1], one.high[1]) == (2.0, 6.0)
            assert one.high[2] == box.z1 + 6.0
            assert one.high[0] == box.x0 + 3.0 or one.low[0] == box.x1 - 3.0
        if one.name == "fixture":
            assert one.high[2] == box.z0 + 2.0
            assert one.high[1] == box.y0 or one.low[1] == box.y1
        if one.name == "bed":
            assert one.high[2] == box.z0 - (0.0 if on_face == "fixture" else held.carrier_depth)
