"""A nut's front cut back around its slots: who cuts it, the programs, and faults
planted in them.
"""

import dataclasses
import re

import numpy as np
import pytest

from blankcam.inputs import job_file
from blankcam.inputs.machine_file import read_profile
from blankcam.inputs.tool import Shape
from blankcam.machining import front
from blankcam.machining.decision import HandStepKind, ReasonCode
from blankcam.outputs.reasons import left_to_the_hand
from blankcam.parts.design import design
from blankcam.parts.part import FeatureKind
from blankcam.parts.stage import Stage
from blankcam.replay.codes import Code
from blankcam.toolpath.moves import LineMove, Rapid
from blankcam.workflows.cut_part import proven
from blankcam.workflows.request import request_of
from tests.conftest import STEEL, first_then_long
from tests.once import cut_part, decide, write_part

VALUES = '{ 6 = "0.5 mm", 5 = "0.2 mm", 4 = "0.3 mm", 3 = "0.0 mm", 2 = "0.4 mm", 1 = "0.1 mm" }'


def found_with(plan=""):
    text = STEEL.read_text(encoding="utf-8")
    text = text.replace("[nut]", f"[nut]\ncompensation = {VALUES}", 1)
    if plan:
        text = (
            text.replace("[plan]", f"[plan]\n{plan}", 1)
            if "[plan]" in text
            else f"{text}\n[plan]\n{plan}\n"
        )
    return design(job_file.parse(text, "job.toml"))


@pytest.fixture(scope="module")
def found():
    return found_with()


@pytest.fixture(scope="module")
def router():
    return read_profile("light-router")


@pytest.fixture(scope="module")
def written(found, router):
    return write_part(request_of(found, "nut", router, Stage.ROUGH))


def front_file(result):
    (file,) = (f for f in result.programs if "front" in f.operation_names)
    return file


def front_moves(file):
    (operation,) = (o for o in file.program.operations if o.name == "front")
    return operation


def decisions(decided):
    return {d.string: d for d in decided.decisions if d.feature.kind is FeatureKind.FRONT}


def test_the_largest_flat_tool_that_leaves_the_back_straight_cuts_each_step(found, router):
    nut = found.nut
    decided = decide(request_of(found, "nut", router, Stage.ROUGH))
    chosen = decisions(decided)
    assert set(chosen) == {5, 4, 3, 2, 1}  # string 6 lies at the front
    flats = sorted((t for t in router.tools if t.shape is Shape.FLAT), key=lambda t: -t.diameter)
    for slot in (s for s in nut.slots if s.step):
        # Straight for 0.2 mm beside the slot: what is left to each side holds the tool's round
        room = min(
            slot.centre - slot.radius - 0.2 - slot.step.left,
            slot.step.right - slot.centre - slot.radius - 0.2,
        )
        assert front.corner_room(slot) == pytest.approx(room)
        fit = [t for t in flats if t.radius <= room]
        assert chosen[slot.string].tool == fit[0]


@pytest.mark.parametrize("stage", first_then_long(Stage))
def test_programs_are_proven_at_both_stages(found, router, stage):
    result = cut_part(request_of(found, "nut", router, stage))
    assert result.proof.passed, result.proof.faults
    names = [o.name for f in result.programs for o in f.program.operations]
    assert names.index("top") < names.index("front") < names.index("slots")


def test_levels_go_down_within_the_table_and_the_tool_climbs(written, found):
    operation = front_moves(front_file(written))
    cut = operation.cut
    assert cut.bend_um <= 3.0 + 1e-9  # a finishing pass: the design's limit
    levels = {}
    at = None
    for move in operation.moves:
        if isinstance(move, LineMove) and at is not None:
            (x0, y0, z0), (x1, y1, z1) = at, move.to
            assert z0 == z1  # never down into the work
            levels.setdefault(round((x0 + x1) / 2, 1), []).append(z1)
            if y0 == y1:  # along the back the work lies toward +y, on the right: climbing
                assert x1 < x0
        if isinstance(move, LineMove | Rapid):
            at = move.to
    for slot in (s for s in found.nut.slots if s.step):
        zs = sorted({z for x, each in levels.items() for z in each
                     if slot.step.left < x < slot.step.right}, reverse=True)  # fmt: skip
        assert zs[-1] == pytest.approx(slot.step.bottom)
        assert max(-np.diff(zs)) <= cut.depth + 1e-9


