"""Cents off at each fret, drawn small for paper: one square a string, readable in black
and white.
"""

from __future__ import annotations

import math

from blankcam.instrument.strings import StringData
from blankcam.outputs.drawing import Drawing, Words, stroke
from blankcam.outputs.typeface import POINTS_8

WIDE, TALL = 23.5, 20.0  # of one square, mm
CELL = (29.0, 31.0)  # room of a square with its words
SMALL = POINTS_8  # height of capitals, mm
WORDS = (
    "Heavy line: with this ridge. Dashed line: ridge at the scale length. Frets 1 to 12 from the"
    " left; up is sharp; the worst stands over the square. All squares have the same scale."
)


def plots(strings: tuple[StringData, ...]) -> list[Drawing]:
    """A square a string, each in a ``CELL`` whose upper left corner is the origin."""
    most = max(abs(c) for s in strings for c in (*s.cents, *s.cents_straight))
    reach = max(2.0, 2.0 * math.ceil(most / 2))
    return [_plot(s, reach) for s in strings]


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
        Words(at=(WIDE, top + 1.2), text=f"{worst:+z.1f}", height=SMALL, anchor="right"),
        Words(at=(WIDE + 0.5, top - SMALL), text=f"{reach:+z.0f}", height=SMALL),
        Words(at=(WIDE + 0.5, low), text=f"{-reach:+z.0f}", height=SMALL),
        Words(at=(WIDE + 0.5, middle - SMALL / 2), text="0", height=SMALL),
        *(
            Words(at=(step * n, low - 2.9), text=str(n), height=SMALL, anchor="middle")
            for n in (1, 5, 7, 12)
        ),
    )
    return Drawing(paths=paths, words=words)
