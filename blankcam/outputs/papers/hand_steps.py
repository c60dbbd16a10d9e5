"""What the hand does, step by step: for a bench with files only, and wherever a machine leaves off.

Lengths are millimetres with inches in brackets.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from blankcam.inputs.units import Units
from blankcam.machining.decision import Decision
from blankcam.machining.files import files
from blankcam.outputs.figures import both
from blankcam.outputs.render import markdown
from blankcam.outputs.rows import Column, Field, Table, field, tabulate
from blankcam.parts.blank import Check
from blankcam.parts.frames import ReferenceSurface
from blankcam.parts.nut import Nut
from blankcam.parts.part import FeatureKind, Part
from blankcam.parts.saddle import Saddle
from blankcam.parts.slot import Slot
from blankcam.parts.stage import Stage

BLUNT = 0.2
"""mm, about, that sharp edges are broken by (common practice, no source)."""

SEEN_SIDES = {
    ReferenceSurface.FINGERBOARD_SIDE: "the fingerboard side",
    ReferenceSurface.TAIL_SIDE: "the tail side",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One part and who has done what of it."""

    part: Part
    stage: Stage
    done: frozenset[str]
    """Names of the operations that a machine does."""
    slots: tuple[Decision, ...] = ()
    """Who makes each slot; empty where all are the hand's."""
    templates: bool = False
    """Whether templates and gauges were cut for it."""
    spare: float = 0.0
    """How much longer than the part the blank is, on each side."""

    @property
    def shaped(self) -> bool:
        """Whether a machine gives the top its shape."""
        return bool(self.done & {"top", "crown"})

    @property
    def raised(self) -> float:
        """What stands over the finished top at this stage."""
        return self.part.at(self.stage).raised

    def height(self, x: float) -> float:
        """The line that the top, or the ridge, is brought to at a place along the part."""
        return float(self.part.top.height(np.array(x))) + self.raised

    @property
    def by_file(self) -> tuple[Slot, ...]:
        """The slots left to the file."""
        milled = {c.string for c in self.slots if c.tool is not None}
        return tuple(s for s in self.part.slots if s.string not in milled)


def seen_side(part: Part) -> str:
    """The face that is worked from, marked and turned to you: seen from the bridge."""
    return SEEN_SIDES[part.seen_side]


def before(work: Work, checks: Iterable[Check]) -> Iterator[str]:
    """From the blank to what a machine takes, or to the line where there is none."""
    part = work.part
    rub = next((c.rub_off for c in checks if c.dimension == "thickness"), 0.0)
    if rub and "thickness" not in work.done:
        yield (
            f"**Rub to thickness**: on abrasive paper on a flat plate, turning it often; "
            f"{both(rub, 3)} off, to {both(part.thickness, 3)}."
        )
    if "outline" not in work.done:
        yield (
            f"**Square** its seat side: flat on the plate, square to {seen_side(part)}, no light under "
            "a try square."
        )
    if not work.shaped:
        yield _marked(work)
        yield (
            f"**To length**: saw outside the lines, file the ends square to {both(part.length)}"
            + (", the rounding still to come." if _round(part) else ".")
        )
    yield from () if work.shaped else _shaped(work)


def _marked(work: Work) -> str:
    """Everything that is scribed, all from one end."""
    part = work.part
    what = "slot" if part.slots else "string"
    if work.templates:
        gauge = (
            "Lay the slot gauge there, ends together, its words upright: scribe in every notch."
            if part.slots
            else f"Scribe every {what}'s centre from the table."
        )
        return (
            f"**Mark out** on {seen_side(part)}: lay the {part.name} template on it, seat "
            f"sides flush, scribe both ends and the top line round it. {gauge}"
        )
    edges = f", and each slot's two edges beside its centre{_nick(work)}" * bool(part.slots)
    return (
        f"**Mark out** on {seen_side(part)}: glue the marking-out strip of `sheet.pdf` on, "
        f"upper edges together, or measure, always from the left end. Scribe both ends, "
        f"{both(part.length)} apart, every {what}'s centre down the face{edges}; peel it off. "
        "Scribe the top line through the heights of the table below."
    )


def _nick(work: Work) -> str:
    return "" if not any(c.nick for c in work.slots) else " where no nick shows it"


