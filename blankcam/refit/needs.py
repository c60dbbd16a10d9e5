"""After stringing: from the readings at frets 1 and 12 to what nut and saddle must lose.

A string's clearance over fret n is ``y = z_n (1 - t) + z_s t - z_f`` with ``t = s_n / ℓ``, so that two
readings and two targets give what both ends stand too high by: the *need*. What is *taken* is less:

- Both readings are taken to be too high by their uncertainty u, which lowers both needs by u. As
  long as the readings are as good as they say, no clearance ends below its target.
- Where one end has nothing to give, the other end stops where either clearance would fall below
  its target. Only a saddle cut under a nut that is already at its height lowers the clearance at
  fret 1 by its 5 to 6 per cent: a limit there would let nobody bring an action down.
- Removing is possible, adding is not: an end too low by more than the readings can be wrong is named.

After a cut the true clearances lie between 0 and 2 u over their targets.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LINE_FIT = 0.02  # mm: a straight trim must come this near for every string
LEAST_CUT = 0.005  # mm: the proof holds floors to 0.01; less than half of that is nothing to cut
CUT_BAND = 0.01  # mm: what a proven floor or crown may be off by


@dataclass(frozen=True, slots=True, kw_only=True)
class StringReading:
    """One string as read and as wanted, mm; ``t1`` and ``t12`` are s/ℓ of frets 1 and 12."""

    number: int
    note: str
    t1: float
    t12: float
    place: float
    """Where it crosses the saddle, from the part's left end."""
    first_fret: float
    action: float
    want_first_fret: float
    want_action: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StringCut:
    """What one string asks of both parts; all in mm."""

    number: int
    note: str
    nut_need: float
    """What its slot stands too high by, readings at their word; below 0: too low."""
    saddle_need: float
    nut_take: float
    """What to take off now."""
    saddle_take: float
    nut_short: float
    """What the nut lacks for certain (more than the readings may be wrong by), else 0."""
    saddle_short: float
    first_fret_after: float
    """The clearance as it will be read after the cut."""
    action_after: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Refit:
    """The whole set: what is taken, how the saddle comes down, and how sure it is."""

    strings: tuple[StringCut, ...]
    saddle_by: str
    """``nothing``, ``bottom`` (a straight trim of its underside) or ``crown`` (its top anew)."""
    bottom_left: float
    """Height to take off the underside at the part's left end; 0 unless by the bottom."""
    bottom_right: float
    band: float
    """The true clearance after the cut lies within this of the one predicted."""
    words: tuple[str, ...]
    """What the maker must know, a line each."""

    @property
    def nothing(self) -> bool:
        """Whether there is nothing to cut."""
        return self.saddle_by == "nothing" and not any(s.nut_take for s in self.strings)


@dataclass(frozen=True, slots=True)
class _Bench:
    """The readings as arrays, one entry a string; ``over`` is reading less target."""

    t1: Array
    t12: Array
    place: Array
    over1: Array
    over12: Array

    def needs(self, over1: Array, over12: Array) -> tuple[Array, Array]:
        """The two linear equations turned round: heights to take at nut and saddle."""
        det = self.t12 - self.t1
        nut = (self.t12 * over1 - self.t1 * over12) / det
        saddle = ((1 - self.t1) * over12 - (1 - self.t12) * over1) / det
        return nut, saddle


def refit(strings: Sequence[StringReading], *, uncertainty: float, saddle_length: float) -> Refit:
    """What to take off now.

    Parameters
    ----------
    strings : from the bass side; at least one
    uncertainty : the most a reading may be wrong by, mm, over 0
    saddle_length : of the part, mm, for the two heights of a straight trim

    Raises
    ------
    ValueError
        Without strings, or with an uncertainty that is not over 0.
    """
    if not strings or not uncertainty > 0:
        raise ValueError("needs strings and an uncertainty over 0")
    bench = _bench(strings)
    nut_need, saddle_need = bench.needs(bench.over1, bench.over12)
    limit = _saddle_limit(bench, uncertainty)
    saddle_by, take_saddle, ends = _saddle(bench.place, limit, saddle_length)
    take_nut = _nut(bench, uncertainty, take_saddle)
    short_nut, short_saddle = _short(bench, uncertainty)
    after1 = bench.over1 - (1 - bench.t1) * take_nut - bench.t1 * take_saddle
    after12 = bench.over12 - (1 - bench.t12) * take_nut - bench.t12 * take_saddle
    cuts = tuple(
        StringCut(
            number=s.number,
            note=s.note,
            nut_need=float(nut_need[i]),
            saddle_need=float(saddle_need[i]),
            nut_take=float(take_nut[i]),
            saddle_take=float(take_saddle[i]),
            nut_short=float(short_nut[i]),
            saddle_short=float(short_saddle[i]),
            first_fret_after=s.want_first_fret + float(after1[i]),
            action_after=s.want_action + float(after12[i]),
        )
        for i, s in enumerate(strings)
    )
    return Refit(
        strings=cuts,
        saddle_by=saddle_by,
        bottom_left=ends[0],
        bottom_right=ends[1],
        band=uncertainty + CUT_BAND,
        words=_words(cuts),
    )


