"""What a drawing is, whichever file it goes into: paths of lines and arcs, and words, in mm.

Nothing here knows what is drawn. ``drawings`` builds drawings of parts from these, ``render``
writes them as files.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from blankcam.outputs import typeface
from blankcam.parts import elevation
from blankcam.parts.curve import Chain, Line, Point

Box = tuple[float, float, float, float]
"""Left, low, right, high, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """A chain of lines and arcs, and what it stands for."""

    chain: Chain
    holds: str
    """A key of data/layers.toml."""
    closed: bool = False
    cut: bool = False
    """Whether a laser or router cuts along it, so that it is offset for the width of the cut."""
    fill: bool = False
    """Filled, for arrowheads and tints; renderers without fills draw its edge."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """One line of text; ``at`` is the left end, middle or right end of its baseline."""

    at: Point
    text: str
    height: float
    """Height of a capital letter, mm."""
    holds: str = "words"
    anchor: str = "left"
    turn: float = 0.0
    """Degrees, counter-clockwise."""
    bold: bool = False

    def corners(self) -> tuple[Point, ...]:
        """The corners of the box that its letters fill, counter-clockwise from the lower left."""
        wide = typeface.width(self.text, self.height, bold=self.bold)
        left = {"left": 0.0, "middle": -wide / 2, "right": -wide}[self.anchor]
        low, high = -typeface.DESCENT * self.height, self.height
        flat = ((left, low), (left + wide, low), (left + wide, high), (left, high))
        a, b = math.cos(math.radians(self.turn)), math.sin(math.radians(self.turn))
        x, y = self.at
        return tuple((x + p * a - q * b, y + p * b + q * a) for p, q in flat)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """Paths and words together."""

    paths: tuple[Path, ...] = ()
    words: tuple[Words, ...] = ()

    def moved(self, da: float, db: float) -> Drawing:
        """All of it shifted."""
        return Drawing(
            paths=tuple(replace(p, chain=elevation.moved(p.chain, da, db)) for p in self.paths),
            words=tuple(replace(w, at=(w.at[0] + da, w.at[1] + db)) for w in self.words),
        )

    def held(self) -> frozenset[str]:
        """What its paths and words stand for."""
        return frozenset([*(p.holds for p in self.paths), *(w.holds for w in self.words)])

    def bounds(self) -> Box:
        """The box around its paths."""
        return elevation.bounds([p.chain for p in self.paths])

    def extent(self) -> Box:
        """The box around its paths and its words."""
        spots = [corner for w in self.words for corner in w.corners()]
        if self.paths:
            left, low, right, high = self.bounds()
            spots += [(left, low), (right, high)]
        a, b = zip(*spots, strict=True)
        return min(a), min(b), max(a), max(b)


def scaled(drawing: Drawing, by: float) -> Drawing:
    """Everything enlarged about the origin; the letters keep their height."""
    return Drawing(
        paths=tuple(replace(p, chain=elevation.scaled(p.chain, by)) for p in drawing.paths),
        words=tuple(replace(w, at=(w.at[0] * by, w.at[1] * by)) for w in drawing.words),
    )


def joined(drawings: Iterable[Drawing]) -> Drawing:
    """Several drawings as one."""
    drawings = tuple(drawings)
    return Drawing(
        paths=tuple(p for d in drawings for p in d.paths),
        words=tuple(w for d in drawings for w in d.words),
    )


def stacked(drawings: Sequence[Drawing], gap: float) -> Drawing:
    """Each drawing above the one before, left ends together, the first where it is."""
    made = list(drawings[:1])
    for drawing in drawings[1:]:
        left, low, _, _ = drawing.bounds()
        made.append(drawing.moved(-left, joined(made).bounds()[3] + gap - low))
    return joined(made)


def selected(drawing: Drawing, keep: Callable[[str], bool]) -> Drawing:
    """The drawing's paths and words that hold what is to be kept."""
    return Drawing(
        paths=tuple(p for p in drawing.paths if keep(p.holds)),
        words=tuple(w for w in drawing.words if keep(w.holds)),
    )


def stroke(*points: Point, holds: str = "marks") -> Path:
    """Straight lines from point to point."""
    return Path(chain=tuple(Line(p, q) for p, q in pairwise(points) if p != q), holds=holds)


def spread(places: Sequence[float], pitch: float) -> list[float]:
    """Places moved apart to at least ``pitch``, each as little as possible, in the given order.

    Neighbours too near each other form a block about their mean (pool adjacent violators).
    """
    order = sorted(range(len(places)), key=lambda i: places[i])
    blocks: list[list[float]] = []  # [sum of wanted starts, count]
    for rank, i in enumerate(order):
        blocks.append([places[i] - rank * pitch, 1.0])
        while len(blocks) > 1 and blocks[-2][0] / blocks[-2][1] > blocks[-1][0] / blocks[-1][1]:
            total, count = blocks.pop()
            blocks[-1][0] += total
            blocks[-1][1] += count
    starts = [total / count for total, count in blocks for _ in range(int(count))]
    moved = [0.0] * len(places)
    for rank, i in enumerate(order):
        moved[i] = starts[rank] + rank * pitch
    return moved
