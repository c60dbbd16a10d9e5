"""The two stages a part goes through."""

from __future__ import annotations

from enum import StrEnum


class Stage(StrEnum):
    """How far a program takes the part."""

    ROUGH = "rough"  # the allowance and the hold-back are left for the set-up
    FINAL = "final"  # the finished part
