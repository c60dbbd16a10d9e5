"""Both parts of a job and everything computed on the way: what every command begins with."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from blankcam.data import table
from blankcam.faults import Fault, RefusedError
from blankcam.inputs.job import Job
from blankcam.inputs.job_file import MEASURED
from blankcam.instrument import advice, strings
from blankcam.instrument import heights as instruments
from blankcam.instrument.advice import NutEdge
from blankcam.instrument.heights import Instrument
from blankcam.instrument.strings import StringData
from blankcam.parts import blank, nut, saddle
from blankcam.parts.nut import Nut
from blankcam.parts.saddle import Saddle
from blankcam.parts.whole_design import whole_design_faults

RESIDUAL_NOTICED = 0.05  # mm the saddle's top may be off a string's height likewise


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A job worked out."""

    job: Job
    instrument: Instrument
    nut: Nut
    saddle: Saddle
    strings: tuple[StringData, ...]
    checks: tuple[blank.Check, ...]
    cautions: tuple[str, ...]
    edges: tuple[NutEdge, ...]
    """Where the nut's edges would lie; empty unless the job asks."""


def design(job: Job) -> Design:
    """Work a job out.

    Raises
    ------
    RefusedError
        With every reason found why the parts must not be made so.
    """
    start = instruments.build(job)
    wanted = _wanted_compensation(job, start)
    instrument = instruments.with_compensation(
        start, saddle.reached_compensation(job, start, wanted)
    )
    faults: list[Fault] = []
    made: list[Nut | Saddle] = []
    checks: list[blank.Check] = []
    for build in (
        lambda: nut.build(job, instrument),
        lambda: saddle.build(job, instrument, wanted),
    ):
        try:
            part = build()
            made.append(part)
            checks += blank.check(job, part)
        except RefusedError as refused:
            faults += refused.faults
    if faults:
        raise RefusedError(faults)
    the_nut, the_saddle = made
    assert isinstance(the_nut, Nut)
    assert isinstance(the_saddle, Saddle)
    data = strings.string_data(job, instrument)
    if faults := list(whole_design_faults(job, instrument, the_nut, data)):
        raise RefusedError(faults)
    edges = advice.nut_edges(job, instrument)
    cautions = [
        *advice.edge_cautions(edges, data),
        *(c.caution for c in checks if c.caution),
        *_cautions(job, the_nut, the_saddle),
        *strings.cautions(job, instrument, data),
        *advice.cautions(job, instrument, data),
    ]
    return Design(
        job=job,
        instrument=instrument,
        nut=the_nut,
        saddle=the_saddle,
        strings=data,
        checks=tuple(checks),
        cautions=tuple(cautions),
        edges=edges,
    )


def _wanted_compensation(job: Job, start: Instrument) -> tuple[float, ...]:
    asked = job.saddle.compensation
    if asked == "none":
        return (0.0,) * len(start.strings)
    if isinstance(asked, str):
        return strings.computed_compensation(start)
    return instruments.per_string(asked, [s.u_saddle for s in start.strings])


def _cautions(job: Job, the_nut: Nut, the_saddle: Saddle) -> Iterator[str]:
    if assumed := [key for key in MEASURED if key in job.assumed]:
        yield f"not measured but assumed for a {job.instrument.kind}: {', '.join(assumed)}"
    low = table("limits")["nut"]["lift_caution"]
    for slot in the_nut.slots:
        if slot.lift < low:
            yield (
                f"string {slot.string} ({slot.note}) stands only {slot.lift:.3f} mm over the "
                "line of the frets at the nut: it may touch fret 1 when open"
            )
    for seat in the_saddle.strings:
        if abs(seat.cents) >= table("limits")["cents"]["ridge"]:
            yield (
                f"string {seat.string} ({seat.note}) wants "
                f"{seat.wanted_compensation:.2f} mm of compensation but the saddle "
                f"reaches {seat.compensation:.2f} mm: that "
                f"alone is {seat.cents:+z.1f} cents at fret 12"
            )
        if abs(seat.residual) > RESIDUAL_NOTICED:
            yield (
                f"the saddle's top stands {seat.residual:+z.3f} mm off the height wanted under "
                f'string {seat.string} ({seat.note}): top = "per string" would follow it'
            )
