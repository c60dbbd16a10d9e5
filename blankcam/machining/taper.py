"""Whether a tapered ball can make a slot: how far its cone reaches out of the groove.

The ball at the tip goes round the round floor as a straight one does; the cone above it grows, and
where it is wider than the slot while the tip is on the floor or at a wall, it widens the slot.
"""

from __future__ import annotations

import math

import numpy as np

from blankcam.data import table
from blankcam.inputs.tool import Shape, Tool

WALL: float = table("cutting")["slots"]["cone_wall"]


def widens(radius: float, tool: Tool, depth: float) -> float:
    """How far the cone reaches into a wall while the tip goes round a floor of that radius, mm.

    ``depth`` is from what stands down to the floor. With the tip's ball at an angle t from
    straight down, its centre is off·sin t aside and off·cos t under the groove's axis (off: the
    difference of the radii); a point of the tool at the height h over its tip, w(h) wide, then
    stands at (off·sin t + w, h - ball - off·cos t) from that axis. Beside the axis and above, the
    walls are upright at the radius; below it the groove is round.
    """
    if tool.shape is not Shape.TAPERED_BALL:
        return 0.0
    ball = tool.tip_radius
    off = max(radius - ball, 0.0)
    worst = 0.0
    # Where the walls are upright the worst is a cone that lies along the wall: t = 90 deg - a
    along = math.radians(90 - tool.angle / 2)
    for t in (*np.linspace(0.0, math.pi / 2, 46), along):
        top = depth - off * (1 - np.cos(t))
        if top <= 0:
            continue
        h = np.linspace(0.0, top, 200)
        w = np.array([tool.radius_at(float(v)) for v in h])
        under = np.minimum(h - ball - off * np.cos(t), 0.0)
        worst = max(worst, float(np.max(np.hypot(off * np.sin(t) + w, under))) - radius)
    return worst


def aside(radius: float, tool: Tool, depth: float) -> float:
    """How far from a slot's middle the tool reaches at a height over the floor, mm."""
    if tool.shape is not Shape.TAPERED_BALL:
        return tool.radius
    return max(radius - tool.tip_radius, 0.0) + tool.radius_at(depth)


def deepest(radius: float, tool: Tool) -> float:
    """The depth of slot down to which the cone stays within ``WALL``, mm, by bisection."""
    low, high = 0.0, tool.flute_length
    if widens(radius, tool, high) <= WALL:
        return high
    for _ in range(20):
        middle = (low + high) / 2
        low, high = (middle, high) if widens(radius, tool, middle) <= WALL else (low, middle)
    return low
