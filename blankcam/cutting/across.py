"""Passes across a nut, from the witness face to the head side, and back where that does no harm."""

from __future__ import annotations

from blankcam.cutting.motion import Path, Place, Stock

BESIDE = 0.3
"""mm of air beyond a face, over the tool's radius, where a tool goes down."""
BEHIND = 0.1
"""mm of air beyond the head side where a pass only ends."""


def ends(stock: Stock, radius: float, *, back: bool) -> tuple[float, float]:
    """Places y in air before the witness face and behind the head side."""
    return stock.y_min - radius - BESIDE, stock.y_max + radius + (BESIDE if back else BEHIND)


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
