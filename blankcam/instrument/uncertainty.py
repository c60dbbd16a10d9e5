"""What the tolerances do: the whole geometry run many times with every measurement a little wrong.

A part is made from what was measured; the instrument is what it is. So each draw moves the true
instrument, not the part, and asks what the strings then do. The draws are normal and independent.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from blankcam.data import table
from blankcam.inputs.job import Job
from blankcam.instrument import intonation, strings
from blankcam.instrument.board import Array
from blankcam.instrument.heights import Instrument

SAMPLES = 10_000
SEED = 20
LAST_FRET = 20
LOW, HIGH = 5.0, 95.0
BUZZ_NOTICED = 0.01
SINGLE = (
    "seat_drop", "slot_depth", "fret_height", "relief", "fret_line", "front_at", "movement",
)  # fmt: skip
CUTS = ("nut_cut", "saddle_cut")
PER_STRING = ("gauge", "stiffness", "tool")
_SD_OF = {"seat_drop": "seat", "slot_depth": "seat", "nut_cut": "machine", "saddle_cut": "machine"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Between what 90 of 100 instruments made so will lie."""

    low: float
    """5 of 100 lie under it."""
    middle: float
    high: float
    """5 of 100 lie over it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StringScatter:
    """One string; mm, radians, cents, chances from 0 to 1."""

    number: int
    note: str
    first_fret: Band
    action: Band
    break_angle: Band | None
    cents_first: Band
    """Error at fret 1."""
    cents_twelfth: Band
    """Error at fret 12."""
    buzz: float
    """Chance that it stands too low over some fret, open or fretted."""
    binds: float
    """Chance that it is thicker than its slot is wide."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """What part of a result's variance one source carries, the mean over the strings."""

    result: str
    source: str
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentScatter:
    """The whole instrument."""

    samples: int
    strings: tuple[StringScatter, ...]
    buzz: float
    """Chance that any string does."""
    shares: tuple[Share, ...]
    """The greatest first within each result."""
    words: tuple[str, ...]
    """What to measure again before cutting, a line a result."""


@dataclass(frozen=True, slots=True)
class Truth:
    """What the strings do on the true instruments; K strings, S draws."""

    clearance: Array
    """Over frets 1 to 20, shape (S, K, 20)."""
    bend: Array | None
    """Break angle, shape (S, K)."""
    cents: Array
    """Shape (S, K, 12)."""
    buzzes: Array
    """1 where a string stands too low over some fret, shape (S, K)."""
    binds: Array
    """1 where a string is thicker than its slot is wide, shape (S, K)."""


def standard_deviations(job: Job) -> dict[str, float]:
    """Of every source but stiffness, mm: the job's own or the table's."""
    usual = table("uncertainty")["sd"]

    def of(name: str) -> float:
        key = _SD_OF.get(name, name)
        own = getattr(job.uncertainty, key)
        return float(usual[key] if own is None else own)

    made = {name: of(name) for name in (*SINGLE, *CUTS, "board", "gauge", "tool")}
    return made | dict.fromkeys(_not_made(job), 0.0)


def _not_made(job: Job) -> tuple[str, ...]:
    """The sources that belong to a part that is not made: it is measured as it stands."""
    nut = ("seat_drop", "nut_cut", "tool") if job.blanks.nut is None else ()
    saddle = ("slot_depth", "saddle_cut", "fret_line") if job.blanks.saddle is None else ()
    return (*nut, *saddle)


def draw(job: Job, instrument: Instrument, samples: int, seed: int) -> dict[str, Array]:
    """Normal draws of every source: shape (S,), or (S, K) a string, or (S, 20) a fret."""
    rng = np.random.default_rng(seed)
    sd, count = standard_deviations(job), len(instrument.strings)
    drawn = {name: rng.normal(0.0, sd[name], samples) for name in (*SINGLE, *CUTS)}
    drawn["board"] = rng.normal(0.0, sd["board"], (samples, LAST_FRET))
    for name in ("gauge", "tool"):
        drawn[name] = rng.normal(0.0, sd[name], (samples, count))
    bands = np.array([strings.force(instrument, s).stiffness_band for s in instrument.strings])
    drawn["stiffness"] = rng.normal(0.0, 1.0, (samples, count)) * bands / 2  # a band is two sd
    return drawn


