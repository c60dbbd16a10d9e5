"""Whether readings are believable, and what the likeliest causes are where they are not.

Every cause is a story of what else could have given these readings: other figures typed than were
read, or a nut or saddle that stands elsewhere than the book says. Each is weighed by how often it
happens (data/refit.toml) and by how well it explains the readings, averaged over how far readings
may scatter. What no numbers tell apart is one question.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Literal

import numpy as np

from blankcam.data import table
from blankcam.inputs.units import MM_PER_INCH
from blankcam.refit.estimate import Array, common_slope_each, log_densities, log_mean
from blankcam.refit.history import (
    CutDone,
    DesignedInstrument,
    Event,
    Loosened,
    Reading,
    before_reading,
    new_nut_blur,
    new_saddle_blur,
    reading_sd,
)
from blankcam.refit.scatter import Belief, ReadingScatter

_INCH = float(MM_PER_INCH)

CauseKind = Literal[
    "all_is_well",
    "inch_digits",
    "point_moved",
    "frets_swapped",
    "both_reversed",
    "first_reversed",
    "action_reversed",
    "one_reading",
    "string_swapped",
    "new_nut",
    "nut_not_cut",
    "last_not_cut",
    "nut_shimmed",
    "odd_slot",
    "new_saddle",
    "saddle_not_cut",
    "saddle_shimmed",
    "neck_moved",
    "not_settled",
    "relief_changed",
    "other_stage",
]
Family = Literal[
    "well", "inches", "point", "swapped", "reversed", "one reading", "nut", "slot",
    "saddle", "stage",
]  # fmt: skip
_FAMILY: Mapping[str, Family] = {
    "all_is_well": "well",
    "inch_digits": "inches",
    "point_moved": "point",
    "frets_swapped": "swapped",
    "string_swapped": "swapped",
    "both_reversed": "reversed",
    "first_reversed": "reversed",
    "action_reversed": "reversed",
    "one_reading": "one reading",
    "new_nut": "nut",
    "nut_not_cut": "nut",
    "last_not_cut": "nut",
    "nut_shimmed": "nut",
    "odd_slot": "slot",
    "new_saddle": "saddle",
    "saddle_not_cut": "saddle",
    "saddle_shimmed": "saddle",
    "neck_moved": "saddle",
    "not_settled": "saddle",
    "relief_changed": "saddle",
    "other_stage": "stage",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """What may have happened."""

    kind: CauseKind
    string: int | None = None
    """Place in the arrays, where it is about one string."""
    which: Literal["both", "first_fret", "action", "nut", "saddle"] | None = None
    """What it is about, where the kind leaves that open."""

    @property
    def family(self) -> Family:
        """Causes of one family are asked about in one question."""
        return _FAMILY[self.kind]


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """A cause and how likely it is once the readings are seen, 0 to 1."""

    cause: Cause
    likely: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """All causes of a set of readings, the likeliest first within the likeliest family."""

    explanations: tuple[Explanation, ...]
    well: float
    """How likely the readings are simply right."""

    @property
    def asked(self) -> bool:
        """Whether the maker must look again before the readings are used."""
        return self.well < float(table("refit")["ask"]["at"])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """What else is known when the readings are taken."""

    young: bool = False
    """Not long at pitch, or it is not said how long."""
    relief_lift: Array | None = None
    """What a relief other than before adds over fret 12, where it was read and differs."""
    other_stage_nut: Array | None = None
    """How much higher the nut's slots stand when cut to the other stage; only at the first reading.
    """
    other_stage_saddle: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Story:
    """A cause as numbers: the readings as they should be, and how nut and saddle moved."""

    cause: Cause
    often: float
    read: Array
    """Shape (2, N)."""
    nut: Array | float = 0.0
    nut_blur: Array | None = None
    saddle: Array | float = 0.0
    saddle_blur: Array | None = None
    own: Mapping[tuple[int, int], float] = field(default_factory=dict)
    """Variance that one reading gets more, by fret (0, 1) and string."""


@dataclass(frozen=True, slots=True, eq=False)
class _Expected:
    """What is foreseen, once for each pair of scatters: K pairs, both frets in one vector."""

    means: Array
    """Shape (K, 2 N)."""
    covariances: Array
    """Shape (K, 2 N, 2 N), readings' own scatter with them."""
    log_weights: Array
    shares: tuple[Array, Array]


