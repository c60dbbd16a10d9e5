"""The columns of a string at pitch, of its heights and of its cents, spelled out once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from blankcam.data import table
from blankcam.instrument import advice
from blankcam.instrument.buzz import BuzzMargin, buzz_margins
from blankcam.instrument.heights import StringPath, gap_held_at_third_fret
from blankcam.instrument.strings import StringData, degrees
from blankcam.outputs.rows import Column, Field, Section, Table, field, tabulate
from blankcam.parts.design import Design

NAME = Column(key="name", title="string")


@dataclass(frozen=True, slots=True, kw_only=True)
class StringFacts:
    """A string with the heights that are asked for it and those usual for its kind."""

    data: StringData
    first_fret: float
    action: float
    usual: tuple[float, float]
    """At frets 1 and 12."""
    third_fret: float
    """Gap over fret 1 with the string held at fret 3."""
    buzz: BuzzMargin


STRING: tuple[Field[StringFacts], ...] = (
    field("name", "string", lambda f: f"{f.data.number} {f.data.note}"),
    field("string", "string", lambda f: f.data.number),
    field("note", "note", lambda f: f.data.note),
    field("gauge", "gauge", lambda f: f.data.gauge, "mm", 3),
    field("first_fret", "fret 1", lambda f: f.first_fret, "mm"),
    field("action", "fret 12", lambda f: f.action, "mm"),
    field("third_fret", "fret 1, held at 3", lambda f: f.third_fret, "mm"),
    field("buzz_open", "open", lambda f: min(f.buzz.open), "mm"),
    field("buzz_least", "least", lambda f: f.buzz.least, "mm"),
    field("buzz_held", "held at", lambda f: f"fret {f.buzz.held}" if f.buzz.held else "open"),
    field("buzz_fret", "over fret", lambda f: f.buzz.fret),
    field("least_action", "least action", lambda f: f.buzz.least_action, "mm"),
    field("usual_first_fret", "usual at fret 1", lambda f: f.usual[0], "mm"),
    field("usual_action", "usual at fret 12", lambda f: f.usual[1], "mm"),
    field("unit_weight", "weight", lambda f: f.data.force.unit_weight, "g/m", 3),
    field("unit_weight_band", "weight good to", lambda f: f.data.force.unit_weight_band,
          decimals=2),
    field("tension", "tension", lambda f: f.data.force.tension, "N", 1),
    field("stress", "stress", lambda f: f.data.force.stress, "MPa"),
    field("stiffness", "stiffness EA/T", lambda f: f.data.force.stiffness, decimals=1),
    field("break_angle", "break angle", lambda f: degrees(f.data.break_angle), "deg", 1),
    field("downforce", "downforce", lambda f: f.data.downforce, "N", 1),
)  # fmt: skip


def string_table(design: Design) -> Table:
    """A row a string; clearances of the open string over the tops of frets 1 and 12."""
    return tabulate("strings", STRING, _facts(design))


def _facts(design: Design) -> Iterator[StringFacts]:
    paths, board = design.instrument.strings, design.instrument.board
    usual = advice.usual_heights(design.job.instrument.kind, paths)
    margins = buzz_margins(design.instrument)
    for data, path, heights, buzz in zip(design.strings, paths, usual, margins, strict=True):
        first_fret, action = path.clearance(board, np.array([1.0, 12.0]))
        yield StringFacts(
            data=data,
            first_fret=float(first_fret),
            action=float(action),
            usual=heights,
            third_fret=gap_held_at_third_fret(board, path),
            buzz=buzz,
        )


def buzz_section(design: Design) -> Section:
    """The least each plucked string keeps over the frets, and the least action that
    keeps it off.
    """
    pluck = table("targets")[design.job.instrument.kind]["pluck"]
    return Section(
        title="Plucked: the least clearance that the strings keep over the frets (a model)",
        table=string_table(design).pick(
            "name", "buzz_open", "buzz_least", "buzz_held", "buzz_fret", "action", "least_action"
        ),
        notes=(
            (
                f"plucked with {pluck['force']:g} N square to the board, {pluck['beta']:.0%} of "
                "the length from the bridge (our own estimate); below 0 it would touch a fret"
            ),
            (
                "least action: where the least would be 0 with this nut; for information, never "
                "applied"
            ),
        ),
    )


def weight_notes(design: Design) -> Iterator[str]:
    """Which strings' weights were worked out, and how far those may be off; nothing without."""
    bands = {f"{s.number} {s.note}": s.force.unit_weight_band for s in design.strings}
    if guessed := [name for name, band in bands.items() if band]:
        yield (
            f"weight of {', '.join(guessed)} worked out from make and gauge, within "
            f"{max(bands.values()):.0%}: give unit_weight if you know it"
        )


def cents_table(design: Design, *, straight: bool = False) -> Table:
    """Cents off at frets 1 to 12; ``straight``: with the ridge at the scale length."""
    frets = range(1, len(design.strings[0].cents) + 1)
    return Table(
        key="cents",
        columns=(NAME, *(Column(key=f"fret_{n}", title=str(n), decimals=1, signed=True)
                         for n in frets)),
        rows=tuple((f"{s.number} {s.note}", *(s.cents_straight if straight else s.cents))
                   for s in design.strings),
    )  # fmt: skip


def clearance_table(design: Design) -> Table:
    """Clearance of each open string over every fret up to the body, 12 at least."""
    frets = frets_shown(design)
    return Table(
        key="clearances",
        columns=(
            NAME,
            *(Column(key=f"fret_{n}", title=str(n), unit="mm", decimals=2) for n in frets),
        ),
        rows=tuple(
            (f"{s.number} {s.note}", *clearances(design, s)) for s in design.instrument.strings
        ),
    )


def clearances(design: Design, string: StringPath) -> tuple[float, ...]:
    """Clearance of one open string over each fret shown, mm."""
    board, frets = design.instrument.board, frets_shown(design)
    return tuple(float(c) for c in string.clearance(board, np.array(frets)))


def frets_shown(design: Design) -> tuple[int, ...]:
    """The frets up to the body, and 12 at least."""
    return tuple(range(1, max(12, design.instrument.board.body_fret) + 1))
