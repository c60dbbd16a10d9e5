"""How near a plucked string comes to the frets, and the least action that keeps it off them.

A string pulled aside by a and let go swings, ideally, between its plucked shape, a triangle, and
the same triangle turned about the string's middle: what was beta of the length from the bridge is
then beta from the other end. Pulled away from the board, the turned triangle is the nearest the
string comes to the frets. With the pluck's force F square to the board, a = F beta (1 - beta) L /
T. A model, from memory of plucked-string theory; damping and the frets' width are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from blankcam.data import table
from blankcam.instrument.board import Array, Board
from blankcam.instrument.heights import Instrument, StringPath
from blankcam.instrument.strings import force

LAST_FRET = 20
LAST_HELD = 12
"""The string is tried open and held at every fret up to this one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BuzzMargin:
    """One string; mm."""

    number: int
    note: str
    open: tuple[float, ...]
    """What the plucked open string keeps over frets 1 to 20; below 0 it touches."""
    least: float
    """The least it keeps over any fret, open or held."""
    held: int
    """The fret it is held at then, 0 for the open string."""
    fret: int
    """The fret it comes nearest to then."""
    least_action: float
    """Action over fret 12 at which ``least`` would be 0, the nut as it is."""


def turned_triangle(length: float, swing: float, beta: float, at: Array) -> Array:
    """How far below its resting line the string swings at a distance from the held end, at most.

    Parameters
    ----------
    length : of what swings, mm
    swing : displacement at the pluck, mm
    beta : where it is plucked, as a fraction of the length from the bridge
    at : distances from the held end, mm
    """
    peak = beta * length
    return np.asarray(swing * np.where(at <= peak, at / peak, (length - at) / (length - peak)))


def swing_of(pull: float, length: float, tension: float, beta: float) -> float:
    """Displacement at the pluck, ``F beta (1 - beta) L / T``, mm; forces in newtons."""
    return pull * beta * (1 - beta) * length / tension


def buzz_margins(instrument: Instrument) -> tuple[BuzzMargin, ...]:
    """Every string of an instrument, plucked as is usual for its kind (data/targets.toml)."""
    pluck = table("targets")[instrument.kind]["pluck"]
    return tuple(
        _margin(
            instrument.board,
            s,
            force(instrument, s).tension,
            pull=pluck["force"],
            beta=pluck["beta"],
        )
        for s in instrument.strings
    )


def _margin(
    board: Board, string: StringPath, tension: float, *, pull: float, beta: float
) -> BuzzMargin:
    frets = np.arange(1, LAST_FRET + 1)
    s = board.fret_at(frets)
    tops = board.fret_top(s, string.across(s))
    found: list[tuple[float, int, int, float]] = []
    opened: Array = np.empty(0)
    for held in range(LAST_HELD + 1):
        start = string.front if held == 0 else float(s[held - 1])
        z0 = string.z_nut if held == 0 else float(tops[held - 1])
        over, z = s[held:] - start, tops[held:]
        length = string.ridge - start
        line = z0 + (string.z_saddle - z0) * over / length
        at = beta * string.length / length  # plucked at the same place, however it is held
        swing = swing_of(pull, length, tension, at)
        keeps = line - z - turned_triangle(length, swing, at, over)
        opened = keeps if held == 0 else opened
        # lowering the saddle by d lowers the string there by d over / length
        found += zip(keeps, [held] * len(keeps), frets[held:], keeps * length / over, strict=True)
    least, held, fret, _ = min(found)
    down = min(f[3] for f in found)
    at_12 = float(string.share(board.fret_at(12)))
    return BuzzMargin(
        number=string.number,
        note=string.note,
        open=tuple(float(k) for k in opened),
        least=float(least),
        held=held,
        fret=int(fret),
        least_action=string.action - float(down) * at_12,
    )
