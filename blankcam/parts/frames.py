"""The frames that a blank is seen in, and a blank as a plain box in one of them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

Place = tuple[float, float, float]
"""x, y and z, mm."""


class Setup(StrEnum):
    """How a blank lies while a program runs."""

    FACE = "face"
    """Its front up: Xm = x, Ym = z, Zm = -y."""
    EDGE = "edge"
    """Seat side down: the machine's axes are the part's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A box in the frame it is given in, mm: a blank, or what is left of it."""

    x0: float
    x1: float
    y0: float
    y1: float
    z0: float
    z1: float

    def on_face(self) -> Box:
        """The same box as the machine sees it on face: Xm = x, Ym = z, Zm = -y."""
        return Box(x0=self.x0, x1=self.x1, y0=self.z0, y1=self.z1, z0=-self.y1, z1=-self.y0)
