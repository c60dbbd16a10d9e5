"""The columns of a string's place on the saddle, spelled out once."""

from __future__ import annotations

import math
from dataclasses import dataclass

from blankcam.inputs.job import Graded
from blankcam.outputs.rows import Field, Table, field, tabulate
from blankcam.parts.saddle import Saddle, Seat


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatFacts:
    """A string's place with what its row needs besides."""

    seat: Seat
    saddle: Saddle

    @property
    def top(self) -> float:
        """Height of the finished top under the string, mm: what is wanted and what the
        top is off.
        """
        return self.seat.height + self.seat.residual


SEAT: tuple[Field[SeatFacts], ...] = (
    field("name", "string", lambda f: f"{f.seat.string} {f.seat.note}"),
    field("string", "string", lambda f: f.seat.string),
    field("note", "note", lambda f: f.seat.note),
    field("centre", "centre", lambda f: f.seat.centre, "mm"),
    field("height", "height wanted", lambda f: f.seat.height, "mm"),
    field("top", "finished height", lambda f: f.top, "mm"),
    field("rough", "rough height", lambda f: f.top + f.saddle.allowance, "mm"),
    field("setback", "compensation", lambda f: f.seat.compensation, "mm"),
    field("wanted_setback", "compensation wanted", lambda f: f.seat.wanted_compensation, "mm"),
    field("ridge", "ridge from tail side", lambda f: f.seat.ridge, "mm"),
    field("ridge_front", "ridge from nut side", lambda f: f.saddle.thickness - f.seat.ridge, "mm"),
    field("residual", "top too high by", lambda f: f.seat.residual, "mm", 3, signed=True),
    field("cents_at_12", "cents at fret 12", lambda f: f.seat.cents, decimals=1, signed=True),
)


def seat_table(saddle: Saddle) -> Table:
    """A row a string; centres from the saddle's left end, heights over the floor of its slot."""
    facts = (SeatFacts(seat=seat, saddle=saddle) for seat in saddle.strings)
    return tabulate("saddle", SEAT, facts)


def slant_words(saddle: Saddle, front_at: Graded) -> tuple[str, ...]:
    """How the saddle's slot is slanted; nothing where it is square."""
    if front_at.bass == front_at.treble:
        return ()
    further = "bass" if front_at.bass > front_at.treble else "treble"
    angle = abs(math.degrees(saddle.slot.angle))
    words = f"its slot is slanted {angle:.1f} degrees, the {further} end further from the nut"
    return (f"{words}; places are along the slot",)
