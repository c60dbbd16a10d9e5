"""From a part, a blank and a machine to programs."""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from blankcam.faults import Fault, RefusedError
from blankcam.inputs.job import BlankJob
from blankcam.inputs.machine import Holding, Profile, ToolChange
from blankcam.inputs.tool import Tool
from blankcam.machining import crown, ends, slots, thickness, top, workholding
from blankcam.machining.cutter_contact import Sweep
from blankcam.machining.decision import ByMachine, Decision
from blankcam.machining.request import CutRequest
from blankcam.machining.setup_sheet import Bench, set_up
from blankcam.parts.curve import Array
from blankcam.parts.frames import Box, Setup
from blankcam.parts.nut import Nut
from blankcam.parts.part import Stage
from blankcam.parts.saddle import Saddle
from blankcam.toolpath import bounds, clearing, contouring
from blankcam.toolpath.linearize import without_arcs
from blankcam.toolpath.moves import Operation, Program


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What the machine does for one part, and what the hand does."""

    programs: tuple[Program, ...]
    slots: tuple[Decision, ...] = ()
    cautions: tuple[str, ...] = ()


def plan(request: CutRequest) -> Plan:
    """What the machine does for a part, and what the hand does.

    Raises
    ------
    RefusedError
        When it must not or can't be cut so.
    """
    part, box, by = request.part, request.blank, request.wishes
    blank = BlankJob(length=box.x1 - box.x0, height=box.z1, thickness=box.y1 - box.y0)
    told = (blank, request.machine, request.material, request.stage)
    if isinstance(part, Nut):
        made = plan_nut(
            part, *told, slots_by=by.slots, outline_by=by.outline, thickness_by=by.thickness
        )
    else:
        made = plan_saddle(
            part, *told, outline_by=by.outline, ends_by=by.ends, thickness_by=by.thickness
        )
    return dataclasses.replace(made, programs=tuple(_labelled(p, request) for p in made.programs))


def _labelled(program: Program, request: CutRequest) -> Program:
    """The program under its request's name; a refit's with its stage and zero."""
    label, box = request.label, request.blank
    number = program.stem.removeprefix(f"{program.part}-{program.setup}")
    stem = label.program_stem(Setup(program.setup)) + number
    part = request.part.name
    if not label.readings_digest:
        return dataclasses.replace(program, part=part, stem=stem)
    zero = "X0 its left end, Y0 its face toward the tail, Z0 its seat side"
    if request.turned:
        zero = (
            "crown down, left end still on the left; X0 its left end, Y0 its face toward the nut,"
            f" Z{box.z1:.3f} its underside, levelled"
        )
    readings = label.readings_digest
    return dataclasses.replace(
        program, part=part, stem=stem, stage="refit", zero=zero, readings=readings
    )


def plan_nut(
    nut: Nut,
    blank: BlankJob,
    profile: Profile,
    material: str,
    stage: Stage,
    *,
    held: Holding | None = None,
    slots_by: str = "mill",
    outline_by: str = "saw",
    thickness_by: str = "hand",
) -> Plan:
    """The nut's programs: on face its thickness and outline, on edge top, clear, slots.

    Parameters
    ----------
    slots_by : ``mill`` or ``file``
    outline_by : ``mill`` or ``saw``
    thickness_by : ``mill`` or ``hand``; by hand the blank has its thickness already

    Raises
    ------
    RefusedError
        When it must not or can't be cut so.
    """
    begun = _begin(nut, blank, profile, material, stage, held, (outline_by, thickness_by))
    bench, held = begun.bench, begun.held
    choices = slots.chosen(nut, bench, by_file=slots_by != "mill")
    sweep = nut_sweep(nut, bench)
    operations = [top.sweep_operation("top", f"{stage} top along x", sweep, bench, one_way=True)]
    ceiling = _standing(sweep)
    operations += _clearing(nut, choices, bench, ceiling)
    for tool, chosen in _by_tool(choices, lambda c: c.tool):
        operations.append(slots.slot_operation(nut, chosen, tool, bench, ceiling))
    for tool, chosen in _by_tool(choices, lambda c: c.nick):
        operations.append(slots.nick_operation(nut, chosen, tool, bench, ceiling))
    return _joined(begun.first, _finish("nut", bench, held, operations, choices))


def plan_saddle(
    saddle: Saddle,
    blank: BlankJob,
    profile: Profile,
    material: str,
    stage: Stage,
    *,
    held: Holding | None = None,
    outline_by: str = "saw",
    ends_by: str = "mill",
    thickness_by: str = "hand",
) -> Plan:
    """The saddle's programs: on face thickness and outline, on edge crown and round ends.

    Parameters
    ----------
    outline_by : ``mill`` or ``saw``
    ends_by : ``mill`` or ``hand``
    thickness_by : ``mill`` or ``hand``; by hand the blank has its thickness already

    Raises
    ------
    RefusedError
        When it must not or can't be cut so.
    """
    begun = _begin(saddle, blank, profile, material, stage, held, (outline_by, thickness_by))
    bench, held = begun.bench, begun.held
    sweep = saddle_sweep(saddle, bench)
    operations = [
        top.sweep_operation("crown", f"{stage} crown along x", sweep, bench, one_way=False)
    ]
    if saddle.ends == "round" and ends_by == "mill":
        operations += _ends(saddle, bench, held, sweep)
    _stop(square_faults(saddle, outline_by, made=any(o.name == "ends" for o in operations)))
    return _joined(begun.first, _finish("saddle", bench, held, operations, ()))


def _ends(saddle: Saddle, bench: Bench, held: Holding, sweep: Sweep) -> list[Operation]:
    """The round ends, where a flat tool is long enough; else they are the hand's."""
    tool, highest = ends_tool(sweep, bench.profile, held), functools.partial(_highest, sweep)
    return [] if tool is None else [ends.ends_operation(saddle, tool, bench, held, highest)]


