"""The moves of a program as the reader gives them to the replay: one array for each property."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from blankcam.replay.envelope import PlaneArc

Span = tuple[float, float]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class MoveKind(IntEnum):
    """Kinds of move, numbered like their G codes."""

    RAPID = 0
    LINE = 1
    ARC_CW = 2
    ARC_CCW = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Moves:
    """n moves in the machine's axes; millimetres, mm/min, rpm.

    ``start``, ``end`` and ``centre`` are (n, 3); an unknown start coordinate is NaN. A centre
    counts in the two axes of its plane only. ``plane`` is 17, 18 or 19, ``spindle`` 1 for M3, -1
    for M4, 0 stopped; ``tool`` is the number in the spindle, 0 for none. ``aloft`` is 1 where a
    move ends at the machine's safe height, whose Z in the program's coordinates is not known (NaN).
    """

    line: Ints
    kind: Ints
    plane: Ints
    start: Floats
    end: Floats
    centre: Floats
    feed: Floats
    speed: Floats
    spindle: Ints
    tool: Ints
    aloft: Ints

    def __len__(self) -> int:
        """How many moves there are."""
        return len(self.line)

    def where(self, mask: NDArray[np.bool_]) -> Moves:
        """The moves for which the mask (n,) is true."""
        return Moves(**{f.name: getattr(self, f.name)[mask] for f in fields(self)})

    def part(self, some: slice) -> Moves:
        """A slice of the moves."""
        return Moves(**{f.name: getattr(self, f.name)[some] for f in fields(self)})

    def shifted(self, zero: tuple[float, float, float]) -> Moves:
        """The same moves in axes whose zero is at that place, mm."""
        by = np.array(zero)
        return replace(self, start=self.start - by, end=self.end - by, centre=self.centre - by)

    @property
    def known(self) -> NDArray[np.bool_]:
        """Whether both ends of each move are known, (n,)."""
        return np.asarray(np.isfinite(np.hstack((self.start, self.end))).all(axis=1))

    @property
    def cutting(self) -> NDArray[np.bool_]:
        """Whether each move is made at feed, (n,)."""
        return np.asarray(self.kind != MoveKind.RAPID)

    @property
    def is_arc(self) -> NDArray[np.bool_]:
        """Whether each move is an arc, (n,)."""
        return np.asarray(self.kind >= MoveKind.ARC_CW)


PLANE_AXES = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}
"""First, second and normal axis of each plane; G2 turns clockwise from first toward second
seen against the normal: NISTIR 6556 §3.5.3 (G18 is ZX)."""


def bounds(moves: Moves) -> tuple[Floats, Floats]:
    """Lowest and highest coordinates of each move's path, two (n, 3) arrays; arcs exactly."""
    low = np.minimum(moves.start, moves.end)
    high = np.maximum(moves.start, moves.end)
    for plane, (a, b, _) in PLANE_AXES.items():
        pick = moves.is_arc & (moves.plane == plane)
        if not pick.any():
            continue
        start, sweep, radius = arc_angles(moves, pick, a, b)
        for quarter in range(4):
            ahead = np.where(
                sweep >= 0,
                (quarter * np.pi / 2 - start) % (2 * np.pi),
                (start - quarter * np.pi / 2) % (2 * np.pi),
            )
            axis, bound = ((a, high), (b, high), (a, low), (b, low))[quarter]
            reach = moves.centre[pick, axis] + (radius if quarter < 2 else -radius)
            bound[pick, axis] = np.where(ahead <= abs(sweep), reach, bound[pick, axis])
    return low, high


def arc_angles(moves: Moves, pick: NDArray[np.bool_], a: int, b: int) -> tuple[Floats, ...]:
    """Start angle, signed sweep and radius of the picked arcs, each (k,)."""
    start, end, centre = moves.start[pick], moves.end[pick], moves.centre[pick]
    first = np.arctan2(start[:, b] - centre[:, b], start[:, a] - centre[:, a])
    last = np.arctan2(end[:, b] - centre[:, b], end[:, a] - centre[:, a])
    turn = (last - first) % (2 * np.pi)
    sweep = np.where(moves.kind[pick] == MoveKind.ARC_CCW, turn, turn - 2 * np.pi)
    radius = np.hypot(start[:, a] - centre[:, a], start[:, b] - centre[:, b])
    return first, sweep, radius


def plane_arc_of(moves: Moves, i: int) -> tuple[PlaneArc, Span, tuple[int, int, int]]:
    """Arc i in its plane, where its normal axis begins and ends, and the plane's axes."""
    axes = PLANE_AXES[int(moves.plane[i])]
    a, b, c = axes
    start, end, centre = (
        (float(p[i, a]), float(p[i, b])) for p in (moves.start, moves.end, moves.centre)
    )
    turn = PlaneArc(start, end, centre, bool(moves.kind[i] == MoveKind.ARC_CCW))
    return turn, (float(moves.start[i, c]), float(moves.end[i, c])), axes
