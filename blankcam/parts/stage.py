"""The two stages a part goes through; light to import, for the commands name them."""

from __future__ import annotations

from enum import StrEnum


class Stage(StrEnum):
    """How far a program takes the part."""

    ROUGH = "rough"  # the allowance and the hold-back are left for the set-up
    FINAL = "final"  # the finished part

    def left(self, amount: float) -> float:
        """How much of an ``amount`` left for later this stage leaves, mm: all of it, or none."""
        return amount if self is Stage.ROUGH else 0.0

    @property
    def leaves_waste(self) -> bool:
        """Whether waste stands over the finished top, so that a slot may be opened through it."""
        return self is Stage.ROUGH
