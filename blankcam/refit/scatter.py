"""Whether the readings scatter more than they state, told from the book itself.

Each fret is replayed once for every scatter in data/refit.toml, fret 12 also for every unevenness
of saddle and frets, and weighed by how well that explains all its readings; what is believed then
is a replay with the scatter and unevenness that the weights make. One set of readings hardly tells
the two apart; a second does, for what the readings scatter by does not come back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from blankcam.data import table
from blankcam.refit.estimate import Array
from blankcam.refit.history import Believed, DesignedInstrument, Event, Fret, replay


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadingScatter:
    """Of one fret's readings, in times of the stated uncertainty."""

    times: Array
    """Those tried, shape (K,); each once with every unevenness."""
    uneven: Array
    """How many times as far as usual the strings lie off each other, shape (K,)."""
    weights: Array
    """How likely each is after all readings, shape (K,), sum 1."""
    replays: tuple[Believed, ...]
    """The book with each."""

    @property
    def value(self) -> float:
        """The root of the weighted mean square."""
        return float(np.sqrt(np.sum(self.weights * self.times**2)))

    @property
    def unevenness(self) -> float:
        """The likeliest: a mean would leave strings that were not read unsure for little reason."""
        tried = np.unique(self.uneven)
        likely = [float(np.sum(self.weights[self.uneven == e])) for e in tried]
        return float(tried[int(np.argmax(likely))])

    @property
    def over_stated(self) -> float:
        """How likely the readings scatter more than they state, 0 to 1."""
        from_on = float(table("refit")["scatter"]["told_over"])
        return float(np.sum(self.weights[self.times >= from_on]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Belief:
    """Both frets as believed after the whole book."""

    first: Believed
    twelfth: Believed
    first_scatter: ReadingScatter
    twelfth_scatter: ReadingScatter

    @property
    def understated(self) -> bool:
        """Whether the readings scatter more than they state, nearly for certain."""
        sure = 1 - (1 - self.first_scatter.over_stated) * (1 - self.twelfth_scatter.over_stated)
        return sure > float(table("refit")["scatter"]["told_at"])

    @property
    def times(self) -> float:
        """How many times the stated uncertainty they scatter, the greater of both frets."""
        return max(self.first_scatter.value, self.twelfth_scatter.value)


def scatter_over(
    designed: DesignedInstrument, fret: Fret, events: Sequence[Event]
) -> ReadingScatter:
    """How the readings over one fret scatter."""
    values = table("refit")
    scatter, uneven = values["scatter"], values["uneven"][fret.name]
    tried = tuple(product(scatter["times"], uneven["times"]))
    before = np.outer(scatter["weight"], uneven["weight"]).ravel()
    replays = tuple(replay(designed, fret, events, float(s), float(e)) for s, e in tried)
    logs = np.array([r.log_likelihood for r in replays])
    weights = before * np.exp(logs - logs.max())
    return ReadingScatter(
        times=np.array([s for s, _ in tried]),
        uneven=np.array([e for _, e in tried]),
        weights=weights / weights.sum(),
        replays=replays,
    )


def belief(designed: DesignedInstrument, events: Sequence[Event]) -> Belief:
    """What is believed after the whole book."""
    first, twelfth = (scatter_over(designed, f, events) for f in designed.frets)
    return Belief(
        first=replay(designed, designed.first, events, first.value, first.unevenness),
        twelfth=replay(designed, designed.twelfth, events, twelfth.value, twelfth.unevenness),
        first_scatter=first,
        twelfth_scatter=twelfth,
    )
