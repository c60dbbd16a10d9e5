"""Each string of an instrument as it sounds and pulls: tension, bend at the saddle, cents."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from blankcam.inputs.job import Job
from blankcam.instrument import intonation, pitch, tension
from blankcam.instrument.heights import Instrument, StringPath, with_compensation
from blankcam.instrument.tension import StringForce

_ROUNDS = 20
_SETTLED = 1e-6  # mm


@dataclass(frozen=True, slots=True, kw_only=True)
class StringData:
    """One string at pitch; newtons, radians, cents."""

    number: int
    note: str
    gauge: float
    force: StringForce
    break_angle: float | None
    """Bend at the ridge; None where the job does not say where the string leaves to."""
    downforce: float | None
    cents: tuple[float, ...]
    """Errors at frets 1 to 12 at the ridge really cut; positive is sharp."""
    cents_straight: tuple[float, ...]
    """The same with the ridge at the nominal scale length."""


def force(instrument: Instrument, string: StringPath) -> StringForce:
    """Weight, pull and stiffness of a string at its note."""
    return tension.string_force(
        make=string.make,
        gauge=string.gauge,
        scale=instrument.board.scale,
        frequency=pitch.hertz(string.note),
        unit_weight_given=string.unit_weight,
        stiffness_given=string.stiffness,
    )


def fretted(instrument: Instrument, string: StringPath) -> intonation.FrettedString:
    """What the fretted-string model needs of a string where it lies.

    Heights are over the straight line of the fret tops under this string from end to end, so that a
    curved board counts as the model's flat one; how far fret 12 lies under that line is relief.
    """
    pulled = force(instrument, string)
    at_saddle = string.z_saddle - _fret_top(instrument, string, string.ridge)
    return intonation.FrettedString(
        scale=instrument.board.scale,
        lift=string.lift,
        rise=at_saddle - string.lift,
        radius=pulled.bending_radius,
        stiffness=pulled.stiffness,
        finger=instrument.finger,
        relief=_drop(instrument, string),
    )


def _fret_top(instrument: Instrument, string: StringPath, s: float) -> float:
    return float(instrument.board.fret_top(s, string.across(np.array(s))))


def _drop(instrument: Instrument, string: StringPath) -> float:
    """How far fret 12 lies under the straight line over the fret tops at both of the
    string's ends.
    """
    s12 = float(instrument.board.fret_at(12))
    t = float(string.share(np.array(s12)))
    ends = [_fret_top(instrument, string, s) for s in (string.front, string.ridge)]
    return ends[0] * (1 - t) + ends[1] * t - _fret_top(instrument, string, s12)


def computed_compensation(instrument: Instrument) -> tuple[float, ...]:
    """The compensation that makes the errors over frets 1 to 12 least, the nut's edges as they are.

    The heights depend a little on the compensation, and it on the heights: solved in turn.
    """
    now = instrument
    forward = np.array([s.front for s in now.strings])
    found = intonation.saddle_compensation(_model(now), -forward)
    for _ in range(_ROUNDS):
        now, before = with_compensation(now, tuple(found)), found
        found = intonation.saddle_compensation(_model(now), -forward, before)
        if np.max(np.abs(found - before)) < _SETTLED:
            break
    return tuple(float(b) for b in found)


def _model(instrument: Instrument) -> intonation.FrettedString:
    """All strings of an instrument as one model."""
    return _together([fretted(instrument, s) for s in instrument.strings])


def _together(models: Sequence[intonation.FrettedString]) -> intonation.FrettedString:
    """All strings as one model of arrays: solved at once."""
    rows = [dataclasses.astuple(m) for m in models]
    return intonation.FrettedString(
        **{
            field.name: np.array([row[i] for row in rows])
            for i, field in enumerate(dataclasses.fields(intonation.FrettedString))
        }
    )


def string_data(job: Job, instrument: Instrument) -> tuple[StringData, ...]:
    """All strings of a job where they lie."""
    return tuple(_data(job, instrument, s) for s in instrument.strings)


def _data(job: Job, instrument: Instrument, string: StringPath) -> StringData:
    pulled, model = force(instrument, string), fretted(instrument, string)
    bend = None
    tie, run = job.saddle.tie_height, job.saddle.tie_run
    if job.blanks.saddle is not None and tie is not None and run is not None:
        bend = tension.break_angle(
            z_nut=string.z_nut,
            z_saddle=string.z_saddle,
            length=string.length,
            z_tie=instrument.bridge_top + tie,
            run=run,
        )
    return StringData(
        number=string.number,
        note=string.note,
        gauge=string.gauge,
        force=pulled,
        break_angle=bend,
        downforce=None if bend is None else tension.downforce(pulled.tension, bend),
        cents=tuple(float(c) for c in intonation.cents(model, string.compensation, -string.front)),
        cents_straight=tuple(float(c) for c in intonation.cents(model, 0.0, -string.front)),
    )


def cautions(job: Job, instrument: Instrument, data: tuple[StringData, ...]) -> Iterator[str]:
    """What is unlikely or unsafe about the strings, in words."""
    for string, found in zip(job.strings, data, strict=True):
        name = f"string {found.number} ({found.note})"
        yield from tension.force_cautions(
            found.force, note=name, make=string.make, kind=instrument.kind
        )
        if found.break_angle is not None:
            yield from tension.bend_cautions(found.break_angle, note=name)
    if job.blanks.saddle is None:
        return
    exposed = max(s.z_saddle for s in instrument.strings) - instrument.bridge_top
    yield from tension.lean_cautions(exposed=exposed, slot_depth=job.saddle.slot_depth)


def degrees(angle: float | None) -> float | None:
    """An angle for a report, where there is one."""
    return None if angle is None else math.degrees(angle)
