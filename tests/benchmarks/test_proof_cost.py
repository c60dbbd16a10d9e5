"""What the proof of each demo program costs beside planning and writing it, in one run.

Wanted: at most three times as much. Told, not judged:

    pytest tests/benchmarks/test_proof_cost.py --benchmark-columns=min --benchmark-verbose
"""

import time

import pytest

from blankcam.inputs import job_file
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.workflows.cut_part import proven, write_part
from blankcam.workflows.request import machine_of, request_of
from tests.conftest import EACH_DEMO_JOB


def least(rounds, function):
    """Least processor time of some rounds, s."""
    spent = []
    for _ in range(rounds):
        begun = time.process_time()
        function()
        spent.append(time.process_time() - begun)
    return min(spent)


@pytest.mark.benchmark
@pytest.mark.parametrize("name", ["nut", "saddle"])
@pytest.mark.parametrize("path", EACH_DEMO_JOB)
def test_proof_beside_planning(path, name, benchmark):
    found = design(job_file.load(str(path)))
    profile = machine_of(found.job, "bench-mill")
    asked = request_of(found, name, profile, Stage.ROUGH)
    written = write_part(asked)

    def planned():
        return write_part(asked)

    def proved():
        return proven(written).proof

    proof = benchmark.pedantic(proved, rounds=1)
    assert proof.passed
    if benchmark.stats:
        ratio = least(2, proved) / least(2, planned)
        benchmark.extra_info["times planning and writing"] = round(ratio, 2)
