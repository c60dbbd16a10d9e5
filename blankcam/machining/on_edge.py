"""Who makes what of a blank on its edge: the top or the crown, waste, slots, round ends.

Each feature is decided by itself. What no tool can do within the limits is the hand's, and what is
cut after it is then cut from all that stands.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from blankcam.data import table
from blankcam.faults import Fault
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining import (
    ends,
    front,
    jaws,
    slots,
    steps,
    tool_set,
    tools,
    top,
    waste,
    workholding,
)
from blankcam.machining.cutter_contact import Sweep, Table
from blankcam.machining.decision import ByMachine, Decision, Reason, ReasonCode
from blankcam.machining.feeds import Work, plan_cut
from blankcam.machining.request import CutRequest
from blankcam.machining.setup_sheet import BESIDE, Bench
from blankcam.machining.slot_passes import across_ends
from blankcam.machining.steps import Steps
from blankcam.machining.surface_passes import SurfacePasses, surface_passes
from blankcam.parts.frames import Box
from blankcam.parts.part import Feature, FeatureKind, Part
from blankcam.parts.slot import Slot

LEVEL = 1e-9
"""rad under which a top that falls toward the head is level."""
RIDGE: float = table("cutting")["top"]["step_ridge"]
LOCAL: float = table("cutting")["top"]["local_reach"]
OVER_CEILING = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeDecided:
    """What is decided of the set-up on edge."""

    decisions: tuple[Decision, ...]
    bench: Bench
    """The set-up, with what is left of the top for the hand."""
    surface: SurfacePasses | None
    """The passes of the top or the crown; None where no ball makes it."""
    steps: Steps | None
    """Or the passes of a flat tool that makes it in steps."""


def decide_on_edge(request: CutRequest, edge: Bench, unfit: Sequence[Reason]) -> EdgeDecided:
    """Top, front, waste and slots of a nut; crown and ends of a saddle.

    ``edge`` has the machine's usable tools only; ``unfit``: why the others are not.
    """
    part, within = request.part, _Limits(request.part, edge)
    shaped = _decide_top(request, edge, within, unfit)
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
    bench = _Limits(part, edge).in_jaws(dataclasses.replace(edge, uncut=True))
    return EdgeDecided(decisions=tuple(found), bench=bench, surface=None, steps=None)


class _Limits:
    """The jaws and the machine's travel, which all operations of the set-up share."""

    def __init__(self, part: Part, edge: Bench) -> None:
        self._part, self._edge, self._taken = part, edge, list[Box]()

    def against(self, name: str, reaches: Iterable[Box]) -> list[Reason]:
        """Why an operation that goes there can't be; where it can, it is counted in."""
        each = list(reaches)
        faults = list(self._jaw_faults(name, min(box.z0 for box in each)))
        faults += self._travel_faults(each)
        if not faults:
            self._taken += each
        return [Reason.of_limit(f) for f in faults]

    def against_beside_jaws(self, reach: Box) -> list[Reason]:
        """Why an operation can't be that goes as low as the jaws allow, whatever their height."""
        return [Reason.of_limit(f) for f in self._travel_faults([reach])]

    def in_jaws(self, edge: Bench) -> Bench:
        """The set-up with its jaws as high as given, or as the operations counted in allow."""
        held = edge.profile.holding
        window = jaws.Window(standing=edge.stock.z1, cut="", low=math.inf)
        # Where nothing has a say in it, no higher than they must hold
        least = window.least + jaws.SPARE
        low = min((box.z0 for box in self._taken), default=least)
        window = dataclasses.replace(window, low=low)
        profile = dataclasses.replace(edge.profile, holding=jaws.settled(held, window))
        return dataclasses.replace(edge, profile=profile)

    def _jaw_faults(self, name: str, low: float) -> Iterator[Fault]:
        edge = self._edge
        window = jaws.Window(standing=edge.stock.z1, cut=name, low=low)
        fix = wider_window(window, edge)
        return jaws.height_faults(self._part.name, edge.profile.holding, window, fix)

    def _travel_faults(self, more: Sequence[Box]) -> list[Fault]:
        where = f"{self._part.name}, on edge"
        return workholding.travel_faults(where, self._edge.profile, [*self._taken, *more])


def wider_window(window: jaws.Window, edge: Bench) -> str:
    """What would leave the jaws a height to stand at."""
    if edge.outline is not None or window.most < workholding.GRIP:
        return f"cut the {window.cut} by hand"
    lower = f"a blank no higher than {window.most / workholding.GRIP_SHARE:.2f} mm"
    return f'use {lower}, set outline = "mill" in [plan], or cut the {window.cut} by hand'


