"""The waste that is opened over a slot, by arithmetic on the slot's own numbers.

All limits are the project's own (data/limits.toml, common practice, no source): an opening reaches
1.25 mm beyond the slot on each side, 0.3 mm of waste stays between those of two courses and at the
nut's ends, neighbouring passes lie no more than 0.6 of the tool's diameter apart, and a shank keeps
0.3 mm from the waste beside it. The slots of one course share their opening.
"""

import dataclasses
import itertools
import math

import numpy as np
import pytest

from blankcam.inputs import job_file
from blankcam.inputs.machine_file import read_profile
from blankcam.inputs.tool import Shape
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.toolpath.moves import LineMove
from tests.conftest import demo_job
from tests.proved import plan_of, proved, unproven

SIDE, WALL, STEP, SHANK = 1.25, 0.3, 0.6, 0.3
NEAR = 1e-6
STEEL, CITTERN, BASS = "concert-steel", "five-course-cittern", "wide-bass"


def found_of(stem, **plan):
    job = job_file.load(str(demo_job(stem)))
    return design(dataclasses.replace(job, plan=dataclasses.replace(job.plan, **plan)))


def window(nut, slot):
    """Between which x the waste may go: from the slot's centre and width and its neighbours'."""
    left, right = slot.centre - slot.width / 2 - SIDE, slot.centre + slot.width / 2 + SIDE
    for other in nut.slots:
        if other.course == slot.course:
            continue
        edge = other.centre + math.copysign(other.width / 2, slot.centre - other.centre)
        mine = slot.centre - math.copysign(slot.width / 2, slot.centre - other.centre)
        middle = (edge + mine) / 2
        if other.centre < slot.centre:
            left = max(left, middle + WALL / 2)
        else:
            right = min(right, middle - WALL / 2)
    return max(left, WALL), min(right, nut.length - WALL)


@pytest.mark.parametrize("stem", [STEEL, CITTERN])
def test_waste_stays_between_courses_and_none_need_within_one(stem):
    """How deep a rough nut may be cut half way between two slots, where 0.3 mm must stay."""
    nut = found_of(stem).nut
    target, within = nut.at(Stage.ROUGH), 0
    for a, b in itertools.pairwise(sorted(nut.slots, key=lambda s: s.centre)):
        middle = (a.centre + a.width / 2 + b.centre - b.width / 2) / 2
        aside = b.centre - a.centre - (a.width + b.width) / 2
        x = np.linspace(middle - WALL / 2 + 0.01, middle + WALL / 2 - 0.01, 9)
        over = target.lower(x, np.full_like(x, 1.0)) - nut.at(Stage.FINAL).surface.height(
            x, np.full_like(x, 1.0)
        )
        shared = a.course == b.course and aside < 2 * SIDE
        within += shared
        assert over == pytest.approx(target.opened if shared else target.raised, abs=1e-6)
    assert bool(within) == (stem == CITTERN)


def openings(stem, profile=None, **changed):
    """(nut, slot, tool, narrow, x of the passes) of every slot whose waste a plan opens."""
    found = found_of(stem, **changed)
    plan = plan_of(found, found.nut, profile or read_profile("bench-mill"), Stage.ROUGH)
    cuts = [o for p in plan.programs for o in p.operations if o.name == "clear"]
    assert cuts
    for decision in plan.slots:
        opening = getattr(decision.by, "opening", None)
        if opening is None:
            continue
        slot = next(s for s in found.nut.slots if s.string == decision.string)
        low, high = window(found.nut, slot)
        at = {
            round(m.to[0], 6)
            for o in cuts
            for m in o.moves
            if isinstance(m, LineMove) and low <= m.to[0] <= high
        }
        yield found.nut, slot, opening.tool, opening.narrow, np.array(sorted(at))


def stubs():
    """The bench mill with small tools so short that their shanks must go between the waste."""
    mill = read_profile("bench-mill")
    short = {"flute_length": 1.4, "reach": 1.4, "shank": 2.0}
    tools = [dataclasses.replace(t, **short) if t.diameter < 1.4 else t for t in mill.tools]
    return dataclasses.replace(mill, tools=tuple(tools))


@pytest.mark.parametrize("stem", [STEEL])
def test_a_whole_opening_fills_its_window_and_no_more(stem):
    seen = 0
    for nut, slot, tool, narrow, x in openings(stem, stubs()):
        low, high = window(nut, slot)
        assert x[0] - tool.diameter / 2 >= low - NEAR
        assert x[-1] + tool.diameter / 2 <= high + NEAR
        if not narrow:
            seen += 1
            assert x[0] - tool.diameter / 2 == pytest.approx(low, abs=1e-4)
            assert x[-1] + tool.diameter / 2 == pytest.approx(high, abs=1e-4)
    assert seen >= 1


@pytest.mark.parametrize("stem", [STEEL, CITTERN])
def test_a_narrow_opening_is_one_pass_over_its_slot(stem):
    """With room on both sides it runs on the slot's centre, and it is wider than the slot."""
    seen = 0
    for nut, slot, tool, narrow, x in openings(stem):
        if narrow:
            seen += 1
            low, high = window(nut, slot)
            assert len(x) == 1
            assert abs(x[0] - slot.centre) + slot.width / 2 + 0.07 <= tool.diameter / 2 + NEAR
            if min(slot.centre - low, high - slot.centre) >= tool.diameter / 2:
                assert x[0] == pytest.approx(slot.centre, abs=NEAR)
    assert seen >= 1


