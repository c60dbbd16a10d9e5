"""How far the tip of a tool goes down into stock, as it stands before the move.

A tool that comes down in air, or down a slope whose surface lies as deep below its path all along,
meets nothing with its tip. So what counts is not the angle of a move but how much deeper the tip
gets into the material, measured under the whole of the tool's end at places along the path.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from blankcam.replay.envelope import arc_points
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.motions import PLANE_AXES, MoveKind, Moves, arc_angles, plane_arc_of
from blankcam.replay.tool_profile import ToolProfile

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

PLACES = 48
"""Places along a path at which the end of the tool is held against the stock."""
RIM = 0.999
"""Share of the radius: a rim that only grazes a wall meets nothing."""
STEEPEST = 1.0
"""mm per mm: where stock under the tool rises faster it is a wall, met by the tool's side."""


def fastest_down(moves: Moves) -> Floats:
    """The fastest that each move's tip goes down, mm/min, (n,); 0 where it does not."""
    step = moves.end - moves.start
    length = np.linalg.norm(step, axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(length > 0, np.maximum(-step[:, 2], 0.0) / length, 0.0)
    for plane, (a, b, normal) in PLANE_AXES.items():
        pick = moves.is_arc & (moves.plane == plane)
        if pick.any():
            first, sweep, radius = arc_angles(moves, pick, a, b)
            if normal == 2:  # a helix falls evenly
                fall = np.maximum(-step[pick, 2], 0.0)
                share[pick] = fall / np.maximum(np.hypot(fall, radius * sweep), 1e-12)
            else:
                share[pick] = _steepest_fall(first, sweep, cosine=a == 2)
    return np.where(moves.cutting & moves.known, share * moves.feed, 0.0)


def _steepest_fall(first: Floats, sweep: Floats, *, cosine: bool) -> Floats:
    """Greatest share of Z, downward, along arcs from their first angle through their sweep.

    Z goes with the cosine of the angle in G18 and with its sine in G19.
    """
    # -dz/ds is sin or -cos of the angle, turned round with the sweep: a sine of a shifted angle
    shift = np.where(sweep > 0, 0.0, np.pi) - (0.0 if cosine else np.pi / 2)
    low = np.minimum(first, first + sweep) + shift
    high = np.maximum(first, first + sweep) + shift
    peak = np.ceil((low - np.pi / 2) / math.tau) * math.tau + np.pi / 2
    ends = np.maximum(np.sin(low), np.sin(high))
    return np.asarray(np.where(peak <= high, 1.0, np.maximum(ends, 0.0)))


def plunged(
    heightmap: Heightmap, form: ToolProfile, moves: Moves, i: int, limit: float
) -> tuple[float, float]:
    """How deep move i goes into stock faster than ``limit`` mm/min, mm, and how fast at most."""
    path = _path(moves, i)
    step = np.diff(path, axis=0)
    length = np.linalg.norm(step, axis=1)
    down = -step[:, 2]
    rate = down / np.where(length > 0, length, 1.0) * moves.feed[i]
    deep = _depths(heightmap, form, path)
    into = np.diff(deep)
    across = np.hypot(step[:, 0], step[:, 1])
    side = into - down > STEEPEST * across + 1e-9
    met = (rate > limit) & ~side
    gained = np.where(met, np.minimum(into, down), 0.0)
    so_far = np.concatenate(([0.0], np.cumsum(gained)))
    # The most it gets deeper from any place on: what is lost again between cells is not counted
    deeper = so_far - np.minimum.accumulate(so_far)
    return float(deeper.max()), float(rate[gained > 0].max(initial=0.0))


def _path(moves: Moves, i: int) -> Floats:
    """Places along a move, (PLACES + 1, 3)."""
    share = np.linspace(0.0, 1.0, PLACES + 1)
    if moves.kind[i] < MoveKind.ARC_CW:
        return np.asarray(moves.start[i] + share[:, None] * (moves.end[i] - moves.start[i]))
    points = arc_points(*plane_arc_of(moves, i))
    at = share * (len(points) - 1)
    return np.column_stack([np.interp(at, np.arange(len(points)), points[:, a]) for a in range(3)])


def _depths(heightmap: Heightmap, form: ToolProfile, path: Floats) -> Floats:
    """How deep the end of the tool is in the stock at each place, mm, at least 0, (n,)."""
    turn = np.linspace(0.0, math.tau, 12, endpoint=False)
    rings = [form.radius * share for share in (0.35, 0.7, RIM)]
    off = np.vstack([(0.0, 0.0), *(np.column_stack((r * np.cos(turn), r * np.sin(turn)))
                                   for r in rings)])  # fmt: skip
    rise = form.heights((off**2).sum(axis=1))
    x, y = path[:, 0, None] + off[:, 0], path[:, 1, None] + off[:, 1]
    deep = np.maximum(_heights_at(heightmap, x, y) - path[:, 2, None] - rise, 0.0)
    return np.asarray(np.where(_ahead(path, off), deep, 0.0).max(axis=1))


def _ahead(path: Floats, off: Floats) -> Bools:
    """Whether each place of the end counts along the path, (n, k): what is behind was cut before.

    Where the tool goes down steeper than it goes on, all of it counts.
    """
    step = np.gradient(path, axis=0)
    along = step[:, :2] @ off.T >= -1e-9
    steep = np.abs(step[:, 2]) > np.hypot(step[:, 0], step[:, 1])
    return np.asarray(along | steep[:, None])


def _heights_at(heightmap: Heightmap, x: Floats, y: Floats) -> Floats:
    """Height of the cell at each place; -inf beyond the heightmap."""
    columns, inside_x = _nearest(heightmap.x, x)
    rows, inside_y = _nearest(heightmap.y, y)
    return np.where(inside_x & inside_y, heightmap.z[rows, columns], -np.inf)


def _nearest(places: Floats, at: Floats) -> tuple[NDArray[np.int64], Bools]:
    """Index of the cell at each value, and whether it is within the heightmap."""
    half = (places[1] - places[0]) / 2 if len(places) > 1 else math.inf
    index = np.clip(np.searchsorted(places, at - half), 0, len(places) - 1)
    return index, np.asarray((at >= places[0] - half) & (at <= places[-1] + half))
