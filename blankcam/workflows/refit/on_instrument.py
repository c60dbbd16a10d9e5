"""What is on the instrument: what the maker says has happened since, and what the book says."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Literal

from blankcam import digest
from blankcam.faults import Fault, InputError, RefusedError
from blankcam.inputs import job_file
from blankcam.inputs.job import Job
from blankcam.inputs.readings_file import LastRefit, OnInstrument, PartName, Readings
from blankcam.parts.design import Design, design
from blankcam.parts.part import FeatureKind
from blankcam.parts.stage import Stage
from blankcam.refit.book import (
    Entry,
    Made,
    NewStrings,
    NotCut,
    Refitted,
    ShimPut,
    SlotsFilled,
)
from blankcam.refit.so_far import SoFar, asks_of, so_far
from blankcam.workflows.layout import decided
from blankcam.workflows.refit.inputs import RefitInputs

_NOT_CUT: Mapping[LastRefit, PartName | Literal["both"]] = {
    "not cut": "both",
    "nut not cut": "nut",
    "saddle not cut": "saddle",
}


def said_since(given: RefitInputs, before: Sequence[Entry]) -> Iterator[Entry]:
    """What the maker says has happened since, as entries of the book."""
    readings = given.readings
    if not before:
        for part in given.makes:
            yield _made(given, part, 1)
    yield from _not_cut(readings, before)
    told: tuple[tuple[PartName, OnInstrument], ...] = (
        ("nut", readings.nut),
        ("saddle", readings.saddle),
    )
    for part, on_it in told:
        if on_it.new and before:
            number = max(e.number for e in before if isinstance(e, Made) and e.part == part)
            yield _made(given, part, number + 1)
        if on_it.shim:
            yield ShimPut(part=part, by=on_it.shim)
    if readings.filled:
        yield SlotsFilled(strings=readings.filled)
    yield from _new_strings(given, before)


def _not_cut(readings: Readings, before: Sequence[Entry]) -> Iterator[NotCut]:
    """What was not cut of the last refit."""
    if readings.last_refit == "cut":
        return
    part = _NOT_CUT[readings.last_refit]
    last = next((e for e in reversed(before) if isinstance(e, Refitted)), None)
    wrong = None
    if last is None:
        wrong = "the book knows of no refit"
    elif part != "both" and not asks_of(part, last):
        wrong = f"the last refit asked for nothing on the {part}"
    if wrong is not None:
        raise InputError(
            Fault(
                where=readings.path,
                key="readings.last_refit",
                found=readings.last_refit,
                wrong=wrong,
                fix="leave it out",
            )
        )
    yield NotCut(part=part)


def _made(given: RefitInputs, part: PartName, number: int) -> Made:
    return Made(
        part=part,
        number=number,
        stage=given.readings.stage,
        job=given.text,
        milled=_milled(given, part),
    )


def _milled(given: RefitInputs, part: PartName) -> tuple[int, ...]:
    """Strings whose slots the machine cut; of a saddle every string where it cut the crown."""
    made = decided(given.found, given.profile, Stage(given.readings.stage))
    by_machine = [
        d.feature
        for each in made
        if each.request.part.name == part
        for d in each.decisions
        if d.tool is not None
    ]
    if any(f.kind is FeatureKind.CROWN for f in by_machine):
        return tuple(range(given.count, 0, -1))
    slots = {f.string for f in by_machine if f.kind is FeatureKind.SLOT}
    return tuple(n for n in range(given.count, 0, -1) if n in slots)


def _new_strings(given: RefitInputs, before: Sequence[Entry]) -> Iterator[NewStrings]:
    """Other strings than the parts were made for, or were refitted with last."""
    texts = [e.job for e in before if isinstance(e, Made | NewStrings)]
    if not texts:
        if not given.readings.any_read:
            raise InputError(_none_before(given))
        return
    last = job_file.parse(texts[-1], given.found.job.path)
    if _strings_of(last) != _strings_of(given.found.job):
        pulls = [sum(s.force.tension for s in f.strings) for f in (design(last), given.found)]
        yield NewStrings(job=given.text, pull=pulls[1] / pulls[0])


def _none_before(given: RefitInputs) -> Fault:
    return Fault(
        where=given.readings.path,
        key="readings.strings",
        found="new",
        wrong="no strings were read on these parts yet: the book knows of none",
        fix="read first_fret and action; or make the parts for the job's strings",
    )


def _strings_of(job: Job) -> str:
    return json.dumps([dataclasses.asdict(s) for s in job.strings], sort_keys=True)


def _shape_of(job: Job) -> str:
    """All in a job that says how its parts stand, but the strings: neither machine nor doubts."""
    names = ("instrument", "board", "nut", "saddle", "blanks")
    values = {n: v for n, v in dataclasses.asdict(job).items() if n in names}
    return digest.of_text(json.dumps(values, sort_keys=True))


def book_replayed(given: RefitInputs, entries: Sequence[Entry]) -> SoFar:
    """The book replayed, the job it was begun with still being this one."""
    return so_far(entries, designs_made(given.found, entries))


def designs_made(found: Design, entries: Sequence[Entry]) -> dict[PartName, Design]:
    """What the parts now on the instrument were made from; refused where the job is another."""
    made: dict[PartName, Design] = {}
    shape = _shape_of(found.job)
    for entry in entries:
        if isinstance(entry, Made):
            job = job_file.parse(entry.job, found.job.path)
            if _shape_of(job) != shape or len(job.strings) != len(found.job.strings):
                raise RefusedError(_changed(found))
            made[entry.part] = design(job)
    return made


def _changed(found: Design) -> Fault:
    return Fault(
        where=found.job.path,
        wrong="the job was changed after its parts were strung: they no longer stand as it says",
        fix="put the old values back, and new targets as want_first_fret and want_action into the"
        " readings; other strings may stay; or, for new parts, move the book of parts away",
    )