def weigh(
    designed: DesignedInstrument,
    events: Sequence[Event],
    belief: Belief,
    reading: Reading,
    known: Known,
) -> Weighed:
    """Weigh every cause of what was read.

    Parameters
    ----------
    events, belief : the book before this reading, and what it makes believe
    reading : as the maker gave it, not yet used
    """
    expected = _expected(designed, belief, reading.uncertainty)
    stories = tuple(_stories(designed, events, belief, reading, known))
    logs = np.array([np.log(s.often) + _evidence(expected, s) for s in stories])
    likely = np.exp(logs - logs.max())
    likely /= likely.sum()
    found = [
        Explanation(cause=s.cause, likely=float(p)) for s, p in zip(stories, likely, strict=True)
    ]
    return Weighed(
        explanations=_ordered([e for e in found if e.cause.kind != "all_is_well"]),
        well=next(e.likely for e in found if e.cause.kind == "all_is_well"),
    )


def _ordered(found: Sequence[Explanation]) -> tuple[Explanation, ...]:
    """The likeliest family first, and within it the likeliest cause."""
    sums: dict[Family, float] = {}
    for one in found:
        sums[one.cause.family] = sums.get(one.cause.family, 0.0) + one.likely
    return tuple(sorted(found, key=lambda e: (-sums[e.cause.family], e.cause.family, -e.likely)))


def _expected(designed: DesignedInstrument, belief: Belief, uncertainty: float) -> _Expected:
    first = _foreseen(designed, belief.first_scatter, uncertainty)
    twelfth = _foreseen(designed, belief.twelfth_scatter, uncertainty)
    means, covariances, logs = [], [], []
    for (mean1, cov1, log1), (mean12, cov12, log12) in product(first, twelfth):
        none = np.zeros_like(cov1)
        means.append(np.concatenate([mean1, mean12]))
        covariances.append(np.block([[cov1, none], [none, cov12]]))
        logs.append(log1 + log12)
    shares = (designed.first.share, designed.twelfth.share)
    return _Expected(np.array(means), np.array(covariances), np.array(logs), shares)


def _foreseen(
    designed: DesignedInstrument, scatter: ReadingScatter, uncertainty: float
) -> Iterator[tuple[Array, Array, float]]:
    """Mean and covariance of the next reading over one fret, and the log weight, by scatter."""
    for times, weight, replayed in zip(
        scatter.times, scatter.weights, scatter.replays, strict=True
    ):
        estimate = before_reading(designed, replayed)
        own = reading_sd(uncertainty, float(times)) ** 2 * np.eye(len(estimate.mean))
        yield estimate.mean, estimate.covariance + own, float(np.log(max(weight, 1e-300)))


def _evidence(expected: _Expected, story: _Story) -> float:
    """Log of how likely these readings are, were the story true."""
    first, twelfth = expected.shares
    levers = np.concatenate([1 - first, 1 - twelfth]), np.concatenate([first, twelfth])
    shift, blur = np.zeros_like(levers[0]), np.zeros((len(levers[0]),) * 2)
    ends = ((story.nut, story.nut_blur), (story.saddle, story.saddle_blur))
    for lever, (moved, moved_blur) in zip(levers, ends, strict=True):
        shift = shift + lever * np.tile(np.broadcast_to(moved, first.shape), 2)
        if moved_blur is not None:
            blur = blur + np.outer(lever, lever) * np.tile(moved_blur, (2, 2))
    for (fret, string), variance in story.own.items():
        at = fret * len(first) + string
        blur[at, at] += variance
    read = story.read.reshape(-1)
    seen = ~np.isnan(read)
    off = read[seen] - (expected.means + shift)[:, seen]
    covariances = (expected.covariances + blur)[:, seen][:, :, seen]
    return log_mean(log_densities(off, covariances), expected.log_weights)


def _stories(
    designed: DesignedInstrument,
    events: Sequence[Event],
    belief: Belief,
    reading: Reading,
    known: Known,
) -> Iterator[_Story]:
    read = np.array([reading.first_fret, reading.action])
    yield _Story(
        cause=Cause(kind="all_is_well"), often=table("refit")["ask"]["all_is_well"], read=read
    )
    yield from _slips_of_the_pen(read)
    yield from _single_readings(read)
    if designed.nut_made:
        yield from _at_the_nut(designed, events, belief, read)
    if designed.saddle_made:
        yield from _at_the_saddle(designed, events, belief, read)
    yield from _by_the_neck(designed, read, known)