# -- top or crown ------------------------------------------------------------------------------


def _decide_top(
    request: CutRequest, edge: Bench, within: _Limits, unfit: Sequence[Reason]
) -> EdgeDecided:
    """The top or the crown: by a ball or over a level section a flat, in steps, or by hand."""
    part = request.part
    feature = Feature(kind=part.top_feature)
    wishes = request.wishes
    if {FeatureKind.TOP: wishes.top, FeatureKind.CROWN: wishes.crown}[feature.kind] != "mill":
        return _top_by_hand(feature, edge, [Reason(code=ReasonCode.HAND_BY_JOB)])
    reasons: list[Reason] = []
    for attempt in (_in_fine_passes, _in_steps):
        made = attempt(part, edge, within, reasons)
        if made is not None:
            return made
    none = Reason(code=ReasonCode.NONE_REACHES, values={"need": depth_of_top(part, edge)})
    return _top_by_hand(feature, edge, [*(reasons or [none]), *unfit])


def _top_by_hand(feature: Feature, edge: Bench, why: Iterable[Reason]) -> EdgeDecided:
    return EdgeDecided(
        decisions=(Decision.by_hand(feature, why),),
        bench=dataclasses.replace(edge, uncut=True),
        surface=None,
        steps=None,
    )


def _in_fine_passes(
    part: Part, edge: Bench, within: _Limits, reasons: list[Reason]
) -> EdgeDecided | None:
    """By the best tool that reaches all of it, else by one that reaches what stands beside it."""
    surface = part.at(edge.stage).surface
    level = math.isinf(surface.section_radius) and abs(surface.tilt) < LEVEL
    short = list[Table]()
    for tool in tools.surfacing_tools(edge.profile, level=level):
        finish = finish_with(tool, part, edge)
        if tool.reach < depth_to(finish, part, edge):
            short.append(finish)
        elif (made := _passes_of(finish, part, edge, within, reasons)) is not None:
            return made
    for finish in short:
        if (lacks := _too_short(finish, finish.sweep.tool, edge)) is not None:
            reasons.append(lacks)
        elif (made := _passes_of(finish, part, edge, within, reasons)) is not None:
            return made
    return None


def _passes_of(
    finish: Table, part: Part, edge: Bench, within: _Limits, reasons: list[Reason]
) -> EdgeDecided | None:
    """All passes of one tool, or the reasons why it can't make them."""
    if finish.bridged:
        reasons.append(Reason.about(finish.sweep.tool, ReasonCode.BRIDGES_HOLLOW))
        return None
    one_way = math.isinf(finish.sweep.crown) and not finish.sweep.ridge
    surface, limber = surface_passes(finish, edge, one_way=one_way)
    reach = _finish_reach(finish, edge)
    against = [Reason.of_limit(f) for f in limber]
    against = against or within.against(str(part.top_feature), [reach])
    if surface is None or against:
        reasons += against
        return None
    need = depth_to(finish, part, edge)
    why = Reason(code=ReasonCode.LARGEST_REACHING, values={"need": need})
    by = ByMachine(tool=finish.sweep.tool, reach=reach, depth=need)
    made = Decision(feature=Feature(kind=part.top_feature), by=by, reasons=(why,))
    return EdgeDecided(decisions=(made,), bench=edge, surface=surface, steps=None)


def finish_with(tool: Tool, part: Part, edge: Bench) -> Table:
    """The finishing passes of the part's top or crown with a tool."""
    target = part.at(edge.stage)
    sweep = Sweep(
        surface=target.surface,
        tool=tool,
        stock=edge.stock,
        y_low=0.0,
        y_high=edge.stock.y1,
        crown=target.surface.section_radius,
        outline=edge.outline,
        ridge=target.ridge,
    )
    return sweep.table(sweep.rows(top.finishing_step(sweep, tool)))


def depth_to(finish: Table, part: Part, edge: Bench) -> float:
    """How deep a tool goes to bring out the top, mm; beside a round crown below what it cuts."""
    if math.isinf(finish.sweep.crown):
        return depth_of_top(part, edge)
    return edge.stock.z1 - _lowest(finish)


def _lowest(finish: Table) -> float:
    return float(np.min(finish.tips[finish.wanted]))


