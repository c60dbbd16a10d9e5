"""Machine time of the demo jobs: against an earlier commit, and beside the least it could be."""

from __future__ import annotations

from itertools import pairwise

import pytest

from blankcam.inputs import job_file
from blankcam.inputs.machine import ToolChange
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.toolpath.timing import FLOOR, PAUSE, estimate
from blankcam.workflows.request import machine_of
from tests.benchmarks.least_time import least_seconds
from tests.conftest import demo_job
from tests.proved import plan_of

JOBS = (
    "concert-steel", "five-course-cittern", "left-classical", "phenolic-ukulele",
    "seven-string-classical", "short-courses", "wide-bass",
)  # fmt: skip
BEFORE = {"bench-mill": 13691.0, "light-router": 19281.0}
"""Seconds that these jobs took at commit a5c2417, both stages, tool changes and all."""
MOST = 1.5
"""Times the least with their tools that the demo jobs may take on a machine, all in all."""


@pytest.mark.benchmark
@pytest.mark.parametrize("machine", ["bench-mill", "light-router"])
def test_machine_time(machine, benchmark):
    """Seconds of every set-up, by the planner's own estimate: the same on any computer."""
    spent = chosen = any_tools = 0.0
    for name, took, least, bound in benchmark.pedantic(lambda: list(_set_ups(machine)), rounds=1):
        assert took > least > 0
        assert took > bound > 0
        spent, chosen, any_tools = spent + took, chosen + least, any_tools + bound
        row = f"{took:.0f} s, {least:.0f} s, {bound:.0f} s"
        benchmark.extra_info[name] = row
        print(f"| {name}, {machine} | {row} | {took / bound:.2f} |")
    print(f"{machine}: {spent:.0f} s, {spent / BEFORE[machine]:.3f} of the time at a5c2417,")
    print(f"{spent / chosen:.2f} times the least with these tools,")
    print(f"{spent / any_tools:.2f} times the least over every set of tools")
    benchmark.extra_info["share of the time at a5c2417"] = round(spent / BEFORE[machine], 3)
    benchmark.extra_info["times the least of any tools"] = round(spent / any_tools, 3)
    assert spent <= MOST * chosen


def _set_ups(machine):
    """Every set-up's name, its seconds, the least with its tools and the least with any.

    Tool changes and all; they count alike whether the programs are files for one tool each or not.
    """
    for name in JOBS:
        found = design(job_file.load(str(demo_job(name))))
        profile = machine_of(found.job, machine)
        for stage in Stage:
            for part in (found.nut, found.saddle):
                plan = plan_of(found, part, profile, stage)
                for setup in dict.fromkeys(p.setup for p in plan.programs):
                    some = [p for p in plan.programs if p.setup == setup]
                    took, least = _seconds(some, profile)
                    stem = f"{name}, {stage}, {part.name}, {setup}"
                    yield stem, took, least, least_seconds(plan, setup)


def _seconds(programs, profile):
    """How long the programs of a set-up take, and the least that they could with their tools."""
    operations = [o for p in programs for o in p.operations]
    times = [estimate(p, profile) for p in programs]
    calls = 1 + sum(a.tool.number != b.tool.number for a, b in pairwise(operations))
    changes = calls if profile.controller.tool_change is ToolChange.AUTOMATIC else calls - 1
    waits = changes * (profile.tool_change_seconds + PAUSE) + calls * profile.spin_up
    moving = FLOOR * sum(t.cutting + t.air for t in times)
    return moving + waits, FLOOR * sum(o.least for o in operations) + waits
