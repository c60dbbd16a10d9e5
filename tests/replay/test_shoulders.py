"""Slots whose shoulders were opened down to the part's own top before they were cut."""

import pytest

from blankcam.parts.stage import Stage
from blankcam.replay.codes import Code
from tests.replay.bench import RADIUS, WasteNut, edge_program, prove_edge, slot_lines

BESIDE = 0.4
"""mm from a slot's middle to each pass of the 3 mm ball that opens the waste over it."""


def opened(lower=0.0):
    """Passes along both slots that touch the part's own top at the height of each pass."""
    places = [c + s * BESIDE for c in (3.0, 9.0) for s in (-1, 1)]
    # The ball about the top's circle: its centre keeps 1.5 mm off
    tip = [7.4 - RADIUS + ((RADIUS + 1.5) ** 2 - (x - 6) ** 2) ** 0.5 - 1.5 for x in places]
    return [(x, z - lower) for x, z in zip(places, tip, strict=True)]


def prove(clear, first, *, more=(), stage=Stage.ROUGH):
    """Slot 1 made by passes at each place of ``first``, slot 2 as it should be."""
    lines = [line for x in first for line in slot_lines(x, 6.6, 0.2)] + slot_lines(9.0, 6.5, 0.2)
    text = edge_program(0.2, waste=0.4, clear=clear, grooves=[*lines, *more])
    proof = prove_edge(text, part=WasteNut(), stage=stage)
    return proof, {f.code for f in proof.faults}


def test_opened_down_to_the_parts_own_top_a_good_slot_is_good():
    proof, codes = prove(opened(), (3.0,))
    assert proof.passed, codes
    for slot in proof.slots:
        assert abs(slot.centre_um) < 1.0
        assert abs(slot.width_um) < 1.5


def test_with_the_waste_standing_it_is_measured_the_same():
    (opened_up, _), (standing, _) = prove(opened(), (3.0,)), prove((), (3.0,))
    assert standing.passed
    for a, b in zip(opened_up.slots, standing.slots, strict=True):
        assert a.width_um == pytest.approx(b.width_um, abs=1.5)
        assert a.centre_um == pytest.approx(b.centre_um, abs=1.0)
        assert a.floor_um == pytest.approx(b.floor_um, abs=0.1)


@pytest.mark.parametrize("clear", [(), opened()], ids=["standing", "opened"])
@pytest.mark.parametrize("off", [-0.008, 0.008])
def test_a_slot_too_wide_is_found(clear, off):
    """Two runs of the ball 8 µm apart: 8 µm too wide is within 10, and off centre by 4 within 5."""
    proof, codes = prove(clear, (3.0, 3.0 + off))
    assert proof.slots[0].width_um == pytest.approx(8, abs=1.5)
    assert Code.WIDTH not in codes
    proof, codes = prove(clear, (3.0, 3.0 + 1.5 * off))
    assert proof.slots[0].width_um == pytest.approx(12, abs=1.5)
    assert Code.WIDTH in codes


@pytest.mark.parametrize("clear", [(), opened()], ids=["standing", "opened"])
@pytest.mark.parametrize(("off", "good"), [(0.004, True), (0.006, False), (-0.006, False)])
def test_a_slot_off_centre_is_found(clear, off, good):
    proof, codes = prove(clear, (3.0 + off,))
    assert proof.slots[0].centre_um == pytest.approx(1000 * off, abs=1.0)
    assert (Code.CENTRE not in codes) is good


@pytest.mark.parametrize("over", [0.1, 0.3])
def test_a_much_wider_slot_is_found_though_its_shoulders_are_gone(over):
    """Walls so far out that nothing stands where the part's own shoulders should."""
    proof, codes = prove(opened(), (3.0 - over / 2, 3.0, 3.0 + over / 2))
    assert proof.slots[0].width_um > 0.5 * 1000 * over
    assert {Code.WIDTH, Code.GOUGE} <= codes


def test_shoulders_opened_too_low_are_a_gouge():
    assert Code.GOUGE not in prove(opened(0.004), (3.0,))[1]
    _, codes = prove(opened(0.05), (3.0,))
    assert Code.GOUGE in codes


def test_shoulders_cut_away_leave_no_slot_to_measure():
    """Opened down to the slot's own floor: the wall that should stand is not there."""
    proof, codes = prove(opened(0.45), (3.0,))
    assert {Code.GOUGE, Code.WIDTH} <= codes
    assert not abs(proof.slots[0].width_um) < 1000
