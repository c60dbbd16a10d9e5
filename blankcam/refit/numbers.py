"""String numbers: 1 is the treble side's outermost; arrays run from the bass side. The one place
that knows both.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence

import numpy as np

from blankcam.refit.estimate import Array


def number_at(place: int, count: int) -> int:
    """The number of the string at a place of an array of so many."""
    return count - place


def place_of(number: int, count: int) -> int:
    """The place of a string in an array of so many."""
    return count - number


def by_number(values: Sequence[float] | Array) -> dict[int, float]:
    """Values from the bass side, by string number."""
    count = len(values)
    return {number_at(i, count): float(v) for i, v in enumerate(values)}


def from_bass(values: Mapping[int, float], count: int) -> Array:
    """Values by string number as an array from the bass side, NaN where there is none."""
    return np.array([values.get(number_at(i, count), math.nan) for i in range(count)])


def numbers_where(flags: Sequence[bool] | Array) -> tuple[int, ...]:
    """The numbers of the strings that are flagged, the bass side's first."""
    return tuple(number_at(i, len(flags)) for i, flag in enumerate(flags) if flag)


def flags_of(numbers: Collection[int], count: int) -> tuple[bool, ...]:
    """Whether each string of an array is among the numbers."""
    return tuple(number_at(i, count) in numbers for i in range(count))
