"""Replay: each move lowers the field of heights by the exact envelope of its tool.

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
from blankcam.replay import envelope, polyline
from blankcam.replay.heightmap import Field
from blankcam.replay.motions import Kind, Moves, box, turn_of
from blankcam.replay.tool_profile import Form, flat, of_tool

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

RAPID, ARC = int(Kind.RAPID), int(Kind.ARC_CW)  # plain numbers: asked once a move
TOUCH = 0.001
"""mm; less than this is not called contact."""
SIDE = 0.005
"""mm; so much thinner are bodies taken, so that a wall just cut is not called touched."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """A part of a tool that touches what it must not."""

    what: str
    """``rapid``, ``body``, ``shank`` or ``holder``."""
    move: int
    """Index of the move."""
    deep: float
    """How far, mm."""
    at: tuple[float, float, float]
    """Where, in the axes of the field."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Swept:
    """What a replay saw, besides the field it lowered."""

    depth: Floats
    """(n,) the greatest height each move took off, mm, 0 where none."""
    place: Floats
    """(n, 3) where that was; the height is what was left."""
    contacts: tuple[Contact, ...]


@dataclass(frozen=True, slots=True)
class _Solid:
    what: str
    form: Form
    above: float
    """Its lower face over the tip."""


def solids(tool: Tool, profile: Profile) -> tuple[_Solid, ...]:
    """The parts of a tool in its holder that don't cut."""
    return (
        _Solid("body", flat(tool.radius - SIDE), tool.flute_length),
        _Solid("shank", flat(tool.shank / 2 - SIDE), tool.reach),
        _Solid("holder", flat(profile.holder_diameter / 2 - SIDE), tool.stick_out),
    )


def replay(field: Field, moves: Moves, tools: Mapping[int, Tool], profile: Profile) -> Swept:
    """Carry out the moves on the field, in place.

    Moves with an unknown start or tool are left out; the reader and the verdict have faulted them.
    """
    depth, place = np.zeros(len(moves)), np.full((len(moves), 3), np.nan)
    contacts: list[Contact] = []
    low, high = box(moves)
    forms = {n: of_tool(t) for n, t in tools.items()}
    bodies = {n: solids(t, profile) for n, t in tools.items()}
    wide = {n: max(f.radius, *(s.form.radius for s in bodies[n])) for n, f in forms.items()}
    top = float(field.z.max(initial=-np.inf))
    balls = {n: f.radius for n, f in forms.items() if f.ball == f.radius}
    strips = polyline.chained(moves, balls)
    near = _near(field, moves, wide, top)
    under = {n: min((s.above for s in b if s.form.radius > 0), default=np.inf)
             for n, b in bodies.items()}  # fmt: skip
    alone = low[:, 2] + polyline.by_tool(moves, under) < top - TOUCH
    fit = near & ~alone
    radius = polyline.by_tool(moves, {n: f.radius for n, f in forms.items()})
    reach = polyline.reached(field, moves, strips, radius)
    runs = {int(r.moves[0]): r for r in polyline.runs(moves, strips, reach, fit)}
    taken = {int(i) for r in runs.values() for i in r.moves}
    for i in np.flatnonzero(near).tolist():
        number = int(moves.tool[i])
        if i in runs:
            ids = runs[i].moves
            depth[ids], place[ids] = polyline.lower_run(field, forms[number], moves, runs[i])
        if i in taken:
            continue
        for solid in bodies[number]:
            if low[i, 2] + solid.above < top - TOUCH:
                patch = _patch(field, low[i], high[i], solid.form.radius, solid.above)
                contacts.extend(_touch(solid, moves, i, patch))
        depth[i], place[i] = _cut(field, forms[number], moves, i, reach.window(i))
        if moves.kind[i] == RAPID and depth[i] > TOUCH:
            contacts.append(Contact(what="rapid", move=i, deep=depth[i], at=_triple(place[i])))
    return Swept(depth=depth, place=place, contacts=tuple(contacts))


def _near(field: Field, moves: Moves, wide: Mapping[int, float], top: float) -> Bools:
    """Whether each move may reach the field at all, (n,)."""
    if not field.z.size or not len(moves):
        return np.zeros(len(moves), dtype=bool)
    low, high = box(moves)
    reach = np.array([wide.get(int(t), -1.0) for t in moves.tool])
    ok = moves.known & (reach >= 0) & (low[:, 2] < top)
    for axis, places in enumerate((field.x, field.y)):
        ok &= (low[:, axis] - reach <= places[-1]) & (high[:, axis] + reach >= places[0])
    return np.asarray(ok)


def _patch(field: Field, low: Floats, high: Floats, radius: float, above: float) -> Field | None:
    """The part of the field under a move, sharing its heights; None where nothing stands up."""
    if radius <= 0:
        return None
    rows, columns = field.window(low[:2] - radius, high[:2] + radius)
    part = field.z[rows, columns]
    if not part.size or part.max() <= low[2] + above:
        return None
    return Field(field.x[columns], field.y[rows], part)


_NOWHERE = np.full(3, np.nan)
BLOCK = 40_000
"""Cells worked on at once: they should stay in the processor's cache."""


