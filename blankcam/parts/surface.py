"""The tops of nut and saddle as surfaces that go on beyond the part."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from blankcam.parts.curve import Array
from blankcam.parts.top_curve import Curve

WASTE = 1.0
"""mm beyond a part's ends over which its surface still goes on falling."""
STEEPEST = 0.97
"""Where the section's arc is left for its tangent, as a fraction of its radius."""


class Surface(Protocol):
    """Heights over a plan and their slopes."""

    def height(self, x: Array, y: Array) -> Array:
        """Z over x and y."""

    def gradient(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Slopes along x and along y, of the shape of y; x may lack its leading axes."""


class PartSurface(Surface, Protocol):
    """A part's top: how it runs across x as well."""

    @property
    def section_radius(self) -> float:
        """Radius of the section across x, mm; infinite for a straight one."""

    @property
    def tilt(self) -> float:
        """The angle by which it falls toward the head, rad; 0 of a crown."""


class HeightField(Protocol):
    """What is left of a part: heights z (ny, nx) over x (nx,) and y (ny,) in the part's frame."""

    @property
    def x(self) -> Array: ...  # noqa: D102
    @property
    def y(self) -> Array: ...  # noqa: D102
    @property
    def z(self) -> Array: ...  # noqa: D102


def beside(x: Array, length: float) -> tuple[Array, Array]:
    """Places x kept to a part and ``WASTE`` beyond, and 1 where they are inside that, else 0.

    A surface goes on level from there: a top that falls toward its ends would lead the tool down
    to the jaws in the waste beside the part.
    """
    kept = np.minimum(np.maximum(x, -WASTE), length + WASTE)
    return kept, np.asarray(kept == x, dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class TopSurface:
    """A nut's top: the same line along x all across, falling straight toward the head."""

    top: Curve
    length: float
    tilt: float
    raised: float = 0.0
    """How much higher than ``top`` it stands."""

    @property
    def section_radius(self) -> float:
        """Of a straight section: infinite."""
        return math.inf

    def height(self, x: Array, y: Array) -> Array:
        """Z over x and y."""
        x = beside(x, self.length)[0]
        return np.asarray(self.top.height(x) - math.tan(self.tilt) * y + self.raised)

    def gradient(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Slopes along x and along y."""
        x, inside = beside(x, self.length)
        along_x = np.broadcast_to(self.top.slope(x) * inside, y.shape)
        return along_x, np.full_like(y, -math.tan(self.tilt))


@dataclass(frozen=True, slots=True, kw_only=True)
class CrownSurface:
    """A saddle's crown, carried on by its tangent where its arc would stand upright."""

    top: Curve
    ridge: Curve
    """Its y along x."""
    length: float
    section_radius: float
    raised: float = 0.0
    """How much higher than ``top`` it stands."""

    @property
    def tilt(self) -> float:
        """A crown falls to both sides of its ridge alike."""
        return 0.0

    def height(self, x: Array, y: Array) -> Array:
        """Z over x and y."""
        x = beside(x, self.length)[0]
        away = np.abs(y - self.ridge.height(x))
        radius, edge = self.section_radius, STEEPEST * self.section_radius
        inner = np.minimum(away, edge)
        fall = inner**2 / (radius + np.sqrt(radius**2 - inner**2))
        steep = edge / math.sqrt(radius**2 - edge**2)
        return np.asarray(self.top.height(x) + self.raised - fall - steep * (away - inner))

    def gradient(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Slopes along x and along y."""
        x, inside = beside(x, self.length)
        off = y - self.ridge.height(x)
        radius, edge = self.section_radius, STEEPEST * self.section_radius
        inner = np.minimum(np.maximum(off, -edge), edge)
        along_y = -inner / np.sqrt(radius**2 - inner**2)
        along_x = self.top.slope(x) - along_y * self.ridge.slope(x)
        return along_x * inside, along_y
