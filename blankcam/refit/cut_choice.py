"""Whether a string is done, and what to take off nut and saddle where it is not.

A cut stops short of the target by so many standard deviations of what it leaves (the *aim*), since
taking off is possible and adding is not. A string is *done* when its estimate lies inside a band;
only what is outside asks for a cut, but once one slot is cut all that have something to give are.
mm.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from blankcam.data import table
from blankcam.refit.estimate import Array, ClearanceEstimate
from blankcam.refit.history import CutDone, Trim
from blankcam.refit.spreads import Cutting

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Over:
    """What is believed of one fret, against its targets."""

    share: Array
    """t of every string."""
    estimate: ClearanceEstimate
    """Clearance less target."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crossings:
    """Where the strings cross the saddle that is cut."""

    centres: Array
    """From the part's left end, mm."""
    length: float
    """Of the part, for the two heights of a straight trim."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stops:
    """Where cuts stop and where a string is done, over the target, arrays over the strings."""

    first_aim: Array
    twelfth_aim: Array
    first_band: Array
    twelfth_band: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Choice:
    """What to take off now, and how every string stands."""

    stops: Stops
    nut: Array
    saddle: Array
    trim: Trim
    ends: tuple[float, float]
    """Off the underside at the part's left and right end; 0 unless by the bottom."""
    first_done: Flags
    """Whether fret 1 asks for no cut."""
    twelfth_done: Flags
    first_low: Flags
    """Whether the slot is too low nearly for certain."""
    twelfth_low: Flags
    held: Flags
    """Whether a slot waits, since the action would come under its target."""

    @property
    def nothing(self) -> bool:
        """Whether there is nothing to cut."""
        return self.trim == "nothing" and not self.nut.any()

    @property
    def done(self) -> bool:
        """Whether every string is right and none too low."""
        right = self.first_done & self.twelfth_done & ~self.first_low & ~self.twelfth_low
        return self.nothing and bool(right.all())

    def cut(self, cutting: Cutting) -> CutDone:
        """As an event of the book."""
        return CutDone(nut=self.nut, saddle=self.saddle, trim=self.trim, cutting=cutting)


def no_cut(choice: Choice) -> Choice:
    """The choice with nothing taken off and nothing called done or low: nothing was read."""
    none, no = np.zeros_like(choice.nut), np.zeros(choice.held.shape, dtype=bool)
    return replace(
        choice,
        nut=none,
        saddle=none,
        trim="nothing",
        ends=(0.0, 0.0),
        first_done=no,
        twelfth_done=no,
        first_low=no,
        twelfth_low=no,
        held=no,
    )


def stops(first: Over, twelfth: Over, cutting: Cutting, *, uncertainty: float) -> Stops:
    """Aims and bands.

    Parameters
    ----------
    uncertainty : of the readings, mm, as stated times the scatter found
    """
    aim, done = table("refit")["aim"], table("refit")["done"]
    first_sd, twelfth_sd = _sds_after(first, twelfth, cutting)
    under = float(aim["may_be_under"])
    first_aim = np.maximum(0.0, aim["first_sds"] * first_sd - under)
    twelfth_aim = np.maximum(0.0, aim["twelfth_sds"] * twelfth_sd - under)
    first_band = np.minimum(
        done["first_uncertainties"] * uncertainty, first_aim + done["first_sds"] * first_sd
    )
    twelfth_band = np.minimum(
        done["twelfth_uncertainties"] * uncertainty, twelfth_aim + done["twelfth_sds"] * twelfth_sd
    )
    return Stops(
        first_aim=first_aim,
        twelfth_aim=twelfth_aim,
        first_band=np.maximum(first_band, first_aim + cutting.least_cut),
        twelfth_band=np.maximum(twelfth_band, twelfth_aim + cutting.saddle_least),
    )


def _sds_after(first: Over, twelfth: Over, cutting: Cutting) -> tuple[Array, Array]:
    """What a cut would leave each clearance unsure by."""
    slot = cutting.slot_cut**2 + cutting.common_cut**2
    again = float(table("refit")["strung_again"]["common"])
    one = first.estimate.sd**2 + (1 - first.share) ** 2 * slot
    twelve = (
        twelfth.estimate.sd**2
        + (1 - twelfth.share) ** 2 * slot
        + twelfth.share**2 * (cutting.saddle_cut**2 + again**2)
    )
    return np.sqrt(one), np.sqrt(twelve)


