"""From decisions to programs: every operation of a part, in the order in which they run."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from blankcam.faults import Fault, RefusedError
from blankcam.inputs.machine import Profile, ToolChange
from blankcam.inputs.tool import Tool
from blankcam.machining.cutter_contact import Sweep, Table
from blankcam.machining.decide import Decided, decide, highest
from blankcam.machining.decision import ByMachine, Decision
from blankcam.machining.request import CutRequest
from blankcam.machining.setup_sheet import Bench
from blankcam.parts.frames import Box, ReferenceSurface, Setup, Zero
from blankcam.parts.nut import Nut
from blankcam.parts.part import FeatureKind
from blankcam.parts.saddle import Saddle
from blankcam.toolpath import (
    bounds,
    clearing,
    contouring,
    end_rounding,
    facing,
    slotting,
    surfacing,
)
from blankcam.toolpath.linearize import without_arcs
from blankcam.toolpath.moves import Operation, Program


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What the machine does for one part, and what the hand does."""

    programs: tuple[Program, ...]
    decisions: tuple[Decision, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def slots(self) -> tuple[Decision, ...]:
        """Who makes each slot, from the bass side."""
        return tuple(d for d in self.decisions if d.feature.kind is FeatureKind.SLOT)


def plan(request: CutRequest) -> Plan:
    """What the machine does for a part, and what the hand does.

    Raises
    ------
    RefusedError
        When it must not or can't be cut so: every reason.
    """
    decided = decide(request)
    _stop(decided.faults)
    programs = (*_programs_on_face(decided), *_programs_on_edge(decided))
    return Plan(programs=programs, decisions=decided.decisions, cautions=decided.cautions)


# -- on face -----------------------------------------------------------------------------------


def _programs_on_face(decided: Decided) -> tuple[Program, ...]:
    """The programs for the blank lying on its face: its thickness, then its outline."""
    face, part = decided.face, decided.request.part
    if face is None:
        return ()
    operations = _arcs_allowed(_face_operations(decided, face), face.profile)
    held = face.profile.holding
    _stop(bounds.clamp_faults(part.name, held, face.stock, face.profile, operations))
    _stop(bounds.travel_faults(f"{part.name}, on face", face.profile, operations))
    zeros = _zeros_on_face(face.stock)
    return split(_program(decided, face, Setup.FACE, zeros, operations), face.profile)


def _face_operations(decided: Decided, face: Bench) -> Iterator[Operation]:
    thin = decided.tool_for(FeatureKind.THICKNESS)
    around = decided.tool_for(FeatureKind.OUTLINE)
    if thin is not None:
        yield facing.thickness_operation(thin, face)
    if around is not None:
        thinned = dataclasses.replace(face.stock, z1=0.0)
        face = dataclasses.replace(face, stock=thinned)
        yield contouring.outline_operation(decided.request.part, around, face)


def _zeros_on_face(stock: Box) -> tuple[Zero, ...]:
    return (
        Zero(axis="X", surface=ReferenceSurface.BLANK_LEFT_END, value=stock.x0),
        Zero(axis="Y", surface=ReferenceSurface.SEAT_SIDE),
        Zero(axis="Z", surface=ReferenceSurface.UPPER_FACE, value=stock.z1),
    )


# -- on edge -----------------------------------------------------------------------------------


def _programs_on_edge(decided: Decided) -> tuple[Program, ...]:
    edge, part = decided.edge, decided.request.part
    assert decided.finish is not None
    made = (
        _nut_operations(decided, part, decided.finish)
        if isinstance(part, Nut)
        else _saddle_operations(decided, part, decided.finish)
    )
    operations = _arcs_allowed(made, edge.profile)
    _stop(bounds.jaw_faults(part.name, edge.profile.holding, operations))
    _stop(bounds.travel_faults(f"{part.name}, on edge", edge.profile, operations))
    zeros = _zeros_on_edge(decided.request, edge)
    return split(_program(decided, edge, Setup.EDGE, zeros, operations), edge.profile)


def _nut_operations(decided: Decided, nut: Nut, finish: Table) -> Iterator[Operation]:
    """Top, waste, slots and nicks."""
    edge = decided.edge
    yield surfacing.sweep_operation("top", f"{edge.stage} top along x", finish, edge, one_way=True)
    ceiling = _ceiling(finish.sweep)
    slots = tuple(decided.by(FeatureKind.SLOT))
    yield from _clearing(nut, slots, edge, ceiling)
    for tool, chosen in _by_tool(slots, lambda d: d.tool):
        yield slotting.slot_operation(nut, chosen, tool, edge, ceiling)
    for tool, chosen in _by_tool(slots, lambda d: d.nick):
        yield slotting.nick_operation(nut, chosen, tool, edge, ceiling)


def _saddle_operations(decided: Decided, saddle: Saddle, finish: Table) -> Iterator[Operation]:
    """Crown and round ends."""
    edge = decided.edge
    words = f"{edge.stage} crown along x"
    yield surfacing.sweep_operation("crown", words, finish, edge, one_way=False)
    if (tool := decided.tool_for(FeatureKind.ENDS)) is not None:
        high = functools.partial(highest, finish.sweep)
        yield end_rounding.ends_operation(saddle, tool, edge, edge.profile.holding, high)


def _clearing(
    nut: Nut, slots: Sequence[Decision], edge: Bench, ceiling: float
) -> Iterator[Operation]:
    """An operation a tool that opens waste, over every slot that it opens."""
    opened = {d.string: d.by.opening for d in slots if isinstance(d.by, ByMachine)}
    groups: dict[int, tuple[Tool, list[clearing.Waste]]] = {}
    for slot in nut.slots:
        if (opening := opened.get(slot.string)) is not None:
            waste = clearing.Waste(slot=slot, narrow=opening.narrow)
            groups.setdefault(opening.tool.number, (opening.tool, []))[1].append(waste)
    for tool, group in groups.values():
        yield clearing.clear_operation(nut, group, tool, edge, ceiling)


def _by_tool(
    decisions: Iterable[Decision], key: Callable[[Decision], Tool | None]
) -> list[tuple[Tool, list[Decision]]]:
    """Decisions by their tool, the largest tool first."""
    groups: dict[int, tuple[Tool, list[Decision]]] = {}
    for decision in decisions:
        tool = key(decision)
        if tool is not None:
            groups.setdefault(tool.number, (tool, []))[1].append(decision)
    return sorted(groups.values(), key=lambda g: -g[0].diameter)


def _ceiling(sweep: Sweep) -> float:
    """The highest thing once the surface is cut, z."""
    xs = np.linspace(sweep.stock.x0, sweep.stock.x1, 65)
    rows = (sweep.y_low, sweep.y_high)
    high = max(float(np.max(sweep.surface.height(xs, np.full_like(xs, y)))) for y in rows)
    return high + 0.05


def _zeros_on_edge(request: CutRequest, edge: Bench) -> tuple[Zero, ...]:
    left, seat = ReferenceSurface.LEFT_END, Zero(axis="Z", surface=ReferenceSurface.SEAT_SIDE)
    if request.turned:
        return (
            Zero(axis="X", surface=left),
            Zero(axis="Y", surface=ReferenceSurface.NUT_SIDE),
            Zero(axis="Z", surface=ReferenceSurface.UNDERSIDE, value=request.blank.z1),
        )
    front = Zero(axis="Y", surface=request.part.seen_side)
    if request.label.readings_digest:
        return Zero(axis="X", surface=left), front, seat
    if edge.outline is not None:
        return Zero(axis="X", surface=ReferenceSurface.CUT_LEFT_END), front, seat
    blank = Zero(axis="X", surface=ReferenceSurface.BLANK_LEFT_END, value=edge.stock.x0)
    return blank, front, seat


# -- both --------------------------------------------------------------------------------------


def _arcs_allowed(operations: Iterable[Operation], profile: Profile) -> tuple[Operation, ...]:
    """The operations with chords for the arcs that the controller does not know."""
    return tuple(without_arcs(o, profile.controller.arc_planes) for o in operations)


def _program(
    decided: Decided,
    bench: Bench,
    setup: Setup,
    zeros: tuple[Zero, ...],
    operations: tuple[Operation, ...],
) -> Program:
    """The whole program of a set-up, before it is split by tools."""
    request = decided.request
    readings = request.label.readings_digest
    return Program(
        stem=request.label.program_stem(setup),
        part=request.part.name,
        setup=setup.value,
        stage="refit" if readings else str(request.stage),
        material=request.material,
        stock=bench.stock,
        holding=bench.profile.holding,
        zeros=zeros,
        clearance=bench.clearance,
        operations=operations,
        readings=readings,
    )


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


def _stop(faults: Sequence[Fault]) -> None:
    if faults:
        raise RefusedError(faults)
