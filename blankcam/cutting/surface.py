"""Where a tool's tip may go over a surface, and passes along x that bring a surface out.

A surface is a function (x, y) -> z of arrays, smooth and convex upward, going on beyond the part.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

import numpy as np

from blankcam.cutting.feeds import Cut
from blankcam.cutting.motion import Path, Place, Stock
from blankcam.machine.tool import Shape, Tool
from blankcam.parts import curve
from blankcam.parts.curve import Array


class Surface(Protocol):
    """Heights over a plan and their slopes."""

    def height(self, x: Array, y: Array) -> Array:
        """Z over x and y."""

    def gradient(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Slopes along x and along y."""


FIT = 0.0007
"""mm by which a fitted arc may miss the exact path of the tip."""
WASTE = 1.0
"""mm beyond a part's ends over which its surface still goes on falling."""
BESIDE = 0.5
"""mm of air between the tool's side and the blank where a pass begins."""
HOP = 1.0
"""mm of air over what stands, for moves inside one operation."""
STRAIGHT = 2e-4
"""mm of bow under which an arc is a line."""
FLATTEST = 4000.0
"""mm: the largest radius of an arc; single-precision controllers lose micrometres beyond."""
GAP = 5.0
"""mm of air in a pass over which a rapid is worth while."""
TABLE = 0.15
"""mm between the places at which a path is worked out before arcs are fitted to it."""
_D = 1e-6
_ROUNDS = 60
_SETTLED = 1e-8


def beside(x: Array, length: float) -> tuple[Array, Array]:
    """Places x kept to a part and ``WASTE`` beyond, and 1 where they are inside that, else 0.

    A surface goes on level from there: a top that falls toward its ends would lead the tool down
    to the jaws in the waste beside the part.
    """
    kept = np.clip(x, -WASTE, length + WASTE)
    return kept, np.asarray(kept == x, dtype=float)


def contact(surface: Surface, radius: float, x: Array, y: Array) -> tuple[Array, Array]:
    """Where a ball whose axis stands at (x, y) touches the surface.

    The touching point lies where its normal, one radius long, ends on the axis:
    v − r·h_y/s = y with s = sqrt(1 + h_x² + h_y²). Along y by Newton's steps, kept inside the
    ball (on a convex surface the left side rises with v at a rate of 1 or more); along x by going
    on from the last guess, which the small slopes along a part allow.
    """
    u, v = x.copy(), y.copy()
    for _ in range(_ROUNDS):
        hx, hy = surface.gradient(u, v)
        s = np.sqrt(1 + hx**2 + hy**2)
        hx2, hy2 = surface.gradient(u, v + _D)
        s2 = np.sqrt(1 + hx2**2 + hy2**2)
        short = v - radius * hy / s - y
        rise = np.maximum(1 - radius * (hy2 / s2 - hy / s) / _D, 1.0)
        step = np.clip(v - short / rise, y - radius, y + radius) - v
        along = x + radius * hx / s - u
        u, v = u + along, v + step
        if max(float(np.max(np.abs(step))), float(np.max(np.abs(along)))) < _SETTLED:
            break
    return u, v


