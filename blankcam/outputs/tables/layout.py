"""The layout as tables of text, for the terminal, the page and the sheet alike."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from blankcam.data import table
from blankcam.inputs.machine import Profile
from blankcam.inputs.units import inches
from blankcam.instrument import advice
from blankcam.instrument.tension import pounds
from blankcam.machining.decision import Decision
from blankcam.outputs.tables import machine_work
from blankcam.parts.design import Design
from blankcam.parts.nut import Slot
from blankcam.toolpath.moves import Program
from blankcam.toolpath.timing import estimate

if TYPE_CHECKING:
    from blankcam.instrument.uncertainty import Band, Scatter

FAR = 0.25  # part of the usual clearance that a job may differ by without a word; our own choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One table with its heading and the words under it."""

    title: str
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    notes: tuple[str, ...] = ()
    typed: bool = False
    """Whether its notes hold what is to be typed or copied: their lines are never broken."""


def both(mm: float, places: int = 2) -> str:
    """Millimetres with inches beside them."""
    return f"{mm:.{places}f} ({inches(mm, places + 1)})"


def sections(design: Design, choices: Mapping[int, Decision]) -> tuple[Section, ...]:
    """All tables of a layout, in the order a maker works."""
    return (
        _head(design),
        _blanks(design),
        _slot_places(design),
        _slot_heights(design, choices),
        _saddle(design),
        _heights(design),
        _strings(design),
        *_cents(design),
        *_edges(design),
        _words("Assumed for the kind, not in the job", design.job.assumed),
        _words("Cautions", design.cautions),
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
                f"scale {both(board.scale)} in, board {at}, "
                f"fret height {board.fret_height:.2f} mm, "
                f"relief {board.relief:.2f} mm"
            ),
        ),
    )


def _blanks(design: Design) -> Section:
    rows = [
        (
            c.part,
            c.dimension,
            both(c.have),
            both(c.need, 3) if c.dimension == "thickness" else both(c.need),
            f"{'mill' if c.by == 'mill' else 'rub'} off {both(c.rub_off, 3)}" if c.rub_off else f"{c.loose:.3f} loose" if c.loose
            else "fits" if c.dimension == "thickness" else f"{c.have - c.need:.2f} to spare",
        )
        for c in design.checks
    ]  # fmt: skip
    fits = [
        f"{p.name}: {p.fit.name} fit {p.fit.code} in {p.fit.seat:.3f} mm: "
        f"{p.fit.low:.3f} to {p.fit.high:.3f} mm thick "
        f"({inches(p.fit.low)} to {inches(p.fit.high)} in)"
        for p in (design.nut, design.saddle)
    ]
    return Section(
        title=f"Blanks ({design.job.blanks.material}), mm (in)",
        columns=("part", "measure", "blank", "needs", ""),
        rows=tuple(rows),
        notes=tuple(fits),
    )


def _slot_places(design: Design) -> Section:
    slots = design.nut.slots
    gaps = ["", *(both(_gap(a, b)) for a, b in pairwise(slots))]
    return Section(
        title="Nut: where the slots go, from the nut's left end, mm (in)",
        columns=("string", "course", "gauge", "centre", "clear gap before", "slot width"),
        rows=tuple(
            (f"{s.string} {s.note}", str(s.course), both(s.gauge, 3), both(s.centre), gap,
             both(s.width, 3))
            for s, gap in zip(slots, gaps, strict=True)
        ),
        notes=("the clear gap is between the strings themselves; seen from the bridge",),
    )  # fmt: skip


def _gap(a: Slot, b: Slot) -> float:
    return abs(b.centre - a.centre) - (a.gauge + b.gauge) / 2


def _slot_heights(design: Design, choices: Mapping[int, Decision]) -> Section:
    nut = design.nut
    rows = []
    for s in nut.slots:
        choice = choices.get(s.string)
        by = f"tool {choice.tool.number}" if choice and choice.tool else "file"
        rows.append(
            (f"{s.string} {s.note}", both(s.floor_front), both(s.depth_front),
             f"{math.degrees(s.tilt):.1f}", both(s.lift), f"{s.exposure:.2f}", by)
        )  # fmt: skip
    radius = "flat" if math.isinf(nut.top.radius) else f"radius {both(nut.top.radius)}"
    return Section(
        title="Nut: how deep, at the witness edge, mm (in)",
        columns=("string", "floor over seat", "depth", "tilt deg", "lift", "exposed", "by"),
        rows=tuple(rows),
        notes=(
            (
                f"nut {both(nut.length)} long, {both(nut.height)} high when finished, "
                f"{both(nut.thickness, 3)} thick; top {radius}"
            ),
            (
                f"stage rough leaves {nut.allowance:.2f} mm on the top and "
                f"{nut.hold_back:.2f} mm on the floors"
            ),
        ),
    )


