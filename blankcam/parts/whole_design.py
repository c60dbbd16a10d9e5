"""A last look over the finished design as a whole: what no maker would build is refused.

Each limit lies far outside what is cautioned; they are data/limits.toml's and data/strings.toml's.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from blankcam.data import table
from blankcam.faults import Fault
from blankcam.inputs.job import Job
from blankcam.instrument.heights import Instrument
from blankcam.instrument.strings import StringData
from blankcam.parts.nut import Nut
from blankcam.parts.saddle import Saddle


def whole_design_faults(
    job: Job,
    instrument: Instrument,
    nut: Nut | None,
    saddle: Saddle | None,
    data: Sequence[StringData],
) -> Iterator[Fault]:
    """Why the design must not be made, seen as a whole; nothing where it may be."""
    for i, string in enumerate(data):
        yield from _breaks(job, i, string)
        yield from _presses_up(job, string)
    if saddle is not None:
        yield from _out_of_its_seat(job, instrument)
    if nut is not None:
        yield from _slots_deeper_than_the_nut(job, nut)


def _breaks(job: Job, index: int, string: StringData) -> Iterator[Fault]:
    make, stress = job.strings[index].make, string.force.stress
    most = table("strings")[make]["breaks"]
    if stress > most:
        yield Fault(
            where=job.path,
            key=f"strings[{string.number}]",
            wrong=f"string {string.number} ({string.note}) would be pulled to {stress:.0f} MPa, "
            f"and {make} breaks before {most:.0f} MPa",
            fix="check its note, gauge, make and unit weight, and the scale",
        )


def _presses_up(job: Job, string: StringData) -> Iterator[Fault]:
    if string.break_angle is not None and string.break_angle <= 0:
        yield Fault(
            where=job.path,
            key="saddle.tie_height",
            wrong=f"string {string.number} ({string.note}) would leave the saddle upward, by "
            f"{-math.degrees(string.break_angle):.1f} degrees: it would not press on it",
            fix="check tie_height, tie_run, fret_line and action",
        )


def _out_of_its_seat(job: Job, instrument: Instrument) -> Iterator[Fault]:
    depth, most = job.saddle.slot_depth, table("limits")["whole"]["stood"]
    heights = [s.z_saddle - instrument.bridge_top for s in instrument.strings]
    if max(heights) > most * depth:
        yield Fault(
            where=job.path,
            key="saddle.slot_depth",
            wrong=f"the saddle would stand {max(heights):.2f} mm out of a slot {depth:.2f} mm "
            f"deep, more than {most:g} times as far: the strings would tip it over",
            fix="make the slot deeper; check fret_line and action",
        )
    if min(heights) <= 0:
        yield Fault(
            where=job.path,
            key="saddle.fret_line",
            wrong=f"a string would lie {-min(heights):.2f} mm under the top of the bridge",
            fix="check fret_line, slot_depth and action",
        )


def _slots_deeper_than_the_nut(job: Job, nut: Nut) -> Iterator[Fault]:
    deepest = max(nut.slots, key=lambda s: s.depth_front)
    if deepest.depth_front > nut.thickness:
        yield Fault(
            where=job.path,
            key="nut.exposure",
            wrong=f"slot {deepest.string} ({deepest.note}) would be {deepest.depth_front:.2f} mm "
            f"deep in a nut {nut.thickness:.2f} mm thick: its walls would break away",
            fix="ask for more exposure, or use a thicker nut",
        )