@pytest.mark.parametrize("stem", [STEEL])
def test_neighbouring_passes_leave_a_ridge_no_higher_than_a_fifth_of_the_balls_radius(stem):
    """0.6 D apart: a ball of radius R leaves R (1 - sqrt(1 - 0.6^2)) = R / 5 between them."""
    seen = 0
    for _, _, tool, _, x in openings(stem, stubs()):
        if len(x) > 1:
            seen += 1
            apart = float(np.max(np.diff(x)))
            radius = tool.diameter / 2
            assert radius - math.sqrt(radius**2 - (apart / 2) ** 2) <= radius / 5 + NEAR
            assert len(x) == math.ceil((x[-1] - x[0]) / (STEP * tool.diameter) - NEAR) + 1
    assert seen >= 1


def coarse():
    """The bench mill with a flat of 2 mm to open with, and nothing else between 1.5 and 6 mm."""
    mill = read_profile("bench-mill")
    four = [
        dataclasses.replace(t, diameter=6.0, shank=6.0) for t in mill.tools if t.diameter == 3.0
    ]
    small = [dataclasses.replace(t, flute_length=1.5) for t in mill.tools if t.diameter == 1.5]
    two = [dataclasses.replace(t, shape=Shape.FLAT) for t in mill.tools if t.diameter == 2.0]
    return dataclasses.replace(mill, tools=(*four, *small, *two))


def test_a_wide_opening_takes_as_many_passes_as_six_tenths_of_its_tool_ask_for():
    """A slot of 1.75 to 1.9 mm is opened 4.25 to 4.4 wide: by a 2 mm tool in three passes."""
    wide = [
        (slot, x, tool)
        for _, slot, tool, narrow, x in openings(BASS, coarse(), outline="saw")
        if not narrow
    ]
    counts = [len(x) for slot, x, tool in wide if 1.7 < slot.width < 1.9 and tool.diameter == 2]
    assert counts
    assert set(counts) == {3}


def short_reach(shank):
    """The bench mill with one ball for a bass's widest slots that must go between the waste.

    Its flutes are long enough and its neck is not, so that its shank comes down into the opening.
    """
    mill = read_profile("bench-mill")
    ball = next(t for t in mill.tools if t.diameter == 2.0)
    ball = dataclasses.replace(ball, flute_length=2.0, reach=2.1, shank=shank)
    flat = next(t for t in mill.tools if t.number == 1)
    crown = next(t for t in mill.tools if t.diameter == 3.0 and t.shape != flat.shape)
    return dataclasses.replace(mill, tools=(flat, crown, ball)), ball


@pytest.mark.parametrize(("beyond", "fits"), [(-0.02, True), (0.02, False)])
def test_a_shank_that_goes_between_the_waste_has_room(beyond, fits):
    """The widest that may: as wide as the opening, less 0.3 mm on each side."""
    found = found_of(BASS)
    slot = max(found.nut.slots, key=lambda s: s.width)
    low, high = window(found.nut, slot)
    most = 2 * (min(slot.centre - low, high - slot.centre) - SHANK)
    profile, ball = short_reach(most + beyond)
    plan = plan_of(found, found.nut, profile, Stage.ROUGH)
    decision = next(d for d in plan.slots if d.string == slot.string)
    if fits:
        assert decision.tool is not None
        assert decision.tool.number == ball.number
        assert decision.by.opening is not None
        written = unproven(found, "nut", profile, Stage.ROUGH).programs
        proof = proved(found, found.nut, profile, Stage.ROUGH, plan, written)
        assert proof.passed, [str(f) for f in proof.faults]
    else:
        assert decision.tool is None


@pytest.mark.parametrize("stem", [STEEL, BASS])
def test_waste_is_opened_no_deeper_than_the_floors_are_held_back(stem):
    """So that a slot whose floor stays that high for good can keep the top it needs beside it."""
    found = found_of(stem)
    nut = found.nut
    plan = plan_of(found, nut, stubs(), Stage.ROUGH)
    over = [
        over_the_finished_top(nut, o.tool, m.to)
        for p in plan.programs
        for o in p.operations
        if o.name == "clear"
        for m in o.moves
        if isinstance(m, LineMove)
    ]
    assert min(over) == pytest.approx(found.job.nut.hold_back, abs=0.01)


def over_the_finished_top(nut, tool, tip):
    """The least that a ball or a flat leaves over the finished top, from its tip's place."""
    off = np.linspace(0, tool.diameter / 2, 31)[:, None]
    way = np.linspace(0, 2 * math.pi, 36, endpoint=False)[None, :]
    ball = tool.diameter / 2 - np.sqrt((tool.diameter / 2) ** 2 - off**2)
    bottom = tip[2] + (ball if tool.shape is Shape.BALL else 0 * off)
    top = nut.at(Stage.FINAL).surface
    return float(
        np.min(bottom - top.height(tip[0] + off * np.cos(way), tip[1] + off * np.sin(way)))
    )
