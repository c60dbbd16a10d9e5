"""What layout tells is what make does: both ask the same decisions."""

import dataclasses
import math

import pytest

from blankcam.inputs import job_file
from blankcam.machining.decision import ByMachine, HandStepKind, ReasonCode
from blankcam.machining.thickness import caution
from blankcam.outputs.reasons import left_to_the_hand
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.workflows import layout
from blankcam.workflows.request import machine_of
from tests.conftest import DEMO_JOBS, EACH_DEMO_JOB, STEEL, first_then_long
from tests.plans.outcomes import proof_of
from tests.proved import STEP, plan_of, result_of, unproven


def cautions(found, profile, stage):
    return {c for part in layout.decided(found, profile, stage) for c in part.cautions}


def planned(found, profile, stage):
    """What the operations themselves caution, and the thickness."""
    said = set()
    for part in (found.nut, found.saddle):
        operations = [
            o for p in plan_of(found, part, profile, stage).programs for o in p.operations
        ]
        said |= {c for o in operations for c in o.cut.cautions}
        if any(o.name == "thickness" for o in operations):
            said.add(caution(part))
    return said


@pytest.mark.parametrize("job", EACH_DEMO_JOB)
@pytest.mark.parametrize("machine", first_then_long(["bench-mill", "light-router"]))
def test_foreseen_is_what_the_plan_says(job, machine):
    loaded = job_file.load(str(job))
    found, profile = design(loaded), machine_of(loaded, machine)
    for stage in Stage:
        assert cautions(found, profile, stage) == planned(found, profile, stage)


def slow(profile):
    return dataclasses.replace(profile, spindle_max=9000.0, spindle_min=3000.0)


def fast(profile):
    return dataclasses.replace(profile, spindle_max=40000.0, spindle_min=30000.0)


def long(profile):
    tools = tuple(dataclasses.replace(t, stick_out=18.0) for t in profile.tools)
    return dataclasses.replace(profile, tools=tools)


@pytest.mark.long
@pytest.mark.parametrize("changed", [slow, fast, long])
@pytest.mark.parametrize(
    ("outline", "thickness", "ends", "slots"),
    [("mill", "mill", "mill", "mill"), ("saw", "hand", "hand", "file"),
     ("saw", "mill", "mill", "mill")],
)  # fmt: skip
def test_foreseen_whoever_does_what_on_whatever_machine(changed, outline, thickness, ends, slots):
    job = STEEL
    loaded = job_file.load(str(job))
    plan = dataclasses.replace(
        loaded.plan, outline=outline, thickness=thickness, ends=ends, slots=slots
    )
    loaded = dataclasses.replace(loaded, plan=plan)
    found, profile = design(loaded), changed(machine_of(loaded, "light-router"))
    said = cautions(found, profile, Stage.ROUGH)
    assert said == planned(found, profile, Stage.ROUGH)
    assert said or slots == "file"  # a machine changed so is worth a word


def test_nothing_is_foreseen_of_a_bench_without_programs():
    loaded = job_file.load(str(STEEL))
    for machine in ("hand-bench", "template-laser"):
        profile = machine_of(loaded, machine)
        assert layout.decided(design(loaded), profile, Stage.ROUGH) == ()


def tools_changed(profile, **changes):
    return dataclasses.replace(
        profile, tools=tuple(dataclasses.replace(t, **changes) for t in profile.tools)
    )


def held_changed(profile, **changes):
    return dataclasses.replace(profile, holding=dataclasses.replace(profile.holding, **changes))


@pytest.mark.parametrize(
    ("changed", "word"),
    [
        (lambda p: p, ""),
        pytest.param(
            lambda p: held_changed(p, jaw_top=1.0), "grips too little", marks=pytest.mark.long
        ),
        (lambda p: tools_changed(p, reach=1.0, flute_length=1.0), "no flat tool"),
        (lambda p: tools_changed(p, stick_out=90.0), "bends 3 um"),
    ],
    ids=["as it is", "grip", "flat", "limber"],
)
def test_what_is_left_to_the_hand_is_said_with_what_would_do(changed, word):
    loaded = job_file.load(str(STEEL))
    plan = dataclasses.replace(loaded.plan, outline="mill", slots="mill")
    loaded = dataclasses.replace(loaded, plan=plan)
    found, profile = design(loaded), changed(machine_of(loaded, "bench-mill"))
    decided = layout.decided(found, profile, Stage.FINAL)
    assert not [f for part in decided for f in part.faults]
    said = [w for p in decided for w in left_to_the_hand(p.request.part.name, p.decisions)]
    assert bool(said) == bool(word)
    assert word in "".join(said)
    for part, each in zip((found.nut, found.saddle), decided, strict=True):
        planned = plan_of(found, part, profile, Stage.FINAL)
        assert planned.decisions == each.decisions


