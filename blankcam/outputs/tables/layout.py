"""What ``layout`` shows: every computed number of a job, in the order a maker works."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from blankcam.data import table
from blankcam.inputs.units import inches
from blankcam.instrument import advice
from blankcam.instrument.tension import pounds
from blankcam.machining.decision import Decision
from blankcam.outputs.figures import both, number
from blankcam.outputs.rows import Column, Section, Table
from blankcam.outputs.tables.blanks import blank_table, fit_words
from blankcam.outputs.tables.nut import edge_table, slot_table
from blankcam.outputs.tables.saddle import seat_table, slant_words
from blankcam.outputs.tables.strings import (
    buzz_section,
    cents_table,
    string_table,
    weight_notes,
)
from blankcam.parts.design import Design

if TYPE_CHECKING:
    from blankcam.instrument.uncertainty import Band, InstrumentScatter

FAR = 0.25  # part of the usual clearance that a job may differ by without a word; our own choice


def sections(
    design: Design, choices: Mapping[int, Decision], fronts: Mapping[int, Decision]
) -> tuple[Section, ...]:
    """All tables of a layout; who makes each slot and cuts the nut's front back at it."""
    return (
        _head(design),
        _blanks(design),
        *_nut(design, choices),
        *_saddle(design),
        _heights(design),
        buzz_section(design),
        _strings(design),
        *_cents(design),
        *_edges(design, fronts),
        _listed("Assumed for the kind, not in the job", design.job.assumed),
        _listed("Cautions", design.cautions),
    )


def _head(design: Design) -> Section:
    board, job = design.instrument.board, design.job
    flat = math.isinf(board.radius_at_nut)
    at = "flat" if flat else f"{board.radius(0.0):.0f} mm at the nut"
    if not flat and board.radius_slope:
        at += f", {board.radius(board.scale):.0f} mm at the saddle"
    return Section(
        title=f"{job.instrument.name} - {job.instrument.kind}, {job.instrument.handed}-handed",
        notes=(
            (
                f"scale {board.scale:.2f} mm ({inches(board.scale, 3)} in), board {at}, fret "
                f"height {board.fret_height:.2f} mm, relief {board.relief:.2f} mm"
            ),
        ),
    )


def _blanks(design: Design) -> Section:
    return Section(
        title=f"Blanks ({design.job.blanks.material})",
        table=blank_table(design.checks),
        notes=tuple(fit_words(p) for p in design.parts),
    )


def _nut(design: Design, choices: Mapping[int, Decision]) -> Iterator[Section]:
    nut = design.nut
    if nut is None:
        return
    slots = slot_table(nut, choices)
    yield Section(
        title="Nut: where the slots go, from the nut's left end",
        table=slots.pick("name", "course", "gauge", "centre", "gap", "width"),
        notes=("the clear gap is between the strings themselves; seen from the bridge",),
    )
    yield Section(
        title="Nut: how deep, at its front edge",
        table=slots.pick(
            "name", "floor_front", "depth_front", "tilt", "lift", "exposure", "made_with"
        ),
        notes=(
            (
                f"nut {both(nut.length)} long, {both(nut.height)} high when finished, "
                f"{both(nut.thickness, 3)} thick; top {_radius(nut.top.radius)}"
            ),
            (
                f"stage rough leaves {nut.allowance:.2f} mm on the top and {nut.hold_back:.2f} mm "
                "on the floors"
            ),
        ),
    )


def _radius(radius: float | None) -> str:
    if radius is None:
        return "one height a string"
    return "flat" if math.isinf(radius) else f"radius {both(radius)}"


def _saddle(design: Design) -> Iterator[Section]:
    saddle = design.saddle
    if saddle is None:
        return
    yield Section(
        title="Saddle: heights under the strings, from the saddle's left end",
        table=seat_table(saddle).pick("name", "centre", "height", "setback", "ridge", "residual"),
        notes=(
            (
                f"saddle {both(saddle.length)} long, {both(saddle.height)} high when finished, "
                f"{both(saddle.thickness, 3)} thick, {saddle.ends} ends; top "
                f"{_radius(saddle.top_radius)}; crown radius {both(saddle.crown_radius)}"
            ),
            f"stage rough leaves {saddle.allowance:.2f} mm on the top",
            *slant_words(saddle, design.job.saddle.front_at),
        ),
    )