def _saddle(design: Design) -> Section:
    saddle = design.saddle
    radius = (
        "one height a string" if saddle.top_radius is None
        else "flat" if math.isinf(saddle.top_radius) else f"radius {both(saddle.top_radius)}"
    )  # fmt: skip
    return Section(
        title="Saddle: heights under the strings, from the saddle's left end, mm (in)",
        columns=(
            "string", "centre", "height", "compensation", "ridge from tail face", "top is off"
        ),
        rows=tuple(
            (f"{s.string} {s.note}", both(s.centre), both(s.height), both(s.compensation),
             both(s.ridge), f"{s.residual:+z.3f}")
            for s in saddle.strings
        ),
        notes=(
            (f"saddle {both(saddle.length)} long, {both(saddle.height)} high when finished, "
            f"{both(saddle.thickness, 3)} thick, {saddle.ends} ends; top {radius}; "
            f"crown radius {both(saddle.crown_radius)}"),
            f"stage rough leaves {saddle.allowance:.2f} mm on the top",
        ),
    )  # fmt: skip


def _strings(design: Design) -> Section:
    total = advice.total_tension(design.strings)
    rows = [
        (
            f"{s.number} {s.note}",
            f"{s.force.unit_weight:.3f}" + ("" if not s.force.unit_weight_band else " *"),
            f"{s.force.tension:.1f} ({pounds(s.force.tension):.1f})",
            "" if s.break_angle is None else f"{math.degrees(s.break_angle):.1f}",
            "" if s.downforce is None else f"{s.downforce:.1f}",
        )
        for s in design.strings
    ]
    notes = [f"all strings together {total:.0f} N ({pounds(total):.0f} lb)"]
    if any(s.force.unit_weight_band for s in design.strings):
        band = max(s.force.unit_weight_band for s in design.strings)
        notes.append(f"* weight from make and gauge, good to {band:.0%}: give unit_weight if known")
    if any(s.break_angle is None for s in design.strings):
        notes.append("give tie_height and tie_run for the break angle and the downforce")
    return Section(
        title="Strings at pitch",
        columns=("string", "g/m", "tension N (lb)", "break angle deg", "downforce N"),
        rows=tuple(rows),
        notes=tuple(notes),
    )


def _heights(design: Design) -> Section:
    paths, kind = design.instrument.strings, design.job.instrument.kind
    rows = []
    for path, usual in zip(paths, advice.usual_heights(kind, paths), strict=True):
        asked = path.clearance(design.instrument.board, np.array([1.0, 12.0]))
        cells = [c for a, u in zip(asked, usual, strict=True) for c in (both(a), _usual(a, u))]
        rows.append((f"{path.number} {path.note}", *cells))
    return Section(
        title="Clearances aimed at, open strings, mm (in)",
        columns=("string", "fret 1", "usual", "fret 12", "usual"),
        rows=tuple(rows),
        notes=(f"usual for a {kind}: {table('targets')['source']}", *advice.SENSITIVITIES),
    )


def _usual(asked: float, usual: float) -> str:
    """The usual value, with what the job asks beyond it where that is far."""
    far = f", here {asked - usual:+z.2f}" if abs(asked - usual) > FAR * usual else ""
    return f"{usual:.2f}{far}"


def _cents(design: Design) -> Iterator[Section]:
    frets = tuple(str(n) for n in range(1, 13))

    def rows(name: str) -> tuple[tuple[str, ...], ...]:
        return tuple(
            (f"{s.number} {s.note}", *(f"{c:+z.1f}" for c in getattr(s, name)))
            for s in design.strings
        )

    yield Section(
        title="Intonation: cents off at each fret, ridge at the scale length (before)",
        columns=("string", *frets),
        rows=rows("cents_straight"),
    )
    yield Section(
        title="Intonation: cents off at each fret, with this ridge (after)",
        columns=("string", *frets),
        rows=rows("cents"),
        notes=(advice.MODEL_WORDS,),
    )


def _edges(design: Design) -> Iterator[Section]:
    if not design.edges:
        return
    yield Section(
        title="Nut: where its edges would lie for the least error, mm (in); not cut",
        columns=("string", "toward the saddle", "face filed back", "compensation with it", "fret 1",
                 "worst cents"),
        rows=tuple(
            (f"{e.number} {e.note}", both(e.forward), both(e.back), both(e.compensation),
             f"{e.cents[0]:+z.1f}", f"{max(e.cents, key=abs):+z.1f}")
            for e in design.edges
        ),
        notes=("face filed back: once the board's end is shortened by the greatest",),
    )  # fmt: skip