def _round(part: Part) -> bool:
    return FeatureKind.ENDS in {f.kind for f in part.features}


def _shaped(work: Work) -> Iterator[str]:
    """The top brought out by hand."""
    return _top_steps(work.part, work)


@functools.singledispatch
def _top_steps(part: Part, work: Work) -> Iterator[str]:
    """How the hand brings out the part's top."""
    del work
    raise TypeError(type(part))


@_top_steps.register(Saddle)
def _saddle_top(part: Saddle, work: Work) -> Iterator[str]:
    if _round(part):
        yield (
            f"**Ends**: file both to a full round, radius {both(part.thickness / 2)}, all the way "
            "down; try them in the slot."
        )
    yield (
        f"**Top**: file down to the line, level across; at the highest {both(highest(work))} over "
        f"the seat side{_allowed(work)}.{_gauge(work)}"
    )
    yield (
        "**Ridge line**: on the top, measure the ridge of each string from the nut side "
        "as in the table, join the marks in a smooth line, carry the centres over the top."
    )
    yield (
        f"**Crown**: file away on both sides, never over the ridge line, to a round of radius "
        f"{both(part.crown_radius)}; the table says how far it falls to each side."
    )


@_top_steps.register(Nut)
def _nut_top(nut: Nut, work: Work) -> Iterator[str]:
    fall = math.tan(nut.tilt) * nut.thickness
    back = (
        f", then on so that it falls {math.degrees(nut.tilt):.1f} deg toward the head: "
        f"{both(fall)} lower at the head side"
        if fall >= 0.005
        else ", level across"
    )
    yield (
        f"**Top**: file down to the line, at the highest {both(highest(work))} over the seat side"
        f"{_allowed(work)}{back}.{_gauge(work)} Carry the centres over the top, square to the face."
    )


def _allowed(work: Work) -> str:
    return f", {both(work.raised)} of it allowance" if work.raised else ""


def _gauge(work: Work) -> str:
    """What the shape of the top is tried with."""
    part = work.part
    radius = part.top_radius
    if radius is None:
        return " It follows each string: no radius fits it, only the line."
    if math.isinf(radius):
        return " It is straight: a straightedge, held against the light."
    tried = (
        "the hollow gauge" if work.templates else "a radius gauge, or the sheet's 1:1 view cut out"
    )
    return f" Radius {both(radius)}: try it with {tried}, held against the light."


def highest(work: Work) -> float:
    """The part at its highest at this stage, over the seat side."""
    return work.part.height + work.raised


def after(work: Work) -> Iterator[str]:
    """From what a machine leaves, or from the line, to the part in its seat."""
    part = work.part
    if work.shaped:
        yield from _after_machine(work)
    if part.slots:
        yield from _slots(work, part)
    crisp = ", but leave the slots' edges crisp at the fingerboard side" if part.slots else ""
    yield f"**Edges**: break the sharp edges by about {both(BLUNT, 1)}{crisp}."
    yield "**Dry fit**: it goes into its seat by hand and does not rock; no glue yet."


def _after_machine(work: Work) -> Iterator[str]:
    part = work.part
    if "outline" not in work.done:
        ended = "at the ends that the program has rounded" if "ends" in work.done else "at its ends"
        yield (
            f"**To length**: saw the waste off {ended}, {both(work.spare)} on the left and on the "
            f"right, file to {both(part.length)}."
        )
    if _round(part):
        where = "below the jaws' line" if "ends" in work.done else "all the way down"
        yield f"**Ends**: file them to a full round {where}, radius {both(part.thickness / 2)}."


def _slots(work: Work, nut: Part) -> Iterator[str]:
    """The slots that are left to the file, and what is left in those that are milled."""
    held = nut.at(work.stage).floor_raise
    if work.by_file:
        yield from _filed_slots(work, nut, held)
    elif held:
        yield (
            f"**Slots**: nothing to file yet; the mill has left {both(held)} in their floors, which "
            "goes after stringing."
        )


