"""What the book of parts says: how the parts stand now, and what happened to the clearances."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from blankcam.data import table
from blankcam.instrument.heights import StringPath
from blankcam.parts.design import Design
from blankcam.parts.stage import Stage
from blankcam.refit import as_cut
from blankcam.refit.as_cut import Standing, Taken
from blankcam.refit.book import (
    Entry,
    Made,
    NewStrings,
    NotCut,
    PartName,
    ReadingsTaken,
    Refitted,
    ShimPut,
    SlotsFilled,
)
from blankcam.refit.estimate import Array
from blankcam.refit.history import (
    Bench,
    CutDone,
    Event,
    Filled,
    Fret,
    NewPart,
    Reading,
    Restrung,
    Shimmed,
)
from blankcam.refit.numbers import flags_of, from_bass, place_of
from blankcam.refit.questions import Cause, loosened_by
from blankcam.refit.spreads import By, Cutting, cutting_by

FIRST, TWELFTH = 1, 12


@dataclass(frozen=True, slots=True, kw_only=True)
class SoFar:
    """An instrument as the book has it."""

    bench: Bench
    events: tuple[Event, ...]
    standing: Standing
    nut_number: int
    saddle_number: int
    refits: int
    """That were cut, or were to be."""
    relief: float
    """As last read, else the job's."""
    stage: Stage
    """What the parts were made to."""


def calls_of(entries: Sequence[Entry]) -> tuple[tuple[Entry, ...], ...]:
    """The entries of each refit: up to its readings and what was asked for by them."""
    calls: list[list[Entry]] = []
    open_call = False
    for entry in entries:
        if not open_call or (
            any(isinstance(e, ReadingsTaken) for e in calls[-1]) and not isinstance(entry, Refitted)
        ):
            calls.append([])
            open_call = True
        calls[-1].append(entry)
        if isinstance(entry, Refitted):
            open_call = False
    return tuple(tuple(c) for c in calls)


def digest_of(call: Sequence[Entry]) -> str:
    """Of the readings of one refit."""
    return next((e.digest for e in call if isinstance(e, ReadingsTaken)), "")


def standing_calls(entries: Sequence[Entry]) -> tuple[tuple[Entry, ...], ...]:
    """The refits that count: the same readings again stand in the place of those before."""
    kept: list[tuple[Entry, ...]] = []
    for call in calls_of(entries):
        if kept and digest_of(kept[-1]) == digest_of(call):
            kept.pop()
        kept.append(call)
    return tuple(kept)


def without_not_cut(entries: Sequence[Entry]) -> tuple[Entry, ...]:
    """The entries less each refit that was never cut."""
    kept: list[Entry] = []
    for entry in entries:
        if not isinstance(entry, NotCut):
            kept.append(entry)
            continue
        last = next((i for i in reversed(range(len(kept))) if isinstance(kept[i], Refitted)), None)
        if last is not None:
            del kept[last]
    return tuple(kept)


def so_far(entries: Sequence[Entry], made: dict[PartName, Design]) -> SoFar:
    """What counts of a book, replayed.

    Parameters
    ----------
    entries : those that count, beginning with both parts' making
    made : the design that each part now on the instrument was made from
    """
    kept = without_not_cut(entries)
    first = [e for e in kept if isinstance(e, Made)][:2]
    count = len(made["nut"].instrument.strings)
    bench = bench_of(made["nut"], made["saddle"], first[0], first[1])
    numbers = {e.part: e.number for e in kept if isinstance(e, Made)}
    reliefs = [e.relief for e in kept if isinstance(e, ReadingsTaken) and e.relief is not None]
    return SoFar(
        bench=bench,
        events=tuple(_event(bench, e, count) for e in kept[2:]),
        standing=standing_after(kept, made),
        nut_number=numbers["nut"],
        saddle_number=numbers["saddle"],
        refits=sum(isinstance(e, Refitted) for e in kept),
        relief=reliefs[-1] if reliefs else made["nut"].job.board.relief,
        stage=Stage(first[0].stage),
    )


def bench_of(nut: Design, saddle: Design, nut_made: Made, saddle_made: Made) -> Bench:
    """The instrument as designed, in the refit's own terms."""
    paths = nut.instrument.strings
    clearances = np.array([_clearances(nut, p) for p in paths])
    across = np.array([p.u_saddle for p in paths])
    rough = Stage(nut_made.stage) is Stage.ROUGH
    saddle_rough = Stage(saddle_made.stage) is Stage.ROUGH
    return Bench(
        first=Fret(name="first_fret", share=_shares(nut, FIRST), promised=clearances[:, 0]),
        twelfth=Fret(name="action", share=_shares(nut, TWELFTH), promised=clearances[:, 1]),
        places=across / np.max(np.abs(across)),
        hold_back=np.full(len(paths), as_cut.both_parts(nut)[0].hold_back if rough else 0.0),
        allowance=as_cut.both_parts(saddle)[1].allowance if saddle_rough else 0.0,
        cutting=cutting_of(nut_made.milled, bool(saddle_made.milled), len(paths)),
    )


def _clearances(found: Design, path: StringPath) -> Array:
    return path.clearance(found.instrument.board, np.array([FIRST, TWELFTH], dtype=float))


def _shares(found: Design, fret: int) -> Array:
    place = float(found.instrument.board.fret_at(fret))
    return np.array([place / p.length for p in found.instrument.strings])


def cutting_of(milled: Sequence[int], saddle_milled: bool, count: int) -> Cutting:
    """Who cuts, from the numbers of the strings whose slots the machine cuts."""
    by: tuple[By, ...] = tuple("mill" if m else "files" for m in flags_of(milled, count))
    return cutting_by(by, "mill" if saddle_milled else "files")


