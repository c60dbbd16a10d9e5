"""Passes on a slope slowed to what the machine's Z and the plunging feed allow."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence

from blankcam.inputs.machine_file import PRINTED
from blankcam.parts.frames import Place
from blankcam.toolpath.moves import ArcMove, LineMove, Move, Note

ROUNDED = max(PRINTED.values())
"""mm by which two printed places may lie further apart along an axis."""


def slowed(moves: Sequence[Move], most: float, plunge: float) -> Iterator[Move]:
    """The moves, those on a slope slowed so that Z keeps to the machine's feed, ``most``.

    Downhill Z keeps to ``plunge`` as well: a rough layer goes down into stock there.
    """
    at: Place = (math.nan, math.nan, math.nan)
    for move in moves:
        if isinstance(move, (LineMove, ArcMove)):
            up, down = _steepest(at, move)
            feed = min(move.feed, most / up if up > 0 else math.inf,
                       min(most, plunge) / down if down > 0 else math.inf)  # fmt: skip
            yield dataclasses.replace(move, feed=feed) if feed < move.feed else move
            at = move.to
            continue
        if not isinstance(move, Note):
            at = move.to
        yield move


def _share_as_printed(start: Place, to: Place) -> float:
    """The share of a straight move's speed that is Z's, as steep as printing may make it."""
    rise, across = to[2] - start[2], math.dist(start[:2], to[:2])
    if rise == 0 or math.isnan(rise):
        return rise
    high = abs(rise) + ROUNDED
    return math.copysign(high / math.hypot(max(across - math.sqrt(2) * ROUNDED, 0.0), high), rise)


def _steepest(start: Place, move: LineMove | ArcMove) -> tuple[float, float]:
    """The greatest shares of a move's speed that are Z's, upward and downward.

    An arc in G18 that stays a graph over x is steepest at its ends.
    """
    if isinstance(move, LineMove):
        rise = _share_as_printed(start, move.to)
        return max(rise, 0.0), max(-rise, 0.0)
    if move.plane != "G18":
        return 0.0, 0.0
    middle = (move.centre[1], move.centre[0])
    radius = math.dist((start[0], start[2]), middle)
    over = 1.0 if start[2] + move.to[2] > 2 * middle[1] else -1.0
    ahead = math.copysign(over, over * (move.to[0] - start[0]))
    rises = [-ahead * (x - middle[0]) / radius for x in (start[0], move.to[0])]
    return max(*rises, 0.0), max(*(-r for r in rises), 0.0)