def _bench(strings: Sequence[StringReading]) -> _Bench:
    def each(name: str) -> Array:
        return np.array([getattr(s, name) for s in strings], dtype=np.float64)

    return _Bench(
        each("t1"),
        each("t12"),
        each("place"),
        each("first_fret") - each("want_first_fret"),
        each("action") - each("want_action"),
    )


def _saddle_limit(bench: _Bench, uncertainty: float) -> Array:
    """The most each string lets the saddle come down, mm, at least 0.

    With a nut that has something to give, the saddle's own need, for the nut's cut lowers the action
    too; else as far as fret 12 allows, which is less than that need.
    """
    over12 = bench.over12 - uncertainty
    _, saddle = bench.needs(bench.over1 - uncertainty, over12)
    return np.maximum(np.minimum(saddle, over12 / bench.t12), 0.0)


def _saddle(place: Array, limit: Array, length: float) -> tuple[str, Array, tuple[float, float]]:
    """How the saddle comes down, by how much at each string, and at its two ends by a trim."""
    if np.all(limit < LEAST_CUT):
        return "nothing", np.zeros_like(limit), (0.0, 0.0)
    line = best_line(place, limit)
    if line is None:
        return "crown", _worth(limit), (0.0, 0.0)
    level, slope = line
    ends = (level, level + slope * length)
    if np.max(limit - (level + slope * place)) > LINE_FIT or min(ends) < 0:
        return "crown", _worth(limit), (0.0, 0.0)
    if max(ends) < LEAST_CUT:
        return "nothing", np.zeros_like(limit), (0.0, 0.0)
    return "bottom", level + slope * place, ends


def best_line(x: Array, limit: Array) -> tuple[float, float] | None:
    """Level at x = 0 and slope of the line nowhere over the limits that comes nearest to them all.

    Nearest: the greatest gap is the least. Such a line is parallel to a chord of the points, so that
    trying every chord finds it. None with fewer than two places.
    """
    best: tuple[float, float, float] | None = None
    for i, j in combinations(range(len(x)), 2):
        if abs(x[j] - x[i]) < 1e-9:
            continue
        slope = (limit[j] - limit[i]) / (x[j] - x[i])
        levels = limit - slope * x
        found = (float(np.ptp(levels)), float(levels.min()), float(slope))
        best = found if best is None or found < best else best
    return None if best is None else best[1:]


def _nut(bench: _Bench, uncertainty: float, saddle: Array) -> Array:
    """The most each slot may go down beside the saddle's cut: neither clearance under its target."""
    by_first = (bench.over1 - uncertainty - bench.t1 * saddle) / (1 - bench.t1)
    by_action = (bench.over12 - uncertainty - bench.t12 * saddle) / (1 - bench.t12)
    return _worth(np.minimum(by_first, by_action))


def _worth(take: Array) -> Array:
    """No cut below 0 or below what is worth cutting."""
    return np.where(take < LEAST_CUT, 0.0, take)


def _short(bench: _Bench, uncertainty: float) -> tuple[Array, Array]:
    """What the ends lack even if the readings are wrong the worst way, at least 0."""
    det = bench.t12 - bench.t1
    nut, saddle = bench.needs(bench.over1, bench.over12)
    nut_doubt = uncertainty * (bench.t12 + bench.t1) / det
    saddle_doubt = uncertainty * (2 - bench.t1 - bench.t12) / det
    return (
        np.where(nut < -nut_doubt, -nut, 0.0),
        np.where(saddle < -saddle_doubt, -saddle, 0.0),
    )


def _words(cuts: Sequence[StringCut]) -> tuple[str, ...]:
    """Too-low parts, with what would fix them."""
    lines = [
        f"string {c.number} ({c.note}): its nut slot is {c.nut_short:.2f} mm too low: shim the nut,"
        " fill the slot or make a new nut, then read again"
        for c in cuts
        if c.nut_short
    ]
    short = [c for c in cuts if c.saddle_short]
    if short:
        worst = max(short, key=lambda c: c.saddle_short)
        names = ", ".join(f"{c.number} ({c.note})" for c in short)
        lines.append(
            f"the saddle is too low under string {names}, most by {worst.saddle_short:.2f} mm: shim"
            " it by so much or make a new one, then read again"
        )
    held = [c for c in cuts if c.saddle_short and c.nut_need > 0 and c.nut_take < c.nut_need / 2]
    if held:
        names = ", ".join(f"{c.number} ({c.note})" for c in held)
        lines.append(
            f"the nut slot of string {names} waits for the saddle: cutting it now would bring the"
            " action under its target"
        )
    return tuple(lines)