def _often(kind: CauseKind) -> float:
    return float(table("refit")["cause"][kind]["often"])


def _slips_of_the_pen(read: Array) -> Iterator[_Story]:
    """Figures that were typed otherwise than they were read."""
    changes: tuple[tuple[Cause, float, Callable[[Array], Array]], ...] = (
        (Cause(kind="inch_digits", which="both"), 0.5, lambda y: y * _INCH),
        (Cause(kind="inch_digits", which="first_fret"), 0.25, lambda y: _only(y, 0, _INCH)),
        (Cause(kind="inch_digits", which="action"), 0.25, lambda y: _only(y, 1, _INCH)),
        (Cause(kind="point_moved", which="first_fret"), 0.25, lambda y: _only(y, 0, 10.0)),
        (Cause(kind="point_moved", which="first_fret"), 0.25, lambda y: _only(y, 0, 0.1)),
        (Cause(kind="point_moved", which="action"), 0.25, lambda y: _only(y, 1, 10.0)),
        (Cause(kind="point_moved", which="action"), 0.25, lambda y: _only(y, 1, 0.1)),
        (Cause(kind="frets_swapped"), 1.0, lambda y: y[::-1]),
        (Cause(kind="both_reversed"), 1.0, lambda y: y[:, ::-1]),
        (Cause(kind="first_reversed"), 1.0, lambda y: np.array([y[0, ::-1], y[1]])),
        (Cause(kind="action_reversed"), 1.0, lambda y: np.array([y[0], y[1, ::-1]])),
    )
    for cause, share, change in changes:
        yield _Story(cause=cause, often=share * _often(cause.kind), read=change(read))


def _only(read: Array, fret: int, factor: float) -> Array:
    times = np.ones((2, 1))
    times[fret] = factor
    return read * times


def _single_readings(read: Array) -> Iterator[_Story]:
    """One reading wrong, or one string's two readings swapped."""
    count = read.shape[1]
    sd = float(table("refit")["cause"]["one_reading"]["sd"])
    share = _often("one_reading") / int(np.sum(~np.isnan(read)))
    for fret, string in np.argwhere(~np.isnan(read)).tolist():
        yield _Story(
            cause=Cause(kind="one_reading", string=string, which=("first_fret", "action")[fret]),
            often=share,
            read=read,
            own={(fret, string): sd**2},
        )
    for string in range(count):
        changed = read.copy()
        changed[:, string] = read[::-1, string]
        if not np.isnan(read[:, string]).any():
            yield _Story(
                cause=Cause(kind="string_swapped", string=string),
                often=_often("string_swapped") / count,
                read=changed,
            )


def _last_cut(events: Sequence[Event]) -> CutDone | None:
    """What the refit before asked for, if it has not been read since."""
    return events[-1] if events and isinstance(events[-1], CutDone) else None


def _at_the_nut(
    designed: DesignedInstrument, events: Sequence[Event], belief: Belief, read: Array
) -> Iterator[_Story]:
    last = _last_cut(events)
    yield from _part_stories(
        designed, "nut", belief.first.nut_off, None if last is None else last.nut, read
    )
    if last is not None:
        yield _Story(
            cause=Cause(kind="last_not_cut"),
            often=_often("last_not_cut"),
            read=read,
            nut=last.nut,
            saddle=last.saddle,
        )
    count = len(designed.places)
    for string in range(count):
        blur = np.zeros((count, count))
        blur[string, string] = table("refit")["cause"]["odd_slot"]["sd"] ** 2
        cause = Cause(kind="odd_slot", string=string)
        yield _Story(cause=cause, often=_often("odd_slot") / count, read=read, nut_blur=blur)


def _at_the_saddle(
    designed: DesignedInstrument, events: Sequence[Event], belief: Belief, read: Array
) -> Iterator[_Story]:
    last = _last_cut(events)
    yield from _part_stories(
        designed, "saddle", belief.first.saddle_off, None if last is None else last.saddle, read
    )


