"""What stands round a part on the instrument, as surfaces between two lines, for the page's
picture.

In the part's frame, mm. What is not measured (head, neck, the bridge's outline, pins) is drawn for
its place only, and marked so.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Iterator

import numpy as np

from blankcam.instrument.heights import nut_floor_at
from blankcam.parts.design import Design
from blankcam.parts.nut import Nut
from blankcam.parts.part import Part
from blankcam.parts.saddle import Saddle
from blankcam.preview.model import Loft, Tag

BOARD = 7.0
"""mm of board drawn beyond fret 1."""
HEAD = 16.0
"""mm of head drawn behind the nut."""
DEEP = 9.0
"""mm of wood drawn under a seat."""
BRIDGE = 11.0
"""mm of bridge drawn before the saddle; behind it as far as the pins and a little more."""
ROUND = 7
"""Facets of a fret's crown, from side to side."""

Line3 = tuple[tuple[float, float, float], ...]


@functools.singledispatch
def around(part: Part, found: Design) -> tuple[Loft, ...]:
    """The wood and metal round a part in its seat."""
    del found
    raise TypeError(type(part))


@functools.singledispatch
def tags(part: Part, found: Design) -> tuple[Tag, ...]:
    """The words that say where one is looking."""
    del found
    raise TypeError(type(part))


def front_reach(part: Part, found: Design) -> float:
    """How far the strings are drawn toward the bridge from a nut, toward the nut from a saddle."""
    if isinstance(part, Nut):
        return _to_fret(found) + BOARD
    return BRIDGE + 8.0


def _to_fret(found: Design) -> float:
    """From the nut's front, which nut compensation may move forward, to fret 1."""
    return float(found.instrument.board.fret_at(1)) - found.stands_forward


@around.register(Nut)
def _around_nut(nut: Nut, found: Design) -> tuple[Loft, ...]:
    far = _to_fret(found) + BOARD
    t = nut.thickness
    x = np.linspace(0.0, nut.length, 25)
    flat = tuple((float(a), t, 0.0) for a in (0.0, nut.length))
    fall = math.tan(nut.tilt) * HEAD
    edge = _wood(nut, found, x, 0.0)
    head = min(z for _, _, z in edge) - 1.2
    return (
        Loft(kind="board", near=_wood(nut, found, x, far), far=edge, low=-0.2),
        Loft(kind="neck", near=tuple((a, -far, -0.2) for a, _, _ in flat), far=flat, low=-DEEP),
        Loft(
            kind="neck",
            near=tuple((a, t, head) for a, _, _ in flat),
            far=tuple((a, t + HEAD, head - fall) for a, _, _ in flat),
            low=-DEEP,
        ),
        *_fret(nut, found, x),
    )


def _wood(nut: Nut, found: Design, x: np.ndarray[tuple[int, ...], np.dtype[np.float64]], s: float
          ) -> Line3:  # fmt: skip
    """The board's wood across at a distance from the nut's front, over the seat's floor."""
    u, at = x - nut.length / 2, s + found.stands_forward
    z = found.instrument.board.wood(at, u) - found.instrument.board.dip(at)
    floor = np.array([nut_floor_at(found.instrument, float(v)) for v in u])
    return tuple((float(a), -s, float(b)) for a, b in zip(x, z - floor, strict=True))


def _fret(nut: Nut, found: Design, x: np.ndarray[tuple[int, ...], np.dtype[np.float64]]
          ) -> Iterator[Loft]:  # fmt: skip
    """Fret 1: as high as the job says, twice as wide as high; its width is for its look only."""
    at, high = _to_fret(found), found.instrument.board.fret_height
    wood = _wood(nut, found, x, at)
    turns = [math.pi * i / ROUND for i in range(ROUND + 1)]
    lines = [
        tuple((a, y - high * math.cos(t), z + high * math.sin(t)) for a, y, z in wood)
        for t in turns
    ]
    for near, far in itertools.pairwise(lines):
        yield Loft(kind="fret", near=near, far=far, low=None)


@around.register(Saddle)
def _around_saddle(saddle: Saddle, found: Design) -> tuple[Loft, ...]:
    job = found.job.saddle
    t, long, top = saddle.thickness, saddle.length, job.slot_depth
    over, slope = 8.0, math.tan(saddle.slot.angle)
    back = (job.tie_run or 8.0) + 7.0

    def line(y: float, *, square: bool) -> Line3:
        """Across the bridge; its own edges are square to the strings, its slot may not be."""
        ends = (-over, long + over)
        lean = slope if square else 0.0
        return tuple((x, y + lean * (x - long / 2), top) for x in ends)

    low = -DEEP / 2
    return (
        Loft(kind="bridge", near=line(t, square=False), far=line(t + BRIDGE, square=True), low=low),
        Loft(kind="bridge", near=line(-back, square=True), far=line(0.0, square=False), low=low),
        *(Loft(kind="bridge", near=((a, 0.0, top), (b, 0.0, top)),
               far=((a, t, top), (b, t, top)), low=low)
          for a, b in ((-over, 0.0), (long, long + over))),
    )  # fmt: skip


@tags.register(Nut)
def _nut_tags(nut: Nut, found: Design) -> tuple[Tag, ...]:
    ends = _ends(found)
    far = _to_fret(found)
    wood = -nut_floor_at(found.instrument, 0.0)
    middle, high = nut.length / 2, nut.height
    return (
        Tag(words=ends[0], at=(-2.5, 0.0, high)),
        Tag(words=ends[1], at=(nut.length + 2.5, 0.0, high)),
        Tag(words="front, to the bridge", at=(middle, -12.0, wood), seat=True),
        Tag(
            words="fret 1", at=(middle, -far, wood + found.instrument.board.fret_height), seat=True
        ),
        Tag(words="head", at=(middle, nut.thickness + HEAD * 0.7, wood - 2.0), seat=True),
        Tag(words="front", at=(middle, -0.5, high * 0.35), seat=False),
        Tag(words="back, to the head", at=(middle, nut.thickness + 2.0, high), seat=False),
    )


@tags.register(Saddle)
def _saddle_tags(saddle: Saddle, found: Design) -> tuple[Tag, ...]:
    ends = _ends(found)
    top, middle = found.job.saddle.slot_depth, saddle.length / 2
    return (
        Tag(words=ends[0], at=(-4.0, saddle.thickness / 2, top)),
        Tag(words=ends[1], at=(saddle.length + 4.0, saddle.thickness / 2, top)),
        Tag(words="front, to the nut", at=(middle, saddle.thickness + 9.0, top)),
        Tag(words="bridge, drawn for place", at=(middle, -8.0, top), seat=True),
        Tag(words="back, to the pins", at=(middle, -1.0, top * 0.5), seat=False),
    )


def _ends(found: Design) -> tuple[str, str]:
    return ("treble", "bass") if found.job.left_handed else ("bass", "treble")
