"""Whether a blank is held well enough, and whether the tools keep clear of what holds it."""

from __future__ import annotations

from collections.abc import Iterable

from blankcam.cutting.motion import Arc, Line, Operation, Rapid
from blankcam.faults import Fault
from blankcam.machine.profile import Holding
from blankcam.machine.tool import Tool

GRIP = 3.0
"""mm of the blank that jaws must hold at least (our own),"""
GRIP_SHARE = 1 / 3
"""and this share of its height (our own)."""
TAPE_TOOL = 1.0
"""mm: up to this diameter tape alone will do,"""
TAPE_AREA = 400.0
"""mm²: or from this face on (our own, from tape of 5 to 15 psi)."""
JAW_ROOM = 0.5
"""mm that a tool must stay over the jaws (our own)."""


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
                mend="use a vice with soft jaws or a fixture",
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
            mend=f"let the jaws hold at least {need:.2f} mm",
        )
    ]


def jaw_faults(part: str, holding: Holding, operations: Iterable[Operation]) -> list[Fault]:
    """A fault for each operation whose tool would come too near the jaws' top."""
    faults = []
    for operation in operations:
        low = lowest(operation)
        if low < holding.jaw_top + JAW_ROOM:
            faults.append(
                Fault(
                    where=f"{part}, on edge",
                    key="holding.jaw_top",
                    found=f"{holding.jaw_top:g} mm",
                    wrong=f"{operation.name} goes down to {low:.2f} mm over the seat side, "
                    f"nearer than {JAW_ROOM:g} mm to the jaws",
                    mend=f"hold it no higher than {low - JAW_ROOM:.2f} mm",
                )
            )
    return faults


def lowest(operation: Operation) -> float:
    """The lowest z that the operation's tip is sent to (arcs here are convex or flat)."""
    return min(m.to[2] for m in operation.moves if isinstance(m, (Rapid, Line, Arc)))


def tape_faults(part: str, holding: Holding, tool: Tool, area: float) -> list[Fault]:
    """Tape alone is refused under larger tools on small faces; ``area`` in mm²."""
    if holding.kind != "tape" or tool.diameter <= TAPE_TOOL or area >= TAPE_AREA:
        return []
    return [
        Fault(
            where=f"{part}, on face",
            key="holding.kind",
            found="tape",
            wrong=f"tape alone does not hold {area:.0f} mm2 under a {tool.diameter:g} mm cutter",
            mend="glue it to a carrier as well, or use a fixture",
        )
    ]
