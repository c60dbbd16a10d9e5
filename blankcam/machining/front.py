"""A nut's front cut back around its slots, for nut compensation: with which tool, or by hand.

A flat tool on edge mills each step from above, its side against the step's back. What it leaves in
the corners is its own round, so it must be small enough to leave the back straight beside the slot.
"""

from __future__ import annotations

from collections.abc import Iterator

from blankcam.data import table
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining.decision import Reason, ReasonCode
from blankcam.machining.feeds import Cut, Material, Work, plan_cut
from blankcam.machining.setup_sheet import BESIDE, Bench
from blankcam.parts.frames import Box
from blankcam.parts.slot import FrontStep, Slot

SMALLEST: float = table("cutting")["front"]["smallest_tool"]
ROOM: float = table("cutting")["front"]["reach_room"]
SHALLOWEST: float = table("cutting")["front"]["least_depth"]


def step_of(slot: Slot) -> FrontStep:
    """The step of a slot that has one."""
    assert slot.step is not None
    return slot.step


def corner_room(slot: Slot) -> float:
    """The largest radius that may stay in both corners of a slot's step, mm."""
    left, right = slot.straight_back()
    return min(left - step_of(slot).left, step_of(slot).right - right)


def finishing_cut(material: Material, tool: Tool, profile: Profile) -> Cut:
    """How a tool cuts a step: no deeper at once than keeps its bend away from the step's back."""
    return plan_cut(material, tool, profile, Work.FINISH)


def step_tools(slot: Slot, need: float, bench: Bench) -> Iterator[Tool | Reason]:
    """The flat tools that can cut a slot's step, the largest first, and why others can't.

    ``need``: from what stands there down to its bottom, mm.
    """
    flats = (t for t in bench.profile.tools if t.shape is Shape.FLAT)
    for tool in sorted(flats, key=lambda t: (-t.diameter, t.number)):
        reach = min(tool.flute_length, tool.reach)
        if tool.diameter < SMALLEST:
            yield Reason.about(tool, ReasonCode.TOO_SMALL, least=SMALLEST)
        elif tool.radius > (room := corner_room(slot)):
            yield Reason.about(tool, ReasonCode.ROUND_CORNERS, radius=tool.radius, room=room)
        elif reach < need + ROOM:
            yield Reason.about(tool, ReasonCode.SHORT_REACH, reach=reach, need=need + ROOM)
        elif (depth := finishing_cut(bench.material, tool, bench.profile).depth) < SHALLOWEST:
            yield Reason.about(tool, ReasonCode.TOO_LIMBER, depth=depth)
        else:
            yield tool


def reach_of(slot: Slot, tool: Tool, bench: Bench) -> Box:
    """Where a tool's tip and axis go for a slot's step."""
    step = step_of(slot)
    return Box(
        x0=step.left + tool.radius,
        x1=step.right - tool.radius,
        y0=before(tool, bench),
        y1=step.back - tool.radius,
        z0=step.bottom,
        z1=bench.clearance,
    )


def before(tool: Tool, bench: Bench) -> float:
    """Y of a tool's axis in the air before the front, where it goes down."""
    return min(bench.stock.y0, 0.0) - tool.radius - BESIDE
