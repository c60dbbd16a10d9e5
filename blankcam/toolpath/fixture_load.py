"""Several blanks in one fixture: their programs as one, the tool changes shared.

The blanks stand side by side along y, a pitch apart, their left ends against one stop and their
seat sides on one floor. X 0 is the stop, Y 0 the side seen from the bridge (on face the seat side)
of the blank in place 1, Z 0 the floor (on face the top of the waste board); what is touched is what
can be reached: the left ends, that side, and the top of the walls (on face the board).
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from blankcam.data import table
from blankcam.faults import Fault
from blankcam.machining.request import Label
from blankcam.parts.frames import Box, Place, ReferenceSurface, Zero
from blankcam.toolpath.moves import (
    AXES_OF_PLANE,
    ArcMove,
    LineMove,
    Move,
    Note,
    Operation,
    Program,
    Rapid,
    StandingBlank,
)

WALL: float = table("cutting")["holding"]["fixture_wall"]
BESIDE = {"edge": ReferenceSurface.FIRST_SEEN_SIDE, "face": ReferenceSurface.FIRST_SEAT_SIDE}
"""What Y is touched on, by set-up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """One blank's whole program of a set-up, and where its zero stands in the fixture's axes."""

    number: int
    """Of its place, from 1."""
    program: Program
    at: Place


def place(number: int, program: Program, pitch: float) -> Placed:
    """A blank's program in its place of a fixture."""
    stock = program.stock
    # no finer than what is printed, so that nothing is rounded that was not
    x, y, z = (round(v, 3) + 0.0 for v in (-stock.x0, (number - 1) * pitch, -stock.z0))
    return Placed(number=number, program=program, at=(x, y, z))


def shared(stem: str, placed: Sequence[Placed], labels: Sequence[Label], pitch: float) -> Program:
    """One program for all the blanks of a set-up; each blank's operations keep their order.

    Parameters
    ----------
    labels : whose blank each is
    pitch : from one place to the next, mm
    """
    first = placed[0].program
    clearance = max(p.program.clearance + p.at[2] for p in placed)
    every = stocks(placed)
    places = tuple(
        StandingBlank(number=p.number, job=label.job, job_digest=label.job_digest, at=p.at)
        for p, label in zip(placed, labels, strict=True)
    )
    return dataclasses.replace(
        first,
        stem=stem,
        stock=Box(
            **{f"{a}0": min(getattr(s, f"{a}0") for s in every) for a in "xyz"},
            **{f"{a}1": max(getattr(s, f"{a}1") for s in every) for a in "xyz"},
        ),
        zeros=tuple(_shared_zero(z, placed[0]) for z in first.zeros),
        clearance=clearance,
        operations=tuple(_in_turn([_moved(p, clearance) for p in placed])),
        places=places,
        pitch=pitch,
    )


def _shared_zero(zero: Zero, first: Placed) -> Zero:
    """How an axis is zeroed for all the blanks: as for the first of them, where it stands."""
    surfaces = {"X": ReferenceSurface.STOPPED_ENDS, "Y": BESIDE[first.program.setup]}
    shift = dict(zip("XYZ", first.at, strict=True))
    touch = zero.touch and dataclasses.replace(zero.touch, tip=zero.touch.tip + shift["Z"])
    return dataclasses.replace(
        zero,
        surface=surfaces.get(zero.axis, zero.surface),
        value=round(zero.value + shift[zero.axis], 3) + 0.0,  # as fine as it is printed
        upper_face=None,  # blanks of several thicknesses stand there
        touch=touch,
    )


def _in_turn(lists: Sequence[Sequence[Operation]]) -> list[Operation]:
    """All operations, few tool changes: a tool waits until every blank that needs it is ready."""
    left = [list(operations) for operations in lists]
    out: list[Operation] = []
    while any(left):
        ready = [o[0].tool.number for o in left if o]
        needed = [{o.tool.number for o in operations} for operations in left]

        def late(number: int) -> tuple[int, int]:
            waiting = sum(number in n for n in needed) - ready.count(number)  # noqa: B023
            return waiting, -ready.count(number)  # noqa: B023

        tool = min(dict.fromkeys(ready), key=late)
        for operations in left:
            while operations and operations[0].tool.number == tool:
                out.append(operations.pop(0))
    return out


def _moved(placed: Placed, clearance: float) -> list[Operation]:
    """A blank's operations in the fixture's axes, over the clearance plane of all of them."""
    own = placed.program.clearance
    return [
        dataclasses.replace(
            o,
            place=placed.number,
            moves=tuple(_shifted(m, placed.at, own, clearance) for m in o.moves),
        )
        for o in placed.program.operations
    ]


def _shifted(move: Move, by: Place, own: float, clearance: float) -> Move:
    if isinstance(move, Note):
        return move
    x, y, z = (a + b for a, b in zip(move.to, by, strict=True))
    if isinstance(move, Rapid):
        over = math.isclose(move.to[2], own, abs_tol=1e-9)
        return Rapid((x, y, clearance if over else z))
    if isinstance(move, LineMove):
        return LineMove((x, y, z), move.feed)
    a, b, _ = AXES_OF_PLANE[move.plane]
    centre = (move.centre[0] + by[a], move.centre[1] + by[b])
    return ArcMove((x, y, z), centre, move.plane, move.clockwise, move.feed)


def stocks(placed: Iterable[Placed]) -> list[Box]:
    """The blanks where they stand, in the fixture's axes."""
    return [_moved_stock(p) for p in placed]


def _moved_stock(placed: Placed) -> Box:
    own, (x, y, z) = placed.program.stock, placed.at
    return Box(
        x0=own.x0 + x,
        x1=own.x1 + x,
        y0=own.y0 + y,
        y1=own.y1 + y,
        z0=own.z0 + z,
        z1=own.z1 + z,
    )


def pitch_faults(where: str, placed: Sequence[Placed], pitch: float) -> list[Fault]:
    """A fault where a tool would reach the blank beside it, or no wall stands between two."""
    need = 0.0
    for p in placed:
        own = p.program.stock
        need = max(need, own.y1 - own.y0 + WALL)
        for o in p.program.operations:
            ys = [m.to[1] for m in o.moves if not isinstance(m, Note) and m.to[1] == m.to[1]]
            reach = o.tool.diameter / 2
            need = max(need, own.y1 - min(ys) + reach, max(ys) - own.y0 + reach)
    need = math.ceil(2 * need) / 2
    if pitch >= need:
        return []
    return [
        Fault(
            where=where,
            key="--fixture",
            found=f"{pitch:g} mm apart",
            wrong="brings the tools into the blank in the next place",
            fix=f"set them at least {need:g} mm apart",
        )
    ]
