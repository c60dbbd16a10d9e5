"""From readings to what is not known: least squares, each reading and guess by its uncertainty.

Every first guess counts as one more reading of the unknown itself, so that what was not measured
keeps its guess and what was measured badly leans on it (Gauss-Markov with prior; any textbook of
adjustment).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blankcam.calibration.measures import CALIPER, Measure
from blankcam.data import table

SURE = 1.96
"""Standard deviations within which 95 of 100 lie, of a normal spread."""
Readings = Mapping[str, Sequence[float]]
"""mm, by the key of what was measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """What a thing is believed to be, and its standard deviation; mm or a share."""

    value: float
    sigma: float

    @property
    def within(self) -> float:
        """95 of 100 lie nearer."""
        return SURE * self.sigma


def first_guess(unknown: str, good_to: float) -> Guess:
    """What is believed of an unknown before anything is measured.

    ``good_to``: what the caliper is good to, mm.
    """
    rules, kind = table("coupon")["first_guess"], unknown.split(maxsplit=1)[0]
    if kind == CALIPER:
        return Guess(value=0.0, sigma=table("coupon")["caliper"]["common"] * good_to / SURE)
    return Guess(value=rules[kind] if kind == "backlash" else 0.0, sigma=rules[kind])


def reading_sigma(good_to: float) -> float:
    """Standard deviation of one reading beside what all of them share, mm."""
    return math.hypot(good_to / SURE, table("coupon")["caliper"]["read_to"] / math.sqrt(12))


@dataclass(frozen=True, slots=True)
class MachineEstimate:
    """All unknowns together: their values and how they hang together."""

    names: tuple[str, ...]
    values: NDArray[np.float64]
    """(n,)"""
    spread: NDArray[np.float64]
    """(n, n) covariance."""
    good_to: float

    def guess(self, unknown: str) -> Guess:
        """One of them."""
        i = self.names.index(unknown)
        return Guess(value=float(self.values[i]), sigma=math.sqrt(self.spread[i, i]))

    def expected(self, measure: Measure) -> Guess:
        """What a caliper is to say of a thing on the piece."""
        row = _row(measure, self.names)
        sigma = math.sqrt(float(row @ self.spread @ row) + reading_sigma(self.good_to) ** 2)
        return Guess(value=measure.nominal + float(row @ self.values), sigma=sigma)


def estimate(measures: Iterable[Measure], readings: Readings, good_to: float) -> MachineEstimate:
    """What the readings say of everything that is not known."""
    asked = list(measures)
    names = tuple(dict.fromkeys(n for m in asked for n in m.shares))
    guesses = [first_guess(n, good_to) for n in names]
    weights = np.diag([1 / g.sigma**2 for g in guesses])
    pull = weights @ np.array([g.value for g in guesses])
    weight = 1 / reading_sigma(good_to) ** 2
    for measure in asked:
        row = _row(measure, names)
        for reading in readings.get(measure.key, ()):
            weights += weight * np.outer(row, row)
            pull += weight * (reading - measure.nominal) * row
    spread = np.linalg.inv(weights)
    return MachineEstimate(names, spread @ pull, spread, good_to)


def _row(measure: Measure, names: Sequence[str]) -> NDArray[np.float64]:
    return np.array([measure.shares.get(n, 0.0) for n in names])