def _part_stories(
    designed: DesignedInstrument,
    part: Literal["nut", "saddle"],
    off: Array,
    last: Array | None,
    read: Array,
) -> Iterator[_Story]:
    """Another part in its place, one the last refit was not cut on, and one on a shim.

    Parameters
    ----------
    off : what the part has lost since it was made
    last : what the last refit asked to take off it, if it was not read since
    """
    nut = part == "nut"
    if off.any():
        blur = new_nut_blur(designed) if nut else new_saddle_blur(designed)
        yield _moved(part, "new_nut" if nut else "new_saddle", read, off, blur)
    if last is not None and last.any():
        yield _moved(part, "nut_not_cut" if nut else "saddle_not_cut", read, last)
    kind: CauseKind = "nut_shimmed" if nut else "saddle_shimmed"
    shim = table("refit")["cause"][kind]
    blur = common_slope_each(designed.places, common=shim["sd"])
    yield _moved(part, kind, read, shim["rise"], blur)


def _moved(
    part: Literal["nut", "saddle"],
    kind: CauseKind,
    read: Array,
    by: Array | float,
    blur: Array | None = None,
) -> _Story:
    """A part that stands higher than the book says."""
    cause, often = Cause(kind=kind), _often(kind)
    if part == "nut":
        return _Story(cause=cause, often=often, read=read, nut=by, nut_blur=blur)
    return _Story(cause=cause, often=often, read=read, saddle=by, saddle_blur=blur)


def _by_the_neck(designed: DesignedInstrument, read: Array, known: Known) -> Iterator[_Story]:
    """What moves the saddle against the frets, and parts cut to another stage."""
    values = table("refit")["cause"]
    moved = common_slope_each(designed.places, common=values["neck_moved"]["sd"])
    cause = Cause(kind="neck_moved")
    yield _Story(cause=cause, often=_often("neck_moved"), read=read, saddle_blur=moved)
    if known.young:
        young = values["not_settled"]
        yield _Story(
            cause=Cause(kind="not_settled"),
            often=young["often"],
            read=read,
            saddle=young["rise"],
            saddle_blur=common_slope_each(designed.places, common=young["sd"]),
        )
    if known.relief_lift is not None:
        relief = values["relief_changed"]
        yield _Story(
            cause=Cause(kind="relief_changed"),
            often=relief["often"],
            read=read - np.array([np.zeros_like(known.relief_lift), known.relief_lift]),
            own={(1, i): relief["sd"] ** 2 for i in range(read.shape[1])},
        )
    yield from _other_stage(read, known)


def _other_stage(read: Array, known: Known) -> Iterator[_Story]:
    if known.other_stage_nut is None:
        return
    often = _often("other_stage") / 3
    nut, saddle = known.other_stage_nut, known.other_stage_saddle
    for which, moved in (("both", (nut, saddle)), ("nut", (nut, 0.0)), ("saddle", (0.0, saddle))):
        yield _Story(
            cause=Cause(kind="other_stage", which=which),  # type: ignore[arg-type]
            often=often,
            read=read,
            nut=moved[0],
            saddle=moved[1],
        )


def loosened_by(designed: DesignedInstrument, cause: Cause) -> Loosened:
    """What readings that were taken twice let go of, where they speak against the book.

    Without this an over-deep slot would be taken for noise, and called done.
    """
    values, count = table("refit")["confirmed"], len(designed.places)
    first, twelfth = np.zeros((count, count)), np.zeros((count, count))
    if cause.kind == "one_reading" and cause.string is not None:
        at = first if cause.which == "first_fret" else twelfth
        at[cause.string, cause.string] = values["one_reading"] ** 2
        return Loosened(first=first, twelfth=twelfth)
    if cause.kind in ("odd_slot", "string_swapped") and cause.string is not None:
        for blur, fret in ((first, designed.first), (twelfth, designed.twelfth)):
            lever = 1 - fret.share[cause.string]
            blur[cause.string, cause.string] = (lever * values["odd_slot"]) ** 2
        return Loosened(first=first, twelfth=twelfth)
    return Loosened(
        first=_all_loose(designed.places, values["first_common"]),
        twelfth=_all_loose(designed.places, values["twelfth_common"]),
    )


def _all_loose(places: Array, common: float) -> Array:
    values = table("refit")["confirmed"]
    return common_slope_each(
        places,
        common=common,
        slope=values["slope_share"] * common,
        each=values["each_share"] * common,
    )
