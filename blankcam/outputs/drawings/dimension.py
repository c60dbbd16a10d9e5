"""Dimensions after ISO 129-1: extension lines, filled arrowheads, the value over its line.

Sizes from memory of the standard; values are in millimetres as everywhere on a sheet.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from blankcam.outputs.drawing import Drawing, Path, Words, stroke
from blankcam.outputs.typeface import POINTS_8, width
from blankcam.parts.curve import Line, Point

TEXT = POINTS_8  # height of a dimension's value, mm
ARROW = 1.8  # length of an arrowhead
BEYOND = 1.0  # an extension line goes this far past its dimension line
CLEAR = 0.6  # and begins this far from the outline


def arrow(tip: Point, turn: float) -> Path:
    """A filled arrowhead whose tip points along ``turn``, radians."""
    a, b = math.cos(turn), math.sin(turn)
    half = ARROW * math.tan(math.radians(7.5))
    back = (tip[0] - ARROW * a, tip[1] - ARROW * b)
    left, right = ((back[0] - side * half * b, back[1] + side * half * a) for side in (1.0, -1.0))
    chain = (Line(tip, left), Line(left, right), Line(right, tip))
    return Path(chain=chain, holds="marks", closed=True, fill=True)


def across(x0: float, x1: float, at: float, foot: float, text: str) -> Drawing:
    """A level dimension at height ``at`` between x0 and x1; extension lines come from ``foot``."""
    way = math.copysign(1.0, at - foot)
    tight = x1 - x0 < 3.2 * ARROW
    paths = [
        *(stroke((x, foot + way * CLEAR), (x, at + way * BEYOND)) for x in (x0, x1)),
        stroke((x0 - (4.0 if tight else 0.0), at), (x1 + (4.0 if tight else 0.0), at)),
        arrow((x0, at), 0.0 if tight else math.pi),
        arrow((x1, at), math.pi if tight else 0.0),
    ]
    wide = width(text, TEXT)
    if tight or wide > x1 - x0 - 1.0:
        words = Words(at=(x1 + 4.6, at - TEXT / 2), text=text, height=TEXT)
        if not tight:
            words = Words(at=(x1 + 1.2, at - TEXT / 2), text=text, height=TEXT)
    else:
        words = Words(at=((x0 + x1) / 2, at + 0.7), text=text, height=TEXT, anchor="middle")
    return Drawing(paths=tuple(paths), words=(words,))


def up(y0: float, y1: float, at: float, foot: float, text: str) -> Drawing:
    """An upright dimension at x = ``at`` between y0 and y1; the value reads from the right."""
    way = math.copysign(1.0, at - foot)
    tight = y1 - y0 < 3.2 * ARROW
    paths = (
        *(stroke((foot + way * CLEAR, y), (at + way * BEYOND, y)) for y in (y0, y1)),
        stroke((at, y0 - (3.0 if tight else 0.0)), (at, y1 + (3.0 if tight else 0.0))),
        arrow((at, y0), math.pi / 2 if tight else -math.pi / 2),
        arrow((at, y1), -math.pi / 2 if tight else math.pi / 2),
    )
    wide = width(text, TEXT)
    if tight or wide > y1 - y0 - 1.0:
        spot = (at - 0.7 if way < 0 else at + 0.7 + TEXT, y1 + 3.4 if tight else y0 - 0.2)
        words = Words(at=spot, text=text, height=TEXT, anchor="left", turn=90.0)
        if not tight:
            words = Words(at=(spot[0], (y0 + y1) / 2), text=text, height=TEXT, anchor="middle",
                          turn=90.0)  # fmt: skip
    else:
        spot = (at - 0.7 if way < 0 else at + 0.7 + TEXT, (y0 + y1) / 2)
        words = Words(at=spot, text=text, height=TEXT, anchor="middle", turn=90.0)
    return Drawing(paths=paths, words=(words,))


def leader(tip: Point, knee: Point, text: str, *, right: bool = True) -> Drawing:
    """An arrow onto something with its words beside the knee."""
    turn = math.atan2(tip[1] - knee[1], tip[0] - knee[0])
    shelf = (knee[0] + (2.0 if right else -2.0), knee[1])
    at = (shelf[0] + (0.6 if right else -0.6), knee[1] - TEXT / 2)
    return Drawing(
        paths=(stroke(tip, knee, shelf), arrow(tip, turn)),
        words=(Words(at=at, text=text, height=TEXT, anchor="left" if right else "right"),),
    )


def hatch(chain_box: tuple[float, float, float, float], tops: Sequence[Point]) -> tuple[Path, ...]:
    """Section lines at 45 degrees, 2 mm apart, in a box under a polygon of tops (left to right)."""
    from shapely import LineString, Polygon

    left, low, right, high = chain_box
    body = Polygon([(left, low), (right, low), *reversed(tops)])
    lines: list[Path] = []
    start = left - (high - low)
    while start < right:
        line = LineString([(start, low), (start + high - low, high)])
        cut = line.intersection(body)
        pieces = getattr(cut, "geoms", [cut])
        lines += [stroke(*piece.coords) for piece in pieces if piece.length > 0.2]
        start += 2.0
    return tuple(lines)
