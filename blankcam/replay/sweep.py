"""Replay: each move lowers the heightmap by the exact envelope of its tool.

Beside the cutting end each tool has parts that must not touch: its body above the flutes, its
shank, its holder. They are tried against the stock as it stands before the move.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Tool
from blankcam.replay import engagement, envelope, polyline
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.motions import MoveKind, Moves, bounds, plane_arc_of
from blankcam.replay.tool_profile import ToolProfile, flat_end, tool_profile_of

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

RAPID, ARC = int(MoveKind.RAPID), int(MoveKind.ARC_CW)  # plain numbers: asked once a move
TOUCH = 0.001
"""mm; less overlap than this is not a contact."""
SIDE = 0.005
"""mm taken off the radius of bodies, so that a wall just cut does not count as touched."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """A part of the tool that touches the stock where it must not."""

    what: str
    """``rapid``, ``body``, ``shank`` or ``holder``."""
    move: int
    """Index of the move."""
    deep: float
    """How far, mm."""
    at: tuple[float, float, float]
    """Where, in the axes of the heightmap."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plunge:
    """A tip that goes down into stock too fast."""

    move: int
    """Index of the move."""
    deep: float
    """mm that it goes in too fast."""
    fast: float
    """How fast it goes down, mm/min."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepResult:
    """What a replay found, besides the heightmap that it lowered."""

    depth: Floats
    """(n,) the greatest height each move cut away, mm; 0 where it cut nothing."""
    place: Floats
    """(n, 3) where that was, at the height that was left."""
    contacts: tuple[Contact, ...]
    plunges: tuple[Plunge, ...]


@dataclass(frozen=True, slots=True)
class ToolBody:
    """A part of a tool or its holder that must not touch the stock: a flat-ended cylinder."""

    what: str
    form: ToolProfile
    above: float
    """Height of its lower face over the tip, mm."""


def tool_bodies(tool: Tool, profile: Profile) -> tuple[ToolBody, ...]:
    """The parts of a tool and its holder that do not cut."""
    return (
        ToolBody("body", flat_end(tool.radius - SIDE), tool.flute_length),
        ToolBody("shank", flat_end(tool.shank / 2 - SIDE), tool.reach),
        ToolBody("holder", flat_end(profile.holder_diameter / 2 - SIDE), tool.stick_out),
    )


def replay_moves(
    heightmap: Heightmap,
    moves: Moves,
    tools: Mapping[int, Tool],
    profile: Profile,
    plunge: Floats | None = None,
) -> SweepResult:
    """Carry out the moves on the heightmap, in place.

    Moves with an unknown start or tool are left out: the reader has faulted them. ``plunge`` (n,)
    is how fast each move's tip may go down into stock, mm/min; without it plunges are not looked
    at.
    """
    depth, place = np.zeros(len(moves)), np.full((len(moves), 3), np.nan)
    contacts: list[Contact] = []
    plunges: list[Plunge] = []
    fast = np.zeros(len(moves), dtype=bool)
    if plunge is not None:
        fast = engagement.fastest_down(moves) > plunge
    low, high = bounds(moves)
    forms = {n: tool_profile_of(t) for n, t in tools.items()}
    bodies = {n: tool_bodies(t, profile) for n, t in tools.items()}
    wide = {n: max(f.radius, *(s.form.radius for s in bodies[n])) for n, f in forms.items()}
    top = float(heightmap.z.max(initial=-np.inf))
    balls = {n: f.radius for n, f in forms.items() if f.ball == f.radius}
    strips = polyline.deciding_spans(moves, balls)
    near = _may_reach(heightmap, moves, wide, top)
    under = {n: min((s.above for s in b if s.form.radius > 0), default=np.inf)
             for n, b in bodies.items()}  # fmt: skip
    alone = low[:, 2] + polyline.value_by_tool(moves, under) < top - TOUCH
    fit = near & ~alone & ~fast
    radius = polyline.value_by_tool(moves, {n: f.radius for n, f in forms.items()})
    reach = polyline.reach_of(heightmap, moves, strips, radius)
    runs = {int(r.moves[0]): r for r in polyline.ball_runs(moves, strips, reach, fit)}
    taken = {int(i) for r in runs.values() for i in r.moves}
    for i in np.flatnonzero(near).tolist():
        number = int(moves.tool[i])
        if i in runs:
            ids = runs[i].moves
            depth[ids], place[ids] = polyline.lower_run(heightmap, forms[number], moves, runs[i])
        if i in taken:
            continue
        for solid in bodies[number]:
            if low[i, 2] + solid.above < top - TOUCH:
                patch = _patch(heightmap, low[i], high[i], solid.form.radius, solid.above)
                contacts.extend(_body_contacts(solid, moves, i, patch))
        if plunge is not None and fast[i]:
            deep, rate = engagement.plunged(heightmap, forms[number], moves, i, float(plunge[i]))
            if deep > 0:
                plunges.append(Plunge(move=i, deep=deep, fast=rate))
        depth[i], place[i] = _cut(heightmap, forms[number], moves, i, reach.window(i))
        if moves.kind[i] == RAPID and depth[i] > TOUCH:
            contacts.append(Contact(what="rapid", move=i, deep=depth[i], at=_triple(place[i])))
    return SweepResult(depth=depth, place=place, contacts=tuple(contacts), plunges=tuple(plunges))


def _may_reach(heightmap: Heightmap, moves: Moves, wide: Mapping[int, float], top: float) -> Bools:
    """Whether each move may reach the heightmap at all, (n,)."""
    if not heightmap.z.size or not len(moves):
        return np.zeros(len(moves), dtype=bool)
    low, high = bounds(moves)
    reach = np.array([wide.get(int(t), -1.0) for t in moves.tool])
    ok = moves.known & (reach >= 0) & (low[:, 2] < top)
    for axis, places in enumerate((heightmap.x, heightmap.y)):
        ok &= (low[:, axis] - reach <= places[-1]) & (high[:, axis] + reach >= places[0])
    return np.asarray(ok)


def _patch(
    heightmap: Heightmap, low: Floats, high: Floats, radius: float, above: float
) -> Heightmap | None:
    """The part of the heightmap under a move, sharing its heights; None where all of it
    is lower.
    """
    if radius <= 0:
        return None
    rows, columns = heightmap.window(low[:2] - radius, high[:2] + radius)
    part = heightmap.z[rows, columns]
    if not part.size or part.max() <= low[2] + above:
        return None
    return Heightmap(heightmap.x[columns], heightmap.y[rows], part)


_NOWHERE = np.full(3, np.nan)
BLOCK = 40_000
"""Cells worked on at once, few enough for the processor's cache."""


