"""Nut and saddle in the instrument along each string, drawn for both widths of the page."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from blankcam.instrument.heights import StringPath
from blankcam.outputs.drawing import Drawing
from blankcam.outputs.drawings.nut_seat_view import nut_in_seat
from blankcam.outputs.drawings.saddle_seat_view import saddle_plan_view, saddle_side
from blankcam.outputs.drawings.strokes import Letters
from blankcam.outputs.switched import marked
from blankcam.parts.design import Design
from blankcam.preview.model import SeatDrawing

LAYOUTS = {
    "wide": (600.0, Letters(cap=10.05, hatched=False, switched=True)),
    "narrow": (314.0, Letters(cap=9.34, terse=True, hatched=False, switched=True)),
}
"""Room and letters, px; the same as of the slots' sections."""
HIGH = 300.0
"""px: more than any of them needs; what is not drawn on is left out."""


def seat_drawings(found: Design) -> Iterator[SeatDrawing]:
    """The nut along each string, the saddle along each, and the saddle from above."""
    strings = found.instrument.strings
    for i, string in enumerate(strings if found.nut else ()):
        yield SeatDrawing(
            kind="nut",
            string=string.number,
            name=_nut_name(found, string),
            layouts={k: _nut(found, i, wide, letters) for k, (wide, letters) in LAYOUTS.items()},
        )
    for i, string in enumerate(strings if found.saddle else ()):
        yield SeatDrawing(
            kind="saddle",
            string=string.number,
            name=f"The saddle in its bridge along string {string.number}: {marked(string.action)} "
            "mm over fret 12",
            layouts={k: _saddle(found, i, wide, letters) for k, (wide, letters) in LAYOUTS.items()},
        )
    if found.saddle:
        told = ", ".join(
            f"string {s.string} {marked(s.compensation)}" for s in found.saddle.strings
        )
        yield SeatDrawing(
            kind="plan",
            string=None,
            name=f"The saddle from above, compensation in mm: {told}",
            layouts={k: _plan(found, wide, letters) for k, (wide, letters) in LAYOUTS.items()},
        )


def _nut_name(found: Design, string: StringPath) -> str:
    clear = float(string.clearance(found.instrument.board, np.array(1)))
    return (
        f"The nut in its seat along string {string.number}: lift {marked(string.lift)} mm over the "
        f"fret tops, {marked(clear)} mm over fret 1"
    )


def _nut(found: Design, i: int, wide: float, letters: Letters) -> Drawing:
    assert found.nut is not None
    string = found.instrument.strings[i]
    return nut_in_seat(
        found.nut, found.nut.slots[i], string, found.instrument, (wide, HIGH), letters
    )


def _saddle(found: Design, i: int, wide: float, letters: Letters) -> Drawing:
    assert found.saddle is not None
    job, string = found.job.saddle, found.instrument.strings[i]
    known = job.tie_height is not None and job.tie_run is not None
    tie = (job.tie_height or 0.0, job.tie_run or 0.0) if known else None
    return saddle_side(
        found.saddle, found.saddle.strings[i], string, tie, job.slot_depth, string.action,
        (wide, HIGH), letters,
    )  # fmt: skip


def _plan(found: Design, wide: float, letters: Letters) -> Drawing:
    assert found.saddle is not None
    ends = ("treble", "bass") if found.job.left_handed else ("bass", "treble")
    scale = found.instrument.board.scale
    strings = found.instrument.strings
    return saddle_plan_view(found.saddle, strings, scale, (wide, HIGH), letters, ends)
