"""Where a tool's tip may go over a surface, and rows along x that bring a surface out.

A surface is a function (x, y) -> z of arrays, smooth, going on beyond the part, and convex upward
but for hollows along the part.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from blankcam.inputs.tool import Shape, Tool
from blankcam.machining.setup_sheet import BESIDE
from blankcam.parts.curve import Array
from blankcam.parts.frames import Box
from blankcam.parts.surface import Surface

Bools = NDArray[np.bool_]


HOLLOW = 0.2
"""Where a slope along the part grows by more than this under a ball, the ball may bridge a hollow.
"""
ACROSS = 9
"""Lines along the part, from face to face, on which its slopes are looked at for hollows."""
PROBES = 31
"""Places along a ball at which a hollow's heights are tried."""
CLOSER_PROBES = 13
"""Places tried next, from the highest of them to its neighbours."""
ROUNDS_ACROSS = 2
"""Newton's steps across from the place where the ball would touch without hollows."""
BRIDGED = 0.002
"""mm that a ball may stand over the bottom of a hollow; beside ridges no more is allowed for."""
FIT = 0.0007
"""mm by which a fitted arc may miss the exact path of the tip."""
ASIDE = 0.002
"""mm that a straight line may run beside a pass that follows a ridge."""
LINK = 2.0
"""Seconds that a link from one pass to the next takes, about, for choosing between ways."""
TABLE = 0.15
"""mm between the places at which a path is worked out before arcs are fitted to it."""
SECTIONS = 9
"""Evenly spaced places along a blank at which its section is looked at."""
FINE = 0.25
"""mm between the places along a blank at which its steepest section, or a hollow, is looked for."""
ALONG = 0.6
"""mm along a blank between the sections that rows follow."""
FOLLOWED = 65
"""Places across each of them."""
AXES = 129
"""Places across a blank at which the stride to the next row is worked out."""
_D = 1e-6
_ROUNDS = 60
_SETTLED = 1e-8


def contact(surface: Surface, radius: float, x: Array, y: Array) -> tuple[Array, Array]:
    """Where a ball whose axis stands at (x, y) touches the surface.

    The touching point lies where its normal, one radius long, ends on the axis:
    v − r·h_y/s = y with s = sqrt(1 + h_x² + h_y²). Along y by Newton's steps, kept inside the
    ball (on a convex surface the left side rises with v at a rate of 1 or more); along x by going
    on from the last guess, which the small slopes along a part allow.
    """
    u, v = x.copy(), y.copy()
    beyond = np.array([0.0, _D]).reshape((2,) + (1,) * y.ndim)
    for _ in range(_ROUNDS):
        hx, hy = surface.gradient(u, v + beyond)
        s = np.sqrt(1 + hx**2 + hy**2)
        lean = hy / s
        short = v - radius * lean[0] - y
        rise = np.maximum(1 - radius * (lean[1] - lean[0]) / _D, 1.0)
        step = np.minimum(np.maximum(v - short / rise, y - radius), y + radius) - v
        along = x + radius * hx[0] / s[0] - u
        u, v = u + along, v + step
        if max(float(np.max(np.abs(step))), float(np.max(np.abs(along)))) < _SETTLED:
            break
    return u, v


def tip_height(surface: Surface, tool: Tool, x: Array, y: Array) -> Array:
    """The lowest z of a tool's tip at (x, y) that does not cut below the surface, mm."""
    x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
    if tool.shape is Shape.BALL:
        return _over_contact(surface, tool.radius, (x, y), contact(surface, tool.radius, x, y))
    ring = np.linspace(0, math.tau, 96, endpoint=False)
    spread = np.concatenate([[0.0], np.linspace(0.1, 1.0, 10)]) * tool.radius
    du = (spread[:, None] * np.cos(ring)).ravel()
    dv = (spread[:, None] * np.sin(ring)).ravel()
    heights = surface.height(x[..., None] + du, y[..., None] + dv)
    return np.asarray(heights.max(axis=-1))


def _over_hollows(
    surface: Surface, radius: float, axis: tuple[Array, Array], at: Array, tips: Array
) -> Array:
    """The lowest tips of a ball that meets more than one place in the hollows along a part.

    ``at``, ``tips``: the y at which it touches, and its tip, near the place from which Newton's
    steps began. Along the part places are tried over all the ball, then more closely beside the
    best of them; across the part it touches in one place, which a few of those steps find.
    """
    x, y = (each[..., None] for each in axis)
    off = np.linspace(-radius, radius, PROBES)[1:-1]
    high, across = _touching(surface, radius, (x, y), off, (at[..., None] - y) / radius)
    best = np.argmax(high, axis=-1)[..., None]
    apart = off[1] - off[0]
    near = off[best] + np.linspace(-apart, apart, CLOSER_PROBES)
    begin = np.take_along_axis(across, best, axis=-1)
    close, _ = _touching(surface, radius, (x, y), near, begin)
    return np.asarray(np.maximum(tips, np.maximum(high.max(axis=-1), close.max(axis=-1))))


