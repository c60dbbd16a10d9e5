"""What the proof of each demo program costs beside planning and writing it, in one run.

Wanted: at most three times as much. Told, not judged:

    pytest tests/benchmarks/test_proof_cost.py --benchmark-columns=min --benchmark-verbose
"""

import time

import pytest

from blankcam.inputs import job_file
from blankcam.parts.design import design
from blankcam.parts.part import Stage
from blankcam.workflows import cut_part
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
    profile, part = cut_part.machine_of(found.job, "bench-mill"), getattr(found, name)
    plan = cut_part.plan_part(found, part, profile, Stage.ROUGH)
    texts = {w.file: w.text for w in cut_part.written(found, plan, profile)}

    def planned():
        plan = cut_part.plan_part(found, part, profile, Stage.ROUGH)
        return cut_part.written(found, plan, profile)

    def proven():
        return cut_part._proof(found, part, plan, profile, Stage.ROUGH, texts, {})

    proof = benchmark.pedantic(proven, rounds=1)
    assert proof.passed
    if benchmark.stats:
        ratio = least(2, proven) / least(2, planned)
        benchmark.extra_info["times planning and writing"] = round(ratio, 2)
