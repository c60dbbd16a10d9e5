"""Closed outlines moved outward or inward by a distance, arcs staying true arcs.

Outward corners get an arc about the corner; inward corners are trimmed to where the moved segments
meet. An outline whose narrow places close up is refused, never cut short silently.
"""

from __future__ import annotations

import math
from itertools import pairwise

from blankcam.parts.curve import Arc, Chain, Line, Point, Segment, area

SAME = 1e-9
"""Points nearer than this are one, mm."""
SMOOTH = 1e-5
"""A corner that opens or closes by less than this is drawn together, mm."""


def offset(chain: Chain, distance: float) -> Chain:
    """A closed counter-clockwise outline moved outward (inward for a negative distance), mm.

    Raises
    ------
    ValueError
        The chain is not closed or runs clockwise, or a segment vanishes: an arc too tight or a
        notch too narrow for the distance.
    """
    if math.dist(chain[-1].end, chain[0].start) > 1e-6 or area(chain) <= 0:
        raise ValueError("only a closed counter-clockwise outline has an outside")
    if distance == 0:
        return chain
    raw = [_moved(seg, distance) for seg in chain]
    joins = [_join(chain, raw, i, distance) for i in range(len(chain))]
    made: list[Segment] = []
    for i, seg in enumerate(raw):
        (_, start), (end, _) = joins[i - 1], joins[i]
        made.append(_trimmed(seg, start, end))
        out, back = joins[i]
        if math.dist(out, back) > SAME:
            made.append(Arc(out, back, chain[i].end, ccw=distance > 0))
    _refuse_crossings(made)
    return tuple(made)


def _moved(seg: Segment, d: float) -> Segment:
    """A segment moved to its right by d."""
    if isinstance(seg, Line):
        a, b = _direction(seg, end=False)
        return seg.moved(b * d, -a * d)
    radius = seg.radius + (d if seg.ccw else -d)
    if radius <= SAME:
        raise ValueError(f"an inside arc of radius {seg.radius:.4f} mm closes up")
    scale = radius / seg.radius
    start, end = (
        (
            seg.centre[0] + (p[0] - seg.centre[0]) * scale,
            seg.centre[1] + (p[1] - seg.centre[1]) * scale,
        )
        for p in (seg.start, seg.end)
    )
    return Arc(start, end, seg.centre, seg.ccw)


def _direction(seg: Segment, *, end: bool) -> Point:
    """Unit vector of travel at the segment's start or end."""
    if isinstance(seg, Line):
        return (
            (seg.end[0] - seg.start[0]) / seg.length,
            (seg.end[1] - seg.start[1]) / seg.length,
        )
    a, b = seg.end if end else seg.start
    ra, rb = (a - seg.centre[0]) / seg.radius, (b - seg.centre[1]) / seg.radius
    return (-rb, ra) if seg.ccw else (rb, -ra)


def _join(chain: Chain, raw: list[Segment], i: int, d: float) -> tuple[Point, Point]:
    """Where moved segment i ends and the next one begins."""
    j = (i + 1) % len(chain)
    out, back = raw[i].end, raw[j].start
    a, b = _direction(chain[i], end=True), _direction(chain[j], end=False)
    turn = a[0] * b[1] - a[1] * b[0]
    if math.dist(out, back) < SMOOTH:
        middle = ((out[0] + back[0]) / 2, (out[1] + back[1]) / 2)
        return middle, middle
    if turn * d > 0:
        return out, back
    met = _meeting(raw[i], raw[j], ((out[0] + back[0]) / 2, (out[1] + back[1]) / 2))
    return met, met


def _meeting(p: Segment, q: Segment, near: Point) -> Point:
    """Where two segments, prolonged, meet nearest to a point."""
    found = _meetings(p, q)
    if not found:
        raise ValueError("two sides of an inside corner no longer meet")
    return min(found, key=lambda spot: math.dist(spot, near))


def _meetings(p: Segment, q: Segment) -> list[Point]:
    if isinstance(p, Line):
        return _line_line(p, q) if isinstance(q, Line) else _line_circle(p, q)
    return _line_circle(q, p) if isinstance(q, Line) else _circles(p, q)


def _line_line(p: Line, q: Line) -> list[Point]:
    (a, b), (c, d) = _direction(p, end=False), _direction(q, end=False)
    cross = a * d - b * c
    if abs(cross) < 1e-12:
        return []
    t = ((q.start[0] - p.start[0]) * d - (q.start[1] - p.start[1]) * c) / cross
    return [(p.start[0] + a * t, p.start[1] + b * t)]


def _line_circle(p: Line, q: Arc) -> list[Point]:
    a, b = _direction(p, end=False)
    along = (q.centre[0] - p.start[0]) * a + (q.centre[1] - p.start[1]) * b
    aside = (q.centre[1] - p.start[1]) * a - (q.centre[0] - p.start[0]) * b
    under = q.radius**2 - aside**2
    if under < 0:
        return []
    return [
        (p.start[0] + a * t, p.start[1] + b * t)
        for t in (along - math.sqrt(under), along + math.sqrt(under))
    ]


def _circles(p: Arc, q: Arc) -> list[Point]:
    (a, b), (c, d) = p.centre, q.centre
    apart = math.hypot(c - a, d - b)
    if apart < SAME:
        return []
    along = (apart**2 + p.radius**2 - q.radius**2) / (2 * apart)
    under = p.radius**2 - along**2
    if under < 0:
        return []
    ea, eb, h = (c - a) / apart, (d - b) / apart, math.sqrt(under)
    return [
        (a + along * ea - sign * h * eb, b + along * eb + sign * h * ea) for sign in (1.0, -1.0)
    ]


def _trimmed(seg: Segment, start: Point, end: Point) -> Segment:
    """A moved segment between its two joins; refused where nothing of it is left."""
    if isinstance(seg, Line):
        a, b = _direction(seg, end=False)
        if (end[0] - start[0]) * a + (end[1] - start[1]) * b <= 0:
            raise ValueError("a notch or an edge closes up")
        return Line(start, end)
    made = Arc(start, end, seg.centre, seg.ccw)
    if abs(made.sweep) > abs(seg.sweep) + 1e-3:
        raise ValueError("an inside arc closes up")
    return made


def _refuse_crossings(chain: list[Segment]) -> None:
    """Refuse an outline that now crosses itself, looked for on a fine polygon of it."""
    from shapely import LinearRing

    from blankcam.parts.curve import points

    ring = LinearRing(list(points(tuple(chain), 1e-4))[:-1])
    if not ring.is_simple:
        raise ValueError("two parts of the outline run into each other")


def gaps(chain: Chain) -> float:
    """Widest gap between one segment's end and the next one's start, the last to the first too."""
    return max(math.dist(p.end, q.start) for p, q in pairwise((*chain, chain[0])))
