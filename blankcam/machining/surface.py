"""The tops of nut and saddle as surfaces that go on beyond the part."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from blankcam.machining.cutter_contact import beside
from blankcam.parts.curve import Array
from blankcam.parts.nut import Nut
from blankcam.parts.part import Stage
from blankcam.parts.saddle import Saddle

STEEPEST = 0.97
"""Where the section's arc is left for its tangent, as a fraction of its radius."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TopSurface:
    """The nut's top of a stage, going on beyond the nut."""

    nut: Nut
    stage: Stage

    def height(self, x: Array, y: Array) -> Array:
        """Z over x and y."""
        return self.nut.top_height(beside(x, self.nut.length)[0], y, self.stage)

    def gradient(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Slopes along x and along y."""
        x, inside = beside(x, self.nut.length)
        along_x = np.broadcast_to(self.nut.top.slope(x) * inside, y.shape)
        return along_x, np.full_like(y, -math.tan(self.nut.tilt))


@dataclass(frozen=True, slots=True, kw_only=True)
class CrownSurface:
    """The crown, carried on by its tangent where its arc would stand upright."""

    saddle: Saddle
    raised: float

    def height(self, x: Array, y: Array) -> Array:
        """Z over x and y."""
        x = beside(x, self.saddle.length)[0]
        away = np.abs(y - self.saddle.ridge.height(x))
        radius, edge = self.saddle.crown_radius, STEEPEST * self.saddle.crown_radius
        inner = np.minimum(away, edge)
        fall = inner**2 / (radius + np.sqrt(radius**2 - inner**2))
        steep = edge / math.sqrt(radius**2 - edge**2)
        return np.asarray(self.saddle.top.height(x) + self.raised - fall - steep * (away - inner))

    def gradient(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Slopes along x and along y."""
        x, inside = beside(x, self.saddle.length)
        off = y - self.saddle.ridge.height(x)
        radius, edge = self.saddle.crown_radius, STEEPEST * self.saddle.crown_radius
        inner = np.minimum(np.maximum(off, -edge), edge)
        along_y = -inner / np.sqrt(radius**2 - inner**2)
        along_x = self.saddle.top.slope(x) - along_y * self.saddle.ridge.slope(x)
        return along_x * inside, along_y


def crown_surface(saddle: Saddle, stage: Stage) -> CrownSurface:
    """The crown of that stage."""
    raised = stage.left(saddle.allowance)
    return CrownSurface(saddle=saddle, raised=raised)
