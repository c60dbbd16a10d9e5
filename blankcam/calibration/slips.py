"""Readings that can't be right: which, and what slip of the pen would explain each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
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
    (2.0, "half the value written, as a radius for a diameter"),
    (0.5, "twice the value written, as a diameter for a radius"),
    (-1.0, "a minus before it"),
)
ROUNDING = 1e-9
MOST_SLIPS = 2
"""So many are told: where digits agree by chance more than one would explain a reading."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QuestionedReading:
    """A reading that is not believed."""

    measure: Measure
    reading: float
    expected: Guess
    likely: str
    """The slip that would explain it; empty where none does."""
    limit: float
    """How far from that it may be, mm."""
    confirmed: bool = False
    """Whether the maker is sure of it: it is off by more than any machine, then."""


def questions(
    measures: Sequence[Measure], readings: Readings, good_to: float, sure: Sequence[str] = ()
) -> Iterator[QuestionedReading]:
    """The readings that are off what all the others say, unless the maker is sure of them.

    One bad reading drags what hangs on it along: the worst is put aside before the rest is looked
    at again.
    """
    left = dict(readings)
    for question in _impossible(measures, readings, good_to, sure):
        yield question
        left.pop(question.measure.key)
    while (found := _worst(measures, left, good_to, sure)) is not None:
        measure, reading, expected = found
        likely = _slip(measure, reading, expected, measures, readings, good_to)
        yield QuestionedReading(measure=measure, reading=reading, expected=expected, likely=likely,
                                limit=_far(expected))  # fmt: skip
        del left[measure.key]


def slip_of_all(measures: Sequence[Measure], readings: Readings) -> str:
    """The slip that every reading has in common, such as a wrong unit; empty where
    there is none.
    """
    pairs = [(r, m.nominal) for m in measures for r in readings.get(m.key, ())]
    if len(pairs) < RULES["at_least"]:
        return ""
    for factor, words in _FACTORS:
        if all(abs(r * factor - drawn) <= RULES["alike"] * drawn for r, drawn in pairs):
            return words
    return ""


def _impossible(
    measures: Sequence[Measure], readings: Readings, good_to: float, sure: Sequence[str]
) -> Iterator[QuestionedReading]:
    """The readings that the maker is sure of, and that no machine could leave, the worst of each
    measure.
    """
    unsure = {k: v for k, v in readings.items() if k not in sure}
    best = estimate(measures, unsure, good_to)
    for measure in measures:
        if measure.key not in sure or measure.key not in readings:
            continue
        expected = best.expected(measure)
        reading = max(readings[measure.key], key=lambda r: abs(r - expected.value))
        if abs(reading - expected.value) > (limit := max(_far(expected), _most(measure))):
            likely = _slip(measure, reading, expected, measures, readings, good_to)
            yield QuestionedReading(measure=measure, reading=reading, expected=expected,
                                    likely=likely, limit=limit, confirmed=True)  # fmt: skip


def _most(measure: Measure) -> float:
    """How far a reading may be off what is drawn by one cause alone, mm."""
    most = table("coupon")["most"]
    return max(abs(v) * float(most[n.split(maxsplit=1)[0]]) for n, v in measure.shares.items())


def _far(expected: Guess) -> float:
    return float(RULES["far"]) * expected.sigma


def _worst(
    measures: Sequence[Measure], readings: Readings, good_to: float, sure: Sequence[str]
) -> tuple[Measure, float, Guess] | None:
    """The thing whose reading is farthest off what the others say; None where all will do."""
    worst, most = None, float(RULES["far"])
    for measure in measures:
        if measure.key not in readings or measure.key in sure:
            continue
        others = {k: v for k, v in readings.items() if k != measure.key}
        expected = estimate(measures, others, good_to).expected(measure)
        for reading in readings[measure.key]:
            off = _off(reading, expected)
            if off > most:
                worst, most = (measure, reading, expected), off
    return worst


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
        return _off(value, expected) <= float(RULES["fits"])

    found = [f"{words}: {reading * factor:.3f} mm would fit"
             for factor, words in _FACTORS if fits(reading * factor)]  # fmt: skip
    if other := _swapped(measure, reading, expected, measures, readings, good_to):
        found.append(f"the lines of {measure.name} and {other} swapped")
    elif other := _of_another(measure, reading, readings):
        found.append(f"the reading of {other} written here")
    found += [f"two digits swapped: {v:.2f} mm would fit" for v in _transposed(reading) if fits(v)]
    if not found:
        mistyped = (v for v in _mistyped(reading) if fits(v))
        found = [f"a digit mistyped: {v:.2f} mm would fit" for v in mistyped]
    return ", or ".join(dict.fromkeys(found[:MOST_SLIPS]))


def _swapped(
    measure: Measure,
    reading: float,
    expected: Guess,
    measures: Sequence[Measure],
    readings: Readings,
    good_to: float,
) -> str:
    """The thing whose reading would best fit here as this one would fit there; empty without."""
    found = []
    for other in measures:
        if other.table != measure.table or other.key == measure.key or other.key not in readings:
            continue
        rest = {k: v for k, v in readings.items() if k not in (measure.key, other.key)}
        there = estimate(measures, rest, good_to).expected(other)
        off = [_off(r, expected) for r in readings[other.key]] + [_off(reading, there)]
        if max(off) <= RULES["fits"]:
            found.append((sum(off), other.name))
    return min(found, default=(0.0, ""))[1]


def _of_another(measure: Measure, reading: float, readings: Readings) -> str:
    """The key of another thing of which just this was read; empty without one."""
    same = float(table("coupon")["caliper"]["read_to"])
    near = [
        (abs(value - reading), key)
        for key, values in readings.items()
        for value in values
        if key != measure.key and abs(value - reading) <= same + ROUNDING
    ]
    return min(near, default=(0.0, ""))[1]


def _off(reading: float, expected: Guess) -> float:
    """By how many times its uncertainty a reading is off."""
    return abs(reading - expected.value) / expected.sigma


def _transposed(reading: float) -> Iterator[float]:
    """The reading with two neighbouring digits swapped, to the hundredth."""
    digits = f"{reading:.2f}"
    at = [i for i, c in enumerate(digits) if c.isdigit()]
    for i, j in pairwise(at):
        letters = list(digits)
        letters[i], letters[j] = letters[j], letters[i]
        yield float("".join(letters))


def _mistyped(reading: float) -> Iterator[float]:
    """The reading with its tenths, or what is before the point, another digit."""
    for step in (0.1, 1.0):
        for times in range(-9, 10):
            yield reading + step * times
