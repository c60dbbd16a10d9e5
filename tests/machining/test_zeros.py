"""Zeros that a hand can touch: before the first cut, and after any of them."""

import dataclasses
import re

import numpy as np
import pytest

from blankcam.gcode.header import touch_words, zero_words
from blankcam.inputs import job_file
from blankcam.inputs.machine_file import read_profile
from blankcam.inputs.tool import Shape
from blankcam.outputs.tables.report import program_records
from blankcam.parts.design import design
from blankcam.parts.frames import ReferenceSurface, Setup
from blankcam.parts.stage import Stage
from blankcam.replay.codes import Code
from blankcam.workflows.request import machine_of, request_of
from blankcam.workflows.stated import stated_differences
from tests.conftest import demo_job, first_then_long
from tests.once import cut_part, decide, write_part

JOBS = ("concert-steel", "nut-alone", "short-courses", "wide-bass", "phenolic-ukulele")


def request(name, part, stage=Stage.FINAL, machine="light-router", **plan):
    job = job_file.load(str(demo_job(name)))
    job = dataclasses.replace(job, plan=dataclasses.replace(job.plan, **plan))
    return request_of(design(job), part, machine_of(job, machine), stage)


def zeros_of(setup):
    return {z.axis: z for z in setup.zeros}


def header_of(file):
    lines = [line for line in file.text.splitlines() if line.startswith("(")]
    return " ".join(line.strip("()") for line in lines)


@pytest.mark.parametrize("stage", list(Stage))
@pytest.mark.parametrize("name", first_then_long(JOBS, 2))
@pytest.mark.parametrize("part", ["nut", "saddle"])
def test_what_is_touched_is_never_cut_nor_buried(name, part, stage):
    if part == "saddle" and name == "nut-alone":
        pytest.skip("makes no saddle")
    decided = decide(request(name, part, stage))
    surfaces = []
    for setup in decided.setups:
        zeros = zeros_of(setup)
        surfaces.append(zeros["Z"].surface)
        top = part_top_at_left_end(decided, stage)
        for axis in "XY":
            touch, able = zeros[axis].touch, tools_of(decided, setup.setup)
            if (
                touch is None
            ):  # an edge finder then: no flat cutter, and a ball's full width is too high
                assert not [t for t in able if t.shape is Shape.FLAT and t.diameter >= 1.0]
                assert top - zeros["Z"].value > 0.5
                continue
            tool = decided.request.machine.tool(touch.number)
            width = touch.tip + (tool.radius if tool.shape is Shape.BALL else 0.0)
            assert zeros["Z"].value < touch.tip
            assert width <= (top if setup.setup is Setup.EDGE else 0.0)
    assert surfaces == [ReferenceSurface.WASTE_BOARD, ReferenceSurface.JAW_TOP][-len(surfaces) :]


def tools_of(decided, setup):
    lying = {"thickness", "outline"}
    return [d.tool for d in decided.decisions if d.tool is not None
            and (str(d.feature.kind) in lying) is (setup is Setup.FACE)]  # fmt: skip


def part_top_at_left_end(decided, stage):
    part = decided.request.part
    surface = part.at(stage).surface
    return float(np.min(surface.height(np.zeros(2), np.array([0.0, part.thickness]))))


@pytest.mark.parametrize(
    ("name", "part"), first_then_long([("concert-steel", "nut"), ("wide-bass", "saddle")])
)
def test_after_every_cut_the_replay_finds_them_standing(name, part):
    """The replayed stock: where a cutter's side is to touch, the part still stands beside it."""
    result = cut_part(request(name, part))
    assert result.proof.passed
    setup, field = result.setups[-1], result.proof.field
    zeros = zeros_of(setup)
    tip = zeros["X"].touch.tip
    middle = np.argmin(np.abs(field.y - result.request.part.thickness / 2))
    left = np.flatnonzero(field.z[middle] > tip)[0]
    assert field.x[left] == pytest.approx(0.0, abs=0.06)
    over = field.x > result.request.part.length / 2
    front = np.flatnonzero((field.z[:, over] > tip).any(axis=1))[0]
    assert field.y[front] == pytest.approx(0.0, abs=0.06)


