"""A top or a crown brought out in steps by a flat tool, whose ridges the hand takes off.

A flat tool stands on the surface with its rim. Passes along x, each with its own y, leave a
staircase; which passes are needed, and how high the stairs stand, is worked out on a grid.
"""

from __future__ import annotations

import bisect
import math
from dataclasses import dataclass

import numpy as np

from blankcam.data import table
from blankcam.inputs.tool import Tool
from blankcam.machining.setup_sheet import BESIDE, Bench
from blankcam.parts.curve import Array
from blankcam.parts.surface import PartSurface

ROWS: float = table("cutting")["top"]["step_rows"]
ALONG = 0.75
"""mm between the places along a pass."""
ACROSS = 0.02
"""mm between the places across the blank at which what is left is looked at."""
SPOKES = 65
"""Chords across the tool's end along which the surface is looked at."""
CHORD = 5
"""Places on each of them."""
COARSE = 1.2
"""Tool radii between the first passes over a blank wider than the tool."""
SAME = 1e-6
"""mm under which two places are one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """Passes of a flat tool over a surface in the order in which they are cut."""

    tool: Tool
    surface: PartSurface
    xs: Array
    """(n,) places along each pass, from air to air."""
    ys: Array
    """(m,) of the passes, the highest first."""
    tips: Array
    """(m, n) the lowest that the tip may go."""
    across: Array
    """(k,) places across the blank."""
    before: Array
    """(k, n) what stands before, -inf beside the blank."""
    ridge: float
    """mm that they leave standing at most."""

    @property
    def lowest(self) -> float:
        """The lowest that the tip goes, mm."""
        return float(np.min(self.tips))


def steps_for(surface: PartSurface, tool: Tool, bench: Bench, most: float) -> Steps | None:
    """The fewest passes found that leave no more than ``most`` mm; None where none do."""
    stock, r = bench.stock, tool.radius
    xs = _places(stock.x0, stock.x1, r + BESIDE, ALONG)
    inside = (xs >= stock.x0 - SAME) & (xs <= stock.x1 + SAME)
    across = np.linspace(stock.y0, stock.y1, math.ceil((stock.y1 - stock.y0) / ACROSS) + 1)
    # Closer toward the faces, where a crown is steepest
    half, middle = (stock.y1 - stock.y0) / 2 + r, (stock.y0 + stock.y1) / 2
    turn = np.linspace(-math.pi / 2, math.pi / 2, math.ceil(2 * half / ROWS) + 1)
    ys = middle + half * np.sin(turn)
    tips = np.stack([_tips(surface, r, xs, y) for y in ys.tolist()])
    left = np.stack([left_by(z, y, xs, across, r) for z, y in zip(tips, ys, strict=True)])
    over = left[:, :, inside] - surface.height(xs[inside][None, :], across[:, None])
    # Between two places a step may stand higher by what the surface falls there
    fall = float(
        np.max(np.abs(np.diff(surface.height(xs[inside][None, :], across[:, None]), axis=0)))
    )
    kept = _needed(over, most - fall)
    if kept is None:
        return None
    ridge = float(np.max(over[kept].min(axis=0))) + fall
    order = [*_wide_first(ys, tips, stock.y1 - stock.y0, r), *_highest_first(tips, kept)]
    before = np.where(inside, bench.stands(xs), -np.inf)
    return Steps(
        tool=tool,
        surface=surface,
        xs=xs,
        ys=ys[order],
        tips=tips[order],
        across=across,
        before=np.repeat(before[None, :], len(across), axis=0),
        ridge=max(ridge, 0.0),
    )


def _tips(surface: PartSurface, radius: float, xs: Array, y: float) -> Array:
    """(n,) the highest of the surface under a flat tool with its axis at each place and y."""
    turn = np.linspace(-math.pi / 2, math.pi / 2, SPOKES)
    out, wide = radius * np.sin(turn), radius * np.cos(turn)
    along = wide[:, None] * np.linspace(-1.0, 1.0, CHORD)
    across = np.broadcast_to(out[:, None], along.shape)
    heights = surface.height(xs[:, None] + along.ravel(), y + across.ravel()[None, :])
    return np.asarray(heights.max(axis=1))


def _places(low: float, high: float, beside: float, step: float) -> Array:
    """Places from beside a stretch over it, both its ends among them, to beside it."""
    count, more = math.ceil((high - low) / step), math.ceil(beside / step)
    stride = (high - low) / count
    return np.asarray(low + stride * np.arange(-more, count + more + 1), dtype=float)


def left_by(tips: Array, y: float, xs: Array, across: Array, radius: float) -> Array:
    """(k, n) height that a pass at y leaves at each place, +inf where it does not come."""
    stride, out = float(xs[1] - xs[0]), np.full((len(across), len(xs)), np.inf)
    for row, place in enumerate(across):
        room = radius**2 - (float(place) - y) ** 2
        if room > 0:
            half = math.floor(math.sqrt(room) / stride)
            wide = np.pad(tips, half, constant_values=np.inf)
            out[row] = np.lib.stride_tricks.sliding_window_view(wide, 2 * half + 1).min(axis=1)
    return out


def highest_under(z: Array, y: float, xs: Array, across: Array, radius: float) -> Array:
    """(n,) the highest of the stock ``z`` that the tool covers with its axis at each place."""
    stride, high = float(xs[1] - xs[0]), np.full(len(xs), -np.inf)
    for row, place in enumerate(across):
        room = radius**2 - (float(place) - y) ** 2
        if room > 0:
            half = math.ceil(math.sqrt(room) / stride)
            wide = np.pad(z[row], half, constant_values=-np.inf)
            under = np.lib.stride_tricks.sliding_window_view(wide, 2 * half + 1).max(axis=1)
            high = np.maximum(high, under)
    return high


def _needed(over: Array, most: float) -> list[int] | None:
    """Rows enough to leave no more than ``most``: from one side on, the furthest that will do."""
    count = len(over)
    after = np.full((count + 1, *over.shape[1:]), np.inf)
    for i in range(count - 1, -1, -1):
        after[i] = np.minimum(over[i], after[i + 1])
    if np.max(after[0]) > most:
        return None
    kept, have, i = list[int](), np.full(over.shape[1:], np.inf), 0
    while np.max(have) > most:

        def fails(j: int, have: Array = have) -> bool:
            return bool(np.max(np.minimum(have, after[j])) > most)

        # The further on the next row, the more is left
        last = bisect.bisect_left(range(i, count), True, key=fails) + i - 1
        kept.append(last)
        have, i = np.minimum(have, over[last]), last + 1
    return kept


def _highest_first(tips: Array, kept: list[int]) -> list[int]:
    return sorted(kept, key=lambda i: -float(np.mean(tips[i])))


def _wide_first(ys: Array, tips: Array, width: float, radius: float) -> list[int]:
    """Passes that a tool narrower than the blank makes first, so that none digs a strip."""
    if width <= 2 * radius:
        return []
    low, high = float(ys[0]) + 2 * radius, float(ys[-1]) - 2 * radius
    count = max(2, math.ceil((high - low) / (COARSE * radius)) + 1)
    wanted = np.linspace(low, high, count)
    rows = [int(np.argmin(np.abs(ys - y))) for y in wanted]
    return _highest_first(tips, list(dict.fromkeys(rows)))
