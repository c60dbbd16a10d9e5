"""The parts in the terminal: the nut's elevation with its slots, the saddle's top; no colour."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from blankcam.parts.curve import Array
from blankcam.parts.nut import Nut
from blankcam.parts.part import Stage
from blankcam.parts.saddle import Saddle

LEAST, MOST = 40, 160
"""Columns a picture may take."""
EIGHTHS = " ▁▂▃▄▅▆▇█"
PLAIN = "   ..::##"
TALL = 8  # rows of a picture
SHOWN = 4.0  # mm of the nut's height under its highest place
ASPECT = 2.0  # a character's height over its width, common


def lines(
    nut: Nut, saddle: Saddle, width: int, *, bass_left: bool = True, plain: bool = False
) -> list[str]:
    """Both parts as lines no wider than ``width`` columns (at least 40), seen from the bridge.

    Heights are stretched and only the upper part is shown; both scales are written. ``plain``
    keeps to ASCII, for terminals without block characters.
    """
    wide = min(max(width, LEAST), MOST)
    return [*_nut(nut, wide, bass_left, plain), "", *_saddle(saddle, wide, bass_left, plain)]


def _nut(nut: Nut, wide: int, bass_left: bool, plain: bool) -> list[str]:
    places = [(s.string, s.note, s.centre) for s in nut.slots]
    x = _columns(nut.length, wide)
    step = nut.length / len(x)
    z = nut.lower(x, np.zeros_like(x), Stage.FINAL)
    for slot in nut.slots:  # a slot narrower than a column still shows
        at = min(int(slot.centre / step), len(x) - 1)
        z[at] = min(z[at], slot.floor_front)
    reach = max(max(s.depth_front for s in nut.slots) * 1.6, 0.8)
    low = float(nut.height) - max(reach + _fall(nut.top.height(x)), 1.0)
    head = f"Nut, {nut.length:.2f} x {nut.height:.2f} mm, from the bridge"
    return [head, *_field(z, low, nut.height, places, nut.length, plain), _ends(wide, bass_left),
            _scale(low, nut.height)]  # fmt: skip


def _saddle(saddle: Saddle, wide: int, bass_left: bool, plain: bool) -> list[str]:
    places = [(s.string, s.note, s.centre) for s in saddle.strings]
    x = _columns(saddle.length, wide)
    z = np.asarray(saddle.top.height(x))
    low = float(saddle.height) - max(_fall(z) * 1.3, 1.0)
    head = f"Saddle, {saddle.length:.2f} x {saddle.height:.2f} mm, from the tail"
    return [head, *_field(z, low, saddle.height, places, saddle.length, plain),
            _ends(wide, bass_left), _scale(low, saddle.height)]  # fmt: skip


def _fall(z: Array) -> float:
    return float(np.max(z) - np.min(z))


def _columns(length: float, wide: int) -> Array:
    """Middle of each column along the part."""
    return np.asarray((np.arange(wide) + 0.5) * length / wide)


def _field(
    z: Array,
    low: float,
    high: float,
    places: Sequence[tuple[int, str, float]],
    length: float,
    plain: bool,
) -> list[str]:
    """String labels over the filled field."""
    shades = PLAIN if plain else EIGHTHS
    level = np.clip((z - low) / (high - low), 0.0, 1.0) * TALL
    rows = []
    for row in range(TALL - 1, -1, -1):
        eighths = np.clip(np.round((level - row) * 8), 0, 8).astype(int)
        rows.append("".join(shades[n] for n in eighths).rstrip())
    return [*_labels(places, length, len(z)), *rows]


def _labels(places: Sequence[tuple[int, str, float]], length: float, wide: int) -> list[str]:
    """Numbers and notes over their strings, on two lines; a crowded label goes to the second."""
    texts = [
        (min(int(x / length * wide), wide - 1), f"{string}{'' if wide < 60 else ' ' + note}")
        for string, note, x in sorted(places, key=lambda p: p[2])
    ]
    made = [[" "] * wide for _ in range(3)]
    free = [0, 0]
    for column, text in texts:
        begin = max(min(column - len(text) // 2, wide - len(text)), 0)
        row = 1 if begin >= free[1] else 0 if begin >= free[0] else None
        if row is None:
            continue
        made[row][begin : begin + len(text)] = text
        free[row] = begin + len(text) + 1
        made[2][column] = "|"
    return [r for r in ("".join(m).rstrip() for m in made) if r]


def _ends(wide: int, bass_left: bool) -> str:
    left, right = ("bass", "treble") if bass_left else ("treble", "bass")
    return left + right.rjust(wide - len(left))


def _scale(low: float, high: float) -> str:
    return f"heights {low:.2f} to {high:.2f} mm, stretched"
