"""A blank milled to its thickness: told by a tool set down by hand, and by planted faults."""

import dataclasses
import math
import re
from functools import cache

import numpy as np
import pytest

from blankcam.faults import RefusedError
from blankcam.gcode.header import zero_words
from blankcam.inputs import job_file
from blankcam.inputs.machine import Controller, Holding, ToolChange
from blankcam.inputs.machine_file import read_profile
from blankcam.inputs.tool import Shape
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.replay.codes import Code
from blankcam.replay.proof import ProgramText, Setup
from blankcam.replay.prove import prove
from blankcam.workflows.request import machine_of
from tests.conftest import DEMO_JOBS, first_then_long
from tests.faults.own_look import strokes
from tests.oracle import interpreter
from tests.oracle.test_interpreter import compare
from tests.proved import box_in_frame, hand_words, plan_for, plan_of, proved, result_of
from tests.replay.dense import heights

UKULELE = next(p for p in DEMO_JOBS if "ukulele" in p.stem)
OVER = {"nut": 1.25, "saddle": 0.4}
"""mm the blanks are too thick by: two layers, and one."""


@cache
def design_of(outline="mill", over=None):
    job = job_file.load(str(UKULELE))
    found = design(job)
    blanks = {
        n: dataclasses.replace(
            getattr(job.blanks, n),
            thickness=getattr(found, n).thickness + (OVER[n] if over is None else over),
        )
        for n in OVER
    }
    return design(
        dataclasses.replace(
            job,
            plan=dataclasses.replace(job.plan, thickness="mill", outline=outline),
            blanks=dataclasses.replace(job.blanks, **blanks),
        )
    )


def profile_of(name, **controller):
    profile = machine_of(design_of().job, name)
    return dataclasses.replace(profile, controller=Controller(**controller)) if controller else (
        profile
    )  # fmt: skip


@cache
def made(name="nut", machine="bench-mill", stage=Stage.FINAL, outline="mill"):
    return result_of(design_of(outline), name, profile_of(machine), stage)


@pytest.mark.parametrize("stage", list(Stage))
@pytest.mark.parametrize("machine", first_then_long(["bench-mill", "light-router"]))
@pytest.mark.parametrize("name", ["nut", "saddle"])
def test_both_parts_are_proven_from_the_thick_blank(name, machine, stage):
    got = made(name, machine, stage)
    assert got.proof.passed, [str(f) for f in got.proof.faults]
    face = got.programs[0].program
    assert [o.name for o in face.operations] == ["thickness", "outline"]
    assert face.stock.z1 == pytest.approx(OVER[name])
    said = zero_words(face.zeros)
    thick = got.request.part.thickness
    assert f"Touch off on the waste board and set Z to {-thick:.3f}" in said
    assert f"must now stand at Z {OVER[name]:.3f} mm" in said
    assert got.programs[1].program.stock.y1 == pytest.approx(got.request.part.thickness)
    assert got.proof.before.y[0] < 0
    assert np.isneginf(got.proof.before.z[got.proof.before.y < 0]).all()


@pytest.mark.long
def test_a_tool_set_down_along_the_path_leaves_the_face_at_zero():
    """Discs set down at close samples: nothing of blankcam's reader, planner or replay."""
    got = made()
    text = got.programs[0].text
    text = text[: text.index("(outline")]
    cuts = [s for s in strokes(text) if not s.rapid]
    blank, part = design_of().job.blanks.nut, got.request.part
    over = (blank.length - part.length) / 2
    x = np.linspace(-over + 1e-6, part.length + over - 1e-6, 90)
    y = np.linspace(1e-6, blank.height - 1e-6, 331)
    tool = profile_of("bench-mill").tool(1)
    assert tool.shape is Shape.FLAT
    left = np.min([heights(tool, s.points[::6], x, y) for s in cuts], axis=0)
    assert left == pytest.approx(np.zeros_like(left), abs=1e-9)
    # Each layer takes no more than the table lets a slot be deep: 0.35 D in phenolic laminate
    levels = sorted({round(float(s.points[0, 2]), 4) for s in cuts}, reverse=True)
    steps = -np.diff([OVER["nut"], *levels])
    assert steps.max() <= 0.35 * 3.0 + 1e-4
    assert steps[-1] <= 0.1 + 1e-4
    # The waste is on the right of the travel in every pass but the innermost: it climbs
    lowest = [s.points[[0, -1]] for s in cuts if s.points[0, 2] == 0.0]
    for (x0, y0, _), (x1, _, _) in lowest[:-1]:
        assert (x1 < x0) == (y0 < blank.height / 2)


