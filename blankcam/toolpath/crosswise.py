"""Passes across a nut, from its front to its back, and back again where that does no harm."""

from __future__ import annotations

from blankcam.parts.frames import Place
from blankcam.toolpath.moves import Path


def across(path: Path, near: Place, far: Place, feed: float, hop: float) -> None:
    """One pass, entered before the front and left behind the back."""
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
