"""One cutting tool: its shape as a solid of revolution, and the limits it brings."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


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

    @property
    def radius(self) -> float:
        """Half the cutting diameter."""
        return self.diameter / 2
