"""Passes across a nut, from the witness face to the head side, and back where that does no harm."""

from __future__ import annotations

import math

from blankcam.inputs.tool import Shape, Tool
from blankcam.machining.setup_sheet import BESIDE
from blankcam.parts.frames import Box
from blankcam.toolpath.moves import Path, Place

BEHIND = 0.1
"""mm of air beyond the head side where a pass only ends."""


def ends(stock: Box, tool: Tool, *, back: bool, lean: float) -> tuple[float, float]:
    """Places y in air before the witness face and behind the head side.

    A pass that only ends there need not leave the part with all of the tool: its axis passes the
    face by as much as a ball on a path that leans by that angle, rad, touches before it. A flat
    tool that goes down a slope touches with its rim.
    """
    radius = tool.radius
    near = stock.y0 - radius - BESIDE
    if back:
        return near, stock.y1 + radius + BESIDE
    before = 1.0 if tool.shape is Shape.FLAT else math.sin(min(abs(lean), math.pi / 2))
    return near, stock.y1 + radius * before + BEHIND


def across(path: Path, near: Place, far: Place, feed: float, hop: float) -> None:
    """One pass, entered before the witness face and left behind the head side."""
    path.over(*near, hop)
    path.line(feed, x=far[0], y=far[1], z=far[2])


def to_and_fro(path: Path, near: Place, far: Place, feed: float, hop: float) -> None:
    """One pass: from where the tool stands behind the head side if it does, else ``across``."""
    if path.at[1] != far[1]:
        across(path, near, far, feed, hop)
        return
    # Only air there, whichever axis gets to its place first
    path.rapid(x=far[0], z=far[2])
    path.line(feed, x=near[0], y=near[1], z=near[2])
