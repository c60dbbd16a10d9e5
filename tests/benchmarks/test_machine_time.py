"""Machine time of the demo jobs beside the least their cutting could take."""

from __future__ import annotations

import pytest

from blankcam import proving
from blankcam.cutting.duration import estimate
from blankcam.job import read
from blankcam.machine.read import read_profile
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from tests.conftest import DEMO_JOBS


@pytest.mark.benchmark
@pytest.mark.parametrize("path", DEMO_JOBS, ids=lambda p: p.stem)
def test_machine_time(path, benchmark):
    """The ratio wanted is 1.5 or less; here only told, except that nothing beats its bound."""
    found, profile = design(read.load(str(path))), read_profile("bench-mill")

    def planned():
        parts = (found.nut, found.saddle)
        return [
            p
            for part in parts
            for p in proving.plan_part(found, part, profile, Stage.ROUGH).programs
        ]

    programs = benchmark.pedantic(planned, rounds=1)
    for program in programs:
        took, least = estimate(program, profile), sum(o.least for o in program.operations)
        assert took.cutting > least > 0
        ratio = (took.cutting + took.air) / least
        benchmark.extra_info[program.stem] = f"{took.cutting + took.air:.0f} s, {ratio:.2f}"
