"""A nut's front milled back around its slots: an upright step from the top to under the floor.

The tool goes down in the air before the front, into the step along its right wall, along its back
to the left, and out along its left wall: the work is on its right all the way, which is climbing,
and what little could break out breaks into the air before the front.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from blankcam.inputs.tool import Tool
from blankcam.machining import front
from blankcam.machining.decision import Decision
from blankcam.machining.on_edge import height_left
from blankcam.machining.setup_sheet import HOP, STANDING, Bench
from blankcam.parts.part import Part
from blankcam.parts.slot import Slot
from blankcam.toolpath.moves import Operation, ToolPath


def front_operation(
    nut: Part, choices: Sequence[Decision], tool: Tool, bench: Bench, ceiling: float
) -> Operation:
    """Every step that this tool mills, from the bass side, each in levels down to its bottom."""
    cut = front.finishing_cut(bench.material, tool, bench.profile)
    path = ToolPath(bench.clearance)
    by_string = {s.string: s for s in nut.slots}
    length = 0.0
    for slot in (by_string[c.string] for c in choices):
        step = front.step_of(slot)
        top = height_left(nut, bench, step.left, step.right) + STANDING
        levels = math.ceil((top - step.bottom) / cut.depth)
        for k in range(1, levels + 1):
            z = top - (top - step.bottom) * k / levels
            _around(path, slot, tool, bench, z=z, feed=cut.feed, hop=ceiling + HOP)
        length += levels * (step.right - step.left + 2 * step.back)
    path.leave()
    strings = ", ".join(str(c.string) for c in choices)
    return Operation(
        name="front",
        words=f"front milled back at strings {strings}",
        tool=tool,
        cut=cut,
        moves=tuple(path.moves),
        least=60 * length / cut.feed,
    )


def _around(
    path: ToolPath, slot: Slot, tool: Tool, bench: Bench, *, z: float, feed: float, hop: float
) -> None:
    """One level: in along the right wall, along the back, out along the left."""
    step, air = front.step_of(slot), front.before(tool, bench)
    path.over(step.right - tool.radius, air, z, hop)
    path.line(feed, y=step.back - tool.radius)
    path.line(feed, x=step.left + tool.radius)
    path.line(feed, y=air)