def test_it_goes_down_only_in_the_air_before_the_front(written):
    operation = front_moves(front_file(written))
    at = None
    for move in operation.moves:
        if isinstance(move, Rapid) and at is not None and move.to[2] < at[2] - 1e-9:
            assert move.to[1] + operation.tool.radius < 0
        if isinstance(move, LineMove | Rapid):
            at = move.to


def moved_backs(text, by):
    """The program with the passes along the steps' backs moved toward the head by so much."""
    lines = text.splitlines()
    backs = [i for i, line in enumerate(lines) if re.match(r"G1 Y-?[\d.]+", line)
             and i + 1 < len(lines) and re.match(r"(G1 )?X", lines[i + 1])]  # fmt: skip
    assert backs
    for i in backs:
        y = float(re.search(r"Y(-?[\d.]+)", lines[i])[1])
        lines[i] = re.sub(r"Y-?[\d.]+", f"Y{y + by:.4f}", lines[i])
    return "\n".join(lines) + "\n"


def proof_of(result, file, text):
    given = {f.name: f.text for f in result.files} | {file.name: text}
    request = dataclasses.replace(result.request, given=given)
    return proven(dataclasses.replace(result, request=request)).proof


@pytest.mark.parametrize(("by", "also"), [(0.05, Code.GOUGE), (-0.05, Code.LEFT)])
def test_a_step_too_far_back_or_too_short_is_caught(written, by, also):
    file = front_file(written)
    proof = proof_of(written, file, moved_backs(file.text, by))
    codes = {f.code for f in proof.faults}
    assert not proof.passed
    assert {Code.STEP, also} <= codes
    step = next(f for f in proof.faults if f.code is Code.STEP)
    assert step.value == pytest.approx(by, abs=0.002)
    assert "front at string" in str(step)


@pytest.mark.long
def test_a_step_off_by_less_than_a_cell_is_caught(written):
    """12 um is under the replay's 20 um cells: the fine lines over the back find it."""
    file = front_file(written)
    proof = proof_of(written, file, moved_backs(file.text, 0.012))
    assert Code.STEP in {f.code for f in proof.faults}
    assert proof_of(written, file, file.text).passed


def test_a_step_that_is_not_cut_at_all_is_caught(written):
    file = front_file(written)
    proof = proof_of(written, file, moved_backs(file.text, -0.6))
    assert {Code.STEP, Code.LEFT} <= {f.code for f in proof.faults}


def test_where_the_job_leaves_slots_to_the_file_the_hand_cuts_the_steps(router):
    found = found_with('slots = "file"')
    result = cut_part(request_of(found, "nut", router, Stage.ROUGH))
    assert result.proof.passed, result.proof.faults  # the front stands until the hand comes
    fronts = [d for d in result.decisions if d.feature.kind is FeatureKind.FRONT]
    assert all(d.tool is None for d in fronts)
    steps = {s.string: s.step for s in found.nut.slots}
    for decision in fronts:
        (step,) = decision.by.steps
        assert step.kind is HandStepKind.FRONT
        wanted = steps[decision.string]
        assert step.values == {
            "back": wanted.back, "left": wanted.left, "right": wanted.right, "bottom": wanted.bottom,
        }  # fmt: skip


def test_a_program_that_cuts_a_step_the_hand_is_to_cut_is_a_gouge(written, router):
    """The proof of a hand's front is not asleep: what was right for the mill is wrong there."""
    found = found_with('slots = "file"')
    by_hand = write_part(request_of(found, "nut", router, Stage.ROUGH))
    file = next(f for f in by_hand.programs if f.setup == "edge")
    given = {f.name: f.text for f in by_hand.files} | {file.name: front_file(written).text}
    request = dataclasses.replace(by_hand.request, given=given)
    proof = proven(dataclasses.replace(by_hand, request=request)).proof
    assert Code.GOUGE in {f.code for f in proof.faults}


def test_a_machine_without_a_flat_tool_that_fits_says_why(found, router):
    wide = [
        dataclasses.replace(t, diameter=5.0, shank=6.0) if t.shape is Shape.FLAT else t
        for t in router.tools
    ]
    decided = decide(
        request_of(found, "nut", dataclasses.replace(router, tools=tuple(wide)), Stage.ROUGH)
    )
    for decision in decisions(decided).values():
        assert decision.tool is None
        assert ReasonCode.ROUND_CORNERS in {r.code for r in decision.reasons}
    said = [s for s in left_to_the_hand("nut", decided.decisions) if "front" in s]
    assert len(said) == 1  # one sentence for all strings of the same reason
    assert "front at strings 5, 4, 3, 2, 1 left to the hand" in said[0]
