"""How far down the round ends of a saddle are cut on edge."""

from __future__ import annotations

from blankcam.inputs.machine import Holding
from blankcam.machining.workholding import JAW_ROOM

ROOM = 0.05
"""mm over the least height above the jaws."""


def lowest(held: Holding) -> float:
    """How far down an end is cut, z."""
    return held.jaws + JAW_ROOM + ROOM
