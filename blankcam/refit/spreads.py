"""How far a cut, a stringing and a part as made are off: from data/refit.toml, by who cuts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from blankcam.data import table
from blankcam.refit.estimate import Array

By = Literal["mill", "files"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cutting:
    """Who cuts, and how far off: standard deviations in mm; arrays over the strings."""

    by: tuple[By, ...]
    """Each slot's."""
    saddle_by: By
    slot_made: Array
    slot_cut: Array
    common_cut: Array
    least_cut: Array
    """The least that is worth cutting, mm."""
    saddle_cut: float
    saddle_least: float


def cutting_by(slots: Sequence[By], saddle: By) -> Cutting:
    """The spreads where each slot is cut as said, and the saddle."""

    def each(name: str) -> Array:
        return np.array([float(table("refit")[by][name]) for by in slots])

    return Cutting(
        by=tuple(slots),
        saddle_by=saddle,
        slot_made=each("slot_made"),
        slot_cut=each("slot_cut"),
        common_cut=each("common_cut"),
        least_cut=each("least_cut"),
        saddle_cut=float(table("refit")[saddle]["saddle_cut"]),
        saddle_least=float(table("refit")[saddle]["least_cut"]),
    )
