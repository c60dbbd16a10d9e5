"""What programs may leave of a part for the hand, beyond what their stage leaves anyway."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from blankcam.parts.curve import Array
from blankcam.parts.nut import Nut
from blankcam.parts.part import Part, Target


@dataclass(frozen=True, slots=True, kw_only=True)
class HandLeft:
    """What the hand still takes off once the programs are run."""

    top: float = 0.0
    """mm over the stage's top at most; infinite where the hand makes the top."""
    ends: bool = False
    """Ends that are to be round are cut square to their length."""
    fronts: frozenset[int] = frozenset()
    """Numbers of the strings at which a nut's front is cut back by hand."""

    def as_programmed(self, part: Part) -> Part:
        """The part that the programs are to leave: a nut's front stands where the hand cuts it
        back.
        """
        if isinstance(part, Nut) and self.fronts:
            return part.with_whole_front(self.fronts)
        return part

    def upper(self, target: Target, milled: frozenset[int], x: Array, y: Array) -> Array:
        """Nothing may be left above this, mm; +inf outside the plan.

        Ridges may stand on the top where the stage leaves them, and what the hand takes off; but
        nothing in a slot that is among the ``milled``.
        """
        cut, over = target.upper(x, y, milled), max(target.ridge, self.top)
        if not over:
            return cut
        if not milled and not any(s.step for s in target.slots):
            return np.asarray(cut + over)
        top = target.uncut(x, y)
        return np.where(cut < top, cut, top + over)


NOTHING = HandLeft()
