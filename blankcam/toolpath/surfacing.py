"""The top of a nut or a saddle brought down in layers and finished along x."""

from __future__ import annotations

import numpy as np

from blankcam.machining.cutter_contact import ContactTable
from blankcam.machining.feeds import Cut
from blankcam.machining.setup_sheet import Bench
from blankcam.machining.surface_passes import SurfacePasses
from blankcam.machining.top import ridge_between
from blankcam.toolpath.moves import Operation, ToolPath
from blankcam.toolpath.pass_order import cut_layer
from blankcam.toolpath.slowing import slowed


def sweep_operation(name: str, words: str, passes: SurfacePasses, bench: Bench) -> Operation:
    """Rough layers with wide steps, then the finishing passes, which take their ridges along."""
    path = ToolPath(bench.clearance)
    for layer in passes.rough:
        cut_layer(path, layer, passes.rough_cut)
    cut_layer(path, passes.finish, passes.finish_cut)
    path.leave()
    full = passes.rough_cut
    return Operation(
        name=name,
        words=words,
        tool=passes.table.sweep.tool,
        cut=full,
        moves=tuple(slowed(path.moves, bench.profile.feed_max.z, full.plunge)),
        least=_least(passes.table, passes.most, full),
    )


def _least(last: ContactTable, most: float, rough: Cut) -> float:
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
