"""Ball tools that run along x, move after move, as where a crown is cut in short straight moves.

Each move alone decides over little more than its own length (``chained``), so a long run of short
moves is worked at once: every pair of a move and a column it may reach is one column of a table,
with the closed form of ``envelope.line_envelope`` in it. Where several moves reach a column they
lower it one after the other, in their order, so that each move's own depth is known.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blankcam.replay.heightmap import Heightmap
from blankcam.replay.motions import Moves, arc_angles, bounds
from blankcam.replay.tool_profile import ToolProfile

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

CELLS = 60_000
"""Cells of a table worked on at once, few enough for the processor's cache."""


def deciding_spans(moves: Moves, balls: Mapping[int, float]) -> Floats:
    """Between which x each move alone decides, (n, 2); all of x where it is not in a chain.

    Where balls of one radius R run along x, move after move, a place is cut lowest either at an
    end of the chain, or where the path's normal section holds it: at u = s + c rho, with c the
    sine of the path's slope there and rho <= R, or, at a corner s, somewhere between the two
    moves' own c. So a move need only touch its own length and as far beyond as its slopes lean:
    what a corner decides beyond s the move after it touches, what it decides before s the move
    before it. What a move reaches elsewhere others reach lower.
    """
    n = len(moves)
    out = np.tile((-np.inf, np.inf), (n, 1))
    radius = value_by_tool(moves, balls)
    flat_plan = (moves.start[:, 1] == moves.end[:, 1]) & ((moves.plane == 18) | ~moves.is_arc)
    ahead = np.sign(moves.end[:, 0] - moves.start[:, 0])
    lean = np.column_stack(_end_slopes(moves))
    fits = flat_plan & (radius > 0) & (ahead != 0) & moves.cutting & np.isfinite(lean).all(axis=1)
    if n < 2:
        return out
    joined = fits[1:] & fits[:-1] & (ahead[1:] == ahead[:-1])
    joined &= moves.tool[1:] == moves.tool[:-1]
    joined &= (moves.start[1:] == moves.end[:-1]).all(axis=1)
    # In the direction of travel: backward end, then forward end
    back = radius * np.minimum(0.0, lean.min(axis=1))
    forth = radius * np.maximum(0.0, lean.max(axis=1))
    has_before, has_after = np.r_[False, joined], np.r_[joined, False]
    margin = 1e-6
    first = np.where(ahead > 0, moves.start[:, 0] + back, moves.start[:, 0] - back)
    last = np.where(ahead > 0, moves.end[:, 0] + forth, moves.end[:, 0] - forth)
    right = ahead > 0
    out[has_before & right, 0] = first[has_before & right] - margin
    out[has_before & ~right, 1] = first[has_before & ~right] + margin
    out[has_after & right, 1] = last[has_after & right] + margin
    out[has_after & ~right, 0] = last[has_after & ~right] - margin
    return out


def value_by_tool(moves: Moves, values: Mapping[int, float]) -> Floats:
    """The value of each move's tool, (n,); 0 for a tool without one."""
    numbers, at = np.unique(moves.tool, return_inverse=True)
    return np.array([values.get(int(n), 0.0) for n in numbers], dtype=float)[at]


def _end_slopes(moves: Moves) -> tuple[Floats, Floats]:
    """Sine of the slope at both ends of each move in its direction of travel, NaN if it turns back.

    An upright arc that stays a graph over x leans most at one of its ends.
    """
    run = moves.end - moves.start
    length = np.hypot(run[:, 0], run[:, 2])
    with np.errstate(invalid="ignore", divide="ignore"):
        first = run[:, 2] / length
    last = first.copy()
    pick = moves.is_arc & (moves.plane == 18)
    if pick.any():
        angle, sweep, _ = arc_angles(moves, pick, 2, 0)
        # Angles run from Z toward X: the place is (cos, sin), the tangent (-sin, cos) times turn
        turn = np.sign(sweep)
        first[pick] = -turn * np.sin(angle)
        last[pick] = -turn * np.sin(angle + sweep)
        along = turn * np.cos(angle), turn * np.cos(angle + sweep)
        same = (np.sign(along[0]) == np.sign(along[1])) & (np.abs(sweep) < np.pi)
        first[pick] = np.where(same, first[pick], np.nan)
    return first, last


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """The columns and rows each move may reach, all (n,): from the first up to, not
    with, the last.
    """

    first: Ints
    last: Ints
    above: Ints
    below: Ints

    def window(self, i: int) -> tuple[slice, slice]:
        """Rows and columns of move i."""
        return slice(int(self.above[i]), int(self.below[i])), slice(
            int(self.first[i]), int(self.last[i])
        )


def reach_of(heightmap: Heightmap, moves: Moves, strips: Floats, radius: Floats) -> Reach:
    """What each move may reach of a heightmap with its own radius (n,), in its own strip (n, 2)."""
    low, high = bounds(moves)
    first, last = heightmap.columns(
        np.maximum(low[:, 0] - radius, strips[:, 0]), np.minimum(high[:, 0] + radius, strips[:, 1])
    )
    above, below = heightmap.rows(low[:, 1] - radius, high[:, 1] + radius)
    return Reach(first=first, last=last, above=above, below=below)


@dataclass(frozen=True, slots=True, kw_only=True)
class BallRun:
    """Straight moves of one ball along x over one y, in order, and the columns each may reach."""

    moves: Ints
    """(k,) indices of the moves."""
    first: Ints
    """(k,) the first column of each."""
    count: Ints
    """(k,) how many columns each may reach, none or more."""


