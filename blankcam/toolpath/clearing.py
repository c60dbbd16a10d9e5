"""Opening the waste over a slot, so that a short small tool reaches its floor."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining.cutter_contact import LINK, tip_height
from blankcam.machining.feeds import Cut, Work, plan_cut
from blankcam.machining.setup_sheet import HOP, STANDING, Bench
from blankcam.machining.top import TopSurface
from blankcam.parts.curve import Array
from blankcam.parts.frames import Box
from blankcam.parts.nut import Nut, Slot
from blankcam.parts.part import Stage
from blankcam.toolpath.crosswise import across, ends, to_and_fro
from blankcam.toolpath.moves import Operation, Path, Place

NARROWEST = 0.07
"""mm that an opening must be wider than its slot on each side (our own)."""
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


def standing(nut: Nut, slot: Slot, tool: Tool, *, narrow: bool) -> float:
    """Most that stands over the finished top across a slot once its waste is opened, mm."""
    if tool.shape is not Shape.BALL:
        return 0.0
    edge = slot.radius + 0.02
    over = np.linspace(slot.centre - edge, slot.centre + edge, 41)
    off = np.min(np.abs(over[:, None] - _places(nut, slot, tool, narrow=narrow)), axis=1)
    return float(tool.radius - np.sqrt(max(tool.radius**2 - float(np.max(off)) ** 2, 0.0)))


def seconds(
    nut: Nut, slot: Slot, tool: Tool, cut: Cut, over_faces: float, *, narrow: bool
) -> float:
    """About how long opening the waste over a slot takes."""
    layers, places = _layers(nut, cut.depth), _places(nut, slot, tool, narrow=narrow)
    return LINK + 60 * layers * len(places) * (over_faces + tool.diameter) / cut.feed


def _layers(nut: Nut, depth: float) -> int:
    return max(1, math.ceil((nut.allowance + STANDING) / depth))


def _places(nut: Nut, slot: Slot, tool: Tool, *, narrow: bool) -> Array:
    """Where the passes over a slot run, x: over its whole window, or one where that will do."""
    left, right = nut.clear_window(slot)
    if narrow and tool.radius >= slot.radius + NARROWEST:
        middle = min(max(slot.centre, left + tool.radius), right - tool.radius)
        if abs(middle - slot.centre) <= tool.radius - slot.radius - NARROWEST:
            return np.array([middle])
    span = right - left - tool.diameter
    count = max(1, math.ceil(span / (0.6 * tool.diameter)) + 1)
    return left + tool.radius + span * np.linspace(0, 1, count)


@dataclass(frozen=True, slots=True, kw_only=True)
class Waste:
    """The waste over one slot that is to be opened."""

    slot: Slot
    narrow: bool
    """Only as wide as the slot needs; else all that may be opened, so that a shank has room."""


def clear_operation(
    nut: Nut,
    wastes: Sequence[Waste],
    tool: Tool,
    bench: Bench,
    ceiling: float,
) -> Operation:
    """The waste opened down to the finished top in layers; the last one toward the head side."""
    cut = plan_cut(bench.material, tool, bench.profile, Work.SLOT)
    path = Path(bench.clearance)
    section = 0.0
    for waste in wastes:
        xs = _places(nut, waste.slot, tool, narrow=waste.narrow)
        section += (float(xs[-1] - xs[0]) + tool.diameter) * nut.allowance
        for near, far, last in _passes(nut, xs, tool, bench.stock, cut.depth):
            go = across if last else to_and_fro
            go(path, near, far, cut.feed, ceiling + HOP)
    path.leave()
    strings = ", ".join(str(w.slot.string) for w in wastes)
    return Operation(
        name="clear",
        words=f"waste over strings {strings} opened",
        tool=tool,
        cut=cut,
        moves=tuple(path.moves),
        least=60 * bench.stock.y1 * section / (tool.diameter * cut.depth * cut.feed),
    )


def _passes(
    nut: Nut, xs: Array, tool: Tool, stock: Box, depth: float
) -> Iterator[tuple[Place, Place, bool]]:
    """Both ends of each pass, layer by layer, and whether it is of the last layer."""
    finished = TopSurface(nut=nut, stage=Stage.FINAL)
    tips = tip_height(finished, tool, xs, np.zeros_like(xs))
    fall = math.tan(nut.tilt)
    rise = nut.allowance + STANDING
    layers = _layers(nut, depth)
    for k in range(layers - 1, -1, -1):
        y0, y1 = ends(stock, tool, back=k > 0, lean=nut.tilt)
        for x, tip in zip(xs.tolist(), tips.tolist(), strict=True):
            z = tip + rise * k / layers
            yield (x, y0, z - fall * y0), (x, y1, z - fall * y1), k == 0
