"""What happened to an instrument, replayed: from the parts as first made to what is believed now.

A string's clearance over fret n is ``y = z_n (1 - t) + z_s t - z_f`` with ``t = s_n / length``: a
nut slot lower by d lowers it by (1 - t) d, a saddle lower by d by t d. Each fret keeps an estimate
of its own. mm; arrays run over the strings in one order throughout.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import reduce
from typing import Literal

import numpy as np

from blankcam.data import table
from blankcam.refit.estimate import Array, ClearanceEstimate, common_slope_each, with_reading
from blankcam.refit.spreads import Cutting

Trim = Literal["nothing", "bottom", "crown"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fret:
    """One of the two frets that are read."""

    name: Literal["first_fret", "action"]
    share: Array
    """t of every string: its place from the nut over the string's length."""
    promised: Array
    """The clearances of the finished parts as designed."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DesignedInstrument:
    """The instrument as designed, before anything happened."""

    first: Fret
    twelfth: Fret
    places: Array
    """Of the strings across the saddle, the outer two at -1 and 1."""
    hold_back: Array
    """What the slots' floors were left high by, as made."""
    allowance: float
    """What the saddle's top was left high by, as made."""
    cutting: Cutting
    """Who made the parts."""
    nut_made: bool = True
    """Whether the job makes the nut; else it stands as it is, and nothing is cut of it."""
    saddle_made: bool = True
    """Likewise the saddle; else the bridge may be set by hand at any time."""

    @property
    def frets(self) -> tuple[Fret, Fret]:
        """Fret 1, fret 12."""
        return self.first, self.twelfth


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loosened:
    """What confirmed readings let go of: added to the covariance before they are used, (N, N)."""

    first: Array
    twelfth: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """Both clearances as read."""

    first_fret: Array
    """NaN where none was taken."""
    action: Array
    uncertainty: float
    """As stated."""
    loosened: Loosened | None = None

    def of(self, fret: Fret) -> Array:
        """The readings over one fret."""
        return self.first_fret if fret.name == "first_fret" else self.action


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutDone:
    """What one refit took off."""

    nut: Array
    saddle: Array
    trim: Trim
    cutting: Cutting


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPart:
    """Another part in the old one's place, cut to the job's stage."""

    part: Literal["nut", "saddle"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shimmed:
    """A part raised."""

    part: Literal["nut", "saddle"]
    by: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """Slots filled and begun again; ``strings`` are places in the arrays."""

    strings: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Restrung:
    """Other strings or another neck setting: a change of clearance that is foreseen,
    not measured.
    """

    first: Array
    twelfth: Array
    first_sd: Array
    twelfth_sd: Array


Event = Reading | CutDone | NewPart | Shimmed | Filled | Restrung


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Believed:
    """One fret's clearances after the events so far."""

    fret: Fret
    estimate: ClearanceEstimate
    nut_off: Array
    """What the nut on the instrument has lost since it was made; a shim counts against it."""
    saddle_off: Array
    log_likelihood: float
    """Of all readings so far."""
    readings: int


def first_strung(designed: DesignedInstrument, fret: Fret, uneven: float = 1.0) -> Believed:
    """What the parts as made promise, before any reading.

    Parameters
    ----------
    uneven : how many times as far as usual each string may be off by itself over fret 12
    """
    values, share = table("refit"), fret.share
    rise = float(values["prior"]["saddle"]["rise"]) if designed.saddle_made else 0.0
    raised = designed.allowance + rise
    first = fret.name == "first_fret"
    doubt = values["prior"]["first_fret" if first else "twelfth"]
    each = designed.cutting.slot_made if first else uneven * float(doubt["each"])
    return Believed(
        fret=fret,
        estimate=ClearanceEstimate(
            mean=fret.promised + (1 - share) * designed.hold_back + share * raised,
            covariance=_bridge_blur(designed, share)
            + common_slope_each(
                designed.places, common=doubt["common"], slope=doubt["slope"], each=each
            ),
        ),
        nut_off=np.zeros_like(share),
        saddle_off=np.zeros_like(share),
        log_likelihood=0.0,
        readings=0,
    )


def _bridge_blur(designed: DesignedInstrument, share: Array) -> Array:
    """What a bridge that is set by hand, any time, leaves unsure, (N, N)."""
    sd = 0.0 if designed.saddle_made else float(table("refit")["part"]["bridge_set"])
    return np.asarray(sd**2 * np.outer(share, share))


def replay(
    designed: DesignedInstrument,
    fret: Fret,
    events: Sequence[Event],
    times: float,
    uneven: float = 1.0,
) -> Believed:
    """The belief after all events.

    Parameters
    ----------
    times : how many times their stated uncertainty the readings scatter
    uneven : as in `first_strung`
    """
    return reduce(
        lambda now, event: after_event(designed, now, event, times),
        events,
        first_strung(designed, fret, uneven),
    )


def after_event(
    designed: DesignedInstrument, now: Believed, event: Event, times: float
) -> Believed:
    """The belief after one event."""
    match event:
        case Reading():
            return _read(designed, now, event, times)
        case CutDone():
            return _cut(designed, now, event)
        case NewPart(part="nut"):
            return _new_nut(designed, now)
        case NewPart():
            return _new_saddle(designed, now)
        case Shimmed():
            return _shimmed(now, event)
        case Filled():
            return _filled(now, event)
        case Restrung():
            return _restrung(now, event)


def before_reading(designed: DesignedInstrument, now: Believed) -> ClearanceEstimate:
    """What the next reading is expected to find: strings off and on since the last one."""
    if not now.readings:
        return now.estimate
    doubt, share = table("refit")["strung_again"], now.fret.share
    saddle = common_slope_each(designed.places, common=doubt["common"], slope=doubt["slope"])
    own = doubt["each_first"] if now.fret.name == "first_fret" else 0.0
    blur = np.outer(share, share) * saddle + own**2 * np.eye(len(share))
    return now.estimate.moved(np.zeros_like(share), blur + _bridge_blur(designed, share))


def reading_sd(stated: float, times: float) -> float:
    """Of one reading, mm."""
    return float(table("refit")["scatter"]["stated_sd"]) * stated * times


def _read(designed: DesignedInstrument, now: Believed, event: Reading, times: float) -> Believed:
    expected = before_reading(designed, now)
    if event.loosened is not None:
        first = now.fret.name == "first_fret"
        blur = event.loosened.first if first else event.loosened.twelfth
        expected = expected.moved(np.zeros_like(now.nut_off), blur)
    read, log = with_reading(expected, event.of(now.fret), reading_sd(event.uncertainty, times))
    return replace(
        now,
        estimate=read,
        log_likelihood=now.log_likelihood + log,
        readings=now.readings + 1,
    )


def cut_blur(fret: Fret, places: Array, cut: CutDone) -> Array:
    """The covariance that a cut adds over a fret, (N, N)."""
    share, cutting = fret.share, cut.cutting
    slots = np.where(cut.nut > 0, 1 - share, 0.0)
    common = slots * cutting.common_cut
    nut = np.diag((slots * cutting.slot_cut) ** 2) + np.outer(common, common)
    if cut.trim == "nothing":
        return np.asarray(nut)
    if cut.trim == "crown":
        return np.asarray(nut + np.diag((share * cutting.saddle_cut) ** 2))
    tilt = share * places
    trim = (np.outer(share, share) + np.outer(tilt, tilt)) * cutting.saddle_cut**2 / 2
    return np.asarray(nut + trim)


def _cut(designed: DesignedInstrument, now: Believed, event: CutDone) -> Believed:
    share = now.fret.share
    shift = -(1 - share) * event.nut - share * event.saddle
    return replace(
        now,
        estimate=now.estimate.moved(shift, cut_blur(now.fret, designed.places, event)),
        nut_off=now.nut_off + event.nut,
        saddle_off=now.saddle_off + event.saddle,
    )


def new_nut_blur(designed: DesignedInstrument) -> Array:
    """How far another nut's slots may lie from the old one's, at the nut, (N, N)."""
    doubt = table("refit")["part"]
    return common_slope_each(
        designed.places,
        common=doubt["nut_common"],
        slope=doubt["nut_slope"],
        each=designed.cutting.slot_made,
    )


def new_saddle_blur(designed: DesignedInstrument) -> Array:
    """How far another saddle may lie from the old one, at the saddle, (N, N)."""
    doubt = table("refit")["part"]
    return common_slope_each(
        designed.places, common=doubt["saddle_common"], each=doubt["saddle_each"]
    )


def _new_nut(designed: DesignedInstrument, now: Believed) -> Believed:
    lever = 1 - now.fret.share
    moved = now.estimate.moved(lever * now.nut_off, np.outer(lever, lever) * new_nut_blur(designed))
    return replace(now, estimate=moved, nut_off=np.zeros_like(lever))


def _new_saddle(designed: DesignedInstrument, now: Believed) -> Believed:
    lever = now.fret.share
    moved = now.estimate.moved(
        lever * now.saddle_off, np.outer(lever, lever) * new_saddle_blur(designed)
    )
    return replace(now, estimate=moved, saddle_off=np.zeros_like(lever))


def _shimmed(now: Believed, event: Shimmed) -> Believed:
    nut = event.part == "nut"
    lever = 1 - now.fret.share if nut else now.fret.share
    doubt = float(table("refit")["part"]["shim"])
    moved = now.estimate.moved(lever * event.by, doubt**2 * np.outer(lever, lever))
    if nut:
        return replace(now, estimate=moved, nut_off=now.nut_off - event.by)
    return replace(now, estimate=moved, saddle_off=now.saddle_off - event.by)


def _filled(now: Believed, event: Filled) -> Believed:
    doubt = table("refit")["part"]
    at = np.zeros_like(now.nut_off)
    at[list(event.strings)] = 1.0
    lever = (1 - now.fret.share) * at
    moved = now.estimate.moved(
        lever * float(doubt["filled_rise"]), np.diag((lever * float(doubt["filled"])) ** 2)
    )
    return replace(now, estimate=moved, nut_off=now.nut_off - at * float(doubt["filled_rise"]))


def _restrung(now: Believed, event: Restrung) -> Believed:
    first = now.fret.name == "first_fret"
    shift, sd = (event.first, event.first_sd) if first else (event.twelfth, event.twelfth_sd)
    return replace(now, estimate=now.estimate.moved(shift, np.outer(sd, sd)))
