"""Every planted fault is caught, in a program written by hand; undamaged it passes."""

import pytest

from tests.faults.planted import FAULTS, damaged, right
from tests.replay.bench import edge_program, prove_edge

GOOD = edge_program()
# Only where the machine has length offsets, or coordinates of its own
NOT_HERE = {
    "another_length_offset", "parked_at_working_height", "not_parked", "a_safe_height_that_is_low",
}  # fmt: skip


def test_the_undamaged_program_passes():
    assert prove_edge(GOOD).passed


def test_there_are_enough_kinds():
    assert len(FAULTS) - len(NOT_HERE) >= 40


@pytest.mark.parametrize("name", sorted(set(FAULTS) - NOT_HERE))
def test_a_planted_fault_is_caught(name):
    text = damaged(GOOD, name)
    assert text is not None, "the hand-written program should have something of every kind"
    proof = prove_edge(text)
    assert not proof.passed
    assert {f.code for f in proof.faults} & right(name)


@pytest.mark.parametrize("name", sorted(NOT_HERE))
def test_what_the_program_has_not_is_not_damaged(name):
    assert damaged(GOOD, name) is None
