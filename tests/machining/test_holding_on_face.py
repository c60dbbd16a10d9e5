"""What holds a blank lying down: respected by the plan, and by the proof that knows
nothing of it.
"""

import dataclasses
import re
from functools import cache

import pytest

from blankcam.faults import InputError
from blankcam.inputs import job_file
from blankcam.inputs.machine import Holding
from blankcam.inputs.machine_file import parse_profile, read_profile
from blankcam.machining.feeds import Work, material, plan_cut
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.replay.codes import Code
from blankcam.toolpath import bounds
from blankcam.toolpath.moves import LineMove, Operation
from blankcam.workflows.request import machine_of
from tests.conftest import STEEL
from tests.inputs.test_machine_file import GOOD, faults_of
from tests.proved import files_of, hand_words, plan_of, proved

MILL = read_profile("bench-mill")
CLAMPS = {"face": "clamps", "clamp_reach": 5.0, "clamp_width": 12.0, "clamp_height": 4.0}


@cache
def found_for(length=62.0, thick=0.0, **plan):
    job = job_file.load(str(STEEL))
    part = design(job).nut
    blank = dataclasses.replace(job.blanks.nut, length=length, thickness=part.thickness + thick)
    return design(
        dataclasses.replace(
            job,
            blanks=dataclasses.replace(job.blanks, nut=blank),
            plan=dataclasses.replace(job.plan, **plan),
        )
    )


def held(**how):
    return dataclasses.replace(MILL, holding=dataclasses.replace(MILL.holding, **how))


def made(found, profile):
    plan = plan_of(found, found.nut, profile, Stage.FINAL)
    return plan, files_of(found, plan, profile)


def codes(found, profile, plan, written):
    proof = proved(found, found.nut, profile, Stage.FINAL, plan, written)
    return {f.code for f in proof.faults if f.program == "nut-face.ngc"}, proof


def test_under_clamps_at_both_ends():
    """44.45 mm of nut, a 3 mm tool at each end, 5 mm of clamp and half a millimetre: 61.5 mm."""
    found, profile = found_for(), held(**CLAMPS)
    plan, written = made(found, profile)
    assert plan.programs[0].clearance == pytest.approx(4.0 + profile.clearance)
    assert "a clamp at each end" in written[0].text
    assert not codes(found, profile, plan, written)[0]


@pytest.mark.parametrize(
    ("length", "how", "what", "longer"),
    [
        (60.0, {}, "cutter", 1.45),  # 2 (1.5 + 0.5 - (7.775 - 5 - 1.5))
        # The holder's end is 12 - 6.35 = 5.65 mm over the face: a clamp of 4 mm is under it
        (62.0, {"clamp_height": 8.0}, "holder", 16.45),  # 2 (10 + 0.5 - (8.775 - 5 - 1.5))
    ],
)
def test_too_near_a_clamp_is_refused_and_found_by_the_proof(length, how, what, longer):
    """The tool's middle runs 1.5 mm outside the end; a clamp begins ``over - 5`` outside it."""
    found, profile = found_for(length), held(**(CLAMPS | how))
    radius = {"cutter": 1.5, "holder": MILL.holder_diameter / 2}[what]
    gap = (length - found.nut.length) / 2 - 5.0 - 1.5
    by_hand = 2 * (radius + 0.5 - gap)
    assert by_hand == pytest.approx(longer, abs=0.01)
    said = hand_words(made(found, profile)[0])
    assert re.search(f"the {what} of tool 1 .*{longer + 0.001:.1f} mm longer", said)
    # Planned for a glued blank and run under those clamps, brought near enough to be touched
    near = dataclasses.replace(profile, holding=dataclasses.replace(
        profile.holding, clamp_reach=profile.holding.clamp_reach + 0.6))  # fmt: skip
    plan, written = made(found, MILL)
    seen, proof = codes(found, near, plan, written)
    assert Code.JAWS in seen
    said = next(f for f in proof.faults if f.code is Code.JAWS)
    assert f"the {what} runs into the clamp" in said.what


def test_a_rapid_at_a_height_under_the_clamps_is_found():
    found, profile = found_for(), held(**CLAMPS)
    plan, written = made(found, profile)
    text = written[0].text
    low = text.replace("M5\n", f"G0 Z2\nG0 X{found.nut.length + 6:.3f} Y5\nG0 Z20\nM5\n", 1)
    proof = proved(found, found.nut, profile, Stage.FINAL, plan, written, nut_face=low)
    assert Code.JAWS in {f.code for f in proof.faults}


