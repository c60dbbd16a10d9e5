"""Nut compensation: where each string's front edge lies, and what that does to the cents.

The nut stands forward by the greatest value, for which the board's end is shortened; each other
string's edge lies behind it by the difference.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from blankcam.data import table
from blankcam.faults import Fault
from blankcam.inputs.fields import sane
from blankcam.inputs.job import Job
from blankcam.instrument import intonation, strings
from blankcam.instrument.heights import Instrument, per_string, with_compensation, with_fronts
from blankcam.instrument.strings import StringData

LEAST: float = table("limits")["front"]["least"]


@dataclass(frozen=True, slots=True, kw_only=True)
class NutEdge:
    """Where one string's front edge lies; lengths in mm."""

    number: int
    note: str
    forward: float
    """How far the edge lies toward the saddle from the board's end; below 0: toward the head."""
    back: float
    """How far behind the nut's front: how far this is cut back at the string."""
    compensation: float
    """The ridge that goes with it."""
    cents: tuple[float, ...]
    """Errors at frets 1 to 12 with both; positive is sharp."""


def front_edges(job: Job, instrument: Instrument) -> tuple[float, ...]:
    """How far each edge lies toward the saddle, mm, from the bass side; 0 without compensation.

    "computed" finds ridges and edges together, or the edges alone where the job gives the ridges.
    A nut that is not made has the edges that the job gives.
    """
    asked, paths = job.nut.compensation, instrument.strings
    if not isinstance(asked, str):
        return _worth_a_step(per_string(asked, [s.u_nut for s in paths]))
    if not computes_edges(job):
        return (0.0,) * len(paths)
    if job.saddle.compensation == "computed":
        return _worth_a_step([-n for n in computed_compensation_and_nut(instrument)[1]])
    ridges = job.saddle.compensation
    if isinstance(ridges, str):
        return edges_for_ridges(instrument, (0.0,) * len(paths))
    return edges_for_ridges(instrument, per_string(ridges, [s.u_saddle for s in paths]))


def computes_edges(job: Job) -> bool:
    """Whether the job has the edges worked out, for a nut that is made."""
    return job.nut.compensation == "computed" and job.blanks.nut is not None


def edges_for_ridges(instrument: Instrument, ridges: Sequence[float]) -> tuple[float, ...]:
    """The edges that do best with ridges that are given, mm toward the saddle.

    The heights depend on the edges so little that a second turn settles them.
    """
    now, forward = with_compensation(instrument, ridges), list[float]()
    for _ in range(2):
        models = [strings.fretted(now, s) for s in now.strings]
        both = zip(models, ridges, strict=True)
        forward = [-float(intonation.nut_compensation(m, b)) for m, b in both]
        now = with_fronts(now, forward)
    return _worth_a_step(forward)


def _worth_a_step(forward: Sequence[float]) -> tuple[float, ...]:
    """Edges of which none lies behind the nut's front by less than is worth a step."""
    most = stands_forward(forward)
    return tuple(most if most - f < LEAST else f for f in forward)


def edge_faults(job: Job, instrument: Instrument, forward: Sequence[float]) -> Iterator[Fault]:
    """Why edges that are worked out must not be cut: further than a job may ask for."""
    low, high = sane("nut.compensation")
    for string, f in zip(instrument.strings, forward, strict=True):
        if not low <= f <= high:
            yield Fault(
                where=job.path,
                key="nut.compensation",
                found="computed",
                wrong=f"string {string.number} ({string.note}) would want its edge {f:.2f} mm "
                f"toward the saddle, which is outside {low:g} to {high:g} mm",
                fix="check first_fret and action, and the string's gauge, make and stiffness",
            )


def stands_forward(forward: Sequence[float]) -> float:
    """How far the nut stands forward for its edges, mm: the board's end is shortened by it."""
    return max(0.0, *forward)


def nut_edges(instrument: Instrument, data: Sequence[StringData]) -> tuple[NutEdge, ...]:
    """The edges of an instrument; none where all lie at the board's end."""
    forward = [s.front for s in instrument.strings]
    if not any(forward):
        return ()
    most = stands_forward(forward)
    return tuple(
        NutEdge(
            number=s.number,
            note=s.note,
            forward=s.front,
            back=most - s.front,
            compensation=s.compensation,
            cents=d.cents,
        )
        for s, d in zip(instrument.strings, data, strict=True)
    )


def edge_cautions(edges: Sequence[NutEdge], straight: Sequence[StringData]) -> Iterator[str]:
    """What must be done for moved edges, and what they are worth.

    ``straight``: the strings over a nut with a straight front at the board's end.
    """
    if not edges:
        return
    before = max(abs(c) for s in straight for c in s.cents)
    after = max(abs(c) for e in edges for c in e.cents)
    yield (
        f"nut compensation is cut: the worst error is {after:.1f} cents with it, {before:.1f} over "
        "a nut with a straight front"
    )
    if (most := stands_forward([e.forward for e in edges])) > 0:
        yield (
            f"the nut stands {most:.2f} mm forward: shorten the board's end by that first, then "
            "measure the seat's width again and write it into the job; front_at and the scale are "
            "still measured from where the board's end was"
        )


def computed_compensation_and_nut(
    instrument: Instrument,
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """The compensation and nut face offsets (below 0: toward the saddle) that together do best, mm.

    The heights depend so little on the compensation that a second turn settles them.
    """
    ridge, nut = _both(instrument)
    moved = with_compensation(with_fronts(instrument, [-n for n in nut]), ridge)
    return _both(moved)


def _both(instrument: Instrument) -> tuple[tuple[float, ...], tuple[float, ...]]:
    models = [strings.fretted(instrument, s) for s in instrument.strings]
    found = [intonation.saddle_and_nut_compensation(m) for m in models]
    ridge, nut = zip(*((float(dS), float(dN)) for dS, dN in found), strict=True)
    return ridge, nut