def short(profile, x):
    """A machine of less travel, which parks within it."""
    travel, park = dataclasses.replace(profile.travel, x=x), profile.safe.park
    safe = dataclasses.replace(profile.safe, park=dataclasses.replace(park, x=min(park.x, x)))
    return dataclasses.replace(profile, travel=travel, safe=safe)


CHANGES = {
    "jaws 4.8": lambda p: held_changed(p, jaw_top=4.8),
    "clamps": lambda p: held_changed(p, face="clamps"),
    "jaws 5.6": lambda p: held_changed(p, jaw_top=5.6),
    "clamps that reach in": lambda p: held_changed(p, face="clamps", clamp_reach=1.0),
    "60 of travel": lambda p: short(p, 60.0),
    "80 of travel": lambda p: short(p, 80.0),
}


@pytest.mark.long
@pytest.mark.parametrize(("job", "changed"), [
    pytest.param(job, change, id=f"{job.stem}, {name}")
    for at, job in enumerate(DEMO_JOBS)
    for by, (name, change) in enumerate(CHANGES.items())
    if (at + by) % 2 == 0
])  # fmt: skip
def test_what_only_the_moves_tell_is_foretold_too(job, changed):
    """Jaws nearer and nearer to what is cut, clamps, machines smaller and smaller: no refusal."""
    loaded = job_file.load(str(job))
    found, profile = design(loaded), changed(machine_of(loaded, "bench-mill"))
    for part in found.parts:
        assert proof_of(unproven(found, part.name, profile, Stage.FINAL), STEP).passed


@pytest.mark.parametrize(("part", "key"), [("nut", "top"), ("saddle", "crown")])
@pytest.mark.parametrize("outline", ["mill", "saw"])
def test_a_top_given_to_the_hand_is_left_standing(part, key, outline):
    """What the machine cuts after it is cut from all that stands; the proof finds the
    rest right.
    """
    loaded = job_file.load(str(STEEL))
    plan = dataclasses.replace(loaded.plan, outline=outline, **{key: "hand"})
    found = design(dataclasses.replace(loaded, plan=plan))
    profile = machine_of(loaded, "bench-mill")
    made = result_of(found, part, profile, Stage.ROUGH)
    assert made.proof.passed, [str(f) for f in made.proof.faults]
    assert key not in made.operation_names
    (top,) = (d for d in made.decisions if str(d.feature.kind) == key)
    assert [r.code for r in top.reasons] == [ReasonCode.HAND_BY_JOB]
    assert top.by.steps[0].kind is HandStepKind.TOP
    # Nothing is said of what the job itself gives to the hand
    assert not list(left_to_the_hand(part, made.decisions))


@pytest.mark.parametrize("machine", ["bench-mill", "light-router"])
def test_every_decision_says_why_and_every_program_has_its_setup(machine):
    loaded = job_file.load(str(STEEL))
    found, profile = design(loaded), machine_of(loaded, machine)
    for part, decided in zip(found.parts, layout.decided(found, profile, Stage.ROUGH), strict=True):
        assert all(decision.reasons for decision in decided.decisions if decision.string == 0)
        made = {d.feature.kind for d in decided.decisions}
        assert {f.kind for f in part.features if f.string is None} <= made
        programs = plan_of(found, part, profile, Stage.ROUGH).programs
        sheets = {str(s.setup): s for s in decided.setups}
        assert {p.setup for p in programs} <= set(sheets)
        for program in programs:
            assert {z.axis for z in sheets[program.setup].zeros} == {"X", "Y", "Z"}
            assert program.stock == sheets[program.setup].stock


@pytest.mark.parametrize("machine", ["bench-mill", "light-router"])
def test_no_tip_leaves_the_reach_that_was_decided(machine):
    loaded = job_file.load(str(STEEL))
    found, profile = design(loaded), machine_of(loaded, machine)
    for part, decided in zip(found.parts, layout.decided(found, profile, Stage.ROUGH), strict=True):
        lows = {}
        for d in decided.decisions:
            if isinstance(d.by, ByMachine):
                lows.setdefault(str(d.feature.kind), []).append(d.by.reach.z0)
        assert lows
        for program in plan_of(found, part, profile, Stage.ROUGH).programs:
            for operation in program.operations:
                lowest = min(m.to[2] for m in operation.moves if hasattr(m, "to"))
                assert lowest >= min(lows.get(operation.name, [math.inf])) - 0.05
