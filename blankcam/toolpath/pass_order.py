"""Rows of a sweep cut one after the other: where each pass runs, and the links between them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from blankcam.data import table
from blankcam.machining.cutter_contact import ASIDE, FIT, Sweep
from blankcam.machining.feeds import Cut
from blankcam.machining.row_runs import HAIR, RowPasses, air_over
from blankcam.machining.setup_sheet import HOP
from blankcam.parts import curve
from blankcam.parts.curve import Array
from blankcam.parts.frames import Place
from blankcam.toolpath.linearize import plain
from blankcam.toolpath.moves import ToolPath

AIR: float = table("cutting")["air"]["plunge"]
ACROSS_LINK = 9
"""Places across that are looked at on the way to the next pass."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass:
    """Places along one pass in the order in which it is cut."""

    xs: Array
    ys: Array
    zs: Array
    steep: Array | None
    """Slopes of the surface across the part there; None where the pass is straight."""
    raised: float
    """How much higher than the finished surface the tool runs, mm."""
    linked: bool = False
    """It begins at depth beside the end of the pass before."""

    @property
    def length(self) -> float:
        """Along x, mm."""
        return abs(float(self.xs[-1] - self.xs[0]))


def passes(rows: RowPasses, cut: Cut) -> Iterator[Pass]:
    """Every pass of a layer, in the order in which they are made.

    A pass that begins inside what stands comes down to its row on the steepest ramp allowed,
    unless it begins beside the pass before.
    """
    table = rows.table
    fall = math.tan(cut.ramp) * table.stride
    for run in rows.runs:
        heights = table.tips[run.row] + run.raised
        way = 1 if run.right else -1
        at = np.arange(len(table.xs))[::way]
        start = begin = run.first if run.right else len(at) - run.last
        lead = np.empty(0)
        if not run.linked:
            air = np.minimum(air_over(table, run.row), table.tips[run.row] + rows.standing + HAIR)
            start, lead = _led(heights[::way], air[::way], begin, fall)
        at = at[start : begin + run.last - run.first]
        z = heights[at]
        z[: len(lead)] += lead
        yield Pass(
            xs=table.xs[at],
            ys=table.y[run.row, at],
            zs=z,
            steep=None if table.steep is None else table.steep[run.row, at],
            raised=run.raised,
            linked=run.linked,
        )


def cut_layer(path: ToolPath, rows: RowPasses, cut: Cut) -> None:
    """All passes of one layer."""
    sweep = rows.table.sweep
    for each in passes(rows, cut):
        start = float(each.xs[0]), float(each.ys[0]), float(each.zs[0])
        if each.linked:
            _beside(path, sweep, start, each.raised, cut)
        else:
            approach(path, sweep, start, hop_over(rows, path.at, start), cut)
        if each.steep is None:
            path.chain(_arcs_along(each), start[1], cut.feed)
        else:
            for k in _corners(each.xs, each.ys, each.zs, each.steep):
                path.line(cut.feed, x=float(each.xs[k]), y=float(each.ys[k]), z=float(each.zs[k]))


def _arcs_along(each: Pass) -> curve.Chain:
    """Arcs and lines along a straight pass."""
    right = bool(each.xs[-1] > each.xs[0])
    xs, zs = (each.xs, each.zs) if right else (each.xs[::-1], each.zs[::-1])
    chain = tuple(p for s in curve.fit_table(xs, zs, FIT) for p in plain(s))
    return chain if right else tuple(s.reversed() for s in reversed(chain))


def _corners(xs: Array, ys: Array, zs: Array, steep: Array) -> Iterator[int]:
    """The places of a pass, but for its first, from one to the next of which it goes straight.

    A line that runs beside the pass may be so much higher or lower as the surface is there.
    """

    def keeps(i: int, j: int) -> bool:
        way = (xs[i : j + 1] - xs[i]) / (xs[j] - xs[i])
        aside = ys[i] + way * (ys[j] - ys[i]) - ys[i : j + 1]
        off = zs[i] + way * (zs[j] - zs[i]) - zs[i : j + 1] - aside * steep[i : j + 1]
        return bool(np.max(np.abs(off)) <= FIT and np.max(np.abs(aside)) <= ASIDE)

    at, last, reach = 0, len(xs) - 1, 1
    while at < last:
        reach = min(max(reach, 1), last - at)
        while reach > 1 and not keeps(at, at + reach):
            reach -= 1
        while at + reach < last and keeps(at, at + reach + 1):
            reach += 1
        at += reach
        yield at


def _led(heights: Array, air: Array, begin: int, rise: float) -> tuple[int, Array]:
    """Where a pass must start to come down to ``begin`` at ``rise`` a place, and how
    much higher.
    """
    start = begin
    while start > 0 and heights[start] + rise * (begin - start) < air[start]:
        start -= 1
    return start, np.asarray(rise * np.arange(begin - start, 0, -1), dtype=float)


def _beside(path: ToolPath, sweep: Sweep, to: Place, raised: float, cut: Cut) -> None:
    """From the end of a pass over to the next row at depth, never under the surface between."""
    x, y, z = to
    between = np.linspace(path.at[1], y, 9)
    over = float(np.max(sweep.tip(np.full_like(between, x), between))) + raised
    # A rapid up, out of what is cut already
    path.rapid(z=max(path.at[2], z, over))
    path.line(cut.feed, y=y)
    path.line(cut.plunge, z=z)


def hop_over(rows: RowPasses, at: Place, to: Place) -> float:
    """How high to go on the way to the start of a pass: just over what stands at most there.

    Everywhere between the two places, for one axis may get there before the other. A tool that
    runs as much higher as the layer finds standing only touches that.
    """
    table, sweep = rows.table, rows.table.sweep
    most = sweep.stock.z1 + HOP
    if math.isnan(at[0]):
        return most
    low, high = sorted((at[0], to[0]))
    x = np.linspace(low, high, max(math.ceil(high - low), 1) + 1)
    x, y = np.meshgrid(x, np.linspace(at[1], to[1], ACROSS_LINK))
    first, last = np.searchsorted(table.xs, (low, high))
    blank = float(np.max(table.touching[max(int(first) - 1, 0) : int(last) + 1]))
    return min(most, min(blank, float(np.max(sweep.tip(x, y))) + rows.standing) + AIR)


def approach(path: ToolPath, sweep: Sweep, to: Place, hop: float, cut: Cut) -> None:
    """Come to the start of a pass: low beside the blank, the last bit over it at plunging feed."""
    (x0, x1), (x, y, z), at = sweep.x_ends, to, path.at
    outside = x <= x0 + 1e-6 or x >= x1 - 1e-6
    if outside and abs(at[0] - x) < 1e-6:
        path.rapid(z=max(at[2], z))
        path.rapid(y=y)
        path.rapid(z=z)
    elif outside:
        path.over(x, y, z, hop)
    else:
        path.over(x, y, min(z + AIR, hop), hop)
        path.line(cut.plunge, z=z)
