"""The top of a nut: brought down in layers and finished along x."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blankcam.cutting.bench import Bench
from blankcam.cutting.feeds import Cut, Work, cusp_crown, cusp_flat, plan_cut, step_crown, step_flat
from blankcam.cutting.motion import Operation, Path
from blankcam.cutting.surface import Sweep, beside, cut_layer
from blankcam.machine.profile import Profile
from blankcam.machine.tool import Shape, Tool
from blankcam.parts.curve import Array
from blankcam.parts.nut import Nut
from blankcam.parts.stage import Stage

CUSP = 0.013
"""mm left standing between passes; the proof allows 0.020 mm in all."""
LEAVE = 0.1
"""mm left for the finishing passes, over the cusps of the last rough layer."""

LEAST_LAYER = 0.2
"""A wide layer takes at least this share of the depth of cut."""
WIDE_SHARES = (0.3, 0.4, 0.5, 0.6, 0.7)
"""Steps of the wide layers in tool diameters: full width is allowed at the depth of a slot."""


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
        return self.nut.top.slope(x) * inside, np.full_like(y, -math.tan(self.nut.tilt))


def finishing_step(sweep: Sweep, tool: Tool) -> float:
    """The widest step between finishing passes that keeps to the cusp, mm."""
    if tool.shape is Shape.BALL:
        if math.isinf(sweep.crown):
            return step_flat(CUSP, tool.radius)
        return step_crown(CUSP, tool.radius, sweep.crown)
    xs = np.linspace(sweep.stock.x_min, sweep.stock.x_max, 9)
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


def sweep_operation(name: str, words: str, sweep: Sweep, bench: Bench) -> Operation:
    """Wide layers, a rough one with small cusps, then the finishing passes."""
    tool, ceiling = sweep.tool, sweep.stock.z_max
    rough = plan_cut(bench.material, tool, bench.profile, Work.ROUGH)
    finish = plan_cut(bench.material, tool, bench.profile, Work.FINISH)
    path = Path(bench.clearance)
    rows, last = sweep.rows(rough.width), sweep.rows(finishing_step(sweep, tool))
    leave = min(LEAVE, max(finish.depth - _ridge(sweep, rough.width), finish.depth / 2))
    full = plan_cut(bench.material, tool, bench.profile, Work.SLOT)
    wide, layers = _wide(sweep, rows, leave, min(rough.depth, full.depth))
    for raised in layers:
        cut_layer(path, sweep, wide, raised, cut=full, ceiling=ceiling)
    cut_layer(path, sweep, rows, leave, cut=rough, ceiling=ceiling)
    cut_layer(path, sweep, last, 0.0, cut=finish, ceiling=ceiling)
    path.leave()
    return Operation(
        name=name,
        words=words,
        tool=tool,
        cut=rough,
        moves=tuple(path.moves),
        least=_least(sweep, leave, rough, len(last)),
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


def _wide(
    sweep: Sweep, rows: Sequence[float], leave: float, depth: float
) -> tuple[list[float], list[float]]:
    """Rows of the layers over the rough one, and how far over the finished surface each runs.

    Wide steps leave ridges, which the next layer's depth of cut must take along: the step is the
    one that needs the fewest passes in all.
    """
    xs = np.linspace(*sweep.x_ends, 33)
    lowest = min(float(np.min(sweep.tip(xs, np.full_like(xs, y)))) for y in (rows[0], rows[-1]))
    above = sweep.stock.z_max - lowest - leave
    best: tuple[list[float], list[float]] = ([], [])
    for share in WIDE_SHARES:
        step = depth - _ridge(sweep, share * sweep.tool.diameter)
        if step < LEAST_LAYER * depth:
            break
        count = max(0, math.ceil(above / step) - 1)
        wide = sweep.rows(share * sweep.tool.diameter)
        if not best[1] or count * len(wide) < len(best[0]) * len(best[1]):
            best = (wide, [leave + step * k for k in range(count, 0, -1)])
    return best


def _least(sweep: Sweep, leave: float, rough: Cut, finishing: int) -> float:
    """Seconds that the waste takes at the best rate allowed, and the finishing passes."""
    stock, tool = sweep.stock, sweep.tool
    x, y = np.meshgrid(
        np.linspace(stock.x_min, stock.x_max, 65), np.linspace(stock.y_min, stock.y_max, 33)
    )
    waste = np.maximum(stock.z_max - sweep.surface.height(x, y) - leave, 0.0)
    long, wide = stock.x_max - stock.x_min, stock.y_max - stock.y_min
    area = max(
        share * tool.diameter * (rough.depth - _ridge(sweep, share * tool.diameter))
        for share in WIDE_SHARES
    )
    return 60 * long * (float(np.mean(waste)) * wide / area + finishing) / rough.feed
