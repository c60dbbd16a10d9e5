"""Tapered balls and vees for slots: where a cone may go, by closed forms and by setting it down."""

import dataclasses
import math

import numpy as np
import pytest

from blankcam.inputs import job_file
from blankcam.inputs.machine_file import read_profile
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining import feeds, slots, taper
from blankcam.outputs.reasons import words
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from tests.conftest import STEEL
from tests.proved import files_of, plan_of, proved, result_of
from tests.replay.dense import profile as drawn

MILL = read_profile("bench-mill")


def tapered(tip, angle, number=60, **more):
    usual = {"diameter": 3.0, "flute_length": 12.0, "reach": 15.0, "shank": 3.0, "stick_out": 18.0}
    usual["diameter"] = min(3.0, tip + 2 * 12.0 * math.tan(math.radians(angle / 2)))
    return Tool(number=number, shape=Shape.TAPERED_BALL, tip_diameter=tip, angle=angle,
                **(usual | more))  # fmt: skip


def with_tools(*tools):
    """The mill with its flat, its 3 mm ball and these."""
    return dataclasses.replace(MILL, tools=(MILL.tool(1), MILL.tool(2), *tools))


@pytest.fixture(scope="module")
def found():
    return design(job_file.load(str(STEEL)))


@pytest.mark.parametrize("tip", [0.6, 1.0])
@pytest.mark.parametrize("angle", [4.0, 10.0, 30.0])
@pytest.mark.parametrize("depth", [1.0, 2.5])
def test_the_cone_at_an_upright_wall_in_closed_form(tip, angle, depth):
    """With the ball at t from straight down the tip is off (1 - cos t) up and off sin t aside; at
    ``depth`` over the floor the cone is w = r cos a + (depth - off (1 - cos t) - r (1 - sin a)) tan
    a wide. off sin t + w is greatest at t = 90 deg - a, where off (sin t + cos t tan a) = off / cos
    a.
    """
    radius, r, a = 0.6, tip / 2, math.radians(angle / 2)
    off = radius - r
    wide = r * math.cos(a) + (depth - off - r * (1 - math.sin(a))) * math.tan(a)
    got = taper.widens(radius, tapered(tip, angle), depth)
    assert got == pytest.approx(off / math.cos(a) + wide - radius, abs=1e-6)


def test_a_straight_ball_never_widens():
    assert taper.widens(0.6, MILL.tool(6), 5.0) == 0.0
    assert taper.widens(0.6, tapered(1.0, 1e-6), 5.0) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(("tip", "angle", "depth"), [(0.8, 10.0, 0.5), (1.0, 20.0, 0.3)])
def test_the_cone_by_setting_it_down(tip, angle, depth):
    """Every pass's outline as points of the drawing, against the groove; no formula of ours."""
    radius, tool = 0.6, tapered(tip, angle)
    r = np.linspace(0, tool.diameter / 2, 20001)
    h = drawn(tool, r)
    worst = 0.0
    for t in np.linspace(-math.pi / 2, math.pi / 2, 721):
        off = radius - tip / 2
        x, z = off * math.sin(t) + r, (radius - off * math.cos(t) - tip / 2) + h
        in_stock = z <= depth
        to_axis = np.hypot(x, np.minimum(z - radius, 0.0))
        worst = max(worst, float((to_axis[in_stock] - radius).max(initial=0.0)))
    assert taper.widens(radius, tool, depth) == pytest.approx(worst, abs=2e-4)


def test_the_deepest_is_where_the_wall_is_cut_by_three_micrometres():
    tool, radius = tapered(0.8, 10.0), 0.5
    a, r = math.radians(5.0), 0.4
    wide = 0.5 + taper.WALL - 0.1 / math.cos(a)
    by_hand = 0.1 + r * (1 - math.sin(a)) + (wide - r * math.cos(a)) / math.tan(a)
    assert taper.deepest(radius, tool) == pytest.approx(by_hand, abs=1e-3)


def choice_of(found, profile, string, stage):
    slot = next(s for s in found.nut.slots if s.string == string)
    return slots.choose(found.nut, slot, profile, stage, by_file=False)


def test_a_steep_cone_is_refused_with_its_depth(found):
    choice = choice_of(found, with_tools(tapered(0.8, 30.0)), 5, Stage.FINAL)
    assert choice.tool is None
    assert "tool 60 (tapered ball 0.8) has a cone that would widen the slot by" in words(
        choice.reasons
    )
    slot = next(s for s in found.nut.slots if s.string == 5)
    said = float(words(choice.reasons).split("would do for ")[1].split(" mm")[0])
    assert said < slot.depth_front


