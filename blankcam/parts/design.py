"""The parts of a job and everything computed on the way: what every command begins with."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TypeVar

from blankcam.data import table
from blankcam.faults import Fault, RefusedError
from blankcam.inputs.job import Job
from blankcam.inputs.job_file import MEASURED
from blankcam.instrument import advice, nut_edges, strings
from blankcam.instrument import heights as instruments
from blankcam.instrument.heights import Instrument
from blankcam.instrument.nut_edges import NutEdge
from blankcam.instrument.strings import StringData
from blankcam.parts import blank, nut, saddle
from blankcam.parts.nut import Nut
from blankcam.parts.part import Part
from blankcam.parts.saddle import Saddle
from blankcam.parts.whole_design import whole_design_faults

Made = TypeVar("Made")


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A job worked out."""

    job: Job
    instrument: Instrument
    nut: Nut | None
    """None where the job has no blank for it."""
    saddle: Saddle | None
    strings: tuple[StringData, ...]
    checks: tuple[blank.Check, ...]
    cautions: tuple[str, ...]
    edges: tuple[NutEdge, ...]
    """Where the nut's edges lie; empty where all do at the board's end."""

    @property
    def parts(self) -> tuple[Part, ...]:
        """What is made, the nut first."""
        return tuple(part for part in (self.nut, self.saddle) if part is not None)

    @property
    def stands_forward(self) -> float:
        """How far nut compensation has the nut stand forward, mm; the board's end is shortened by
        it.
        """
        return max((e.forward + e.back for e in self.edges), default=0.0)

    @property
    def part_names(self) -> str:
        """What is made, in words: ``nut and saddle``, or one of them."""
        return " and ".join(part.name for part in self.parts)


def design(job: Job) -> Design:
    """Work a job out.

    Raises
    ------
    RefusedError
        With every reason found why the parts must not be made so.
    """
    found, faults = drafted(job)
    if faults:
        raise RefusedError(faults)
    return found


def drafted(job: Job) -> tuple[Design, tuple[Fault, ...]]:
    """A job worked out as far as it can be drawn, and every reason why it must not be made so.

    A part that can't even be drawn is left out.

    Raises
    ------
    RefusedError
        Where its strings can't be worked out.
    """
    level = instruments.build(job)
    faults: list[Fault] = []
    instrument, wanted = _strung(faults, job, level)
    the_nut, the_saddle = (
        _nut(faults, job, instrument),
        _saddle(faults, job, instrument, wanted),
    )
    checks = [*_checks(faults, job, the_nut), *_checks(faults, job, the_saddle)]
    data = strings.string_data(job, instrument)
    faults = faults or list(whole_design_faults(job, instrument, the_nut, the_saddle, data))
    edges = nut_edges.nut_edges(instrument, data) if the_nut else ()
    cautions = [
        *nut_edges.edge_cautions(edges, _with_straight_front(job, level) if edges else ()),
        *(c.caution for c in checks if c.caution),
        *_cautions(job, instrument, the_nut, the_saddle),
        *strings.cautions(job, instrument, data),
        *advice.cautions(job, instrument, data),
    ]
    found = Design(
        job=job,
        instrument=instrument,
        nut=the_nut,
        saddle=the_saddle,
        strings=data,
        checks=tuple(checks),
        cautions=tuple(cautions),
        edges=edges,
    )
    return found, tuple(faults)


def _strung(
    faults: list[Fault], job: Job, level: Instrument
) -> tuple[Instrument, tuple[float, ...]]:
    """The instrument with its front edges and the ridges reached, and the compensation wanted.

    Where edges are worked out, they are the best with the ridges that the saddle reaches.
    """
    start = _edged(faults, job, level, nut_edges.front_edges(job, level))
    wanted = _wanted_compensation(job, start)
    reached = _reached(job, start, wanted)
    if nut_edges.computes_edges(job) and reached != wanted and not faults:
        start = _edged(faults, job, level, nut_edges.edges_for_ridges(level, reached))
    return instruments.with_compensation(start, reached), wanted


def _edged(
    faults: list[Fault], job: Job, level: Instrument, forward: tuple[float, ...]
) -> Instrument:
    """The instrument with those front edges; as it is where they must not be cut."""
    wrong = list(nut_edges.edge_faults(job, level, forward))
    faults += wrong
    return level if wrong else instruments.with_fronts(level, forward)


def _with_straight_front(job: Job, level: Instrument) -> tuple[StringData, ...]:
    """The strings of a job over a nut without compensation, their ridges as the job asks."""
    return strings.string_data(
        job, instruments.with_compensation(level, _wanted_compensation(job, level))
    )