def _cut(field: Field, form: Form, moves: Moves, i: int, window: tuple[slice, slice]
         ) -> tuple[float, Floats]:  # fmt: skip
    """Lower the field by one move; the greatest height taken and its place."""
    rows, columns = window
    best: tuple[float, Floats] = (0.0, _NOWHERE)
    step = max(32, BLOCK // max(1, rows.stop - rows.start))
    for start in range(columns.start, columns.stop, step):
        block = slice(start, min(start + step, columns.stop))
        part = Field(field.x[block], field.y[rows], field.z[rows, block])
        found = _cut_block(form, moves, i, _worth(form, moves, i, part))
        best = max(best, found, key=lambda f: f[0])
    return best


def _worth(form: Form, moves: Moves, i: int, part: Field) -> Field | None:
    """The rows of a block that stand up into a move; None where none does."""
    if not part.z.size:
        return None
    low = _low_over(form, moves, i, part.x)
    tops = part.z.max(axis=1)
    if moves.start[i, 1] == moves.end[i, 1] and (moves.plane[i] == 18 or moves.kind[i] < 2):
        low = low + form.heights((part.y - moves.start[i, 1]) ** 2)
    rows = np.flatnonzero(tops > low)
    if not rows.size:
        return None
    kept = slice(int(rows[0]), int(rows[-1]) + 1)
    return Field(part.x, part.y[kept], part.z[kept])


def _low_over(form: Form, moves: Moves, i: int, x: Floats) -> float | Floats:
    """Lowest tip of a move while it can reach any of the places x."""
    near, far = float(x[0]) - form.radius, float(x[-1]) + form.radius
    start, end = moves.start[i], moves.end[i]
    if moves.kind[i] < ARC:
        if start[0] == end[0]:
            return float(min(start[2], end[2]))
        t = np.clip((np.array((near, far)) - start[0]) / (end[0] - start[0]), 0.0, 1.0)
        return float((start[2] + (end[2] - start[2]) * t).min())
    turn, rise, _ = turn_of(moves, i)
    if moves.plane[i] == 18:
        return envelope.lowest_between(turn.swapped(), near, far)
    if moves.plane[i] == 19:
        return envelope.lowest_between(turn, -np.inf, np.inf)
    return min(rise)


def _cut_block(form: Form, moves: Moves, i: int, patch: Field | None) -> tuple[float, Floats]:
    """Lower a block by one move; the greatest height taken and its place."""
    if patch is None:
        return 0.0, _NOWHERE
    sunk = lowest(form, moves, i, patch.x, patch.y)
    off = patch.z - sunk
    at = int(off.argmax())
    if not off.flat[at] > 0:
        return 0.0, _NOWHERE
    row, column = divmod(at, len(patch.x))
    place = np.array([patch.x[column], patch.y[row], sunk[row, column]])
    np.minimum(patch.z, sunk, out=patch.z)
    return float(off.flat[at]), place


def _touch(solid: _Solid, moves: Moves, i: int, patch: Field | None) -> Iterator[Contact]:
    """Whether a solid part of the tool runs into the patch during one move."""
    if patch is None:
        return
    deep = patch.z - (lowest(solid.form, moves, i, patch.x, patch.y) + solid.above)
    at = int(deep.argmax())
    row, column = divmod(at, len(patch.x))
    if deep.flat[at] > TOUCH:
        where = (float(patch.x[column]), float(patch.y[row]), float(patch.z[row, column]))
        yield Contact(what=solid.what, move=i, deep=float(deep.flat[at]), at=where)


def lowest(form: Form, moves: Moves, i: int, x: Floats, y: Floats) -> Floats:
    """Lowest heights of move i over the grid x (nx,), y (ny,): (ny, nx), inf where untouched."""
    if moves.kind[i] < ARC:
        return envelope.line(form, _triple(moves.start[i]), _triple(moves.end[i]), x, y)
    turn, rise, axes = turn_of(moves, i)
    plane = int(moves.plane[i])
    simple = form.radius in (form.flat, form.ball)
    if rise[0] != rise[1] or (plane != 17 and not simple):
        return _chain(form, envelope.chords(turn, rise, axes), x, y)
    if plane == 17:
        return envelope.level_arc(form, turn, rise[0], x, y)
    upright = envelope.upright_ball if form.ball else envelope.upright_flat
    if plane == 19:
        return upright(form.radius, turn, y, x - rise[0]).T
    return upright(form.radius, turn.swapped(), x, y - rise[0])  # Z, X to u = x, z


def _chain(form: Form, points: Floats, x: Floats, y: Floats) -> Floats:
    """The least over a chain of straight moves, each only over its own surroundings."""
    out = np.full((len(y), len(x)), np.inf)
    whole = Field(x, y, out)
    low, high = np.minimum(points[:-1], points[1:]), np.maximum(points[:-1], points[1:])
    near = np.ones(len(low), dtype=bool)
    for axis, places in enumerate((x, y)):
        near &= low[:, axis] - form.radius <= places[-1]
        near &= high[:, axis] + form.radius >= places[0]
    for i in np.flatnonzero(near):
        a, b = points[i], points[i + 1]
        patch = _patch(whole, low[i], high[i], form.radius, 0.0)
        if patch is not None:
            sunk = envelope.line(form, _triple(a), _triple(b), patch.x, patch.y)
            np.minimum(patch.z, sunk, out=patch.z)
    return out


def _triple(p: Floats) -> tuple[float, float, float]:
    return float(p[0]), float(p[1]), float(p[2])
