"""The passes that bring out a top or a crown: rough layers or none, and the order of the finishing.

Finishing passes that begin along one row in the middle and go on outward share the depth with one
another: each finds the side of the one before, not all that stands. Where some would still be too
deep, raised passes go before them. Rough layers are made where they are quicker, or where so much
stands that nothing else will do.
"""

from __future__ import annotations

import dataclasses
import heapq
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from blankcam.data import table
from blankcam.faults import Fault
from blankcam.machining import raised_runs, row_runs
from blankcam.machining.cutter_contact import ContactTable, Sweep
from blankcam.machining.feeds import Cut, Work, plan_cut
from blankcam.machining.raised_runs import Depths
from blankcam.machining.row_runs import Layer, RowPasses, row_passes
from blankcam.machining.setup_sheet import Bench
from blankcam.machining.top import (
    LEAST_LEAVE,
    SteppedRows,
    may_be_last,
    may_be_wide,
    row_choices,
    too_limber,
)

TRIED = 2
"""So many ways of rough layers, those with the least to cut, are worked out: over the parts of 24
random instruments and the demo jobs none of four was quicker than the best of two; the first alone
took 0.01 % longer."""
HALF = 0.5
"""Rough layers that would save less than such a share of one pass are not looked for."""
LOOKS = 2
"""How often passes are looked at for such as are too deep: once, and once more closely."""
SHARES: int = table("cutting")["top"]["shares"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfacePasses:
    """Every pass that brings a surface out; the rough layers come first, the highest of
    them first.
    """

    rough: tuple[RowPasses, ...]
    finish: RowPasses
    rough_cut: Cut
    finish_cut: Cut

    @property
    def table(self) -> ContactTable:
        """The finishing rows."""
        return self.finish.table

    @property
    def most(self) -> float:
        """How deep a finishing pass may cut, mm."""
        return min(self.rough_cut.depth, self.finish_cut.depth)

    @property
    def seconds(self) -> float:
        """About how long they take."""
        rough = sum(row_runs.seconds(each, self.rough_cut) for each in self.rough)
        return rough + row_runs.seconds(self.finish, self.finish_cut)


def surface_passes(
    finish: ContactTable, bench: Bench, *, one_way: bool
) -> tuple[SurfacePasses | None, list[Fault]]:
    """The quickest passes that bring a surface out; none where the tool is too limber, and why.

    ``finish``: the rows of the finishing passes, which go ``one_way``, or to and fro.
    """
    sweep = finish.sweep
    rough_cut = plan_cut(bench.material, sweep.tool, bench.profile, Work.SLOT)
    stiff = plan_cut(bench.material, sweep.tool, bench.profile, Work.FINISH)
    if min(rough_cut.depth, stiff.depth) < LEAST_LEAVE:
        return None, [too_limber(sweep.tool, bench.profile, stiff.depth)]
    finish_cut = rough_cut if sweep.ridge else stiff
    most = min(rough_cut.depth, finish_cut.depth)

    def way(rough: Sequence[RowPasses], last: RowPasses) -> SurfacePasses:
        return SurfacePasses(
            rough=tuple(rough), finish=last, rough_cut=rough_cut, finish_cut=finish_cut
        )

    depths = Depths(most=most, full=rough_cut.depth, leave=LEAST_LEAVE, shares=SHARES)
    outward = _quickest_outward(finish, finish_cut, depths, one_way=one_way)
    ways = [] if outward is None else [way((), outward)]
    inward = row_passes(finish, Layer(raised=0.0, standing=most, one_way=one_way), finish_cut)
    # Layers are worked out only where passes after them could be quicker, and by half a pass
    least = way((), inward).seconds + HALF * _seconds_along(finish, finish_cut)
    if all(each.seconds > least for each in ways):
        layers = _rough_layers(sweep, rough_cut, most)
        ways += [] if layers is None else [way(layers, inward)]
    if not ways:
        return None, [too_limber(sweep.tool, bench.profile, most)]
    return min(ways, key=lambda way: way.seconds), []


def _quickest_outward(
    rows: ContactTable, cut: Cut, depths: Depths, *, one_way: bool
) -> RowPasses | None:
    """The quickest finishing passes alone, outward from some row; None where none will do.

    With raised ones before them, and planned again where a closer look finds one too deep, passes
    only take longer: so each is worked out further only while it is the quickest.
    """

    def layer(middle: int) -> Layer:
        return Layer(raised=0.0, one_way=one_way, middle=middle)

    begun = [row_passes(rows, layer(middle), cut) for middle in range(len(rows.ys))]
    waiting = [(row_runs.seconds(each, cut), middle, 0, each) for middle, each in enumerate(begun)]
    heapq.heapify(waiting)
    while waiting:
        _, middle, looks, passes = heapq.heappop(waiting)
        if looks == LOOKS:
            return passes
        if looks == 0:
            found = raised_runs.shared(passes, depths, middle)
        else:
            found = raised_runs.looked_at_closely(passes, begun[middle], depths, middle)
        if found is not None:
            heapq.heappush(waiting, (row_runs.seconds(found, cut), middle, looks + 1, found))
    return None


def _seconds_along(rows: ContactTable, cut: Cut) -> float:
    """One pass, from end to end."""
    return 60 * float(rows.xs[-1] - rows.xs[0]) / cut.feed


def _rough_layers(sweep: Sweep, full: Cut, most: float) -> list[RowPasses] | None:
    """The quickest rough layers over the finished surface, from the highest down.

    Empty where finishing passes ``most`` mm deep do it all; None where the ridges that any rows
    leave are more than the tool may take. Each layer must cut away the ridges of the one before,
    and the finishing passes those of the last, whose rows may have to be closer for that.
    """
    tried = list(row_choices(sweep))
    above = max(t.table.above for t in tried)
    if above <= most:
        return []
    lasts = [t for t in tried if may_be_last(t, most)]
    wides = [t for t in tried if may_be_wide(t, full)]
    every = [_layers(last, wide, above, most, full.depth) for last in lasts for wide in wides]
    if not every:
        return None
    every.sort(key=lambda way: sum(row_runs.extent(rows.table, layer) for rows, layer in way))
    ways = (_trimmed(way, full.depth, most) for way in every[:TRIED])
    laid = [[row_passes(rows.table, layer, full) for rows, layer in way] for way in ways]
    return min(laid, key=lambda way: sum(row_runs.seconds(each, full) for each in way))


def _layers(
    last: SteppedRows, wide: SteppedRows, above: float, most: float, depth: float
) -> list[tuple[SteppedRows, Layer]]:
    """The layers with these rows: from ``above`` down to what the finishing passes take."""
    leave, step = most - last.ridge, depth - wide.ridge
    count = max(0, math.ceil((above - leave - depth) / step - 1e-9))
    rows = [wide] * count + [last]
    raised = (leave + step * k for k in range(count, -1, -1))
    return [
        (each, Layer(raised=high, least=most, standing=high + depth, one_way=False))
        for each, high in zip(rows, raised, strict=True)
    ]


def _trimmed(
    way: Iterable[tuple[SteppedRows, Layer]], depth: float, most: float
) -> list[tuple[SteppedRows, Layer]]:
    """The layers, each cutting only where the one after it would find too much else."""
    way = list(way)
    stands = row_runs.standing(way[0][0].table)
    limits = [*(layer.raised + depth for _, layer in way[1:]), most]
    found = []
    for (each, bounded), limit in zip(way, limits, strict=True):
        # Under the middle of its row less may stand than a later pass further out would find
        layer = dataclasses.replace(bounded, least=0.0)
        where, stands = row_runs.needed(each.table, layer, stands, limit)
        found.append((each, dataclasses.replace(layer, needed=where)))
    return found