def test_the_numbers_are_half_a_cutter_and_the_paper():
    """By hand: a 3 mm cutter and 0.10 mm of paper, 1.5 + 0.1 = 1.6 mm before the edge."""
    made = write_part(request("concert-steel", "nut", Stage.ROUGH, "bench-mill"))
    face, edge = (header_of(f) for f in made.programs)
    blank, part = made.request.blank, made.request.part
    assert f"Touch off on the waste board and set Z to {-part.thickness:.3f} mm" in face
    assert f"Set X to {blank.x0:.3f} mm less half the width of an edge finder" in face
    assert f"or to {blank.x0 - 1.6:.3f} mm with the side of T1" in face
    jaws = made.request.machine.holding.jaws
    assert f"Touch off on the jaw top and set Z to {jaws:.2f} mm" in edge
    assert f"jaws up to {jaws:g} mm over the seat side" in edge
    assert "Set X to minus half the width of an edge finder against the" in edge
    assert (
        f"or to -1.600 mm with the side of T2, its tip at Z {jaws + 0.3:.2f} mm and paper of "
        "0.10 mm between."
    ) in edge
    assert "Set Y likewise against the fingerboard side." in edge


def test_a_bench_without_a_cutter_that_can_touch_uses_an_edge_finder():
    """Cutters under 1 mm bend, tapered ones have no side."""
    asked = request("concert-steel", "nut")
    decided = decide(asked)
    small = [t for t in asked.machine.tools if t.diameter < 1.0]
    assert small
    words = zero_words(dataclasses.replace(z, touch=None) for z in decided.setups[-1].zeros)
    assert "Set Y likewise against the fingerboard side." in words
    assert "paper" not in words


@pytest.mark.parametrize(
    ("was", "becomes"),
    [
        (r"set Z to ([\d.]+) mm", "set Z to 4.00 mm"),
        (r"on the jaw top", "on the seat side"),
        (r"-1\.600", "-1.500"),
        (r"minus half", "plus half"),
    ],
)
def test_a_header_that_says_to_touch_otherwise_is_found(was, becomes):
    made = write_part(request("concert-steel", "nut"))
    text = made.programs[-1].text
    assert not list(stated_differences(text.encode(), text))
    other = re.sub(was, becomes, text, count=1)
    assert other != text
    (found,) = stated_differences(other.encode(), text)
    assert found.code is Code.STATED_ZERO


def test_a_sawn_blank_is_touched_on_its_own_end():
    asked = request("concert-steel", "nut", outline="saw")
    zeros = zeros_of(decide(asked).setups[-1])
    assert zeros["X"].surface is ReferenceSurface.BLANK_LEFT_END
    assert zeros["X"].value == asked.blank.x0


def test_a_milled_face_is_told_where_it_stands():
    """Glue under a blank lifts it, and a thickness is made to a hundredth."""
    asked = request("concert-steel", "nut", thickness="mill")
    words = zero_words(decide(asked).setups[0].zeros)
    over = -asked.blank.y0
    assert over > 0
    assert f"must now stand at Z {over:.3f} mm" in words
    assert "write down what the waste board then reads" in words


def test_touched_between_walls_on_their_top():
    """On face: walls of 3 mm over what the blank lies on, 6.045 mm under its finished face."""
    asked = request("concert-steel", "nut", thickness="mill", outline="saw")
    held = dataclasses.replace(asked.machine.holding, face="fixture", face_top=3.0, kind="fixture")
    asked = dataclasses.replace(asked, machine=dataclasses.replace(asked.machine, holding=held))
    face, edge = (zeros_of(s) for s in decide(asked).setups)
    assert face["Z"].value == pytest.approx(3.0 - asked.part.thickness)
    assert {face["Z"].surface, edge["Z"].surface} == {ReferenceSurface.WALL_TOP}
    assert touch_words(edge.values()).startswith("touch off on the top of the walls and set Z to ")
    assert read_profile("bench-mill").holding.kind == "vice"


def test_the_report_names_jaws_and_zeros():
    made = write_part(request("concert-steel", "nut"))
    face, *_, edge = program_records(made)
    jaws = made.request.machine.holding.jaws
    assert (face["jaw_top"], edge["jaw_top"]) == (None, jaws)
    assert {z["axis"]: (z["touch"], z["value"]) for z in edge["zeros"]} == {
        "X": ("the left end as cut", 0.0),
        "Y": ("a nut's fingerboard side", 0.0),
        "Z": ("the jaw top", jaws),
    }
