"""Every bench gets a plan: random instruments, and machines that people own.

The laws are the project's own: a job is made, or refused only for a blank that is too small; the
proof, which knows nothing of the planning, finds nothing; nothing crashes.
"""

import itertools
import json
import os
from collections import Counter

import pytest

from blankcam.inputs import job_file, starter
from blankcam.outputs.tables.report import hand_records
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.workflows.layout import decided
from tests.conftest import first_then_long
from tests.plans.hobby_machines import MACHINES
from tests.plans.instruments import MACHINES as MACHINES_SHIPPED
from tests.plans.instruments import in_courses, instruments
from tests.plans.outcomes import Ending, outcome, profile, small
from tests.plans.started import started

QUICK, MANY, PARTS = 30, 500, 20
IN_COURSES = 32
FIRST = 1000
"""The seed of the first part where the environment names none."""
COARSE = 0.1
"""mm; cells of the proof for many jobs: heights are exact at each, slots and ends have probes."""
ENOUGH = 0.97
"""Share of the jobs made, or refused for a blank that is too small."""
TRIED = 5
"""Instruments of a seed among which one for a machine is looked for."""
STAGES_IN_TURN = ("rough", "final", "final")
"""Three of them over four machines: each material meets each machine, each machine both stages."""
OWNED = [name for name, _, _ in MACHINES]
QUICK_MACHINES = ("router, tapered ball",)


def judged(outcomes):
    """Assert the laws over jobs by their names; what went wrong is shown."""
    wrong = {
        name: found
        for name, found in outcomes.items()
        if found.ending in (Ending.UNPROVEN, Ending.CRASHED)
    }
    assert not wrong, wrong
    refused = {n: o.why for n, o in outcomes.items() if o.ending is Ending.REFUSED}
    assert 1 - len(refused) / len(outcomes) >= ENOUGH, refused
    counts = Counter(o.ending for o in outcomes.values())
    assert counts[Ending.MADE] > counts[Ending.SMALL]


def random_outcomes(seed, count, step):
    print(f"random instruments: seed {seed}")
    return {
        f"seed {seed}, number {i}": outcome(each.text, each.machine, each.stage, step)
        for i, each in enumerate(instruments(seed, count))
    }


def test_thirty_random_instruments_are_made():
    judged(random_outcomes(1, QUICK, COARSE))


@pytest.mark.long
@pytest.mark.parametrize("part", range(PARTS))
def test_many_random_instruments_are_made(part):
    """In parts that cores share; more: BLANKCAM_RANDOM_INSTRUMENTS=N; another seed:
    BLANKCAM_SEED=N.
    """
    seed = int(os.environ.get("BLANKCAM_SEED") or FIRST) + part
    count = int(os.environ.get("BLANKCAM_RANDOM_INSTRUMENTS", MANY))
    judged(random_outcomes(seed, count // PARTS, COARSE))


@pytest.mark.long
@pytest.mark.parametrize("part", range(4))
def test_twelve_strings_and_mandolins_of_hard_stuff_are_made(part):
    """Slots close together, thin tools, and what bends them most: brass and phenolic."""
    seed = int(os.environ.get("BLANKCAM_SEED") or FIRST) + part
    print(f"instruments in courses: seed {seed}")
    each = in_courses(seed, IN_COURSES // 4)
    judged({
        f"seed {seed}, number {i}": outcome(e.text, e.machine, e.stage, COARSE)
        for i, e in enumerate(each)
    })  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize("fit", ["hand", "snug"])
@pytest.mark.parametrize("kind", starter.KINDS)
def test_started_jobs_are_made(kind, fit):
    """As written, every typical value taken as measured, of what a nut is made of; stages in turn.

    Of each kind hand-fitted on every second pair of material and machine, snug on the others.
    """
    every = itertools.product(("bone", "brass", "phenolic laminate"), MACHINES_SHIPPED)
    each = zip(every, itertools.cycle(STAGES_IN_TURN), strict=False)
    begin = (list(starter.KINDS).index(kind) + (fit == "snug")) % 2
    judged({
        f"{material}, {machine}, {stage}": outcome(
            started(kind, material=material, fit=fit), machine, stage, COARSE
        )
        for (material, machine), stage in itertools.islice(each, begin, None, 2)
    })  # fmt: skip


def instrument_for(machine):
    """A job to try a machine with: another one for each of them, the same each time.

    The first of a seed whose blanks are large enough: what a machine can do is the question here.
    """
    each = instruments(OWNED.index(machine), TRIED)
    return next(e for e in each if not small(e.text))


@pytest.mark.parametrize("machine", QUICK_MACHINES)
def test_an_owned_machine_makes_what_it_can(machine):
    each = instrument_for(machine)
    judged({machine: outcome(each.text, machine, each.stage, COARSE)})


@pytest.mark.long
@pytest.mark.parametrize("machine", OWNED)
def test_every_owned_machine_makes_what_it_can(machine, steel):
    """An instrument of its own in that one's stage; on every second machine the six-string in the
    other stage.
    """
    each = instrument_for(machine)
    (other,) = {"rough", "final"} - {each.stage}
    tried = [(each.text, each.stage), (steel, other)][: 1 + OWNED.index(machine) % 2]
    judged({f"{machine}, {s}": outcome(text, machine, s, COARSE) for text, s in tried})


@pytest.mark.parametrize(
    ("machine", "made"),
    first_then_long([
        ("mill, one eighth flat", {"nut outline", "nut top", "saddle outline", "saddle ends"}),
        ("mill, flat and small ball",
         {"nut outline", "nut top", "saddle outline", "saddle crown", "saddle ends"}),
        ("mill, one small ball", {"nut top", "saddle crown"}),
        ("mill, six flat", {"nut outline", "nut top", "saddle outline"}),
    ]),
)  # fmt: skip
def test_a_small_set_of_tools_does_real_work(machine, made, steel):
    """What a hobby set can do of a steel-string's parts; common practice, no source."""
    found = outcome(steel, machine, "final", COARSE)
    assert found.ending is Ending.MADE, found
    assert made <= set(found.made), found


@pytest.fixture(scope="module")
def steel():
    from tests.conftest import demo_job

    return demo_job("concert-steel").read_text()


def test_the_report_lists_what_is_left_to_the_hand(steel):
    """Each row has a reason in words and as values; with features made, all are told once."""
    found = design(job_file.parse(steel, "job.toml"))
    parts = decided(found, profile("mill, one eighth flat"), Stage.FINAL)
    rows = [r for p in parts for r in hand_records(p.request.part.name, p.decisions)]
    json.dumps(rows)
    slots = [r["string"] for r in rows if r["feature"] == "slots"]
    assert sorted(slots) == [1, 2, 3, 4, 5, 6]
    assert {r["part"] for r in rows if r["feature"] == "slots"} == {"nut"}
    assert all(r["why"] and r["reasons"] and r["reasons"][0]["code"] for r in rows)
    ((reason,),) = (r["reasons"] for r in rows if r["string"] == 6)
    assert reason["code"] == "all too wide"
    assert reason["values"]["least"] == 3.175  # the only tool, 1/8 in
    # reference: slot width = (gauge + 0.003) in; the sixth string is 0.053 in
    assert reason["values"]["width"] == pytest.approx(0.056 * 25.4)
    made = {(p.request.part.name, d.feature.kind) for p in parts for d in p.decisions if d.tool}
    assert not made & {(r["part"], r["feature"]) for r in rows}
