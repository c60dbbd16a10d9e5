"""How high the jaws stand over the seat side of a blank on edge.

They must hold enough of what stands in them at that set-up, and keep clear of what is cut there. In
between a height is the job's or the machine profile's choice, or is worked out: ``auto``.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from dataclasses import dataclass

from blankcam.data import table
from blankcam.faults import Fault
from blankcam.inputs.machine import Holding
from blankcam.machining.workholding import GRIP, GRIP_SHARE, JAW_ROOM, cut_words

SPARE: float = table("cutting")["holding"]["jaw_spare"]
STEP: float = table("cutting")["holding"]["jaw_step"]
_FINEST = 0.01
"""mm in which heights are written."""
_CLOSE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The heights that the jaws may have at one set-up on edge."""

    standing: float
    """How high what stands in the jaws is then, mm over its seat side."""
    cut: str
    """Name of the operation that goes lowest there."""
    low: float
    """How far down it goes, mm over the seat side."""

    @property
    def least(self) -> float:
        """How high they must hold, mm."""
        return max(GRIP, self.standing * GRIP_SHARE)

    @property
    def most(self) -> float:
        """How near to the lowest cut they may come, mm over the seat side."""
        return self.low - JAW_ROOM

    @property
    def worked_out(self) -> float:
        """As high as the cuts allow with some to spare, mm; never lower than they must hold."""
        spared = math.floor((self.low - SPARE) / STEP + _CLOSE) * STEP
        return round(max(spared, math.ceil(self.least / _FINEST - _CLOSE) * _FINEST), 2)


def settled(holding: Holding, window: Window) -> Holding:
    """The holding with the jaws' height as given, or worked out."""
    if holding.jaw_top != "auto":
        return holding
    return dataclasses.replace(holding, jaw_top=window.worked_out)


def height_faults(part: str, holding: Holding, window: Window, fix: str) -> Iterator[Fault]:
    """What is wrong with the height of the jaws, or of a fixture's walls; ``fix``: what would widen
    a window that is empty.
    """
    where, key = f"{part}, on edge", "holding.jaw_top"
    height = settled(holding, window).jaws
    held, cut = hold_words(window), cut_words(window.cut, window.low)
    if window.least > window.most + _CLOSE or (
        holding.jaw_top == "auto" and height > window.most + _CLOSE
    ):
        found = "auto" if holding.jaw_top == "auto" else f"{height:g} mm"
        wrong = f"no height of the {holding.grip} will do: {held}, and {cut}, "
        wrong += f"so they may stand at most {window.most:.2f} mm high"
        yield Fault(where=where, key=key, found=found, wrong=wrong, fix=fix)
    elif height < window.least - _CLOSE:
        wrong = f"grips too little of a blank {window.standing:.2f} mm high"
        found, fix = f"{height:g} mm", f'{window.least:.2f} to {window.most:.2f} mm, or "auto"'
        yield Fault(where=where, key=key, found=found, wrong=wrong, fix=fix)
    elif height > window.most + _CLOSE:
        wrong = f"{cut}, within {JAW_ROOM:g} mm of the {holding.grip}"
        found, fix = f"{height:g} mm", f'{window.least:.2f} to {window.most:.2f} mm, or "auto"'
        yield Fault(where=where, key=key, found=found, wrong=wrong, fix=fix)


def hold_words(window: Window) -> str:
    """How much must be held."""
    return f"they must hold {window.least:.2f} mm of the {window.standing:.2f} mm that stand there"
