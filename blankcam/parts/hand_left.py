"""What programs may leave of a part for the hand, beyond what their stage leaves anyway."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class HandLeft:
    """What the hand still takes off once the programs are run."""

    top: float = 0.0
    """mm over the stage's top at most; infinite where the hand makes the top."""
    ends: bool = False
    """Ends that are to be round are cut square to their length."""


NOTHING = HandLeft()
