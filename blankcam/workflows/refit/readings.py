"""One set of readings: taken down, foreseen, and questioned where it surprises."""

from __future__ import annotations

import dataclasses

import numpy as np

from blankcam.faults import Fault, RefusedError
from blankcam.inputs import readings_file
from blankcam.inputs.readings_file import PartName
from blankcam.outputs.papers import refit_words
from blankcam.outputs.papers.refit_words import Surprise
from blankcam.parts.stage import Stage
from blankcam.refit.book import ReadingsTaken
from blankcam.refit.estimate import Array
from blankcam.refit.numbers import by_number, from_bass, number_at
from blankcam.refit.questions import Known
from blankcam.refit.so_far import SoFar, first_from_held, reading_of
from blankcam.refit.verdict import Judged, judge_reading, unread
from blankcam.workflows.refit.inputs import RefitInputs

_RELIEF_NOTICED = 0.02  # mm a relief may differ by before it is a cause


def judged_readings(given: RefitInputs, known: SoFar) -> tuple[Judged, ReadingsTaken]:
    """The readings foreseen and questioned; raises RefusedError where they surprise."""
    entry = _taken_down(given)
    reading = reading_of(known.designed, entry, given.count)
    if not given.readings.any_read:
        return unread(known.designed, known.events, reading), entry
    confirmed = given.readings.twice
    judged = judge_reading(
        known.designed, known.events, reading, _known(given, known), confirmed=confirmed
    )
    if judged.asked:
        raise RefusedError(_questions(given, known, judged))
    if judged.reading.loosened is not None:
        cause = judged.weighed.explanations[0].cause
        number = None if cause.string is None else number_at(cause.string, given.count)
        entry = dataclasses.replace(
            entry, loosened=cause.kind, loosened_string=number, loosened_which=cause.which or ""
        )
    return judged, entry


def _taken_down(given: RefitInputs) -> ReadingsTaken:
    """The readings as an entry of the book."""
    readings, count = given.readings, given.count
    gaps, action = from_bass(readings.third_fret, count), from_bass(readings.action, count)
    held = first_from_held(given.found, gaps, action)
    return ReadingsTaken(
        digest=readings.digest,
        first_fret=dict(readings.first_fret),
        action=dict(readings.action),
        held={n: v for n, v in by_number(held).items() if not np.isnan(v)},
        uncertainty=readings.uncertainty,
        relief=readings.relief,
        settled=readings.settled,
        measured="twice" if readings.twice else "once",
    )


def _known(given: RefitInputs, known: SoFar) -> Known:
    """What else the maker said that bears on the readings."""
    readings, board = given.readings, given.found.instrument.board
    lift = None
    if readings.relief is not None and abs(readings.relief - known.relief) > _RELIEF_NOTICED:
        bow = float(dataclasses.replace(board, relief=1.0).dip(board.fret_at(np.array(12.0))))
        lift = np.full(given.count, (readings.relief - known.relief) * bow)
    other_nut, other_saddle = None, 0.0
    if not known.events:
        nut, saddle = given.found.nut, given.found.saddle
        sign = -1.0 if known.stage is Stage.ROUGH else 1.0
        other_nut = np.full(given.count, sign * nut.hold_back if nut else 0.0)
        other_saddle = sign * saddle.allowance if saddle else 0.0
    return Known(
        young=readings_file.is_young(readings),
        relief_lift=lift,
        other_stage_nut=other_nut,
        other_stage_saddle=other_saddle,
    )


def _questions(given: RefitInputs, known: SoFar, judged: Judged) -> list[Fault]:
    """A fault for what surprised, and one for each likely cause, the likeliest first."""
    surprise = _surprise(given, known, judged)
    path = given.readings.path
    key = "readings.first_fret" if surprise.fret == 1 else "readings.action"
    faults = [
        Fault(
            where=path,
            key=key,
            wrong=refit_words.surprise_words(surprise),
            fix=refit_words.CONFIRM,
        )
    ]
    for place, (wrong, fix) in enumerate(refit_words.cause_words(surprise), start=1):
        faults.append(Fault(where=path, key=f"likely cause {place}", wrong=wrong, fix=fix))
    return faults


def _surprise(given: RefitInputs, known: SoFar, judged: Judged) -> Surprise:
    off = [
        (read - seen.mean, seen)
        for read, seen in (
            (judged.reading.first_fret, judged.first),
            (judged.reading.action, judged.twelfth),
        )
    ]
    far = np.array([np.nan_to_num(np.abs(o) / seen.band) for o, seen in off])
    fret, place = np.unravel_index(int(np.argmax(far)), far.shape)
    difference, seen = off[int(fret)]
    shares = (known.designed.first.share, known.designed.twelfth.share)
    at_nut = float(np.nanmean(_or_zero(off[0][0] / (1 - shares[0]))))
    at_saddle = float(np.nanmean(_or_zero(off[1][0] - (1 - shares[1]) * at_nut) / shares[1]))
    return Surprise(
        explanations=judged.weighed.explanations,
        strings=given.count,
        worst=number_at(int(place), given.count),
        fret=(1, 12)[int(fret)],
        read=float(seen.mean[place] + difference[place]),
        foreseen=float(seen.mean[place]),
        band=float(seen.band[place]),
        nut_rise=at_nut,
        saddle_rise=at_saddle,
        part_names=(_name("nut", known), _name("saddle", known)),
    )


def _name(part: PartName, known: SoFar) -> str:
    """``nut 1``; of a part that the job does not make its kind alone."""
    number = known.numbers.get(part)
    return part if number is None else f"{part} {number}"


def _or_zero(values: Array) -> Array:
    return values if np.any(~np.isnan(values)) else np.zeros_like(values)