def choose_cut(
    first: Over,
    twelfth: Over,
    cutting: Cutting,
    *,
    uncertainty: float,
    nut_made: bool = True,
    saddle: Crossings | None,
) -> Choice:
    """What to take off.

    Parameters
    ----------
    uncertainty : of the readings, mm, as stated times the scatter found
    nut_made : whether there is a nut to cut; without one fret 1 asks for nothing
    saddle : where the strings cross it; None where there is none to cut, and fret 12 asks for
    nothing
    """
    stop = stops(first, twelfth, cutting, uncertainty=uncertainty)
    if not nut_made or saddle is None:
        return _one_part(first, twelfth, cutting, stop, saddle)
    first_low, twelfth_low = _too_low(first.estimate), _too_low(twelfth.estimate)
    trim, taken, ends = _saddle(first, twelfth, cutting, stop, saddle)
    nut, held = _slots(first, twelfth, cutting, stop, taken)
    return Choice(
        stops=stop,
        nut=nut,
        saddle=taken,
        trim=trim,
        ends=ends,
        first_done=first.estimate.mean <= stop.first_band,
        twelfth_done=twelfth.estimate.mean <= stop.twelfth_band,
        first_low=first_low,
        twelfth_low=twelfth_low,
        held=held,
    )


def _one_part(
    first: Over, twelfth: Over, cutting: Cutting, stop: Stops, saddle: Crossings | None
) -> Choice:
    """What to take off the one part that is made: a nut, where there is no saddle.

    The other end stands as it is, or is set by hand: it neither asks for a cut nor holds one back.
    """
    none, fine = np.zeros_like(first.share), np.ones(first.share.shape, dtype=bool)
    if saddle is None:
        return Choice(
            stops=stop,
            nut=_slots_wanted(first, cutting, stop, none),
            saddle=none,
            trim="nothing",
            ends=(0.0, 0.0),
            first_done=first.estimate.mean <= stop.first_band,
            twelfth_done=fine,
            first_low=_too_low(first.estimate),
            twelfth_low=~fine,
            held=~fine,
        )
    over = twelfth.estimate.mean
    limit = np.maximum((over - stop.twelfth_aim) / twelfth.share, 0.0)
    trim, taken, ends = _trim(twelfth, cutting, stop, saddle, over, limit)
    return Choice(
        stops=stop,
        nut=none,
        saddle=taken,
        trim=trim,
        ends=ends,
        first_done=fine,
        twelfth_done=twelfth.estimate.mean <= stop.twelfth_band,
        first_low=~fine,
        twelfth_low=_too_low(twelfth.estimate),
        held=~fine,
    )


def _too_low(over: ClearanceEstimate) -> Flags:
    values = table("refit")["too_low"]
    return np.asarray(over.mean + values["sds"] * over.sd < -values["under"])


def _slots(
    first: Over, twelfth: Over, cutting: Cutting, stop: Stops, saddle: Array
) -> tuple[Array, Flags]:
    """What every slot gives beside the saddle's cut; and which of them wait for a higher saddle."""
    wanted = _slots_wanted(first, cutting, stop, saddle)
    action = twelfth.estimate.mean - twelfth.share * saddle
    under = float(table("refit")["aim"]["may_be_under"])
    room = _worth((action + under) / (1 - twelfth.share), cutting.least_cut)
    return np.minimum(wanted, room), room < wanted


def _slots_wanted(first: Over, cutting: Cutting, stop: Stops, saddle: Array) -> Array:
    """What every slot is to give for fret 1 alone, beside the saddle's cut; nothing where all are
    done.
    """
    over = first.estimate.mean - first.share * saddle
    if not np.any(over > stop.first_band):
        return np.zeros_like(over)
    return _worth((over - stop.first_aim) / (1 - first.share), cutting.least_cut)


