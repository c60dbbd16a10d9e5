"""Which tables the page shows, and what is said under each."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Mapping, Sequence

from blankcam.machining.decision import Decision
from blankcam.outputs.rows import Section
from blankcam.outputs.tables.blanks import blank_table, fit_words
from blankcam.outputs.tables.machine_work import ProvenProgram, operation_table, proof_table
from blankcam.outputs.tables.nut import edge_table, slot_table
from blankcam.outputs.tables.saddle import seat_table, slant_words
from blankcam.outputs.tables.strings import (
    buzz_section,
    cents_table,
    clearance_table,
    string_table,
    weight_notes,
)
from blankcam.parts.design import Design
from blankcam.parts.nut import Nut
from blankcam.parts.part import Part
from blankcam.parts.saddle import Saddle


def job_tables(found: Design, choices: Mapping[int, Decision]) -> tuple[Section, ...]:
    """The tables that every job has."""
    return (
        *(_places(p, found, choices) for p in found.parts),
        *_edges(found),
        Section(
            title="Blanks",
            table=blank_table(found.checks),
            notes=tuple(fit_words(p) for p in found.parts),
        ),
        _strings(found),
        Section(
            title="Cents off at each fret",
            table=cents_table(found),
            notes=("At the ridge as it is cut, by a model of the fretted string; + is sharp.",),
        ),
        Section(
            title="Clearance of the open string over each fret",
            table=clearance_table(found),
            notes=("From the crown of the fret to the string's underside.",),
        ),
        buzz_section(found),
    )


def _edges(found: Design) -> Iterator[Section]:
    """Where nut compensation has the strings leave the nut, and the steps cut for it."""
    if found.nut is None or not found.edges:
        return
    yield Section(
        title="Nut compensation",
        table=edge_table(found.nut, found.edges).pick(
            "name", "forward", "back", "left", "right", "bottom"
        ),
        notes=((
            f"The nut stands {found.stands_forward:.2f} mm forward: the board's end is shortened "
            "by that first. Each string leaves the nut at the back of its step, cut from the top "
            "down; from and to are measured from the left end."
        ),),
    )  # fmt: skip


@functools.singledispatch
def _places(part: Part, found: Design, choices: Mapping[int, Decision]) -> Section:
    """Where the strings lie on a part."""
    del found, choices
    raise TypeError(type(part))


@_places.register(Nut)
def _nut(nut: Nut, found: Design, choices: Mapping[int, Decision]) -> Section:
    del found
    shown = ("name", "gauge", "centre", "width", "floor_front", "depth_front", "rough_depth",
             "lift",
             "exposure", *(("made_with",) if choices else ()))  # fmt: skip
    return Section(
        title="Nut slots",
        table=slot_table(nut, choices).pick(*shown),
        notes=((
            "Centres from the left end, as seen from the bridge looking to the head. Floors and "
            "depths at the nut's front edge, where the string leaves it; every floor falls "
            f"{math.degrees(nut.tilt):.1f}° toward the head. On the rough nut the floors stand "
            f"{nut.hold_back:.2f} mm higher, for the file."
        ),),
    )  # fmt: skip


@_places.register(Saddle)
def _saddle(saddle: Saddle, found: Design, choices: Mapping[int, Decision]) -> Section:
    del choices
    return Section(
        title="Saddle",
        table=seat_table(saddle).pick("name", "centre", "height", "residual", "setback", "ridge"),
        notes=((
            "Centres from the left end, heights over the floor of the slot. The rough top stands "
            f"{saddle.allowance:.2f} mm higher."
        ), *slant_words(saddle, found.job.saddle.front_at)),
    )  # fmt: skip


def _strings(found: Design) -> Section:
    return Section(
        title="Strings at pitch",
        table=string_table(found).pick(
            "name", "gauge", "unit_weight", "tension", "break_angle", "downforce"
        ),
        notes=tuple(f"{note[0].upper()}{note[1:]}." for note in weight_notes(found)),
    )


def program_tables(programs: Sequence[ProvenProgram]) -> Iterator[Section]:
    """How the programs cut and what their proof found; nothing where there are none."""
    if not programs:
        return
    shown = ("program", "words", "tool", "rpm", "feed", "plunge", "depth", "width")
    yield Section(
        title="Feeds and speeds",
        table=operation_table([(p.name, p.file.program) for p in programs]).pick(*shown),
        notes=("Start lower where the machine is light; never go higher.",),
    )
    yield Section(
        title="Programs and their proof",
        table=proof_table(programs),
        notes=("Below and above are for the whole part, after its last program.",),
    )
