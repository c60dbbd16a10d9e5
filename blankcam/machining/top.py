"""How the top of a nut and the crown of a saddle are brought out: rows, ridges and the tool."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from blankcam.data import table
from blankcam.faults import Fault
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining.cutter_contact import FIT, ContactTable, Sweep
from blankcam.machining.feeds import (
    STICK_OUT,
    Cut,
    cusp_crown,
    cusp_flat,
    step_crown,
    step_flat,
)
from blankcam.machining.scallops import left_between
from blankcam.parts.curve import Array

CUSP: float = table("cutting")["top"]["scallop"]
FLAT_STEP: float = table("cutting")["top"]["flat_step"]
MOST_LEFT: float = table("cutting")["top"]["scallop_most"]
LEAST_LEAVE: float = table("cutting")["top"]["left_for_finish"]
LEAST_LAYER: float = table("cutting")["top"]["thinnest_layer"]
SHARES = (0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.55, 0.6, 0.65, 0.7)
"""Steps of rough layers in tool diameters: full width is allowed at the depth of a slot."""
HALF_WAY = (0.4, 0.6)
"""Shares of the way from one finishing pass to the next: near its middle the ridge stands."""
FEWER = 0.9
"""Rows that follow a ridge are taken where they are so many times as many as straight ones: these
may be shorter, and are arcs (our own)."""
TRIES, CLOSER = 4, 1.04
"""So often rows are laid closer, each time at least so many times."""
CLOSE = 2 * FIT
"""mm by which two passes, each along fitted arcs, may differ from what is reckoned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SteppedRows:
    """Rows one step apart, and what stands between them."""

    table: ContactTable
    ridge: float


def finishing_step(sweep: Sweep, tool: Tool) -> float:
    """The widest step between the last passes that keeps to the cusp, mm."""
    cusp = max(CUSP, sweep.ridge - CLOSE)
    if tool.shape is Shape.BALL:
        if math.isinf(sweep.crown):
            return step_flat(cusp, tool.radius)
        return step_crown(cusp, tool.radius, sweep.crown)
    xs = sweep.sections
    y = np.full_like(xs, sweep.y_low)
    fall = float(np.max(np.abs(sweep.surface.height(xs, y + 1.0) - sweep.surface.height(xs, y))))
    step = min(FLAT_STEP * tool.diameter, cusp / max(fall, 1e-9))
    # Beside its axis a round face ends earlier along the row, by the sagitta of half a step
    rise = float(np.max(np.abs(sweep.surface.gradient(xs, y)[0])))
    sagitta = min(cusp / max(rise, 1e-9), tool.radius)
    return min(step, 2 * math.sqrt(sagitta * (2 * tool.radius - sagitta)))


def finishing_table(sweep: Sweep) -> ContactTable:
    """The last passes: straight rows, or where those are fewer such as follow a ridge that goes
    from string to string; closer than reckoned where they would leave more than they may.

    Where closer ones leave no less, the ball bridges a bend of the surface.
    """
    step = finishing_step(sweep, sweep.tool)
    found = sweep.table(_rows(sweep, step))
    if sweep.tool.shape is not Shape.BALL:
        return found
    most = max(MOST_LEFT, sweep.ridge - CLOSE)
    for _ in range(TRIES):
        if found.bridged or (over := left_between(found) / most) <= 1:
            return found
        step /= max(math.sqrt(over), CLOSER)
        found = sweep.table(_rows(sweep, step))
    return replace(found, bridged=found.bridged or left_between(found) > most)


def _rows(sweep: Sweep, step: float) -> Sequence[float] | Array:
    """The rows that far apart, as ``Sweep.table`` takes them."""
    straight = sweep.rows(step, HALF_WAY)
    if sweep.tool.shape is not Shape.BALL or math.isinf(sweep.crown):
        return straight
    following = sweep.following_rows(step)
    return following if len(following) <= FEWER * len(straight) else straight


def ridge_between(sweep: Sweep, step: float) -> float:
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


def _at_faces(table: ContactTable) -> float:
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


def row_choices(sweep: Sweep) -> Iterator[SteppedRows]:
    """Rows as far apart as each of ``SHARES`` says, the closest first."""
    for share in SHARES:
        step = share * sweep.tool.diameter
        if math.isfinite(ridge := ridge_between(sweep, step)):
            each = sweep.table(sweep.rows(step))
            yield SteppedRows(table=each, ridge=max(ridge, _at_faces(each)) + CLOSE)


def may_be_last(rows: SteppedRows, most: float) -> bool:
    """Whether finishing passes ``most`` mm deep take what a rough layer of these rows leaves."""
    return most - rows.ridge >= LEAST_LEAVE


def may_be_wide(rows: SteppedRows, full: Cut) -> bool:
    """Whether a layer of these rows takes enough beside the ridges of the one before."""
    return full.depth - rows.ridge >= LEAST_LAYER * full.depth


def too_limber(tool: Tool, profile: Profile, most: float) -> Fault:
    """The fault of a tool that bends too far for the ``most`` mm that a finishing pass takes."""
    usual, bends = STICK_OUT * tool.diameter, 1000 * table("materials")["bend_max"]
    return Fault(
        where=profile.path or profile.name,
        key=f"tools, number {tool.number}: stick_out",
        found=f"{tool.stick_out:g} mm",
        wrong=f"bends {bends:g} um where it takes {most:.3f} mm: no finishing pass is left to it",
        fix=f"push it further into the collet; {usual:g} mm, {STICK_OUT:g} diameters, is usual",
    )
