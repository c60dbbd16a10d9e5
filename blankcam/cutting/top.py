"""The top of a nut: brought down in layers and finished along x."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blankcam.cutting.bench import Bench
from blankcam.cutting.feeds import Work, cusp_flat, plan_cut, step_crown, step_flat
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
    """Rough layers, each no deeper than the table allows, then the finishing passes."""
    tool, ceiling = sweep.tool, sweep.stock.z_max
    rough = plan_cut(bench.material, tool, bench.profile, Work.ROUGH)
    finish = plan_cut(bench.material, tool, bench.profile, Work.FINISH)
    path = Path(bench.clearance)
    rows = sweep.rows(rough.width)
    ridge = cusp_flat(rough.width, tool.radius) if tool.shape is Shape.BALL else 0.0
    leave = min(LEAVE, max(finish.depth - ridge, finish.depth / 2))
    for raised in _layers(sweep, rows, leave, rough.depth - ridge):
        cut_layer(path, sweep, rows, raised, cut=rough, ceiling=ceiling)
    cut_layer(
        path, sweep, sweep.rows(finishing_step(sweep, tool)), 0.0, cut=finish, ceiling=ceiling
    )
    path.leave()
    return Operation(name=name, words=words, tool=tool, cut=rough, moves=tuple(path.moves))


def _layers(sweep: Sweep, rows: Sequence[float], leave: float, step: float) -> list[float]:
    """How far over the finished surface each rough layer runs, from the highest down."""
    xs = np.linspace(*sweep.x_ends, 33)
    lowest = min(float(np.min(sweep.tip(xs, np.full_like(xs, y)))) for y in (rows[0], rows[-1]))
    depth = sweep.stock.z_max - lowest
    count = max(0, math.ceil((depth - leave) / step))
    return [leave + step * k for k in reversed(range(count))]
