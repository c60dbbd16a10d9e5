"""The top of a nut or a saddle brought down in layers and finished along x."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence

import numpy as np

from blankcam.machining.cutter_contact import Table
from blankcam.machining.feeds import Cut
from blankcam.machining.setup_sheet import Bench
from blankcam.machining.surface_passes import SurfacePasses
from blankcam.machining.top import ridge_between
from blankcam.parts.frames import Place
from blankcam.toolpath.moves import Arc, Line, Move, Note, Operation, Path
from blankcam.toolpath.pass_order import cut_layer


def sweep_operation(name: str, words: str, passes: SurfacePasses, bench: Bench) -> Operation:
    """Rough layers with wide steps, then the finishing passes, which take their ridges along."""
    path = Path(bench.clearance)
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
        moves=tuple(_slowed(path.moves, bench.profile.feed_max.z, full.plunge)),
        least=_least(passes.table, passes.most, full),
    )


def _slowed(moves: Sequence[Move], most: float, plunge: float) -> Iterator[Move]:
    """The moves, those on a slope slowed so that Z keeps to the machine's feed, ``most``.

    Downhill Z keeps to ``plunge`` as well: a rough layer goes down into stock there.
    """
    at: Place = (math.nan, math.nan, math.nan)
    for move in moves:
        if isinstance(move, (Line, Arc)):
            up, down = _steepest(at, move)
            feed = min(move.feed, most / up if up > 0 else math.inf,
                       min(most, plunge) / down if down > 0 else math.inf)  # fmt: skip
            yield dataclasses.replace(move, feed=feed) if feed < move.feed else move
            at = move.to
            continue
        if not isinstance(move, Note):
            at = move.to
        yield move


def _steepest(start: Place, move: Line | Arc) -> tuple[float, float]:
    """The greatest shares of a move's speed that are Z's, upward and downward.

    An arc in G18 that stays a graph over x is steepest at its ends.
    """
    if isinstance(move, Line):
        rise = (move.to[2] - start[2]) / (math.dist(start, move.to) or 1.0)
        return max(rise, 0.0), max(-rise, 0.0)
    if move.plane != "G18":
        return 0.0, 0.0
    middle = (move.centre[1], move.centre[0])
    radius = math.dist((start[0], start[2]), middle)
    over = 1.0 if start[2] + move.to[2] > 2 * middle[1] else -1.0
    ahead = math.copysign(over, over * (move.to[0] - start[0]))
    rises = [-ahead * (x - middle[0]) / radius for x in (start[0], move.to[0])]
    return max(*rises, 0.0), max(*(-r for r in rises), 0.0)


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