def test_a_vee_only_nicks(found):
    vee = Tool(number=61, shape=Shape.VEE, diameter=3.0, angle=60.0, flute_length=4.0, reach=4.0,
               shank=3.0, stick_out=12.0)  # fmt: skip
    profile = with_tools(vee)
    choice = choice_of(found, profile, 5, Stage.FINAL)
    assert choice.tool is None
    assert choice.nick is vee
    assert "tool 61 (vee) makes no round floor, only nicks" in words(choice.reasons)
    # Its nick is no wider than the slot where it meets the top: w = 2 h tan 30
    for slot in found.nut.slots:
        depth = slots.nick_depth(found.nut, slot, vee, Stage.FINAL)
        assert 0 < depth <= 0.15
        opening = slots._opening(found.nut, slot, Stage.FINAL)
        assert depth * math.tan(math.radians(30)) <= opening


def test_a_slim_cone_mills_the_finished_slots_and_is_proven(found):
    """Finished, a slot is about as deep as it is half wide: its cone hardly begins."""
    profile = with_tools(tapered(0.6, 6.0), tapered(1.0, 6.0, 62))
    got = result_of(found, "nut", profile, Stage.FINAL)
    by = {c.string: c for c in got.slots if c.tool}
    assert {c.tool.shape for c in by.values()} == {Shape.TAPERED_BALL}
    assert by[6].tool.number == 62  # 1.42 mm wide: the larger tip
    assert len(by) >= 3
    assert "at a tip, its cone inside the walls" in words(by[6].reasons)
    proof = proved(found, found.nut, profile, Stage.FINAL, got, got.programs)
    assert proof.passed, [str(f) for f in proof.faults]


def test_cleared_above_a_cone_reaches_the_rough_slot(found):
    profile = with_tools(tapered(1.0, 6.0, 62), MILL.tool(10))
    slot = next(s for s in found.nut.slots if s.string == 6)
    full, cleared = slots.depths(found.nut, slot, Stage.ROUGH)
    tool = profile.tool(62)
    assert taper.widens(slot.radius, tool, full) > taper.WALL
    assert taper.widens(slot.radius, tool, cleared) <= taper.WALL
    choice = choice_of(found, profile, 6, Stage.ROUGH)
    assert choice.tool is tool
    assert choice.by.opening
    assert "opened first" in words(choice.reasons)
    got = result_of(found, "nut", profile, Stage.ROUGH)
    proof = proved(found, found.nut, profile, Stage.ROUGH, got, got.programs)
    assert proof.passed, [str(f) for f in proof.faults]


def test_a_cone_that_widens_is_found_by_the_proof(found):
    """The same program with a steeper cone in the spindle."""
    slim = with_tools(tapered(1.0, 6.0, 62))
    plan = plan_of(found, found.nut, slim, Stage.FINAL)
    written = files_of(found, plan, slim)
    steep = with_tools(tapered(1.0, 40.0, 62))
    proof = proved(found, found.nut, steep, Stage.FINAL, plan, written)
    assert {"J01", "J05"} & {f.code.value for f in proof.faults}


def test_a_cone_is_fed_by_its_tip():
    """Chip and depth by the ball that cuts, speed by the widest that may."""
    tool = tapered(1.0, 10.0)
    cut = feeds.plan_cut(feeds.material("bone"), tool, MILL, feeds.Work.SLOT)
    assert cut.chip == pytest.approx(0.010)
    assert cut.depth <= 0.25 * 1.0
    widest = 2 * tool.radius_at(3.0)
    assert math.pi * widest * cut.rpm / 1000 <= 90


def test_a_cone_bends_between_the_rods_of_its_ends():
    slim, thick = (
        Tool(number=1, shape=Shape.BALL, diameter=d, flute_length=18.0, reach=18.0, shank=d,
             stick_out=18.0)
        for d in (1.0, 3.0)
    )  # fmt: skip
    cone = tapered(1.0, 6.0, reach=18.0)
    bends = [feeds.tool_bend(1.0, t) for t in (thick, cone, slim)]
    assert bends == sorted(bends)
    straight = dataclasses.replace(cone, angle=1e-9)
    assert feeds.tool_bend(1.0, straight) == pytest.approx(bends[2], rel=1e-4)
