"""Full-round ends of a saddle, cut on edge down to just over the jaws.

Each end is one arc of the tool's centre around the middle of the end, in air from the face toward
the tail to air behind the other face: clockwise around the part, which is climbing.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from blankcam.inputs.machine import Holding
from blankcam.inputs.tool import Tool
from blankcam.machining.ends import lowest
from blankcam.machining.feeds import Work, needs_spring_pass, plan_cut
from blankcam.machining.setup_sheet import BESIDE, HOP, STANDING, Bench
from blankcam.parts.part import Part
from blankcam.toolpath.moves import ArcMove, Operation, ToolPath


def ends_operation(
    part: Part,
    tool: Tool,
    bench: Bench,
    held: Holding,
    highest: Callable[[float, float], float],
) -> Operation:
    """Both ends in levels from what stands there down to over the jaws.

    ``highest`` tells how high what stands is at most from one x to another. The levels go to and
    fro: a round end runs out along the faces, where nothing breaks out. A spring pass follows where
    they bend the tool too far.
    """
    cut = plan_cut(bench.material, tool, bench.profile, Work.SLOT)
    path = ToolPath(bench.clearance)
    r = part.thickness / 2
    x0, x1 = bench.stock.x0, bench.stock.x1
    hop, deep = highest(x0, x1) + HOP, 0.0
    # The first level clockwise seen from above: the left end toward the head, the right end back
    for x, outward in ((r, 1.0), (part.length - r, -1.0)):
        near = (x0, x + tool.radius) if outward > 0 else (x - tool.radius, x1)
        top = highest(*near) + STANDING
        depth = top - lowest(held)
        levels = max(1, math.ceil(depth / cut.depth))
        deep += depth
        spring = needs_spring_pass(bench.material, tool, bench.profile, depth / levels)
        for k in range(1, levels + 1 + spring):
            z, clockwise = top - depth * min(k / levels, 1.0), k % 2 == 1
            out = outward if clockwise else -outward
            begin, end = (r - out * (r + tool.radius), r + out * (r + tool.radius))
            path.over(x, _air(begin, -out, bench, tool), z, hop)
            path.line(cut.feed, y=begin)
            to = (x, end, z)
            path.moves.append(ArcMove(to, (x, r), "G17", clockwise=clockwise, feed=cut.feed))
            path.at = to
            path.line(cut.feed, y=_air(end, out, bench, tool))
    path.leave()
    return Operation(
        name="ends",
        words=f"round ends down to {lowest(held):.2f} mm over the seat side",
        tool=tool,
        cut=cut,
        moves=tuple(path.moves),
        least=60 * math.pi * (r + tool.radius) * deep / cut.depth / cut.feed,
    )


def _air(y: float, out: float, bench: Bench, tool: Tool) -> float:
    """Further out than y and clear of the blank, which may be thicker than the part."""
    stock = bench.stock
    face = stock.y1 + tool.radius if out > 0 else stock.y0 - tool.radius
    return (max(y, face) if out > 0 else min(y, face)) + out * BESIDE
