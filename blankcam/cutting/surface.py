"""Where a tool's tip may go over a surface, and passes along x that bring a surface out.

A surface is a function (x, y) -> z of arrays, smooth and convex upward, going on beyond the part.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from blankcam.cutting.feeds import Cut
from blankcam.cutting.motion import Path, Place, Stock
from blankcam.machine.tool import Shape, Tool
from blankcam.parts import curve
from blankcam.parts.curve import Array

Surface = Callable[[Array, Array], Array]

FIT = 0.0007
"""mm by which a fitted arc may miss the exact path of the tip."""
BESIDE = 1.0
"""mm of air between the tool's side and the blank where a pass begins."""
HOP = 1.0
"""mm of air over what stands, for moves inside one operation."""
STRAIGHT = 2e-4
"""mm of bow under which an arc is a line."""
FLATTEST = 4000.0
"""mm: the largest radius of an arc; single-precision controllers lose micrometres beyond."""
_D = 1e-4


def gradient(surface: Surface, x: Array, y: Array) -> tuple[Array, Array]:
    """Slopes along x and y by central differences."""
    return (
        (surface(x + _D, y) - surface(x - _D, y)) / (2 * _D),
        (surface(x, y + _D) - surface(x, y - _D)) / (2 * _D),
    )


def contact(surface: Surface, radius: float, x: Array, y: Array) -> tuple[Array, Array]:
    """Where a ball whose axis stands at (x, y) touches the surface.

    The touching point lies where its normal, one radius long, ends on the axis. Along y this is
    found by halving (the condition is monotone on a convex surface), along x by going on from the
    last guess, which the small slopes along a part allow.
    """
    low, high = y - radius, y + radius
    u = x.copy()
    for _ in range(34):
        v = (low + high) / 2
        hx, hy = gradient(surface, u, v)
        s = np.sqrt(1 + hx**2 + hy**2)
        u = x + radius * hx / s
        short = v - radius * hy / s < y
        low, high = np.where(short, v, low), np.where(short, high, v)
    return u, (low + high) / 2


def tip_height(surface: Surface, tool: Tool, x: Array, y: Array) -> Array:
    """The lowest z of a tool's tip at (x, y) that does not cut below the surface, mm."""
    x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
    if tool.shape is Shape.BALL:
        r = tool.radius
        u, v = contact(surface, r, x, y)
        room = np.maximum(r**2 - (u - x) ** 2 - (v - y) ** 2, 0.0)
        return np.asarray(surface(u, v) + np.sqrt(room) - r)
    ring = np.linspace(0, math.tau, 96, endpoint=False)
    spread = np.concatenate([[0.0], np.linspace(0.1, 1.0, 10)]) * tool.radius
    du = (spread[:, None] * np.cos(ring)).ravel()
    dv = (spread[:, None] * np.sin(ring)).ravel()
    heights = surface(x[..., None] + du, y[..., None] + dv)
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
            ys.append(ys[-1] + self._stride(xs, ys[-1], step))
        stretch = (stop - start) / max(ys[-1] - start, 1e-9)
        return [start + (y - start) * min(stretch, 1.0) for y in ys]

    def chain(self, y: float, raised: float) -> curve.Chain:
        """The tip's path along x at y, ``raised`` over its lowest, from left to right."""
        x0, x1 = self.x_ends

        def path(x: Array) -> Array:
            return self.tip(x, np.full_like(x, y)) + raised

        return tuple(p for s in curve.fit(path, x0, x1, FIT) for p in _plain(s))

    def _axis_over(self, x: Array, y: float) -> Array:
        """Where the tool's axis stands when it touches the surface at y."""
        if self.tool.shape is not Shape.BALL:
            return np.full_like(x, y)
        hx, hy = gradient(self.surface, x, np.full_like(x, y))
        return np.asarray(y - self.tool.radius * hy / np.sqrt(1 + hx**2 + hy**2))

    def _stride(self, x: Array, y: float, step: float) -> float:
        if self.tool.shape is not Shape.BALL:
            return step
        _, v = contact(self.surface, self.tool.radius, x, np.full_like(x, y))
        _, hy = gradient(self.surface, x, v)
        level = float(np.min(1 / np.sqrt(1 + hy**2)))
        # The root: a cusp is judged upright, which on a steep flank is more than along the normal
        return step * (1 + self.tool.radius / self.crown) * level * math.sqrt(level)


def inward(ys: list[float]) -> Iterator[tuple[float, bool]]:
    """Rows taken in turn from both faces up to the middle, and whether the pass goes right.

    From the low face to the left and from the high face to the right: the cutter climbs, and
    every pass ends where the next one begins.
    """
    low, high = 0, len(ys) - 1
    from_low = True
    while low <= high:
        if from_low:
            yield ys[low], False
            low += 1
        else:
            yield ys[high], True
            high -= 1
        from_low = not from_low


def cut_layer(
    path: Path, sweep: Sweep, rows: list[float], raised: float, *, cut: Cut, ceiling: float
) -> None:
    """All passes of one layer; those that would only cut air are left out.

    ``ceiling`` is the height of what stands before this layer.
    """
    hop = ceiling + HOP
    for y, to_right in inward(rows):
        chain = sweep.chain(y, raised)
        if min(b for _, b in curve.points(chain, 0.05)) >= ceiling:
            continue
        if not to_right:
            chain = tuple(s.reversed() for s in reversed(chain))
        x, z = chain[0].start
        approach(path, sweep, (x, y, z), hop)
        path.chain(chain, y, cut.feed)


def approach(path: Path, sweep: Sweep, to: Place, hop: float) -> None:
    """Come to the start of a pass beside the blank: low where only air lies between."""
    (x0, x1), (x, y, z), at = sweep.x_ends, to, path.at
    if abs(at[0] - x) < 1e-6 and (x <= x0 + 1e-6 or x >= x1 - 1e-6):
        path.rapid(z=max(at[2], z))
        path.rapid(y=y)
        path.rapid(z=z)
    else:
        path.over(x, y, z, hop)


def _plain(segment: curve.Segment) -> curve.Chain:
    """An arc that hardly bows, or is too flat for a controller's arithmetic, as lines."""
    if isinstance(segment, curve.Line):
        return (segment,)
    bow = segment.radius * (1 - math.cos(segment.sweep / 2))
    if bow > STRAIGHT and segment.radius <= FLATTEST:
        return (segment,)
    places = list(curve.points([segment], STRAIGHT))
    return tuple(curve.Line(p, q) for p, q in pairwise(places))
