"""The way up, across and down; parking; changes; and programs in the air, on a plain bench.

G53 is NISTIR 6556 §3.5.12: its line's axis words are machine coordinates, whatever zero is set.
"""

import dataclasses

import pytest

from blankcam.inputs.machine import Axis, PlanPosition, Safe, ToolChange
from blankcam.parts.frames import Setup
from blankcam.replay.codes import Code
from blankcam.replay.proof import ProgramText
from blankcam.replay.reader import read_program
from tests.replay.bench import MILL, NUT, STOCK, edge_program, prove_edge

HOMED = dataclasses.replace(
    MILL,
    controller=dataclasses.replace(MILL.controller, machine_coordinates=True),
    safe=Safe(
        lowest=Axis(x=-200.0, y=-100.0, z=-60.0),
        height=-2.0,
        park=PlanPosition(x=-100.0, y=-3.0),
        change=PlanPosition(x=-180.0, y=-90.0),
    ),
)
UP, PARK, CHANGE = "G53 G0 Z-2.0", "G53 G0 X-100.0 Y-3.0", "G53 G0 X-180.0 Y-90.0"
START = "G0 Z13.0000"


def homed_program():
    """The plain program as a machine that knows its own coordinates is to have it."""
    text = edge_program()
    text = text.replace("T3\nG0 Z13.0000\n", f"{UP}\nT3\n", 1)
    text = text.replace("G4 P3\n", f"G4 P3\nG0 X-3.5 Y0\n{START}\n", 1)
    text = text.replace("M5\nT2\nM0 (", f"{UP}\nM5\n{CHANGE}\nT2\nM0 (", 1)
    text = text.replace("S9000 M3\nG4 P3\n", f"{UP}\nS9000 M3\nG4 P3\nG0 X3 Y-1.5\n", 1)
    return text.replace("M5\nM9\nM30\n", f"{UP}\nM5\nM9\n{PARK}\nM30\n", 1)


GOOD = homed_program()


def found(text, profile=HOMED):
    return {f.code for f in prove_edge(text, profile=profile).faults}


def test_up_across_down_and_parked_is_right():
    assert found(GOOD) == set()
    assert prove_edge(edge_program()).passed


def swapped(old, new, which=0):
    at = -1
    for _ in range(which + 1):
        at = GOOD.index(old, at + 1)
    return GOOD[:at] + new + GOOD[at + len(old) :]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (swapped(UP + "\n", ""), Code.FIRST_MOVE),
        (swapped(UP, START), Code.FIRST_MOVE),
        (swapped(UP, "G53 G0 Z-30"), Code.MACHINE_MOVE),  # lower than the profile's safe height
        (swapped(UP, "G53 G0 Z3"), Code.TRAVEL),  # over the upper end
        (swapped(UP, "G53 G1 Z-2 F100"), Code.MACHINE_MOVE),
        (swapped(UP, "G53 G0 X-100 Z-2"), Code.MACHINE_MOVE),  # aslant, through whatever stands
        (swapped("G0 X-3.5 Y0\n", ""), Code.MACHINE_MOVE),  # down without going over the start
        (swapped(UP + "\n", "", 1), Code.REST_PLACE),  # to the place of change at working height
        (swapped(UP + "\n", "", 1), Code.MACHINE_MOVE),
        (swapped(CHANGE + "\n", ""), Code.REST_PLACE),
        (swapped(CHANGE, "G53 G0 X-180 Y-50"), Code.REST_PLACE),
        (swapped(UP + "\n", "", 2), Code.FIRST_MOVE),  # a hand has moved it at the change
        (swapped(UP + "\n", "", 3), Code.REST_PLACE),  # the end, from the last cut straight across
        (swapped(UP + "\n", "", 3), Code.MACHINE_MOVE),
        (swapped(PARK + "\n", ""), Code.REST_PLACE),
        (swapped(PARK, "G53 G0 X-100 Y-350"), Code.TRAVEL),
    ],
)
def test_what_is_not_safe_is_found(text, code):
    assert code in found(text)


