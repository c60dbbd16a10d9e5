"""Who makes what of a blank on its edge: the top or the crown, front, waste, slots, round ends.

Each feature is decided by itself. What no tool can do within the limits is the hand's, and what is
cut after it is then cut from all that stands.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence

import numpy as np

from blankcam.inputs.tool import Tool
from blankcam.machining import ends, front, slots, tool_set, tools, waste
from blankcam.machining.decision import ByMachine, Decision, Reason, ReasonCode
from blankcam.machining.edge_limits import Limits
from blankcam.machining.request import CutRequest
from blankcam.machining.setup_sheet import BESIDE, Bench
from blankcam.machining.shaping import EdgeDecided, decide_top
from blankcam.machining.slot_passes import across_ends
from blankcam.parts.frames import Box
from blankcam.parts.part import Feature, FeatureKind, Part
from blankcam.parts.slot import Slot


def decide_on_edge(request: CutRequest, edge: Bench, unfit: Sequence[Reason]) -> EdgeDecided:
    """Top, front, waste and slots of a nut; crown and ends of a saddle.

    ``edge`` has the machine's usable tools only; ``unfit``: why the others are not.
    """
    part, within = request.part, Limits(request.part, edge)
    shaped = decide_top(request, edge, within, unfit)
    cut = _decide_front(request, shaped, within)
    cut = (*cut, *_decide_slots(request, shaped, cut, within))
    # Round ends are cut down to the jaws, however high these are, and so have no say in that
    shaped = dataclasses.replace(shaped, bench=within.in_jaws(shaped.bench))
    rounded = _decide_ends(part, request, shaped, within)
    return dataclasses.replace(shaped, decisions=(*shaped.decisions, *cut, *rounded))


def left_to_the_hand(part: Part, edge: Bench, why: Sequence[Reason]) -> EdgeDecided:
    """Every feature of the set-up the hand's, for the same reasons."""
    kinds = (FeatureKind.THICKNESS, FeatureKind.OUTLINE, FeatureKind.WASTE)
    found = (Decision.by_hand(f, why) for f in part.features if f.kind not in kinds)
    bench = Limits(part, edge).in_jaws(dataclasses.replace(edge, uncut=True))
    return EdgeDecided(decisions=tuple(found), bench=bench, surface=None, steps=None)


# -- front -------------------------------------------------------------------------------------


def _decide_front(request: CutRequest, shaped: EdgeDecided, within: Limits) -> tuple[Decision, ...]:
    """Each step in a nut's front; the hand's where the slots are, or where no tool can cut it."""
    stepped = [s for s in request.part.slots if s.step is not None]
    by_hand = request.wishes.slots != "mill"
    return tuple(
        _left_by_job(s) if by_hand else _decide_step(request.part, s, shaped.bench, within)
        for s in stepped
    )


def _front_of(slot: Slot) -> Feature:
    return Feature(kind=FeatureKind.FRONT, string=slot.string)


def _left_by_job(slot: Slot) -> Decision:
    return Decision.by_hand(_front_of(slot), [Reason(code=ReasonCode.LEFT_BY_JOB)])


def _decide_step(part: Part, slot: Slot, edge: Bench, within: Limits) -> Decision:
    """By the largest flat tool that leaves its back straight beside the slot."""
    step = front.step_of(slot)
    need = height_left(part, edge, step.left, step.right) - step.bottom
    reasons = list[Reason]()
    for tool in front.step_tools(slot, need, edge):
        if isinstance(tool, Reason):
            reasons.append(tool)
            continue
        reach = front.reach_of(slot, tool, edge)
        against = within.against("front", [reach])
        if not against:
            why = Reason(code=ReasonCode.LARGEST_FLAT, values={"need": need})
            by = ByMachine(tool=tool, reach=reach, depth=need)
            return Decision(feature=_front_of(slot), by=by, reasons=(why, *reasons))
        reasons += against
    none = Reason(code=ReasonCode.NO_FLAT, values={"need": need})
    return Decision.by_hand(_front_of(slot), reasons or [none])


# -- waste and slots ---------------------------------------------------------------------------


def _decide_slots(
    request: CutRequest, shaped: EdgeDecided, before: Sequence[Decision], within: Limits
) -> tuple[Decision, ...]:
    """The waste that is opened, then the slots; a slot that can't be is the file's.

    ``before``: the decisions on the nut's front, whose tools are called anyway.
    """
    nut, edge = request.part, shaped.bench
    called = [d.tool.number for d in (*shaped.decisions, *before) if d.tool is not None]
    by_string = {s.string: s for s in nut.slots}
    by_file = request.wishes.slots != "mill"
    chosen, opened = list[Decision](), list[Decision]()
    for decision in tool_set.chosen(nut, edge, by_file=by_file, called=called):
        slot = by_string[decision.string]
        kept, over = _within_limits(nut, slot, decision, edge, within)
        chosen.append(kept)
        opened += over
    return (*opened, *chosen)


