"""The tool protocol: what a tool does, as plain values that any receiver can walk through.

A receiver has four verbs: ``rapid``, ``line``, ``arc`` and ``note``. The G-code writer, the time
estimate and the drawing of the paths are receivers. (The proof is not: it reads the finished
program's text, so that writer and planner are both under test.)
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Protocol

from blankcam.inputs.machine import Holding
from blankcam.inputs.tool import Tool
from blankcam.machining.feeds import Cut
from blankcam.parts import curve
from blankcam.parts.frames import Box, Place, Zero

AXES_OF_PLANE = {"G17": (0, 1, 2), "G18": (2, 0, 1), "G19": (1, 2, 0)}
"""First, second and normal axis of each plane; G2 turns from the second toward the first."""


@dataclass(frozen=True, slots=True)
class Rapid:
    """A straight positioning move in air."""

    to: Place


@dataclass(frozen=True, slots=True)
class LineMove:
    """A straight cut."""

    to: Place
    feed: float


@dataclass(frozen=True, slots=True)
class ArcMove:
    """A circular cut in a principal plane (helical where the normal axis moves)."""

    to: Place
    centre: tuple[float, float]
    """Along the plane's first and second axis, absolute."""
    plane: str
    clockwise: bool
    feed: float


@dataclass(frozen=True, slots=True)
class Note:
    """A comment."""

    text: str


@dataclass(frozen=True, slots=True)
class Stop(Note):
    """A stop with words: the machine waits until the maker has looked and resumes."""


Move = Rapid | LineMove | ArcMove | Note


class Receiver(Protocol):
    """Whatever wants to follow the tool."""

    def rapid(self, move: Rapid) -> None:
        """A positioning move."""

    def line(self, move: LineMove) -> None:
        """A straight cut."""

    def arc(self, move: ArcMove) -> None:
        """A circular cut."""

    def note(self, move: Note) -> None:
        """A comment, or a stop with words."""


def walk(moves: Iterable[Move], receiver: Receiver) -> None:
    """Tell a receiver every move in order."""
    for move in moves:
        match move:
            case Rapid():
                receiver.rapid(move)
            case LineMove():
                receiver.line(move)
            case ArcMove():
                receiver.arc(move)
            case Note():
                receiver.note(move)


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """One tool doing one thing."""

    name: str
    """One of the operations of the cutting plan: top, clear, slots, crown, …"""
    words: str
    """One line for the program and the bench list."""
    tool: Tool
    cut: Cut
    moves: tuple[Move, ...]
    least: float = 0.0
    """Seconds at least: the waste at the best rate allowed, and the finishing passes."""
    place: int | None = None
    """Of the blank in a fixture, where the program cuts several."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingBlank:
    """One of the blanks that a fixture holds."""

    number: int
    """Of its place, from 1."""
    job: str
    """What to call it; hostile text."""
    job_digest: str
    at: Place
    """Its zero in the program's axes, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Program:
    """One file for the machine."""

    stem: str
    """File name without its ending."""
    part: str
    setup: str
    """``edge`` or ``face``."""
    stage: str
    material: str
    stock: Box
    holding: Holding
    zeros: tuple[Zero, ...]
    """How each axis is zeroed."""
    clearance: float
    """Z of the clearance plane."""
    operations: tuple[Operation, ...]
    readings: str = ""
    """Digest of the readings it was refitted by, empty for a part's first programs."""
    places: tuple[StandingBlank, ...] = ()
    """The blanks, where a fixture holds several."""
    pitch: float = 0.0
    """From one of those places to the next, mm."""
    air: bool = False
    """Whether it only shows, in the air and with the spindle off, that zero and blank are right."""
    aside: tuple[float, float] | None = None
    """Where the tool stands at the end, x and y, on a machine without coordinates of its own."""

    @property
    def tools(self) -> tuple[Tool, ...]:
        """The tools in the order they are first used."""
        seen: dict[int, Tool] = {}
        for operation in self.operations:
            seen.setdefault(operation.tool.number, operation.tool)
        return tuple(seen.values())


@dataclass(slots=True)
class ToolPath:
    """Gathers moves while an operation is planned.

    An operation begins on the clearance plane, over a place not known.
    """

    clearance: float
    moves: list[Move] = field(default_factory=list)
    at: Place = (math.nan, math.nan, math.nan)

    def __post_init__(self) -> None:
        """Stand on the clearance plane."""
        self.at = (math.nan, math.nan, self.clearance)

    def over(self, x: float, y: float, z: float, hop: float) -> None:
        """Go to a place over the hop plane: up, across, down to z; from afar over the clearance."""
        if math.isnan(self.at[0]):
            self.rapid(x=x, y=y)
        elif self.at[:2] != (x, y):
            self.rapid(z=max(hop, self.at[2]))
            self.rapid(x=x, y=y)
        self.rapid(z=z)

    def leave(self) -> None:
        """Back up to the clearance plane."""
        self.rapid(z=self.clearance)

    def rapid(
        self, *, x: float | None = None, y: float | None = None, z: float | None = None
    ) -> None:
        """Position; an axis not named stays. A move that goes nowhere is dropped."""
        to = self._to(x, y, z)
        if to != self.at:
            self.moves.append(Rapid(to))
            self.at = to

    def line(
        self, feed: float, *, x: float | None = None, y: float | None = None, z: float | None = None
    ) -> None:
        """Cut straight."""
        to = self._to(x, y, z)
        if to != self.at:
            self.moves.append(LineMove(to, feed))
            self.at = to

    def note(self, text: str) -> None:
        """Say something."""
        self.moves.append(Note(text))

    def stop(self, text: str) -> None:
        """Stop, and say what the maker is to look at."""
        self.moves.append(Stop(text))

    def chain(self, chain: curve.Chain, y: float, feed: float) -> None:
        """Cut along a chain in the x-z plane (a is x, b is z) at that y, from where it begins."""
        for segment in chain:
            to = (segment.end[0], y, segment.end[1])
            if isinstance(segment, curve.Line):
                self.moves.append(LineMove(to, feed))
            else:
                centre = (segment.centre[1], segment.centre[0])
                # From x toward z is clockwise in G18, whose first axis is z
                self.moves.append(ArcMove(to, centre, "G18", segment.ccw, feed))
            self.at = to

    def _to(self, x: float | None, y: float | None, z: float | None) -> Place:
        at = self.at
        return (at[0] if x is None else x, at[1] if y is None else y, at[2] if z is None else z)