def ends_tool(sweep: Sweep, profile: Profile, held: Holding) -> Tool | None:
    """The tool that makes round ends of a crown."""
    ceiling = _highest(sweep, sweep.stock.x0, sweep.stock.x1)
    return contouring.choose_tool(profile, ceiling - ends.lowest(held) + 0.2)


def square_faults(saddle: Saddle, outline_by: str, *, made: bool) -> list[Fault]:
    """An outline cut to length leaves square ends, which must be ``made`` round in its plan."""
    if saddle.ends != "round" or outline_by != "mill" or made:
        return []
    return [
        Fault(
            where="saddle",
            key="plan.outline",
            found="mill",
            wrong="would cut the ends square to length, and nothing would make them round",
            fix='set ends = "mill" with a flat tool long enough, or outline = "saw"',
        )
    ]


def _highest(sweep: Sweep, low: float, high: float) -> float:
    """The highest of a crown over the blank from one x to another."""
    x, y = np.meshgrid(np.linspace(low, high, 65), np.linspace(sweep.y_low, sweep.y_high, 33))
    return float(np.max(sweep.surface.height(x, y))) + 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class _Begun:
    """A part after what is done to it on face."""

    held: Holding
    first: tuple[Program, ...]
    """The programs on face."""
    bench: Bench
    """The set-up on edge."""


def _begin(  # what either part's plan is told
    part: Nut | Saddle,
    blank: BlankJob,
    profile: Profile,
    material: str,
    stage: Stage,
    held: Holding | None,
    by: tuple[str, str],
) -> _Begun:
    """Outline and thickness, each ``by`` the machine or not, and what stands on edge then."""
    held, (outline_by, thickness_by) = held or profile.holding, by
    _stop(workholding.grip_faults(part.name, held, blank.height))
    done = _Face(outline=outline_by == "mill", off=_off(part, blank, thickness_by))
    if done.off:
        blank = dataclasses.replace(blank, thickness=part.thickness)
    bench = set_up(part.length, blank, dataclasses.replace(profile, holding=held), material, stage)
    first = _on_face(part, bench, held, done)
    return _Begun(held=held, first=first, bench=cut_out(part, bench) if done.outline else bench)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Face:
    """What is done to a blank lying on its face."""

    outline: bool
    off: float
    """mm off its upper face."""


def _off(part: Nut | Saddle, blank: BlankJob, by: str) -> float:
    """What the machine takes off the blank's face, where it may."""
    if by == "mill":
        _stop(thickness.faults(part, blank))
    return thickness.off(part, blank, by)


def _on_face(part: Nut | Saddle, bench: Bench, held: Holding, done: _Face) -> tuple[Program, ...]:
    """The program for the blank lying on its face: its thickness, then its outline."""
    if not done.outline and not done.off:
        return ()
    profile = bench.profile
    stock = stock_on_face(bench.stock, done.off)
    _stop(workholding.face_faults(part.name, held, stock, outline=done.outline,
                              thickness=done.off > 0))  # fmt: skip
    clear = workholding.clamp_top(held, stock) + profile.clearance
    face = dataclasses.replace(bench, stock=stock, clearance=clear)
    operations = [without_arcs(o, profile.controller.arc_planes)
                  for o in _face_operations(part, face, held, done)]  # fmt: skip
    _stop(workholding.clamp_faults(part.name, held, stock, profile, operations))
    _stop(bounds.travel_faults(f"{part.name}, on face", profile, operations))
    cautions = [c for o in operations for c in o.cut.cautions]
    if done.off:
        cautions.append(thickness.caution(part))
    program = Program(
        stem=f"{part.name}-face",
        part=part.name,
        setup="face",
        stage=str(bench.stage),
        material=bench.material.name,
        stock=stock,
        holding=held,
        zero=_zero_on_face(stock),
        clearance=face.clearance,
        operations=tuple(operations),
        cautions=tuple(dict.fromkeys(cautions)),
    )
    return split(program, profile)


