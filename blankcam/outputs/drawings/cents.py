"""Cents off at each fret, drawn small for paper: one square a string, readable in black and white."""

from __future__ import annotations

import math

from blankcam.instrument.strings import StringData
from blankcam.outputs.drawing import Drawing, Words, joined, stroke

WIDE, TALL = 27.0, 20.0  # of one square, mm
STEP_X, STEP_Y = 31.0, 29.0
ACROSS = 6
SMALL = 1.7  # height of capitals, mm
WORDS = (
    "Heavy line: with this ridge. Dotted line: ridge at the scale length. Frets 1 to 12 from the"
    " left; up is sharp. All squares have the same scale."
)


def plots(strings: tuple[StringData, ...]) -> tuple[Drawing, float]:
    """All strings, from the upper left at the origin going down; and how far down they reach, mm."""
    most = max(abs(c) for s in strings for c in (*s.cents, *s.cents_straight))
    reach = max(2.0, 2.0 * math.ceil(most / 2))
    parts = [
        _plot(s, reach).moved((i % ACROSS) * STEP_X, -(i // ACROSS) * STEP_Y)
        for i, s in enumerate(strings)
    ]
    return joined(parts), STEP_Y * math.ceil(len(strings) / ACROSS)


def _plot(string: StringData, reach: float) -> Drawing:
    """One string; its words over the square, the scale's ends and the frets beside it."""
    top, low = -4.0, -4.0 - TALL
    middle = (top + low) / 2

    def places(cents: tuple[float, ...]) -> list[tuple[float, float]]:
        step = WIDE / (len(cents) + 1)
        return [(step * (n + 1), middle + c / reach * TALL / 2) for n, c in enumerate(cents)]

    frame = ((0.0, low), (WIDE, low), (WIDE, top), (0.0, top), (0.0, low))
    zero = ((0.0, middle), (WIDE, middle))
    paths = (
        stroke(*frame),
        stroke(*zero),
        stroke(*places(string.cents_straight), holds="centres"),
        stroke(*places(string.cents), holds="outline"),
    )
    worst = max(string.cents, key=abs)
    step = WIDE / (len(string.cents) + 1)
    words = (
        Words(at=(0.0, top + 1.2), text=f"{string.number} {string.note}", height=SMALL, bold=True),
        Words(at=(WIDE, top + 1.2), text=f"worst {worst:+z.1f}", height=SMALL, anchor="right"),
        Words(at=(0.6, top - 2.3), text=f"{reach:+z.0f}", height=1.4),
        Words(at=(0.6, low + 0.8), text=f"{-reach:+z.0f}", height=1.4),
        Words(at=(0.6, middle + 0.5), text="0", height=1.4),
        *(
            Words(at=(step * n, low - 2.2), text=str(n), height=1.4, anchor="middle")
            for n in (1, 5, 7, 12)
        ),
    )
    return Drawing(paths=paths, words=words)
