"""Readings that can't be right: which, and what slip of the pen would explain each."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from blankcam.calibration.estimate import Guess, Readings, estimate
from blankcam.calibration.measures import Measure
from blankcam.data import table

RULES = table("coupon")["questions"]
MM_PER_INCH = 25.4
_FACTORS = (
    (MM_PER_INCH, "inches written as mm"),
    (1 / MM_PER_INCH, "mm written as inches"),
    (10.0, "the decimal point moved"),
    (0.1, "the decimal point moved"),
    (100.0, "the decimal point moved"),
    (0.01, "the decimal point moved"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A reading that is not believed."""

    measure: Measure
    reading: float
    expected: Guess
    likely: str
    """The slip that would explain it; empty where none does."""


def questions(
    measures: Sequence[Measure], readings: Readings, good_to: float, sure: Sequence[str] = ()
) -> Iterator[Question]:
    """The readings that are off what all the others say, unless the maker is sure of them."""
    far = {
        m.key: (m, worst, expected)
        for m in measures
        if m.key in readings and m.key not in sure
        for worst, expected in [_worst(m, measures, readings, good_to)]
        if abs(worst - expected.value) > RULES["far"] * expected.sigma
    }
    blamed = _blamed(far)
    for key, (measure, reading, expected) in far.items():
        if key in blamed:
            likely = _slip(measure, reading, expected, measures, readings, good_to)
            yield Question(measure=measure, reading=reading, expected=expected, likely=likely)


def _worst(
    measure: Measure, measures: Sequence[Measure], readings: Readings, good_to: float
) -> tuple[float, Guess]:
    """The reading of a thing that is farthest off, and what all other things say of it."""
    others = {k: v for k, v in readings.items() if k != measure.key}
    expected = estimate(measures, others, good_to).expected(measure)
    return max(readings[measure.key], key=lambda r: abs(r - expected.value)), expected


def _blamed(far: dict[str, tuple[Measure, float, Guess]]) -> set[str]:
    """Those to ask for: one bad reading drags what hangs on it along, and is itself the worst."""
    off = {k: abs(r - e.value) / e.sigma for k, (_, r, e) in far.items()}
    most = max(off.values(), default=0.0)
    return {k for k, v in off.items() if v >= most / 4}


def _slip(
    measure: Measure,
    reading: float,
    expected: Guess,
    measures: Sequence[Measure],
    readings: Readings,
    good_to: float,
) -> str:
    """What would explain a reading, the likeliest first; empty where nothing does."""

    def fits(value: float) -> bool:
        return abs(value - expected.value) <= float(RULES["fits"]) * expected.sigma

    for factor, words in _FACTORS:
        if fits(reading * factor):
            return f"{words}: {reading * factor:.3f} mm would fit"
    if other := _swapped(measure, reading, fits, measures, readings, good_to):
        return f"the lines of {measure.name} and {other} swapped"
    for value in _transposed(reading):
        if fits(value):
            return f"two digits swapped: {value:.2f} mm would fit"
    for value in _mistyped(reading):
        if fits(value):
            return f"a digit mistyped: {value:.2f} mm would fit"
    return ""


def _swapped(
    measure: Measure,
    reading: float,
    fits: Callable[[float], bool],
    measures: Sequence[Measure],
    readings: Readings,
    good_to: float,
) -> str:
    """The thing whose reading would fit here as this one would fit there."""
    for other in measures:
        if other.table != measure.table or other.key == measure.key:
            continue
        theirs = readings.get(other.key, ())
        rest = {k: v for k, v in readings.items() if k not in (measure.key, other.key)}
        there = estimate(measures, rest, good_to).expected(other)
        off = abs(reading - there.value)
        if theirs and all(map(fits, theirs)) and off <= RULES["fits"] * there.sigma:
            return other.name
    return ""


def _transposed(reading: float) -> Iterator[float]:
    """The reading with two neighbouring digits swapped, to the hundredth."""
    digits = f"{reading:.2f}"
    at = [i for i, c in enumerate(digits) if c != "."]
    for i, j in pairwise(at):
        letters = list(digits)
        letters[i], letters[j] = letters[j], letters[i]
        yield float("".join(letters))


def _mistyped(reading: float) -> Iterator[float]:
    """The reading with its tenths, or what is before the point, another digit."""
    for step in (0.1, 1.0):
        for times in range(-9, 10):
            yield reading + step * times
