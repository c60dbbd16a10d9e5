"""Arcs as chords, for controllers that do not know arcs in a plane."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from itertools import pairwise

from blankcam.parts import curve
from blankcam.parts.frames import Place
from blankcam.toolpath.moves import AXES_OF_PLANE, ArcMove, LineMove, Move, Note, Operation

SAGITTA = 0.0012
"""mm a chord may miss its arc, so that with the fit of the arc itself 0.002 mm holds."""
STRAIGHT = 2e-4
"""mm of bow under which an arc is a line."""
FLATTEST = 4000.0
"""mm: the largest radius of an arc; single-precision controllers lose micrometres beyond."""


def without_arcs(operation: Operation, planes: frozenset[str]) -> Operation:
    """The operation with every arc outside ``planes`` walked in chords."""
    moves: list[Move] = []
    at: Place = (0.0, 0.0, 0.0)
    for move in operation.moves:
        if isinstance(move, ArcMove) and move.plane not in planes:
            moves.extend(chords(at, move))
        else:
            moves.append(move)
        if not isinstance(move, Note):
            at = move.to
    return dataclasses.replace(operation, moves=tuple(moves))


def plane_arc(at: Place, move: ArcMove) -> curve.Arc:
    """The arc in its plane, first axis a, second axis b."""
    first, second, _ = AXES_OF_PLANE[move.plane]
    return curve.Arc(
        (at[first], at[second]),
        (move.to[first], move.to[second]),
        move.centre,
        not move.clockwise,
    )


def chords(at: Place, move: ArcMove) -> Iterator[LineMove]:
    """The chords of one arc; the normal axis goes along evenly."""
    first, second, normal = AXES_OF_PLANE[move.plane]
    steps = list(curve.points([plane_arc(at, move)], SAGITTA))[1:]
    for i, (a, b) in enumerate(steps, start=1):
        place = [0.0, 0.0, 0.0]
        place[first], place[second] = a, b
        place[normal] = at[normal] + (move.to[normal] - at[normal]) * i / len(steps)
        yield LineMove((place[0], place[1], place[2]), move.feed)


def plain(segment: curve.Segment) -> curve.Chain:
    """An arc that hardly bows, or is too flat for a controller's arithmetic, as lines."""
    if isinstance(segment, curve.Line):
        return (segment,)
    bow = segment.radius * (1 - math.cos(segment.sweep / 2))
    if bow > STRAIGHT and segment.radius <= FLATTEST:
        return (segment,)
    places = list(curve.points([segment], STRAIGHT))
    return tuple(curve.Line(p, q) for p, q in pairwise(places))
