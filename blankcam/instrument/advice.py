"""What to tell the maker about strings and heights: what is unlikely, what moves what, what to trust."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from blankcam.data import table
from blankcam.instrument import intonation, strings, tension
from blankcam.instrument.instrument import Instrument, with_setbacks
from blankcam.instrument.strings import StringData
from blankcam.job.job import Job

CENTS_NOTICED = 3.0  # an error at a fret that is worth a word; our own choice
NEAR_NUT = 3  # frets where the lift at the nut weighs most
MODEL_WORDS = (
    "cents: a model of the fretted string (stretch, stiffness, heights, relief), which met a measured"
    " guitar's ranges within 0.15 cent; stiffness from a table moves them by more than that, and"
    " listeners told no difference between straight and individual setbacks: use them to compare"
)
SENSITIVITIES = (
    # Fret n moves by 1 - 2^(-n/12) of a change at the saddle and by the rest of one at the nut.
    "0.1 mm at the saddle moves the clearance at fret 12 by 0.05 mm and at fret 1 by 0.006 mm",
    "0.1 mm at the nut moves the clearance at fret 1 by 0.094 mm and at fret 12 by 0.05 mm",
)


def computed_setbacks_and_nut(
    instrument: Instrument,
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Setbacks and nut face offsets (below 0: toward the saddle) that together do best, mm.

    The heights depend so little on the setbacks that a second turn settles them.
    """
    first = [_both(instrument, i)[0] for i in range(len(instrument.strings))]
    moved = with_setbacks(instrument, first)
    ridge, nut = zip(*(_both(moved, i) for i in range(len(moved.strings))), strict=True)
    return ridge, nut


def _both(instrument: Instrument, index: int) -> tuple[float, float]:
    model = strings.fretted(instrument, instrument.strings[index])
    dS, dN = intonation.saddle_and_nut_setbacks(model)
    return float(dS), float(dN)


def total_tension(data: Sequence[StringData]) -> float:
    """Pull of the whole set, newtons."""
    return math.fsum(s.force.tension for s in data)


def cautions(job: Job, instrument: Instrument, data: Sequence[StringData]) -> Iterator[str]:
    """What is unlikely about weights, errors at the frets and heights, a line each."""
    for string, found in zip(job.strings, data, strict=True):
        name = f"string {found.number} ({found.note})"
        yield from tension.weight_cautions(
            found.force, note=name, make=string.make, gauge=string.gauge
        )
        worst = int(np.argmax(np.abs(found.cents)))
        if abs(found.cents[worst]) > CENTS_NOTICED:
            high_nut = found.cents[worst] > 0 and worst < NEAR_NUT
            mend = ": less clearance at fret 1 would bring it down" if high_nut else ""
            yield f"{name}: {found.cents[worst]:+.1f} cents at fret {worst + 1}{mend}"
    yield from _height_cautions(instrument)


def _height_cautions(instrument: Instrument) -> Iterator[str]:
    usual = table("targets")[instrument.kind]
    for string in instrument.strings:
        y1, y12 = string.clearance(instrument.board, np.array([1.0, 12.0]))
        for value, key, words in (
            (y1, "first_fret_range", "clearance at fret 1"),
            (y12, "action_range", "action at fret 12"),
        ):
            low, high = usual[key]
            if not low - 1e-9 <= value <= high + 1e-9:
                yield (
                    f"string {string.number} ({string.note}): {words} of {value:.2f} mm is outside"
                    f" the {low:g} to {high:g} mm usual for a {instrument.kind}"
                )
    low, high = usual["relief_range"]
    relief = instrument.board.relief
    if not low <= relief <= high:
        yield f"relief of {relief:.2f} mm is outside the {low:g} to {high:g} mm usual"
