"""What a refit is told: the job, the readings, the machine; and what the maker wants of it."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from blankcam.faults import RefusedError
from blankcam.inputs import job_file, readings_file
from blankcam.inputs.border import read_text
from blankcam.inputs.machine import Profile
from blankcam.inputs.readings_file import PARTS, ByString, PartName, Readings
from blankcam.inputs.units import Units
from blankcam.parts.design import Design, design
from blankcam.parts.saddle import Saddle
from blankcam.refit.cut_choice import Crossings
from blankcam.refit.numbers import from_bass
from blankcam.refit.spreads import Cutting
from blankcam.refit.verdict import Aims
from blankcam.workflows.request import drawn_as, machine_of


@dataclass(frozen=True, slots=True, kw_only=True)
class RefitInputs:
    """What a refit is told, all but the book."""

    found: Design
    """The job as it is now: the targets, and the strings that are on."""
    text: str
    """Of the job file."""
    readings: Readings
    profile: Profile

    @property
    def makes(self) -> tuple[PartName, ...]:
        """The parts that the job makes."""
        return tuple(name for name in PARTS if getattr(self.found, name) is not None)

    @property
    def count(self) -> int:
        """How many strings."""
        return len(self.found.job.strings)


def read_inputs(
    job_path: str, readings_path: str, machine: str | None, units: Units | None = None
) -> RefitInputs:
    """The job, the readings and the machine, read and checked; raises BlankcamError."""
    text = read_text(job_path)
    job = job_file.parse(text, job_path)
    makes = {name for name in PARTS if getattr(job.blanks, name) is not None}
    readings = readings_file.load(readings_path, len(job.strings), makes)
    profile = drawn_as(machine_of(job, machine), units=units)
    return RefitInputs(found=design(job), text=text, readings=readings, profile=profile)


def aims_of(given: RefitInputs, cutting: Cutting) -> Aims:
    """What the maker wants: the job's clearances, or those of the readings file."""
    found = wanted_design(given)
    instrument, saddle = found.instrument, given.found.saddle
    frets = np.array([1.0, 12.0])
    wanted = np.array([s.clearance(instrument.board, frets) for s in instrument.strings])
    return Aims(
        first_fret=wanted[:, 0],
        action=wanted[:, 1],
        cutting=cutting,
        nut_made=found.nut is not None,
        saddle=None if saddle is None else _crossings(saddle),
    )


def _crossings(saddle: Saddle) -> Crossings:
    return Crossings(centres=np.array([s.centre for s in saddle.strings]), length=saddle.length)


def wanted_design(given: RefitInputs) -> Design:
    """The design with the targets of the readings file, checked like any other."""
    job, readings = given.found.job, given.readings
    if not readings.want_first_fret and not readings.want_action:
        return given.found
    nut, saddle = job.nut, job.saddle
    if readings.want_first_fret:
        nut = dataclasses.replace(
            nut,
            first_fret=_each(readings.want_first_fret, given.count),
            third_fret=None,
            lift=None,
        )
    if readings.want_action:
        saddle = dataclasses.replace(saddle, action=_each(readings.want_action, given.count))
    try:
        return design(dataclasses.replace(job, nut=nut, saddle=saddle))
    except RefusedError as refused:
        raise RefusedError(
            [
                dataclasses.replace(f, where=readings.path, key=_asked_by(readings, f.key))
                for f in refused.faults
            ]
        ) from None


def _asked_by(readings: Readings, key: str) -> str:
    """The target of the readings file that a fault of the design comes from, and the
    fault's key.
    """
    of_nut = (key.startswith("nut.") and readings.want_first_fret) or not readings.want_action
    return f"readings.{'want_first_fret' if of_nut else 'want_action'}: {key}"


def _each(values: ByString, count: int) -> tuple[float, ...]:
    return tuple(float(v) for v in from_bass(values, count))
