"""The air program of a set-up: a look, before the first cut, at zero, sides and tool.

With the spindle off, the tool's tip well over everything, it goes round what stands of the blank,
then over each slot and over the deepest place, and stops at each with words on what to look at.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence

import numpy as np

from blankcam.data import table
from blankcam.inputs.machine import Axis
from blankcam.parts.frames import Box, Place
from blankcam.parts.slot import Slot
from blankcam.toolpath.moves import ArcMove, LineMove, Operation, Program, Rapid, ToolPath

OVER: float = table("cutting")["air"]["program"]
NAME = "air"


def air_program(
    program: Program, standing: Sequence[Box], slots: Iterable[Slot], highest: float, travel: Axis
) -> Program:
    """The air program of a set-up's whole program.

    Parameters
    ----------
    standing : what stands of each blank, in the program's axes
    slots : that are cut on edge, in the first blank's frame
    highest : of all that stands on the machine, z
    travel : of the machine; where a blank is longer than that, the tool goes round what is cut
    """
    z = highest + OVER
    path = ToolPath(z)
    for box in standing:
        _round(path, box, _reached(box, program.operations, travel), z)
    for slot in slots:
        path.rapid(x=slot.centre, y=standing[0].y0)
        path.stop(
            f"look: the tip is over slot {slot.string}, {slot.centre:.2f} mm from the left end of "
            "the part, on the side toward you"
        )
    x, y, low = deepest(program.operations)
    path.rapid(x=x, y=y)
    path.stop(
        f"look: the deepest place of all cuts is {z - low:.2f} mm under the tip, at Z {low:.2f} "
        "mm. See that nothing but the blank is in the way there"
    )
    first = program.operations[0]
    operation = Operation(
        name=NAME,
        words="round the blank and over what will be cut",
        tool=first.tool,
        cut=first.cut,
        moves=tuple(path.moves),
    )
    return dataclasses.replace(
        program, stem=f"{program.stem}-{NAME}", clearance=z, operations=(operation,), air=True
    )


def _reached(box: Box, operations: Iterable[Operation], travel: Axis) -> Box:
    """What stands of a blank, along an axis that is too short for it no more than is cut."""
    to = np.array(
        [m.to for o in operations for m in o.moves if isinstance(m, (Rapid, LineMove, ArcMove))]
    )
    low, high = np.nanmin(to, axis=0), np.nanmax(to, axis=0)
    if box.x1 - box.x0 > travel.x:
        x0, x1 = max(box.x0, float(low[0])), min(box.x1, float(high[0]))
        box = dataclasses.replace(box, x0=x0, x1=x1)
    if box.y1 - box.y0 > travel.y:
        y0, y1 = max(box.y0, float(low[1])), min(box.y1, float(high[1]))
        box = dataclasses.replace(box, y0=y0, y1=y1)
    return box


def _round(path: ToolPath, blank: Box, box: Box, z: float) -> None:
    """Round what can be reached of a blank, with a stop over two corners across from
    one another.
    """
    over = f"{z - box.z1:.2f} mm over the blank"
    of = "its" if box == blank else "the"
    cut = "" if box == blank else " of what is cut"
    path.rapid(x=box.x0, y=box.y0)
    path.stop(f"look: the tip is {over}, at {of} left end{cut}, on the side toward you")
    path.rapid(x=box.x1)
    path.rapid(y=box.y1)
    path.stop(f"look: the tip is {over}, at {of} right end{cut}, on the side away from you")
    path.rapid(x=box.x0)
    path.rapid(y=box.y0)


def deepest(operations: Iterable[Operation]) -> Place:
    """The lowest place that any tool's tip is sent to at feed; the first of several."""
    return min(
        (m.to for o in operations for m in o.moves if isinstance(m, (LineMove, ArcMove))),
        key=lambda to: to[2],
    )
