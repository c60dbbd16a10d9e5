"""A profile as lines of characters for the terminal: block characters or plain ASCII, no colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blankcam.parts.curve import Array

EIGHTHS = " ▁▂▃▄▅▆▇█"
PLAIN = "   ..::##"
TALL = 8  # rows of a picture
ROOM_FOR_NAMES = 60  # columns from which labels have room for more than a number


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightProfile:
    """Heights, a column of characters each, and the labels over them."""

    title: str
    heights: Array
    """(columns,) mm."""
    low: float
    """Height at the foot of the picture, mm; what lies lower is not shown."""
    high: float
    length: float
    """What the columns cover, mm."""
    labels: tuple[tuple[float, str, str], ...]
    """Place along the length, a number, a name that goes with it where there is room."""
    ends: tuple[str, str]
    """Words under the left and right end."""


def render(profile: HeightProfile, *, plain: bool = False) -> list[str]:
    """The picture's lines, labels above, ends and scale below; ``plain`` keeps to ASCII."""
    wide = len(profile.heights)
    left, right = profile.ends
    return [
        profile.title,
        *_labels(profile.labels, profile.length, wide),
        *_rows(profile, PLAIN if plain else EIGHTHS),
        left + right.rjust(wide - len(left)),
        f"heights {profile.low:.2f} to {profile.high:.2f} mm, stretched",
    ]


def _rows(profile: HeightProfile, shades: str) -> list[str]:
    level = (profile.heights - profile.low) / (profile.high - profile.low)
    level = np.clip(level, 0.0, 1.0) * TALL
    rows = []
    for row in range(TALL - 1, -1, -1):
        eighths = np.clip(np.round((level - row) * 8), 0, 8).astype(int)
        rows.append("".join(shades[n] for n in eighths).rstrip())
    return rows


def _labels(labels: Sequence[tuple[float, str, str]], length: float, wide: int) -> list[str]:
    """Labels over their places, on two lines; a crowded one goes to the upper line."""
    texts = [
        (min(int(x / length * wide), wide - 1),
         number if wide < ROOM_FOR_NAMES else f"{number} {name}")
        for x, number, name in sorted(labels)
    ]  # fmt: skip
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
