"""The blank a part is cut from, as a plain box."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """A blank as a box in the frame it is given in, mm."""

    x0: float
    x1: float
    y0: float
    y1: float
    z0: float
    z1: float

    def on_face(self) -> Stock:
        """The same box as the machine sees it on face: Xm = x, Ym = z, Zm = -y."""
        return Stock(x0=self.x0, x1=self.x1, y0=self.z0, y1=self.z1, z0=-self.y1, z1=-self.y0)
