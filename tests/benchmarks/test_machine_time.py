"""Machine time of the demo jobs beside the least their cutting could take."""

from __future__ import annotations

import pytest

from blankcam.inputs import job_file
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.toolpath.timing import estimate
from blankcam.workflows.request import machine_of
from tests.conftest import DEMO_JOBS
from tests.proved import plan_of

MOST = 1.5
"""Times the bound that the demo jobs may take on a machine, all in all."""


@pytest.mark.benchmark
@pytest.mark.parametrize("machine", ["bench-mill", "light-router"])
def test_machine_time(machine, benchmark):
    """Seconds of every program, by the planner's own estimate: the same on any computer."""
    jobs = [(path.stem, design(job_file.load(str(path)))) for path in DEMO_JOBS]

    def planned():
        for name, found in jobs:
            profile = machine_of(found.job, machine)
            for stage in Stage:
                for part in (found.nut, found.saddle):
                    plan = plan_of(found, part, profile, stage)
                    yield from ((name, profile, stage, program) for program in plan.programs)

    spent = bound = 0.0
    for name, profile, stage, program in benchmark.pedantic(lambda: list(planned()), rounds=1):
        took, least = estimate(program, profile), sum(o.least for o in program.operations)
        assert took.cutting > least > 0
        spent, bound = spent + took.cutting + took.air, bound + least
        row = (round(took.cutting), round(took.air), round(least))
        benchmark.extra_info[f"{name}, {stage}, {program.stem}"] = "{} + {} s, {} s".format(*row)
        ratio = (took.cutting + took.air) / least
        print("|", " | ".join(map(str, (name, machine, stage, program.stem, *row))), end="")
        print(f" | {ratio:.2f} |")
    assert spent <= MOST * bound
