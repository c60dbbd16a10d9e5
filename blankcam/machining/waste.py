"""The waste over a slot, opened first so that a short small tool reaches the slot's floor."""

from __future__ import annotations

import math

import numpy as np

from blankcam.data import table
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining.cutter_contact import LINK, tip_height
from blankcam.machining.decision import Opening
from blankcam.machining.feeds import Cut
from blankcam.machining.setup_sheet import STANDING
from blankcam.machining.slot_passes import across_ends
from blankcam.parts.curve import Array
from blankcam.parts.frames import Box
from blankcam.parts.part import Part
from blankcam.parts.slot import Slot, clear_window
from blankcam.parts.stage import Stage

STEP: float = table("cutting")["slots"]["opening_step"]
NARROWEST: float = table("cutting")["slots"]["opening_wider"]

PLACES = 401
"""Places across a slot at which what stands over it is looked at."""


def standing(nut: Part, slot: Slot, tool: Tool, *, narrow: bool) -> float:
    """Most that stands across a slot over the highest that its waste is opened down to, mm.

    A ball leaves its round beside and between its passes; a flat tool keeps with all of its face
    above a top that rises beside most slots.
    """
    edge, surface = slot.radius + 0.02, nut.at(Stage.FINAL).surface
    places = pass_places(nut, slot, tool, narrow=narrow)
    over = np.linspace(slot.centre - edge, slot.centre + edge, PLACES)
    tips = tip_height(surface, tool, places, np.zeros_like(places))
    room = tool.radius**2 - (over[:, None] - places) ** 2
    half = np.sqrt(np.maximum(room, 0.0))
    if tool.shape is Shape.BALL:
        lower = tips + tool.radius - half / math.cos(surface.tilt)
    else:
        lower = tips - half * math.tan(abs(surface.tilt))
    left = np.min(np.where(room >= 0, lower, np.inf), axis=1)
    return max(0.0, float(np.max(left) - np.max(surface.height(over, np.zeros_like(over)))))


def seconds(  # every argument is a fact of its own
    nut: Part,
    slot: Slot,
    tool: Tool,
    cut: Cut,
    over_faces: float,
    *,
    narrow: bool,
    more: float = 0.0,
) -> float:
    """About how long opening the waste over a slot takes."""
    layers, places = layer_count(nut, cut.depth, more), pass_places(nut, slot, tool, narrow=narrow)
    return LINK + 60 * layers * len(places) * (over_faces + tool.diameter) / cut.feed


def layer_count(nut: Part, depth: float, more: float = 0.0) -> int:
    """Layers in which the waste is opened, each no deeper than ``depth`` mm.

    ``more``: what stands over the rough top, mm.
    """
    return max(1, math.ceil((opening_depth(nut) + more) / depth))


def opening_depth(nut: Part) -> float:
    """How much of a rough nut's top is opened over a slot at most, mm."""
    rough = nut.at(Stage.ROUGH)
    return rough.raised - rough.opened + rough.ridge + STANDING


def opened_tips(nut: Part, tool: Tool, xs: Array) -> Array:
    """Heights of the tip at the front edge where it opens the waste for good, each x of
    the passes.
    """
    finished = nut.at(Stage.FINAL).surface
    return tip_height(finished, tool, xs, np.zeros_like(xs)) + nut.at(Stage.ROUGH).opened


def pass_places(nut: Part, slot: Slot, tool: Tool, *, narrow: bool) -> Array:
    """Where the passes over a slot run, x: over its whole window, or one where that will do."""
    left, right = clear_window(nut.slots, slot, nut.length)
    if narrow and tool.radius >= slot.radius + NARROWEST:
        middle = min(max(slot.centre, left + tool.radius), right - tool.radius)
        if abs(middle - slot.centre) <= tool.radius - slot.radius - NARROWEST:
            return np.array([middle])
    span = right - left - tool.diameter
    count = max(1, math.ceil(span / (STEP * tool.diameter)) + 1)
    return left + tool.radius + span * np.linspace(0, 1, count)


def lowest(nut: Part, slot: Slot, opening: Opening, stock: Box) -> float:
    """The lowest z that the tip is sent to over a slot: where its last passes end."""
    tool = opening.tool
    xs = pass_places(nut, slot, tool, narrow=opening.narrow)
    tips = opened_tips(nut, tool, xs)
    y1 = across_ends(stock, tool, back=False, lean=slot.tilt)[1]
    return float(np.min(tips)) - math.tan(slot.tilt) * y1
