"""How high the jaws stand: worked out by set-up and part, or as given and judged."""

import dataclasses
import math
import re

import numpy as np
import pytest

from blankcam.faults import InputError
from blankcam.inputs import job_file
from blankcam.inputs.machine import Holding
from blankcam.inputs.machine_file import read_profile
from blankcam.machining import jaws
from blankcam.parts.design import design
from blankcam.parts.frames import Setup
from blankcam.parts.part import FeatureKind
from blankcam.parts.stage import Stage
from blankcam.replay.reader import read_program
from blankcam.workflows.request import machine_of, request_of
from tests.conftest import demo_job, first_then_long
from tests.once import decide, write_part
from tests.proved import hand_words

LEAST, SHARE, SPARE, ROOM = 3.0, 1 / 3, 1.0, 0.5
"""The design's: 3 mm and a third of what stands, 1 mm to spare; 0.5 mm where that leaves no grip.
"""


def request(name, part, stage=Stage.FINAL, machine="bench-mill", **held):
    job = job_file.load(str(demo_job(name)))
    asked = request_of(design(job), part, machine_of(job, machine), stage)
    holding = dataclasses.replace(asked.machine.holding, **held)
    return dataclasses.replace(asked, machine=dataclasses.replace(asked.machine, holding=holding))


def lowest_cut(result):
    """As the program's text says: the lowest Z that is cut at, but at round ends."""
    low = math.inf
    for file in result.programs:
        if file.setup == Setup.EDGE:
            ends = [o for o in file.program.operations if o.name == "ends"]
            assert ends == [o for o in file.program.operations[-1:] if o.name == "ends"]
            text = file.text.split("(ends")[0]
            moves = read_program(text, result.request.machine, name="x").moves
            low = min(low, float(np.min(moves.end[moves.cutting, 2])))
    return low


@pytest.mark.parametrize("stage", first_then_long(Stage))
@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("concert-steel", "nut"), ("concert-steel", "saddle"), ("nut-alone", "nut"),
        ("short-courses", "nut"), ("wide-bass", "saddle"), ("phenolic-ukulele", "saddle"),
    ],
)  # fmt: skip
def test_as_high_as_the_cuts_allow(name, part, stage):
    """Against the lowest Z in the program's own text, and what stands by the set-up's stock."""
    result = write_part(request(name, part, stage))
    height, low = result.request.machine.holding.jaws, lowest_cut(result)
    standing = result.setups[-1].stock.z1
    least = max(LEAST, standing * SHARE)
    assert height >= least - 0.01
    assert low - height >= ROOM
    if height > least + 0.1:
        assert SPARE - 1e-6 <= low - height < SPARE + 0.1 + 1e-6  # to a tenth
    assert f"jaws up to {height:g} mm over the seat side" in " ".join(
        result.programs[-1].text.replace(")\n(", "").split()
    )


def test_a_grip_is_a_third_of_what_the_outline_has_left():
    """A nut 7.67 mm high cut out of a blank of 10: 2.6 mm are a third of it, and 3 the least."""
    given = request("concert-steel", "nut", jaw_top=3.0)
    assert decide(given).tool_for(FeatureKind.TOP)
    tall = dataclasses.replace(given, blank=dataclasses.replace(given.blank, z1=14.0))
    assert decide(tall).tool_for(FeatureKind.TOP)
    sawn = dataclasses.replace(tall, wishes=dataclasses.replace(tall.wishes, outline="saw"))
    assert decide(sawn).tool_for(FeatureKind.TOP) is None
    said = hand_words(decide(sawn))
    assert "grips too little of a blank 14.00 mm high" in said
    assert "4.67 to" in said  # 14 / 3


def test_a_given_height_is_kept_and_judged():
    assert decide(request("concert-steel", "nut", jaw_top=3.4)).request.machine.holding.jaws == 3.4
    said = hand_words(decide(request("concert-steel", "nut", jaw_top=5.2)))
    assert (
        "holding.jaw_top 5.2 mm: for the top a tool goes down to 5.32 mm over the seat side, within"
        in said
    )
    assert '3.00 to 4.82 mm, or "auto"' in said


