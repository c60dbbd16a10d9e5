"""What the set-up on face leaves, seen on edge.

On face the tool stands along the part's y. A flat tool at the depth y_tip takes away, for every
y up to y_tip, a disc of its radius R in the plane of x and z. Walking up from the seat, material
stands until the first disc: its height is the lower edge of the swept disc, which is the
envelope of a ball of radius R on the path (x, z - R) over the single row through the path, in
closed form (envelope.py). What lies above that is waste, cut off; it falls away or is broken off
at its tabs.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from blankcam.machine.tool import Tool
from blankcam.replay import envelope
from blankcam.replay.field import Field
from blankcam.replay.form import Form, of_tool
from blankcam.replay.moves import Kind, Moves, turn_of

Floats = NDArray[np.float64]
_ROW = np.zeros(1)


def lower_by_face(field: Field, moves: Moves, tools: Mapping[int, Tool]) -> None:
    """Lower an on-edge field (part's axes) by moves made on face (Xm, Ym, Zm), flat tools only.

    A move that slopes is taken at its deepest.
    """
    tip = np.minimum(moves.start[:, 2], moves.end[:, 2])
    cuts = moves.known & (tip < -field.y[0])
    reached = np.full(field.z.shape[1], np.inf)
    rows = np.arange(len(field.y))
    depth = -tip
    for level in sorted(set(depth[cuts].tolist()), reverse=True):
        for i in np.flatnonzero(cuts & (depth == level)):
            tool = tools.get(int(moves.tool[i]))
            if tool is not None:
                _disc(field.x, reached, moves, int(i), tool.radius)
        below = rows[field.y <= level]
        field.z[below] = np.minimum(field.z[below], reached[None, :])


def only_flat(moves: Moves, tools: Mapping[int, Tool]) -> bool:
    """Whether every cutting move is made by a flat tool."""
    used = {int(n) for n in np.unique(moves.tool[moves.cutting])}
    return all((f := of_tool(tools[n])).flat == f.radius for n in used if n in tools)


def _disc(x: Floats, reached: Floats, moves: Moves, i: int, radius: float) -> None:
    """Lower ``reached`` (nx,) by the swept disc of one move."""
    start, end = moves.start[i], moves.end[i]
    form = Form(radius=radius, ball=radius, tangent=radius)
    if moves.kind[i] < Kind.ARC_CW:
        low, high = sorted((float(start[0]), float(end[0])))
        part = slice(*np.searchsorted(x, (low - radius, high + radius)).tolist())
        a = (float(start[0]), 0.0, float(start[1]) - radius)
        b = (float(end[0]), 0.0, float(end[1]) - radius)
        sunk = envelope.line(form, a, b, x[part], _ROW)[0]
    else:
        part = slice(None)
        turn, _, _ = turn_of(moves, i)
        sunk = envelope.upright_ball(radius, turn.lowered(radius), x, _ROW)[0]
    reached[part] = np.minimum(reached[part], sunk)
