"""The outline of any part as seen from the bridge and from above, as chains of lines and arcs.

As in ``elevation``: closed chains are walked counter-clockwise.
"""

from __future__ import annotations

import math

import numpy as np

from blankcam.parts.curve import Arc, Array, Chain, Line, Segment, fit
from blankcam.parts.top_curve import ArcCurve, Curve

WITHIN = 0.001
"""Curves that are no arcs are drawn as arcs nowhere further off, mm."""


def top_line(top: Curve, start: float, end: float, raised: float = 0.0) -> Chain:
    """A top from x = ``start`` to ``end``: one true arc where it is one, else arcs fitted."""
    if isinstance(top, ArcCurve) and (math.isinf(top.radius) or top.k == 0):
        return (_exact(top, start, end, raised),)

    def height(x: Array) -> Array:
        return np.asarray(top.height(x) + raised)

    return fit(height, start, end, WITHIN)


def _exact(top: ArcCurve, start: float, end: float, raised: float) -> Segment:
    """The top as the line or the arc that it is."""
    z = top.height(np.array([start, end])) + raised
    p, q = (start, float(z[0])), (end, float(z[1]))
    if math.isinf(top.radius):
        return Line(p, q)
    return Arc(p, q, (top.middle, top.z0 + raised - top.radius), end < start)


def elevation(top: Curve, length: float, raised: float = 0.0) -> Chain:
    """A part of that length under its top as a closed outline, slots aside."""
    return closed_under(length, top_line(top, length, 0.0, raised))


def closed_under(length: float, back: Chain) -> Chain:
    """Seat side, right end, the way back over the top, left end."""
    return (
        Line((0.0, 0.0), (length, 0.0)),
        Line((length, 0.0), back[0].start),
        *back,
        Line(back[-1].end, (0.0, 0.0)),
    )


def rectangle(a: float, b: float, width: float, height: float) -> Chain:
    """A closed rectangle from its lower left corner."""
    corners = ((a, b), (a + width, b), (a + width, b + height), (a, b + height))
    return tuple(Line(p, q) for p, q in zip(corners, (*corners[1:], corners[0]), strict=True))


def straight_ended(length: float, thickness: float) -> Chain:
    """The plan of a part with square ends: x to the right, y toward the head."""
    return rectangle(0.0, 0.0, length, thickness)


def round_ended(length: float, thickness: float) -> Chain:
    """The plan of a part whose ends are full half circles."""
    r, far = thickness / 2, length - thickness / 2
    return (
        Line((r, 0.0), (far, 0.0)),
        Arc((far, 0.0), (far, 2 * r), (far, r), ccw=True),
        Line((far, 2 * r), (r, 2 * r)),
        Arc((r, 2 * r), (r, 0.0), (r, r), ccw=True),
    )