def _filed_slots(work: Work, nut: Part, held: float) -> Iterator[str]:
    if work.shaped and not all(c.nick for c in work.slots if c.tool is None):
        yield (
            "**Mark out** the slots for the file: their centres by the strip of `sheet.pdf` or "
            "the table, from the left end."
        )
    tilt = nut.at(work.stage).surface.tilt
    fall = f"falling {math.degrees(tilt):.1f} deg toward the head" if tilt else "level"
    some = len(work.by_file) < len(nut.slots)
    which = f"**File {_named(work.by_file)}**" if some else "**Slots**"
    left = f" {both(held)} stays in {'every floor' if some else 'their floors'}" if held else ""
    left += ", also in the milled ones." if held and some else "." if held else ""
    yield (
        f"{which} as in the table: the start file on the centre, {fall}, then the final one; "
        f"measure the depth at the fingerboard side.{left}"
    )


def _named(slots: Sequence[Slot]) -> str:
    """``slot 1``, ``slots 2 and 1``, ``slots 3, 2 and 1``."""
    *most, last = (str(s.string) for s in slots)
    return f"slots {', '.join(most)} and {last}" if most else f"slot {last}"


def slots_by_hand(work: Work, nut: Part) -> Iterator[str]:
    """For each slot what the hand does: the files and how deep, or what is left to do later."""
    milled = {c.string for c in work.slots if c.tool is not None}
    held = nut.at(work.stage).floor_raise
    for slot in nut.slots:
        if slot.string in milled:
            yield f"{both(held)} more later" if held > 0 else "polish"
        else:
            deep = max(slot.depth_front + work.raised - held, 0.0)
            yield f"{_files(slot)}; {both(deep)}"


def _files(slot: Slot) -> str:
    """In inches, as gauged files are sold."""
    chosen = files(slot.width)
    if not chosen.fits:
        return "a saw"
    return ", ".join(f"{s:.3f}" for s in dict.fromkeys((chosen.start, chosen.final)))


def lines(work: Work, units: Units = "both") -> Iterator[str]:
    """The table of the line a part is filed to by hand; nothing where a machine does that."""
    if work.shaped:
        return
    part = work.part
    table = _top_line(part, work)
    yield markdown.table(table, units, shared="" if units == "in" else "mm")


@functools.singledispatch
def _top_line(part: Part, work: Work) -> Table:
    """Heights along the top that it is filed to."""
    del work
    raise TypeError(type(part))


@_top_line.register(Nut)
def _nut_line(nut: Nut, work: Work) -> Table:
    """The top line at seven places, lying down so that it stays short on a wall."""
    places = [nut.length * i / 6 for i in range(7)]
    over = (Column(key=f"x{i}", title=both(x), unit="mm", decimals=2) for i, x in enumerate(places))
    return Table(
        key="top line",
        columns=(Column(key="x", title="x"), *over),
        rows=(("top line over the seat side", *(work.height(x) for x in places)),),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """A place along the saddle."""

    name: str
    x: float
    top: float
    ridge: float
    """From the tail side, mm."""
    saddle: Saddle

    @property
    def ridge_front(self) -> float:
        """Of the ridge, from the nut side, mm."""
        return self.saddle.thickness - self.ridge

    def fall(self, off: float) -> float:
        """How far the crown lies lower so far from its ridge, mm."""
        return _fall(self.saddle.crown_radius, off)


_PLACE: tuple[Field[_Place], ...] = (
    field("at", "at", lambda p: p.name),
    field("x", "x", lambda p: p.x, "mm"),
    field("top", "top line over the seat side", lambda p: p.top, "mm"),
    field("ridge_front", "ridge from the nut side", lambda p: p.ridge_front, "mm"),
    field("falls_front", "falls to the nut side", lambda p: p.fall(p.ridge_front), "mm"),
    field("falls_back", "falls to the tail side", lambda p: p.fall(p.ridge), "mm"),
)


@_top_line.register(Saddle)
def _saddle_line(saddle: Saddle, work: Work) -> Table:
    strings = [(f"{s.string} {s.note}", s.centre) for s in saddle.strings]
    places = [("left end", 0.0), *strings, ("right end", saddle.length)]
    return tabulate(
        "top line",
        _PLACE,
        (
            _Place(
                name=name,
                x=x,
                top=work.height(x),
                ridge=float(saddle.ridge.height(np.array(x))),
                saddle=saddle,
            )
            for name, x in sorted(places, key=lambda p: p[1])
        ),
    )


def _fall(radius: float, off: float) -> float:
    """How far a round of that radius lies lower so far from its ridge."""
    return off**2 / (radius + math.sqrt(radius**2 - off**2))