def _heights(design: Design) -> Section:
    heights = string_table(design).pick(
        "name", "first_fret", "usual_first_fret", "third_fret", "action", "usual_action"
    )
    kind = design.job.instrument.kind
    return Section(
        title="Clearances aimed at, open strings",
        table=heights,
        notes=(
            *_unusual(heights),
            f"usual for a {kind}: {table('targets')['source']}",
            *advice.SENSITIVITIES,
            *advice.left_as_it_is(design.job),
        ),
    )


def _unusual(heights: Table) -> Iterator[str]:
    """The clearances that lie far from what is usual."""
    for row in heights.records():
        for key, fret in (("first_fret", 1), ("action", 12)):
            asked, usual = row[key], row[f"usual_{key}"]
            if abs(asked - usual) > FAR * usual:
                more = "over" if asked > usual else "under"
                yield f"{row['name']} at fret {fret}: {abs(asked - usual):.2f} mm {more} the usual"


def _strings(design: Design) -> Section:
    total = advice.total_tension(design.strings)
    notes = [f"all strings together {total:.0f} N ({pounds(total):.0f} lb)"]
    notes += weight_notes(design)
    if design.saddle and any(s.break_angle is None for s in design.strings):
        notes.append("give tie_height and tie_run for the break angle and the downforce")
    return Section(
        title="Strings at pitch",
        table=string_table(design).pick(
            "name", "unit_weight", "tension", "break_angle", "downforce"
        ),
        notes=tuple(notes),
    )


def _cents(design: Design) -> Iterator[Section]:
    yield Section(
        title="Intonation: cents off at each fret, ridge at the scale length (before)",
        table=cents_table(design, straight=True),
    )
    yield Section(
        title="Intonation: cents off at each fret, with this ridge (after)",
        table=cents_table(design),
        notes=(advice.model_words(design.instrument),),
    )


def _edges(design: Design, fronts: Mapping[int, Decision]) -> Iterator[Section]:
    if not design.edges or design.nut is None:
        return
    yield Section(
        title="Nut compensation: where each string's front edge lies, and the step cut for it",
        table=edge_table(design.nut, design.edges, fronts).pick(
            "name", "forward", "back", "left", "right", "bottom", "cutter"
        ),
        notes=(
            (
                f"the nut stands {both(design.stands_forward)} forward: the board's end is "
                "shortened by that first"
            ),
            "each step goes from the top down; from and to are measured from the nut's left end",
        ),
    )  # fmt: skip


def _listed(title: str, words: tuple[str, ...]) -> Section:
    return Section(title=title if words else f"{title}: none", notes=words)


SPREAD = (
    Column(key="name", title="string"),
    Column(key="first_fret", title="fret 1, mm"),
    Column(key="action", title="fret 12, mm"),
    Column(key="break_angle", title="break angle, deg"),
    Column(key="cents_at_12", title="cents at fret 12"),
    Column(key="buzz", title="buzz"),
)


def scattered(scatter: InstrumentScatter) -> tuple[Section, ...]:
    """What the measurements' uncertainty does to the finished instrument."""
    rows = tuple(
        (
            f"{s.number} {s.note}",
            _band(s.first_fret),
            _band(s.action),
            _band(s.break_angle, math.degrees(1), 1),
            _band(s.cents_twelfth, places=1),
            f"{s.buzz:.0%}",
        )
        for s in scatter.strings
    )
    return (
        Section(
            title="What the uncertainty of the measurements does: 90 of 100 instruments lie "
            "between",
            table=Table(key="scatter", columns=SPREAD, rows=rows),
            notes=(f"chance that any string buzzes: {scatter.buzz:.0%}", *scatter.words),
        ),
    )


def _band(band: Band | None, factor: float = 1.0, places: int = 2) -> str | None:
    if band is None:
        return None
    return f"{number(band.low * factor, places)} .. {number(band.high * factor, places)}"
