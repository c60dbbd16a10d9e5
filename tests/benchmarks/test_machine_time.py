"""Machine time of the demo jobs beside the least their cutting could take."""

from __future__ import annotations

import pytest

from blankcam import proving
from blankcam.cutting.duration import estimate
from blankcam.job import read
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from tests.conftest import DEMO_JOBS


@pytest.mark.benchmark
@pytest.mark.parametrize("machine", ["bench-mill", "light-router"])
@pytest.mark.parametrize("path", DEMO_JOBS, ids=lambda p: p.stem)
def test_machine_time(path, machine, benchmark):
    """The ratio wanted is 1.5 or less; here only told, except that nothing beats its bound."""
    found = design(read.load(str(path)))
    profile = proving.machine_of(found.job, machine)

    def planned():
        return [
            (stage, program)
            for stage in Stage
            for part in (found.nut, found.saddle)
            for program in proving.plan_part(found, part, profile, stage).programs
        ]

    for stage, program in benchmark.pedantic(planned, rounds=1):
        took, least = estimate(program, profile), sum(o.least for o in program.operations)
        assert took.cutting > least > 0
        row = (round(took.cutting), round(took.air), round(least))
        ratio = (took.cutting + took.air) / least
        benchmark.extra_info[f"{program.stem}, {stage}"] = "{} + {} s, {} s".format(*row)
        cells = (path.stem, machine, stage, program.stem, *row, f"{ratio:.2f}")
        print("| " + " | ".join(map(str, cells)) + " |")
