"""Note names to frequencies, and the cent: equal temperament on A4 = 440 Hz (ISO 16:1975)."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

A4_HERTZ = 440.0
CENTS_PER_OCTAVE = 1200.0

_NOTE = re.compile(r"([A-Ga-g])([#b♯♭]?)([0-8])")
_SEMITONES_OVER_C = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ACCIDENTAL = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}
_A4_SEMITONE = 57  # over C0


def semitone(note: str) -> int:
    """Semitones of a note over C0; ``"B#3"`` is ``"C4"``.

    Raises
    ------
    ValueError
        The text is not a letter A to G, an optional ``#`` or ``b``, and an octave 0 to 8.
    """
    match = _NOTE.fullmatch(note)
    if match is None:
        raise ValueError("not a note name; write it like E2, F#3 or Bb1")
    letter, accidental, octave = match.groups()
    return _SEMITONES_OVER_C[letter.upper()] + _ACCIDENTAL[accidental] + 12 * int(octave)


def hertz(note: str) -> float:
    """Frequency in hertz of a note such as ``"E2"``, ``"F#3"``, ``"Bb1"``.

    Raises
    ------
    ValueError
        As for `semitone`.
    """
    return float(A4_HERTZ * 2.0 ** ((semitone(note) - _A4_SEMITONE) / 12))


def cents(ratio: ArrayLike) -> NDArray[np.float64]:
    """Interval in cents of a frequency ratio, or of an array of them."""
    result: NDArray[Any] = CENTS_PER_OCTAVE * np.log2(np.asarray(ratio, dtype=np.float64))
    return result