def true_strings(job: Job, instrument: Instrument, d: Mapping[str, Array]) -> Truth:
    """What the strings do when every source is off by its draw (true value less measured).

    Parameters
    ----------
    instrument : as designed, compensation as really cut
    d : every source by name, shaped as `draw` returns them
    """
    board, paths = instrument.board, instrument.strings
    frets = np.arange(1, LAST_FRET + 1)
    s = board.fret_at(frets)
    length = np.array([p.length for p in paths]) + _over(d["front_at"])
    fronts = np.array([p.front for p in paths])[:, np.newaxis]
    seat = d["seat_drop"] - (d["fret_height"] if job.nut.marked_line else 0.0)  # it cancels
    z_nut = np.array([p.z_nut for p in paths]) + _over(d["nut_cut"] - seat)
    lifted = d["fret_height"] - d["fret_line"] - d["slot_depth"] + d["saddle_cut"] + d["movement"]
    z_saddle = np.array([p.z_saddle for p in paths]) + _over(lifted)
    tops = np.array([board.fret_top(s, p.across(s)) for p in paths])
    bow = replace(board, relief=1.0).dip(s)
    off = d["fret_height"][:, np.newaxis] + d["board"] - d["relief"][:, np.newaxis] * bow
    frets_z = tops + off[:, np.newaxis, :]
    rise, along = (z_saddle - z_nut)[..., np.newaxis], s - fronts
    under = z_nut[..., np.newaxis] + rise * along / length[..., np.newaxis]
    clearance = under - frets_z
    return Truth(
        clearance,
        _bend(job, instrument, d, z_nut=z_nut, z_saddle=z_saddle, length=length),
        _cents(instrument, d, z_nut, z_saddle, float(bow[11])),
        _buzzes(clearance, frets_z, z_saddle, length, along),
        (d["gauge"] > job.nut.clearance + d["tool"]).astype(np.float64),
    )


def _over(values: Array) -> Array:
    """A value for all strings of a draw."""
    return values[:, np.newaxis]


def _bend(
    job: Job,
    instrument: Instrument,
    d: Mapping[str, Array],
    *,
    z_nut: Array,
    z_saddle: Array,
    length: Array,
) -> Array | None:
    height, run = job.saddle.tie_height, job.saddle.tie_run
    if height is None or run is None or job.blanks.saddle is None:
        return None
    z_tie = instrument.bridge_top + height + _over(d["fret_height"] - d["fret_line"])
    before = np.arctan2(z_saddle - z_nut, length)
    return np.asarray(before + np.arctan2(z_saddle - z_tie, run - _over(d["front_at"])))


def _cents(
    instrument: Instrument,
    d: Mapping[str, Array],
    z_nut: Array,
    z_saddle: Array,
    bow: float,
) -> Array:
    """The model with its heights, ridge, radius and stiffness moved by what the draws move."""
    paths = instrument.strings
    models = [strings.fretted(instrument, p) for p in paths]

    def each(name: str) -> Array:
        return np.array([float(getattr(m, name)) for m in models])

    fret_height = _over(d["fret_height"])
    lift = each("lift") + z_nut - np.array([p.z_nut for p in paths]) - fret_height
    at_saddle = each("lift") + each("rise") + z_saddle - [p.z_saddle for p in paths] - fret_height
    thicker = 1 + d["gauge"] / np.array([p.gauge for p in paths])
    # A string whose weight is given pulls as it does: thicker is stiffer; else it pulls more too.
    growth = np.array([2.0 if p.unit_weight is not None else 0.0 for p in paths])
    string = intonation.FrettedString(
        scale=instrument.board.scale,
        lift=lift,
        rise=at_saddle - lift,
        radius=each("radius") * thicker,
        stiffness=each("stiffness") * thicker**growth * np.exp(d["stiffness"]),
        finger=instrument.finger,
        relief=each("relief") + _over(d["relief"]) * bow,
    )
    ridge = np.array([p.compensation for p in paths]) + _over(d["front_at"])
    return intonation.cents(string, ridge, np.array([-p.front for p in paths]))


