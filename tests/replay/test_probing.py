"""Probing programs: judged from every place they may be started at, by boxes worked out by hand."""

import dataclasses

import pytest

from blankcam.gcode import probing as written
from blankcam.inputs.machine import Probe
from blankcam.parts.stage import Stage
from blankcam.replay import probing
from blankcam.replay.limits import Obstacle
from tests.conftest import first_then_long
from tests.machining.test_jaws import request
from tests.once import write_part

JAWS = Obstacle(name="jaws", low=(-30.0, -20.0, -10.0), high=(70.0, 0.0, 4.0))
BLANK = Obstacle(name="blank", low=(0.0, 0.0, 0.0), high=(40.0, 6.0, 8.0))
PROGRAM = """G21 G17 G90 G94 G40
M5
G91
G38.2 Z-12 F60
G10 L20 P1 Z4
G0 Z0.3
G91
G38.2 Y12 F60
G10 L20 P1 Y-1
G0 Y-2
G90
G0 Z15
G91
G0 X-23
G90
G0 Y3
G0 Z4.3
G91
G38.2 X23 F60
G10 L20 P1 X-1
G0 X-2
G90
G0 Z15
M30
"""


def judged(text, boxes=(), off=3.0):
    touched = probing.Touched(
        boxes={"Z": JAWS, "Y": BLANK, "X": BLANK} | {b.name: b for b in boxes},
        radius=1.0,
        fastest=200.0,
        starts=probing.corners((15.0, -6.0, 10.0), off),
    )
    return probing.faults(text, touched)


def test_a_sound_program_finds_all_three_from_every_start():
    assert judged(PROGRAM) == ()


@pytest.mark.parametrize(
    ("was", "becomes", "said"),
    [
        ("P1 Z4", "P1 Z0", "sets Z 4.000 mm off"),
        ("P1 Y-1", "P1 Y1", "sets Y 2.000 mm off"),  # the ball's other side
        ("P1 X-1", "P1 X0", "sets X 1.000 mm off"),
        ("Z-12 F60", "Z-5 F60", "meets nothing within its travel"),
        ("Z-12 F60", "Z-12 F600", "touches at 600 mm/min"),
        ("Z-12 F60", "Z-12", "touches at 0 mm/min"),
        ("G38.2 Z-12 F60", "G0 Z-12", "a rapid meets jaws"),
        ("G38.2 Y12 F60", "G0 Y12", "a rapid meets blank"),
        ("G0 X-23", "G0 X-10", "a rapid meets blank"),  # then down onto it
        ("G0 Z15\n", "G0 Z5\nG0 Y3\n", "a rapid meets blank"),
        ("G10 L20 P1 X-1\n", "", "X is not set"),
        ("G10 L20 P1 Z4", "G10 L2 P1 Z4", "is not known"),
        ("G0 Y-2", "G1 Y-2 F100", "is not known"),
        ("G38.2 Z-12 F60\nG10 L20 P1 Z4", "G10 L20 P1 Z4\nG38.2 Z-12 F60", "where it was not touched"),
        ("G91\nG38.2 Z-12", "G90\nG38.2 Z-12", "of Z that is not set yet"),
        ("M5\n", "", "before M5"),
        ("M5\n", "S9000 M3\n", "is not known"),
        ("Z-12 F60", "Z-1.2.3 F60", "can't be read"),
        ("Z-12 F60", "Z- F60", "can't be read"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said(was, becomes, said):
    text = PROGRAM.replace(was, becomes, 1)
    assert text != PROGRAM
    found = judged(text)
    assert found
    assert any(s in found[0] for s in said.split("|"))


@pytest.mark.parametrize("same", [
    PROGRAM.lower(), PROGRAM.replace("G0 ", "G00"), PROGRAM.replace(" ", ""),
    PROGRAM.replace("G91", "N10 G91 (steps)"), PROGRAM.replace("\n", "\r\n"),
], ids=["small", "G00", "no blanks", "numbered", "line ends"])  # fmt: skip
def test_another_form_of_the_same_is_as_sound(same):
    """What NISTIR 6556 3.3 reads alike: case, blanks, line numbers, leading zeros."""
    assert same != PROGRAM
    assert judged(same) == ()


def test_what_stands_in_the_way_is_found():
    clamp = Obstacle(name="clamp", low=(-30.0, -20.0, 0.0), high=(-2.0, 26.0, 14.0))
    assert "meets clamp" in judged(PROGRAM, (clamp,))[0]


def test_started_further_off_than_it_may_be_it_finds_nothing():
    assert judged(PROGRAM, off=6.5)


def with_probe(name, part, stage=Stage.ROUGH, machine="light-router", units="mm", diameter=2.0):
    asked = request(name, part, stage, machine)
    control = dataclasses.replace(asked.machine.controller, units=units)
    machine = dataclasses.replace(asked.machine, controller=control, probe=Probe(diameter=diameter))
    return write_part(dataclasses.replace(asked, machine=machine))


@pytest.mark.parametrize("units", ["mm", "inch"])
@pytest.mark.parametrize("stage", list(Stage))
@pytest.mark.parametrize(
    ("name", "part"), first_then_long([("concert-steel", "nut"), ("wide-bass", "saddle")])
)
def test_every_setup_has_one_where_there_is_a_probe(name, part, stage, units):
    made = with_probe(name, part, stage, units=units)
    found, setups = made.probing, [s.setup for s in made.setups]
    assert [p.name for p in found] == [f"{part}-{s}-probe.ngc" for s in setups]
    for program in found:
        code = [line for line in program.text.splitlines() if not line.startswith("(")]
        assert all(len(line) <= 79 for line in program.text.splitlines())
        assert sum("G38.2" in line for line in code) == 3
        assert not any("M3" in line.split() or "M4" in line.split() for line in code)
        assert "It sets X, Y and Z and cuts nothing" in " ".join(
            line.strip("()") for line in program.text.splitlines()
        )


def test_a_ball_too_large_for_the_end_gets_none():
    """Its middle would stand over the end that it is to touch."""
    made = with_probe("concert-steel", "nut", diameter=6.0)
    assert [p.name for p in made.probing] == ["nut-face-probe.ngc"]
    assert "nut-edge-probe.ngc is not written" in made.cautions[-1]


def test_no_probe_no_program():
    assert not write_part(request("concert-steel", "nut")).probing
    assert written.start().off < written.start().over
