"""Slots across a nut, and nicks where a file is to make them."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence

from blankcam.inputs.tool import Tool
from blankcam.machining import slot_passes
from blankcam.machining.decision import ByMachine, Decision
from blankcam.machining.feeds import Cut, Work, plan_cut
from blankcam.machining.on_edge import height_left
from blankcam.machining.setup_sheet import HOP, STANDING, Bench
from blankcam.machining.slot_passes import across_ends
from blankcam.machining.slots import nick_depth, over_groove, standing_more, top_at
from blankcam.parts.frames import Place
from blankcam.parts.part import Part
from blankcam.parts.slot import Slot
from blankcam.toolpath.crosswise import LOW_HOP, WayBack, across, to_and_fro
from blankcam.toolpath.moves import Operation, ToolPath

MET = 0.01
"""mm more than reckoned that a pass may find at the front."""


def nick_operation(
    nut: Part,
    choices: Sequence[Decision],
    tool: Tool,
    bench: Bench,
    ceiling: float,
) -> Operation:
    """A shallow groove on the centre of every slot that is left to the file."""
    cut, path = _gentle_cut(nut, tool, bench), ToolPath(bench.clearance)
    passes = 0
    for slot in _slots_of(nut, choices):
        every = tuple(_nick_passes(nut, slot, tool, bench, cut.depth))
        passes += len(every)
        back = WayBack.over(nut, bench, ceiling + HOP)
        low = height_left(nut, bench, slot.centre - tool.radius, slot.centre + tool.radius)
        for near, far in every:
            across(path, near, far, cut.feed, back)
            back = back.lowered(low + LOW_HOP)
    path.leave()
    words = f"locating {_of_strings('nick', choices)}, then file by hand"
    return _operation(words, tool, cut, path, passes * bench.stock.y1)


def _nick_passes(
    nut: Part, slot: Slot, tool: Tool, bench: Bench, depth: float
) -> Iterator[tuple[Place, Place]]:
    """Both ends of each pass of a nick, none of them deeper than ``depth`` mm."""
    target = nut.at(bench.stage)
    tilt = target.surface.tilt
    y0, y1 = across_ends(bench.stock, tool, back=False, lean=tilt)
    nick = nick_depth(nut, slot, tool, bench.stage)
    over = STANDING + target.ridge + standing_more(nut, slot, bench)
    # On a slope a ball cuts below the line of its tip
    top = top_at(nut, slot.centre, bench.stage) + tool.tip_radius * (1 / math.cos(tilt) - 1)
    fall, lean = math.tan(tilt), math.tan(slot.yaw)
    layers = math.ceil((nick + over) / depth)
    for k in range(1, layers + 1):
        # Layers share what may stand over the top, so that the first is no deeper
        z = top + over - (nick + over) * k / layers
        near, far = ((slot.centre + lean * y, y, z - fall * y) for y in (y0, y1))
        yield near, far


def slot_operation(
    nut: Part,
    choices: Sequence[Decision],
    tool: Tool,
    bench: Bench,
    ceiling: float,
) -> Operation:
    """Every slot that this tool makes, from the bass side."""
    cut, path = _gentle_cut(nut, tool, bench), ToolPath(bench.clearance)
    passes = 0.0
    for choice, slot in zip(choices, _slots_of(nut, choices), strict=True):
        assert isinstance(choice.by, ByMachine)
        passes += _cut_slot(
            path, nut, slot, choice.by, bench, cut, WayBack.over(nut, bench, ceiling + HOP)
        )
    path.leave()
    return _operation(_of_strings("slot", choices), tool, cut, path, passes * bench.stock.y1)


def _cut_slot(  # every argument is a fact of its own
    path: ToolPath, nut: Part, slot: Slot, by: ByMachine, bench: Bench, cut: Cut, back: WayBack
) -> float:
    """Cut one slot; returns the least number of passes that it takes."""
    groove, tool = slot_passes.Groove.of(nut, slot, bench.stage), by.tool
    judged = slot_passes.judged_from(nut, slot, bench.stage)
    lean, most = abs(slot.tilt) + abs(slot.yaw), cut.depth + STANDING
    deep, low = by.depth - over_groove(nut, slot), groove.z + by.depth + STANDING + LOW_HOP
    every = slot_passes.passes(groove, tool.tip_radius, deep, cut.depth, judged)
    found = slot_passes.depths(groove, tool.tip_radius, deep, every)
    for (aside, up, both), depth in zip(every, found, strict=True):
        # Before it comes back from behind, the next pass is as deep as any
        met = most if both else depth + MET
        y0, y1 = across_ends(bench.stock, tool, back=both, lean=lean, met=met)
        near, far = (groove.place(tool.tip_radius, aside, up, y) for y in (y0, y1))
        go = to_and_fro if both else across
        go(path, near, far, cut.feed, back)
        back = back.lowered(low)
    return slot_passes.least_passes(groove.radius, tool, deep, cut.depth, judged)


def _slots_of(nut: Part, choices: Sequence[Decision]) -> Iterator[Slot]:
    """The slots that decisions are about, in their order."""
    by_string = {s.string: s for s in nut.slots}
    return (by_string[c.string] for c in choices)


def _of_strings(what: str, choices: Sequence[Decision]) -> str:
    """``slot of string 6``, ``slots of strings 6, 5``."""
    many = "s" * (len(choices) > 1)
    return f"{what}{many} of string{many} {', '.join(str(c.string) for c in choices)}"


def _operation(words: str, tool: Tool, cut: Cut, path: ToolPath, length: float) -> Operation:
    """Slots or nicks; ``length``: the least way that the tool goes across them, mm."""
    return Operation(
        name="slots",
        words=words,
        tool=tool,
        cut=cut,
        moves=tuple(path.moves),
        least=60 * length / cut.feed,
    )


def _gentle_cut(nut: Part, tool: Tool, bench: Bench) -> Cut:
    """The cut slowed so that going down the tilt stays within the plunging feed."""
    cut = plan_cut(bench.material, tool, bench.profile, Work.SLOT)
    steep = math.sin(abs(nut.at(bench.stage).surface.tilt))
    if cut.feed * steep <= cut.plunge:
        return cut
    return dataclasses.replace(
        cut, feed=cut.plunge / steep, limits=(*cut.limits, "feed: plunge down the tilt")
    )
