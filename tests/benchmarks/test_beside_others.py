"""The replay beside a drop-cutter (opencamlib) and solid booleans (manifold3d) on the same work.

A drop-cutter asks how deep a tool may go over a surface. Upside down it is the replay's question:
what is left over a place is the height at which the tool, tip up, would rest on the path turned
upside down, laid as upright triangles. So both give one height a cell. Solids give a volume. Told,
not judged, but that all three agree:

    pytest tests/benchmarks/test_beside_others.py --benchmark-columns=min,rounds
"""

import math
import tracemalloc

import numpy as np
import pytest

from blankcam.parts.frames import Box
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.reader import read_program
from blankcam.replay.sweep import replay_moves
from tests.benchmarks.test_replay_speed import crown
from tests.conftest import library
from tests.replay.bench import MILL, TOOLS, slot_lines
from tests.replay.dense import profile
from tests.replay.test_reader import HEAD, TAIL

pytestmark = pytest.mark.benchmark
ocl = library("opencamlib")
manifold3d = library("manifold3d")
CELL = 0.02
SIDES = 32
WORKS = {  # program, the blank it is cut from, number of the ball
    "crown": (crown(passes=14, per=500), Box(x0=20, x1=21, y0=0, y1=3, z0=0, z1=10.5), 3),
    "slot": (
        HEAD.replace("T1\n", "T2\n") + "\n".join(["G0 Z9", *slot_lines(3.0, 6.6)]) + TAIL,
        Box(x0=2.2, x1=3.8, y0=0, y1=5, z0=0, z1=8),
        2,
    ),
}


def work_of(name):
    """The cutting moves that come near the blank, the blank and the ball."""
    text, stock, number = WORKS[name]
    got = read_program(text, MILL)
    assert got.findings == ()
    tool = {t.number: t for t in TOOLS}[number]
    m, r = got.moves, tool.diameter / 2
    low, high = np.minimum(m.start, m.end), np.maximum(m.start, m.end)
    near = m.cutting & (low[:, 0] < stock.x1 + r) & (high[:, 0] > stock.x0 - r)
    return m.where(near), stock, tool


def replayed(moves, stock, tool):
    field = Heightmap.of(stock, CELL, CELL)
    replay_moves(field, moves, {tool.number: tool}, MILL)
    return field.z


def dropped(moves, stock, tool):
    ground = ocl.STLSurf()
    for a, b in zip(moves.start, moves.end, strict=True):
        corners = ((*a[:2], -a[2]), (*b[:2], -b[2]), ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2, -50.0))
        ground.addTriangle(ocl.Triangle(*(ocl.Point(*map(float, c)) for c in corners)))
    drop = ocl.BatchDropCutter()
    drop.setSTL(ground)
    cutter = ocl.BallCutter(tool.diameter, 60)
    drop.setCutter(cutter)
    field = Heightmap.of(stock, CELL, CELL)
    for y in field.y:
        for x in field.x:
            drop.appendPoint(ocl.CLPoint(float(x), float(y), -stock.z1))
    drop.run()
    rest = np.array([p.z for p in drop.getCLPoints()]).reshape(field.z.shape)
    return np.minimum(field.z, -rest)


def left(moves, stock, tool):
    """Volume left of the blank, from hulls of the ball at both ends of each move."""
    big = tool.diameter / 2
    ring = np.linspace(0, math.tau, SIDES, endpoint=False)
    radii = big * np.sin(np.linspace(0, math.pi / 2, SIDES // 4 + 1))
    corners = [
        (r * math.cos(a), r * math.sin(a), h)
        for r, h in [*zip(radii, profile(tool, radii), strict=True), (big, 20.0)]
        for a in ring
    ]
    ball = manifold3d.Manifold.hull_points(np.array(corners))
    sweeps = [
        manifold3d.Manifold.batch_hull([ball.translate(tuple(p)) for p in ends])
        for ends in zip(moves.start.tolist(), moves.end.tolist(), strict=True)
    ]
    box = manifold3d.Manifold.cube(
        (stock.x1 - stock.x0, stock.y1 - stock.y0, stock.z1 - stock.z0)
    ).translate((stock.x0, stock.y0, stock.z0))
    return (box - manifold3d.Manifold.batch_boolean(sweeps, manifold3d.OpType.Add)).volume()


@pytest.mark.parametrize("how", ["replay", "drop-cutter", "solids"])
@pytest.mark.parametrize("work", WORKS)
def test_the_same_work(work, how, benchmark):
    given = work_of(work)
    function = {"replay": replayed, "drop-cutter": dropped, "solids": left}[how]
    got = benchmark.pedantic(function, given, rounds=1 if how != "replay" else 3)
    mine = replayed(*given)
    if how == "solids":  # facets lie inside the true ball: 32 sides leave a little more
        whole = float(mine.sum()) * CELL**2
        assert whole < got < whole * 1.01
    else:
        assert np.abs(got - mine).max() < 1e-5
    benchmark.extra_info["moves"] = len(given[0])
    benchmark.extra_info["cells"] = mine.size


def test_memory_of_the_whole_crown(benchmark):
    """What the replay of 20,000 moves over 80 by 3 mm asks for at most, beside its field."""
    moves = read_program(crown(), MILL).moves
    tools = {t.number: t for t in TOOLS}
    field = Heightmap.of(Box(x0=-1, x1=81, y0=0, y1=3, z0=0, z1=10.5), CELL, CELL)
    tracemalloc.start()
    benchmark.pedantic(replay_moves, (field, moves, tools, MILL), rounds=1)
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    benchmark.extra_info["MB"] = round(peak + field.z.nbytes / 1e6, 1)
    assert peak < 300
