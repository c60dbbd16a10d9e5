"""Raised passes before those that would cut too deep: one may clear the way for several."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from blankcam.inputs.tool import Shape
from blankcam.machining.cutter_contact import ContactTable
from blankcam.machining.row_runs import ACROSS, BETWEEN, COARSE, RowPasses, Run, standing
from blankcam.parts.curve import Array

FURTHER = 3
"""Rows further out along which a raised pass may go: about as many as one clears."""
CLOSELY, SPARE = 641, 0.003
"""Places across at which the depth of planned passes is looked at, and what may be between them."""
WIDELY = 0.03
"""mm by which a pass may be deeper that meets what stands with most of its round: that is reckoned
as if the row ran level across it (our own, over random instruments)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Depths:
    """How deep passes may cut; mm."""

    most: float
    """One that finishes the surface."""
    full: float
    """A raised one: what it bends the tool is cut away later."""
    leave: float
    """What a raised one leaves at least."""
    shares: int
    """So many passes, one over the other, may share the depth of one."""
    between: float = BETWEEN
    """By which more may stand between the places that are looked at."""


def looked_at_closely(
    found: RowPasses, passes: RowPasses, depths: Depths, middle: int
) -> RowPasses | None:
    """The passes that ``shared`` found, looked at again in ten times as many places.

    Where one is too deep between the places of the first look, the passes are planned again with
    as much more to spare. None where ``shared`` then finds none.
    """
    each: RowPasses | None = found
    while each is not None and (over := _too_deep(each, depths)) > 0:
        depths = replace(depths, between=depths.between + max(over, SPARE))
        each = shared(passes, depths, middle)
    return each


def _too_deep(passes: RowPasses, depths: Depths) -> float:
    """By how much the deepest of the passes is deeper than it may be, mm; 0 where none is."""
    table, over = passes.table, 0.0
    stands, under = standing(table, CLOSELY), _left_by(table, CLOSELY)
    for run in passes.runs:
        span, most = _looked_at(run, table), depths.full if run.raised else depths.most
        left = under(run)
        over = max(over, float(np.max(stands[:, span] - left, initial=0.0)) + SPARE - most)
        stands[:, span] = np.minimum(stands[:, span], left)
    return over


def shared(passes: RowPasses, depths: Depths, middle: int) -> RowPasses | None:
    """The passes, each that would seem to cut deeper than it may after a raised one.

    That goes along a row further out from the ``middle``, where it clears the way for several
    passes; or along its own row, in so many shares of its depth as it takes.
    None where a pass would want more than so many ``shares``.
    """
    table = passes.table
    stands, under, left = standing(table), _left_by(table), _left_by(table, surely=True)
    runs = list[Run]()
    for run in passes.runs:
        every = [run]
        span = _looked_at(run, table)
        deep = stands[:, span] - under(run)
        deepest = float(np.max(deep, initial=0.0)) + depths.between
        if deepest > depths.most:
            where = np.flatnonzero((deep + depths.between > depths.most).any(axis=0)) + span.start
            ends = int(where[0]), int(where[-1])
            side = (run.row > middle) - (run.row < middle)
            before = _further_out(run, table, ends, (stands, under, left), depths, side)
            count = math.ceil(deepest / depths.most)
            if before is not None:
                every = [before, replace(run, linked=False)]
                over = _looked_at(before, table)
                stands[:, over] = np.minimum(stands[:, over], left(before))
            elif count > depths.shares:
                return None
            else:
                every = _over(run, table, ends, deepest, count)
        runs += every
        stands[:, span] = np.minimum(stands[:, span], left(run))
    return replace(passes, runs=tuple(runs))