def test_no_height_does():
    window = jaws.Window(standing=10.5, cut="slots", low=3.7)
    (fault,) = jaws.height_faults("nut", Holding(), window, "a way out")
    assert fault.found == "auto"
    assert "must hold 3.50 mm of the 10.50 mm that stand there" in fault.wrong
    assert "for the slots a tool goes down to 3.70 mm" in fault.wrong
    assert "at most 3.20 mm" in fault.wrong
    assert fault.fix == "a way out"


@pytest.mark.parametrize(
    ("standing", "low", "height"),
    [
        (8.0, 5.85, 4.8),  # 4.85, rounded down to what can be set
        (8.0, 5.0, 4.0),
        (8.67, 3.9, 3.0),  # 2.9 is too little: 0.9 mm to spare
        (10.84, 4.5, 3.62),  # a third, rounded up
    ],
)
def test_worked_out(standing, low, height):
    window = jaws.Window(standing=standing, cut="top", low=low)
    assert window.worked_out == height
    assert not list(jaws.height_faults("nut", Holding(), window, ""))


def test_a_low_part_in_a_high_blank_is_told_what_would_do():
    """Sawn out of 16 mm: a third is 5.33, and the finished top lies too near to that."""
    asked = request("concert-steel", "nut")
    asked = dataclasses.replace(
        asked,
        blank=dataclasses.replace(asked.blank, z1=16.0),
        wishes=dataclasses.replace(asked.wishes, outline="saw"),
    )
    decided = decide(asked)
    assert decided.tool_for(FeatureKind.TOP) is None
    said = hand_words(decided)
    assert "no height of the jaws will do" in said
    high = re.search(
        r"may stand at most ([\d.]+) mm high; use a blank no higher than ([\d.]+) mm", said
    )
    assert float(high[2]) == pytest.approx(3 * float(high[1]), abs=0.02)
    assert 'set outline = "mill" in [plan], or cut the top by hand' in said


@pytest.mark.long
def test_a_smaller_ball_leaves_the_jaws_room():
    """A 6 mm ball goes too far down beside a crown that a 3 mm ball brings out."""
    asked = request("concert-steel", "saddle", jaw_top=4.9)
    large = dataclasses.replace(
        asked.machine.tool(2), number=50, diameter=6.0, shank=6.0, flute_length=18.0, reach=18.0,
        stick_out=24.0,
    )  # fmt: skip
    machine = dataclasses.replace(asked.machine, tools=(*asked.machine.tools, large))
    roomy = dataclasses.replace(asked, machine=machine)
    assert {decide(r).decisions[2].tool.number for r in (asked, roomy)} == {2}
    assert not decide(roomy).faults


def test_a_job_says_it_by_part(tmp_path):
    text = demo_job("concert-steel").read_text()
    held = '\n[holding]\njaw_top = "3.5 mm"\n[holding.saddle]\njaw_top = "auto"\n'
    job = job_file.parse(text + held + "jaw_length = '80 mm'\n", "job.toml")
    found, machine = design(job), machine_of(job, "bench-mill")
    nut, saddle = (request_of(found, n, machine, Stage.FINAL).machine.holding
                   for n in ("nut", "saddle"))  # fmt: skip
    assert (nut.jaw_top, nut.jaw_length) == (3.5, 100.0)
    assert (saddle.jaw_top, saddle.jaw_length) == ("auto", 80.0)
    for wrong, said in (
        ('jaw_top = "low"', "holding.nut.jaw_top"),
        ("jaw_top = 3", "a bare number"),
    ):
        with pytest.raises(InputError, match=said) as told:
            job_file.parse(text + f"\n[holding.nut]\n{wrong}\n", "job.toml")
        assert 'or "auto"' in str(told.value)


def test_auto_is_what_a_profile_leaves_out():
    assert Holding().jaw_top == "auto"
    assert read_profile("light-router").holding.jaw_top == "auto"
