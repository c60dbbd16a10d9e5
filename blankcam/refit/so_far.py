"""What the book of parts says: how the parts stand now, and what happened to the clearances."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import takewhile

import numpy as np

from blankcam.data import table
from blankcam.inputs.readings_file import PartName
from blankcam.instrument.heights import StringPath
from blankcam.parts.design import Design
from blankcam.parts.stage import Stage
from blankcam.refit import as_cut
from blankcam.refit.as_cut import PartsAsCut, Taken
from blankcam.refit.book import (
    Entry,
    Made,
    NewStrings,
    NotCut,
    ReadingsTaken,
    Refitted,
    ShimPut,
    SlotsFilled,
)
from blankcam.refit.estimate import Array
from blankcam.refit.history import (
    CutDone,
    DesignedInstrument,
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

    designed: DesignedInstrument
    events: tuple[Event, ...]
    standing: PartsAsCut
    numbers: Mapping[PartName, int]
    """Of the parts on the instrument: nut 1, saddle 2; those that the job makes."""
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
    """The entries less what of each refit was never cut."""
    kept: list[Entry] = []
    for entry in entries:
        if not isinstance(entry, NotCut):
            kept.append(entry)
            continue
        for i in reversed(range(len(kept))):
            if isinstance(last := kept[i], Refitted):
                kept[i : i + 1] = _cut_of(last, entry)
                break
    return tuple(kept)


def _cut_of(asked: Refitted, but: NotCut) -> Iterator[Refitted]:
    """What was cut of a refit all the same: what it asked of the other part, if anything."""
    if but.part == "nut" and asks_of("saddle", asked):
        yield replace(asked, nut=dict.fromkeys(asked.nut, 0.0), top=False, widths={})
    elif but.part == "saddle" and asks_of("nut", asked):
        yield replace(
            asked,
            saddle=dict.fromkeys(asked.saddle, 0.0),
            trim="nothing",
            bottom_left=0.0,
            bottom_right=0.0,
        )


def asks_of(part: PartName, refit: Refitted) -> bool:
    """Whether a refit takes anything off a part."""
    if part == "saddle":
        return refit.trim != "nothing"
    return refit.top or bool(refit.widths) or any(refit.nut.values())


def so_far(entries: Sequence[Entry], made: Mapping[PartName, Design]) -> SoFar:
    """What counts of a book, replayed.

    Parameters
    ----------
    entries : those that count, beginning with the making of each part
    made : the design that each part now on the instrument was made from
    """
    kept = without_not_cut(entries)
    begun = _first_made(kept)
    any_design = _either(made)
    designed = designed_instrument(made, begun)
    reliefs = [e.relief for e in kept if isinstance(e, ReadingsTaken) and e.relief is not None]
    count = len(any_design.instrument.strings)
    return SoFar(
        designed=designed,
        events=tuple(_event(designed, e, count) for e in kept[len(begun) :]),
        standing=standing_after(kept, made),
        numbers={e.part: e.number for e in kept if isinstance(e, Made)},
        refits=sum(isinstance(e, Refitted) for e in kept),
        relief=reliefs[-1] if reliefs else any_design.job.board.relief,
        stage=Stage(next(iter(begun.values())).stage),
    )


def _either(made: Mapping[PartName, Design]) -> Design:
    """The nut's design, or where no nut is made the saddle's."""
    return made["nut"] if "nut" in made else made["saddle"]


def _first_made(kept: Sequence[Entry]) -> dict[PartName, Made]:
    """The entries that a book begins with: a part's making each."""
    begun = takewhile(lambda e: isinstance(e, Made), kept)
    return {e.part: e for e in begun if isinstance(e, Made)}


