"""What all parts have in common: the stages they go through and the features they are made of."""

from __future__ import annotations

from dataclasses import dataclass
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


class FeatureKind(StrEnum):
    """What is made of a part, in working order."""

    THICKNESS = "thickness"
    OUTLINE = "outline"
    TOP = "top"
    WASTE = "clear"  # over a slot
    SLOT = "slots"
    CROWN = "crown"
    ENDS = "ends"


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """One thing to be made of a part."""

    kind: FeatureKind
    string: int | None = None
    """The string that a slot, or the waste over it, belongs to."""
