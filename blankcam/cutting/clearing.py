"""Opening the waste over a slot, so that a short small tool reaches its floor."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from blankcam.cutting.bench import Bench
from blankcam.cutting.feeds import Cut, Work, plan_cut
from blankcam.cutting.motion import Operation, Path, Stock
from blankcam.cutting.surface import HOP, tip_height
from blankcam.cutting.top import TopSurface
from blankcam.machine.profile import Profile
from blankcam.machine.tool import Shape, Tool
from blankcam.parts.curve import Array
from blankcam.parts.nut import Nut, Slot
from blankcam.parts.stage import Stage

STANDING = 0.02
"""mm that may stand over a surface already cut."""
ROOM = 0.1
"""mm by which a tool is narrower than the window (our own)."""


def choose(profile: Profile, width: float, depth: float) -> Tool | None:
    """The widest flat or ball tool that fits into a window and reaches its bottom."""
    fit = [
        t
        for t in profile.tools
        if t.shape in (Shape.FLAT, Shape.BALL)
        and t.diameter <= width - ROOM
        and min(t.flute_length, t.reach) >= depth + 0.2
    ]
    return max(fit, key=lambda t: (t.diameter, t.shape is Shape.FLAT, -t.number), default=None)


def standing(nut: Nut, slot: Slot, tool: Tool) -> float:
    """Most that stands over the finished top across a slot once its window is opened, mm."""
    if tool.shape is not Shape.BALL:
        return 0.0
    edge = slot.radius + 0.02
    over = np.linspace(slot.centre - edge, slot.centre + edge, 41)
    off = np.min(np.abs(over[:, None] - _places(nut, slot, tool)), axis=1)
    return float(tool.radius - np.sqrt(max(tool.radius**2 - float(np.max(off)) ** 2, 0.0)))


def seconds(nut: Nut, slot: Slot, tool: Tool, cut: Cut, over_faces: float) -> float:
    """About how long opening one window takes, without links."""
    layers = math.ceil((nut.allowance + STANDING) / cut.depth)
    return 60 * layers * len(_places(nut, slot, tool)) * (over_faces + tool.diameter) / cut.feed


def _places(nut: Nut, slot: Slot, tool: Tool) -> Array:
    """Where the passes of a window run, x."""
    left, right = nut.clear_window(slot)
    span = right - left - tool.diameter
    count = max(1, math.ceil(span / (0.6 * tool.diameter)) + 1)
    return left + tool.radius + span * np.linspace(0, 1, count)


def clear_operation(
    nut: Nut,
    slots: Sequence[Slot],
    tool: Tool,
    bench: Bench,
    ceiling: float,
) -> Operation:
    """Each window opened down to the finished top in layers, from the witness face to the head."""
    cut = plan_cut(bench.material, tool, bench.profile, Work.SLOT)
    path = Path(bench.clearance)
    section = 0.0
    for slot in slots:
        left, right = nut.clear_window(slot)
        section += (right - left) * nut.allowance
        for x, y0, z0, y1, z1 in _passes(nut, slot, tool, bench.stock, cut.depth):
            path.over(x, y0, z0, ceiling + HOP)
            path.line(cut.feed, x=x, y=y1, z=z1)
    path.leave()
    strings = ", ".join(str(s.string) for s in slots)
    return Operation(
        name="clear",
        words=f"waste over strings {strings} opened",
        tool=tool,
        cut=cut,
        moves=tuple(path.moves),
        least=60 * bench.stock.y_max * section / (tool.diameter * cut.depth * cut.feed),
    )


def _passes(
    nut: Nut, slot: Slot, tool: Tool, stock: Stock, depth: float
) -> Iterator[tuple[float, float, float, float, float]]:
    """(x, y from, z from, y to, z to) of each pass, layer by layer."""
    xs = _places(nut, slot, tool)
    finished = TopSurface(nut=nut, stage=Stage.FINAL)
    tips = tip_height(finished, tool, xs, np.zeros_like(xs))
    fall = math.tan(nut.tilt)
    beside = tool.radius + 0.5
    y0, y1 = stock.y_min - beside, stock.y_max + beside
    rise = nut.allowance + STANDING
    layers = max(1, math.ceil(rise / depth))
    for k in range(layers - 1, -1, -1):
        for x, tip in zip(xs, tips, strict=True):
            z = float(tip) + rise * k / layers
            yield float(x), y0, z - fall * y0, y1, z - fall * y1