def taken_of(entry: Refitted, count: int) -> Taken:
    """What a refit of the book took."""
    return Taken(
        nut=tuple(float(v) for v in from_bass(entry.nut, count)),
        saddle=tuple(float(v) for v in from_bass(entry.saddle, count)),
        trim=entry.trim,
        bottom_left=entry.bottom_left,
        bottom_right=entry.bottom_right,
        top=entry.top,
        widths=tuple(float(v) for v in from_bass(entry.widths, count)) if entry.widths else (),
    )


def _event(bench: Bench, entry: Entry, count: int) -> Event:
    """An entry as what it does to the clearances."""
    match entry:
        case ReadingsTaken():
            return reading_of(bench, entry, count)
        case Refitted():
            return CutDone(
                nut=from_bass(entry.nut, count),
                saddle=from_bass(entry.saddle, count),
                trim=entry.trim,
                cutting=cutting_of(entry.milled, entry.saddle_milled, count),
            )
        case Made():
            return NewPart(part=entry.part)
        case ShimPut():
            return Shimmed(part=entry.part, by=entry.by)
        case SlotsFilled():
            return Filled(strings=tuple(place_of(n, count) for n in entry.strings))
        case NewStrings():
            return restrung(bench, entry.pull)
        case NotCut():  # pragma: no cover: taken out before
            raise AssertionError


def restrung(bench: Bench, pull: float) -> Restrung:
    """What other strings move: their pull, over the old ones', lifts the saddle's end by its share."""
    rise = float(table("refit")["prior"]["saddle"]["rise"])
    doubt = float(table("refit")["prior"]["twelfth"]["common"])
    more, half = pull - 1, bench.twelfth.share
    lifts = [f.share * rise * more for f in bench.frets]
    doubts = [f.share / half * doubt * abs(more) for f in bench.frets]
    return Restrung(first=lifts[0], twelfth=lifts[1], first_sd=doubts[0], twelfth_sd=doubts[1])


def reading_of(bench: Bench, entry: ReadingsTaken, count: int) -> Reading:
    """Readings of the book as the estimate takes them."""
    loosened = None
    if entry.loosened:
        number = entry.loosened_string
        cause = Cause(
            kind=entry.loosened,  # type: ignore[arg-type]
            string=None if number is None else place_of(number, count),
            which=entry.loosened_which or None,  # type: ignore[arg-type]
        )
        loosened = loosened_by(bench, cause)
    return Reading(
        first_fret=with_held(from_bass(entry.first_fret, count), from_bass(entry.held, count)),
        action=from_bass(entry.action, count),
        uncertainty=entry.uncertainty,
        loosened=loosened,
    )


def with_held(read: Array, held: Array) -> Array:
    """Clearances over fret 1, those from the held strings with them where there are both.

    A gap with the string held at fret 3 is 0.65 of the lift, so that it tells a clearance half as
    sharply again as a reading of it would: weight 1 / 1.55² against 1.
    """
    weight = 1 / 1.55**2
    both = (read + weight * held) / (1 + weight)
    return np.where(np.isnan(read), held, np.where(np.isnan(held), read, both))


def first_from_held(found: Design, gaps: Array, action: Array) -> Array:
    """The clearance over fret 1 of the open string, from the gap there with it held at fret 3.

    Held there the string runs straight from the nut to fret 3's top, which gives its height at the
    nut; with the action that gives the open string. NaN where either reading is missing.
    """
    board = found.instrument.board
    s1, s3, s12 = (float(board.fret_at(n)) for n in (1, 3, 12))
    made = []
    for path, gap, read in zip(found.instrument.strings, gaps, action, strict=True):
        f1, f3, f12 = (float(board.fret_top(s, path.across(np.array(s)))) for s in (s1, s3, s12))
        z_nut = (gap + f1 - f3 * s1 / s3) / (1 - s1 / s3)
        z_12 = f12 + read
        made.append(z_nut + (z_12 - z_nut) * s1 / s12 - f1)
    return np.array(made)


def standing_after(kept: Sequence[Entry], made: dict[PartName, Design]) -> Standing:
    """How the parts stand after all entries."""
    first = {e.part: Stage(e.stage) for e in reversed(kept[:2]) if isinstance(e, Made)}
    now = Standing(
        nut=as_cut.nut_as_made(made["nut"], first["nut"]),
        saddle=as_cut.saddle_as_made(made["saddle"], first["saddle"]),
    )
    for entry in kept[2:]:
        now = _stands(now, entry, made)
    return now


def _stands(now: Standing, entry: Entry, made: dict[PartName, Design]) -> Standing:
    count = len(now.nut.slots)
    match entry:
        case Refitted():
            return as_cut.after(made["nut"], now, taken_of(entry, count))
        case Made(part="nut"):
            nut = as_cut.nut_as_made(made["nut"], Stage(entry.stage))
            return replace(now, nut=nut, nut_shim=0.0)
        case Made():
            saddle = as_cut.saddle_as_made(made["saddle"], Stage(entry.stage))
            return replace(now, saddle=saddle, saddle_shim=0.0)
        case ShimPut(part="nut"):
            return replace(now, nut_shim=now.nut_shim + entry.by)
        case ShimPut():
            return replace(now, saddle_shim=now.saddle_shim + entry.by)
        case SlotsFilled():
            rise = float(table("refit")["part"]["filled_rise"])
            flags = flags_of(entry.strings, count)
            return replace(
                now, nut=as_cut.slots_lowered(now.nut, [-rise if f else 0.0 for f in flags])
            )
        case _:
            return now