def _cut(heightmap: Heightmap, form: ToolProfile, moves: Moves, i: int, window: tuple[slice, slice]
         ) -> tuple[float, Floats]:  # fmt: skip
    """Lower the heightmap by one move; the greatest height cut away and where."""
    rows, columns = window
    best: tuple[float, Floats] = (0.0, _NOWHERE)
    step = max(32, BLOCK // max(1, rows.stop - rows.start))
    for start in range(columns.start, columns.stop, step):
        block = slice(start, min(start + step, columns.stop))
        part = Heightmap(heightmap.x[block], heightmap.y[rows], heightmap.z[rows, block])
        found = _cut_block(form, moves, i, _rows_to_cut(form, moves, i, part))
        best = max(best, found, key=lambda f: f[0])
    return best


def _rows_to_cut(form: ToolProfile, moves: Moves, i: int, part: Heightmap) -> Heightmap | None:
    """The rows of a block that a move may cut; None where there are none."""
    if not part.z.size:
        return None
    low = _lowest_tip_over(form, moves, i, part.x)
    tops = part.z.max(axis=1)
    if moves.start[i, 1] == moves.end[i, 1] and (moves.plane[i] == 18 or moves.kind[i] < 2):
        low = low + form.heights((part.y - moves.start[i, 1]) ** 2)
    rows = np.flatnonzero(tops > low)
    if not rows.size:
        return None
    kept = slice(int(rows[0]), int(rows[-1]) + 1)
    return Heightmap(part.x, part.y[kept], part.z[kept])


def _lowest_tip_over(form: ToolProfile, moves: Moves, i: int, x: Floats) -> float | Floats:
    """Lowest tip of a move while the tool can reach any of the places x."""
    near, far = float(x[0]) - form.radius, float(x[-1]) + form.radius
    start, end = moves.start[i], moves.end[i]
    if moves.kind[i] < ARC:
        if start[0] == end[0]:
            return float(min(start[2], end[2]))
        t = np.clip((np.array((near, far)) - start[0]) / (end[0] - start[0]), 0.0, 1.0)
        return float((start[2] + (end[2] - start[2]) * t).min())
    turn, rise, _ = plane_arc_of(moves, i)
    if moves.plane[i] == 18:
        return envelope.lowest_on_arc(turn.swapped(), near, far)
    if moves.plane[i] == 19:
        return envelope.lowest_on_arc(turn, -np.inf, np.inf)
    return min(rise)


def _cut_block(
    form: ToolProfile, moves: Moves, i: int, patch: Heightmap | None
) -> tuple[float, Floats]:
    """Lower a block by one move; the greatest height cut away and where."""
    if patch is None:
        return 0.0, _NOWHERE
    sunk = swept_heights(form, moves, i, patch.x, patch.y)
    off = patch.z - sunk
    at = int(off.argmax())
    if not off.flat[at] > 0:
        return 0.0, _NOWHERE
    row, column = divmod(at, len(patch.x))
    place = np.array([patch.x[column], patch.y[row], sunk[row, column]])
    np.minimum(patch.z, sunk, out=patch.z)
    return float(off.flat[at]), place


def _body_contacts(
    solid: ToolBody, moves: Moves, i: int, patch: Heightmap | None
) -> Iterator[Contact]:
    """The contact of a tool body with the patch during one move, if there is one."""
    if patch is None:
        return
    deep = patch.z - (swept_heights(solid.form, moves, i, patch.x, patch.y) + solid.above)
    at = int(deep.argmax())
    row, column = divmod(at, len(patch.x))
    if deep.flat[at] > TOUCH:
        where = (float(patch.x[column]), float(patch.y[row]), float(patch.z[row, column]))
        yield Contact(what=solid.what, move=i, deep=float(deep.flat[at]), at=where)


def swept_heights(form: ToolProfile, moves: Moves, i: int, x: Floats, y: Floats) -> Floats:
    """Lowest heights of move i over the grid x (nx,), y (ny,): (ny, nx), inf where untouched."""
    if moves.kind[i] < ARC:
        return envelope.line_envelope(form, _triple(moves.start[i]), _triple(moves.end[i]), x, y)
    turn, rise, axes = plane_arc_of(moves, i)
    plane = int(moves.plane[i])
    simple = form.radius in (form.flat, form.ball)
    if rise[0] != rise[1] or (plane != 17 and not simple):
        return _envelope_of_points(form, envelope.arc_points(turn, rise, axes), x, y)
    if plane == 17:
        return envelope.level_arc_envelope(form, turn, rise[0], x, y)
    upright = envelope.upright_ball_envelope if form.ball else envelope.upright_flat_envelope
    if plane == 19:
        return upright(form.radius, turn, y, x - rise[0]).T
    return upright(form.radius, turn.swapped(), x, y - rise[0])  # Z, X to u = x, z


def _envelope_of_points(form: ToolProfile, points: Floats, x: Floats, y: Floats) -> Floats:
    """Lowest heights of a chain of straight moves, each tried only near itself."""
    out = np.full((len(y), len(x)), np.inf)
    whole = Heightmap(x, y, out)
    low, high = np.minimum(points[:-1], points[1:]), np.maximum(points[:-1], points[1:])
    near = np.ones(len(low), dtype=bool)
    for axis, places in enumerate((x, y)):
        near &= low[:, axis] - form.radius <= places[-1]
        near &= high[:, axis] + form.radius >= places[0]
    for i in np.flatnonzero(near):
        a, b = points[i], points[i + 1]
        patch = _patch(whole, low[i], high[i], form.radius, 0.0)
        if patch is not None:
            sunk = envelope.line_envelope(form, _triple(a), _triple(b), patch.x, patch.y)
            np.minimum(patch.z, sunk, out=patch.z)
    return out


def _triple(p: Floats) -> tuple[float, float, float]:
    return float(p[0]), float(p[1]), float(p[2])
