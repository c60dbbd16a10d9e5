"""The top of a nut: brought down in layers and finished along x."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from blankcam.faults import Fault, RefusedError
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining.cutter_contact import Sweep, Table, beside
from blankcam.machining.feeds import (
    Cut,
    Work,
    cusp_crown,
    cusp_flat,
    plan_cut,
    step_crown,
    step_flat,
)
from blankcam.machining.setup_sheet import Bench
from blankcam.parts.curve import Array
from blankcam.parts.nut import Nut
from blankcam.parts.part import Stage
from blankcam.toolpath.moves import Arc, Line, Move, Note, Operation, Path, Place
from blankcam.toolpath.pass_order import FIT, Layer, cut_layer, extent, looked, needed, passes

CUSP = 0.013
"""mm left standing between passes; the proof allows 0.020 mm in all."""
LEAST_LEAVE = 0.05
"""mm that rough layers leave at least for the finishing passes, beside the ridges between them."""
LEAST_LAYER = 0.2
"""A rough layer takes at least this share of the depth of cut."""
LINK = 2.0
STEP = 0.4
"""Seconds of a link over the blank, and of one at depth to the next row, about, for choosing."""
STOUT = 0.3
"""mm: a tool that may take so much is never too limber, for the closest rows leave far less."""
TRIED = 10
"""So many ways of rough layers, those with the least to cut, are worked out."""
SHARES = (0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.55, 0.6, 0.65, 0.7)
"""Steps of rough layers in tool diameters: full width is allowed at the depth of a slot."""
CLOSE = 2 * FIT
"""mm by which two passes, each along fitted arcs, may differ from what is reckoned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TopSurface:
    """The nut's top of a stage, going on beyond the nut."""

    nut: Nut
    stage: Stage

    def height(self, x: Array, y: Array) -> Array:
        """Z over x and y."""
        return self.nut.top_height(beside(x, self.nut.length)[0], y, self.stage)

    def gradient(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Slopes along x and along y."""
        x, inside = beside(x, self.nut.length)
        along_x = np.broadcast_to(self.nut.top.slope(x) * inside, y.shape)
        return along_x, np.full_like(y, -math.tan(self.nut.tilt))


def finishing_step(sweep: Sweep, tool: Tool) -> float:
    """The widest step between finishing passes that keeps to the cusp, mm."""
    if tool.shape is Shape.BALL:
        if math.isinf(sweep.crown):
            return step_flat(CUSP, tool.radius)
        return step_crown(CUSP, tool.radius, sweep.crown)
    xs = np.linspace(sweep.stock.x0, sweep.stock.x1, 9)
    y = np.full_like(xs, sweep.y_low)
    fall = float(np.max(np.abs(sweep.surface.height(xs, y + 1.0) - sweep.surface.height(xs, y))))
    return min(0.6 * tool.diameter, CUSP / fall) if fall > 1e-9 else 0.6 * tool.diameter


def choose_tool(profile: Profile, need: float, *, level: bool) -> Tool | None:
    """The tool for a top or a crown: the largest ball, or for a level section the largest flat one.

    ``need`` is how deep it must go, mm; tools over 6 mm are left out.
    """
    wanted = [Shape.FLAT, Shape.BALL] if level else [Shape.BALL]
    for shape in wanted:
        fit = [
            t
            for t in profile.tools
            if t.shape is shape and 1.0 <= t.diameter <= 6.0 and t.reach >= need
        ]
        if fit:
            return max(fit, key=lambda t: (t.diameter, -t.number))
    return None


def sweep_operation(
    name: str, words: str, sweep: Sweep, bench: Bench, *, one_way: bool
) -> Operation:
    """Rough layers with wide steps, then the finishing passes, which take their ridges along.

    Rough layers are cut to and fro; the finishing passes too, unless they are to go one way.
    """
    tool = sweep.tool
    full = plan_cut(bench.material, tool, bench.profile, Work.SLOT)
    finish = plan_cut(bench.material, tool, bench.profile, Work.FINISH)
    most = min(full.depth, finish.depth)
    last = sweep.table(sweep.rows(finishing_step(sweep, tool)))
    path = Path(bench.clearance)
    layers = _rough_layers(sweep, full, most)
    if layers is None:
        raise RefusedError(_too_limber(tool, bench.profile, most))
    for table, layer in layers:
        cut_layer(path, table, layer, full)
    cut_layer(path, last, Layer(raised=0.0, standing=most, one_way=one_way), finish)
    path.leave()
    return Operation(
        name=name,
        words=words,
        tool=tool,
        cut=full,
        moves=tuple(_slowed(path.moves, bench.profile.feed_max.z)),
        least=_least(last, most, full),
    )


def _ridge(sweep: Sweep, step: float) -> float:
    """What stands between passes that far apart along the section, mm."""
    radius = sweep.tool.radius
    if sweep.tool.shape is not Shape.BALL:
        return 0.0
    if math.isinf(sweep.crown):
        return cusp_flat(step, radius)
    turn = step / sweep.crown
    if (radius + sweep.crown) * math.sin(turn / 2) >= radius:
        return math.inf
    return cusp_crown(turn, radius, sweep.crown)


def _at_faces(table: Table) -> float:
    """What rows leave at most at the two faces, mm.

    The ridge between two passes down a slope stands nearer its foot than their middle: at an upper
    face more stands than between passes, for the row that would cut it there runs outside.
    """
    sweep, r = table.sweep, table.sweep.tool.radius
    inside = (table.xs >= sweep.stock.x0) & (table.xs <= sweep.stock.x1)
    tips = np.where(table.wanted, table.tips, np.inf)[:, inside]
    found = []
    for y in (sweep.y_low, sweep.y_high):
        off = np.abs(np.asarray(table.ys) - y)
        under = np.where(off < r, 0.0, np.inf)
        if sweep.tool.shape is Shape.BALL:
            under = np.where(off < r, r - np.sqrt(np.maximum(r**2 - off**2, 0.0)), np.inf)
        left = (tips + under[:, None]).min(axis=0)
        high = sweep.surface.height(table.xs[inside], np.full(left.shape, y))
        found.append(float(np.max(left - high)))
    return max(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """Rows one step apart, and what stands between them."""

    table: Table
    ridge: float

    def seconds(self, layer: Layer, cut: Cut) -> float:
        """About how long a layer takes."""
        return sum(
            60 * p.length / cut.feed + (STEP if p.linked else LINK)
            for p in passes(self.table, layer, cut)
        )


def _slowed(moves: Sequence[Move], most: float) -> Iterator[Move]:
    """The moves, those on a slope slowed so that Z keeps to the machine's feed, ``most``."""
    at: Place = (math.nan, math.nan, math.nan)
    for move in moves:
        if isinstance(move, (Line, Arc)):
            steep = _steepest(at, move)
            if move.feed * steep > most:
                yield dataclasses.replace(move, feed=most / steep)
                at = move.to
                continue
        if not isinstance(move, Note):
            at = move.to
        yield move


def _steepest(start: Place, move: Line | Arc) -> float:
    """The greatest share of a move's speed that is Z's; an arc's in G18 at one of its ends."""
    if isinstance(move, Line):
        return abs(move.to[2] - start[2]) / (math.dist(start, move.to) or 1.0)
    if move.plane != "G18":
        return 0.0
    middle = (move.centre[1], move.centre[0])
    radius = math.dist((start[0], start[2]), middle)
    return max(abs(x - middle[0]) for x in (start[0], move.to[0])) / radius


def _too_limber(tool: Tool, profile: Profile, most: float) -> Fault:
    usual = 4 * tool.diameter
    return Fault(
        where=profile.path or profile.name,
        key=f"tools, number {tool.number}: stick_out",
        found=f"{tool.stick_out:g} mm",
        wrong=f"bends 3 um where it takes {most:.3f} mm: no finishing pass is left to it",
        fix=f"push it further into the collet; {usual:g} mm, four diameters, is usual",
    )


def _rough_layers(sweep: Sweep, full: Cut, most: float) -> list[tuple[Table, Layer]] | None:
    """Rows and heights over the finished surface of rough layers, from the highest down.

    The quickest there are; none where finishing passes, ``most`` mm deep, do it all; None where
    the tool may take too little for what any rows would leave. Wide steps
    leave ridges, which the next layer's depth of cut must take along, and after the last layer the
    finishing passes': that one may so want closer rows.
    """
    tried = list(_ways(sweep))
    above = max(t.table.above for t in tried)
    if above <= most:
        return []
    lasts = [t for t in tried if _may_be_last(t, most)]
    wides = [t for t in tried if _may_be_wide(t, full)]
    every = [_layers(last, wide, above, most, full.depth) for last in lasts for wide in wides]
    if not every:
        return None
    every.sort(key=lambda way: sum(extent(rows.table, layer) for rows, layer in way))
    ways = [_trimmed(way, full.depth, most) for way in every[:TRIED]]
    best = min(ways, key=lambda way: sum(rows.seconds(layer, full) for rows, layer in way))
    return [(rows.table, layer) for rows, layer in best]


def _ways(sweep: Sweep) -> Iterator[_Rows]:
    """Rows as far apart as each of ``SHARES`` says, the closest first."""
    for share in SHARES:
        step = share * sweep.tool.diameter
        if math.isfinite(ridge := _ridge(sweep, step)):
            each = sweep.table(sweep.rows(step))
            yield _Rows(table=each, ridge=max(ridge, _at_faces(each)) + CLOSE)


def _may_be_last(rows: _Rows, most: float) -> bool:
    return most - rows.ridge >= LEAST_LEAVE


def _may_be_wide(rows: _Rows, full: Cut) -> bool:
    return full.depth - rows.ridge >= LEAST_LAYER * full.depth


def limber_faults(sweep: Sweep, bench: Bench) -> list[Fault]:
    """Why ``sweep_operation`` would refuse the tool, without planning its passes."""
    full = plan_cut(bench.material, sweep.tool, bench.profile, Work.SLOT)
    finish = plan_cut(bench.material, sweep.tool, bench.profile, Work.FINISH)
    most, above, last, wide = min(full.depth, finish.depth), 0.0, False, False
    if most >= STOUT:
        return []
    for rows in _ways(sweep):
        last, wide = last or _may_be_last(rows, most), wide or _may_be_wide(rows, full)
        if last and wide:
            return []
        above = max(above, rows.table.above)
    return [_too_limber(sweep.tool, bench.profile, most)] if above > most else []


def _layers(
    last: _Rows, wide: _Rows, above: float, most: float, depth: float
) -> list[tuple[_Rows, Layer]]:
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
    way: list[tuple[_Rows, Layer]], depth: float, most: float
) -> list[tuple[_Rows, Layer]]:
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
    area = float(max(step * (rough.depth - _ridge(sweep, step)) for step in steps))
    inside = (last.xs >= stock.x0) & (last.xs <= stock.x1)
    finishing = float(np.sum(last.wanted[:, inside])) * float(last.xs[1] - last.xs[0])
    volume = long * wide * float(np.mean(waste))
    return 60 * (volume / area + finishing) / rough.feed
