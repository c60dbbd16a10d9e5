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
from blankcam.machining.cutter_contact import Sweep
from blankcam.machining.decide import Decided, decide, highest
from blankcam.machining.decision import ByMachine, Decision
from blankcam.machining.request import CutRequest
from blankcam.machining.setup_sheet import Bench, SetupSheet
from blankcam.machining.surface_passes import SurfacePasses
from blankcam.parts.frames import Setup
from blankcam.parts.part import FeatureKind, Part
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

    request: CutRequest
    """With the jaws' height as given, or worked out."""
    programs: tuple[Program, ...]
    decisions: tuple[Decision, ...] = ()
    setups: tuple[SetupSheet, ...] = ()
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
    return Plan(
        request=decided.request,
        programs=programs,
        decisions=decided.decisions,
        setups=decided.setups,
        cautions=decided.cautions,
    )


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
    return split(_program(decided, face, Setup.FACE, operations), face.profile)


def _face_operations(decided: Decided, face: Bench) -> Iterator[Operation]:
    thin = decided.tool_for(FeatureKind.THICKNESS)
    around = decided.tool_for(FeatureKind.OUTLINE)
    if thin is not None:
        yield facing.thickness_operation(thin, face)
    if around is not None:
        thinned = dataclasses.replace(face.stock, z1=0.0)
        face = dataclasses.replace(face, stock=thinned)
        yield contouring.outline_operation(decided.request.part, around, face)


# -- on edge -----------------------------------------------------------------------------------


def _programs_on_edge(decided: Decided) -> tuple[Program, ...]:
    edge, part = decided.edge, decided.request.part
    assert decided.surface is not None
    made = _edge_operations(decided, part, decided.surface)
    operations = _arcs_allowed(made, edge.profile)
    _stop(bounds.jaw_faults(part.name, edge.profile.holding, operations))
    _stop(bounds.travel_faults(f"{part.name}, on edge", edge.profile, operations))
    return split(_program(decided, edge, Setup.EDGE, operations), edge.profile)


def _edge_operations(decided: Decided, part: Part, surface: SurfacePasses) -> Iterator[Operation]:
    """The top or the crown, waste, slots and nicks, round ends."""
    edge, kind = decided.edge, str(part.top_feature)
    yield surfacing.sweep_operation(kind, f"{edge.stage} {kind} along x", surface, edge)
    sweep = surface.table.sweep
    ceiling = _ceiling(sweep)
    slots = tuple(decided.by(FeatureKind.SLOT))
    yield from _clearing(part, slots, edge, ceiling)
    for tool, chosen in _by_tool(slots, lambda d: d.tool):
        yield slotting.slot_operation(part, chosen, tool, edge, ceiling)
    for tool, chosen in _by_tool(slots, lambda d: d.nick):
        yield slotting.nick_operation(part, chosen, tool, edge, ceiling)
    if (rounder := decided.tool_for(FeatureKind.ENDS)) is not None:
        high = functools.partial(highest, sweep)
        yield end_rounding.ends_operation(part, rounder, edge, edge.profile.holding, high)


def _clearing(
    nut: Part, slots: Sequence[Decision], edge: Bench, ceiling: float
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
    return high + sweep.ridge + 0.05


# -- both --------------------------------------------------------------------------------------


def _arcs_allowed(operations: Iterable[Operation], profile: Profile) -> tuple[Operation, ...]:
    """The operations with chords for the arcs that the controller does not know."""
    return tuple(without_arcs(o, profile.controller.arc_planes) for o in operations)


def _program(
    decided: Decided,
    bench: Bench,
    setup: Setup,
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
        zeros=next(s.zeros for s in decided.setups if s.setup is setup),
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
