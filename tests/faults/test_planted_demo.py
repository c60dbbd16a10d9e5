"""Planted faults in the programs of the invented workshop's jobs: every one is caught."""

import pytest

from blankcam import proving
from blankcam.job import read as job_reader
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.replay.reader import read
from blankcam.replay.stock import Stock
from blankcam.replay.verdict import ProgramText, Setup, prove
from blankcam.writers import gcode
from tests.conftest import DEMO_JOBS
from tests.faults.planted import FAULTS, HARMLESS_AT_TIMES, damaged

MACHINES = ("bench-mill", "light-router")
CERTAIN = sorted(set(FAULTS) - HARMLESS_AT_TIMES)


@pytest.fixture(scope="module", params=["nut", "saddle"])
def made(request):
    """A part of the first demo job, its final program for each machine, and how to prove it."""
    job = job_reader.load(str(DEMO_JOBS[-1]))
    found = design(job)
    part = getattr(found, request.param)
    blank = proving.blank_as_cut(found, part)
    over = (blank.length - part.length) / 2
    stock = Stock(x0=-over, x1=part.length + over, y0=0.0, y1=blank.thickness, z0=0.0,
                  z1=blank.height)  # fmt: skip
    out = []
    for name in MACHINES:
        profile = proving.machine_of(job, name)
        plan = proving.plan_part(found, part, profile, Stage.FINAL)
        edge = next(p for p in plan.programs if p.setup == "edge")
        text = gcode.write(edge, profile, job.instrument.name, job.digest).text
        milled = frozenset(c.string for c in plan.slots if c.by == "mill")
        cuts = [(o.tool.number, o.cut) for o in edge.operations]
        more = {
            "stage": Stage.FINAL, "milled": milled, "stock": stock, "profile": profile,
            "plunge": {n: max(c.plunge for m, c in cuts if m == n) for n, _ in cuts},
            "depth": {n: max(c.depth for m, c in cuts if m == n) for n, _ in cuts},
            "step": 0.06,
        }  # fmt: skip
        out.append((text, part, more))
    return out


def proof_of(text, part, more):
    return prove([ProgramText(name="edge.ngc", data=text, setup=Setup.EDGE)], part, **more)


def test_undamaged_they_pass(made):
    for text, part, more in made:
        proof = proof_of(text, part, more)
        assert proof.passed, [str(f) for f in proof.faults]


@pytest.mark.parametrize("name", CERTAIN)
def test_a_planted_fault_is_caught(made, name):
    tried = 0
    for text, part, more in made:
        bad = damaged(text, name)
        if bad is None:
            continue
        tried += 1
        # What the reader faults needs no replay: prove passes nothing that has a finding
        assert read(bad, more["profile"]).findings or not proof_of(bad, part, more).passed
    if not tried:
        pytest.skip("nothing of the kind in these programs")