def ball_runs(moves: Moves, strips: Floats, reach: Reach, fit: Bools) -> Iterator[BallRun]:
    """Runs of short straight moves along x, out of the moves that ``fit`` (n,).

    ``strips`` (n, 2) is what ``chained`` gives, ``reach`` what ``reached`` makes of them.
    """
    first, count = reach.first, reach.last - reach.first
    cells = count * (reach.below - reach.above)
    along = (moves.start[:, 1] == moves.end[:, 1]) & ~moves.is_arc
    along &= np.abs(moves.end[:, 0] - moves.start[:, 0]) > 1e-9
    fit = fit & along & moves.cutting & np.isfinite(strips).any(axis=1) & (cells <= CELLS)
    at = np.flatnonzero(fit)
    if not at.size:
        return
    same = (np.diff(at) == 1) & (np.diff(moves.tool[at]) == 0)
    same &= np.diff(moves.start[at, 1]) == 0
    share = np.floor(np.cumsum(cells[at]) / CELLS)
    cuts = np.flatnonzero(~same | (np.diff(share) > 0)) + 1
    for part in np.split(at, cuts):
        yield BallRun(moves=part, first=first[part], count=count[part])


def lower_run(
    heightmap: Heightmap, form: ToolProfile, moves: Moves, run: BallRun
) -> tuple[Floats, Floats]:
    """Lower the heightmap by a run; the height each move took off (k,) and where it did (k, 3)."""
    depth, place = np.zeros(len(run.moves)), np.full((len(run.moves), 3), np.nan)
    some = np.flatnonzero(run.count)
    first, count = run.first[some], run.count[some]
    begin = np.cumsum(count) - count
    which = np.repeat(np.arange(len(some)), count)
    column = np.arange(len(which)) - np.repeat(begin - first, count)
    rows = _rows_standing(heightmap, form, moves, run) if some.size else slice(0, 0)
    if rows.start >= rows.stop:
        return depth, place
    sunk = _envelope_table(
        form, moves, run.moves[some][which], heightmap.x[column], heightmap.y[rows]
    )
    off = _lower_columns(heightmap.z[rows], sunk, column)
    most = off.max(axis=0)
    best = np.maximum.reduceat(most, begin)
    reached = np.flatnonzero(most == best[which])
    winner = reached[np.searchsorted(reached, begin)]
    row = off[:, winner].argmax(axis=0)
    found = best > 0
    depth[some[found]] = best[found]
    at = np.column_stack((heightmap.x[column[winner]], heightmap.y[rows][row], sunk[row, winner]))
    place[some[found]] = at[found]
    return depth, place


def _rows_standing(heightmap: Heightmap, form: ToolProfile, moves: Moves, run: BallRun) -> slice:
    """The rows in which anything is high enough for the run to cut."""
    y, reach = moves.start[run.moves[0], 1], form.radius
    some = run.count > 0
    columns = slice(int(run.first[some].min()), int((run.first + run.count)[some].max()))
    rows, _ = heightmap.window(np.array((-np.inf, y - reach)), np.array((np.inf, y + reach)))
    low = min(moves.start[run.moves, 2].min(), moves.end[run.moves, 2].min())
    up = heightmap.z[rows, columns].max(axis=1) > low + form.heights((heightmap.y[rows] - y) ** 2)
    at = np.flatnonzero(up) + rows.start
    return slice(int(at[0]), int(at[-1]) + 1) if at.size else slice(0, 0)


def _envelope_table(form: ToolProfile, moves: Moves, i: Ints, x: Floats, y: Floats) -> Floats:
    """Lowest heights of move i[p] of a ball at x[p] and every y, (ny, np):
    ``envelope.line_envelope``.
    """
    dx = moves.end[i, 0] - moves.start[i, 0]
    run, ahead = np.abs(dx), np.sign(dx)
    slope = (moves.end[i, 2] - moves.start[i, 2]) / run
    square = (y - moves.start[i[0], 1]) ** 2
    rho = np.sqrt(np.maximum(form.ball**2 - square, 0.0))
    along = (x - moves.start[i, 0]) * ahead
    s = rho[:, None] * (-slope / np.sqrt(1 + slope**2))
    s += along
    np.clip(s, 0.0, run, out=s)
    off = s - along
    np.multiply(off, off, out=off)
    off += square[:, None]
    s *= slope
    s += moves.start[i, 2]
    far = off > form.radius**2 * (1 + 1e-12) + 1e-15
    np.subtract(form.ball**2, off, out=off)
    np.sqrt(np.maximum(off, 0.0, out=off), out=off)
    s += form.ball - off
    s[far] = np.inf
    return np.asarray(s)


def _lower_columns(z: Floats, sunk: Floats, column: Ints) -> Floats:
    """Lower the heights z (ny, nx) by a table (ny, np) of columns, in its order; what each cut
    away.
    """
    order = np.argsort(column, kind="stable")
    place = np.arange(len(column))
    new = np.r_[True, np.diff(column[order]) > 0]
    rank = np.empty_like(place)
    rank[order] = place - np.maximum.accumulate(np.where(new, place, 0))
    off = np.empty_like(sunk)
    for turn in range(int(rank.max()) + 1):
        pairs = np.flatnonzero(rank == turn)
        now, deep = z[:, column[pairs]], sunk[:, pairs]
        off[:, pairs] = now - deep
        z[:, column[pairs]] = np.minimum(now, deep)
    return off
