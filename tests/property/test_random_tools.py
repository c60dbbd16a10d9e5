"""Whatever tools a machine has: refused in words, and foreseen, or proven.

The laws are the project's own: the proof measures every cut on a replayed blank and knows nothing
of how the plan reckons.
"""

import dataclasses

import pytest
from hypothesis import event, example, given
from hypothesis import strategies as st

from blankcam.faults import InputError, RefusedError
from blankcam.inputs import job_file
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.workers import Worker
from blankcam.workflows import layout
from blankcam.workflows.cut_part import cut_parts
from blankcam.workflows.request import machine_of
from tests.conftest import DEMO_JOBS, by_chance, demo_job

MATERIALS = ("bone", "phenolic laminate", "hardwood", "brass", "hard plastic")
JOBS = tuple(sorted(p.stem for p in DEMO_JOBS))


def scaled(tool, wide, long, flutes):
    diameter, reach = tool.diameter * wide, max(tool.reach, tool.flute_length) * long
    return dataclasses.replace(
        tool,
        diameter=diameter,
        shank=max(tool.shank, diameter),
        flute_length=tool.flute_length * long,
        reach=reach,
        stick_out=max(reach, tool.stick_out),
        flutes=flutes,
    )


def in_words(refused):
    event("refused")
    assert all(f.wrong and f.key and f.fix for f in refused.faults)


@pytest.mark.property
@pytest.mark.long
@by_chance("BLANKCAM_RANDOM_TOOLS", 3)
# A ball opened the waste over a slot and left its round; a top down a slope at its upper face
@example("short-courses", "light-router", Stage.ROUGH, "hardwood", ("saw", "mill"), 1.0, 0.7, 3)
@example("short-courses", "light-router", Stage.ROUGH, "hardwood", ("saw", "mill"), 1.3, 1.0, 3)
@example("short-courses", "light-router", Stage.FINAL, "hardwood", ("saw", "file"), 1.3, 1.0, 3)
@example("phenolic-ukulele", "bench-mill", Stage.ROUGH, "phenolic laminate", ("mill", "mill"),
         1.0, 0.7, 2)  # fmt: skip
@given(
    st.sampled_from(JOBS),
    st.sampled_from(["bench-mill", "light-router"]),
    st.sampled_from(list(Stage)),
    st.sampled_from(MATERIALS),
    st.tuples(st.sampled_from(["mill", "saw"]), st.sampled_from(["mill", "file"])),
    st.sampled_from([0.8, 0.9, 1.0, 1.1, 1.3]),
    st.sampled_from([0.7, 1.0, 1.2, 1.6]),
    st.integers(1, 4),
)
def test_any_tools_make_a_proven_part_or_are_refused_in_words(
    name, machine, stage, material, by, wide, long, flutes
):
    job = job_file.load(str(demo_job(name)))
    blanks = dataclasses.replace(job.blanks, material=material)
    plan = dataclasses.replace(job.plan, outline=by[0], slots=by[1])
    job = dataclasses.replace(job, blanks=blanks, plan=plan)
    profile = machine_of(job, machine)
    tools = tuple(scaled(t, wide, long, flutes) for t in profile.tools)
    profile = dataclasses.replace(profile, tools=tools)
    try:
        found = design(job)
    except (RefusedError, InputError) as fault:
        in_words(fault)
        return
    told = {str(f) for part in layout.decided(found, profile, stage) for f in part.faults}
    try:
        made = cut_parts(found, profile, stage, Worker())
    except (RefusedError, InputError) as fault:
        in_words(fault)
        refused = {str(f) for f in fault.faults}
        assert refused == told
        return
    event("made")
    assert not told
    for part in made:
        assert part.proof.passed, [str(f) for f in part.proof.faults[:3]]
