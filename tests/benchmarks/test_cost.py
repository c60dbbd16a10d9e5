"""What more strings and finer cells cost: planning, proof and memory; told, not judged."""

import dataclasses
import time
import tracemalloc

import pytest

from blankcam.data import table
from blankcam.inputs import job_file
from blankcam.parts.design import design
from blankcam.parts.frames import Box, Setup
from blankcam.parts.stage import Stage
from blankcam.replay import prove
from blankcam.replay.proof import ProgramText
from blankcam.workflows.cut_part import cut_part
from blankcam.workflows.request import blank_as_cut, machine_of, request_of
from tests.conftest import STEEL
from tests.proved import files_of, plan_of

ALONE = "long timings: pytest tests/benchmarks -n 0"
GAP = 7.2
"""mm between the strings of the widened boards."""


def strings(count):
    """The demo job on a board so wide that it takes that many strings, all alike."""
    job = job_file.load(str(STEEL))
    one = job.strings[3]
    wide = GAP * (count - 1) + job.nut.margin_bass + job.nut.margin_treble
    more = wide - job.board.width_at_nut
    board = dataclasses.replace(
        job.board,
        width_at_nut=wide,
        radius=dataclasses.replace(job.board.radius, nut=10_000.0, end=10_000.0),
    )
    blanks = dataclasses.replace(
        job.blanks,
        nut=dataclasses.replace(job.blanks.nut, length=job.blanks.nut.length + more),
        saddle=dataclasses.replace(
            job.blanks.saddle, length=job.blanks.saddle.length + more, height=14.0
        ),
    )
    saddle = dataclasses.replace(job.saddle, string_span=job.saddle.string_span + more,
                                 slot_length=job.saddle.slot_length + more)  # fmt: skip
    alike = tuple(dataclasses.replace(one, number=n) for n in range(count, 0, -1))
    return dataclasses.replace(job, strings=alike, board=board, blanks=blanks, saddle=saddle)


@pytest.mark.benchmark
@pytest.mark.parametrize("count", [4, 8, 12, 16, 24])
def test_strings(count, benchmark):
    if benchmark.disabled and count > 4:
        pytest.skip(ALONE)
    job = strings(count)
    profile = machine_of(job, "bench-mill")
    begun = time.perf_counter()
    found = design(job)
    designed = time.perf_counter() - begun
    made = benchmark.pedantic(cut_part, (request_of(found, "nut", profile, Stage.ROUGH),), rounds=1)
    assert made.proof.passed
    assert len(made.request.part.slots) == count
    benchmark.extra_info |= {"design, s": round(designed, 3), "lines": made.programs[-1].lines}


@pytest.mark.benchmark
@pytest.mark.parametrize("cells", [0.040, 0.020, 0.010, 0.005])
def test_cells(cells, benchmark):
    if benchmark.disabled and cells < 0.04:
        pytest.skip(ALONE)
    found = design(job_file.load(str(STEEL)))
    profile = machine_of(found.job, "bench-mill")
    plan = plan_of(found, found.nut, profile, Stage.ROUGH)
    texts = files_of(found, plan, profile)[: len(plan.programs)]  # those that cut
    given = [ProgramText(name=w.name, data=w.text, setup=Setup(p.setup))
             for w, p in zip(texts, plan.programs, strict=True)]  # fmt: skip
    blank = blank_as_cut(found, found.nut)
    over = (blank.length - found.nut.length) / 2
    stock = Box(x0=-over, x1=found.nut.length + over, y0=0.0, y1=blank.thickness, z0=0.0,
                  z1=blank.height)  # fmt: skip
    milled = frozenset(c.string for c in plan.slots if c.tool)

    def proof():
        return prove.prove(given, found.nut, stage=Stage.ROUGH, milled=milled, stock=stock,
                             profile=plan.request.machine, step=cells)  # fmt: skip

    got = benchmark.pedantic(proof, rounds=1)
    assert got.passed, got.faults
    tracemalloc.start()
    proof()
    peak = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    benchmark.extra_info |= {
        "peak, MB": round(peak),
        "deepest below, um": round(got.gouge_um, 2),
        "usual cells, um": 1000 * table("proof")["cells"]["step"],
    }
