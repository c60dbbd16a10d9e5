"""Probes of slots and ends: views of heights that lie side by side for the replay."""

from dataclasses import replace

import numpy as np
import pytest

from blankcam.parts.stage import Stage
from blankcam.replay.deviation import probe_lines, slot_deviation
from blankcam.replay.reader import read_program
from blankcam.replay.sweep import replay_moves
from tests.replay.bench import MILL, NUT, STOCK, TOOLS, Groove
from tests.replay.test_reader import HEAD, TAIL

BOTH = frozenset({1, 2})


def test_all_probes_of_a_nut_lie_side_by_side_and_see_what_the_lane_sees():
    found = probe_lines(NUT, STOCK, BOTH)
    (lane,) = found.lanes
    assert (np.diff(lane.x) > 0).all()
    assert set(found.slots) == {1, 2}
    assert found.slots[1].x[[0, -1]] == pytest.approx((3 - 0.65, 3 + 0.65), abs=0.001)
    assert [e.x.mean() for e in found.ends] == pytest.approx((0, 12), abs=0.001)
    lane.z[:] = np.arange(len(lane.x))
    for each in (*found.slots.values(), *found.ends):
        assert lane.x[each.z[0].astype(int)].tolist() == each.x.tolist()


def test_slots_so_near_that_their_probes_overlap_are_put_in_two_lanes():
    near = replace(NUT, slots=(Groove(1, 3.0), Groove(2, 4.2)))
    found = probe_lines(near, STOCK, BOTH)
    assert len(found.lanes) == 2
    assert sum(len(lane.x) for lane in found.lanes) == sum(
        len(f.x) for f in (*found.slots.values(), *found.ends)
    )
    assert set(probe_lines(near, STOCK, frozenset({2})).slots) == {2}


def test_a_lane_with_gaps_is_lowered_as_each_probe_by_itself():
    text = HEAD.replace("T1\n", "T3\n") + (
        "G0 Z9\nG0 X-4 Y1\nG1 Z7.5 F100\nG18 G3 X16 Z7.4 R90\nG0 Z9\nG17 G0 Y2\nG0 X13\nG1 Z7\n"
        "X9 Z6.9\nX7 Z7.2\nX5\nX3.2 Z6.8\nX2.8 Y2.5\nG0 Z9"
    ) + TAIL  # fmt: skip
    got = read_program(text, MILL)
    assert got.findings == (), [str(f) for f in got.findings]
    tools = {t.number: t for t in TOOLS}
    together, apart = probe_lines(NUT, STOCK, BOTH), probe_lines(NUT, STOCK, BOTH)
    (lane,) = together.lanes
    replay_moves(lane, got.moves, tools, MILL)
    for one, other in zip(
        (*together.slots.values(), *together.ends), (*apart.slots.values(), *apart.ends),
        strict=True,
    ):  # fmt: skip
        replay_moves(other, got.moves, tools, MILL)
        assert one.z == pytest.approx(other.z, abs=1e-12)
        assert (one.z < STOCK.z1).any()


def test_a_slot_not_cut_at_all_is_too_high_by_all_that_stands():
    found = probe_lines(NUT, STOCK, BOTH).slots[1]
    got = slot_deviation(found, NUT.slots[0], NUT.at(Stage.FINAL))
    # the floor falls to the head by 7 degrees over 4.99 mm: 6.6 - tan 7 x 4.99 under 8.0
    assert got.floor_um == pytest.approx(1000 * (8.0 - 6.6 + 0.122785 * 4.99), abs=0.5)
    assert np.isinf(got.width_um)
