"""A top or a crown cut in steps by a flat tool, each pass along x from air to air."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from blankcam.data import table
from blankcam.machining.cutter_contact import FIT
from blankcam.machining.feeds import Cut, Work, plan_cut
from blankcam.machining.setup_sheet import HOP, Bench
from blankcam.machining.steps import Steps, highest_under, left_by
from blankcam.parts import curve
from blankcam.parts.curve import Array
from blankcam.toolpath.linearize import plain
from blankcam.toolpath.moves import Operation, ToolPath
from blankcam.toolpath.slowing import slowed

SHARE: float = table("cutting")["top"]["step_depth"]
BETWEEN = 4
"""Places to which arcs are fitted, for each that is worked out."""
LEAST = 0.002
"""mm: a pass that would take less is left out."""


def steps_operation(name: str, steps: Steps, bench: Bench) -> Operation:
    """Every pass, in layers where more stands than the tool may take."""
    cut = plan_cut(bench.material, steps.tool, bench.profile, Work.SLOT)
    stiff = plan_cut(bench.material, steps.tool, bench.profile, Work.FINISH)
    depth = SHARE * min(cut.depth, stiff.depth)
    path, length = ToolPath(bench.clearance), 0.0
    hop, right = float(np.max(steps.before)) + HOP, True
    for y, z in _passes(steps, depth):
        _along(path, steps.xs, y, z, hop, cut, right=right)
        length, right = length + float(steps.xs[-1] - steps.xs[0]), not right
    path.leave()
    return Operation(
        name=name,
        words=f"{bench.stage} {name} in steps along x, ridges of {steps.ridge:.2f} mm left",
        tool=steps.tool,
        cut=cut,
        moves=tuple(slowed(path.moves, bench.profile.feed_max.z, cut.plunge)),
        least=60 * length / cut.feed,
    )


def _passes(steps: Steps, most: float) -> Iterator[tuple[float, Array]]:
    """The y and the tip's heights of each pass; none cuts deeper than ``most`` mm."""
    stock, r = steps.before.copy(), steps.tool.radius
    for y, tips in zip(steps.ys.tolist(), steps.tips, strict=True):
        high = highest_under(stock, y, steps.xs, steps.across, r)
        stands = float(np.max(high - tips))
        for layer in range(1, 1 + math.ceil((stands - LEAST) / most)):
            z = _level_beside(np.maximum(tips, high - layer * most), high)
            yield y, z
            stock = np.minimum(stock, left_by(z, y, steps.xs, steps.across, r))


def _level_beside(z: Array, high: Array) -> Array:
    """The heights of a pass, those in air beside the blank as high as where it meets it."""
    there = np.flatnonzero(np.isfinite(high))
    out = z.copy()
    out[: there[0]] = z[there[0]]
    out[there[-1] :] = z[there[-1]]
    return out


def _along(
    path: ToolPath, xs: Array, y: float, z: Array, hop: float, cut: Cut, *, right: bool
) -> None:
    # Between its places a pass is straight, so that no arc bulges where it has a corner
    fine = np.interp(np.linspace(0, len(xs) - 1, BETWEEN * (len(xs) - 1) + 1), range(len(xs)), xs)
    table = fine, np.interp(fine, xs, z)
    chain = tuple(p for s in curve.fit_table(*table, FIT) for p in plain(s))
    if not right:
        chain = tuple(s.reversed() for s in reversed(chain))
    start = chain[0].start
    path.over(start[0], y, start[1], hop)
    path.chain(chain, y, cut.feed)
