"""Every demo program read by a real controller's interpreter: its path is the intended path.

The interpreter (see interpreter.py) knows nothing of this project. Its canonical calls have four
decimals; the bound is 1 um.
"""

import math

import pytest

from blankcam.inputs import job_file
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.toolpath.moves import AXES_OF_PLANE, ArcMove, Note, Rapid
from blankcam.workflows.request import machine_of
from tests.conftest import EACH_DEMO_JOB
from tests.oracle import interpreter
from tests.proved import files_of, plan_of
from tests.replay.test_probing import with_probe

pytestmark = [pytest.mark.oracle, pytest.mark.long]
CLOSE = 0.001  # mm


def intended(program):
    """The planned moves as (move, where it began), those that go nowhere left out."""
    at = None
    for move in (m for o in program.operations for m in o.moves if not isinstance(m, Note)):
        to = tuple(
            t if not math.isnan(t) else a for t, a in zip(move.to, at or move.to, strict=True)
        )
        if at is None or math.dist(at, to) > 1e-4 or isinstance(move, ArcMove):
            yield move, to
        at = to


def same_place(a, b, close=CLOSE):
    return all(math.isnan(q) or abs(p - q) <= close for p, q in zip(a, b, strict=True))


def compare(heard, program, close=CLOSE, aloft=math.inf):
    """Walk both paths together; the writer's own moves may stand between.

    Those are rapids on the clearance plane, and at the machine's safe height ``aloft``, which the
    interpreter, without any zero set, takes for the same height of the program.
    """
    steps = list(heard.steps)
    i = 0
    for move, to in intended(program):
        kind = (
            "rapid" if isinstance(move, Rapid) else "arc" if isinstance(move, ArcMove) else "line"
        )
        stands = i > 0 and kind != "arc" and same_place(steps[i - 1].end, to, close)
        if stands and (i == len(steps) or not same_place(steps[i].end, to, close)):
            continue  # to where the tool stands already, as the writer rounds it
        while i < len(steps) and not same_place(steps[i].end, to, close):
            lifted = steps[i].kind == "rapid" and any(
                steps[i].end[2] == pytest.approx(z, abs=close) for z in (program.clearance, aloft)
            )
            chord = kind == "arc" and steps[i].kind == "line"
            assert lifted or chord, (steps[i], move)
            i += 1
        assert i < len(steps), move
        step = steps[i]
        if step.kind == "arc":
            assert kind == "arc"
            assert step.plane == move.plane
            assert step.turn == (-1 if move.clockwise else 1)
            assert step.centre == pytest.approx(move.centre, abs=close)
        else:
            assert step.kind == kind or kind == "arc"
        i += 1
    assert all(s.kind == "rapid" for s in steps[i:])


@pytest.mark.parametrize("stage", list(Stage))
@pytest.mark.parametrize("machine", ["bench-mill", "light-router"])
@pytest.mark.parametrize("path", EACH_DEMO_JOB)
def test_the_canonical_path_is_the_intended_path(path, machine, stage, tmp_path):
    interpreter.require()
    job = job_file.load(str(path))
    profile, found = machine_of(job, machine), design(job)
    for part in (found.nut, found.saddle):
        plan = plan_of(found, part, profile, stage)
        programs = (*plan.programs, *plan.in_air)
        for program, written in zip(programs, files_of(found, plan, profile), strict=True):
            heard = interpreter.ask(written.text, profile.tools, tmp_path)
            assert heard.accepted, heard.complaint
            planned = {
                m.plane for o in program.operations for m in o.moves if isinstance(m, ArcMove)
            }
            assert {s.plane for s in heard.steps if s.kind == "arc"} == planned
            compare(heard, program, aloft=profile.safe_places.height)
            spun = any(name == "START_SPINDLE_CLOCKWISE" for name, _ in heard.calls)
            assert spun is not program.air


def test_planes_and_axes_are_as_the_interpreter_has_them():
    assert AXES_OF_PLANE == {"G17": (0, 1, 2), "G18": (2, 0, 1), "G19": (1, 2, 0)}


def test_a_wrong_program_is_not_accepted(tmp_path):
    interpreter.require()
    heard = interpreter.ask("G21\nG1 X5\nM30\n", (), tmp_path)
    assert not heard.accepted
    assert "zero feed rate" in heard.complaint


def test_a_probing_program_is_taken_and_sets_three_zeros(tmp_path):
    interpreter.require()
    made = with_probe("concert-steel", "nut")
    for file in made.probing:
        heard = interpreter.ask(file.text, made.request.machine.tools, tmp_path)
        assert heard.accepted, heard.complaint
        calls = [name for name, _ in heard.calls]
        assert calls.count("STRAIGHT_PROBE") == 3
        at = [i for i, name in enumerate(calls) if name == "STRAIGHT_PROBE"]
        assert all("SET_G5X_OFFSET" in calls[a:b] for a, b in zip(at, (*at[1:], None), strict=True))
