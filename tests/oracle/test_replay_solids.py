"""The replay beside a library of solid booleans (manifold3d): sweeps as hulls, cut from a box."""

import math
from itertools import pairwise

import numpy as np
import pytest

from blankcam.inputs.tool import Shape
from blankcam.parts.frames import Box
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.reader import read_program
from blankcam.replay.sweep import replay_moves
from tests.conftest import library
from tests.replay.bench import MILL, TOOLS
from tests.replay.dense import profile
from tests.replay.test_reader import HEAD, TAIL

pytestmark = pytest.mark.oracle
manifold3d = library("manifold3d")

STOCK = Box(x0=-1.0, x1=6.0, y0=-2.0, y1=3.0, z0=-4.0, z1=2.0)
PATH = [(0, 0, 0), (2, 1, -1), (3.5, 1, -1), (4.5, -0.5, 0.2), (4.5, 2, -0.4), (0, 2, 1.5)]
BY_SHAPE = {t.shape: t for t in (TOOLS[0], TOOLS[2], TOOLS[3], TOOLS[4])}


def solid_tool(tool, sides):
    """The tool as a convex solid with its corners on the true surface."""
    big = tool.diameter / 2
    radii = big * np.sin(np.linspace(0, math.pi / 2, sides // 4 + 1))
    if tool.shape is not Shape.BALL:
        ball = tool.tip_diameter / 2
        edge = ball * math.cos(math.radians(tool.angle / 2))
        radii = np.unique(np.r_[ball * np.sin(np.linspace(0, math.pi / 2, sides)), edge, ball, big])
        radii = radii[(radii <= edge) | (radii >= big) | (tool.shape is Shape.VEE)]
        radii = np.array([0.0, big]) if tool.shape is Shape.FLAT else radii
    heights = profile(tool, radii)
    ring = np.linspace(0, 2 * math.pi, sides, endpoint=False)
    points = [
        (r * math.cos(a), r * math.sin(a), h)
        for r, h in [*zip(radii, heights, strict=True), (big, 20.0)]
        for a in ring
    ]
    return manifold3d.Manifold.hull_points(np.array(points))


def removed(tool, sides):
    """Volume that hull sweeps of the tool take off the stock."""
    block = manifold3d.Manifold.cube(
        (STOCK.x1 - STOCK.x0, STOCK.y1 - STOCK.y0, STOCK.z1 - STOCK.z0)
    ).translate((STOCK.x0, STOCK.y0, STOCK.z0))
    body = solid_tool(tool, sides)
    sweeps = [
        manifold3d.Manifold.batch_hull([body.translate(a), body.translate(b)])
        for a, b in pairwise(PATH)
    ]
    swept = manifold3d.Manifold.batch_boolean(sweeps, manifold3d.OpType.Add)
    return block.volume() - (block - swept).volume()


@pytest.mark.parametrize("shape", BY_SHAPE)
def test_the_volume_taken_is_that_of_the_solids(shape):
    """Facets lie inside the true tool by a share of 1/n², so two counts give the limit."""
    tool = BY_SHAPE[shape]
    coarse, fine = removed(tool, 32), removed(tool, 64)
    limit = fine + (fine - coarse) / 3
    lines = [f"G1 X{x} Y{y} Z{z}" for x, y, z in PATH[1:]]
    text = HEAD.replace("T1\n", f"T{tool.number}\n") + "\n".join(lines) + TAIL
    got = read_program(text, MILL)
    assert got.findings == ()
    field = Heightmap.of(STOCK, 0.02, 0.02)
    replay_moves(field, got.moves.where(got.moves.cutting), {tool.number: tool}, MILL)
    mine = float((STOCK.z1 - field.z).sum()) * 0.02 * 0.02
    assert fine < mine
    assert mine == pytest.approx(limit, rel=4e-4)