def _face_operations(
    part: Nut | Saddle, face: Bench, held: Holding, done: _Face
) -> Iterable[Operation]:
    stock = face.stock
    thin, around = face_tools(part, stock, face.profile, held, outline_by_mill=done.outline)
    if thin is not None:
        yield thickness.thickness_operation(thin, face)
    if around is not None:
        thinned = dataclasses.replace(stock, z1=0.0)
        yield contouring.outline_operation(part, around, dataclasses.replace(face, stock=thinned))


def face_tools(
    part: Nut | Saddle, stock: Box, profile: Profile, held: Holding, *, outline_by_mill: bool
) -> tuple[Tool | None, Tool | None]:
    """The tools of thickness and outline, None where that is not done.

    Raises
    ------
    RefusedError
        Where there is none, or where tape alone must hold against it.
    """
    area = (stock.x1 - stock.x0) * (stock.y1 - stock.y0)
    off, depth = max(stock.z1, 0.0), -stock.z0
    thin = around = None
    if off:
        thin = thickness.choose_tool(profile, off)
        if thin is None:
            wrong = f"no flat tool of 1 mm or more takes {off:.2f} mm off the {part.name}"
            raise _no_tool(profile, wrong, 'set thickness = "hand" in [plan]')
        _stop(workholding.tape_faults(part.name, held, thin, area))
    if outline_by_mill:
        around = contouring.choose_tool(profile, depth + contouring.THROUGH)
        if around is None:
            wrong = f"no flat tool of 1 to {contouring.WIDEST:g} mm cuts the {depth:.1f} mm "
            wrong += f"of the {part.name}'s outline"
            raise _no_tool(profile, wrong, 'set outline = "saw" in [plan]')
        _stop(workholding.tape_faults(part.name, held, around, area))
    return thin, around


def _no_tool(profile: Profile, wrong: str, otherwise: str) -> RefusedError:
    where = profile.path or profile.name
    fix = f"add one, or {otherwise}"
    return RefusedError(Fault(where=where, key="tools", wrong=wrong, fix=fix))


def stock_on_face(edge: Box, off: float) -> Box:
    """The blank on edge as it lies on face, with what is still to come off its upper face."""
    return Box(
        x0=edge.x0,
        x1=edge.x1,
        y0=edge.z0,
        y1=edge.z1,
        z0=-edge.y1,
        z1=off,
    )


def _zero_on_face(stock: Box) -> str:
    upper = "Z0 its upper face"
    if stock.z1 > 0:
        upper = (
            f"Z0 {stock.z1:.3f} mm under its upper face - touch off where its thickness was "
            f"measured and set Z to {stock.z1:.3f} mm there"
        )
    return (
        f"X0 {-stock.x0:.2f} mm from the blank's left end, Y0 its seat side, "
        f"{upper}, the face toward the tail up"
    )


def _joined(first: tuple[Program, ...], then: Plan) -> Plan:
    """Programs on face before those on edge."""
    said = (c for p in first for c in p.cautions)
    return dataclasses.replace(
        then,
        programs=(*first, *then.programs),
        cautions=tuple(dict.fromkeys((*said, *then.cautions))),
    )


def cut_out(part: Nut | Saddle, bench: Bench) -> Bench:
    """The set-up on edge of what the outline on face has left; its clearance stays the blank's."""

    def standing(x: Array) -> Array:
        return contouring.left_standing(part, bench.stage, x) + contouring.STANDING

    high = float(np.max(standing(np.linspace(0.0, part.length, 2001))))
    stock = dataclasses.replace(bench.stock, x0=0.0, x1=part.length, z1=min(high, bench.stock.z1))
    return dataclasses.replace(bench, stock=stock, outline=standing)


def saddle_sweep(saddle: Saddle, bench: Bench) -> Sweep:
    """The saddle's crown and its tool; raises RefusedError where there is none."""
    stock, held = bench.stock, bench.profile.holding
    return Sweep(
        surface=crown.crown_surface(saddle, bench.stage),
        tool=_need_tool("saddle", bench.profile, stock.z1 - held.jaw_top, level=False),
        stock=stock,
        y_low=0.0,
        y_high=stock.y1,
        crown=saddle.crown_radius,
        outline=bench.outline,
    )


