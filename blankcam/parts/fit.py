"""Fits by ISO 286: how thick a part must be to sit in its seat."""

from __future__ import annotations

import math
from dataclasses import dataclass

from blankcam.data import table


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """A part's thickness and its limits, mm."""

    name: str
    """``snug``, ``sliding`` or ``hand``."""
    code: str
    """The shaft's tolerance class, such as ``h6``."""
    seat: float
    low: float
    high: float

    @property
    def words(self) -> str:
        """What the hand feels."""
        return str(table("fits")["words"][self.name])

    @property
    def target(self) -> float:
        """The middle of the tolerance."""
        return (self.low + self.high) / 2


def fit(seat: float, name: str) -> Fit:
    """The part's limits for a seat as measured.

    Parameters
    ----------
    seat : measured seat width, mm, over 0 up to 120
    name : a key of data/fits.toml's ``[classes]``

    Source: ISO 286-1 Table 1 (grades), ISO 286-2 (deviations), as in data/fits.toml.
    """
    code = table("fits")["classes"][name]
    upper = _row(table("fits")["deviation_um"][code[0]], seat)
    grade = _row(table("fits")["grade_um"][code[1:]], seat)
    high = seat + upper / 1000
    return Fit(name=name, code=code, seat=seat, low=high - grade / 1000, high=high)


def fitted_thickness(seat: Fit, blank: float) -> float:
    """Thickness the part will have: the fit's target, or the blank where it is thinner.

    In whole micrometres, rounded down: nobody measures finer, and half of it, the radius of a round
    end, then is exact in a program's four decimals whichever way the arc runs.
    """
    return math.floor(min(seat.target, blank) * 1000 + 1e-6) / 1000


def _row(values: list[int], size: float) -> int:
    """The value of the range "over .. up to and including" that holds the size."""
    bounds: list[float] = table("fits")["up_to_mm"]
    for bound, value in zip(bounds, values, strict=True):
        if size <= bound:
            return value
    raise ValueError(f"{size} mm is beyond the table of fits")
