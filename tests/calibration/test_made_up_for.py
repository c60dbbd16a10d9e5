"""What a machine with known errors is told, and where it then goes: there and back again.

``simulated`` is the outside judge: a machine of the tests' own, written from what textbooks of
machine tools say of play and scale.
"""

import dataclasses
import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.gcode.commanded import commanded
from blankcam.gcode.writer import write
from blankcam.inputs.machine import AxisError, AxisErrors, Holding
from blankcam.inputs.machine_file import read_profile
from blankcam.machining.feeds import Work, material, plan_cut
from blankcam.parts.frames import Box, ReferenceSurface, Setup, Zero
from blankcam.replay.as_moved import as_moved
from blankcam.replay.reader import read_program
from blankcam.toolpath.moves import LineMove, Operation, Program, ToolPath
from tests.calibration import simulated

STOCK = Box(x0=0, x1=50, y0=0, y1=6, z0=0, z1=9)
PRINTED = 2e-4
"""mm: four decimals, twice."""


TRUE = AxisErrors()


def router(errors=TRUE, z_offset=0.0):
    plain = read_profile("light-router")
    tools = tuple(dataclasses.replace(t, z_offset=z_offset) for t in plain.tools)
    return dataclasses.replace(plain, errors=errors, tools=tools)


def program_of(places, profile):
    """Each place reached at feed from the one before, the first from above."""
    tool = profile.tools[0]
    path = ToolPath(14.0)
    path.over(*places[0], 10.0)
    for x, y, z in places[1:]:
        path.line(200.0, x=x, y=y, z=z)
    path.leave()
    cut = plan_cut(material("bone"), tool, profile, Work.SLOT)
    operation = Operation(name="slots", words="a way", tool=tool, cut=cut, moves=tuple(path.moves))
    zeros = (Zero(axis="X", surface=ReferenceSurface.LEFT_END),)
    return Program(
        stem="nut-edge", part="nut", setup=Setup.EDGE.value, stage="final", material="bone",
        stock=STOCK, holding=Holding(jaw_top=4.0), zeros=zeros, clearance=14.0,
        operations=(operation,),
    )  # fmt: skip


def axis_errors(seed):
    dice = random.Random(seed)
    each = [
        AxisError(backlash=round(dice.uniform(0, 0.03), 4), scale=dice.uniform(-0.001, 0.001))
        for _ in "xyz"
    ]
    return AxisErrors(x=each[0], y=each[1], z=each[2])


coordinate = st.floats(0.0, 9.0, allow_nan=False).map(lambda v: round(v, 2))
ways = st.lists(st.tuples(coordinate, coordinate, coordinate), min_size=2, max_size=12)


@pytest.mark.property
@given(ways, st.integers(0, 10_000))
def test_a_machine_told_so_goes_where_it_is_wanted(places, seed):
    errors = axis_errors(seed)
    profile = router(errors, z_offset=0.03)
    file = write(program_of(places, profile), profile, "x", "0" * 16)
    machine = simulated.Machine(
        backlash=tuple(e.backlash for e in errors.each),
        scale=tuple(e.scale for e in errors.each),
        runout={1: 0.0},
        z_off={1: 0.03},
    )
    cuts = simulated.cuts_of(file.text, machine, random.Random(seed))
    reached = [c.end for c in cuts]
    for place in places[1:]:
        near = min((math.dist(place, r) for r in reached), default=math.inf)
        assert near < PRINTED or place == places[0], (place, reached)


@pytest.mark.property
@given(ways, st.integers(0, 10_000))
def test_the_proof_sees_the_same_machine(places, seed):
    """Replay of the text with the machine's errors against the tests' own machine, told
    the same.
    """
    errors = axis_errors(seed)
    profile, plain = router(errors), router()
    # One way up in X and Y and down in Z: then where each axis stands is known to both
    text = write(
        program_of([(-2, -2, 9.9), (-1, -1, 9.5), *places], plain), plain, "x", "0" * 16
    ).text
    moved = as_moved(read_program(text, profile), profile).moves
    machine = simulated.Machine(
        backlash=tuple(e.backlash for e in errors.each),
        scale=tuple(e.scale for e in errors.each),
        runout={1: 0.0},
        z_off={1: 0.0},
    )
    ours = moved.end[moved.cutting].tolist()
    theirs = [c.end for c in simulated.cuts_of(text, machine, random.Random(1))][1:]
    for place in theirs:
        assert min(math.dist(place, o) for o in ours) < PRINTED


def test_a_true_machine_is_told_what_is_planned():
    profile = router()
    program = program_of([(1, -2, 5), (1, 7, 4)], profile)
    assert commanded(program, profile) is program


def test_play_is_taken_up_by_a_move_of_its_own():
    """Up to 5 and back to 3 with 0.02 mm of play: the screw turns 0.02 mm before the
    axis follows.
    """
    profile = router(AxisErrors(x=AxisError(backlash=0.02)))
    program = program_of([(1, -2, 5), (5, -2, 5), (3, -2, 5)], profile)
    told = [
        m.to[0] for m in commanded(program, profile).operations[0].moves if isinstance(m, LineMove)
    ]
    assert told == pytest.approx([5.0, 4.98, 2.98])


def test_an_axis_with_play_comes_to_its_place_from_one_side():
    profile = router(AxisErrors(x=AxisError(backlash=0.02)))
    program = program_of([(1, -2, 5), (1, 7, 5)], profile)
    moves = commanded(program, profile).operations[0].moves
    first, second = moves[0].to[0], moves[1].to[0]
    assert first < 1 - 0.02
    assert second == pytest.approx(1)


def test_a_tip_that_stands_high_is_sent_lower():
    profile = router(z_offset=0.04)
    program = program_of([(1, -2, 5), (1, 7, 5)], profile)
    (line,) = (
        m for m in commanded(program, profile).operations[0].moves if isinstance(m, LineMove)
    )
    assert line.to[2] == pytest.approx(4.96)