def test_down_from_the_safe_height_ends_over_everything():
    """At rapid, from a height that is not known in the program's zero, into the blank."""
    low = swapped(f"Y0\n{START}", "Y0\nG0 Z2.0")
    assert Code.CLEARANCE in found(low)


def test_a_machine_without_coordinates_of_its_own_takes_none():
    codes = {f.code for f in read_program(GOOD, MILL).findings}
    assert Code.PROFILE in codes


def test_without_them_the_first_move_is_in_z_alone():
    aslant = edge_program().replace("T3\nG0 Z13.0000\n", "T3\nG0 X-3.5 Y0 Z13.0000\n", 1)
    assert Code.FIRST_MOVE in found(aslant, MILL)


def test_after_m6_the_place_is_not_known():
    """A changer moves the machine, whatever §3.6.3 says of axes that stay."""
    fetching = dataclasses.replace(
        MILL, controller=dataclasses.replace(MILL.controller, tool_change=ToolChange.AUTOMATIC)
    )
    head = "G21 G17 G90 G94 G40\nG49\nG54\nT1 M6\nG0 Z9\nG0 X0 Y0\nM5\nT2 M6\nS8000 M3\n"
    codes = {f.code for f in read_program(f"{head}G1 Z1 F100\nG0 Z9\nM5\nM30\n", fetching).findings}
    assert Code.START in codes


# -- in the air ---------------------------------------------------------------------------------

HIGH = STOCK.z1 + 5.0
AIR = "\n".join(
    ["G21 G17 G90 G94 G40", "G49", "G54", "M5", "T3", f"G0 Z{HIGH:.4f}"]
    + [f"G0 X{x} Y{y}\nM0 (look)" for x, y in ((-2, 0), (14, 0), (14, 5), (-2, 5))]
    + ["M5", "M9", "M30", ""]
)


def in_air(text, profile=MILL, **more):
    program = ProgramText(name="nut-edge-air.ngc", data=text, setup=Setup.EDGE, air=True, **more)
    return both(program, profile)


def both(air, profile=MILL):
    from blankcam.parts.stage import Stage
    from blankcam.replay.prove import prove

    edge = ProgramText(name="nut-edge.ngc", data=edge_program(), setup=Setup.EDGE)
    return prove(
        [air, edge], NUT, stage=Stage.FINAL, milled=frozenset({1, 2}), stock=STOCK,
        profile=profile, step=0.05,
    )  # fmt: skip


def test_a_program_in_the_air_passes_and_changes_nothing():
    proof = in_air(AIR)
    assert proof.passed, [str(f) for f in proof.faults]
    assert [p.name for p in proof.programs] == ["nut-edge-air.ngc", "nut-edge.ngc"]
    assert proof.gouge_um == prove_edge(edge_program()).gouge_um


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        (f"Z{HIGH:.4f}", f"Z{HIGH - 0.01:.4f}", Code.AIR),
        (f"Z{HIGH:.4f}", "Z6.0000", Code.RAPID),
        (f"Z{HIGH:.4f}", "Z6.0000", Code.AIR),
        ("M5\nT3", "S8000 M3\nG4 P3\nT3", Code.AIR),
        ("G0 X14 Y0", "G1 X14 Y0 F100", Code.AIR),
        ("G0 X14 Y0", "G0 X14 Y0 Z4", Code.AIR),
    ],
)
def test_what_an_air_program_must_not_do(old, new, code):
    proof = in_air(AIR.replace(old, new, 1))
    assert not proof.passed
    assert code in {f.code for f in proof.faults}


def test_what_it_is_hangs_on_what_is_asked_not_on_its_text():
    """As a cutting program it has no cut; a cutting program asked for as air turns the spindle."""
    as_cut = ProgramText(name="nut-edge-air.ngc", data=AIR, setup=Setup.EDGE)
    assert Code.NO_MOVES in {f.code for f in both(as_cut).faults}
    assert Code.AIR in {f.code for f in in_air(edge_program()).faults}