def _touching(
    surface: Surface, radius: float, axis: tuple[Array, Array], off: Array, begin: Array
) -> tuple[Array, Array]:
    """The tip of a ball that touches so far ``off`` its axis along x, and where across that is.

    That is sought from ``begin`` on; it, and what is found, are shares of how far the ball reaches
    across there.
    """
    room = radius**2 - off**2
    reach = np.sqrt(np.maximum(room, 0.0))
    x, y = axis[0] + off, np.broadcast_to(axis[1], np.broadcast_shapes(axis[1].shape, off.shape))
    share = np.broadcast_to(begin, x.shape)
    beyond = np.array([0.0, _D]).reshape((2,) + (1,) * x.ndim)
    for _ in range(ROUNDS_ACROSS):
        hy = surface.gradient(x, y + share * reach + beyond)[1]
        lean = hy / np.sqrt(1 + hy**2)
        rise = np.maximum(1 - reach * (lean[1] - lean[0]) / _D, 1.0)
        share = np.minimum(np.maximum(share - (share - lean[0]) / rise, -1.0), 1.0)
    under = reach * np.sqrt(1 - share**2) - radius
    high = surface.height(x, y + share * reach) + under
    return np.where(room > 0, high, -np.inf), share


def _over_contact(
    surface: Surface, radius: float, axis: tuple[Array, Array], at: tuple[Array, Array]
) -> Array:
    """The tip of a ball whose axis stands there when it touches the surface at that place."""
    room = np.maximum(radius**2 - (at[0] - axis[0]) ** 2 - (at[1] - axis[1]) ** 2, 0.0)
    return np.asarray(surface.height(*at) + np.sqrt(room) - radius)


def _wider(wanted: Bools, places: float) -> Bools:
    """Places wanted, and so many beside them along each row: a ball touches that far off."""
    count = math.ceil(places)
    beside = np.pad(wanted, ((0, 0), (count, count)))
    return np.asarray(np.lib.stride_tricks.sliding_window_view(beside, 2 * count + 1, 1).any(2))


