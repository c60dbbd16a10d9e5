"""Slots across a nut, and nicks where a file is to make them."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

from blankcam.data import table
from blankcam.inputs.tool import Tool
from blankcam.machining import slot_passes
from blankcam.machining.decision import (
    ByMachine,
    Decision,
)
from blankcam.machining.feeds import Cut, Work, plan_cut
from blankcam.machining.setup_sheet import HOP, STANDING, Bench
from blankcam.machining.slot_passes import across_ends
from blankcam.machining.slots import nick_depth, over_groove, standing_more, top_at
from blankcam.parts.part import Part
from blankcam.toolpath.crosswise import across, to_and_fro
from blankcam.toolpath.moves import Operation, Path

LOW_HOP: float = table("cutting")["air"]["low_hop"]


def nick_operation(
    nut: Part,
    choices: Sequence[Decision],
    tool: Tool,
    bench: Bench,
    ceiling: float,
) -> Operation:
    """A shallow groove on the centre of every slot that is left to the file."""
    tilt = nut.at(bench.stage).surface.tilt
    cut = _gentle(plan_cut(bench.material, tool, bench.profile, Work.SLOT), tilt)
    path = Path(bench.clearance)
    by_string = {s.string: s for s in nut.slots}
    y0, y1 = across_ends(bench.stock, tool, back=False, lean=tilt)
    passes, ridges = 0, STANDING + nut.at(bench.stage).ridge
    for choice in choices:
        slot = by_string[choice.string]
        depth = nick_depth(nut, slot, tool, bench.stage)
        top = top_at(nut, slot.centre, bench.stage)
        over = ridges + standing_more(nut, slot, bench)
        layers = math.ceil((depth + over) / cut.depth)
        passes += layers
        fall, lean = math.tan(tilt), math.tan(slot.yaw)
        # On a slope a ball cuts below the line of its tip
        top += tool.tip_radius * (1 / math.cos(tilt) - 1)
        for k in range(1, layers + 1):
            # Layers share what may stand over the top, so that the first is no deeper
            z = top + over - (depth + over) * k / layers
            near, far = ((slot.centre + lean * y, y, z - fall * y) for y in (y0, y1))
            across(path, near, far, cut.feed, ceiling + HOP)
    path.leave()
    strings = ", ".join(str(c.string) for c in choices)
    return Operation(
        name="slots",
        words=f"locating nicks of strings {strings}, then file by hand",
        tool=tool,
        cut=cut,
        moves=tuple(path.moves),
        least=60 * bench.stock.y1 * passes / cut.feed,
    )


def slot_operation(
    nut: Part,
    choices: Sequence[Decision],
    tool: Tool,
    bench: Bench,
    ceiling: float,
) -> Operation:
    """Every slot that this tool makes, from the bass side."""
    tilt = nut.at(bench.stage).surface.tilt
    cut = _gentle(plan_cut(bench.material, tool, bench.profile, Work.SLOT), tilt)
    path = Path(bench.clearance)
    by_string = {s.string: s for s in nut.slots}
    passes = 0.0
    for choice in choices:
        slot = by_string[choice.string]
        groove = slot_passes.Groove.of(nut, slot, bench.stage)
        left = slot.depth_front - nut.at(bench.stage).floor_raise
        judged = slot_passes.judged_from(slot, left)
        lean = abs(slot.tilt) + abs(slot.yaw)
        assert isinstance(choice.by, ByMachine)
        deep = choice.by.depth - over_groove(nut, slot)
        passes += slot_passes.least_passes(groove.radius, tool, deep, cut.depth, judged)
        met = cut.depth + STANDING
        hop, low = ceiling + HOP, groove.z + choice.by.depth + STANDING + LOW_HOP
        for aside, up, both in slot_passes.passes(groove, tool.tip_radius, deep, cut.depth, judged):
            y0, y1 = across_ends(bench.stock, tool, back=both, lean=lean, met=met)
            near, far = (groove.place(tool.tip_radius, aside, up, y) for y in (y0, y1))
            go = to_and_fro if both else across
            go(path, near, far, cut.feed, hop)
            hop = low
    path.leave()
    strings = ", ".join(str(c.string) for c in choices)
    return Operation(
        name="slots",
        words=f"slots of strings {strings}",
        tool=tool,
        cut=cut,
        moves=tuple(path.moves),
        least=60 * bench.stock.y1 * passes / cut.feed,
    )


def _gentle(cut: Cut, tilt: float) -> Cut:
    """The cut slowed so that going down the tilt stays within the plunging feed."""
    steep = math.sin(abs(tilt))
    if cut.feed * steep <= cut.plunge:
        return cut
    return dataclasses.replace(
        cut, feed=cut.plunge / steep, limits=(*cut.limits, "feed: plunge down the tilt")
    )
