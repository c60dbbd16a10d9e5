"""One cutting tool: its shape as a solid of revolution, and the limits it brings."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

NICK = 0.15
"""mm: depth of a locating nick."""


class Shape(StrEnum):
    """The form of the cutting end."""

    FLAT = "flat"
    BALL = "ball"
    TAPERED_BALL = "tapered ball"
    VEE = "vee"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tool:
    """A tool as a machine profile lists it; millimetres, degrees.

    The tip (lowest point) is the programmed point. ``diameter`` is the largest cutting diameter.
    """

    number: int
    shape: Shape
    diameter: float
    flute_length: float
    """Length of the cutting edges from the tip up."""
    reach: float
    """From the tip up to where the tool grows wider than ``diameter`` (neck included)."""
    shank: float
    """Shank diameter."""
    stick_out: float
    """From the tip up to the face of the holder."""
    flutes: int = 2
    tip_diameter: float = 0.0
    """Tapered ball: diameter of the ball; vee: diameter of the flat at the tip. Else unused."""
    angle: float = 0.0
    """Tapered ball and vee: included angle of the cone in degrees. Else unused."""
    name: str = ""
    """The maker's own words for it."""
    nominal: float | None = None
    """The diameter that it is sold by, where ``diameter`` is what it cuts; None where they are one.
    """
    diameter_within: float = 0.0
    """How far ``diameter`` may be off: 95 of 100 lie nearer."""
    z_offset: float = 0.0
    """How much higher its tip really is than the machine reckons once Z is set."""
    z_within: float = 0.0
    """How far ``z_offset`` may be off: 95 of 100 lie nearer."""

    @property
    def label(self) -> float:
        """The diameter that it is sold by, mm: what stands on its shank or its box."""
        return self.diameter if self.nominal is None else self.nominal

    @property
    def tip_label(self) -> float:
        """The diameter of its tip as it is sold, mm."""
        return self.tip_diameter - self.wide if self.tip_diameter else 0.0

    def as_sold(self) -> Tool:
        """The tool without anything that is known of how it really cuts."""
        return replace(
            self,
            diameter=self.label,
            tip_diameter=self.tip_label,
            nominal=None,
            diameter_within=0.0,
            z_offset=0.0,
            z_within=0.0,
        )

    @property
    def wide(self) -> float:
        """By how much it cuts wider than it is sold as, mm: runout and wear."""
        return self.diameter - self.label

    @property
    def radius(self) -> float:
        """Half the cutting diameter."""
        return self.diameter / 2

    @property
    def tip_radius(self) -> float:
        """Radius of the end that makes a floor: of the ball or flat at the tip."""
        pointed = self.shape in (Shape.TAPERED_BALL, Shape.VEE)
        return self.tip_diameter / 2 if pointed else self.radius

    @property
    def edge(self) -> float:
        """Diameter that a cut is reckoned with: of the tip's ball; of a vee as wide as a nick."""
        return 2 * (self.radius_at(NICK) if self.shape is Shape.VEE else self.tip_radius)

    def height_at(self, radius: float) -> float:
        """The greatest height over the tip below which the tool is no wider than that, mm."""
        if radius >= self.radius:
            return self.flute_length
        return min(self._height_inside(radius), self.flute_length)

    def _height_inside(self, radius: float) -> float:
        """Where the cutting end, if it went on for ever, is as wide as a radius under its own."""
        if self.shape is Shape.FLAT:
            return 0.0
        ball = self.tip_radius
        if self.shape is Shape.BALL:
            return _rise(ball, radius)
        half = math.radians(self.angle / 2)
        if self.shape is Shape.VEE:
            return max(radius - ball, 0.0) / math.tan(half)
        if radius <= ball * math.cos(half):
            return _rise(ball, radius)
        return ball * (1 - math.sin(half)) + (radius - ball * math.cos(half)) / math.tan(half)

    def radius_at(self, height: float) -> float:
        """Radius of the cutting end at a height over its tip, mm; all of it above the cone."""
        if self.shape is Shape.FLAT:
            return self.radius
        if self.shape is Shape.BALL:
            low = min(height, self.radius)
            return math.sqrt(low * (2 * self.radius - low))
        half, tip = math.radians(self.angle / 2), self.tip_diameter / 2
        if self.shape is Shape.VEE:
            return min(tip + height * math.tan(half), self.radius)
        # The cone touches the ball where the ball's normal stands at the half angle
        tangent = tip * (1 - math.sin(half))
        if height <= tangent:
            return math.sqrt(max(height * (2 * tip - height), 0.0))
        return min(tip * math.cos(half) + (height - tangent) * math.tan(half), self.radius)


def _rise(ball: float, beside: float) -> float:
    """How high a ball's surface stands so far beside its lowest point, mm; no digits are lost."""
    return beside**2 / (ball + math.sqrt(ball**2 - beside**2))
