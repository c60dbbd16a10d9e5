"""Opening the waste over a slot, so that a short small tool reaches its floor."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from blankcam.cutting.bench import Bench
from blankcam.cutting.feeds import Work, plan_cut
from blankcam.cutting.motion import Operation, Path, Stock
from blankcam.cutting.surface import HOP, tip_height
from blankcam.cutting.top import TopSurface
from blankcam.machine.profile import Profile
from blankcam.machine.tool import Shape, Tool
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
    for slot in slots:
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
    )


def _passes(
    nut: Nut, slot: Slot, tool: Tool, stock: Stock, depth: float
) -> Iterator[tuple[float, float, float, float, float]]:
    """(x, y from, z from, y to, z to) of each pass, layer by layer."""
    left, right = nut.clear_window(slot)
    span = right - left - tool.diameter
    count = max(1, math.ceil(span / (0.6 * tool.diameter)) + 1)
    xs = left + tool.radius + span * np.linspace(0, 1, count)

    finished = TopSurface(nut=nut, stage=Stage.FINAL)
    tips = tip_height(finished, tool, xs, np.zeros_like(xs))
    fall = math.tan(nut.tilt)
    beside = tool.radius + 0.5
    y0, y1 = stock.y_min - beside, stock.y_max + beside
    edges = np.array([left, right])
    high = float(np.max(nut.top_height(edges, np.zeros(2), Stage.ROUGH)))
    rise = high + STANDING - float(np.min(tips))
    layers = max(1, math.ceil(rise / depth))
    for k in range(layers - 1, -1, -1):
        for x, tip in zip(xs, tips, strict=True):
            z = float(tip) + rise * k / layers
            yield float(x), y0, z - fall * y0, y1, z - fall * y1