def _further_out(
    run: Run,
    table: ContactTable,
    ends: tuple[int, int],
    stock: tuple[Array, Callable[[Run], Array], Callable[[Run], Array]],
    depths: Depths,
    side: int,
) -> Run | None:
    """A raised run as far out as one clears the way for a run between two places of ``looked``.

    It goes the other way, as rough passes may, and ends where the run begins. ``stock``: what
    stands before, what a run cuts down to, and what it surely leaves.
    """
    (stands, under, surely), span = stock, _looked_at(run, table)
    leaves = under(run)
    short = replace(_between(run, table, ends), right=not run.right)
    out = [run.row + side * k for k in range(FURTHER + 1)] if side else [run.row]
    reach = (r for r in out if 0 <= r < len(table.ys))
    near = [r for r in reach if abs(table.ys[r] - table.ys[run.row]) < table.sweep.tool.radius]
    for row in reversed(near):
        each = replace(short, row=row)
        over = _looked_at(each, table)
        lowest = under(each)
        high = float(np.max(stands[:, over] - lowest, initial=0.0)) + max(WIDELY, depths.between)
        high -= depths.full
        raised = run.raised + max(high, depths.leave)
        left = stands.copy()
        left[:, over] = np.minimum(left[:, over], surely(each) + raised - each.raised)
        if float(np.max(left[:, span] - leaves, initial=0.0)) + depths.between <= depths.most:
            return replace(each, raised=raised)
    return None


def _over(
    run: Run, table: ContactTable, ends: tuple[int, int], deepest: float, count: int
) -> list[Run]:
    """Raised runs between two places of ``looked`` in a run, then the run itself, unlinked."""
    raised = (run.raised + deepest * (count - k) / count for k in range(1, count))
    short = _between(run, table, ends)
    return [*(replace(short, raised=high) for high in raised), replace(run, linked=False)]


def _between(run: Run, table: ContactTable, ends: tuple[int, int]) -> Run:
    """The part of a run between two places of ``looked``, unlinked."""
    reach = _rim(table)
    first = max((ends[0] - 1) * COARSE - reach, 0)
    last = min((ends[1] + 1) * COARSE + 1 + reach, len(table.xs))
    return replace(run, first=first, last=last, linked=False)


def _rim(table: ContactTable) -> int:
    """How many places beside its axis a flat tool cuts as deep as below it; 0 for a ball."""
    sweep = table.sweep
    return 0 if sweep.tool.shape is Shape.BALL else math.ceil(sweep.tool.radius / table.stride)


def _looked_at(run: Run, table: ContactTable) -> slice:
    """The places of ``looked`` that a run passes over."""
    reach = _rim(table)
    first, last = max(run.first - reach, 0), min(run.last + reach, len(table.xs))
    return slice(-(-first // COARSE), (last - 1) // COARSE + 1)


def _left_by(
    table: ContactTable, across: int = ACROSS, *, surely: bool = False
) -> Callable[[Run], Array]:
    """What a run leaves over the places that it passes over: the round of its ball, or a flat face.

    ``surely``: also between a place and the next one across; the rim of a round may end there.
    A ball on a slope cuts a section that is steeper than its own circle. A flat tool cuts each
    place as deep as the lowest that it comes to within its radius.
    """
    stock, r = table.sweep.stock, table.sweep.tool.radius
    y = np.linspace(stock.y0, stock.y1, across)[:, None]
    tips, ys = table.tips[:, ::COARSE], table.y[:, ::COARSE]
    skew = np.hypot(1.0, np.gradient(ys, table.stride * COARSE, axis=1))
    lean = np.hypot(1.0, np.gradient(tips, table.stride * COARSE, axis=1) / skew)
    reach = _rim(table)
    rim = r - float(y[1, 0] - y[0, 0]) if surely else r

    def under(run: Run) -> Array:
        span = _looked_at(run, table)
        off = np.abs(y - ys[run.row, span]) / skew[run.row, span]
        room = np.sqrt(np.maximum(r**2 - off**2, 0.0))
        if reach:
            lowest = _lowest_beside(table, run, reach)[(room[:, 0] / table.stride).astype(int)]
            return np.asarray(
                np.where(off < rim, lowest[:, ::COARSE][:, span] + run.raised, np.inf)
            )
        up = np.where(off < rim, r - room * lean[run.row, span], np.inf)
        return np.asarray(tips[run.row, span] + run.raised + up)

    return under


def _lowest_beside(table: ContactTable, run: Run, reach: int) -> Array:
    """The lowest tips of a run up to 0, 1, ... ``reach`` places beside each, (reach + 1, n)."""
    tips = np.full(len(table.xs), np.inf)
    tips[run.first : run.last] = table.tips[run.row, run.first : run.last]
    found = [tips]
    for _ in range(reach):
        wider = found[-1].copy()
        wider[1:] = np.minimum(wider[1:], found[-1][:-1])
        wider[:-1] = np.minimum(wider[:-1], found[-1][1:])
        found.append(wider)
    return np.stack(found)