def _words(title: str, words: tuple[str, ...]) -> Section:
    return Section(title=title if words else f"{title}: none", notes=words)


def scattered(scatter: Scatter) -> tuple[Section, ...]:
    """What the measurements' uncertainty does to the finished instrument."""

    def band(b: Band | None, factor: float = 1.0, places: int = 2) -> str:
        return "" if b is None else f"{b.low * factor:.{places}f} .. {b.high * factor:.{places}f}"

    rows = tuple(
        (
            f"{s.number} {s.note}",
            band(s.first_fret),
            band(s.action),
            band(s.break_angle, math.degrees(1), 1),
            band(s.cents_twelfth, places=1),
            f"{s.buzz:.0%}",
        )
        for s in scatter.strings
    )
    return (
        Section(
            title="What the uncertainty of the measurements does: 90 of 100 instruments lie between",
            columns=("string", "fret 1 mm", "fret 12 mm", "break angle deg", "cents at 12", "buzz"),
            rows=rows,
            notes=(f"chance that any string buzzes: {scatter.buzz:.0%}", *scatter.words),
        ),
    )


def feeds(programs: Sequence[Program]) -> tuple[Section, ...]:
    """How each operation cuts and what set its limits."""
    rows = machine_work.feed_rows(programs)
    said = dict.fromkeys(f"{r[0]} {r[1]}, tool {r[2]}: {r[-1]}" for r in rows)
    return (
        Section(
            title="Feeds" if rows else "Feeds: this machine takes no programs",
            columns=machine_work.HEADINGS[:-1],
            rows=tuple(r[:-1] for r in rows),
            notes=tuple(said),
        ),
    )


def times(programs: Sequence[Program], profile: Profile) -> tuple[Section, ...]:
    """Estimated seconds of each program, and the least its cutting could take."""
    rows = []
    for program in programs:
        took = estimate(program, profile)
        least = sum(o.least for o in program.operations)
        shown = (took.cutting, took.air, took.changes, took.total, least)
        rows.append((program.stem, *(f"{s:.0f}" for s in shown)))
    if not rows:
        return ()
    return (
        Section(
            title="Times, s",
            columns=("program", "cutting", "air", "tool changes", "estimate", "cutting at least"),
            rows=tuple(rows),
            notes=("at least: the waste at the best rate allowed, and the finishing passes",),
        ),
    )


def machines(profiles: Mapping[str, Profile]) -> tuple[Section, ...]:
    """The list of machines."""
    rows = tuple((name, str(p.kind), str(len(p.tools)), p.words) for name, p in profiles.items())
    return (
        Section(
            title="Machines",
            columns=("name", "kind", "tools", "words"),
            rows=rows,
            notes=("blankcam machines NAME shows one; a path checks a profile of your own",),
        ),
    )


def machine(profile: Profile) -> tuple[Section, ...]:
    """One machine in full."""
    p, c = profile, profile.controller
    limits = (
        ("travel mm", *(f"{v:g}" for v in (p.travel.x, p.travel.y, p.travel.z))),
        ("rapid mm/min", *(f"{v:g}" for v in (p.rapid.x, p.rapid.y, p.rapid.z))),
        ("feed at most mm/min", *(f"{v:g}" for v in (p.feed_max.x, p.feed_max.y, p.feed_max.z))),
        ("acceleration mm/s2", *(f"{v:g}" for v in (
            p.acceleration.x, p.acceleration.y, p.acceleration.z))),
    )  # fmt: skip
    tools = tuple(
        (str(t.number), str(t.shape), both(t.diameter, 3), f"{t.flute_length:g}", f"{t.reach:g}",
         f"{t.stick_out:g}", str(t.flutes))
        for t in p.tools
    )  # fmt: skip
    spindle = f"spindle {p.spindle_min:g} to {p.spindle_max:g} rpm, {p.power:g} W at the cut"
    arcs = ", ".join(sorted(c.arc_planes)) or "none"
    return (
        Section(
            title=f"{p.name} - {p.kind}",
            columns=("", "x", "y", "z"),
            rows=limits,
            notes=(
                p.words,
                f"{spindle}; force at most {p.force:g} N; clearance {p.clearance:g} mm",
                (
                    f"arcs in {arcs}; tool change: {c.tool_change}; {c.units}; "
                    f"lines up to {c.line_length} characters"
                ),
                (
                    f"held in: {p.holding.kind}, jaws {p.holding.jaw_top:g} mm over the seat "
                    f"side; lying down: {p.holding.on_face}"
                ),
            ),
        ),
        Section(
            title="Tools, mm (in)" if tools else "Tools: none",
            columns=("number", "shape", "diameter", "flutes mm", "reach mm", "stick-out", "edges"),
            rows=tools,
        ),
    )
