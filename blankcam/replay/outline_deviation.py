"""The edge that an outline on face leaves, against the part's outline, by distance.

Seen along the part's y a flat tool that stands on face is a disc. The discs of a path take away
every place no further from the path than their radius, so how far a place of the outline stands
outside them, its distance from the path less the radius, is the error of the cut edge there: more
than nothing where waste is left standing on the part, less where the edge runs inside the part.
Distances to lines and arcs are closed forms; the outline is tried at close places.

Over the top the outline is cut higher than the part, by what the set-up on edge takes off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blankcam.data import table
from blankcam.inputs.tool import Tool
from blankcam.parts.frames import Box
from blankcam.parts.part import Part
from blankcam.parts.stage import Stage
from blankcam.replay import limits
from blankcam.replay.codes import Code
from blankcam.replay.deviation import tabs_up_to
from blankcam.replay.findings import Collector
from blankcam.replay.motions import Moves, arc_angles
from blankcam.replay.polyline import value_by_tool
from blankcam.replay.reader import ParsedProgram

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

APART = 0.05
"""mm between places; the chord of an arc of 50 mm radius is 6 nm off its middle."""
NEAR = 1.0
"""mm; moves farther away than this are tried only where no nearer one is found."""
AT_ONCE = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeDeviation:
    """Where a cut edge is off the outline most."""

    amount: float
    """mm, positive stands out."""
    program: ParsedProgram
    move: int
    """Index of the move whose disc is nearest there."""
    at: tuple[float, float]
    """x and z in the part's frame."""


def outline_places(part: Part, stage: Stage, leave: float) -> Floats:
    """Places (n, 2) in x and z: up the left end, over the top and down the right end."""
    x = np.linspace(0.0, part.length, round(part.length / APART) + 2)
    z = np.asarray(part.at(stage).top.height(x)) + leave
    ends = []
    for at, high in ((0.0, z[0]), (part.length, z[-1])):
        up = np.linspace(0.0, high, round(high / APART) + 2)
        ends.append(np.column_stack((np.full_like(up, at), up)))
    return np.vstack((ends[0][:-1], np.column_stack((x, z)), ends[1][-2::-1]))


def distance_outside(at: Floats, moves: Moves, radius: Floats) -> tuple[Floats, Ints]:
    """How far places (n, 2) stand outside all the discs, negative inside, and the nearest's move.

    ``radius`` (m,) is each move's, moves with a height of any kind; their arcs are level.
    """
    off, who = np.full(len(at), np.inf), np.full(len(at), -1)
    low, high = (f(moves.start[:, :2], moves.end[:, :2]) for f in (np.minimum, np.maximum))
    bulge = np.where(moves.is_arc, 2 * np.hypot(*(moves.start - moves.centre)[:, :2].T), 0.0)
    reach = (radius + bulge + NEAR)[:, None]
    low, high = low - reach, high + reach
    for begin in range(0, len(moves), AT_ONCE):
        some = slice(begin, begin + AT_ONCE)
        near = ((at >= low[some].min(axis=0)) & (at <= high[some].max(axis=0))).all(axis=1)
        _update_nearest(at, np.flatnonzero(near), moves.part(some), radius[some], (off, who, begin))
    for begin in range(0, len(moves), AT_ONCE):
        far = np.flatnonzero(off > NEAR)
        if far.size:
            some = slice(begin, begin + AT_ONCE)
            _update_nearest(at, far, moves.part(some), radius[some], (off, who, begin))
    return off, who


def _update_nearest(at: Floats, pick: Ints, moves: Moves, radius: Floats,
            so_far: tuple[Floats, Ints, int]) -> None:  # fmt: skip
    """Take some more moves into account for the picked places."""
    if not pick.size:
        return
    off, who, begin = so_far
    found = path_distances(at[pick], moves) - radius[None, :]
    best = found.argmin(axis=1)
    least = found[np.arange(len(pick)), best]
    better = least < off[pick]
    off[pick[better]], who[pick[better]] = least[better], begin + best[better]


