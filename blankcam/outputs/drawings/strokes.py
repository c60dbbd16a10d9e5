"""Strokes, tints and letters that the drawings of slots and seats are made of.

In any unit, with y upward. Paths and words hold the keys of data/section.toml.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from blankcam.outputs import switched, typeface
from blankcam.outputs.drawing import Drawing, Path, Words, joined, spread, stroke
from blankcam.parts.curve import Chain, Line, Point

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

LINE = 1.9
"""From one line of words to the next, in heights of a capital."""
CLOSE = 1.6
"""The same between the heights beside a picture, where each stands for itself."""
ARROW = 0.75
"""Length of an arrowhead, in heights of a capital."""
HATCH = 1.0
"""From one section line to the next, in heights of a capital."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Letters:
    """How large the words are, and how much is said."""

    cap: float
    """Height of a capital."""
    full: bool = True
    """Whether each number is named; else it stands alone in the colour of its line."""
    terse: bool = False
    """Whether the names are as short as can be, for a narrow screen."""
    hatched: bool = True
    """Whether section lines and dots are drawn; a renderer with patterns fills by itself."""
    switched: bool = False
    """Whether the reader switches between millimetres and inches."""

    def length(self, mm: float, places: int = 2) -> str:
        """A length in words."""
        return switched.marked(mm, places) if self.switched else f"{mm:.{places}f}"

    def wide(self, texts: Iterable[str], *, bold: bool = False) -> float:
        """The width of the widest."""
        return max((typeface.width(t, self.cap, bold=bold) for t in texts), default=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """From millimetres of the part to the drawing: ``scale`` to one, about an origin."""

    scale: float
    x: float
    """Where the part's origin lies in the drawing."""
    z: float

    def at(self, p: Point) -> Point:
        """A point of the part in the drawing."""
        return (self.x + self.scale * p[0], self.z + self.scale * p[1])

    def up(self, z: float) -> float:
        """A height."""
        return self.z + self.scale * z


def fanned(places: Sequence[float], pitch: float, room: tuple[float, float]) -> list[float]:
    """Places moved apart, and all together into a room where they would leave it."""
    moved = spread(list(places), pitch)
    if not moved:
        return moved
    over, under = max(moved) - room[1], room[0] - min(moved)
    by = -over if over > 0 else max(under, 0.0)
    return [p + by for p in moved]


def line_in(points: Sequence[Point], frame: Frame, holds: str) -> Path:
    """A line through points of the part, in the drawing."""
    return stroke(*(frame.at(p) for p in points), holds=holds)


def chained(points: Sequence[Point]) -> Chain:
    """Straight lines from point to point."""
    return tuple(Line(p, q) for p, q in pairwise(points) if p != q)


def area(points: Sequence[Point], frame: Frame, holds: str) -> Drawing:
    """What lies inside a polygon of mm, filled."""
    ring = [frame.at(p) for p in (*points, points[0])]
    return Drawing(paths=(Path(chain=chained(ring), holds=holds, closed=True, fill=True),))


def say(at: Point, text: str, letters: Letters, *, anchor: str = "left", holds: str = "words",
         bold: bool = False) -> Drawing:  # fmt: skip
    """One line of words."""
    word = Words(at=at, text=text, height=letters.cap, anchor=anchor, holds=holds, bold=bold)
    return Drawing(words=(word,))


def fret_crown(at: Point, high: float, frame: Frame) -> Drawing:
    """A fret's crown, twice as wide as high."""
    turns = [math.pi * i / 12 for i in range(13)]
    ring = [(at[0] - high * math.cos(t), at[1] + high * math.sin(t)) for t in turns]
    edge = line_in(ring, frame, "lying")
    return joined((area(ring, frame, "metal"), Drawing(paths=(edge,))))


def material(
    stays: BaseGeometry, goes: BaseGeometry | None, frame: Frame,
    limits: tuple[float, float, float, float], letters: Letters,
) -> Drawing:  # fmt: skip
    """What stays, hatched, and what goes, dotted, inside the picture's limits."""
    from shapely import box

    window = box(*limits)
    paths = [*filled_paths(stays.intersection(window), frame, "stays")]
    if goes is not None:
        paths += filled_paths(goes.intersection(window), frame, "goes")
    if not letters.hatched:
        return Drawing(paths=tuple(paths))
    cap = letters.cap
    paths += hatched_paths(stays.intersection(window), frame, HATCH * cap)
    if goes is not None:
        paths += dotted_paths(goes.intersection(window), frame, 0.62 * cap)
    return Drawing(paths=tuple(paths))


def rings(shape: BaseGeometry, frame: Frame) -> Iterator[list[Point]]:
    """Each outline of a shape, in the drawing."""
    for piece in getattr(shape, "geoms", [shape]):
        if piece.geom_type == "Polygon" and not piece.is_empty:
            yield [frame.at((x, z)) for x, z in piece.exterior.coords]


def filled_paths(shape: BaseGeometry, frame: Frame, holds: str) -> Iterator[Path]:
    """A shape filled with a tint."""
    for ring in rings(shape, frame):
        yield Path(chain=chained(ring), holds=holds, closed=True, fill=True)


def hatched_paths(shape: BaseGeometry, frame: Frame, pitch: float) -> Iterator[Path]:
    """Section lines at 45 degrees; ``stays over`` in the key, for renderers with
    patterns to skip.
    """
    from shapely import LineString, Polygon

    for ring in rings(shape, frame):
        body = Polygon(ring).buffer(0)
        x0, y0, x1, y1 = body.bounds
        for i in range(math.floor((x0 - y1) / pitch), math.ceil((x1 - y0) / pitch)):
            cut = body.intersection(LineString([(i * pitch + y0, y0), (i * pitch + y1, y1)]))
            for piece in getattr(cut, "geoms", [cut]):
                if piece.length > pitch / 8:
                    yield stroke(*piece.coords, holds="stays over")


def dotted_paths(shape: BaseGeometry, frame: Frame, pitch: float) -> Iterator[Path]:
    """Dots in staggered rows; see ``hatched_paths``."""
    from shapely import Point as Place
    from shapely import Polygon, prepare

    for ring in rings(shape, frame):
        body = Polygon(ring).buffer(-pitch / 6)
        if body.is_empty:
            continue
        prepare(body)
        x0, y0, x1, y1 = body.bounds
        for j in range(math.floor(y0 / pitch), math.ceil(y1 / pitch) + 1):
            for i in range(math.floor(x0 / pitch), math.ceil(x1 / pitch) + 1):
                at = ((i + 0.5 * (j % 2)) * pitch, j * pitch)
                if body.contains(Place(at)):
                    yield dot(at, pitch / 9, holds="goes over")


def dot(at: Point, radius: float, holds: str = "dimension") -> Path:
    """A small filled lozenge."""
    x, y = at
    corners = [(x + radius, y), (x, y + radius), (x - radius, y), (x, y - radius), (x + radius, y)]
    return Path(chain=chained(corners), holds=holds, closed=True, fill=True)


def patch(word: Words, cap: float) -> Path:
    """A clear ground for words that stand in the bone."""
    x0, y0 = (min(p[i] for p in word.corners()) for i in (0, 1))
    x1, y1 = (max(p[i] for p in word.corners()) for i in (0, 1))
    e = 0.18 * cap
    ring = [
        (x0 - e, y0 - e),
        (x1 + e, y0 - e),
        (x1 + e, y1 + e),
        (x0 - e, y1 + e),
        (x0 - e, y0 - e),
    ]
    return Path(chain=chained(ring), holds="patch", closed=True, fill=True)


def torn(a: Point, b: Point, cap: float) -> Path:
    """An edge where the picture ends but the bone goes on: a small wave."""
    length = math.dist(a, b)
    count = max(2, round(length / (0.55 * cap)))
    nx, ny = ((b[1] - a[1]) / length, (a[0] - b[0]) / length) if length else (0.0, 0.0)
    points = [a]
    for i in range(1, count):
        out = 0.12 * cap * (1 if i % 2 else -1)
        points.append((a[0] + (b[0] - a[0]) * i / count + out * nx,
                       a[1] + (b[1] - a[1]) * i / count + out * ny))  # fmt: skip
    return stroke(*points, b, holds="torn")


def top_edge(
    level: float, ends: tuple[float, float], high: float, frame: Frame, cap: float
) -> Path:
    """The level top of a blank; torn at ``high``, where the picture ends, if it is higher."""
    left, right = ends
    if level <= high:
        return stroke(frame.at((left, level)), frame.at((right, level)), holds="edge")
    return torn(frame.at((left, high)), frame.at((right, high)), cap)


def arrow(tip: Point, turn: float, cap: float) -> Path:
    """A filled arrowhead whose tip points along ``turn``, radians."""
    a, b = math.cos(turn), math.sin(turn)
    size, half = ARROW * cap, 0.17 * ARROW * cap * 1.2
    back = (tip[0] - size * a, tip[1] - size * b)
    left, right = ((back[0] - s * half * b, back[1] + s * half * a) for s in (1.0, -1.0))
    return Path(chain=chained([tip, left, right, tip]), holds="dimension", closed=True, fill=True)


def shaft(tip: Point, end: Point, cap: float) -> Drawing:
    """A line with an arrowhead at its tip."""
    turn = math.atan2(tip[1] - end[1], tip[0] - end[0])
    return Drawing(paths=(stroke(tip, end, holds="dimension"), arrow(tip, turn, cap)))


def upright_dimension(x: float, low: float, high: float, cap: float) -> Drawing:
    """Arrows between two heights; from outside where there is no room between."""
    tight = high - low < 2.4 * ARROW * cap
    out = 1.6 * ARROW * cap if tight else 0.0
    turn = math.pi / 2 if tight else -math.pi / 2
    return Drawing(paths=(
        stroke((x, low - out), (x, high + out), holds="dimension"),
        arrow((x, low), turn, cap), arrow((x, high), -turn, cap),
    ))  # fmt: skip


def across_dimension(x0: float, x1: float, at: float, foot: float, cap: float) -> Drawing:
    """Arrows between two places, with lines up from ``foot``; from outside where there
    is no room.
    """
    tight = x1 - x0 < 2.4 * ARROW * cap
    out = 1.6 * ARROW * cap if tight else 0.0
    turn = 0.0 if tight else math.pi
    return Drawing(paths=(
        *(stroke((x, foot), (x, at + 0.4 * cap), holds="dimension") for x in (x0, x1)),
        stroke((x0 - out, at), (x1 + out, at), holds="dimension"),
        arrow((x0, at), turn, cap), arrow((x1, at), math.pi - turn, cap),
    ))  # fmt: skip
