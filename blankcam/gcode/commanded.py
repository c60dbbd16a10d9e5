"""What a machine must be told so that it goes where it is wanted: the one place that makes up for
it.

Everything is planned where it is to be. Only here, on the way into the text, are scale and
backlash of the axes and each tool's Z offset taken out again. Axes whose play is known are
brought to their place from one side, X and Y on the way up, Z on the way down, so that what is
cut there does not depend on it; where an axis must turn during a cut, a move of its own takes up
the play first, while the tool stands still. The proof has the machine's errors put in
(``replay.as_moved``) and knows nothing of this.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence

from blankcam.data import table
from blankcam.inputs.machine import AxisError, Profile
from blankcam.inputs.tool import Tool
from blankcam.parts.frames import Place
from blankcam.toolpath.linearize import without_arcs
from blankcam.toolpath.moves import LineMove, Move, Note, Operation, Program, Rapid

BEYOND: float = table("cutting")["air"]["approach"]
"""mm beyond the play that an axis goes past its place to come to it from the right side."""
OVER = 0.01
"""mm that a height only meant to be clear is told higher than it need be."""
STILL = 1e-7
"""mm; less is no move."""


def commanded(program: Program, profile: Profile) -> Program:
    """The program as the machine must be told it; unchanged where nothing is known of it."""
    offset = any(t.z_offset for t in profile.tools)
    if profile.moves_true and not offset:
        return program
    most = profile.feed_max
    teller = _Teller(profile.errors.each, min(most.x, most.y, most.z))
    operations = tuple(_told(o, teller, profile) for o in program.operations)
    return dataclasses.replace(program, operations=operations, clearance=_raised(program, profile))


def _raised(program: Program, profile: Profile) -> float:
    """The height that is told where the tool is only to be clear: never under the one meant."""
    error, high = profile.errors.z, program.clearance
    low = max((abs(t.z_offset) for t in profile.tools), default=0.0)
    return high + error.backlash + low + abs(error.scale * high) + OVER


def _told(operation: Operation, teller: _Teller, profile: Profile) -> Operation:
    if not profile.moves_true:
        operation = without_arcs(operation, frozenset())
    teller.take(operation.tool)
    moves = [m for i, m in enumerate(operation.moves) for m in teller.tell(operation.moves, i)]
    return dataclasses.replace(operation, moves=tuple(moves))


@dataclasses.dataclass(slots=True)
class _Axis:
    """One axis: where it was told to go and where it stands, NaN while that is not known."""

    error: AxisError
    down: bool
    """Whether it is true on its way down, else on its way up."""
    told: float = math.nan
    real: float = math.nan

    def span(self, real: float) -> tuple[float, float]:
        """What it is told at least and at most while it stands there."""
        at, play = real / (1 + self.error.scale), self.error.backlash
        return (at, at + play) if self.down else (at - play, at)

    def goes(self, to: float) -> int:
        """Which way it must move to get there: 1 up, -1 down, 0 not at all."""
        if math.isnan(to) or abs(to - self.real) <= STILL:
            return 0
        return -1 if to < self.real else 1

    def follows(self, way: int) -> float:
        """What it is told when it just begins to follow that way."""
        if not way or math.isnan(self.real):
            return self.told
        return self.span(self.real)[way > 0]

    def move(self, to: float) -> float:
        """Go there; what it is told. From a place not known it comes from the right side."""
        way = self.goes(to)
        if math.isnan(to) or (not way and not math.isnan(self.real)):
            return self.told
        unknown = math.isnan(self.real)
        self.real = to
        up = (not self.down) if unknown else way > 0
        self.told = self.span(to)[up]
        return self.told

    def wrong_side(self, to: float) -> bool:
        """Whether it would come there from the side on which its play counts."""
        way = self.goes(to)
        return math.isnan(self.real) or way == (1 if self.down else -1)


class _Teller:
    """Walks the moves of a program and tells the machine each."""

    def __init__(self, errors: Sequence[AxisError], slow: float) -> None:
        """``slow``: a feed that every axis can do, for taking up play."""
        self.slow = slow
        self.axes = [_Axis(e, down) for e, down in zip(errors, (False, False, True), strict=True)]
        self.tool: Tool | None = None

    def take(self, tool: Tool) -> None:
        """Another tool: whoever fitted it and set zero moved the axes nobody knows how."""
        if self.tool is None or self.tool.number != tool.number:
            for axis in self.axes:
                axis.told = axis.real = math.nan
        self.tool = tool

    def tell(self, moves: Sequence[Move], i: int) -> Iterator[Move]:
        """What the machine is told for the i-th of an operation's moves."""
        move = moves[i]
        if isinstance(move, Note):
            yield move
        elif isinstance(move, Rapid):
            to = self._without_offset(move.to)
            if past := self._past(to):
                yield Rapid(self._places(past))
            yield Rapid(self._places(to))
        elif isinstance(move, LineMove):
            to = self._without_offset(move.to)
            take_up = [a.follows(a.goes(v)) for a, v in zip(self.axes, to, strict=True)]
            if any(abs(t - a.told) > STILL for t, a in zip(take_up, self.axes, strict=True)):
                for axis, told in zip(self.axes, take_up, strict=True):
                    axis.told = told
                feed = min(move.feed, self.slow)
                yield LineMove((take_up[0], take_up[1], take_up[2]), feed)
            yield LineMove(self._places(to), move.feed)

    def _without_offset(self, to: Place) -> Place:
        assert self.tool is not None
        return to[0], to[1], to[2] - self.tool.z_offset

    def _past(self, to: Place) -> Place | None:
        """A place past ``to`` from which X and Y come to it on the way up; None where they do."""
        past = [
            v - a.error.backlash - BEYOND if _has_play(a.error) and a.wrong_side(v) else v
            for a, v in zip(self.axes[:2], to[:2], strict=True)
        ]
        if (past[0], past[1]) == to[:2] or any(map(math.isnan, to[:2])):
            return None
        return past[0], past[1], to[2]

    def _places(self, to: Place) -> Place:
        x, y, z = (a.move(v) for a, v in zip(self.axes, to, strict=True))
        return x, y, z


def _has_play(error: AxisError) -> bool:
    return error.backlash > 0 or error.backlash_within > 0
