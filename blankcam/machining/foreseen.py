"""What a plan will caution, and why it will be refused, without planning a single move.

A tool's cautions are the same in every operation, so it is enough to know which tools are used.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterable, Iterator

import numpy as np

from blankcam.faults import Fault, RefusedError
from blankcam.inputs.job import BlankJob, PlanJob
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Tool
from blankcam.machining import crown, ends, slots, thickness, top, workholding
from blankcam.machining.cutter_contact import Sweep
from blankcam.machining.decision import ByMachine
from blankcam.machining.feeds import Work, plan_cut
from blankcam.machining.setup_sheet import Bench, set_up
from blankcam.parts.curve import Array
from blankcam.parts.frames import Box
from blankcam.parts.nut import Nut
from blankcam.parts.part import Stage
from blankcam.parts.saddle import Saddle
from blankcam.toolpath import build, contouring

SPARE = 10.0
"""mm that no tool goes further out than its diameter, for a first look,"""
NEAR = 0.2
"""and mm by which a tip may be lower than such a look says (our own)."""


def cautions(
    part: Nut | Saddle,
    blank: BlankJob,
    profile: Profile,
    material: str,
    stage: Stage,
    by: PlanJob,
) -> tuple[str, ...]:
    """The cautions that ``plan_nut`` or ``plan_saddle`` would give, in any order.

    A job that can't be planned has the cautions of the tools that can be told.

    Parameters
    ----------
    blank : as it comes under the cutter
    by : who does what
    """
    off = thickness.off(part, blank, by.thickness)
    face = list(_face_tools(part, blank, profile, by, off))
    if off:
        blank = dataclasses.replace(blank, thickness=part.thickness)
    bench = set_up(part.length, blank, profile, material, stage)
    if by.outline == "mill":
        bench = build.cut_out(part, bench)
    edge = _nut_tools(part, bench, by) if isinstance(part, Nut) else _saddle_tools(part, bench, by)
    said = [*_of(face, bench)]
    if off:
        said.append(thickness.caution(part))
    return tuple(dict.fromkeys((*said, *_of(edge, bench))))


def refusals(
    part: Nut | Saddle,
    blank: BlankJob,
    profile: Profile,
    material: str,
    stage: Stage,
    by: PlanJob,
) -> tuple[Fault, ...]:
    """Why ``plan_nut`` or ``plan_saddle`` would refuse the part: some at least of the reasons.

    What only the moves tell is left to the plan; ``may_be_more`` says whether to ask it.
    """
    held, off = profile.holding, thickness.off(part, blank, by.thickness)
    found = list(workholding.grip_faults(part.name, held, blank.height))
    if by.thickness == "mill":
        found += thickness.faults(part, blank)
    if off:
        blank = dataclasses.replace(blank, thickness=part.thickness)
    bench = set_up(part.length, blank, profile, material, stage)
    mills = by.outline == "mill"
    if mills or off:
        found += _face_refusals(part, build.stock_on_face(bench.stock, off), profile, mills=mills)
    found += _edge_refusals(part, build.cut_out(part, bench) if mills else bench, by)
    return tuple(found)


def may_be_more(
    part: Nut | Saddle,
    blank: BlankJob,
    profile: Profile,
    material: str,
    stage: Stage,
    by: PlanJob,
) -> bool:
    """Whether a part that ``refusals`` finds nothing against may be refused for its moves.

    That is for travel, for clamps, or for a top or crown near the jaws. True where it is near.
    """
    held, off = profile.holding, thickness.off(part, blank, by.thickness)
    mills = by.outline == "mill"
    if (mills or off) and held.on_face == "clamps":
        return True
    bench = set_up(part.length, blank, profile, material, stage)
    beside = 2 * (max((t.diameter for t in profile.tools), default=0.0) + SPARE)
    face = blank.thickness + off + contouring.THROUGH + profile.clearance
    need = (
        blank.length + beside,
        max(blank.thickness, blank.height) + beside,
        max(bench.clearance, face) + SPARE,
    )
    travel = profile.travel
    if any(n > t for n, t in zip(need, (travel.x, travel.y, travel.z), strict=True)):
        return True
    bench = build.cut_out(part, bench) if mills else bench
    sweep = (
        build.nut_sweep(part, bench) if isinstance(part, Nut) else build.saddle_sweep(part, bench)
    )
    return _lowest_tip(sweep) < held.jaw_top + workholding.JAW_ROOM + NEAR


def _lowest_tip(sweep: Sweep) -> float:
    """About the lowest z of a tip over a top or a crown, mm: where a ball touches its slopes."""
    stock = sweep.stock
    x, y = np.meshgrid(
        np.linspace(stock.x0, stock.x1, 65), np.linspace(sweep.y_low, sweep.y_high, 17)
    )
    slopes = sweep.surface.gradient(x, y)
    under = sweep.tool.radius * (1 - 1 / np.sqrt(1 + slopes[0] ** 2 + slopes[1] ** 2))
    return float(np.min(sweep.surface.height(x, y) - under))


def _face_refusals(
    part: Nut | Saddle, stock: Box, profile: Profile, *, mills: bool
) -> Iterator[Fault]:
    held = profile.holding
    yield from workholding.face_faults(
        part.name, held, stock, outline=mills, thickness=stock.z1 > 0
    )
    try:
        build.face_tools(part, stock, profile, held, outline_by_mill=mills)
    except RefusedError as refused:
        yield from refused.faults


def _edge_refusals(part: Nut | Saddle, bench: Bench, by: PlanJob) -> Iterator[Fault]:
    held = bench.profile.holding
    try:
        if isinstance(part, Nut):
            sweep, round_by_mill = build.nut_sweep(part, bench), False
        else:
            sweep = build.saddle_sweep(part, bench)
            round_by_mill = by.ends == "mill" and bool(build.ends_tool(sweep, bench.profile, held))
    except RefusedError as refused:
        yield from refused.faults
        return
    yield from top.limber_faults(sweep, bench)
    if isinstance(part, Saddle):
        yield from build.square_faults(part, by.outline, made=round_by_mill)
    else:
        low = _lowest_slot(part, bench, by)
        yield from workholding.jaw_faults_at(part.name, held, "slots", low)


def _lowest_slot(nut: Nut, bench: Bench, by: PlanJob) -> float:
    """Where the lowest floor ends, behind the head side."""
    by_file = by.slots != "mill"
    made = ((s, slots.choose(nut, s, bench.profile, bench.stage, by_file=by_file))
            for s in nut.slots)  # fmt: skip
    return min(
        (slots.lowest(nut, s, c.tool, bench) for s, c in made if c.tool is not None),
        default=math.inf,
    )


def _of(tools: Iterable[Tool | None], bench: Bench) -> list[str]:
    """What there is to tell of tools, each once."""
    used = {t.number: t for t in tools if t is not None}.values()
    cuts = (plan_cut(bench.material, t, bench.profile, Work.SLOT) for t in used)
    return [caution for cut in cuts for caution in cut.cautions]


def _face_tools(
    part: Nut | Saddle, blank: BlankJob, profile: Profile, by: PlanJob, off: float
) -> Iterator[Tool | None]:
    thick = part.thickness if off else blank.thickness
    if off:
        yield thickness.choose_tool(profile, off)
    if by.outline == "mill":
        yield contouring.choose_tool(profile, thick + contouring.THROUGH)


def _nut_tools(nut: Nut, bench: Bench, by: PlanJob) -> Iterator[Tool | None]:
    stock, profile, stage = bench.stock, bench.profile, bench.stage
    low = _lowest(top.TopSurface(nut=nut, stage=stage).height, stock.x0, stock.x1, stock.y1)
    yield top.choose_tool(profile, stock.z1 - low, level=abs(nut.tilt) < 1e-9)
    choices = slots.chosen(nut, bench, by_file=by.slots != "mill")
    yield from (t for c in choices for t in (c.tool, c.nick))
    made = (c.by for c in choices)
    yield from (b.opening.tool for b in made if isinstance(b, ByMachine) and b.opening)


def _lowest(height: Callable[[Array, Array], Array], x0: float, x1: float, y: float) -> float:
    x = np.linspace(x0, x1, 33)
    return float(np.min(height(x, np.full_like(x, y))))


def _saddle_tools(saddle: Saddle, bench: Bench, by: PlanJob) -> Iterator[Tool | None]:
    stock, profile, held = bench.stock, bench.profile, bench.profile.holding
    yield top.choose_tool(profile, stock.z1 - held.jaw_top, level=False)
    if saddle.ends == "round" and by.ends == "mill":
        surface = crown.crown_surface(saddle, bench.stage)
        x, y = np.meshgrid(np.linspace(stock.x0, stock.x1, 65), np.linspace(0.0, stock.y1, 33))
        high = float(np.max(surface.height(x, y))) + 0.02
        yield contouring.choose_tool(profile, high - ends.lowest(held) + 0.2)
