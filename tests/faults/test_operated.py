"""Damage to feeds, states, stops, starts and tabs is caught by the right finding, job by job."""

import pytest

from blankcam.replay.codes import Code
from tests.conftest import DEMO_JOBS
from tests.faults.operated import OPERATED
from tests.faults.workshop import MACHINES, case

SHARE = [(0, "bench-mill", "nut"), (0, "light-router", "nut")]
ALL = [
    (job, machine, kind)
    for job in range(len(DEMO_JOBS))
    for machine in MACHINES
    for kind in ("nut", "outlined saddle")
]


def caught(made, fault):
    """How many of the case's programs have something of the kind; each must be caught."""
    damage, code, setups = OPERATED[fault]
    tried = 0
    for name in made.names():
        if not any(f"-{setup}" in name for setup in setups):
            continue
        bad = damage(made.text(name).split("\n"), made)
        if bad is not None:
            tried += 1
            # A speed outside the machine's range is found before any feed is reckoned with
            right = {code, Code.SPEED} if code is Code.CHIP else {code}
            assert right & made.codes(name, "\n".join(bad)), (name, code)
    return tried


@pytest.mark.parametrize(("job", "machine", "kind"), SHARE)
@pytest.mark.parametrize("fault", sorted(OPERATED))
def test_what_the_operator_acts_on_is_judged(job, machine, kind, fault):
    if not caught(case(job, machine, kind), fault):
        pytest.skip("nothing of the kind in these programs")


@pytest.mark.long
@pytest.mark.parametrize(("job", "machine", "kind"), ALL)
@pytest.mark.parametrize("fault", sorted(OPERATED))
def test_in_every_job_and_on_both_mills(job, machine, kind, fault):
    if not caught(case(job, machine, kind), fault):
        pytest.skip("nothing of the kind in these programs")