def designed_instrument(
    made: Mapping[PartName, Design], begun: Mapping[PartName, Made]
) -> DesignedInstrument:
    """The instrument as designed, in the refit's own terms.

    Parameters
    ----------
    made : the design of each part that the job makes
    begun : how each of them was first made
    """
    found = _either(made)
    paths = found.instrument.strings
    clearances = np.array([_clearances(found, p) for p in paths])
    across = np.array([p.u_saddle for p in paths])
    nut, saddle = begun.get("nut"), begun.get("saddle")
    return DesignedInstrument(
        first=Fret(name="first_fret", share=_shares(found, FIRST), promised=clearances[:, 0]),
        twelfth=Fret(name="action", share=_shares(found, TWELFTH), promised=clearances[:, 1]),
        places=across / np.max(np.abs(across)),
        hold_back=np.full(len(paths), _left_high(made, nut)),
        allowance=_left_high(made, saddle),
        cutting=cutting_of(nut.milled if nut else (), bool(saddle and saddle.milled), len(paths)),
        nut_made=nut is not None,
        saddle_made=saddle is not None,
    )


def _left_high(made: Mapping[PartName, Design], part: Made | None) -> float:
    """What a nut's floors or a saddle's top were left high by when made; 0 for none."""
    if part is None or Stage(part.stage) is not Stage.ROUGH:
        return 0.0
    found = made[part.part]
    if part.part == "nut":
        return as_cut.designed_nut(found).hold_back
    return as_cut.designed_saddle(found).allowance


def _clearances(found: Design, path: StringPath) -> Array:
    return path.clearance(found.instrument.board, np.array([FIRST, TWELFTH], dtype=float))


def _shares(found: Design, fret: int) -> Array:
    place = float(found.instrument.board.fret_at(fret))
    return np.array([(place - p.front) / p.length for p in found.instrument.strings])


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


def _event(designed: DesignedInstrument, entry: Entry, count: int) -> Event:
    """An entry as what it does to the clearances."""
    match entry:
        case ReadingsTaken():
            return reading_of(designed, entry, count)
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
            return restrung(designed, entry.pull)
        case NotCut():  # pragma: no cover: taken out before
            raise AssertionError


def restrung(designed: DesignedInstrument, pull: float) -> Restrung:
    """What other strings move: their pull, over the old ones', lifts the saddle's end
    by its share.
    """
    rise = float(table("refit")["prior"]["saddle"]["rise"])
    doubt = float(table("refit")["prior"]["twelfth"]["common"])
    more, half = pull - 1, designed.twelfth.share
    lifts = [f.share * rise * more for f in designed.frets]
    doubts = [f.share / half * doubt * abs(more) for f in designed.frets]
    return Restrung(first=lifts[0], twelfth=lifts[1], first_sd=doubts[0], twelfth_sd=doubts[1])


def reading_of(designed: DesignedInstrument, entry: ReadingsTaken, count: int) -> Reading:
    """Readings of the book as the estimate takes them."""
    loosened = None
    if entry.loosened:
        number = entry.loosened_string
        cause = Cause(
            kind=entry.loosened,  # type: ignore[arg-type]
            string=None if number is None else place_of(number, count),
            which=entry.loosened_which or None,  # type: ignore[arg-type]
        )
        loosened = loosened_by(designed, cause)
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
        d1, d3, d12 = (s - path.front for s in (s1, s3, s12))
        z_nut = (gap + f1 - f3 * d1 / d3) / (1 - d1 / d3)
        z_12 = f12 + read
        made.append(z_nut + (z_12 - z_nut) * d1 / d12 - f1)
    return np.array(made)


def standing_after(kept: Sequence[Entry], made: Mapping[PartName, Design]) -> PartsAsCut:
    """How the parts stand after all entries."""
    begun = _first_made(kept)
    nut, saddle = begun.get("nut"), begun.get("saddle")
    now = PartsAsCut(
        nut=as_cut.nut_as_made(made["nut"], Stage(nut.stage)) if nut else None,
        saddle=as_cut.saddle_as_made(made["saddle"], Stage(saddle.stage)) if saddle else None,
    )
    for entry in kept[len(begun) :]:
        now = _stands(now, entry, made)
    return now


def _stands(now: PartsAsCut, entry: Entry, made: Mapping[PartName, Design]) -> PartsAsCut:
    found = _either(made)
    count = len(found.instrument.strings)
    match entry:
        case Refitted():
            return as_cut.after(found, now, taken_of(entry, count))
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
            up = [-rise if f else 0.0 for f in flags_of(entry.strings, count)]
            return replace(now, nut=now.nut and as_cut.slots_lowered(now.nut, up))
        case _:
            return now