def _within_limits(
    nut: Part, slot: Slot, decision: Decision, edge: Bench, within: Limits
) -> tuple[Decision, list[Decision]]:
    """The decision on a slot, and that on its waste; the file's where a limit is in the way."""
    if isinstance(decision.by, ByMachine):
        by = decision.by
        reach = _across_reach(slot, by.tool, edge, slots.lowest(nut, slot, by.tool, edge))
        over = list(_opened(nut, slot, by, edge))
        opening = [d.reach for d in over if d.reach is not None]
        against = within.against("slots", [reach, *opening])
        if not against:
            made = dataclasses.replace(by, reach=reach)
            return dataclasses.replace(decision, by=made), over
        decision = slots.left_because(nut, slot, edge, against)
    return _nicked(nut, slot, decision, edge, within), []


def _nicked(nut: Part, slot: Slot, decision: Decision, edge: Bench, within: Limits) -> Decision:
    """The decision on a slot for the file, without a nick where its tool can't go there."""
    tool = decision.nick
    if tool is None:
        return decision
    box = _across_reach(slot, tool, edge, slots.lowest_of_nick(nut, slot, tool, edge))
    if not within.against("slots", [box]):
        return decision
    return decision.without_nick()


def _opened(nut: Part, slot: Slot, by: ByMachine, edge: Bench) -> Iterator[Decision]:
    """The waste over a slot, where it is opened first."""
    if by.opening is None:
        return
    low = waste.lowest(nut, slot, by.opening, edge.stock)
    reach = _across_reach(slot, by.opening.tool, edge, low)
    feature = Feature(kind=FeatureKind.WASTE, string=slot.string)
    yield Decision(feature=feature, by=ByMachine(tool=by.opening.tool, reach=reach))


def _across_reach(slot: Slot, tool: Tool, edge: Bench, low: float) -> Box:
    """Where the tip goes on passes across a nut at one slot."""
    y0, y1 = across_ends(edge.stock, tool, back=True, lean=slot.tilt)
    aside = slot.radius + tool.radius + abs(math.tan(slot.yaw)) * max(-y0, y1)
    return Box(
        x0=slot.centre - aside, x1=slot.centre + aside, y0=y0, y1=y1, z0=low, z1=edge.clearance
    )


# -- round ends --------------------------------------------------------------------------------


def _decide_ends(
    part: Part, request: CutRequest, shaped: EdgeDecided, within: Limits
) -> tuple[Decision, ...]:
    """The round ends, where a flat tool is long enough; else they are the hand's."""
    feature, edge = Feature(kind=FeatureKind.ENDS), shaped.bench
    if feature.kind not in {f.kind for f in part.features}:
        return ()
    if request.wishes.ends != "mill":
        return (Decision.by_hand(feature, [Reason(code=ReasonCode.HAND_BY_JOB)]),)
    stock, low = edge.stock, ends.lowest(edge.profile.holding)
    need = height_left(part, edge, stock.x0, stock.x1) - low + 0.2
    if high := [
        Reason.of_limit(f) for f in ends.jaw_faults(part, edge.profile.holding, edge.stage)
    ]:
        return (Decision.by_hand(feature, high),)
    reasons = [Reason(code=ReasonCode.NO_FLAT, values={"need": need})]
    for tool in tools.outline_tools(edge.profile, need):
        box = _ends_reach(part, tool, edge)
        against = within.against_beside_jaws(box)
        if not against:
            why = Reason(code=ReasonCode.LARGEST_FLAT, values={"need": need})
            by = ByMachine(tool=tool, reach=box, depth=need)
            return (Decision(feature=feature, by=by, reasons=(why,)),)
        reasons = [r for r in reasons if r.code is not ReasonCode.NO_FLAT] + against
    return (Decision.by_hand(feature, reasons),)


def _ends_reach(part: Part, tool: Tool, edge: Bench) -> Box:
    r, stock = part.thickness / 2, edge.stock
    aside = tool.radius + BESIDE
    return Box(
        x0=r,
        x1=part.length - r,
        y0=min(-tool.radius, stock.y0 - tool.radius) - BESIDE,
        y1=max(2 * r, stock.y1) + aside,
        z0=ends.lowest(edge.profile.holding),
        z1=edge.clearance,
    )


def height_left(part: Part, edge: Bench, low: float, high: float) -> float:
    """The highest that stands from one x to another once the top or the crown is decided, mm."""
    if edge.uncut:
        return float(np.max(edge.stands(np.linspace(low, high, 129))))
    target = part.at(edge.stage)
    x, y = np.meshgrid(np.linspace(low, high, 65), np.linspace(0.0, edge.stock.y1, 33))
    ridge = max(edge.ridge, target.ridge)
    return float(np.max(target.surface.height(x, y))) + ridge + 0.02
