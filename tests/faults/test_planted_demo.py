"""Planted faults in the programs of the invented workshop's jobs: every one is caught.

A program of many passes may bear some damage: another pass does the same, an arc is nearly
straight, a dropped retract runs in air, a cut on face goes deeper into the carrier. What the proof
lets pass must then be whole by an own, slow look (``own_look``): no list says what is harmless.
"""

import pytest

from tests.conftest import DEMO_JOBS, OUTSIDE
from tests.faults.own_look import wrong
from tests.faults.planted import FAULTS, RIGHT, damaged, right
from tests.faults.workshop import case

pytestmark = pytest.mark.long
SHARE = [(0, "bench-mill", "nut"), (2, "light-router", "saddle"), (3, "light-router", "thick nut")]
WAYS = (
    (("bench-mill", "nut"), ("light-router", "saddle")),
    (("light-router", "sawn nut"), ("bench-mill", "outlined saddle")),
    (("light-router", "nut"), ("bench-mill", "saddle")),
)
ALL = [
    (job, machine, kind)
    for job in range(len(DEMO_JOBS))
    for machine, kind in WAYS[job % len(WAYS)]
] + [(3, "light-router", "thick nut")]  # fmt: skip
"""A nut and a saddle of every job, by every way to make them on either machine."""
CASES = [
    pytest.param(*each, fault, id="-".join(map(str, (fault, *each))))
    for at, each in enumerate(ALL if OUTSIDE else SHARE)
    for turn, fault in enumerate(sorted(FAULTS))
    if each in SHARE or (at + turn) % 3 == 0
]
"""Every fault in a share of the programs; in CI in those of all jobs too, there every third one in
turn.
"""


@pytest.mark.parametrize(("job", "machine", "kind"), ALL)
def test_undamaged_they_pass(job, machine, kind):
    proof = case(job, machine, kind).proof()
    assert proof.passed, [str(f) for f in proof.faults]


@pytest.mark.parametrize(("job", "machine", "kind"), SHARE)
def test_the_own_look_finds_them_whole_and_can_tell(job, machine, kind):
    made = case(job, machine, kind)
    for name in made.names():
        text = made.text(name)
        assert wrong(made, name, text) == []
        harm = "zero_off_along_x" if "-face" in name else "zero_too_low"
        assert "gouge" in wrong(made, name, damaged(text, harm))


@pytest.mark.parametrize(("job", "machine", "kind", "fault"), CASES)
def test_a_planted_fault_is_caught_by_the_right_finding(job, machine, kind, fault):
    made, tried = case(job, machine, kind), 0
    for name in made.names():
        bad = damaged(made.text(name), fault)
        if bad is None:
            continue
        tried += 1
        found = made.codes(name, bad)
        if found or fault in RIGHT:
            assert found & right(fault), found
        else:
            assert wrong(made, name, bad) == []
    if not tried:
        pytest.skip("nothing of the kind in these programs")
