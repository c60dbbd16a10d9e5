"""The dimensions round a slot's section across: heights, how the string sits, widths."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from blankcam.outputs.drawing import Drawing, Words, joined, stroke
from blankcam.outputs.drawings.slot_section import LEAST, SlotSection, Standing
from blankcam.outputs.drawings.strokes import (
    CLOSE,
    LINE,
    Frame,
    Letters,
    across_dimension,
    dot,
    fanned,
    upright_dimension,
)

Box = tuple[float, float, float, float]
"""Left, lower, right and upper limits of the section in the drawing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Height:
    """The height over the seat of one line in the picture, mm, and its name."""

    z: float
    words: str
    holds: str
    """The key of that line in data/section.toml."""


def heights(section: SlotSection, standing: Standing) -> tuple[Height, ...]:
    """The heights named beside the section, from the highest down."""
    done = standing is Standing.FINISHED
    at = [
        Height(z=section.finished_top, words="finished top", holds="finished"),
        Height(z=section.slot.floor_front, words="finished floor", holds="finished"),
    ]
    if not done:
        now = section.stands is not None
        first = "floor now" if now else "rough floor" if section.milled else "file first"
        line = "rough" if section.milled or now else "first"
        at.append(Height(z=section.first_floor, words=first, holds=line))
        if section.rough_top - section.finished_top > 0.005:
            at.append(
                Height(z=section.rough_top, words="top now" if now else "rough top", holds="rough")
            )
        if section.nick is not None:
            at.append(Height(z=section.rough_top - section.nick, words="nick", holds="rough"))
    if standing is Standing.REFIT and section.refit is not None:
        if abs(section.refit.top - section.rough_top) > LEAST:  # else it stays as it is
            at.append(Height(z=section.refit.top, words="refit top", holds="refit"))
        if abs(section.refit.floor - section.first_floor) > LEAST:
            at.append(Height(z=section.refit.floor, words="refit floor", holds="refit"))
    return tuple(sorted(at, key=lambda h: -h.z))


def height_words(height: Height, letters: Letters) -> str:
    """A height with its name, shortened or left out as the letters ask."""
    name = height.words.removeprefix("finished ") if letters.terse else height.words
    z = letters.length(height.z)
    return f"{z} {name}" if letters.full else z


def height_column(
    told: Sequence[Height], frame: Frame, box: Box, x: float,
    letters: Letters,
) -> Drawing:  # fmt: skip
    """The heights beside the picture from the highest down, each joined to its line."""
    cap = letters.cap
    room = (0.8 * cap, box[3] + 2.3 * cap)
    places = fanned([frame.up(h.z) for h in told], cap * CLOSE, room)
    paths, words = [], []
    for height, place in zip(told, places, strict=True):
        at = frame.up(height.z)
        paths.append(stroke((box[2] + 0.2 * cap, at), (x + 0.5 * cap, at), (x + 1.7 * cap, place),
                            (x + 2.3 * cap, place), holds="dimension"))  # fmt: skip
        words.append(Words(at=(x + 2.6 * cap, place - cap / 2), text=height_words(height, letters),
                           height=cap, holds=height.holds, bold=not letters.full))  # fmt: skip
    return Drawing(paths=tuple(paths), words=tuple(words))


def left_words(section: SlotSection, letters: Letters) -> tuple[str, str]:
    """How far the finished string stands out of the finished top, and how deep its slot is."""
    share = f" ({100 * section.stands_out / section.slot.gauge:.0f} %)"
    out, deep = letters.length(section.stands_out), letters.length(section.slot.depth_front)
    if letters.terse:
        return f"out {out}", f"deep {deep}"
    if letters.full:
        return f"stands out {out}{share}", f"deep {deep}"
    return out, deep