@dataclass(frozen=True, kw_only=True)
class Sweep:
    """A surface to be brought out by passes along x over the whole blank."""

    surface: Surface
    tool: Tool
    stock: Box
    y_low: float
    """Where the surface that is wanted begins."""
    y_high: float
    """Where it ends."""
    crown: float
    """Radius of the surface's section across x, infinite for a straight one."""
    outline: Callable[[Array], Array] | None = None
    """Height over x of what an outline cut before has left; None where all the blank stands."""
    ridge: float = 0.0
    """How high ridges may stand on it where it is only roughed, mm; 0 where it is finished."""

    def stands(self, x: Array) -> Array:
        """Height over x of what stands before, -inf beside the blank."""
        high = np.full_like(x, self.stock.z1)
        if self.outline is not None:
            high = np.minimum(high, self.outline(x))
        return np.where((x >= self.stock.x0) & (x <= self.stock.x1), high, -np.inf)

    def touching(self, x: Array) -> Array:
        """Height of the tip that just touches what stands, over each of the evenly spaced x.

        Beside the ends it is as high as over them, so that passes go on until all is air.
        """
        stride, r = float(x[1] - x[0]), self.tool.radius
        reach = math.ceil((r + BESIDE) / stride) + 1
        more = stride * np.arange(-reach, reach + 1)
        high = self.stands(np.concatenate([x[0] + more[:reach], x, x[-1] + more[-reach:]]))
        under = np.zeros_like(more)
        if self.tool.shape is Shape.BALL:
            inside = np.abs(more) < r
            under[inside] = r - np.sqrt(r**2 - more[inside] ** 2)
        around = np.lib.stride_tricks.sliding_window_view(high, 2 * reach + 1)
        return np.asarray((around - under).max(axis=1))

    def tip(self, x: Array, y: Array) -> Array:
        """Where the tip goes."""
        return tip_height(self.surface, self.tool, x, y)

    @property
    def x_ends(self) -> tuple[float, float]:
        """Where passes begin and end, beside the blank."""
        beside = self.tool.radius + BESIDE
        return self.stock.x0 - beside, self.stock.x1 + beside

    def rows(self, step: float, at: Sequence[float] = (0.0, 1.0)) -> list[float]:
        """The y of each pass, from the low face to the high one, at most ``step`` apart.

        The first and the last stand half a step inside the faces: a face is cut as clean as the
        middle between two passes. The step is measured along the surface's section; the tool's
        axis goes further than the place it touches where the section is round.

        ``at``: where on the way to the next pass the section is looked at, as shares of it; the
        place that allows least counts.
        """
        (start, *_, stop), _ = axes, shares = self._strides
        ys = [start]
        while ys[-1] < stop - 1e-9:
            stride = step * float(np.interp(ys[-1], axes, shares))
            places = ys[-1] + stride * np.asarray(at)
            ys.append(ys[-1] + step * float(np.min(np.interp(places, axes, shares))))
        stretch = min((stop - start) / max(ys[-1] - start, 1e-9), 1.0)
        return [start + ((a + b) / 2 - start) * stretch for a, b in pairwise(ys)]

    @cached_property
    def places(self) -> Array:
        """The x of the places along each pass."""
        x0, x1 = self.x_ends
        return np.linspace(x0, x1, math.ceil((x1 - x0) / TABLE) + 1)

    def following_rows(self, step: float) -> Array:
        """The y of each pass of a ball over each of ``places``, (m, n), where passes follow
        the section along the part.

        Everywhere as many, as evenly over the section, as where it takes most; at most ``step``
        apart along it.
        """
        xs = np.linspace(*self.x_ends, math.ceil((self.x_ends[1] - self.x_ends[0]) / ALONG) + 1)
        low, high = (self._axis_over(xs, y) for y in (self.y_low, self.y_high))
        axes = low + np.linspace(0.0, 1.0, FOLLOWED)[:, None] * (high - low)
        strides = step * self._shares(np.broadcast_to(xs, axes.shape), axes)
        per_mm = (1 / strides[1:] + 1 / strides[:-1]) / 2
        passed = np.vstack([np.zeros_like(xs), np.cumsum(per_mm * np.diff(axes, axis=0), axis=0)])
        count = math.ceil(float(np.max(passed[-1])) - 1e-9)
        shares = (np.arange(count) + 0.5) / count
        ys = np.stack(
            [np.interp(shares * p[-1], p, a) for p, a in zip(passed.T, axes.T, strict=True)], axis=1
        )
        return np.stack([np.interp(self.places, xs, row) for row in ys])

    def table(self, ys: Sequence[float] | Array) -> ContactTable:
        """The passes along these rows, worked out; ``ys``: of each row, or (m, n) of its
        places.
        """
        xs, given = self.places, np.asarray(ys, dtype=float)
        y = np.array(np.broadcast_to(given.T, (len(xs), len(given))).T)
        x = np.broadcast_to(xs, y.shape)
        wanted = np.ones(x.shape, dtype=bool)
        bridged, steep, touches = False, None, None
        if self.tool.shape is Shape.BALL:
            u, v = contact(self.surface, self.tool.radius, x, y)
            touches = v
            if given.ndim > 1:
                steep = self.surface.gradient(u, v)[1]
            tips = _over_contact(self.surface, self.tool.radius, (x, y), (u, v))
            # A row's part goes half way to where its neighbours touch
            middle = (v[1:] + v[:-1]) / 2
            wanted[:-1] &= middle > self.y_low
            wanted[1:] &= middle < self.y_high
            wanted = _wider(wanted, float(np.max(np.abs(u - x))) / float(xs[1] - xs[0]))
            if (near := self.near_hollows(xs)).any():
                axis = x[:, near], y[:, near]
                at, tip = v[:, near], tips[:, near]
                lifted = _over_hollows(self.surface, self.tool.radius, axis, at, tip)
                lift, tips[:, near] = lifted - tip, lifted
                bridged = bool(np.any(lift[wanted[:, near]] > BRIDGED))
        else:
            tips = self.tip(x, y)
        return ContactTable(
            sweep=self,
            y=y,
            steep=steep,
            touches=touches,
            xs=xs,
            tips=tips,
            touching=self.touching(xs),
            wanted=wanted,
            bridged=bridged,
        )

    def near_hollows(self, x: Array) -> Bools:
        """Over which x a ball reaches a hollow along the part.

        A ridge that goes from string to string may leave some between two of them.
        """
        fine, slopes = self._slopes_along
        count = math.ceil(self.tool.diameter / FINE)
        windows = np.lib.stride_tricks.sliding_window_view(slopes, count, axis=1)
        grows = windows - np.minimum.accumulate(windows, axis=2)
        starts = fine[np.flatnonzero(grows.max(axis=(0, 2)) > HOLLOW)]
        middles = starts + (count - 1) * FINE / 2
        return np.asarray((np.abs(x[:, None] - middles) <= self.tool.diameter).any(axis=1))

    @cached_property
    def _slopes_along(self) -> tuple[Array, Array]:
        """Places x ``FINE`` apart, and the slopes along the part there on lines across it."""
        fine = np.arange(self.x_ends[0], self.x_ends[1] + FINE, FINE)
        x, y = np.meshgrid(fine, np.linspace(self.y_low, self.y_high, ACROSS))
        return fine, self.surface.gradient(x, y)[0]

    def over_face(self, y: Array) -> Array:
        """How much higher than its tip a tool meets a blank beside which it runs at y, mm."""
        out = np.maximum(np.maximum(self.stock.y0 - y, y - self.stock.y1), 0.0)
        r = self.tool.radius
        over = np.zeros_like(out)
        if self.tool.shape is Shape.BALL:
            over = r - np.sqrt(np.maximum(r**2 - out**2, 0.0))
        return np.where(out >= r, np.inf, over)

    def _axis_over(self, x: Array, y: float) -> Array:
        """Where the tool's axis stands when it touches the surface at y."""
        if self.tool.shape is not Shape.BALL:
            return np.full_like(x, y)
        hx, hy = self.surface.gradient(x, np.full_like(x, y))
        return np.asarray(y - self.tool.radius * hy / np.sqrt(1 + hx**2 + hy**2))

    @cached_property
    def sections(self) -> Array:
        """The x at which the section is looked at: evenly spaced, and where a face is steepest.

        A ridge that goes from string to string may come near a face between two of them.
        """
        x0, x1 = self.stock.x0, self.stock.x1
        fine = np.linspace(x0, x1, math.ceil((x1 - x0) / FINE) + 1)
        low, high = (
            self.surface.gradient(fine, np.full_like(fine, y))[1] for y in (self.y_low, self.y_high)
        )
        steepest = fine[[int(np.argmax(low)), int(np.argmin(high))]]
        return np.concatenate([np.linspace(x0, x1, SECTIONS), steepest])

    @cached_property
    def _strides(self) -> tuple[Array, Array]:
        """Places of the axis from the first to the last, and how long a stride is there.

        Strides are shares of a step on the level, the least along the blank.
        """
        xs = self.sections
        start = float(np.min(self._axis_over(xs, self.y_low)))
        stop = float(np.max(self._axis_over(xs, self.y_high)))
        axes = np.linspace(start, stop, AXES)
        if self.tool.shape is not Shape.BALL:
            return axes, np.ones(AXES)
        return axes, np.min(self._shares(*np.meshgrid(xs, axes)), axis=1)

    def _shares(self, x: Array, y: Array) -> Array:
        """How long a stride of a ball is at places of its axis, as a share of a step on the level.

        A cusp is judged upright, which on a steep flank is more than along the normal: the root.
        """
        _, v = contact(self.surface, self.tool.radius, x, y)
        _, hy = self.surface.gradient(x, v)
        level = 1 / np.sqrt(1 + hy**2)
        return np.asarray((1 + self.tool.radius / self.crown) * level * np.sqrt(level))