def _saddle(
    first: Over, twelfth: Over, cutting: Cutting, stop: Stops, saddle: Crossings
) -> tuple[Trim, Array, tuple[float, float]]:
    """How the saddle comes down, by how much at each string, and at its two ends by a trim."""
    slots, _ = _slots(first, twelfth, cutting, stop, np.zeros_like(saddle.centres))
    action = twelfth.estimate.mean - (1 - twelfth.share) * slots
    limit = _saddle_limit(first, twelfth, stop, slots)
    return _trim(twelfth, cutting, stop, saddle, action, limit)


def _trim(
    twelfth: Over, cutting: Cutting, stop: Stops, saddle: Crossings, action: Array, limit: Array
) -> tuple[Trim, Array, tuple[float, float]]:
    """A straight trim where one is near enough to every limit, else a crown; or nothing.

    Parameters
    ----------
    action : over its target, once the slots are cut
    limit : the most each string lets the saddle come down
    """
    least, none = cutting.saddle_least, np.zeros_like(saddle.centres)
    if not np.any(action > stop.twelfth_band) or np.all(limit < least):
        return "nothing", none, (0.0, 0.0)
    room = (stop.twelfth_band - stop.twelfth_aim) / twelfth.share
    line = _straight_trim(saddle.centres, limit, saddle.length, room)
    if line is None:
        return "crown", _worth(limit, least), (0.0, 0.0)
    ends, taken = line
    if np.max(taken) < least:
        return "nothing", none, (0.0, 0.0)
    return "bottom", taken, ends


def _saddle_limit(first: Over, twelfth: Over, stop: Stops, slots: Array) -> Array:
    """The most each string lets the saddle come down, at least 0.

    Where its slot is cut too, what both equations give together; else as far as fret 12 allows. A
    slot that is too low does not hold the saddle up: both equations give where it stands once the
    slot is put right, so that the saddle is not left high under that string alone.
    """
    over1 = first.estimate.mean - stop.first_aim
    over12 = twelfth.estimate.mean - stop.twelfth_aim
    t1, t12 = first.share, twelfth.share
    both = ((1 - t1) * over12 - (1 - t12) * over1) / (t12 - t1)
    alone = over12 / t12
    as_it_is = np.where(slots > 0, np.minimum(both, alone), alone)
    return np.maximum(np.where(_too_low(first.estimate), both, as_it_is), 0.0)


def _straight_trim(
    centres: Array, limit: Array, length: float, room: Array
) -> tuple[tuple[float, float], Array] | None:
    """Ends and per string of a straight trim near enough to every limit, or None.

    Near enough: what it leaves on the saddle uses up no more of the ``room`` up to where a string
    is done than data/refit.toml allows. A straight trim keeps the crown that a new one would cut
    anew.
    """
    line = best_line(centres, limit)
    values = table("refit")["trim"]
    if line is None:
        return None
    level, slope = line
    ends, taken = (level, level + slope * length), level + slope * centres
    near = np.maximum(values["line_fit"], values["band_share"] * room)
    if np.any(limit - taken > near) or min(ends) < -values["outside"]:
        return None
    return (max(ends[0], 0.0), max(ends[1], 0.0)), np.maximum(taken, 0.0)


def best_line(x: Array, limit: Array) -> tuple[float, float] | None:
    """Level at x = 0 and slope of the line nowhere over the limits that comes nearest to them all.

    Nearest: the greatest gap is the least. Such a line is parallel to a chord of the points, so
    that trying every chord finds it. None with fewer than two places.
    """
    return min(_chord_lines(x, limit), default=(0.0, None))[1]


def _chord_lines(x: Array, limit: Array) -> Iterator[tuple[float, tuple[float, float]]]:
    """Every line parallel to a chord and under all limits: its greatest gap, its level
    and slope.
    """
    for i, j in combinations(range(len(x)), 2):
        if abs(x[j] - x[i]) >= 1e-9:
            slope = float((limit[j] - limit[i]) / (x[j] - x[i]))
            levels = limit - slope * x
            yield float(np.ptp(levels)), (float(levels.min()), slope)


def _worth(take: Array, least: Array | float) -> Array:
    """No cut below 0 or below what is worth cutting."""
    return np.where(take < least, 0.0, take)
