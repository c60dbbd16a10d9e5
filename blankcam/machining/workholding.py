"""Whether a blank is held well enough, and whether the tools keep clear of what holds it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np

from blankcam.faults import Fault
from blankcam.inputs.machine import Holding, Profile
from blankcam.inputs.tool import Tool
from blankcam.parts.frames import Box
from blankcam.toolpath.linearize import chords
from blankcam.toolpath.moves import Arc, Line, Note, Operation, Place, Rapid

GRIP = 3.0
"""mm of the blank that jaws must hold at least (our own),"""
GRIP_SHARE = 1 / 3
"""and this share of its height (our own)."""
TAPE_TOOL = 1.0
"""mm: up to this diameter tape alone will do,"""
TAPE_AREA = 400.0
"""mm²: or from this face on (our own, from tape of 5 to 15 psi)."""
JAW_ROOM = 0.5
"""mm that a tool must stay over the jaws, or beside a clamp (our own)."""
SAMPLE = 0.4
"""mm between the places at which a path is held against the clamps; under ``JAW_ROOM``."""


def grip_faults(part: str, holding: Holding, height: float) -> list[Fault]:
    """What is wrong with how a blank of that height is to be held on edge."""
    where = f"{part}, on edge"
    if holding.kind not in ("vice", "fixture"):
        return [
            Fault(
                where=where,
                key="holding.kind",
                found=holding.kind,
                wrong="can't hold a blank on its edge",
                fix="use a vice with soft jaws or a fixture",
            )
        ]
    need = max(GRIP, height * GRIP_SHARE)
    if holding.jaw_top >= need - 1e-9:
        return []
    return [
        Fault(
            where=where,
            key="holding.jaw_top",
            found=f"{holding.jaw_top:g} mm",
            wrong=f"grips too little of a blank {height:.2f} mm high",
            fix=f"let the jaws hold at least {need:.2f} mm",
        )
    ]


def jaw_faults(part: str, holding: Holding, operations: Iterable[Operation]) -> list[Fault]:
    """A fault where a tool would come too near the jaws' top: of the lowest operation only."""
    operation = min(operations, key=lowest, default=None)
    if operation is None:
        return []
    return jaw_faults_at(part, holding, operation.name, lowest(operation))


def jaw_faults_at(part: str, holding: Holding, name: str, low: float) -> list[Fault]:
    """A fault where the operation of that name, as low as ``low``, comes too near the jaws."""
    if low >= holding.jaw_top + JAW_ROOM:
        return []
    return [
        Fault(
            where=f"{part}, on edge",
            key="holding.jaw_top",
            found=f"{holding.jaw_top:g} mm",
            wrong=f"{name} goes down to {low:.2f} mm over the seat side, "
            f"nearer than {JAW_ROOM:g} mm to the jaws",
            fix=f"hold it no higher than {low - JAW_ROOM:.2f} mm",
        )
    ]


def lowest(operation: Operation) -> float:
    """The lowest z that the operation's tip is sent to (arcs here are convex or flat)."""
    return min(m.to[2] for m in operation.moves if isinstance(m, (Rapid, Line, Arc)))


def tape_faults(part: str, holding: Holding, tool: Tool, area: float) -> list[Fault]:
    """Tape alone is refused under larger tools on small faces; ``area`` in mm²."""
    if holding.on_face != "tape" or tool.diameter <= TAPE_TOOL or area >= TAPE_AREA:
        return []
    return [
        Fault(
            where=f"{part}, on face",
            key="holding.face" if holding.face == "tape" else "holding.kind",
            found="tape",
            wrong=f"tape alone does not hold {area:.0f} mm2 under a {tool.diameter:g} mm cutter",
            fix="glue it to a carrier as well, or use a fixture",
        )
    ]


