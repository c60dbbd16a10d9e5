"""Feeds and speeds against the material table.

n = 1000 Vc / (pi D) and Vf = n z fz: the relations of any machinist's handbook (from memory). The
values allowed are the table's own, read here apart from the code.
"""

import dataclasses
import math
import tomllib

import numpy as np
import pytest

from blankcam.inputs.tool import Shape
from blankcam.replay import cutting
from blankcam.replay.codes import Code
from blankcam.replay.cutting_data import Allowed, allowed_for
from blankcam.replay.findings import Collector
from blankcam.replay.reader import read_program
from blankcam.replay.sweep import Plunge, SweepResult
from tests.conftest import REPO
from tests.replay.bench import MILL, tool

TABLE = tomllib.loads((REPO / "blankcam" / "data" / "materials.toml").read_text())
BONE = TABLE["bone"]


def allowed(cutter, material="bone", **machine):
    return allowed_for(cutter, material, dataclasses.replace(MILL, **machine))


@pytest.mark.parametrize(("diameter", "between"), [
    (0.3, (0, 0, 0.0)), (0.4, (0, 1, 0.5)), (0.5, (1, 1, 0.0)), (1.75, (4, 5, 0.5)),
    (3.0, (6, 6, 0.0)), (6.0, (6, 6, 0.0)),
])  # fmt: skip
def test_the_chip_is_between_the_tables(diameter, between):
    low, high, share = between
    chips = BONE["chip"]
    wanted = chips[low] + share * (chips[high] - chips[low])
    assert allowed(tool(1, Shape.BALL, diameter)).chip == pytest.approx(wanted)


def test_the_chip_of_a_tool_under_the_table_goes_with_its_diameter():
    assert allowed(tool(1, Shape.BALL, 0.15)).chip == pytest.approx(BONE["chip"][0] / 2)


@pytest.mark.parametrize(("diameter", "runout", "teeth"), [
    (3.0, None, 2), (1.0, None, 1), (1.1, None, 2), (0.8, 0.0024, 2), (0.8, 0.0025, 1),
])  # fmt: skip
def test_one_tooth_takes_it_all_where_a_small_tool_may_run_out(diameter, runout, teeth):
    """0.3 of the chip, 0.008 mm at 0.8 mm in bone; over 1 mm it is shared all the same."""
    assert allowed(tool(1, Shape.BALL, diameter, flutes=2), runout=runout).teeth == teeth


def test_the_edge_runs_at_the_tables_speed_at_its_widest():
    flat = allowed(tool(1, Shape.FLAT, 3.0))
    assert flat.rpm() == pytest.approx(1000 * 90 / (math.pi * 3.0))
    cone = allowed(tool(1, Shape.TAPERED_BALL, 3.0, tip_diameter=0.5, angle=20.0))
    # three tips up: on the cone, whose ball of 0.25 mm ends at 0.25 (1 - sin 10) over the tip
    half = math.radians(10.0)
    up = 1.5 - 0.25 * (1 - math.sin(half))
    assert cone.widest == pytest.approx(2 * (0.25 * math.cos(half) + up * math.tan(half)))


@pytest.mark.parametrize(("slowest", "speed"), [(1000.0, 90.0), (10000.0, 30 * math.pi),
                                                (12000.0, 99.0)])  # fmt: skip
def test_a_spindle_that_goes_no_slower_may_pass_the_speed_by_a_tenth(slowest, speed):
    found = allowed(tool(1, Shape.FLAT, 3.0), spindle_min=slowest)
    assert found.speed == pytest.approx(speed)


@pytest.mark.parametrize(("diameter", "flute", "depth"), [(3.0, 4.0, 0.75), (0.8, 4.0, 0.12),
                                                          (1.0, 4.0, 0.25), (3.0, 0.5, 0.5)])  # fmt: skip
def test_the_depth_is_a_share_of_the_diameter_and_no_longer_than_the_flutes(diameter, flute, depth):
    """A quarter in bone, 0.6 of that under 1 mm."""
    cutter = tool(1, Shape.BALL, diameter, flute_length=flute)
    assert allowed(cutter).depth == pytest.approx(depth)


def test_a_material_that_the_table_has_not_is_cut_as_unknown():
    cutter = tool(1, Shape.FLAT, 3.0)
    assert allowed(cutter, "moon rock") == allowed(cutter, "unknown")
    assert allowed(cutter, "diameters") == allowed(cutter, "unknown")  # a key, not a material


def test_feed_is_rpm_teeth_and_chip():
    two = Allowed(chip=0.02, teeth=2, speed=90.0, widest=3.0, plunge=0.25, depth=0.75)
    assert two.feed(9000.0) == pytest.approx(360.0)


# -- moves against what is allowed ---------------------------------------------------------

ALLOWED = {1: Allowed(chip=0.02, teeth=2, speed=90.0, widest=3.0, plunge=0.25, depth=0.75)}
"""At 8,000 rpm: 320 mm/min, plunging at 80; at most 9,549 rpm."""


