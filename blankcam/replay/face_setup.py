"""The stock that the set-up on face leaves, seen on edge.

On face the tool stands along the part's y. A flat tool at the depth y_tip takes away, for every
y up to y_tip, a disc of its radius R in the plane of x and z. Walking up from the middle of the
part, material stands until the first disc: its height is the lower edge of the swept disc, which
is the envelope of a ball of radius R on the path (x, z - R) over the single row through the path,
in closed form (envelope.py); walking down, the upper edge in the same way. What lies beyond is
waste: it falls away or is broken off at its tabs before the blank is turned.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from blankcam.inputs.tool import Tool
from blankcam.replay import envelope
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.motions import MoveKind, Moves, plane_arc_of
from blankcam.replay.tool_profile import ToolProfile, tool_profile_of

Floats = NDArray[np.float64]
_ROW = np.zeros(1)


def lower_by_face(
    heightmap: Heightmap, moves: Moves, tools: Mapping[int, Tool], middle: float, skin: float = 0.0
) -> Floats:
    """Lower an on-edge heightmap (part's axes) by moves made on face (Xm, Ym, Zm), flat tools only.

    ``middle`` is a height that is inside the part all along it: a disc wholly below it comes from
    the seat side. Gives the highest that such discs reach over each x, (nx,), -inf without any. A
    move that slopes is taken at its deepest; one no deeper than ``skin`` is left to ``thin``.
    """
    return lower_all_by_face((heightmap,), moves, tools, middle, skin)[0]


def lower_all_by_face(
    heightmaps: Sequence[Heightmap],
    moves: Moves,
    tools: Mapping[int, Tool],
    middle: float,
    skin: float = 0.0,
) -> tuple[Floats, ...]:
    """The same for several heightmaps at once: what the discs reach is worked out once
    for all x.
    """
    # The closed forms want rising places: those of all the heightmaps, each once
    x, place = np.unique(np.concatenate([f.x for f in heightmaps]), return_inverse=True)
    parts = np.split(place, np.cumsum([len(f.x) for f in heightmaps])[:-1])
    tip = np.minimum(moves.start[:, 2], moves.end[:, 2])
    depth = np.where(moves.known, -tip, -np.inf)
    rows = np.unique(np.concatenate([f.y for f in heightmaps]))
    # Every row that moves of one depth still reach, they all reach: the deepest rows come first
    level = np.searchsorted(rows, depth, side="right")
    reached, seat = np.full(len(x), np.inf), np.full(len(x), -np.inf)
    done: set[tuple[float, ...]] = set()
    order = sorted(set(level[depth > skin].tolist()), reverse=True)
    for at, below in itertools.pairwise((*order, 0)):
        for i in np.flatnonzero((level == at) & (depth > skin)).tolist():
            tool = tools.get(int(moves.tool[i]))
            if tool is not None and (way := _path_in_plan(moves, i)) not in done:
                done.add(way)
                low = _swept_edge(x, moves, i, tool.radius, 1.0)
                high = -_swept_edge(x, moves, i, tool.radius, -1.0)
                from_seat = high < middle
                np.minimum(reached, np.where(from_seat, np.inf, low), out=reached)
                np.maximum(seat, np.where(from_seat, high, -np.inf), out=seat)
        if at:
            for heightmap, part in zip(heightmaps, parts, strict=True):
                first = np.searchsorted(heightmap.y, rows[below - 1], side="right") if below else 0
                some = heightmap.z[first : np.searchsorted(heightmap.y, rows[at - 1], side="right")]
                np.minimum(some, reached[part], out=some)
    return tuple(seat[part] for part in parts)


def _path_in_plan(moves: Moves, i: int) -> tuple[float, ...]:
    """A move in plan with its tool; another with the same path in plan reaches just as far."""
    places = (p[i, :2].tolist() for p in (moves.start, moves.end, moves.centre))
    return (*itertools.chain(*places), float(moves.kind[i]), float(moves.tool[i]))


def lower_by_milled_face(heightmap: Heightmap, face: Heightmap) -> None:
    """Lower an on-edge heightmap, below y 0, by what was milled off the blank's face.

    ``face`` has the axes of the machine: x, the part's z along y, and -y as its height. A row of
    the on-edge heightmap keeps the highest place at which the face still stands over that row.
    """
    if not (heightmap.y < 0).any():
        return
    columns = np.abs(face.x[None, :] - heightmap.x[:, None]).argmin(axis=1)
    half = float(face.y[1] - face.y[0]) / 2
    for row in np.flatnonzero(heightmap.y < 0):
        stands = face.z > -heightmap.y[row]
        last = len(face.y) - 1 - stands[::-1].argmax(axis=0)
        high = np.where(stands.any(axis=0), face.y[last] + half, -np.inf)
        heightmap.z[row] = np.minimum(heightmap.z[row], high[columns])


def drop_waste(heightmap: Heightmap, middle: float, centre: float) -> None:
    """Take away the columns beyond a cut below ``middle`` on either side of the part's centre."""
    cut = np.asarray((heightmap.z < middle).all(axis=0))
    left = np.asarray(heightmap.x < centre)
    right = ~left
    beyond = np.zeros(len(heightmap.x), dtype=bool)
    beyond[left] = np.logical_or.accumulate(cut[left][::-1])[::-1]
    beyond[right] = np.logical_or.accumulate(cut[right])
    heightmap.z[:, beyond & ~cut] = -np.inf


def uses_only_flat_tools(moves: Moves, tools: Mapping[int, Tool]) -> bool:
    """Whether every cutting move is made by a flat tool."""
    used = {int(n) for n in np.unique(moves.tool[moves.cutting])}
    return all((f := tool_profile_of(tools[n])).flat == f.radius for n in used if n in tools)


def _swept_edge(x: Floats, moves: Moves, i: int, radius: float, sign: float) -> Floats:
    """Lower edge of a swept disc over x, or, with sign -1, the upper edge looked at upside down."""
    start, end = moves.start[i], moves.end[i]
    if moves.kind[i] < MoveKind.ARC_CW:
        form = ToolProfile(radius=radius, ball=radius, tangent=radius)
        a = (float(start[0]), 0.0, sign * float(start[1]) - radius)
        b = (float(end[0]), 0.0, sign * float(end[1]) - radius)
        sunk: Floats = envelope.line_envelope(form, a, b, x, _ROW)[0]
        return sunk
    turn, _, _ = plane_arc_of(moves, i)
    if sign < 0:
        turn = turn.upside_down()
    edge: Floats = envelope.upright_ball_envelope(radius, turn.lowered(radius), x, _ROW)[0]
    return edge
