"""Which stretches of a sweep's rows are cut, and in which order: decided here, without moves."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from blankcam.inputs.tool import Shape
from blankcam.machining.cutter_contact import LINK, Bools, ContactTable
from blankcam.machining.feeds import Cut
from blankcam.parts.curve import Array

HAIR = 0.005
"""mm over what stands at which a pass begins and ends where it need not go further."""
NEAR = 1.8
"""Seconds at feed by which a pass is made longer to end where the next one begins (our own)."""
LIFTED = 1.5
"""Seconds that a link over what stands takes, about, for choosing an order."""
STEPPED = 0.4
"""Seconds that a link at depth takes, about."""
FASTER = 3.0
"""How many times faster than cutting the tool goes along between passes, about."""
PAST = 0.3
"""Tool radii, over the air beside the blank, that a ball goes past an end at least where the next
pass begins at depth: the place where it touches must pass the end, not all of the tool."""
COARSE = 4
"""Every such place of a table is looked at for what passes find standing."""
ACROSS = 65
"""Places across the blank that are looked at."""
BETWEEN = 0.01
"""mm by which more may stand between such places."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """What passes along all rows of a sweep are to do; heights are mm over the finished surface."""

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
    middle: int | None = None
    """The row from which the others go on outward; None where they go from the faces inward."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A stretch of a row that is cut in one pass."""

    row: int
    first: int
    last: int
    """Places of the table from first up to, not including, last."""
    right: bool
    linked: bool = False
    """It begins at depth beside the end of the run before."""
    raised: float = 0.0
    """How much higher than the finished surface the tool runs, mm."""

    @property
    def ends(self) -> tuple[int, int]:
        """The places where it begins and ends."""
        return (self.first, self.last - 1) if self.right else (self.last - 1, self.first)


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """A stretch of a row not cut yet."""

    row: int
    first: int
    last: int
    after: tuple[int, ...]
    """Which others must be cut before: place of their first in all rows one after the other."""

    @property
    def runs(self) -> tuple[Run, Run]:
        """It to the right and to the left."""
        to_right = Run(row=self.row, first=self.first, last=self.last, right=True)
        return to_right, replace(to_right, right=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class RowPasses:
    """The passes of one layer, in the order in which they are cut."""

    table: ContactTable
    runs: tuple[Run, ...]
    standing: float
    """mm over the finished surface that stand at most before them."""

    @property
    def lowest(self) -> float:
        """The lowest place of the tip, mm."""
        tips = self.table.tips
        return min(float(np.min(tips[r.row, r.first : r.last])) + r.raised for r in self.runs)


def row_passes(table: ContactTable, layer: Layer, cut: Cut) -> RowPasses:
    """Every pass of a layer that cuts, in the order in which they are made."""
    runs = _one_way(table, layer, cut) if layer.one_way else _to_and_fro(table, layer, cut)
    raised = tuple(replace(run, raised=layer.raised) for run in runs)
    return RowPasses(table=table, runs=raised, standing=layer.standing)


def seconds(passes: RowPasses, cut: Cut) -> float:
    """About how long passes take, with the links between them."""
    speed, took, last = cut.feed / 60, LIFTED, None
    for run in passes.runs:
        took += (run.last - 1 - run.first) * passes.table.stride / speed
        if last is not None:
            took += _seconds_to(passes.table, last, run, speed)
        last = run
    return took


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


def outward(count: int, middle: int) -> Iterator[tuple[int, bool]]:
    """Rows taken in turn from ``middle`` toward both faces, and whether the pass goes right.

    Toward the high face to the left and toward the low one to the right: the cutter climbs.
    """
    low, high = middle - 1, middle
    while low >= 0 or high < count:
        if high < count:
            yield high, False
            high += 1
        if low >= 0:
            yield low, True
            low -= 1


def needed(table: ContactTable, layer: Layer, stands: Array, most: float) -> tuple[Bools, Array]:
    """Where each row of a rough layer must cut, (m, n), and what it leaves.

    After the layer no more than ``most`` mm may stand over the surface. A row is left out where
    its neighbours do that without it, from the faces inward or from the middle outward, whichever
    leaves less to cut. ``stands`` and what is left: heights over the places of
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
    order = [i for i, _ in inward(len(tips))]
    ways = list[Bools]()
    for rows in (order, order[::-1]):
        keep = _cuts(table, layer)[:, ::COARSE].copy()
        for i in rows:
            others = np.where(keep[:, None, :], left, np.inf)
            others[i] = np.inf
            keep[i] &= np.any(must & (others.min(axis=0) > limit), axis=0) | _ridge_over(
                table, tips, keep, i, stands, most - BETWEEN
            )
        ways.append(keep)
    keep = min(ways, key=np.count_nonzero)
    kept = np.where(keep[:, None, :], left, np.inf).min(axis=0)
    wider = keep.copy()
    wider[:, 1:] |= keep[:, :-1]
    wider[:, :-1] |= keep[:, 1:]
    whole = np.repeat(wider, COARSE, axis=1)[:, : len(table.xs)]
    return whole, np.minimum(stands, kept)


def _ridge_over(
    table: ContactTable, tips: Array, keep: Bools, row: int, stands: Array, most: float
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
    place = (y - stock.y0) / (stock.y1 - stock.y0) * (ACROSS - 1)
    inside = both & (place >= 0) & (place <= ACROSS - 1)
    first = np.clip(place.astype(int), 0, ACROSS - 2)
    high = np.maximum(stands[first, columns], stands[first + 1, columns])
    limit = sweep.surface.height(table.xs[::COARSE], y) + most
    return np.asarray(inside & (np.minimum(z, high) > limit))


def looked(table: ContactTable, across: int = ACROSS) -> tuple[Array, Array]:
    """Places x and y over the blank at which ``needed`` looks, both (across, n / COARSE)."""
    stock = table.sweep.stock
    x, y = np.meshgrid(table.xs[::COARSE], np.linspace(stock.y0, stock.y1, across))
    return x, y


def standing(table: ContactTable, across: int = ACROSS) -> Array:
    """What stands before any pass over the places of ``looked``, -inf beside the blank.

    The first place beyond an end counts as that end: the corner between it and the last place
    over the blank stands as high, and the surface falls toward it.
    """
    x, _ = looked(table, across)
    stock, step = table.sweep.stock, table.stride * COARSE
    over = np.clip(x, stock.x0, stock.x1)
    return table.sweep.stands(np.where(np.abs(x - over) < step, over, x))


def extent(table: ContactTable, layer: Layer) -> float:
    """How long all stretches are where a row has something to cut, mm."""
    return table.stride * int(np.count_nonzero(_cuts(table, layer)))


def air_over(table: ContactTable, row: int) -> Array:
    """Over each place, the height of the tip at which a row is in air."""
    return table.touching + HAIR - table.sweep.over_face(table.y[row])


def _stretches(table: ContactTable, layer: Layer, cut: Cut) -> list[list[tuple[int, int]]]:
    """The stretches of each row that are cut, from left to right."""
    cuts = _cuts(table, layer)
    if layer.needed is not None:
        cuts &= layer.needed
    gap = LINK * cut.feed / 60 / table.stride
    return [_runs(row, gap) for row in cuts]


def _cuts(table: ContactTable, layer: Layer) -> Bools:
    """Where each row has something to cut, (m, n)."""
    return np.asarray(table.stands > max(layer.raised, layer.least) - HAIR)


def _one_way(table: ContactTable, layer: Layer, cut: Cut) -> Iterator[Run]:
    count = len(table.ys)
    rows = inward(count) if layer.middle is None else outward(count, layer.middle)
    stretches = _stretches(table, layer, cut)
    for row, right in rows:
        found = stretches[row]
        for first, last in found if right else reversed(found):
            yield Run(row=row, first=first, last=last, right=right)


def _to_and_fro(table: ContactTable, layer: Layer, cut: Cut) -> list[Run]:
    """In the quickest order, each pass back beside the one before where that can be.

    Where the passes of two neighbouring rows end near each other, both go to the further end.
    """
    short, near = _short(table), NEAR * cut.feed / 60
    runs = list[Run]()
    found = _stretches(table, layer, cut)
    every = waiting(len(found), len(table.xs), found, layer.middle)
    for run in ordered(table, every, cut.feed / 60):
        if runs:
            runs[-1], run = _linked(table, runs[-1], run, short, near)  # noqa: PLW2901
        runs.append(run)
    return runs


def waiting(
    count: int, wide: int, found: Sequence[Sequence[tuple[int, int]]], middle: int | None
) -> list[Waiting]:
    """Every stretch ``found`` of ``count`` rows, and those that must be cut before it.

    From the faces inward, those beside it toward its face; from a ``middle`` row outward, those
    beside it toward that row. ``wide``: places in a row.
    """
    every = list[Waiting]()
    for rows, outer, beyond in _halves(count, found, middle):
        for row in rows:
            for first, last in found[row]:
                over = (a + wide * beyond for a, b in outer if a < last and first < b)
                every.append(Waiting(row=row, first=first, last=last, after=tuple(over)))
            if found[row]:
                outer, beyond = found[row], row  # noqa: PLW2901
    return every


def _halves(
    count: int, found: Sequence[Sequence[tuple[int, int]]], middle: int | None
) -> Iterator[tuple[Iterable[int], Sequence[tuple[int, int]], int]]:
    """Rows that wait for one another in turn, and the stretches that the first of them
    waits for.
    """
    if middle is None:
        yield range(count // 2), (), -1
        yield range(count - 1, count // 2 - 1, -1), (), -1
    else:
        yield range(middle, count), (), -1
        yield range(middle - 1, -1, -1), found[middle], middle


def ordered(table: ContactTable, every: Sequence[Waiting], speed: float) -> list[Run]:
    """The stretches in the quickest order that going to the nearest next one finds."""
    starts = [
        Run(row=w.row, first=w.first, last=w.last, right=right)
        for w in every
        if not w.after
        for right in (True, False)
    ]
    least, best = math.inf, list[Run]()
    for start in starts:
        if (way := _nearest_first(table, every, start, speed, least)) is not None:
            least, best = way
    return best


def _nearest_first(
    table: ContactTable, every: Sequence[Waiting], start: Run, speed: float, most: float
) -> tuple[float, list[Run]] | None:
    """Seconds of all links, and the runs, each time the nearest of those that may be next.

    None where they take ``most`` seconds or more.
    """
    wide, runs, took = len(table.xs), [start], 0.0
    left = {w.first + wide * w.row: w for w in every}
    del left[start.first + wide * start.row]
    while took < most:
        if not left:
            return took, runs
        free = (w for w in left.values() if not any(key in left for key in w.after))
        nexts = ((_seconds_to(table, runs[-1], r, speed), r) for w in free for r in w.runs)
        seconds, run = min(nexts, key=lambda each: each[0])
        runs.append(run)
        took += seconds
        del left[run.first + wide * run.row]
    return None


def _seconds_to(table: ContactTable, last: Run, run: Run, speed: float) -> float:
    """About how long a link takes."""
    along = abs(last.ends[1] - run.ends[0]) * table.stride
    if _beside_each_other(table, last, run, NEAR * speed):
        return STEPPED + along / speed
    return LIFTED + along / speed / FASTER


def _beside_each_other(table: ContactTable, last: Run, run: Run, near: float) -> bool:
    """Whether a run can begin at depth where the last one ends."""
    apart = abs(float(table.y[last.row, last.ends[1]] - table.y[run.row, run.ends[0]]))
    along = abs(last.ends[1] - run.ends[0]) * table.stride
    return along <= near and last.right != run.right and apart < table.sweep.tool.radius


def _short(table: ContactTable) -> tuple[int, int]:
    """First and last place that a pass need reach where the next one begins at depth.

    On a top that falls toward an end a flat tool touches with the rim behind its axis: all of it
    must pass the end. A ball touches a radius times the sine of the slope behind it.
    """
    stock, sweep = table.sweep.stock, table.sweep
    if sweep.tool.shape is not Shape.BALL:
        return 0, len(table.xs) - 1
    falls = (
        float(np.max(way * sweep.surface.gradient(np.full_like(ys, end), ys)[0]))
        for ys, end, way in ((table.y[:, 0], stock.x0, 1.0), (table.y[:, -1], stock.x1, -1.0))
    )
    left, right = (sweep.tool.radius * max(PAST, fall / math.hypot(1.0, fall)) for fall in falls)
    low = int(np.searchsorted(table.xs, stock.x0 - left)) - 1
    high = int(np.searchsorted(table.xs, stock.x1 + right))
    return max(low, 0), min(high, len(table.xs) - 1)


def _linked(
    table: ContactTable, last: Run, run: Run, short: tuple[int, int], near: float
) -> tuple[Run, Run]:
    """Two runs, the second beginning where the first ends, if they can."""
    if not _beside_each_other(table, last, run, near):
        return last, run
    end, begin = last.ends[1], run.ends[0]
    if run.right:
        to = max(min(end, begin), min(short[0], last.last - 2, run.last - 2))
        return replace(last, first=to), replace(run, first=to, linked=True)
    to = min(max(end, begin), max(short[1], last.first + 1, run.first + 1)) + 1
    return replace(last, last=to), replace(run, last=to, linked=True)


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
