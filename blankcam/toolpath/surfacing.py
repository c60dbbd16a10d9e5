"""The top of a nut or a saddle brought down in layers and finished along x."""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from blankcam.faults import RefusedError
from blankcam.machining.cutter_contact import Sweep, Table
from blankcam.machining.feeds import (
    Cut,
    Work,
    plan_cut,
)
from blankcam.machining.setup_sheet import Bench
from blankcam.machining.top import (
    Rows,
    may_be_last,
    may_be_wide,
    ridge_between,
    row_choices,
    too_limber,
)
from blankcam.toolpath.moves import Operation, Path
from blankcam.toolpath.pass_order import Layer, cut_layer, extent, looked, needed, passes
from blankcam.toolpath.slowing import slowed

LINK = 2.0
STEP = 0.4
"""Seconds of a link over the blank, and of one at depth to the next row, about, for choosing."""
TRIED = 10
"""So many ways of rough layers, those with the least to cut, are worked out."""


def sweep_operation(
    name: str, words: str, finish: Table, bench: Bench, *, one_way: bool
) -> Operation:
    """Rough layers with wide steps, then the finishing passes, which take their ridges along.

    Rough layers zigzag; the ``finish`` passes too, unless they are to go one way.
    """
    sweep = finish.sweep
    tool = sweep.tool
    full = plan_cut(bench.material, tool, bench.profile, Work.SLOT)
    fine = plan_cut(bench.material, tool, bench.profile, Work.FINISH)
    most = min(full.depth, fine.depth)
    path = Path(bench.clearance)
    layers = _rough_layers(sweep, full, most)
    if layers is None:
        raise RefusedError(too_limber(tool, bench.profile, most))
    for table, layer in layers:
        cut_layer(path, table, layer, full)
    cut_layer(path, finish, Layer(raised=0.0, standing=most, one_way=one_way), fine)
    path.leave()
    return Operation(
        name=name,
        words=words,
        tool=tool,
        cut=full,
        moves=tuple(slowed(path.moves, bench.profile.feed_max.z, full.plunge)),
        least=_least(finish, most, full),
    )


def _rough_layers(sweep: Sweep, full: Cut, most: float) -> list[tuple[Table, Layer]] | None:
    """Rows and heights over the finished surface of rough layers, from the highest down.

    The quickest there are; none where finishing passes, ``most`` mm deep, do it all; None where
    the tool may take too little for what any rows would leave. Wide steps
    leave ridges, which the next layer's depth of cut must take along, and after the last layer the
    finishing passes': that one may so want closer rows.
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
    every.sort(key=lambda way: sum(extent(rows.table, layer) for rows, layer in way))
    ways = [_trimmed(way, full.depth, most) for way in every[:TRIED]]
    best = min(ways, key=lambda way: sum(_seconds(rows, layer, full) for rows, layer in way))
    return [(rows.table, layer) for rows, layer in best]


def _layers(
    last: Rows, wide: Rows, above: float, most: float, depth: float
) -> list[tuple[Rows, Layer]]:
    """The layers with these rows: from ``above`` down to what the finishing passes take."""
    leave, step = most - last.ridge, depth - wide.ridge
    count = max(0, math.ceil((above - leave - depth) / step - 1e-9))
    rows = [wide] * count + [last]
    raised = (leave + step * k for k in range(count, -1, -1))
    return [
        (each, Layer(raised=high, least=most, standing=high + depth, one_way=False))
        for each, high in zip(rows, raised, strict=True)
    ]


def _trimmed(way: list[tuple[Rows, Layer]], depth: float, most: float) -> list[tuple[Rows, Layer]]:
    """The layers, each cutting only where the one after it would find too much else."""
    table = way[0][0].table
    x, _ = looked(table)
    stands = table.sweep.stands(x)
    limits = [*(layer.raised + depth for _, layer in way[1:]), most]
    found = []
    for (rows, layer), limit in zip(way, limits, strict=True):
        where, stands = needed(rows.table, layer, stands, limit)
        found.append((rows, dataclasses.replace(layer, needed=where)))
    return found


def _least(last: Table, most: float, rough: Cut) -> float:
    """Seconds that the waste takes at the best rate allowed, and the finishing passes.

    The finishing passes take ``most`` mm along; only what stands higher counts as waste. A ball
    can't take its full width at full depth: between its passes ridges stand.
    """
    sweep, tool = last.sweep, last.sweep.tool
    stock = sweep.stock
    x, y = np.meshgrid(np.linspace(stock.x0, stock.x1, 65), np.linspace(stock.y0, stock.y1, 33))
    waste = np.maximum(sweep.stands(x) - sweep.surface.height(x, y) - most, 0.0)
    long, wide = stock.x1 - stock.x0, stock.y1 - stock.y0
    steps = tool.diameter * np.linspace(0.05, 1.0, 96)
    area = float(max(step * (rough.depth - ridge_between(sweep, step)) for step in steps))
    inside = (last.xs >= stock.x0) & (last.xs <= stock.x1)
    finishing = float(np.sum(last.wanted[:, inside])) * float(last.xs[1] - last.xs[0])
    volume = long * wide * float(np.mean(waste))
    return 60 * (volume / area + finishing) / rough.feed


def _seconds(rows: Rows, layer: Layer, cut: Cut) -> float:
    """About how long a layer takes."""
    return sum(
        60 * p.length / cut.feed + (STEP if p.linked else LINK)
        for p in passes(rows.table, layer, cut)
    )
