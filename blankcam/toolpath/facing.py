"""A blank's upper face brought down to the thickness of the fit, lying on face.

Machine axes on face: X is the part's x, Y its z, Z its -y. Z0 is the finished face, so that the
part lies where it does without this operation and what is milled off stands above zero. Rows along
x are taken in turn from both edges up to the middle (``row_runs.inward``): the cutter climbs, and
every pass ends in air beside the blank where the next one begins.
"""

from __future__ import annotations

import math

from blankcam.data import table
from blankcam.inputs.tool import Tool
from blankcam.machining.feeds import Cut, Work, plan_cut
from blankcam.machining.row_runs import inward
from blankcam.machining.setup_sheet import Bench
from blankcam.machining.thickness import BESIDE
from blankcam.parts.frames import Box
from blankcam.toolpath.moves import Operation, ToolPath

STEP: float = table("cutting")["face"]["step"]
OVERLAP: float = table("cutting")["face"]["overlap"]
LAST: float = table("cutting")["face"]["last_layer"]


def thickness_operation(tool: Tool, bench: Bench) -> Operation:
    """The whole upper face down to zero; ``bench.stock.z1`` is what comes off."""
    stock = bench.stock
    cut = plan_cut(bench.material, tool, bench.profile, Work.SLOT)
    finish = plan_cut(bench.material, tool, bench.profile, Work.FINISH)
    path = ToolPath(bench.clearance)
    rows = _rows(stock, tool)
    layers = _layers(stock.z1, cut.depth, min(LAST, finish.depth))
    beside = tool.radius + BESIDE
    left, right = stock.x0 - beside, stock.x1 + beside
    for z in layers:
        for i, to_right in inward(len(rows)):
            start, end = (left, right) if to_right else (right, left)
            _beside(path, start, rows[i], z)
            path.line(cut.feed, x=end)
    path.leave()
    return Operation(
        name="thickness",
        words=f"upper face brought down {stock.z1:.3f} mm to the finished thickness",
        tool=tool,
        cut=cut,
        moves=tuple(path.moves),
        least=_least(stock, tool, cut, len(rows)),
    )


def _rows(stock: Box, tool: Tool) -> list[float]:
    """Y of the rows, those of the lower half first, from the edges inward.

    Each takes one step's width off what its neighbour on the outer side left; the innermost rows
    of both halves overlap.
    """
    width = stock.y1 - stock.y0 + OVERLAP
    count = max(2, math.ceil(width / (STEP * tool.diameter)))
    step = width / count
    low = [stock.y0 + step * (i + 1) - tool.radius for i in range((count + 1) // 2)]
    high = [stock.y1 - step * (i + 1) + tool.radius for i in range(count // 2)]
    return [*low, *reversed(high)]


def _layers(height: float, depth: float, last: float) -> list[float]:
    """Z of each layer from the top; the last one is thin."""
    rest = height - min(last, height)
    count = math.ceil(rest / depth - 1e-9)
    return [height - rest * k / count for k in range(1, count + 1)] + [0.0]


def _beside(path: ToolPath, x: float, y: float, z: float) -> None:
    """To the start of a pass; in air beside the blank, so straight where it already
    stands there.
    """
    if path.at[0] == x:
        path.rapid(y=y)
        path.rapid(z=z)
    else:
        path.over(x, y, z, path.clearance)


def _least(stock: Box, tool: Tool, cut: Cut, rows: int) -> float:
    long, wide = stock.x1 - stock.x0, stock.y1 - stock.y0
    waste = wide * max(stock.z1 - LAST, 0.0) / (tool.diameter * cut.depth)
    return 60 * long * (waste + rows) / cut.feed
