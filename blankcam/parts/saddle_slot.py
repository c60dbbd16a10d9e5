"""The saddle's slot in the bridge: a straight front edge, square to the strings or slanted.

Instrument frame (u across, s from the nut's front edge) to part frame (x along the slot, y across
it) and back. The part leans on the front of its slot, where the strings push it, and its middle
lies on the instrument's centre line. A square slot is the one whose angle is 0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from blankcam.inputs.job import Graded
from blankcam.instrument.heights import Instrument


@dataclass(frozen=True, slots=True, kw_only=True)
class SaddleSlot:
    """Where the slot's front edge runs."""

    middle: float
    """Distance s at which it crosses the centre line, mm."""
    angle: float
    """Radians from square; over 0 where the right end lies further from the nut."""

    def front(self, u: float) -> float:
        """Distance s of the front edge at u."""
        return self.middle + u * math.tan(self.angle)

    def to_part(
        self, u: float, s: float, *, length: float, thickness: float
    ) -> tuple[float, float]:
        """Place x, y on a part of that length and thickness, of a point of the instrument."""
        along, across = self._turned(u, s - self.middle)
        return length / 2 + along, thickness - across

    def to_instrument(
        self, x: float, y: float, *, length: float, thickness: float
    ) -> tuple[float, float]:
        """Place u, s on the instrument of a point of the part."""
        along, across = x - length / 2, thickness - y
        cos, sin = math.cos(self.angle), math.sin(self.angle)
        return along * cos - across * sin, self.middle + along * sin + across * cos

    def ridge(self, u: float, s: float, thickness: float) -> float:
        """Place y on the part of a point of the instrument."""
        return thickness - self._turned(u, s - self.middle)[1]

    def at_ridge(self, u: float, ridge: float, thickness: float) -> float:
        """Distance s at which the part has that y, at u."""
        return self.front(u) + (thickness - ridge) / math.cos(self.angle)

    def toward_nut(self, aside: float) -> tuple[float, float]:
        """What x and y change by, on the part, a millimetre nearer the nut along s.

        ``aside``: how far the string runs to the right, a millimetre further from the nut.
        """
        along, across = self._turned(-aside, -1.0)
        return along, -across

    def _turned(self, u: float, behind: float) -> tuple[float, float]:
        """Along the slot and square to it, away from the nut."""
        cos, sin = math.cos(self.angle), math.sin(self.angle)
        return u * cos + behind * sin, behind * cos - u * sin


def saddle_slot(front_at: Graded, instrument: Instrument) -> SaddleSlot:
    """The slot whose front edge was measured beside the two outer strings, mm from the nut."""
    bass, treble = instrument.strings[0].u_saddle, instrument.strings[-1].u_saddle
    slope = (front_at.treble - front_at.bass) / (treble - bass)
    return SaddleSlot(middle=front_at.bass - slope * bass, angle=math.atan(slope))
