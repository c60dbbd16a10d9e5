"""How fast a move goes down, and how deep into stock: against samples and by hand."""

import math

import numpy as np
import pytest

from blankcam.parts.frames import Box
from blankcam.replay import engagement
from blankcam.replay.engagement import fastest_down, plunged
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.motions import PLANE_AXES, MoveKind
from blankcam.replay.reader import read_program
from blankcam.replay.tool_profile import tool_profile_of
from tests.replay.bench import MILL, TOOLS
from tests.replay.dense import arc, path
from tests.replay.test_reader import HEAD, TAIL

FLAT, BALL = TOOLS[0], TOOLS[2]


def last_move(line, *before):
    got = read_program(HEAD + "\n".join((*before, line)) + TAIL, MILL)
    assert not got.findings
    return got.moves, len(got.moves) - 2


@pytest.mark.parametrize(
    ("before", "line"),
    [
        ([], "X3 Y4 Z-1"),
        ([], "X3 Z1"),
        ([], "Z-2"),
        ([], "G2 X2 Y0 Z-1 I1 J0"),  # a helix of half a turn
        ([], "G3 X2 Y0 Z1 I1 J0"),
        (["G18"], "G2 X2 Z0 I1 K0"),  # over the top
        (["G18"], "G3 X2 Z0 I1 K0"),  # through the bottom
        (["G18"], "G2 X1 Z1 I1 K0"),  # up a quarter
        (["G18"], "G3 X1 Z-1 I1 K0"),  # down a quarter
        (["G18"], "G2 X1 Z-1 I-3 K-4"),
        (["G19"], "G2 Y2 Z0 J1 K0"),
        (["G19"], "G3 Y2 Z0 J1 K0"),
        (["G19"], "G3 Y1 Z-1 J1 K0"),
        (["G19"], "G2 Y1 Z1 J1 K0"),
    ],
)
def test_the_fastest_fall_of_a_move(before, line):
    """Against dense samples of the same path, shares of the step along Z."""
    moves, i = last_move(line, *before)
    points = path(moves.start[i], moves.end[i], 4000)
    if moves.is_arc[i]:
        axes = PLANE_AXES[int(moves.plane[i])]
        points = arc(moves.start[i], moves.end[i], moves.centre[i],
                     moves.kind[i] == MoveKind.ARC_CCW, axes, 4000)  # fmt: skip
    step = np.diff(points, axis=0)
    share = (-step[:, 2] / np.linalg.norm(step, axis=1)).max()
    assert fastest_down(moves)[i] == pytest.approx(100 * max(share, 0.0), abs=0.1)


def full(high=0.0):
    return Heightmap.of(Box(x0=-8, x1=8, y0=-8, y1=8, z0=-10, z1=high), 0.1, 0.1)


def deep(line, *before, heightmap=None, tool=FLAT, limit=10.0):
    moves, i = last_move(line, *before)
    return plunged(heightmap or full(), tool_profile_of(tool), moves, i, limit)


def test_straight_down_into_stock():
    assert deep("Z-0.5") == pytest.approx((0.5, 100.0))


def test_down_in_air_meets_nothing():
    assert deep("Z-0.5", heightmap=full(-0.5)) == (0.0, 0.0)
    assert deep("Z-0.5", heightmap=full(-0.3)) == pytest.approx((0.2, 100.0), abs=0.012)


def test_a_slant_of_eight_and_a_half_degrees_off_the_vertical():
    """Its share along Z is cos 8.5 = 0.989: a check of the move's angle would pass it."""
    aside = 0.5 * math.tan(math.radians(8.5))
    found, fast = deep(f"X{aside:.4f} Z-0.5")
    assert found == pytest.approx(0.5)
    assert fast == pytest.approx(100 * math.cos(math.radians(8.5)), abs=0.1)


def test_a_slow_fall_is_no_plunge():
    assert deep("X4 Z-0.2") == (0.0, 0.0)  # 5 mm/min down of 100


def test_a_quarter_arc_down_counts_only_where_it_is_too_fast():
    """G18, radius 1: at an angle a from its start the fall is cos a of the feed, 1 - sin a left."""
    found, fast = deep("G3 X1 Z-1 I1 K0", "G18", limit=80.0)
    assert found == pytest.approx(math.sin(math.acos(0.8)), abs=0.04)
    assert fast == pytest.approx(100.0, abs=0.5)


def test_down_a_slope_that_is_as_deep_all_along_meets_nothing_with_the_tip():
    slope = full()
    slope.z[:] = 0.3 - 0.3 * slope.x  # falls 0.3 mm per mm along x, 0.3 mm over the path
    moved, _ = deep("X4 Z-1.2", heightmap=slope, tool=BALL)
    assert moved < 0.035  # the cells of this slope are 0.03 mm apart


def test_a_wall_met_from_the_side_is_not_plunged_into():
    wall = full(-9.0)
    behind = wall.x > 3.0
    wall.z[:, behind] = (0.3 - wall.x / 3)[behind]  # as steep as the path, 0.3 mm over it
    found, _ = deep("X6 Z-2", heightmap=wall, tool=BALL)
    assert found < 0.15  # its round front comes into the layer over 0.9 mm, falling all the while
    assert deep("X6 Z-2", heightmap=full(), tool=BALL)[0] > 1.5  # into level stock instead


def test_the_rim_of_a_flat_meets_what_its_middle_does_not():
    ledge = full(-9.0)
    ledge.z[:, ledge.x > 1.0] = 0.0
    assert deep("Z-0.5", heightmap=ledge)[0] == pytest.approx(0.5)  # radius 1.5 reaches over x 1
    ledge.z[:, ledge.x < 1.6] = -9.0
    assert deep("Z-0.5", heightmap=ledge) == (0.0, 0.0)


def test_the_half_of_the_end_that_goes_ahead_meets_what_its_middle_does_not():
    """Falling less than it goes on, from over a ledge down into it; what is behind was
    cut before.
    """
    ledge = full(-9.0)
    ledge.z[:, ledge.x > 1.3] = 0.0
    found, _ = deep("X1 Z-0.5", heightmap=ledge)
    assert found == pytest.approx(0.5, abs=0.02)
    ledge.z[:] = np.where(ledge.x < -0.7, 0.0, -9.0)
    assert deep("X1 Z-0.5", heightmap=ledge)[0] < 0.02


def test_a_heightmap_of_one_cell_is_that_high_everywhere():
    one = Heightmap(np.array([0.0]), np.array([0.0]), np.array([[2.0]]))
    found = engagement._heights_at(one, np.array([-50.0, 0.0, 50.0]), np.zeros(3))
    assert found.tolist() == [2.0, 2.0, 2.0]


def test_the_height_at_a_place_is_that_of_its_cell():
    """By the nearest centre, and nothing half a cell beyond the outermost."""
    x, y = np.linspace(0.05, 9.95, 100), np.linspace(0.2, 3.8, 10)
    cells = Heightmap(x, y, np.arange(1000.0).reshape(10, 100))
    chance = np.random.default_rng(3)
    at_x, at_y = chance.uniform(-0.5, 10.5, 500), chance.uniform(-0.5, 4.5, 500)
    got = engagement._heights_at(cells, at_x, at_y)
    inside = (np.abs(at_x - 5.0) <= 5.0) & (np.abs(at_y - 2.0) <= 2.0)
    rows = np.abs(at_y[:, None] - y).argmin(axis=1)
    columns = np.abs(at_x[:, None] - x).argmin(axis=1)
    assert got.tolist() == np.where(inside, cells.z[rows, columns], -np.inf).tolist()
