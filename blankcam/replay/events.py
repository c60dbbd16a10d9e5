"""What a program does between its moves: stops, tool changes, dwells, the spindle."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum


class EventKind(StrEnum):
    """Kinds of event; NISTIR 6556 names the codes in the sections given."""

    STOP = "a stop"  # M0, 3.6.1
    CHANGE = "a tool change"  # M6, 3.6.3
    END = "the end"  # M2 or M30, 3.6.1
    START = "a start of the spindle"  # M3 or M4, 3.6.2
    SPEED = "a new spindle speed"  # S while the spindle turns, 3.7.2
    SPINDLE_STOP = "a stop of the spindle"  # M5, 3.6.2
    DWELL = "a dwell"  # G4, 3.5.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One event; ``at`` is where the tip is then, mm, NaN where that is not known."""

    kind: EventKind
    line: int
    moves: int
    """How many moves were made before it."""
    at: tuple[float, float, float]
    tool: int
    """Number of the tool in the spindle, 0 for none."""
    seconds: float = 0.0
    """Of a dwell."""

    def shifted(self, zero: tuple[float, float, float]) -> Event:
        """The same event in axes whose zero is at that place, mm."""
        x, y, z = (a - b for a, b in zip(self.at, zero, strict=True))
        return replace(self, at=(x, y, z))
