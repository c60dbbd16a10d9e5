"""What the hand does, step by step: for a bench with files only, and wherever a machine leaves off.

Lengths are millimetres with inches in brackets.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from blankcam.data import table
from blankcam.inputs.units import Units
from blankcam.machining.decision import ByHand, ByMachine, Decision, HandStep, HandStepKind
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
class PartWork:
    """One part and who has done what of it."""

    part: Part
    stage: Stage
    decisions: tuple[Decision, ...] = ()
    """Who makes each feature."""
    templates: bool = False
    """Whether templates and gauges were cut for it."""
    grip: str = "jaws"
    """What held it on edge: ``jaws`` or ``walls``."""
    spare: float = 0.0
    """How much longer than the part the blank is, on each side."""

    @property
    def slots(self) -> tuple[Decision, ...]:
        """Who makes each slot."""
        return tuple(d for d in self.decisions if d.feature.kind is FeatureKind.SLOT)

    def milled(self, kind: FeatureKind) -> bool:
        """Whether a machine makes a feature of that kind."""
        return any(d.tool for d in self.decisions if d.feature.kind is kind)

    def steps(self, kind: FeatureKind) -> Iterator[HandStep]:
        """What the hand does of the features of that kind."""
        for decision in self.decisions:
            if decision.feature.kind is kind and isinstance(decision.by, ByHand):
                yield from decision.by.steps

    @property
    def machined(self) -> bool:
        """Whether a machine does anything to it."""
        return any(d.tool or d.nick for d in self.decisions)

    @property
    def shaped(self) -> bool:
        """Whether a machine gives the top its shape."""
        return self.milled(self.part.top_feature)

    @property
    def ridge(self) -> float:
        """How high the steps stand that a flat tool leaves on the top, mm."""
        tops = (d.by for d in self.decisions if d.feature.kind is self.part.top_feature)
        return sum(by.ridge for by in tops if isinstance(by, ByMachine))

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


def before(work: PartWork, checks: Iterable[Check]) -> Iterator[str]:
    """From the blank to what a machine takes, or to the line where there is none."""
    part = work.part
    rub = next((c.rub_off for c in checks if c.dimension == "thickness"), 0.0)
    if rub and not work.milled(FeatureKind.THICKNESS):
        far = rub > table("limits")["thickness"]["most"]
        yield (
            f"**Rub to thickness**: {'sawn or planed near it first, then ' if far else ''}"
            "on abrasive paper on a flat plate, turning it often; "
            f"{both(rub, 3)} off, to {both(part.thickness, 3)}."
        )
    if not work.milled(FeatureKind.OUTLINE):
        yield (
            f"**Square** its seat side: flat on the plate, square to {seen_side(part)}, no light "
            "under a try square."
        )
    if not work.machined:
        yield from _shaped_by_hand(work)


def _shaped_by_hand(work: PartWork) -> Iterator[str]:
    """The outline, where the hand cuts it, and the top brought out by hand."""
    yield _marked(work)
    for kind in (FeatureKind.OUTLINE, FeatureKind.ENDS, work.part.top_feature):
        for step in work.steps(kind):
            yield _STEP_WORDS[step.kind](work, step.values)


def _marked(work: PartWork) -> str:
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
    cut_out = work.milled(FeatureKind.OUTLINE)
    ends = "" if cut_out else f" both ends, {both(part.length)} apart,"
    strip = "left ends" if cut_out else "upper edges"
    return (
        f"**Mark out** on {seen_side(part)}: glue the marking-out strip of `sheet.pdf` on, "
        f"{strip} together, or measure, always from the left end. Scribe{ends} every {what}'s "
        f"centre down the face{edges}; peel it off. "
        "Scribe the top line through the heights of the table below."
    )


def _nick(work: PartWork) -> str:
    return "" if not any(c.nick for c in work.slots) else " where no nick shows it"


def _round(part: Part) -> bool:
    return FeatureKind.ENDS in {f.kind for f in part.features}


Measures = Mapping[str, float]


def _to_length(work: PartWork, values: Measures) -> str:
    after = ", the rounding still to come." if _round(work.part) else "."
    return (
        f"**To length**: saw outside the lines, file the ends square to {both(values['to'])}{after}"
    )


def _ends_round(work: PartWork, values: Measures) -> str:
    del work
    return (
        f"**Ends**: file both to a full round, radius {both(values['radius'])}, all the way down; "
        "try them in the slot."
    )


def _top_to_the_line(work: PartWork, values: Measures) -> str:
    """A saddle's top is filed level first; a nut's falls toward the head."""
    fall, carried = values["fall"], ""
    back = ", level across"
    if fall >= 0.005:
        back = (
            f", then on so that it falls {math.degrees(values['tilt']):.1f} deg toward the head: "
            f"{both(fall)} lower at the head side"
        )
    if work.part.slots:
        carried = " Carry the centres over the top, square to the face."
    return (
        f"**Top**: file down to the line, at the highest {both(values['high'])} over the seat side"
        f"{_allowed(work)}{back}.{_gauge(work)}{carried}"
    )


def _ridge_line(work: PartWork, values: Measures) -> str:
    del work, values
    return (
        "**Ridge line**: on the top, measure the ridge of each string from the nut side "
        "as in the table, join the marks in a smooth line, carry the centres over the top."
    )


def _crown(work: PartWork, values: Measures) -> str:
    del work
    return (
        f"**Crown**: file away on both sides, never over the ridge line, to a round of radius "
        f"{both(values['radius'])}; the table says how far it falls to each side."
    )


_STEP_WORDS: dict[HandStepKind, Callable[[PartWork, Measures], str]] = {
    HandStepKind.LENGTH: _to_length,
    HandStepKind.ENDS: _ends_round,
    HandStepKind.TOP: _top_to_the_line,
    HandStepKind.RIDGE_LINE: _ridge_line,
    HandStepKind.CROWN: _crown,
}


def _allowed(work: PartWork) -> str:
    return f", {both(work.raised)} of it allowance" if work.raised else ""


def _gauge(work: PartWork) -> str:
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


def highest(work: PartWork) -> float:
    """The part at its highest at this stage, over the seat side."""
    return work.part.height + work.raised


def after(work: PartWork) -> Iterator[str]:
    """From what a machine leaves, or from the line, to the part in its seat."""
    part = work.part
    if work.machined:
        yield from _after_machine(work)
    yield from _front(work)
    if part.slots:
        yield from _slots(work, part)
    crisp = ", but leave the slots' edges crisp at the fingerboard side" if part.slots else ""
    yield f"**Edges**: break the sharp edges by about {both(BLUNT, 1)}{crisp}."
    yield "**Dry fit**: it goes into its seat by hand and does not rock; no glue yet."


def _after_machine(work: PartWork) -> Iterator[str]:
    part, cut_out = work.part, work.milled(FeatureKind.OUTLINE)
    if not work.shaped:
        yield from _shaped_by_hand(work)
        if _round(part) and work.milled(FeatureKind.ENDS):
            yield _ends_step(work)
        return
    if not cut_out:
        rounded = work.milled(FeatureKind.ENDS)
        ended = "at the ends that the program has rounded" if rounded else "at its ends"
        yield (
            f"**To length**: saw the waste off {ended}, {both(work.spare)} on the left and on the "
            f"right, file to {both(part.length)}."
        )
    if _round(part):
        yield _ends_step(work)
    if work.ridge:
        yield _ridges_off(work)


def _ends_step(work: PartWork) -> str:
    """The round ends, all of them or what the machine could not reach."""
    radius = both(work.part.thickness / 2)
    where = "all the way down"
    if work.milled(FeatureKind.ENDS):
        where = f"below where the {work.grip} stood"
    return f"**Ends**: file them to a full round {where}, radius {radius}."


def _ridges_off(work: PartWork) -> str:
    """The steps that a flat tool leaves."""
    radius, what = work.part.top_radius, str(work.part.top_feature)
    block = "a flat block" if radius is None or math.isinf(radius) else "the radius block"
    return (
        f"**Steps off**: the flat tool has left the {what} in steps of up to {both(work.ridge)}. "
        f"Take them off with fine abrasive paper on {block}, only until no step shows: "
        f"{both(highest(work))} over the seat side at the highest, not less."
    )


def _front(work: PartWork) -> Iterator[str]:
    """The steps in a nut's front, for nut compensation: what is left to the hand, what
    to measure.
    """
    fronts = [d for d in work.decisions if d.feature.kind is FeatureKind.FRONT]
    by_hand = [d.string for d in fronts if d.tool is None]
    if by_hand:
        yield (
            f"**Cut the front back** at {_strings(by_hand)}: scribe each step's two sides and its "
            "bottom on the fingerboard side, and how far back it goes on the top, as in the table "
            "of steps. File it from the top down, straight across and square to the seat side: its "
            "back is where the string leaves the nut."
        )
    if len(by_hand) < len(fronts):
        yield (
            "**Measure the steps** that are milled against the table, with a depth gauge from the "
            "front; their corners stay as round as the tool."
        )


def _strings(numbers: Sequence[int]) -> str:
    """``string 1``, ``strings 2 and 1``, ``strings 3, 2 and 1``."""
    *most, last = map(str, numbers)
    return f"strings {', '.join(most)} and {last}" if most else f"string {last}"


def board_end(forward: float) -> Iterator[str]:
    """What is done to the board before a nut that stands so far forward is made, mm."""
    if forward > 0:
        yield (
            f"**Shorten the board's end** by {both(forward)} first, square across: the nut stands "
            "that much forward, so that the strings leave it where nut compensation has them. Then "
            "measure the seat's width again; where it is not the job's `seat_width`, write it "
            "there and make everything anew."
        )


def _slots(work: PartWork, nut: Part) -> Iterator[str]:
    """The slots that are left to the file, and what is left in those that are milled."""
    held = nut.at(work.stage).floor_raise
    if work.by_file:
        yield from _filed_slots(work, nut, held)
    elif held:
        yield (
            f"**Slots**: nothing to file yet; the mill has left {both(held)} in their floors, "
            "which goes after stringing."
        )


def _filed_slots(work: PartWork, nut: Part, held: float) -> Iterator[str]:
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


def slots_by_hand(work: PartWork, nut: Part) -> Iterator[str]:
    """For each slot what the hand does: the files and how deep, or what is left to do later."""
    by_string = {d.string: d.by for d in work.slots}
    held = nut.at(work.stage).floor_raise
    for slot in nut.slots:
        by = by_string[slot.string]
        if isinstance(by, ByHand):
            (step,) = by.steps
            yield f"{_files(step.values)}; {both(step.values['depth'])}"
        else:
            yield f"{both(held)} more later" if held > 0 else "polish"


def _files(values: Measures) -> str:
    """In inches, as gauged files are sold."""
    if not values["final"]:
        return "a saw"
    return ", ".join(f"{s:.3f}" for s in dict.fromkeys((values["start"], values["final"])))


def lines(work: PartWork, units: Units = "both") -> Iterator[str]:
    """The table of the line a part is filed to by hand; nothing where a machine does that."""
    if work.shaped:
        return
    part = work.part
    table = _top_line(part, work)
    yield markdown.table(table, units, shared="" if units == "in" else "mm")


@functools.singledispatch
def _top_line(part: Part, work: PartWork) -> Table:
    """Heights along the top that it is filed to."""
    del work
    raise TypeError(type(part))


@_top_line.register(Nut)
def _nut_line(nut: Nut, work: PartWork) -> Table:
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
def _saddle_line(saddle: Saddle, work: PartWork) -> Table:
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
