"""Replay: each move lowers the field of heights by the exact envelope of its tool.

Beside the cutting end each tool has parts that must not touch: its body above the flutes, its
shank, its holder. They are tried against the stock as it stands before the move.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blankcam.machine.profile import Profile
from blankcam.machine.tool import Tool
from blankcam.replay import envelope
from blankcam.replay.field import Field
from blankcam.replay.form import Form, flat, of_tool
from blankcam.replay.moves import PLANE_AXES, Kind, Moves, box

Floats = NDArray[np.float64]
Window = tuple[slice, slice]

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
    wide = {n: max(s.form.radius for s in b) for n, b in bodies.items()}
    top = float(field.z.max(initial=-np.inf))
    for i in _near(field, moves, low, high, {n: max(wide[n], forms[n].radius) for n in tools}, top):
        number = int(moves.tool[i])
        for solid in bodies[number]:
            if low[i, 2] + solid.above < top - TOUCH:
                contacts.extend(_touch(field, moves, i, solid, low[i], high[i]))
        taken = _cut(field, moves, i, forms[number], low[i], high[i])
        if taken is not None:
            depth[i], place[i] = taken
            if moves.kind[i] == Kind.RAPID and depth[i] > TOUCH:
                contacts.append(Contact(what="rapid", move=i, deep=depth[i], at=_triple(place[i])))
    return Swept(depth=depth, place=place, contacts=tuple(contacts))


def _near(field: Field, moves: Moves, low: Floats, high: Floats, wide: Mapping[int, float],
          top: float) -> Iterator[int]:  # fmt: skip
    """Indices of the moves that may reach the field at all."""
    if not field.z.size or not len(moves):
        return
    reach = np.array([wide.get(int(t), -1.0) for t in moves.tool])
    ok = moves.known & (reach >= 0) & (low[:, 2] < top)
    for axis, places in enumerate((field.x, field.y)):
        ok &= (low[:, axis] - reach <= places[-1]) & (high[:, axis] + reach >= places[0])
    yield from (int(i) for i in np.flatnonzero(ok))


def _window(field: Field, low: Floats, high: Floats, radius: float) -> Window:
    return field.window(low[:2] - radius, high[:2] + radius)


def _cut(field: Field, moves: Moves, i: int, form: Form, low: Floats, high: Floats
         ) -> tuple[float, Floats] | None:  # fmt: skip
    """Lower the field by one move; the greatest height taken and its place, or None."""
    rows, columns = _window(field, low, high, form.radius)
    part = field.z[rows, columns]
    if not part.size or part.max() <= low[2]:
        return None
    x, y = field.x[columns], field.y[rows]
    sunk = lowest(form, moves, i, x, y)
    off = part - sunk
    at = int(off.argmax())
    most = float(off.flat[at])
    if not most > 0:
        return None
    row, column = divmod(at, len(x))
    place = np.array([x[column], y[row], sunk[row, column]])
    np.minimum(part, sunk, out=part)
    return most, place


def _touch(field: Field, moves: Moves, i: int, solid: _Solid, low: Floats, high: Floats
           ) -> Iterator[Contact]:  # fmt: skip
    if solid.form.radius <= 0:
        return
    rows, columns = _window(field, low, high, solid.form.radius)
    part = field.z[rows, columns]
    if not part.size or part.max() <= low[2] + solid.above + TOUCH:
        return
    x, y = field.x[columns], field.y[rows]
    deep = part - (lowest(solid.form, moves, i, x, y) + solid.above)
    at = int(deep.argmax())
    row, column = divmod(at, len(x))
    if deep.flat[at] > TOUCH:
        where = (float(x[column]), float(y[row]), float(part[row, column]))
        yield Contact(what=solid.what, move=i, deep=float(deep.flat[at]), at=where)


def lowest(form: Form, moves: Moves, i: int, x: Floats, y: Floats) -> Floats:
    """Lowest heights of move i over the grid x (nx,), y (ny,): (ny, nx), inf where untouched."""
    start, end = _triple(moves.start[i]), _triple(moves.end[i])
    if moves.kind[i] < Kind.ARC_CW:
        return envelope.line(form, start, end, x, y)
    plane, ccw = int(moves.plane[i]), moves.kind[i] == Kind.ARC_CCW
    axes = PLANE_AXES[plane]
    centre = _triple(moves.centre[i])
    simple = form.flat == form.radius or form.ball == form.radius
    if start[axes[2]] != end[axes[2]] or (plane != 17 and not simple):
        return _chain(form, envelope.chords(start, end, centre, ccw, axes), x, y)
    if plane == 17:
        return envelope.level_arc(form, start, end, centre[:2], ccw, x, y)
    upright = envelope.upright_ball if form.ball else envelope.upright_flat
    if plane == 18:  # from Z toward X: the other way round than from u = x toward z
        u, w = x, y - start[1]
        ends = [(p[0], p[2]) for p in (start, end, centre)]
        return upright(form.radius, *ends, not ccw, u, w)
    u, w = y, x - start[0]
    ends = [(p[1], p[2]) for p in (start, end, centre)]
    return upright(form.radius, *ends, ccw, u, w).T


def _chain(form: Form, points: Floats, x: Floats, y: Floats) -> Floats:
    """The least over a chain of straight moves, each only over its own surroundings."""
    out = np.full((len(y), len(x)), np.inf)
    whole = Field(x, y, out)
    for a, b in zip(points[:-1], points[1:], strict=True):
        rows, columns = _window(whole, np.minimum(a, b), np.maximum(a, b), form.radius)
        part = out[rows, columns]
        if part.size:
            sunk = envelope.line(form, _triple(a), _triple(b), x[columns], y[rows])
            np.minimum(part, sunk, out=part)
    return out


def _triple(p: Floats) -> tuple[float, float, float]:
    return float(p[0]), float(p[1]), float(p[2])