def _buzzes(
    clearance: Array, frets_z: Array, z_saddle: Array, length: Array, along: Array
) -> Array:
    """Whether an open string comes too near any fret, or a fretted one lies on a higher fret.

    Seen from the ridge every fret must lie steeper below than the one before it; then a string
    pressed to any fret is clear of all the frets between it and the ridge.
    """
    least = table("uncertainty")["buzz"]["least_open"]
    open_ = np.any(clearance < least, axis=-1)
    fall = (z_saddle[..., np.newaxis] - frets_z) / (length[..., np.newaxis] - along)
    return np.asarray(open_ | np.any(np.diff(fall, axis=-1) < 0, axis=-1), dtype=np.float64)


def scatter(
    job: Job, instrument: Instrument, *, samples: int = SAMPLES, seed: int = SEED
) -> InstrumentScatter:
    """Run the job's geometry ``samples`` times; the same seed gives the same answer."""
    d = draw(job, instrument, samples, seed)
    truth = true_strings(job, instrument, d)
    made = tuple(_string(instrument, truth, i) for i in range(len(instrument.strings)))
    shares = tuple(_shares(truth, d))
    buzz = float(np.mean(np.any(truth.buzzes, axis=1)))
    return InstrumentScatter(
        samples=samples,
        strings=made,
        buzz=buzz,
        shares=shares,
        words=tuple(_words(shares, buzz, made)),
    )


def _string(instrument: Instrument, truth: Truth, i: int) -> StringScatter:
    path = instrument.strings[i]
    return StringScatter(
        number=path.number,
        note=path.note,
        first_fret=_band(truth.clearance[:, i, 0]),
        action=_band(truth.clearance[:, i, 11]),
        break_angle=None if truth.bend is None else _band(truth.bend[:, i]),
        cents_first=_band(truth.cents[:, i, 0]),
        cents_twelfth=_band(truth.cents[:, i, 11]),
        buzz=float(np.mean(truth.buzzes[:, i])),
        binds=float(np.mean(truth.binds[:, i])),
    )


def _band(values: Array) -> Band:
    low, middle, high = np.percentile(values, [LOW, 50.0, HIGH])
    return Band(low=float(low), middle=float(middle), high=float(high))


def _shares(truth: Truth, d: Mapping[str, Array]) -> Iterator[Share]:
    """Squared correlations: as the sources are independent they add up to all that is linear."""
    results: list[tuple[str, Array, int]] = [
        ("clearance at fret 1", truth.clearance[..., 0], 0),
        ("action", truth.clearance[..., 11], 11),
        ("cents at fret 12", truth.cents[..., 11], 11),
    ]
    if truth.bend is not None:
        results.append(("break angle", truth.bend, 11))
    for name, values, fret in results:
        found = [
            Share(result=name, source=source, share=_share(values, drawn, source, fret))
            for source, drawn in d.items()
        ]
        yield from sorted(found, key=lambda f: -f.share)


def _share(values: Array, drawn: Array, source: str, fret: int) -> float:
    own = drawn[:, fret] if source == "board" else drawn
    own = own if source in PER_STRING else own[:, np.newaxis]
    a, b = values - values.mean(axis=0), own - own.mean(axis=0)
    spread = np.sum(a**2, axis=0) * np.sum(b**2, axis=0)
    squared = np.sum(a * b, axis=0) ** 2
    return float(np.mean(np.divide(squared, spread, out=np.zeros_like(squared), where=spread > 0)))


def _words(
    shares: tuple[Share, ...], buzz: float, made: tuple[StringScatter, ...]
) -> Iterator[str]:
    names, fix = table("uncertainty")["words"], table("uncertainty")["fix"]
    said: set[str] = set()
    for share in shares:
        if share.result in said:
            continue
        said.add(share.result)
        yield (
            f"{share.result}: {share.share:.0%} of the scatter comes from {names[share.source]}:"
            f" {fix[share.source]}"
        )
    if buzz > BUZZ_NOTICED:
        worst = max(made, key=lambda s: s.buzz)
        yield (
            f"{buzz:.0%} of instruments made so would buzz on some fret, string {worst.number}"
            f" ({worst.note}) first: {worst.buzz:.0%}"
        )
    for string in made:
        if string.binds > BUZZ_NOTICED:
            yield (
                f"string {string.number} ({string.note}) would bind in its slot in "
                f"{string.binds:.0%} of cases: more clearance, or try the slot with the string"
            )