def tip_height(surface: Surface, tool: Tool, x: Array, y: Array) -> Array:
    """The lowest z of a tool's tip at (x, y) that does not cut below the surface, mm."""
    x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
    if tool.shape is Shape.BALL:
        r = tool.radius
        u, v = contact(surface, r, x, y)
        room = np.maximum(r**2 - (u - x) ** 2 - (v - y) ** 2, 0.0)
        return np.asarray(surface.height(u, v) + np.sqrt(room) - r)
    ring = np.linspace(0, math.tau, 96, endpoint=False)
    spread = np.concatenate([[0.0], np.linspace(0.1, 1.0, 10)]) * tool.radius
    du = (spread[:, None] * np.cos(ring)).ravel()
    dv = (spread[:, None] * np.sin(ring)).ravel()
    heights = surface.height(x[..., None] + du, y[..., None] + dv)
    return np.asarray(heights.max(axis=-1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """A surface to be brought out by passes along x over the whole blank."""

    surface: Surface
    tool: Tool
    stock: Stock
    y_low: float
    """The surface is wanted from here"""
    y_high: float
    """to here."""
    crown: float
    """Radius of the surface's section across x, infinite for a straight one."""

    def tip(self, x: Array, y: Array) -> Array:
        """Where the tip goes."""
        return tip_height(self.surface, self.tool, x, y)

    @property
    def x_ends(self) -> tuple[float, float]:
        """Where passes begin and end, beside the blank."""
        beside = self.tool.radius + BESIDE
        return self.stock.x_min - beside, self.stock.x_max + beside

    def rows(self, step: float) -> list[float]:
        """The y of each pass, from the low face to the high one, at most ``step`` apart.

        The step is measured along the surface's section; the tool's axis goes further than the
        place it touches where the section is round.
        """
        xs = np.linspace(self.stock.x_min, self.stock.x_max, 9)
        start = float(np.min(self._axis_over(xs, self.y_low)))
        stop = float(np.max(self._axis_over(xs, self.y_high)))
        ys = [start]
        while ys[-1] < stop - 1e-9:
            stride = self._stride(xs, ys[-1], step)
            # A section that grows steeper allows less at the stride's far end
            ys.append(ys[-1] + min(stride, self._stride(xs, min(ys[-1] + stride, stop), step)))
        stretch = (stop - start) / max(ys[-1] - start, 1e-9)
        return [start + (y - start) * min(stretch, 1.0) for y in ys]

    def table(self, ys: Sequence[float]) -> tuple[Array, Array]:
        """Places x and the tip's lowest heights over them, a row for each y; shapes (n,), (m, n)."""
        x0, x1 = self.x_ends
        xs = np.linspace(x0, x1, math.ceil((x1 - x0) / TABLE) + 1)
        x, y = np.meshgrid(xs, np.asarray(ys, dtype=float))
        return xs, self.tip(x, y)

    def over_face(self, y: float) -> float:
        """How much higher than its tip a tool meets a blank beside which it runs at y, mm."""
        out = max(self.stock.y_min - y, y - self.stock.y_max, 0.0)
        r = self.tool.radius
        if out >= r:
            return math.inf
        return r - math.sqrt(r**2 - out**2) if self.tool.shape is Shape.BALL else 0.0

    def _axis_over(self, x: Array, y: float) -> Array:
        """Where the tool's axis stands when it touches the surface at y."""
        if self.tool.shape is not Shape.BALL:
            return np.full_like(x, y)
        hx, hy = self.surface.gradient(x, np.full_like(x, y))
        return np.asarray(y - self.tool.radius * hy / np.sqrt(1 + hx**2 + hy**2))

    def _stride(self, x: Array, y: float, step: float) -> float:
        if self.tool.shape is not Shape.BALL:
            return step
        _, v = contact(self.surface, self.tool.radius, x, np.full_like(x, y))
        _, hy = self.surface.gradient(x, v)
        level = float(np.min(1 / np.sqrt(1 + hy**2)))
        # The root: a cusp is judged upright, which on a steep flank is more than along the normal
        return step * (1 + self.tool.radius / self.crown) * level * math.sqrt(level)


def inward(count: int) -> Iterator[tuple[int, bool]]:
    """Rows taken in turn from both faces up to the middle, and whether the pass goes right.

    From the low face to the left and from the high face to the right: the cutter climbs, and
    every pass ends where the next one begins.
    """
    low, high = 0, count - 1
    from_low = True
    while low <= high:
        if from_low:
            yield low, False
            low += 1
        else:
            yield high, True
            high -= 1
        from_low = not from_low


def cut_layer(
    path: Path, sweep: Sweep, rows: list[float], raised: float, *, cut: Cut, ceiling: float
) -> None:
    """All passes of one layer; where a pass would only cut air it is left out.

    ``ceiling`` is the height of what stands before this layer.
    """
    hop = ceiling + HOP
    xs, tips = sweep.table(rows)
    for i, to_right in inward(len(rows)):
        y, heights = rows[i], tips[i] + raised
        runs = _runs(heights + sweep.over_face(y) < ceiling)
        for first, last in runs if to_right else reversed(runs):
            fitted = curve.fit_table(xs[first:last], heights[first:last], FIT)
            chain = tuple(p for s in fitted for p in plain(s))
            if not to_right:
                chain = tuple(s.reversed() for s in reversed(chain))
            x, z = chain[0].start
            approach(path, sweep, (x, y, z), hop)
            path.chain(chain, y, cut.feed)


def _runs(cuts: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> list[tuple[int, int]]:
    """Stretches of a row where something is cut, one place of air at both ends; short gaps closed."""
    at = np.flatnonzero(cuts)
    if at.size == 0:
        return []
    breaks = np.flatnonzero(np.diff(at) > GAP / TABLE)
    begins = [int(at[0]), *(int(at[i + 1]) for i in breaks)]
    ends = [*(int(at[i]) for i in breaks), int(at[-1])]
    return [(max(b - 1, 0), min(e + 2, cuts.size)) for b, e in zip(begins, ends, strict=True)]


def approach(path: Path, sweep: Sweep, to: Place, hop: float) -> None:
    """Come to the start of a pass beside the blank: low where only air lies between."""
    (x0, x1), (x, y, z), at = sweep.x_ends, to, path.at
    if abs(at[0] - x) < 1e-6 and (x <= x0 + 1e-6 or x >= x1 - 1e-6):
        path.rapid(z=max(at[2], z))
        path.rapid(y=y)
        path.rapid(z=z)
    else:
        path.over(x, y, z, hop)


def plain(segment: curve.Segment) -> curve.Chain:
    """An arc that hardly bows, or is too flat for a controller's arithmetic, as lines."""
    if isinstance(segment, curve.Line):
        return (segment,)
    bow = segment.radius * (1 - math.cos(segment.sweep / 2))
    if bow > STRAIGHT and segment.radius <= FLATTEST:
        return (segment,)
    places = list(curve.points([segment], STRAIGHT))
    return tuple(curve.Line(p, q) for p, q in pairwise(places))
