"""From decisions to programs: every operation of a part, in the order in which they run."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from blankcam.faults import Fault, RefusedError
from blankcam.inputs.machine import Profile, ToolChange
from blankcam.inputs.tool import Tool
from blankcam.machining.decide import Decided, decide
from blankcam.machining.decision import ByMachine, Decision
from blankcam.machining.on_edge import height_left
from blankcam.machining.request import CutRequest
from blankcam.machining.setup_sheet import Bench, SetupSheet
from blankcam.parts.frames import Box, Setup
from blankcam.parts.part import FeatureKind, Part
from blankcam.parts.slot import Slot
from blankcam.toolpath import (
    air,
    bounds,
    clearing,
    contouring,
    end_rounding,
    facing,
    slotting,
    stepping,
    stepping_back,
    surfacing,
)
from blankcam.toolpath.linearize import without_arcs
from blankcam.toolpath.moves import Operation, Program

CEILING = 0.03
"""mm over what stands once the top is cut, for moves over it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What the machine does for one part, and what the hand does."""

    request: CutRequest
    """As it was decided: its blank as it comes under the cutter, the jaws' height worked out."""
    programs: tuple[Program, ...]
    """Those that cut, in the order they are run."""
    in_air: tuple[Program, ...] = ()
    """One for each set-up, run before its first cut."""
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
    both = (_program_on_face(decided), _program_on_edge(decided))
    whole = [p for p in both if p is not None and p.operations]
    machine = decided.request.machine
    return Plan(
        request=decided.request,
        programs=tuple(p for program in whole for p in split(program, machine)),
        in_air=tuple(_in_air(program, decided.request) for program in whole),
        decisions=decided.decisions,
        setups=decided.setups,
        cautions=decided.cautions,
    )


# -- on face -----------------------------------------------------------------------------------


def _program_on_face(decided: Decided) -> Program | None:
    """The whole program for the blank lying on its face: its thickness, then its outline."""
    face, part = decided.face, decided.request.part
    if face is None:
        return None
    operations = _arcs_allowed(_face_operations(decided, face), face.profile)
    held = face.profile.holding
    _stop(bounds.clamp_faults(part.name, held, face.stock, face.profile, operations))
    _stop(bounds.travel_faults(f"{part.name}, on face", face.profile, operations))
    return _program(decided, face, Setup.FACE, operations)


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


def _program_on_edge(decided: Decided) -> Program | None:
    if not decided.cuts_on_edge:
        return None
    edge, part = decided.edge, decided.request.part
    operations = _arcs_allowed(_edge_operations(decided, part), edge.profile)
    _stop(bounds.jaw_faults(part.name, edge.profile.holding, operations))
    _stop(bounds.travel_faults(f"{part.name}, on edge", edge.profile, operations))
    return _program(decided, edge, Setup.EDGE, operations)


def _edge_operations(decided: Decided, part: Part) -> Iterator[Operation]:
    """The top or the crown, a nut's front, waste, slots and nicks, round ends."""
    edge = decided.edge
    yield from _top_operations(decided, part)
    ceiling = height_left(part, edge, edge.stock.x0, edge.stock.x1) + CEILING
    slots, fronts = tuple(decided.by(FeatureKind.SLOT)), tuple(decided.by(FeatureKind.FRONT))
    for tool in _in_order(slots, fronts, decided.tool_for(part.top_feature)):
        if back := [d for d in fronts if d.tool == tool]:
            yield stepping_back.front_operation(part, back, tool, edge, ceiling)
        yield from _with_tool(part, slots, tool, edge, ceiling)
    if (rounder := decided.tool_for(FeatureKind.ENDS)) is not None:
        high = functools.partial(height_left, part, edge)
        yield end_rounding.ends_operation(part, rounder, edge, edge.profile.holding, high)


def _top_operations(decided: Decided, part: Part) -> Iterator[Operation]:
    """The top or the crown, if the machine makes it: in fine passes or in steps."""
    edge, kind = decided.edge, str(part.top_feature)
    if decided.surface is not None:
        words = f"{edge.stage} {kind} along x"
        yield surfacing.sweep_operation(kind, words, decided.surface, edge)
    elif decided.steps is not None:
        yield stepping.steps_operation(kind, decided.steps, edge)


def _in_order(
    slots: Sequence[Decision], fronts: Sequence[Decision], first: Tool | None
) -> list[Tool]:
    """The tools of front, waste, slots and nicks, each once: the top's first, then by size.

    What opens the waste over a slot is wider than what cuts it, and so comes before it. A front is
    cut back before the slots are, so that these begin at a clean edge.
    """
    each = (d for kinds in (slots, fronts) for d in kinds)
    used = {t.number: t for d in each for t in (d.tool, d.nick, _opener(d)) if t is not None}
    early = {d.tool.number for d in fronts if d.tool} - {d.tool.number for d in slots if d.tool}
    return sorted(
        used.values(), key=lambda t: (t != first, t.number not in early, -t.diameter, t.number)
    )


def _with_tool(
    nut: Part, slots: Sequence[Decision], tool: Tool, edge: Bench, ceiling: float
) -> Iterator[Operation]:
    """All that one tool does: waste, slots, nicks."""
    by_string = {s.string: s for s in nut.slots}
    wastes = [
        clearing.Waste(slot=by_string[d.string], narrow=d.by.opening.narrow)
        for d in slots
        if isinstance(d.by, ByMachine) and d.by.opening and d.by.opening.tool == tool
    ]
    if wastes:
        yield clearing.clear_operation(nut, wastes, tool, edge, ceiling)
    if cut := [d for d in slots if d.tool == tool]:
        yield slotting.slot_operation(nut, cut, tool, edge, ceiling)
    if nicked := [d for d in slots if d.nick == tool]:
        yield slotting.nick_operation(nut, nicked, tool, edge, ceiling)


def _opener(decision: Decision) -> Tool | None:
    opening = decision.by.opening if isinstance(decision.by, ByMachine) else None
    return opening.tool if opening else None


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
        aside=bounds.place_aside(bench.stock, operations, bench.profile),
    )


def _in_air(program: Program, request: CutRequest) -> Program:
    """The air program of a set-up."""
    part, stock = request.part, program.stock
    if program.readings:  # its box reaches beyond the ends
        stock = dataclasses.replace(stock, x0=0.0, x1=part.length)
    slots = part.slots if program.setup == Setup.EDGE.value else ()
    return in_air(program, [stock], slots, request.machine)


def in_air(
    program: Program, standing: Sequence[Box], slots: Sequence[Slot], profile: Profile
) -> Program:
    """The air program of a whole program, over all that stands on the machine."""
    highest = program.clearance - profile.clearance
    return air.air_program(program, standing, slots, highest, profile.travel)


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