def left_column(
    section: SlotSection, frame: Frame, box: Box, x: float,
    letters: Letters,
) -> Drawing:  # fmt: skip
    """The dimensions for ``left_words``, left of the picture."""
    cap, slot = letters.cap, section.slot
    at = x - 0.9 * cap
    stops = [frame.up(z) for z in (slot.floor_front + slot.gauge, section.finished_top,
                                   slot.floor_front)]  # fmt: skip
    spans = [(low, high) for high, low in pairwise(stops)]
    places = fanned([(a + b) / 2 for a, b in spans], cap * CLOSE, (0.8 * cap, box[3]))
    centre = frame.at((slot.centre, 0.0))[0]
    extend = [stroke((end, z), (at - 0.4 * cap, z), holds="dimension")
              for end,
              z in zip((centre, box[0] - 0.2 * cap, centre), stops, strict=True)]  # fmt: skip
    drawn = [Drawing(paths=tuple(extend))]
    for (low, high), place, text in zip(spans, places, left_words(section, letters), strict=True):
        drawn.append(upright_dimension(at, low, high, cap))
        elbow = stroke((at - 0.2 * cap, (low + high) / 2), (at - 1.6 * cap, place),
                       (at - 1.9 * cap, place), holds="dimension")  # fmt: skip
        word = Words(at=(at - 2.2 * cap, place - cap / 2), text=text, height=cap, anchor="right")
        drawn.append(Drawing(paths=(elbow,), words=(word,)))
    return joined(drawn)


def top_rows(section: SlotSection, letters: Letters, wide: float) -> list[list[tuple[str, str]]]:
    """Rows of (kind, words) over the picture, the top one first: string and gap, the
    slot's width.
    """
    gauge = letters.length(section.slot.gauge)
    string = f"string Ø {gauge}" if letters.full else f"Ø {gauge}"
    each = letters.length(section.clear, 3)
    gap = f"clear {each} each side" if letters.full else f"{each} clear"
    width = f"{letters.length(section.slot.width)}{' wide' if letters.full else ''}"
    sides = [("string", string), ("clear", gap)]
    used = sum(letters.wide([t]) for _, t in sides) + 3 * letters.cap
    rows = [sides] if used <= wide else [[s] for s in sides]
    return [*rows, [("wide", width)]]


def top_dimensions(
    section: SlotSection, rows: Sequence[Sequence[tuple[str, str]]], frame: Frame,
    box: Box, size: tuple[float, float], letters: Letters,
) -> Drawing:  # fmt: skip
    """The words of ``top_rows`` over the picture: the width between arrows, the rest
    with pointers.
    """
    cap, slot = letters.cap, section.slot
    level = box[3] + 0.9 * cap
    walls = [frame.at((slot.centre + side * slot.radius, 0.0))[0] for side in (-1, 1)]
    middle = sum(walls) / 2
    drawn = [across_dimension(walls[0], walls[1], level, frame.up(section.finished_top), cap)]
    words = []
    for i, row in enumerate(reversed(rows)):
        base = level + 0.6 * cap + i * LINE * cap
        for kind, text in row:
            word = _top_word(kind, text, base, middle, size[0], letters)
            words.append(word)
            if kind != "wide":
                drawn.append(_pointer(section, kind, word, frame, letters))
    return joined((*drawn, Drawing(words=tuple(words))))


def _top_word(
    kind: str, text: str, base: float, middle: float, wide: float, letters: Letters
) -> Words:
    gap = 1.2 * letters.cap
    at, anchor = {
        "wide": (middle, "middle"), "string": (middle - gap, "right"),
        "clear": (middle + gap, "left"),
    }[kind]  # fmt: skip
    own = letters.wide([text], bold=kind == "wide")
    if anchor == "right":
        at = max(at, own)
    if anchor == "left":
        at = min(at, wide - own)
    return Words(at=(at, base), text=text, height=letters.cap, anchor=anchor, bold=kind == "wide")


def _pointer(
    section: SlotSection, kind: str, word: Words, frame: Frame, letters: Letters
) -> Drawing:
    """A line from the words for string or gap down to it, clear of the words for the width."""
    cap, slot = letters.cap, section.slot
    side = -1 if kind == "string" else 1
    own = letters.wide([word.text])
    middle = frame.at((slot.centre, 0.0))[0]
    half = max(slot.radius * frame.scale, letters.wide(["0.00 wide"], bold=True) / 2) + 1.4 * cap
    start = middle + side * min(half, abs(word.at[0] - middle) + own - 0.5 * cap)
    low = word.at[1] - 0.45 * cap
    turn = math.radians(145 if kind == "string" else 12)
    r = slot.gauge / 2
    tip = frame.at((slot.centre + r * math.cos(turn), slot.floor_front + r + r * math.sin(turn)))
    if kind == "clear":
        tip = frame.at((slot.centre + (r + slot.radius) / 2, section.finished_top))
    return Drawing(paths=(stroke((start, low), tip, holds="dimension"), dot(tip, 0.13 * cap)))