def program(feed, speed=8000, cut="G1 X2 Y2"):
    text = (f"G21 G17 G90 G94 G40\nG49\nG54\nT1\nS{speed} M3\nG4 P3\nG0 Z5\nG0 X0 Y0\n"
            f"G1 Z0 F60\n{cut} F{feed}\nG0 Z5\nM5\nM30\n")  # fmt: skip
    got = read_program(text, MILL)
    assert got.findings == ()
    return got


def swept(got, depth=0.5, plunges=()):
    cut = np.where(got.moves.cutting, depth, 0.0)
    place = np.zeros((len(got.moves), 3))
    return SweepResult(depth=cut, place=place, contacts=(), plunges=plunges)


def found_in(got, depth=0.5, at=ALLOWED):
    found = Collector()
    cutting.check_cutting(got, swept(got, depth), at, found)
    return found.kept


@pytest.mark.parametrize(("feed", "value"), [(320, None), (320.3, None), (321, 0.02006),
                                             (640, 0.04)])  # fmt: skip
def test_more_feed_a_tooth_than_the_table(feed, value):
    kept = found_in(program(feed))
    assert [f.code for f in kept] == ([Code.CHIP] if value else [])
    if value:
        assert (kept[0].line, kept[0].limit) == (10, 0.02)
        assert kept[0].value == pytest.approx(value, rel=1e-3)


def test_a_slower_spindle_makes_the_chip_thicker():
    assert [f.code for f in found_in(program(300, speed=5000))] == [Code.CHIP]


@pytest.mark.parametrize(("feed", "value"), [(64, None), (6.4, None), (6.3, 6.3 / 16000),
                                             (1, 1 / 16000)])  # fmt: skip
def test_so_little_feed_a_tooth_that_it_only_rubs(feed, value):
    """0.0004 mm a tooth: a chip under 0.14 edge radii is not cut (Cheng et al., IJAMT 97, 3119,
    2018; a fine carbide edge has 3 um, from memory). A fifth of the feed is still well over it."""
    kept = found_in(program(feed))
    assert [f.code for f in kept] == [Code.RUBS] * bool(value)
    assert not value or kept[0].value == pytest.approx(value)
    assert not found_in(program(feed), depth=0.0)  # in the air nothing rubs


@pytest.mark.parametrize(("speed", "good"), [(9549, True), (9570, False)])
def test_a_faster_edge_than_the_table(speed, good):
    kept = found_in(program(100, speed=speed))
    assert {f.code for f in kept} == (set() if good else {Code.SURFACE_SPEED})
    if not good:  # of the plunge and of the cut
        assert [f.line for f in kept] == [9, 10]
        assert kept[0].value == pytest.approx(math.pi * 3.0 * speed / 1000, rel=1e-3)
        assert kept[0].limit == 90.0


def test_what_cuts_nothing_or_has_no_row_is_not_judged():
    assert found_in(program(640), depth=0.0005) == []
    assert found_in(program(640), at={2: ALLOWED[1]}) == []


def limits(got, at=ALLOWED, given=None, machine=200.0):
    moves = got.moves
    return cutting.plunge_limits(moves, at, given or {}, machine)[moves.line == 9][0] / 1.001


@pytest.mark.parametrize(("at", "given", "machine", "limit"), [
    (ALLOWED, {}, 200.0, 80.0), (ALLOWED, {1: 50.0}, 200.0, 50.0), (ALLOWED, {}, 70.0, 70.0),
    ({}, {}, 200.0, 200.0), ({}, {1: 50.0}, 200.0, 50.0), ({}, {1: 300.0}, 200.0, 200.0),
    (ALLOWED, {2: 50.0}, 200.0, 80.0),
])  # fmt: skip
def test_the_plunge_is_the_slowest_of_table_plan_and_machine(at, given, machine, limit):
    assert limits(program(300), at, given, machine) == pytest.approx(limit)


@pytest.mark.parametrize(("plunges", "line"), [
    ([(0, 0.019)], None), ([(2, 0.021)], True), ([(2, 0.015), (3, 0.015)], True),
    ([(2, 0.015), (4, 0.015)], None), ([(2, 0.012), (3, 0.005), (4, 0.002)], None),
])  # fmt: skip
def test_plunges_one_after_the_other_are_taken_together(plunges, line):
    """0.02 mm too fast in all, of moves that follow one another."""
    got, found = program(300), Collector()
    gone = tuple(Plunge(move=i, deep=deep, fast=150.0) for i, deep in plunges)
    cutting.check_plunges(got, swept(got, plunges=gone), np.full(len(got.moves), 80.08), found)
    assert [f.code for f in found.kept] == ([Code.PLUNGE] if line else [])
    if line:
        assert (found.kept[0].value, found.kept[0].limit) == (150.0, pytest.approx(80.0))
