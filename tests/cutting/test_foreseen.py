"""Cautions told before anything is planned are those of the plan."""

import dataclasses

import pytest

from blankcam import proving
from blankcam.job import read
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from tests.conftest import DEMO_JOBS


def planned(found, profile, stage):
    said = (
        c
        for part in (found.nut, found.saddle)
        for c in proving.plan_part(found, part, profile, stage).cautions
    )
    return set(said)


@pytest.mark.parametrize("job", DEMO_JOBS, ids=lambda p: p.stem)
@pytest.mark.parametrize("machine", ["bench-mill", "light-router"])
def test_foreseen_is_what_the_plan_says(job, machine):
    loaded = read.load(str(job))
    found, profile = design(loaded), proving.machine_of(loaded, machine)
    for stage in Stage:
        assert set(proving.foreseen(found, profile, stage)) == planned(found, profile, stage)


def slow(profile):
    return dataclasses.replace(profile, spindle_max=9000.0, spindle_min=3000.0)


def fast(profile):
    return dataclasses.replace(profile, spindle_max=40000.0, spindle_min=30000.0)


def long(profile):
    tools = tuple(dataclasses.replace(t, stick_out=18.0) for t in profile.tools)
    return dataclasses.replace(profile, tools=tools)


@pytest.mark.parametrize("changed", [slow, fast, long])
@pytest.mark.parametrize(
    ("outline", "thickness", "ends", "slots"),
    [("mill", "mill", "mill", "mill"), ("saw", "hand", "hand", "file"),
     ("saw", "mill", "mill", "mill")],
)  # fmt: skip
def test_foreseen_whoever_does_what_on_whatever_machine(changed, outline, thickness, ends, slots):
    job = next(p for p in DEMO_JOBS if p.stem == "concert-steel")
    loaded = read.load(str(job))
    plan = dataclasses.replace(
        loaded.plan, outline=outline, thickness=thickness, ends=ends, slots=slots
    )
    loaded = dataclasses.replace(loaded, plan=plan)
    found, profile = design(loaded), changed(proving.machine_of(loaded, "light-router"))
    said = set(proving.foreseen(found, profile, Stage.ROUGH))
    assert said == planned(found, profile, Stage.ROUGH)
    assert said  # a machine changed so is worth a word


def test_nothing_is_foreseen_of_a_bench_without_programs():
    loaded = read.load(str(DEMO_JOBS[0]))
    for machine in ("hand-bench", "template-laser"):
        profile = proving.machine_of(loaded, machine)
        assert proving.foreseen(design(loaded), profile, Stage.ROUGH) == ()
