"""Who brings out the top of a nut or the crown of a saddle, and with what: the first on edge."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from blankcam.data import table
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining import steps, tools, top
from blankcam.machining.cutter_contact import ContactTable, Sweep
from blankcam.machining.decision import ByMachine, Decision, Reason, ReasonCode
from blankcam.machining.edge_limits import Limits
from blankcam.machining.feeds import Work, plan_cut
from blankcam.machining.request import CutRequest
from blankcam.machining.setup_sheet import Bench
from blankcam.machining.steps import Steps
from blankcam.machining.surface_passes import SurfacePasses, surface_passes
from blankcam.parts.frames import Box
from blankcam.parts.part import Feature, FeatureKind, Part

LEVEL = 1e-9
"""rad under which a top that falls toward the head is level."""
RIDGE: float = table("cutting")["top"]["step_ridge"]
LOCAL: float = table("cutting")["top"]["local_reach"]


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


def decide_top(
    request: CutRequest, edge: Bench, within: Limits, unfit: Sequence[Reason]
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
    none = Reason(code=ReasonCode.NONE_REACHES, values={"need": _depth_of_top(part, edge)})
    return _top_by_hand(feature, edge, [*(reasons or [none]), *unfit])


def _top_by_hand(feature: Feature, edge: Bench, why: Iterable[Reason]) -> EdgeDecided:
    return EdgeDecided(
        decisions=(Decision.by_hand(feature, why),),
        bench=dataclasses.replace(edge, uncut=True),
        surface=None,
        steps=None,
    )


def _in_fine_passes(
    part: Part, edge: Bench, within: Limits, reasons: list[Reason]
) -> EdgeDecided | None:
    """By the best tool that reaches all of it, else by one that reaches what stands beside it."""
    surface = part.at(edge.stage).surface
    level = math.isinf(surface.section_radius) and abs(surface.tilt) < LEVEL
    short = list[ContactTable]()
    for tool in tools.surfacing_tools(edge.profile, level=level):
        finish = _finish_with(tool, part, edge)
        if tool.reach < _depth_to(finish, part, edge):
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
    finish: ContactTable, part: Part, edge: Bench, within: Limits, reasons: list[Reason]
) -> EdgeDecided | None:
    """All passes of one tool, or the reasons why it can't make them."""
    if finish.bridged:
        reasons.append(Reason.about(finish.sweep.tool, ReasonCode.BRIDGES_HOLLOW))
        return None
    reach = _finish_reach(finish, edge)  # beside the blank its rows go lower than any pass
    if against := within.foreseen(str(part.top_feature), [reach]):
        reasons += against
        return None
    one_way = math.isinf(finish.sweep.crown) and not finish.sweep.ridge
    surface, limber = surface_passes(finish, edge, one_way=one_way)
    if surface is None:
        reasons += [Reason.of_limit(f) for f in limber]
        return None
    need = _depth_to(finish, part, edge)
    why = Reason(code=ReasonCode.LARGEST_REACHING, values={"need": need})
    reach = dataclasses.replace(reach, z0=surface.finish.lowest)
    if against := within.against(str(part.top_feature), [reach]):
        reasons += against
        return None
    by = ByMachine(tool=finish.sweep.tool, reach=reach, depth=need)
    made = Decision(feature=Feature(kind=part.top_feature), by=by, reasons=(why,))
    return EdgeDecided(decisions=(made,), bench=edge, surface=surface, steps=None)


def _finish_with(tool: Tool, part: Part, edge: Bench) -> ContactTable:
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
    return top.finishing_table(sweep)


def _depth_to(finish: ContactTable, part: Part, edge: Bench) -> float:
    """How deep a tool goes to bring out the top, mm; beside a round crown below what it cuts."""
    if math.isinf(finish.sweep.crown):
        return _depth_of_top(part, edge)
    return edge.stock.z1 - _lowest(finish)


def _lowest(finish: ContactTable) -> float:
    return float(np.min(finish.tips[finish.wanted]))


def _too_short(finish: ContactTable, tool: Tool, edge: Bench) -> Reason | None:
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


def _in_steps(part: Part, edge: Bench, within: Limits, reasons: list[Reason]) -> EdgeDecided | None:
    """By the largest flat tool whose steps leave no more than the hand takes off."""
    surface = part.at(edge.stage).surface
    for tool in tools.surfacing_tools_of(edge.profile, Shape.FLAT):
        deep = _depth_of_top(part, edge) + LOCAL
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


def _finish_reach(finish: ContactTable, edge: Bench) -> Box:
    """Where the tip goes over a top or a crown."""
    x0, x1 = finish.sweep.x_ends
    z0 = _lowest(finish)
    return Box(
        x0=x0,
        x1=x1,
        y0=float(np.min(finish.y)),
        y1=float(np.max(finish.y)),
        z0=z0,
        z1=edge.clearance,
    )


def _depth_of_top(part: Part, edge: Bench) -> float:
    """How deep a top or a crown lies at its lowest below what stands, mm."""
    stock, surface = edge.stock, part.at(edge.stage).surface
    xs, ys = np.linspace(stock.x0, stock.x1, 33), (stock.y0, stock.y1)
    return stock.z1 - min(float(np.min(surface.height(xs, np.full_like(xs, y)))) for y in ys)
