"""What a machine with known errors makes of a program: from where it is told to where it goes.

Each axis goes ``1 + scale`` times as far as it is told, and has play: X and Y are true when they
last moved up and stand ``backlash`` high after they have moved down; Z, whose weight rests on it,
is true on its way down and stays ``backlash`` low on its way up. (Zero is touched the same way: X
and Y on the way up, Z on the way down.) A tool's tip stands ``z_offset`` higher than reckoned.
Where the program does not say how the machine came to a place, it came the less lucky way.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from blankcam.inputs.machine import AxisError, Profile
from blankcam.replay.envelope import arc_points
from blankcam.replay.motions import MoveKind, Moves, plane_arc_of
from blankcam.replay.polyline import value_by_tool
from blankcam.replay.reader import ParsedProgram

Floats = NDArray[np.float64]

DOWNWARD = (False, False, True)
"""Whether X, Y and Z are true on their way down, else on their way up."""
PRINTED = 2e-4
"""mm: so far a place may be off for being printed with four decimals."""
SHORT = 1e-9
"""mm of play that is none, so that rounding makes no moves."""


def as_moved(program: ParsedProgram, profile: Profile) -> ParsedProgram:
    """The program with its moves as the machine really makes them; arcs become short lines."""
    moves, events = program.moves, program.events
    if not profile.moves_true:
        flat, first = _without_arcs(moves)
        moves, after = _with_play(flat, profile.errors.each)
        count = [0, *np.cumsum(np.bincount(after, minlength=len(flat))).tolist()]
        events = tuple(dataclasses.replace(e, moves=count[first[e.moves]]) for e in events)
    lifted = _lifted(moves, {t.number: t.z_offset for t in profile.tools if t.z_offset})
    return dataclasses.replace(program, moves=lifted, events=events)


def _lifted(moves: Moves, offsets: dict[int, float]) -> Moves:
    """The moves with every tool's tip as much higher as it really is."""
    if not offsets or not len(moves):
        return moves
    up = np.zeros((len(moves), 3))
    up[:, 2] = value_by_tool(moves, {t: offsets.get(t, 0.0) for t in set(moves.tool.tolist())})
    return dataclasses.replace(
        moves, start=moves.start + up, end=moves.end + up, centre=moves.centre + up
    )


def _without_arcs(moves: Moves) -> tuple[Moves, list[int]]:
    """The moves, arcs as chords; and which of them is the first of each old one, and the end."""
    which: list[int] = []
    starts: list[Floats] = []
    ends: list[Floats] = []
    first = [0]
    arcs = set(np.flatnonzero(moves.is_arc & moves.known).tolist())
    for i in range(len(moves)):
        way = np.array((moves.start[i], moves.end[i]))
        if i in arcs:
            way = arc_points(*plane_arc_of(moves, i))
        starts.extend(way[:-1])
        ends.extend(way[1:])
        which.extend([i] * (len(way) - 1))
        first.append(len(which))
    kinds = np.where(moves.is_arc, int(MoveKind.LINE), moves.kind)
    return _rows(moves, which, starts, ends, kinds), first


def _rows(
    moves: Moves,
    which: Sequence[int],
    starts: Sequence[Floats],
    ends: Sequence[Floats],
    kinds: NDArray[np.int64],
) -> Moves:
    """Moves from starts to ends, each with everything else of the old one it is a part of."""
    picked = dataclasses.replace(moves, kind=kinds).part(slice(0, 0))
    if which:
        at = np.array(which)
        every = {f.name: getattr(moves, f.name)[at] for f in dataclasses.fields(moves)}
        picked = Moves(**every | {"kind": kinds[at]})
    return dataclasses.replace(
        picked,
        start=np.array(starts, dtype=float).reshape(-1, 3),
        end=np.array(ends, dtype=float).reshape(-1, 3),
    )


def _with_play(moves: Moves, errors: Sequence[AxisError]) -> tuple[Moves, NDArray[np.int64]]:
    """The moves as axes with scale and play make them, and which of the old ones each is of.

    A straight move becomes several where an axis begins to follow in the middle of it.
    """
    axes = [_PlayedAxis(e, down) for e, down in zip(errors, DOWNWARD, strict=True)]
    which: list[int] = []
    starts: list[Floats] = []
    ends: list[Floats] = []
    shares: list[float] = []
    at = [math.nan] * 3
    for i in range(len(moves)):
        told, to = moves.start[i].tolist(), moves.end[i].tolist()
        length = math.dist(told, to)
        at = [axis.known(t, r) for axis, t, r in zip(axes, told, at, strict=True)]
        for place in _stretches(axes, at, told, to):
            starts.append(np.array(at))
            ends.append(np.array(place[1]))
            shares.append(_slower(math.dist(at, place[1]), length * place[0]))
            which.append(i)
            at = place[1]
    made = _rows(moves, which, starts, ends, moves.kind)
    feed = made.feed * np.array(shares, dtype=float)
    return dataclasses.replace(made, feed=feed), np.array(which, dtype=np.int64)


def _slower(real: float, told: float) -> float:
    """By which share of its feed the tip goes while an axis takes up its play."""
    return real / told if SHORT < real < told else 1.0


@dataclasses.dataclass(frozen=True, slots=True)
class _PlayedAxis:
    """One axis: how far it goes, and between where it may stand when it is told a place."""

    error: AxisError
    down: bool

    def known(self, told: float, real: float) -> float:
        """Where it stands before a move: as it was left, or after coming the less lucky way."""
        if math.isnan(told):
            return math.nan
        low, high = self.span(told)
        if math.isnan(real) or not low - SHORT <= real <= high + SHORT:
            return low if self.down else high
        return real

    def span(self, told: float) -> tuple[float, float]:
        """The lowest and highest place where it may stand, mm."""
        play, stretch = self.error.backlash, 1 + self.error.scale
        low, high = (told - play, told) if self.down else (told, told + play)
        return low * stretch, high * stretch

    def moved(self, real: float, told: float) -> float:
        """Where it stands once it is told a place: pushed or dragged no further than it must."""
        low, high = self.span(told)
        return min(max(real, low), high)

    def begins(self, real: float, told: float, to: float) -> float:
        """After which share of a straight move the axis begins to follow; 1 where it does not."""
        way = (to - told) * (1 + self.error.scale)
        if math.isnan(way) or abs(way) <= SHORT:
            return 1.0
        low, high = self.span(told)
        play = (real - low) if way > 0 else (high - real)
        return min(max(play / abs(way), 0.0), 1.0)


def _stretches(
    axes: Sequence[_PlayedAxis], real: list[float], told: list[float], to: list[float]
) -> Iterator[tuple[float, list[float]]]:
    """The places, from one to the next straight, that a straight move really goes through.

    Each with the share of the move that it takes. Play of less than is printed is none.
    """
    length = math.dist(told, to)
    least = PRINTED / length if length > PRINTED else 1.0
    begins = {a.begins(r, t, e) for a, r, t, e in zip(axes, real, told, to, strict=True)}
    before = 0.0
    for share in sorted(b for b in begins if least < b < 1 - least):
        between = [t + share * (e - t) for t, e in zip(told, to, strict=True)]
        real = [a.moved(r, b) for a, r, b in zip(axes, real, between, strict=True)]
        yield share - before, real
        before = share
    yield (
        1 - before,
        [
            a.moved(r, e) if not math.isnan(r) else _arrived(a, e)
            for a, r, e in zip(axes, real, to, strict=True)
        ],
    )


def _arrived(axis: _PlayedAxis, told: float) -> float:
    """Where an axis stands that came from nobody knows where: the less lucky way."""
    return axis.known(told, math.nan)
