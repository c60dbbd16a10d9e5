"""The cutting end of a tool as a surface of revolution: height over the tip by distance off axis.

Every form is convex: a flat of radius ``flat``, or a ball of radius ``ball`` up to the radius
``tangent``, then a cone rising ``slope`` mm per mm, up to ``radius``, where the wall stands
upright. Convexity is what lets the sweep find each lowest point by clamping one stationary point.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blankcam.inputs.tool import Shape, Tool

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolProfile:
    """The cutting end of a tool, mm."""

    radius: float
    flat: float = 0.0
    """Radius of the flat at the tip; ``radius`` for a flat tool."""
    ball: float = 0.0
    """Radius of the ball at the tip, 0 without."""
    tangent: float = 0.0
    """Distance from the axis at which the ball ends and the cone begins."""
    slope: float = math.inf
    """Rise of the cone, mm per mm of radius; inf without a cone."""

    def heights(self, square: Floats) -> Floats:
        """Height over the tip at squared distances from the axis; inf beyond the radius."""
        if self.ball:
            out = self.ball**2 - square
            np.maximum(out, self.ball**2 - self.tangent**2, out=out)
            np.sqrt(out, out=out)
            np.subtract(self.ball, out, out=out)
        else:
            out = np.zeros(square.shape)
        first = self.tangent if self.ball else self.flat
        if math.isfinite(self.slope):
            out = out + self.slope * np.maximum(np.sqrt(square) - first, 0.0)
        np.putmask(out, square > self.radius**2 * (1 + 1e-12) + 1e-15, np.inf)
        return out


def flat_end(radius: float) -> ToolProfile:
    """A flat end; also the lower face of a neck, shank or holder."""
    return ToolProfile(radius=radius, flat=radius)


def tool_profile_of(tool: Tool) -> ToolProfile:
    """The cutting end of a tool."""
    radius = tool.radius
    half = math.radians(tool.angle / 2)
    if tool.shape is Shape.FLAT:
        return flat_end(radius)
    if tool.shape is Shape.BALL:
        return ToolProfile(radius=radius, ball=radius, tangent=radius)
    if tool.shape is Shape.VEE:
        return ToolProfile(radius=radius, flat=tool.tip_diameter / 2, slope=1 / math.tan(half))
    ball = tool.tip_diameter / 2
    return ToolProfile(
        radius=radius, ball=ball, tangent=ball * math.cos(half), slope=1 / math.tan(half)
    )