def test_no_face_is_milled_under_clamps():
    found = found_for(thick=0.5, thickness="mill")
    plan, _ = made(found, held(**CLAMPS))
    assert "clamps stand on the face" in hand_words(plan)
    assert plan.request.blank.y0 == 0.0  # rubbed down first


def test_no_outline_between_walls():
    plan, _ = made(found_for(), held(face="fixture"))
    assert "walls can't hold what is cut all around" in hand_words(plan)


def test_a_face_milled_between_walls():
    """6.05 mm thick in the end: walls of 3 mm (a grip) to 5.5 mm (half a millimetre under it)."""
    found = found_for(thick=0.5, thickness="mill", outline="saw")
    profile = held(face="fixture", face_top=3.0)
    plan, written = made(found, profile)
    assert "between the walls of a fixture" in written[0].text
    assert not codes(found, profile, plan, written)[0]
    for top, said in ((2.9, "too low"), (5.6, "too high")):
        assert said in hand_words(made(found, held(face="fixture", face_top=top))[0])
    # Walls that stand over the finished face are touched by the last layer
    seen, proof = codes(found, held(face="fixture", face_top=6.3), plan, written)
    assert Code.JAWS in seen
    assert "runs into the fixture" in next(f for f in proof.faults if f.code is Code.JAWS).what


def test_a_fixture_has_no_waste_board_to_cut_into():
    found = found_for()
    plan, written = made(found, MILL)
    seen, _ = codes(found, held(face="fixture", face_top=0.5, jaw_length=5.0), plan, written)
    assert Code.BED in seen  # the outline runs 0.3 mm through


def test_tape_on_face_alone_under_a_large_tool():
    small = found_for(length=46.0)
    blank = small.job.blanks.nut
    assert blank.length * blank.height == pytest.approx(460.0)
    made(small, held(face="tape"))  # 460 mm2: from 400 on tape will do
    low = dataclasses.replace(
        small, job=dataclasses.replace(small.job, blanks=dataclasses.replace(
            small.job.blanks, nut=dataclasses.replace(blank, height=8.5))))  # fmt: skip
    taped, _ = made(low, dataclasses.replace(held(face="tape"), holding=dataclasses.replace(
            MILL.holding, face="tape", jaw_top=3.0)))  # fmt: skip
    assert "tape alone does not hold 391 mm2 under a 3 mm cutter" in hand_words(taped)


def test_only_the_lowest_operation_is_told_of_the_jaws():
    tool = MILL.tool(1)
    cut = plan_cut(material("bone"), tool, MILL, Work.SLOT)
    deep = [
        Operation(name=n, words="", tool=tool, cut=cut, moves=(LineMove((0.0, 0.0, z), 100.0),))
        for n, z in (("top", 4.4), ("slots", 4.1), ("clear", 4.2))
    ]
    (fault,) = bounds.jaw_faults("nut", Holding(jaw_top=4.0), deep)
    assert "for the slots a tool goes down to 4.10 mm" in fault.wrong
    assert not bounds.jaw_faults("nut", Holding(jaw_top=3.5), deep)


def test_profile_and_job_say_so(tmp_path):
    text = GOOD + '[holding]\nface = "clamps"\nclamp_reach = "6 mm"\n'
    assert parse_profile(text, "mine.toml").holding.clamp_reach == 6.0
    assert "holding.face: 'glue': is not known" in faults_of(GOOD + '[holding]\nface = "glue"')[0]
    assert "clamp_width" in faults_of(GOOD + '[holding]\nclamp_width = "-1 mm"')[0]
    job = tmp_path / "job.toml"
    job.write_text(STEEL.read_text() + '\n[holding]\nface = "fixture"\nface_top = "3.2 mm"\n')
    laid = machine_of(job_file.load(str(job)), "bench-mill").holding
    assert (laid.on_face, laid.face_top, laid.kind) == ("fixture", 3.2, "vice")
    job.write_text(STEEL.read_text() + '\n[holding]\nclamp_height = "900 mm"\n')
    with pytest.raises(InputError, match=r"holding\.clamp_height"):
        job_file.load(str(job))