def path_distances(at: Floats, moves: Moves) -> Floats:
    """Distance of places (n, 2) from the paths of level moves in plan, (n, m)."""
    start, end = moves.start[:, :2], moves.end[:, :2]
    step = end - start
    square = np.maximum((step**2).sum(axis=1), 1e-30)
    from_start = at[:, None, :] - start[None, :, :]
    share = np.clip((from_start * step).sum(axis=2) / square, 0.0, 1.0)
    out = np.linalg.norm(from_start - share[..., None] * step, axis=2)
    pick = moves.is_arc
    if pick.any():
        first, sweep, arm = arc_angles(moves, pick, 0, 1)
        away = at[:, None, :] - moves.centre[None, pick, :2]
        turned = (np.arctan2(away[..., 1], away[..., 0]) - first) * np.sign(sweep) % (2 * np.pi)
        beside = np.abs(np.hypot(away[..., 0], away[..., 1]) - arm)
        to_ends = np.minimum(
            np.linalg.norm(at[:, None, :] - start[None, pick], axis=2),
            np.linalg.norm(at[:, None, :] - end[None, pick], axis=2),
        )
        out[:, pick] = np.where(turned <= np.abs(sweep), beside, to_ends)
    return np.asarray(out)


def judge_outline(part: Part, stage: Stage, stock: Box, programs: Sequence[ParsedProgram],
          tools: Mapping[int, Tool], found: Collector) -> None:  # fmt: skip
    """Fault an edge that the programs on face leave off the part's outline.

    Nowhere may a cut run inside it. Where a cut goes through the part's thickness the outline is
    to be cut all around, except below the height of tabs and outside the blank. Programs that cut
    no deeper than the part's face are not judged.
    """
    allowed = table("proof")["limits"]
    at = outline_places(part, stage, table("limits")["outline"]["leave"])
    used = {int(n) for p in programs for n in np.unique(p.moves.tool)}
    tabs = tabs_up_to(t.radius for n, t in tools.items() if n in used)
    inside = (at[:, 1] > tabs) & (at[:, 1] < stock.z1)
    inside &= (at[:, 0] > stock.x0) & (at[:, 0] < stock.x1)
    cuts = [_outline_cuts(p, tools, allowed["outline"]) for p in programs]
    deep = [c.pick(c.highest <= 1e-6 - part.thickness) for c in cuts]
    for sign, given, judged in ((-1.0, cuts, at[:, 1] > 0), (1.0, deep, inside)):
        worst = _worst_deviation(at[judged], given, sign)
        if worst is not None and sign * worst.amount > allowed["outline"]:
            what = "runs inside the part (-)" if sign < 0 else "leaves the part too large (+)"
            x, z = worst.at
            said = limits.Excess(Code.OUTLINE, f"the outline {what}, mm", worst.amount,
                               allowed["outline"], (x, part.thickness if sign > 0 else 0.0, z)
                               )  # fmt: skip
            found.program = worst.program.name
            limits.report_move(found, worst.program, worst.move, said)
            found.program = ""


@dataclass(frozen=True, slots=True)
class _Cuts:
    """Level moves of a program that cut, their tools' radii, and which of its moves they are."""

    program: ParsedProgram
    moves: Moves
    radius: Floats
    which: Ints

    @property
    def highest(self) -> Floats:
        return np.asarray(np.maximum(self.moves.start[:, 2], self.moves.end[:, 2]))

    def pick(self, mask: NDArray[np.bool_]) -> _Cuts:
        return _Cuts(self.program, self.moves.where(mask), self.radius[mask], self.which[mask])


def _outline_cuts(program: ParsedProgram, tools: Mapping[int, Tool], limit: float) -> _Cuts:
    """The moves deeper than the part's face; arcs that stand upright are faulted elsewhere."""
    moves = program.moves
    radius = value_by_tool(moves, {n: t.radius for n, t in tools.items()})
    low = np.minimum(moves.start[:, 2], moves.end[:, 2])
    kept = moves.known & (radius > 0) & (low < -limit) & ~(moves.is_arc & (moves.plane != 17))
    return _Cuts(program, moves.where(kept), radius[kept], np.flatnonzero(kept))


def _worst_deviation(at: Floats, given: Sequence[_Cuts], sign: float) -> EdgeDeviation | None:
    """Where the edge stands out most (sign +1) or runs deepest inside (-1)."""
    given = [c for c in given if len(c.moves)]
    if not given or not len(at):
        return None
    found = [distance_outside(at, c.moves, c.radius) for c in given]
    off = np.array([f[0] for f in found])
    i = int((sign * off.min(axis=0)).argmax())
    one = int(off[:, i].argmin())
    move = int(given[one].which[found[one][1][i]])
    place = (float(at[i, 0]), float(at[i, 1]))
    return EdgeDeviation(amount=float(off[one, i]), program=given[one].program, move=move, at=place)
