"""Rows of a sweep cut one after the other: where each pass runs, and the links between them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from blankcam.cutting.bench import HOP
from blankcam.cutting.feeds import Cut
from blankcam.cutting.motion import Path, Place
from blankcam.cutting.surface import LINK, Bools, Sweep, Table, plain
from blankcam.machine.tool import Shape
from blankcam.parts import curve
from blankcam.parts.curve import Array

FIT = 0.0007
"""mm by which a fitted arc may miss the exact path of the tip."""
AIR = 0.3
"""mm over what stands to which a rapid goes down; the rest is at plunging feed."""
HAIR = 0.005
"""mm over what stands at which a pass begins and ends where it need not go further."""
NEAR = 6.0
"""mm by which a pass is made longer to end where the next one begins (our own)."""
PAST = 0.3
"""Tool radii, over the air beside the blank, that a pass goes past an end where the next one
begins at depth: its axis must pass the end, not all of the tool."""
COARSE = 4
"""Every such place of a table is looked at for what rough passes need do."""
ACROSS = 65
"""Places across the blank that are looked at."""
BETWEEN = 0.01
"""mm by which more may stand between such places."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """Passes along all rows of a sweep; heights are mm over the finished surface."""

    raised: float
    """How high the tool runs."""
    least: float = 0.0
    """Where no more than this stands, nothing is cut."""
    standing: float = math.inf
    """What stands at most, where that is less than the blank."""
    needed: Bools | None = None
    """Where each row must cut, (m, n); None where all of them must."""
    one_way: bool = True
    """Each pass begins in air; else it goes back beside the one before, at depth."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass:
    """Places along one pass in the order in which it is cut."""

    y: float
    xs: Array
    zs: Array
    linked: bool = False
    """It begins at depth beside the end of the pass before."""

    @property
    def length(self) -> float:
        """Along x, mm."""
        return abs(float(self.xs[-1] - self.xs[0]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A stretch of a row that is cut in one pass."""

    row: int
    first: int
    last: int
    """Places of the table from first up to, not including, last."""
    right: bool
    linked: bool = False

    @property
    def ends(self) -> tuple[int, int]:
        """The places where it begins and ends."""
        return (self.first, self.last - 1) if self.right else (self.last - 1, self.first)


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


def passes(table: Table, layer: Layer, cut: Cut) -> Iterator[Pass]:
    """Every pass of a layer that cuts, in the order in which they are made.

    A pass that begins inside what stands comes down to its row on the steepest ramp allowed,
    unless it begins beside the pass before.
    """
    fall = math.tan(cut.ramp) * table.stride
    runs = _one_way(table, layer, cut) if layer.one_way else _to_and_fro(table, layer, cut)
    for run in runs:
        heights = table.tips[run.row] + layer.raised
        way = 1 if run.right else -1
        at = np.arange(len(table.xs))[::way]
        start = begin = run.first if run.right else len(at) - run.last
        lead = np.empty(0)
        if not run.linked:
            air = np.minimum(_air(table, run.row), table.tips[run.row] + layer.standing + HAIR)
            start, lead = _led(heights[::way], air[::way], begin, fall)
        at = at[start : begin + run.last - run.first]
        z = heights[at]
        z[: len(lead)] += lead
        yield Pass(y=table.ys[run.row], xs=table.xs[at], zs=z, linked=run.linked)


def needed(table: Table, layer: Layer, stands: Array, most: float) -> tuple[Bools, Array]:
    """Where each row of a rough layer must cut, (m, n), and what it leaves.

    After the layer no more than ``most`` mm may stand over the surface. A row is left out where
    its neighbours do that without it. ``stands`` and what is left: heights over the places of
    ``looked``. The ball is taken as if it ran level, which leaves more than it does.
    """
    sweep, r = table.sweep, table.sweep.tool.radius
    x, y = looked(table)
    tips = table.tips[:, ::COARSE] + layer.raised
    off = np.abs(np.asarray(table.ys)[:, None] - y[:, 0])
    under = np.where(off < r, 0.0, np.inf)
    if sweep.tool.shape is Shape.BALL:
        under = np.where(off < r, r - np.sqrt(np.maximum(r**2 - off**2, 0.0)), np.inf)
    left = tips[:, None, :] + under[:, :, None]
    limit = np.maximum(sweep.surface.height(x, y) + most - BETWEEN, left.min(axis=0) + 1e-9)
    must = stands > limit
    keep = np.stack([_cuts(table, layer, row)[::COARSE] for row in range(len(tips))])
    for i, _ in inward(len(tips)):
        others = np.where(keep[:, None, :], left, np.inf)
        others[i] = np.inf
        keep[i] &= np.any(must & (others.min(axis=0) > limit), axis=0) | _ridge_over(
            table, tips, keep, i, stands, most - BETWEEN
        )
    kept = np.where(keep[:, None, :], left, np.inf).min(axis=0)
    wider = keep.copy()
    wider[:, 1:] |= keep[:, :-1]
    wider[:, :-1] |= keep[:, 1:]
    whole = np.repeat(wider, COARSE, axis=1)[:, : len(table.xs)]
    return whole, np.minimum(stands, kept)


def _ridge_over(
    table: Table, tips: Array, keep: Bools, row: int, stands: Array, most: float
) -> Bools:
    """Where the ridge between the rows kept beside one would be too high without it, (n,)."""
    sweep, r, columns = table.sweep, table.sweep.tool.radius, np.arange(tips.shape[1])
    count, index = len(tips), np.arange(len(tips))[:, None]
    below = np.where(keep[:row], index[:row], -1).max(axis=0, initial=-1)
    above = np.where(keep[row + 1 :], index[row + 1 :], count).min(axis=0, initial=count)
    both = (below >= 0) & (above < count)
    below, above = np.where(both, below, row), np.where(both, above, row)
    ys = np.asarray(table.ys)
    dy, dz = ys[above] - ys[below], tips[above, columns] - tips[below, columns]
    apart = np.maximum(np.hypot(dy, dz), 1e-9)
    if sweep.tool.shape is not Shape.BALL:
        return np.asarray(both & (dy > 2 * r))
    # Two circles of one radius meet on the upright of the line between their middles
    half = np.sqrt(np.maximum(r**2 - apart**2 / 4, 0.0))
    y = (ys[above] + ys[below]) / 2 + half * dz / apart
    z = (tips[above, columns] + tips[below, columns]) / 2 + r - half * dy / apart
    z = np.where(apart < 2 * r, z, np.inf)
    stock = sweep.stock
    place = (y - stock.y_min) / (stock.y_max - stock.y_min) * (ACROSS - 1)
    inside = both & (place >= 0) & (place <= ACROSS - 1)
    first = np.clip(place.astype(int), 0, ACROSS - 2)
    high = np.maximum(stands[first, columns], stands[first + 1, columns])
    limit = sweep.surface.height(table.xs[::COARSE], y) + most
    return np.asarray(inside & (np.minimum(z, high) > limit))


def looked(table: Table) -> tuple[Array, Array]:
    """Places x and y over the blank at which ``needed`` looks, both (k, n / COARSE)."""
    stock = table.sweep.stock
    x, y = np.meshgrid(table.xs[::COARSE], np.linspace(stock.y_min, stock.y_max, ACROSS))
    return x, y


def extent(table: Table, layer: Layer) -> float:
    """How long all stretches are where a row has something to cut, mm."""
    return table.stride * sum(int(_cuts(table, layer, i).sum()) for i in range(len(table.ys)))


def cut_layer(path: Path, table: Table, layer: Layer, cut: Cut) -> None:
    """All passes of one layer."""
    hop = table.sweep.stock.z_max + HOP
    for each in passes(table, layer, cut):
        right = bool(each.xs[-1] > each.xs[0])
        xs, zs = (each.xs, each.zs) if right else (each.xs[::-1], each.zs[::-1])
        chain = tuple(p for s in curve.fit_table(xs, zs, FIT) for p in plain(s))
        if not right:
            chain = tuple(s.reversed() for s in reversed(chain))
        x, z = chain[0].start
        if each.linked:
            _beside(path, table.sweep, (x, each.y, z), layer.raised, cut)
        else:
            approach(path, table.sweep, (x, each.y, z), hop, cut)
        path.chain(chain, each.y, cut.feed)


def _air(table: Table, row: int) -> Array:
    """Over each place, the height of the tip at which a row is in air."""
    return table.touching + HAIR - table.sweep.over_face(table.ys[row])


def _stretches(table: Table, layer: Layer, cut: Cut, row: int) -> list[tuple[int, int]]:
    """The stretches of a row that are cut, from left to right."""
    cuts = _cuts(table, layer, row)
    if layer.needed is not None:
        cuts &= layer.needed[row]
    return _runs(cuts, LINK * cut.feed / 60 / table.stride)


def _cuts(table: Table, layer: Layer, row: int) -> Bools:
    """Where a row has something to cut."""
    air, tips = _air(table, row), table.tips[row]
    cuts = (tips + layer.raised < air) & (tips + layer.least < air)
    return np.asarray(cuts & table.wanted[row])


def _one_way(table: Table, layer: Layer, cut: Cut) -> Iterator[Run]:
    for row, right in inward(len(table.ys)):
        found = _stretches(table, layer, cut, row)
        for first, last in found if right else reversed(found):
            yield Run(row=row, first=first, last=last, right=right)


def _to_and_fro(table: Table, layer: Layer, cut: Cut) -> list[Run]:
    """From the low face up to the middle, then from the high one, each pass back beside the last.

    Where the passes of two neighbouring rows end near each other, both go to the further end.
    """
    count, runs = len(table.ys), list[Run]()
    short = _short(table)
    for row in (*range(count // 2), *range(count - 1, count // 2 - 1, -1)):
        found = _stretches(table, layer, cut, row)
        right = bool(found) and _goes_right(runs, found)
        for first, last in found if right else reversed(found):
            run = Run(row=row, first=first, last=last, right=right)
            if runs:
                runs[-1], run = _linked(table, runs[-1], run, short)
            runs.append(run)
    return runs


def _goes_right(runs: list[Run], found: list[tuple[int, int]]) -> bool:
    """Whether the next row begins at its left: nearest to where the last pass ended."""
    if not runs:
        return True
    end = runs[-1].ends[1]
    return abs(found[0][0] - end) <= abs(found[-1][1] - 1 - end)


def _short(table: Table) -> tuple[int, int]:
    """First and last place that a pass need reach where the next one begins at depth."""
    stock, sweep = table.sweep.stock, table.sweep
    past = PAST * sweep.tool.radius
    low = int(np.searchsorted(table.xs, stock.x_min - past)) - 1
    high = int(np.searchsorted(table.xs, stock.x_max + past))
    return max(low, 0), min(high, len(table.xs) - 1)


def _linked(table: Table, last: Run, run: Run, short: tuple[int, int]) -> tuple[Run, Run]:
    """Two runs, the second beginning where the first ends, if they can."""
    apart = abs(table.ys[last.row] - table.ys[run.row])
    end, begin = last.ends[1], run.ends[0]
    near = abs(end - begin) * table.stride <= NEAR and last.right != run.right
    if not near or apart >= table.sweep.tool.radius:
        return last, run
    if run.right:
        to = max(min(end, begin), min(short[0], last.last - 2, run.last - 2))
        return replace(last, first=to), replace(run, first=to, linked=True)
    to = min(max(end, begin), max(short[1], last.first + 1, run.first + 1)) + 1
    return replace(last, last=to), replace(run, last=to, linked=True)


def _led(heights: Array, air: Array, begin: int, rise: float) -> tuple[int, Array]:
    """Where a pass must start to come down to ``begin`` at ``rise`` a place, and how much higher."""
    start = begin
    while start > 0 and heights[start] + rise * (begin - start) < air[start]:
        start -= 1
    return start, np.asarray(rise * np.arange(begin - start, 0, -1), dtype=float)


def _runs(cuts: Bools, gap: float) -> list[tuple[int, int]]:
    """Stretches of a row where something is cut, one place of air at both ends.

    Gaps of up to ``gap`` places, to the ends also, are passed at feed: a link would take longer.
    """
    at = np.flatnonzero(cuts)
    if at.size == 0:
        return []
    last = cuts.size - 1
    if at[0] <= gap:
        at[0] = 0
    if last - at[-1] <= gap:
        at[-1] = last
    breaks = np.flatnonzero(np.diff(at) > gap)
    begins = [int(at[0]), *(int(at[i + 1]) for i in breaks)]
    ends = [*(int(at[i]) for i in breaks), int(at[-1])]
    return [(max(b - 1, 0), min(e + 2, cuts.size)) for b, e in zip(begins, ends, strict=True)]


def _beside(path: Path, sweep: Sweep, to: Place, raised: float, cut: Cut) -> None:
    """From the end of a pass over to the next row at depth, never under the surface between."""
    x, y, z = to
    between = np.linspace(path.at[1], y, 9)
    over = float(np.max(sweep.tip(np.full_like(between, x), between))) + raised
    # A rapid up, out of what is cut already
    path.rapid(z=max(path.at[2], z, over))
    path.line(cut.feed, y=y)
    path.line(cut.plunge, z=z)


def approach(path: Path, sweep: Sweep, to: Place, hop: float, cut: Cut) -> None:
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
