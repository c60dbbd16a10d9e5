"""Plane curves of lines and arcs: what is drawn, cut and offset.

A chain is a tuple of segments, each beginning where the last one ended. Millimetres, radians.
The plane's axes are called a and b here; callers say which of the part's axes they are.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Point = tuple[float, float]
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Line:
    """A straight segment."""

    start: Point
    end: Point

    @property
    def length(self) -> float:
        """Its length."""
        return math.dist(self.start, self.end)

    def at(self, t: float) -> Point:
        """The point at fraction t of its length."""
        (a0, b0), (a1, b1) = self.start, self.end
        return (a0 + (a1 - a0) * t, b0 + (b1 - b0) * t)

    def reversed(self) -> Line:
        """The same segment walked the other way."""
        return Line(self.end, self.start)

    def moved(self, da: float, db: float) -> Line:
        """The segment shifted."""
        (a0, b0), (a1, b1) = self.start, self.end
        return Line((a0 + da, b0 + db), (a1 + da, b1 + db))


@dataclass(frozen=True, slots=True)
class Arc:
    """A circular arc of less than a full turn; ``ccw`` from a toward b."""

    start: Point
    end: Point
    centre: Point
    ccw: bool

    @property
    def radius(self) -> float:
        """Distance of the start from the centre."""
        return math.dist(self.start, self.centre)

    @property
    def sweep(self) -> float:
        """Signed angle turned, radians, positive counter-clockwise."""
        a0 = math.atan2(self.start[1] - self.centre[1], self.start[0] - self.centre[0])
        a1 = math.atan2(self.end[1] - self.centre[1], self.end[0] - self.centre[0])
        turn = (a1 - a0) % math.tau
        return turn if self.ccw else turn - math.tau

    @property
    def length(self) -> float:
        """Its length."""
        return abs(self.sweep) * self.radius

    @property
    def bulge(self) -> float:
        """DXF bulge: tangent of a quarter of the sweep, positive counter-clockwise."""
        return math.tan(self.sweep / 4)

    def at(self, t: float) -> Point:
        """The point at fraction t of its length."""
        a0 = math.atan2(self.start[1] - self.centre[1], self.start[0] - self.centre[0])
        angle = a0 + self.sweep * t
        return (
            self.centre[0] + self.radius * math.cos(angle),
            self.centre[1] + self.radius * math.sin(angle),
        )

    def reversed(self) -> Arc:
        """The same arc walked the other way."""
        return Arc(self.end, self.start, self.centre, not self.ccw)

    def moved(self, da: float, db: float) -> Arc:
        """The arc shifted."""
        start, end, centre = ((a + da, b + db) for a, b in (self.start, self.end, self.centre))
        return Arc(start, end, centre, self.ccw)


Segment = Line | Arc
Chain = tuple[Segment, ...]


def points(chain: Iterable[Segment], sagitta: float) -> Iterator[Point]:
    """The chain as points no further than ``sagitta`` from it; ends included."""
    first = True
    for seg in chain:
        if first:
            yield seg.start
            first = False
        if isinstance(seg, Arc):
            ratio = min(1.0, sagitta / seg.radius)
            step = 2 * math.acos(1 - ratio) if ratio < 1 else math.pi
            count = max(1, math.ceil(abs(seg.sweep) / step))
            for i in range(1, count):
                yield seg.at(i / count)
        yield seg.end


def area(chain: Chain) -> float:
    """Enclosed area of a closed chain, exact, positive when walked counter-clockwise."""
    total = 0.0
    for seg in chain:
        (a0, b0), (a1, b1) = seg.start, seg.end
        total += (a0 * b1 - a1 * b0) / 2
        if isinstance(seg, Arc):
            total += seg.radius**2 * (seg.sweep - math.sin(seg.sweep)) / 2
    return total


def through(p: Point, q: Point, r: Point) -> Segment:
    """The arc from p by q to r, or a line where they lie straight within a tenth of a nanometre."""
    (a0, b0), (a1, b1), (a2, b2) = p, q, r
    cross = (a1 - a0) * (b2 - b0) - (b1 - b0) * (a2 - a0)
    chord = math.dist(p, r)
    if chord == 0 or abs(cross) / chord < 1e-10:
        return Line(p, r)
    d = 2 * cross
    s1 = (a1 - a0) ** 2 + (b1 - b0) ** 2
    s2 = (a2 - a0) ** 2 + (b2 - b0) ** 2
    centre = (
        a0 + ((b2 - b0) * s1 - (b1 - b0) * s2) / d,
        b0 + ((a1 - a0) * s2 - (a2 - a0) * s1) / d,
    )
    return Arc(p, r, centre, cross > 0)


def fit(f: Callable[[Array], Array], start: float, end: float, within: float) -> Chain:
    """Arcs and lines along b = f(a) from ``start`` to ``end``, none further off than ``within``.

    Each arc goes through three points of the curve, as long as the bound allows; a curve that is
    an arc already comes back as that one arc. Measured along b at 65 places an arc.
    """
    grid = np.linspace(0.0, 1.0, 65)
    chain: list[Segment] = []
    at, step = start, end - start
    while abs(end - at) > 1e-9:
        step = math.copysign(min(abs(step), abs(end - at)), end - start)
        a = at + step * grid
        b = f(a)
        seg = through((a[0], b[0]), (a[32], b[32]), (a[-1], b[-1]))
        if np.max(np.abs(_along(seg, a) - b)) <= within or abs(step) < 1e-3:
            chain.append(seg)
            at += step
            step *= 2
        else:
            step /= 2
    return tuple(chain)


def fit_table(a: Array, b: Array, within: float) -> Chain:
    """Arcs and lines through a table of a curve, none further off than ``within`` at its places.

    Each arc goes through three of the points, as long as the bound allows: found by doubling,
    then halving. The table must be fine enough that the curve does nothing between its places.
    """
    chain: list[Segment] = []
    at, last, reach = 0, len(a) - 1, 2
    while at < last:
        good, bad = 1, last - at + 1
        reach = min(max(reach, 2), last - at)
        while good < bad - 1:
            if _through_table(a, b, at, at + reach, within) is None:
                bad = reach
            else:
                good = reach
            reach = min(2 * good, bad - 1) if bad > last - at else (good + bad) // 2
        seg = _through_table(a, b, at, at + good, within)
        chain.append(seg or Line((a[at], b[at]), (a[at + good], b[at + good])))
        at, reach = at + good, good
    return tuple(chain)


def _through_table(a: Array, b: Array, i: int, j: int, within: float) -> Segment | None:
    """The arc from point i to point j of a table, where every point between is near enough."""
    m = (i + j) // 2
    ends = (float(a[i]), float(b[i])), (float(a[j]), float(b[j]))
    seg = Line(*ends) if m == i else through(ends[0], (float(a[m]), float(b[m])), ends[1])
    off = np.abs(_along(seg, a[i : j + 1]) - b[i : j + 1])
    return seg if float(np.max(off)) <= within else None


def _along(seg: Segment, a: Array) -> Array:
    """Heights of a segment over places a that it covers."""
    if isinstance(seg, Line):
        (a0, b0), (a1, b1) = seg.start, seg.end
        return np.asarray(b0 + (b1 - b0) * (a - a0) / (a1 - a0))
    rise = np.sqrt(np.maximum(seg.radius**2 - (a - seg.centre[0]) ** 2, 0.0))
    upper = (seg.end[0] > seg.start[0]) != seg.ccw
    return np.asarray(seg.centre[1] + (rise if upper else -rise))
