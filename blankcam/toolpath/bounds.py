"""Whether moves keep to what the machine and the holding allow."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np

from blankcam.faults import Fault
from blankcam.inputs.machine import Holding, Profile
from blankcam.machining.workholding import (
    JAW_ROOM,
    clamp_top,
    clamped_fault,
    cylinders,
    jaw_faults_at,
    short_travel,
)
from blankcam.parts.frames import Box, Place
from blankcam.toolpath.linearize import chords
from blankcam.toolpath.moves import ArcMove, LineMove, Note, Operation, Rapid

SAMPLE = 0.4
"""mm between the places at which a path is held against the clamps; under ``JAW_ROOM``."""


def travel_faults(where: str, profile: Profile, operations: Iterable[Operation]) -> list[Fault]:
    """A fault for each axis along which the operations need more travel than the machine has."""
    places = np.array(
        [m.to for o in operations for m in o.moves if isinstance(m, (Rapid, LineMove, ArcMove))]
    )
    spans = np.nanmax(places, axis=0) - np.nanmin(places, axis=0)
    return short_travel(where, profile, [float(s) for s in spans])


def place_aside(
    stock: Box, operations: Iterable[Operation], profile: Profile
) -> tuple[float, float] | None:
    """Where the tool is to stand at the end on a machine without coordinates of its own, x and y.

    Behind the blank, as far as the profile says, but never farther than the travel that the
    operations leave; None where the machine parks in its own coordinates.
    """
    if profile.controller.machine_coordinates:
        return None
    ys = [m.to[1] for o in operations for m in o.moves if isinstance(m, (Rapid, LineMove, ArcMove))]
    near = min((y for y in ys if not math.isnan(y)), default=stock.y0)
    back = min(stock.y1 + profile.safe_places.aside, near + profile.travel.y)
    return (stock.x0 + stock.x1) / 2, back


def jaw_faults(part: str, holding: Holding, operations: Iterable[Operation]) -> list[Fault]:
    """A fault where a tool would come too near the jaws' top: of the lowest operation only."""
    operation = min(operations, key=lowest, default=None)
    if operation is None:
        return []
    return jaw_faults_at(part, holding, operation.name, lowest(operation))


def lowest(operation: Operation) -> float:
    """The lowest z that the operation's tip is sent to (arcs here are convex or flat)."""
    return min(m.to[2] for m in operation.moves if isinstance(m, (Rapid, LineMove, ArcMove)))


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
        for what, radius, above in cylinders(operation.tool, profile):
            near = off[ways[:, 2] + above < high + JAW_ROOM]
            if near.size and (short := radius + JAW_ROOM - float(near.min())) > 0:
                return [clamped_fault(part, holding, operation.name, operation.tool, what, short)]
    return []


def _places(operation: Operation) -> Iterator[Place]:
    """Places along the operation's moves, at most ``SAMPLE`` apart."""
    at: Place | None = None
    for move in operation.moves:
        if isinstance(move, Note):
            continue
        ends = [move.to]
        if at is not None and isinstance(move, ArcMove):
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