def prove_with(face, edge=None, outline="mill"):
    got = made(outline=outline)
    return proved(
        design_of(outline), got.request.part, profile_of("bench-mill"), Stage.FINAL, got, got.programs,
        nut_face=face, nut_edge=edge or got.programs[1].text,
    )  # fmt: skip


def split_face(outline="mill"):
    """The lines of the face's last layer, and the rest of the program before and after it."""
    lines = made(outline=outline).programs[0].text.split("\n")
    begin = lines.index("G0 Z0")
    end = next(
        (i for i, s in enumerate(lines) if s.startswith("(outline")), lines.index("M5", begin)
    )
    return lines[:begin], lines[begin:end], lines[end:]


def found_in(proof):
    return {f.code: f for f in reversed(proof.faults)}


@pytest.mark.parametrize("outline", ["mill", "saw"])
def test_a_layer_too_deep(outline):
    before, last, after = split_face(outline)
    deep = ["G0 Z-0.02", *last[1:]]
    found = found_in(prove_with("\n".join([*before, *deep, *after]), outline=outline))
    assert found[Code.GOUGE].value == pytest.approx(0.02, abs=1e-6)
    assert found[Code.GOUGE].program == "nut-face.ngc"
    assert found[Code.GOUGE].text.startswith("G1 X")
    assert found[Code.GOUGE].at[1] == pytest.approx(0.02)
    good = ["G0 Z-0.003", *last[1:]]  # inside the gouge's 5 um
    assert prove_with("\n".join([*before, *good, *after]), outline=outline).passed


@pytest.mark.parametrize("outline", ["mill", "saw"])
@pytest.mark.parametrize("row", [0, 1, -1])
def test_a_strip_missed(row, outline):
    """One pass of the last layer dropped: 0.1 mm stays where only it went."""
    before, last, after = split_face(outline)
    passes = [i for i, s in enumerate(last) if s.startswith("G1 ")]
    kept = [s for i, s in enumerate(last) if i != passes[row]]
    found = found_in(prove_with("\n".join([*before, *kept, *after]), outline=outline))
    assert Code.LEFT in found or Code.RAPID in found
    if Code.LEFT in found:
        assert found[Code.LEFT].value == pytest.approx(0.1, abs=1e-3)


def test_a_strip_narrower_than_the_grid_is_seen():
    """Rows 20 um too far apart: no cell of 0.05 mm need lie on what stays, a fine line does."""
    before, last, after = split_face()
    rows = [float(m[1]) for s in before + last if (m := re.match(r"G0 (?:X\S+ )?Y([\d.]+)$", s))]
    innermost = max(rows, key=lambda y: min(y, 9.0 - y))
    pair = min((y for y in rows if y != innermost), key=lambda y: abs(y - innermost))
    sign = math.copysign(1.0, innermost - pair)
    moved = pair + sign * (3.0 + 0.02)
    text = "\n".join([*before, *last, *after]).replace(f"Y{innermost:g}\n", f"Y{moved:.4f}\n")
    gap = 3.02 - 3.0
    assert gap < 0.05
    assert Code.LEFT in found_in(prove_with(text))


@pytest.mark.parametrize("by", [0.05, -0.05, OVER["nut"]])
def test_a_wrong_zero(by):
    """Every Z of the program on face off by as much; the last: zero set on the upper face."""
    text = made().programs[0].text
    head, body = text.split("G21", 1)
    body = re.sub(r"Z(-?[\d.]+)", lambda m: f"Z{float(m[1]) + by:.4f}", body)
    found = found_in(prove_with(head + "G21" + body))
    code = Code.LEFT if by > 0 else Code.GOUGE
    assert code in found
    if by != OVER["nut"]:
        assert found[code].value == pytest.approx(0.05, abs=1e-6)


