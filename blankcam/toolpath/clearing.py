"""Opening the waste over a slot, so that a short small tool reaches its floor."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from blankcam.inputs.tool import Tool
from blankcam.machining.feeds import Work, plan_cut
from blankcam.machining.on_edge import height_left
from blankcam.machining.setup_sheet import HOP, Bench
from blankcam.machining.slot_passes import across_ends
from blankcam.machining.slots import standing_more
from blankcam.machining.waste import layer_count, opened_tips, opening_depth, pass_places
from blankcam.parts.curve import Array
from blankcam.parts.frames import Box, Place
from blankcam.parts.part import Part
from blankcam.parts.slot import Slot
from blankcam.parts.stage import Stage
from blankcam.toolpath.crosswise import LOW_HOP, WayBack, across, out_of_the_back, to_and_fro
from blankcam.toolpath.moves import Operation, ToolPath


@dataclass(frozen=True, slots=True, kw_only=True)
class Waste:
    """The waste over one slot that is to be opened."""

    slot: Slot
    narrow: bool
    """Only as wide as the slot needs; else all that may be opened, so that a shank has room."""


def clear_operation(
    nut: Part,
    wastes: Sequence[Waste],
    tool: Tool,
    bench: Bench,
    ceiling: float,
) -> Operation:
    """The waste over slots opened in layers; the last one toward the head side."""
    cut = plan_cut(bench.material, tool, bench.profile, Work.SLOT)
    path = ToolPath(bench.clearance)
    section, rough = 0.0, nut.at(Stage.ROUGH)
    most = rough.raised - rough.opened
    for waste in wastes:
        xs = pass_places(nut, waste.slot, tool, narrow=waste.narrow)
        more = standing_more(nut, waste.slot, bench)
        section += (float(xs[-1] - xs[0]) + tool.diameter) * (most + more)
        back = WayBack.over(nut, bench, ceiling + HOP)
        low = height_left(nut, bench, float(xs[0]) - tool.radius, float(xs[-1]) + tool.radius)
        for near, far, last in _passes(nut, xs, tool, bench.stock, (cut.depth, more)):
            if not last:
                out_of_the_back(path, far[1], cut.feed)
            go = across if last else to_and_fro
            go(path, near, far, cut.feed, back)
            back = back.lowered(low + LOW_HOP)
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
    nut: Part, xs: Array, tool: Tool, stock: Box, depth_and_more: tuple[float, float]
) -> Iterator[tuple[Place, Place, bool]]:
    """Both ends of each pass, layer by layer, and whether it is of the last layer.

    ``depth_and_more``: the depth of cut, and what stands over the rough top.
    """
    depth, more = depth_and_more
    tilt = nut.at(Stage.ROUGH).surface.tilt
    tips = opened_tips(nut, tool, xs)
    fall = math.tan(tilt)
    rise = opening_depth(nut) + more
    layers = layer_count(nut, depth, more)
    for k in range(layers - 1, -1, -1):
        y0, y1 = across_ends(stock, tool, back=k > 0, lean=tilt)
        for x, tip in zip(xs.tolist(), tips.tolist(), strict=True):
            z = tip + rise * k / layers
            yield (x, y0, z - fall * y0), (x, y1, z - fall * y1), k == 0
