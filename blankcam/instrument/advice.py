"""What to tell the maker about strings and heights: what is unlikely, what moves what, what to
trust.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

import numpy as np

from blankcam.data import table
from blankcam.inputs.job import Graded, Job, PerString
from blankcam.inputs.units import parse_length
from blankcam.instrument import tension
from blankcam.instrument.heights import Instrument, StringPath, per_string
from blankcam.instrument.pitch import semitone
from blankcam.instrument.strings import StringData

NEAR_NUT = 3  # frets where the lift at the nut weighs most
SENSITIVITIES = (
    # Fret n moves by 1 - 2^(-n/12) of a change at the saddle and by the rest of one at the nut.
    "0.1 mm at the saddle moves the clearance at fret 12 by 0.05 mm and at fret 1 by 0.006 mm",
    "0.1 mm at the nut moves the clearance at fret 1 by 0.094 mm and at fret 12 by 0.05 mm",
)


def left_as_it_is(job: Job) -> Iterator[str]:
    """What the new part changes at the other fret, where the job makes one part alone."""
    if job.blanks.saddle is None:
        yield (
            "no saddle is made: the action is taken as it will be with the new nut in; each 0.1 mm "
            "that a slot lies lower than the old nut's lowers it by 0.05 mm"
        )
    if job.blanks.nut is None:
        yield (
            "no nut is made: the clearance at fret 1 is taken as it will be with the new saddle "
            "in; each 0.1 mm that the saddle is lower than the old one lowers it by 0.006 mm"
        )


def model_words(instrument: Instrument) -> str:
    """What the cents are and what they are good for, with the finger they are reckoned with."""
    return (
        "cents: a model of the fretted string (stretch, stiffness, heights, relief), pressed"
        f" {instrument.finger:g} mm behind the fret; with 10 mm it came within 0.15 cent of the"
        " ranges measured on one classical guitar; a stiffness from a table moves the cents by more"
        " than that, and listeners heard no difference between straight and individual"
        " compensation: use the cents to compare, not as the truth"
    )


def usual_heights(kind: str, strings: Sequence[StringPath]) -> list[tuple[float, float]]:
    """Clearance at fret 1 and action usual for a kind, mm, a string each; see data/targets.toml."""
    usual = table("typical")[kind]
    first, action = usual["nut"]["first_fret"], usual["saddle"]["action"]

    def graded(ends: Mapping[str, str]) -> Graded:
        return Graded(bass=parse_length(ends["bass"]), treble=parse_length(ends["treble"]))

    return list(
        zip(
            per_string(graded(first), [s.u_nut for s in strings]),
            per_string(graded(action), [s.u_saddle for s in strings]),
            strict=True,
        )
    )


def total_tension(data: Sequence[StringData]) -> float:
    """Pull of the whole set, newtons."""
    return math.fsum(s.force.tension for s in data)


def cautions(job: Job, instrument: Instrument, data: Sequence[StringData]) -> Iterator[str]:
    """What is unlikely about weights, errors at the frets and heights, a line each."""
    for string, found in zip(job.strings, data, strict=True):
        name = f"string {found.number} ({found.note})"
        yield from tension.weight_cautions(
            found.force, note=name, make=string.make, gauge=string.gauge
        )
        worst = int(np.argmax(np.abs(found.cents)))
        if abs(found.cents[worst]) > table("limits")["cents"]["fret"]:
            high_nut = found.cents[worst] > 0 and worst < NEAR_NUT
            fix = (
                "ask for less clearance at fret 1"
                if high_nut
                else "check action, gauge and front_at"
            )
            yield f"{name}: {found.cents[worst]:+z.1f} cents off at fret {worst + 1} in all: {fix}"
    yield from _height_cautions(instrument)
    yield from _sides_cautions(job)


def _sides_cautions(job: Job) -> Iterator[str]:
    """What looks as if bass and treble were swapped."""
    pitches = _lowest_by_course(job)
    if len(pitches) > 2 and all(bass > treble for bass, treble in pairwise(pitches)):
        yield (
            f"string 1 ({job.strings[-1].note}) is the lowest and string {len(job.strings)} "
            f"({job.strings[0].note}) the highest: 1 is the outermost on the treble side; number "
            "them the other way round, unless it is strung so"
        )
    most = table("limits")["sides"]
    heights = {key: getattr(job.nut, key) for key in ("first_fret", "third_fret", "lift")}
    for key, value in {**heights, "action": job.saddle.action}.items():
        bass, treble = _outer(value)
        if treble - bass > most["height"] - 1e-9:
            yield (
                f"{key}: {treble:.2f} mm at the treble and {bass:.2f} mm at the bass, where most"
                " instruments want more room at the bass: are the two swapped?"
            )
    bass, treble = _outer(job.saddle.front_at)
    if treble - bass > most["front"] and job.blanks.saddle is not None:
        yield (
            f"front_at: {bass:.1f} mm at the bass and {treble:.1f} mm at the treble, where most "
            "slots lie further from the nut at the bass: are the two swapped?"
        )


def _lowest_by_course(job: Job) -> list[int]:
    """The lowest note of each course from the bass side, in semitones."""
    courses = [string.course or string.number for string in job.strings]
    notes = [semitone(string.note) for string in job.strings]
    lowest: dict[int, int] = {}
    for course, note in zip(courses, notes, strict=True):
        lowest[course] = min(note, lowest.get(course, note))
    return list(lowest.values())


def _outer(value: PerString | None) -> tuple[float, float]:
    """A value at the bass and at the treble string; zeros where there is none."""
    if value is None:
        return 0.0, 0.0
    return (value.bass, value.treble) if isinstance(value, Graded) else (value[0], value[-1])


def _height_cautions(instrument: Instrument) -> Iterator[str]:
    usual = table("targets")[instrument.kind]
    for string in instrument.strings:
        y1, y12 = string.clearance(instrument.board, np.array([1.0, 12.0]))
        for value, key, words in (
            (y1, "first_fret_range", "clearance at fret 1"),
            (y12, "action_range", "action at fret 12"),
        ):
            low, high = usual[key]
            if not low - 1e-9 <= value <= high + 1e-9:
                yield (
                    f"string {string.number} ({string.note}): {words} of {value:.2f} mm is outside "
                    f"the {low:g} to {high:g} mm usual for a {instrument.kind}: check it, unless "
                    "you mean it"
                )
    low, high = usual["relief_range"]
    relief = instrument.board.relief
    if not low <= relief <= high:
        yield (
            f"relief of {relief:.2f} mm is outside the {low:g} to {high:g} mm usual: set the neck "
            "and measure it again"
        )
