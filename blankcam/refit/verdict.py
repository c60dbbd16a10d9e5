"""One set of readings judged: foreseen, questioned, used, and what follows from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from blankcam.refit.cut_choice import Choice, Crossings, Over, choose_cut
from blankcam.refit.estimate import Array, ClearanceEstimate
from blankcam.refit.history import (
    DesignedInstrument,
    Event,
    Fret,
    Reading,
    before_reading,
    reading_sd,
)
from blankcam.refit.questions import Known, Weighed, loosened_by, weigh
from blankcam.refit.scatter import Belief, ReadingScatter, belief
from blankcam.refit.spreads import Cutting

BAND_SDS = 2.0  # of what is foreseen: about 95 of 100 readings lie within


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Foreseen:
    """What the next reading over one fret is expected to be; arrays over the strings, mm."""

    mean: Array
    band: Array
    """About 95 of 100 such readings lie within mean - band and mean + band."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Aims:
    """What the maker wants, and where the saddle is cut."""

    first_fret: Array
    action: Array
    cutting: Cutting
    """Who cuts now."""
    saddle: Crossings | None
    """Where the strings cross it; None where the job makes none."""
    nut_made: bool = True


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """What one set of readings comes to."""

    first: Foreseen
    twelfth: Foreseen
    weighed: Weighed
    reading: Reading
    """As it was used, with what it let loose."""
    confirmed: bool

    @property
    def asked(self) -> bool:
        """Whether the maker must look again; nothing follows from the readings then."""
        return self.weighed.asked and not self.confirmed


@dataclass(frozen=True, slots=True, kw_only=True)
class FretVerdict:
    """One string over one fret, mm."""

    read: float | None
    """None where it was not read."""
    foreseen: float
    """What the reading was expected to be, before it was used."""
    foreseen_band: float
    """It would lie within so much of that, 95 times of 100."""
    believed: float
    """The clearance, from all that was read and cut."""
    wanted: float
    done_to: float
    """A clearance up to this is done."""
    done: bool
    low: bool
    """Whether it is too low, nearly for certain."""
    after: float
    """What the next reading is expected to be."""
    after_band: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StringVerdict:
    """How one string stands and what is done about it, mm."""

    number: int
    note: str
    first: FretVerdict
    twelfth: FretVerdict
    nut_take: float
    """Off its slot's floor now."""
    saddle_take: float
    """Off the saddle under it now."""
    nut_over: float
    """What its slot's floor stands too high by; below 0: too low."""
    saddle_over: float
    """What the saddle stands too high by under it, its slot as it is."""
    by: Literal["mill", "files"]
    waits: bool
    """Its slot waits for a higher saddle."""
    nut_made: bool = True
    """Whether the job makes the nut, so that fret 1 is asked about."""
    saddle_made: bool = True
    unread: bool = False
    """Whether nothing was read this time, so that nothing is said of it."""

    @property
    def state(self) -> Literal["done", "cut", "too low", "waits", "not read"]:
        """What the maker is told first."""
        if self.unread:
            return "not read"
        if self.first.low or self.twelfth.low:
            return "too low"
        if self.nut_take or self.saddle_take:
            return "cut"
        return "waits" if self.waits else "done"


def judge_reading(
    designed: DesignedInstrument,
    events: Sequence[Event],
    reading: Reading,
    known: Known,
    *,
    confirmed: bool,
) -> Judged:
    """Foresee a reading and question it.

    Parameters
    ----------
    events : the book before it
    confirmed : whether the maker says it was taken twice
    """
    before = belief(designed, events)
    weighed = weigh(designed, events, before, reading, known)
    used = reading
    if confirmed and weighed.asked:
        used = replace(reading, loosened=loosened_by(designed, weighed.explanations[0].cause))
    first, twelfth = (
        foreseen(designed, s, reading.uncertainty)
        for s in (before.first_scatter, before.twelfth_scatter)
    )
    return Judged(first=first, twelfth=twelfth, weighed=weighed, reading=used, confirmed=confirmed)


def unread(designed: DesignedInstrument, events: Sequence[Event], reading: Reading) -> Judged:
    """What is foreseen where nothing was read: there is nothing to question."""
    before = belief(designed, events)
    first, twelfth = (
        foreseen(designed, s, reading.uncertainty)
        for s in (before.first_scatter, before.twelfth_scatter)
    )
    weighed = Weighed(explanations=(), well=1.0)
    return Judged(first=first, twelfth=twelfth, weighed=weighed, reading=reading, confirmed=False)


def foreseen(designed: DesignedInstrument, scatter: ReadingScatter, uncertainty: float) -> Foreseen:
    """What the next reading over a fret is expected to be, over all scatters that it may have."""
    each = [before_reading(designed, r) for r in scatter.replays]
    means = np.array([e.mean for e in each])
    own = np.array([reading_sd(uncertainty, float(s)) ** 2 for s in scatter.times])
    variances = np.array([e.sd**2 for e in each]) + own[:, np.newaxis]
    mean = scatter.weights @ means
    return Foreseen(
        mean=mean, band=BAND_SDS * np.sqrt(scatter.weights @ (variances + (means - mean) ** 2))
    )


def choose_from(now: Belief, aims: Aims, uncertainty: float) -> Choice:
    """What to take off, from what is believed after the readings were used.

    Parameters
    ----------
    uncertainty : as stated with the last readings, mm
    """
    return choose_cut(
        _over(now.first.fret, now.first.estimate, aims.first_fret),
        _over(now.twelfth.fret, now.twelfth.estimate, aims.action),
        aims.cutting,
        uncertainty=uncertainty * now.first_scatter.value,
        nut_made=aims.nut_made,
        saddle=aims.saddle,
    )


def _over(fret: Fret, estimate: ClearanceEstimate, wanted: Array) -> Over:
    over = ClearanceEstimate(mean=estimate.mean - wanted, covariance=estimate.covariance)
    return Over(share=fret.share, estimate=over)