def test_jaws_stand_at_the_finished_faces():
    """A small ball close to the tail side meets the jaw that closed on it."""
    got = made()
    edge = got.programs[1].text
    small = min(got.programs[1].program.tools, key=lambda t: t.diameter)
    jaw = got.request.machine.holding.jaws
    dip = f"G0 Z20\nG0 X10 Y-0.35\nG1 Z{jaw - 0.05:.3f} F50\nG0 Z20\nM5"
    assert small.radius < OVER["nut"] - 0.35
    damaged = edge.rsplit("M5", 1)
    found = found_in(prove_with(got.programs[0].text, edge=dip.join(damaged)))
    assert Code.JAWS in found
    assert found[Code.JAWS].value == pytest.approx(0.05, abs=1e-3)


def test_without_its_face_program_the_thick_blank_is_in_the_way():
    """The blank on edge, as thick as it came: the top is cut too deep and too narrow."""
    got = made(outline="saw")
    w = got.programs[1]
    proof = prove(
        [ProgramText(name=w.name, data=w.text, setup=Setup.EDGE)],
        got.request.part, stage=Stage.FINAL, milled=frozenset(),
        stock=box_in_frame(design_of("saw"), got.request.part), profile=got.request.machine,
        step=0.1,
    )  # fmt: skip
    assert not proof.passed


def test_thickness_alone_where_the_outline_is_sawn():
    got = made(outline="saw")
    assert got.proof.passed, [str(f) for f in got.proof.faults]
    assert [o.name for o in got.programs[0].program.operations] == ["thickness"]


def test_one_file_a_tool():
    """The thickness and the outline take the same tool: one file; another tool: two."""
    found = design_of()
    profile = profile_of("bench-mill", tool_change=ToolChange.FILE)
    wide = dataclasses.replace(profile.tool(1), number=50, diameter=6.0, shank=6.0)
    both = dataclasses.replace(profile, tools=(*profile.tools, wide))
    got = result_of(found, "nut", both, Stage.FINAL)
    assert [f.program.stem for f in got.programs][:2] == ["nut-face-1", "nut-face-2"]
    assert got.proof.passed, [str(f) for f in got.proof.faults]


def test_a_blank_inside_its_fit_is_not_milled():
    found = design_of(over=0.0)
    plans = plan_of(found, found.nut, profile_of("bench-mill"), Stage.FINAL)
    assert [o.name for o in plans.programs[0].operations] == ["outline"]


@pytest.mark.parametrize(
    ("over", "profile", "said"),
    [
        (1.6, {}, "1.60 mm too thick"),
        (0.5, {"tools": ()}, "no flat tool reaches 0.5 mm deep"),
        (0.5, {"tools": "short"}, "no flat tool reaches 0.5 mm deep"),
        (0.5, {"holding": Holding(kind="tape")}, "can't hold a blank on its edge"),
    ],
)
def test_what_is_left_to_the_hand(over, profile, said):
    nut = design_of().nut
    machine = read_profile("bench-mill")
    blank = dataclasses.replace(design_of().job.blanks.nut, thickness=nut.thickness + over)
    if profile.get("tools") == "short":
        flats = [
            dataclasses.replace(t, flute_length=0.4, reach=0.4)
            for t in machine.tools
            if t.shape is Shape.FLAT
        ]
        profile = {"tools": tuple(flats)}
    plan = plan_for(
        nut, blank, dataclasses.replace(machine, **profile), "bone", Stage.ROUGH,
        thickness="mill",
    )  # fmt: skip
    assert said in hand_words(plan)


def test_a_blank_thinner_than_its_part_is_refused():
    nut = design_of().nut
    thin = dataclasses.replace(design_of().job.blanks.nut, thickness=nut.thickness - 0.1)
    with pytest.raises(RefusedError, match=r"0.100 mm .* thinner than the finished part"):
        plan_for(nut, thin, read_profile("bench-mill"), "bone", Stage.ROUGH, thickness="mill")


@pytest.mark.long
@pytest.mark.oracle
@pytest.mark.parametrize("machine", ["bench-mill", "light-router"])
def test_the_canonical_path_is_the_intended_path(machine, tmp_path):
    interpreter.require()
    got = made("saddle", machine)
    for written in got.programs:
        program = written.program
        heard = interpreter.ask(written.text, profile_of(machine).tools, tmp_path)
        assert heard.accepted, heard.complaint
        compare(heard, program, aloft=profile_of(machine).safe_places.height)