def _made(faults: list[Fault], make: Callable[[], Made]) -> Made | None:
    """What is made, or None where it is refused and why is added to the faults."""
    try:
        return make()
    except RefusedError as refused:
        faults += refused.faults
        return None


def _checks(faults: list[Fault], job: Job, part: Part | None) -> tuple[blank.Check, ...]:
    """How a part's blank compares with it; what it is too small for is added to the faults."""
    if part is None:
        return ()
    checks = blank.checks(job, part)
    faults += blank.refusals(job.path, checks, part)
    return checks


def _nut(faults: list[Fault], job: Job, instrument: Instrument) -> Nut | None:
    """The nut, and why it must not be made so; None where it can't be drawn or there is none."""
    piece = job.blanks.nut
    if piece is None:
        return None
    made = _made(faults, lambda: nut.shaped(job, instrument, piece))
    if made is None:
        return None
    faults += nut.refusals(job, made)
    drawn = all(
        s.depth_front > 0 and float(s.floor(made.thickness)) > 0 and 0 < s.centre < made.length
        for s in made.slots
    )
    return made if drawn else None


def _saddle(
    faults: list[Fault], job: Job, instrument: Instrument, wanted: tuple[float, ...]
) -> Saddle | None:
    """The saddle, as the nut."""
    piece = job.blanks.saddle
    if piece is None:
        return None
    made = _made(faults, lambda: saddle.shaped(job, instrument, piece, wanted))
    if made is None:
        return None
    faults += saddle.refusals(job, instrument, made)
    return made if saddle.has_crown(made) else None


def _reached(job: Job, start: Instrument, wanted: tuple[float, ...]) -> tuple[float, ...]:
    """The compensation reached; the bridge of a job without a saddle is set where it is wanted."""
    piece = job.blanks.saddle
    return wanted if piece is None else saddle.reached_compensation(job, start, piece, wanted)


def _wanted_compensation(job: Job, start: Instrument) -> tuple[float, ...]:
    asked = job.saddle.compensation
    if asked == "none":
        return (0.0,) * len(start.strings)
    if isinstance(asked, str):
        return strings.computed_compensation(start)
    return instruments.per_string(asked, [s.u_saddle for s in start.strings])


def _line_cautions(job: Job, instrument: Instrument) -> Iterator[str]:
    if job.nut.marked_line is None or job.nut.seat_drop is None:
        return
    most = table("limits")["nut"]["line"]
    off = instruments.marked_line_misfit(instrument, job.nut.seat_drop)
    for side, misfit in zip(("bass", "treble"), off, strict=True):
        if abs(misfit) > most:
            yield (
                f"the line marked at the {side} string differs by {misfit:+.2f} mm from what "
                "seat_drop and fret_height give: measure both again; the line is used"
            )


def _cautions(
    job: Job, instrument: Instrument, the_nut: Nut | None, the_saddle: Saddle | None
) -> Iterator[str]:
    if assumed := [key for key in MEASURED if key in job.assumed]:
        # here, for a job that was measured has no use for it and starts the sooner
        from blankcam.instrument import error_effects

        effects = ((key, error_effects.effect_of(job, instrument, key)) for key in assumed)
        told = (f"{key} ({effect})" if effect else key for key, effect in effects)
        yield (
            f"not measured but assumed for a {job.instrument.kind}: {', '.join(told)}: measure "
            "them and write them into the job"
        )
    yield from _line_cautions(job, instrument)
    low = table("limits")["nut"]["lift_caution"]
    for slot in the_nut.slots if the_nut else ():
        if slot.lift < low:
            yield (
                f"string {slot.string} ({slot.note}) stands only {slot.lift:.3f} mm over the line "
                "of the frets at the nut and may touch fret 1 when open: ask for more at fret 1"
            )
    for seat in the_saddle.strings if the_saddle else ():
        if abs(seat.cents) >= table("limits")["cents"]["ridge"]:
            yield (
                f"string {seat.string} ({seat.note}) wants {seat.wanted_compensation:.2f} mm of "
                f"compensation but the saddle reaches {seat.compensation:.2f} mm, which alone is "
                f"{seat.cents:+z.1f} cents at fret 12: measure front_at at both ends again, or "
                "have the slot's front moved by "
                f"{seat.wanted_compensation - seat.compensation:+z.2f} mm there or widened by as "
                "much"
            )
        if abs(seat.residual) > table("limits")["saddle"]["residual"]:
            yield (
                f"the saddle's top stands {seat.residual:+z.3f} mm off the height wanted under "
                f'string {seat.string} ({seat.note}): write top = "per string" to follow it'
            )