def _too_short(finish: Table, tool: Tool, edge: Bench) -> Reason | None:
    """Whether a tool's neck or flutes are too short for what stands beside a pass.

    Layers run over the finished surface, so that beside a pass no more stands than the surface
    rises there and one layer.
    """
    full = plan_cut(edge.material, tool, edge.profile, Work.SLOT)
    tips = np.where(finish.wanted, finish.tips, np.nan)
    rise = float(np.nanmax(np.nanmax(tips, axis=0) - np.nanmin(tips, axis=0)))
    need = rise + full.depth + LOCAL
    deep = edge.stock.z1 - float(np.nanmin(tips)) + LOCAL
    reach = min(tool.reach, tool.flute_length)
    if reach < need:
        return Reason.about(tool, ReasonCode.SHORT_REACH, reach=reach, need=need)
    if tool.stick_out < deep:  # the holder would meet what stands
        return Reason.about(tool, ReasonCode.SHORT_REACH, reach=tool.stick_out, need=deep)
    return None


def _in_steps(
    part: Part, edge: Bench, within: _Limits, reasons: list[Reason]
) -> EdgeDecided | None:
    """By the largest flat tool whose steps leave no more than the hand takes off."""
    surface = part.at(edge.stage).surface
    for tool in tools.surfacing_tools_of(edge.profile, Shape.FLAT):
        deep = depth_of_top(part, edge) + LOCAL
        if min(tool.reach, tool.flute_length) < deep:
            has = min(tool.reach, tool.flute_length)
            reasons.append(Reason.about(tool, ReasonCode.SHORT_REACH, reach=has, need=deep))
            continue
        stiff = plan_cut(edge.material, tool, edge.profile, Work.FINISH)
        if stiff.depth < top.LEAST_LEAVE:
            fault = top.too_limber(tool, edge.profile, stiff.depth)
            reasons.append(Reason.of_limit(fault))
            continue
        found = steps.steps_for(surface, tool, edge, RIDGE)
        if found is None:
            reasons.append(Reason.about(tool, ReasonCode.COARSE_STEPS, ridge=RIDGE))
            continue
        reach = _steps_reach(found, edge)
        against = within.against(str(part.top_feature), [reach])
        if not against:
            values = {"need": deep, "ridge": found.ridge}
            by = ByMachine(tool=tool, reach=reach, depth=deep, ridge=found.ridge)
            made = Decision(
                feature=Feature(kind=part.top_feature),
                by=by,
                reasons=(Reason(code=ReasonCode.STEPPED, values=values),),
            )
            bench = dataclasses.replace(edge, ridge=found.ridge)
            return EdgeDecided(decisions=(made,), bench=bench, surface=None, steps=found)
        reasons += against
    return None


def _steps_reach(found: Steps, edge: Bench) -> Box:
    """Where the tip goes on a flat tool's steps."""
    return Box(
        x0=float(found.xs[0]),
        x1=float(found.xs[-1]),
        y0=float(np.min(found.ys)),
        y1=float(np.max(found.ys)),
        z0=found.lowest,
        z1=edge.clearance,
    )


def _finish_reach(finish: Table, edge: Bench) -> Box:
    """Where the tip goes over a top or a crown."""
    x0, x1 = finish.sweep.x_ends
    z0 = _lowest(finish)
    return Box(x0=x0, x1=x1, y0=min(finish.ys), y1=max(finish.ys), z0=z0, z1=edge.clearance)


def depth_of_top(part: Part, edge: Bench) -> float:
    """How deep a top or a crown lies at its lowest below what stands, mm."""
    stock, surface = edge.stock, part.at(edge.stage).surface
    xs, ys = np.linspace(stock.x0, stock.x1, 33), (stock.y0, stock.y1)
    return stock.z1 - min(float(np.min(surface.height(xs, np.full_like(xs, y)))) for y in ys)


# -- front -------------------------------------------------------------------------------------


def _decide_front(
    request: CutRequest, shaped: EdgeDecided, within: _Limits
) -> tuple[Decision, ...]:
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


def _decide_step(part: Part, slot: Slot, edge: Bench, within: _Limits) -> Decision:
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
    request: CutRequest, shaped: EdgeDecided, before: Sequence[Decision], within: _Limits
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
    nut: Part, slot: Slot, decision: Decision, edge: Bench, within: _Limits
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


def _nicked(nut: Part, slot: Slot, decision: Decision, edge: Bench, within: _Limits) -> Decision:
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
    part: Part, request: CutRequest, shaped: EdgeDecided, within: _Limits
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