@dataclass(frozen=True, kw_only=True)  # no slots: cached properties
class ContactTable:
    """Rows of a sweep worked out at evenly spaced places: m rows, n places."""

    sweep: Sweep
    y: Array
    """(m, n)"""
    steep: Array | None
    """(m, n) slopes across the part where the ball touches; None where every row is straight."""
    touches: Array | None
    """(m, n) the y where a ball touches; None of other tools."""
    xs: Array
    """(n,)"""
    tips: Array
    """(m, n) the tip's lowest heights."""
    touching: Array
    """(n,) the tip's heights that just touch what stands."""
    wanted: Bools
    """(m, n) where a row brings out a part of the surface."""
    bridged: bool
    """Whether the ball is too large for a hollow of the surface, which it bridges."""

    @property
    def stride(self) -> float:
        """Step from one place to the next, mm."""
        return float(self.xs[1] - self.xs[0])

    @cached_property
    def stands(self) -> Array:
        """(m, n) how much higher than on the surface a tip just touches what stands, mm.

        -inf where a row brings out no part of the surface.
        """
        over = self.sweep.over_face(self.y)
        return np.where(self.wanted, self.touching - over - self.tips, -np.inf)

    @cached_property
    def ys(self) -> tuple[float, ...]:
        """The y of each row, in the mean."""
        return tuple(np.mean(self.y, axis=1).tolist())

    @property
    def above(self) -> float:
        """How much stands over the surface at most, mm."""
        over = self.touching - self.tips
        return float(np.max(over[self.wanted], initial=0.0))