def face_faults(
    part: str, holding: Holding, stock: Box, *, outline: bool, thickness: bool
) -> list[Fault]:
    """What can't be done to a blank lying on face, held so; ``stock`` in the machine's axes."""
    where, how = f"{part}, on face", holding.on_face
    if how == "clamps" and thickness:
        wrong = "the clamps stand on the face that is to be milled"
        fix = 'glue it to a waste board: face = "carrier"'
        return [Fault(where=where, key="holding.face", found=how, wrong=wrong, fix=fix)]
    if how == "fixture" and outline:
        wrong = "walls can't hold what is cut all around"
        fix = 'set outline = "saw" in [plan], or face = "carrier"'
        return [Fault(where=where, key="holding.face", found=how, wrong=wrong, fix=fix)]
    if how != "fixture":
        return []
    need, most = max(GRIP, (stock.z1 - stock.z0) * GRIP_SHARE), -stock.z0 - JAW_ROOM
    if need <= holding.face_top + 1e-9 <= most + 2e-9:
        return []
    wrong = f"grips a blank that is {-stock.z0:.2f} mm thick in the end too "
    wrong += "low" if holding.face_top < need else "high"
    fix = f"{need:.2f} to {most:.2f} mm" if need <= most else 'too thin: use face = "carrier"'
    found = f"{holding.face_top:g} mm"
    return [Fault(where=where, key="holding.face_top", found=found, wrong=wrong, fix=fix)]


def clamp_top(holding: Holding, stock: Box) -> float:
    """The highest thing on face, z."""
    return stock.z1 + (holding.clamp_height if holding.on_face == "clamps" else 0.0)


def clamp_faults(
    part: str, holding: Holding, stock: Box, profile: Profile, operations: Iterable[Operation]
) -> list[Fault]:
    """The tool, its shank or its holder too near a clamp: the first such operation only."""
    if holding.on_face != "clamps":
        return []
    high, reach = clamp_top(holding, stock), holding.clamp_reach
    middle, half = (stock.y0 + stock.y1) / 2, holding.clamp_width / 2
    for operation in operations:
        ways = np.array(list(_places(operation)))
        aside = np.maximum(np.abs(ways[:, 1] - middle) - half, 0.0)
        inward = np.minimum(ways[:, 0] - stock.x0, stock.x1 - ways[:, 0]) - reach
        off = np.hypot(np.maximum(inward, 0.0), aside)
        for what, radius, above in _cylinders(operation.tool, profile):
            near = off[ways[:, 2] + above < high + JAW_ROOM]
            if near.size and (short := radius + JAW_ROOM - float(near.min())) > 0:
                return [_clamped(part, holding, operation, what, short)]
    return []


def _clamped(part: str, holding: Holding, operation: Operation, what: str, short: float) -> Fault:
    fix = [f"a blank {2 * short:.1f} mm longer"]
    if short < holding.clamp_reach:
        fix.append(f"clamps that reach {short:.1f} mm less")
    if what != "cutter":
        fix.append("lower clamps")
    return Fault(
        where=f"{part}, on face",
        key="holding.clamp_reach",
        found=f"{holding.clamp_reach:g} mm",
        wrong=f"the {what} of tool {operation.tool.number} would pass nearer than {JAW_ROOM:g} mm "
        f"to a clamp in {operation.name}",
        fix=", or ".join(fix),
    )


def _cylinders(tool: Tool, profile: Profile) -> tuple[tuple[str, float, float], ...]:
    """What turns, as a name, a radius and the height of its lower end over the tip."""
    return (
        ("cutter", tool.radius, 0.0),
        ("shank", tool.shank / 2, tool.reach),
        ("holder", profile.holder_diameter / 2, tool.stick_out),
    )


def _places(operation: Operation) -> Iterator[Place]:
    """Places along the operation's moves, about half a millimetre apart."""
    at: Place | None = None
    for move in operation.moves:
        if isinstance(move, Note):
            continue
        ends = [move.to]
        if at is not None and isinstance(move, Arc):
            ends = [line.to for line in chords(at, move)]
        for to in ends:
            if at is not None and not math.isnan(sum(at)):
                count = max(1, math.ceil(math.dist(at, to) / SAMPLE))
                yield from (
                    (
                        at[0] + (to[0] - at[0]) * i / count,
                        at[1] + (to[1] - at[1]) * i / count,
                        at[2] + (to[2] - at[2]) * i / count,
                    )
                    for i in range(count)
                )
            at = to
    if at is not None:
        yield at