def nut_sweep(nut: Nut, bench: Bench) -> Sweep:
    """The nut's top and its tool; raises RefusedError where there is none."""
    stock = bench.stock
    surface = top.TopSurface(nut=nut, stage=bench.stage)
    xs = np.linspace(stock.x0, stock.x1, 33)
    need = stock.z1 - float(np.min(surface.height(xs, np.full_like(xs, stock.y1))))
    return Sweep(
        surface=surface,
        tool=_need_tool("nut", bench.profile, need, level=abs(nut.tilt) < 1e-9),
        stock=stock,
        y_low=0.0,
        y_high=stock.y1,
        crown=math.inf,
        outline=bench.outline,
    )


def _need_tool(part: str, profile: Profile, need: float, *, level: bool) -> Tool:
    tool = top.choose_tool(profile, need, level=level)
    if tool is None:
        raise RefusedError(
            Fault(
                where=profile.path or profile.name,
                key="tools",
                wrong=f"no ball tool of 1 to 6 mm reaches {need:.1f} mm deep for the {part}",
                fix="add one, or cut this part by hand",
            )
        )
    return tool


def _clearing(
    nut: Nut, choices: Sequence[Decision], bench: Bench, ceiling: float
) -> list[Operation]:
    opened = {c.string: c.by.opening for c in choices if isinstance(c.by, ByMachine)}
    groups: dict[int, tuple[Tool, list[clearing.Waste]]] = {}
    for slot in nut.slots:
        if (opening := opened.get(slot.string)) is not None:
            waste = clearing.Waste(slot=slot, narrow=opening.narrow)
            groups.setdefault(opening.tool.number, (opening.tool, []))[1].append(waste)
    return [
        clearing.clear_operation(nut, group, tool, bench, ceiling)
        for tool, group in groups.values()
    ]


def _by_tool(
    choices: Iterable[Decision], key: Callable[[Decision], Tool | None]
) -> list[tuple[Tool, list[Decision]]]:
    """Choices by their tool, the largest tool first."""
    groups: dict[int, tuple[Tool, list[Decision]]] = {}
    for choice in choices:
        tool = key(choice)
        if tool is not None:
            groups.setdefault(tool.number, (tool, []))[1].append(choice)
    return sorted(groups.values(), key=lambda g: -g[0].diameter)


def _standing(sweep: Sweep) -> float:
    """The highest thing once the surface is cut."""
    xs = np.linspace(sweep.stock.x0, sweep.stock.x1, 65)
    rows = (sweep.y_low, sweep.y_high)
    high = max(float(np.max(sweep.surface.height(xs, np.full_like(xs, y)))) for y in rows)
    return high + 0.05


def _finish(
    part: str,
    bench: Bench,
    held: Holding,
    operations: list[Operation],
    choices: tuple[Decision, ...],
) -> Plan:
    _stop(workholding.jaw_faults(part, held, operations))
    profile = bench.profile
    shaped = tuple(without_arcs(o, profile.controller.arc_planes) for o in operations)
    _stop(bounds.travel_faults(f"{part}, on edge", profile, shaped))
    cautions = tuple(dict.fromkeys(c for o in shaped for c in o.cut.cautions))
    whole = Program(
        stem=f"{part}-edge",
        part=part,
        setup="edge",
        stage=str(bench.stage),
        material=bench.material.name,
        stock=bench.stock,
        holding=held,
        zero=_zero_on_edge(bench),
        clearance=bench.clearance,
        operations=shaped,
        cautions=cautions,
    )
    return Plan(programs=split(whole, profile), slots=choices, cautions=cautions)


def _zero_on_edge(bench: Bench) -> str:
    faces = "Y0 its face toward the tail, Z0 its seat side"
    if bench.outline is not None:
        return f"X0 the left end that the outline on face has cut, {faces}"
    return f"X0 {-bench.stock.x0:.2f} mm from the blank's left end, {faces}"


def split(program: Program, profile: Profile) -> tuple[Program, ...]:
    """One program a tool where the machine asks for that, numbered in order."""
    if profile.controller.tool_change is not ToolChange.FILE:
        return (program,)
    runs: list[list[Operation]] = []
    for operation in program.operations:
        if runs and runs[-1][-1].tool.number == operation.tool.number:
            runs[-1].append(operation)
        else:
            runs.append([operation])
    return tuple(
        dataclasses.replace(program, stem=f"{program.stem}-{i}", operations=tuple(run))
        for i, run in enumerate(runs, start=1)
    )


def _stop(faults: list[Fault]) -> None:
    if faults:
        raise RefusedError(faults)
