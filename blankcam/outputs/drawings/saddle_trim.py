"""What a refit takes off a saddle: the whole at 1:1, and what goes with its heights ten times."""

from __future__ import annotations

import itertools

import numpy as np

from blankcam.outputs.drawing import Drawing, Path, Words, joined, stroke
from blankcam.outputs.drawings.dimension import up
from blankcam.outputs.drawings.strokes import Frame, dotted_paths
from blankcam.outputs.typeface import POINTS_8
from blankcam.parts.curve import Line, Point
from blankcam.parts.saddle import Saddle
from blankcam.refit.as_cut import Taken

TIMES = 10
"""How many times the heights of what goes are drawn."""
UNDER = 9.0  # mm kept between the two pictures
BODY = 4.0  # mm of the saddle that are drawn beside what goes


def trim_view(now: Saddle, then: Saddle, taken: Taken, bass_left: bool) -> Drawing:
    """The saddle as it stands with its strings, and under it what goes.

    The left end and the underside as it stands are the origin of the upper picture.
    """
    x = np.linspace(0.0, now.length, 65)
    tops = [(float(a), float(z)) for a, z in zip(x, now.top.height(x), strict=True)]
    whole = _closed([(0.0, 0.0), (now.length, 0.0), *reversed(tops)], "edge")
    numbers = tuple(
        Words(at=(s.centre, now.height + 1.6), text=str(s.string), height=POINTS_8, anchor="middle")
        for s in now.strings
    )
    sides = ("bass", "treble") if bass_left else ("treble", "bass")
    names = (
        Words(at=(0.0, -3.6), text=sides[0], height=POINTS_8),
        Words(at=(now.length, -3.6), text=sides[1], height=POINTS_8, anchor="right"),
    )
    marks = tuple(
        stroke((s.centre, now.height - 2.0), (s.centre, now.height + 1.0), holds="centre")
        for s in now.strings
    )
    goes = _underside(taken, now.length) if taken.trim == "bottom" else _ridge(now, then, x)
    tall = goes.extent()[3]
    return joined(
        (Drawing(paths=(whole, *marks), words=(*numbers, *names)), goes.moved(0.0, -UNDER - tall))
    )


def _underside(taken: Taken, length: float) -> Drawing:
    """The wedge under the saddle, its lower edge at 0."""
    left, right = taken.bottom_left * TIMES, taken.bottom_right * TIMES
    wedge = [(0.0, 0.0), (length, 0.0), (length, right), (0.0, left)]
    high = max(left, right) + BODY
    return joined((
        _going(wedge),
        Drawing(paths=(
            stroke((0.0, left), (0.0, high), holds="edge"),
            stroke((length, right), (length, high), holds="edge"),
            stroke((0.0, left), (length, right), holds="refit"),
        )),
        up(0.0, left, -5.0, 0.0, f"{taken.bottom_left:.2f}"),
        up(0.0, right, length + 5.0, length, f"{taken.bottom_right:.2f}"),
        _said(f"off its underside, heights x {TIMES}", length, high),
    ))  # fmt: skip


def _ridge(now: Saddle, then: Saddle, x: np.ndarray) -> Drawing:
    """What comes off the top, from the lowest place of the ridge as it is to be."""
    foot = float(np.min(then.top.height(x)))
    after, before = ((s.top.height(x) - foot) * TIMES for s in (then, now))
    low = [(float(a), float(z)) for a, z in zip(x, after, strict=True)]
    high = [(float(a), float(z)) for a, z in zip(x, np.maximum(before, after), strict=True)]
    top = max(z for _, z in high)
    return joined((
        _going([*low, *reversed(high)]),
        Drawing(paths=(
            stroke((0.0, -BODY), (0.0, low[0][1]), holds="edge"),
            stroke((now.length, -BODY), (now.length, low[-1][1]), holds="edge"),
            stroke(*low, holds="refit"),
        )),
        _said(f"off its top, heights x {TIMES}", now.length, top),
    ))  # fmt: skip


def _going(outline: list[Point]) -> Drawing:
    from shapely import Polygon

    path = _closed(outline, "goes")
    dots = dotted_paths(Polygon(outline), Frame(scale=1.0, x=0.0, z=0.0), 1.3)
    ground = Path(chain=path.chain, holds="goes", closed=True, fill=True)
    return Drawing(paths=(ground, *dots, _closed(outline, "rough")))


def _closed(points: list[Point], holds: str) -> Path:
    ring = [*points, points[0]]
    chain = tuple(Line(p, q) for p, q in itertools.pairwise(ring) if p != q)
    return Path(chain=chain, holds=holds, closed=True)


def _said(text: str, length: float, high: float) -> Drawing:
    at = (length / 2, high + 1.6)
    return Drawing(words=(Words(at=at, text=text, height=POINTS_8, anchor="middle", bold=True),))
