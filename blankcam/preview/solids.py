"""Both parts as the page shows them: heights of each stage, slots, strings in place, elevations."""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from blankcam.data import table
from blankcam.machining.decision import Decision
from blankcam.outputs.drawings.flat import seen_from_bridge, slot_shapes
from blankcam.outputs.drawings.slot_section import string_look
from blankcam.outputs.rows import Table, Value
from blankcam.outputs.switched import marked
from blankcam.outputs.tables.nut import slot_table
from blankcam.outputs.tables.saddle import seat_table
from blankcam.parts.design import Design
from blankcam.parts.hand_left import NOTHING, HandLeft
from blankcam.parts.nut import Nut
from blankcam.parts.part import Part
from blankcam.parts.saddle import Saddle
from blankcam.parts.stage import Stage
from blankcam.parts.surface import HeightField
from blankcam.preview import seated
from blankcam.preview.model import (
    Elevation,
    Fact,
    Floats,
    Heights,
    PartView,
    Spot,
    StageView,
    StringLine,
)
from blankcam.preview.packing import thinned, worst

CELL_X, CELL_Y = 0.06, 0.13
"""mm: cells of the page; slots and crowns change faster along x."""
SIDE = 0.005
"""mm a wall may stand aside before heights over it are compared; as the proof does."""
NONE_LEFT = -3.0
"""mm: a cell cut right through counts as cut so far below the seat."""
BEHIND = 6.0
"""mm of string drawn behind a saddle where the job says nothing of it."""

SLOT_FACTS = (
    "centre", "width", "gauge", "floor_front", "depth_front", "rough_depth", "tilt", "lift",
)  # fmt: skip
SEAT_FACTS = ("centre", "height", "setback", "ridge", "residual")
"""What the page says of a slot, and of a string on the saddle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """What a stage's programs left of a part."""

    stage: Stage
    milled: frozenset[int]
    field: HeightField
    by_hand: HandLeft = NOTHING
    """What the hand still takes off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RefitStates:
    """A part as it stands now and as its refit leaves it."""

    now: Part
    asked: Part


def part_view(found: Design, part: Part, left: Mapping[Stage, Left],
              choices: Mapping[int, Decision], refit: RefitStates | None = None
              ) -> PartView:  # fmt: skip
    """One part; a stage that was not replayed is shown as it is wanted."""
    stages = tuple(
        replayed(part, left[s]) if s in left else wanted(part, s)
        for s in (Stage.ROUGH, Stage.FINAL)
    )
    if refit is not None:
        stages += (_shape(refit.now, "refit", standing=True), _shape(refit.asked, "asked"))
    strings = tuple(
        _string_over(part, found, i, choices) for i in range(len(found.instrument.strings))
    )
    return PartView(
        refit=refit is not None,
        name=part.name,
        length=part.length,
        thickness=part.thickness,
        height=part.height,
        stock=getattr(found.job.blanks, part.name).height,
        around=seated.around(part, found),
        tags=seated.tags(part, found),
        spots=tuple(_spots(part, found, choices)),
        strings=strings if refit is None else tuple(_as_it_lies(part, refit, strings)),
        stages=stages,
        standings=tuple(_standings(part, found, choices, refit)),
    )


def _shape(part: Part, stage: str, *, standing: bool = False) -> StageView:
    """A part as it stands, or as it is to be."""
    x, y = middles(part.length, CELL_X), middles(part.thickness, CELL_Y)
    every = frozenset(s.string for s in part.slots)
    target = part.at(Stage.ROUGH if standing else Stage.FINAL)
    z = target.upper(x[None, :], y[:, None], every)
    heights = Heights(
        x=x, y=y, z=np.where(np.isfinite(z), z, np.nan),
        box=(0.0, part.length, 0.0, part.thickness),
    )  # fmt: skip
    return StageView(stage=stage, replayed=False, heights=heights)


def _as_it_lies(
    part: Part, refit: RefitStates, strings: Sequence[StringLine]
) -> Iterator[StringLine]:
    """Each string as high as its slot, or the saddle under it, holds it now."""
    slots = {s.string: s.floor_front for s in part.slots}
    for line, lies in zip(strings, refit.now.slots or [None] * len(strings), strict=True):
        if lies is not None:
            yield dataclasses.replace(line, now=lies.floor_front - slots[line.string])
            continue
        x = np.array(line.points[1][0])
        off = float(refit.now.top.height(x)) - float(part.top.height(x))
        yield dataclasses.replace(line, now=off)


def _standings(
    part: Part, found: Design, choices: Mapping[int, Decision], refit: RefitStates | None
) -> Iterator[tuple[str, str]]:
    """What is left at each step, for under the slider; lengths marked, to be switched."""
    stock = getattr(found.job.blanks, part.name).height
    yield "blank", f"Blank: {marked(stock)} mm high. What is tinted and dotted goes."
    rough = part.at(Stage.ROUGH)
    left = f"{marked(rough.raised)} mm left on the top"
    if part.slots:
        left += f", {marked(rough.floor_raise)} mm in the floors"
    filed = [str(s.string) for s in part.slots if not _milled(choices.get(s.string))]
    more = f" Left to the file: {', '.join(filed)}." if filed else ""
    if part.slots and not choices:
        more = " Who cuts each slot is not known yet."
    yield "rough", f"Rough: {left}.{more}"
    if refit is not None:
        yield "refit", "Refit: the part as it stands now; what is dotted comes off, floors first."
    else:
        yield "refit", f"Refit opens with your readings, once strung. Until then: {left}."
    yield "finished", f"Finished: {marked(part.height)} mm at the highest, as it is wanted."


def _milled(choice: Decision | None) -> bool:
    return choice is None or choice.tool is not None


def replayed(part: Part, left: Left) -> StageView:
    """The replay's own heights, thinned, and their deviations, of which the worst are kept."""
    heights, rows, columns = thinned(_whole(left.field), CELL_X, CELL_Y)
    off = deviation(part, left)
    return StageView(
        stage=str(left.stage),
        replayed=True,
        heights=heights,
        remark=" ".join(
            filter(
                None,
                (_waste(part, heights), _shaped(left), _fronts(left), _filed(part, left.milled)),
            )
        ),
        deviation=worst(off, rows, columns),
    )


def _waste(part: Part, heights: Heights) -> str:
    """Whether more stands than the part."""
    there = np.isfinite(heights.z).any(axis=0)
    beyond = (heights.x < 0) | (heights.x > part.length)
    return "What stands beyond its ends is waste, to be cut off." if (there & beyond).any() else ""


def _shaped(left: Left) -> str:
    """What the hand still takes off the top."""
    if math.isinf(left.by_hand.top):
        return "Its top is the hand's: what stands over it is to be filed off."
    if left.by_hand.top:
        return f"A flat tool has left steps of up to {left.by_hand.top:.2f} mm, to be taken off."
    return ""


def _fronts(left: Left) -> str:
    """Where the hand still cuts a nut's front back."""
    strings = ", ".join(str(n) for n in sorted(left.by_hand.fronts, reverse=True))
    return f"Its front is still to be cut back by hand at strings {strings}." if strings else ""


def _filed(part: Part, milled: frozenset[int]) -> str:
    """Which slots no program cuts to their floors."""
    slots = part.slots
    names = [f"{s.string} {s.note}" for s in slots if s.string not in milled]
    if not names:
        return ""
    slot = "Slot" if len(names) == 1 else "Slots"
    return f"{slot} {', '.join(names)}: left to the file, so the string is not in its place yet."


def cells(field: HeightField) -> Heights:
    """The heights that the page keeps of a replay's."""
    return thinned(_whole(field), CELL_X, CELL_Y)[0]


def _whole(field: HeightField) -> Heights:
    dx, dy = float(field.x[1] - field.x[0]) / 2, float(field.y[1] - field.y[0]) / 2
    x, y = (field.x[0], field.x[-1]), (field.y[0], field.y[-1])
    box = (float(x[0]) - dx, float(x[1]) + dx, float(y[0]) - dy, float(y[1]) + dy)
    return Heights(x=field.x, y=field.y, z=field.z, box=box)


def deviation(part: Part, left: Left) -> Floats:
    """How far each cell stands over (+) or under (-) what the stage allows, µm, (ny, nx).

    0 where it lies between the two bounds, NaN outside the part. Beyond the proof's limits the
    wanted heights a little aside count too, as they do there: beside upright walls.
    """
    limits, part = table("proof")["limits"], left.by_hand.as_programmed(part)
    x, y = left.field.x[None, :], left.field.y[:, None]
    z = np.maximum(left.field.z, NONE_LEFT)
    lower = part.at(left.stage).lower(x, y)
    target = part.at(left.stage)
    upper = left.by_hand.upper(target, left.milled, x, y)
    off = (np.maximum(z - upper, 0.0) + np.minimum(z - lower, 0.0)) * 1000
    off[~np.isfinite(lower)] = np.nan
    rows, columns = np.nonzero((off < -1000 * limits["gouge"]) | (off > 1000 * limits["left"]))
    at, kept = z[rows, columns], off[rows, columns]
    for a, b in ((SIDE, 0.0), (-SIDE, 0.0), (0.0, SIDE), (0.0, -SIDE)):
        xs, ys = left.field.x[columns] + a, left.field.y[rows] + b
        low = part.at(left.stage).lower(xs, ys)
        high = left.by_hand.upper(target, left.milled, xs, ys)
        under = np.where(np.isfinite(low), np.minimum(at - low, 0.0), 0.0) * 1000
        over = np.where(np.isfinite(high), np.maximum(at - high, 0.0), 0.0) * 1000
        kept = np.where(kept > 0, np.minimum(kept, over), np.maximum(kept, under))
    off[rows, columns] = kept
    return np.asarray(off)


def wanted(part: Part, stage: Stage) -> StageView:
    """The shape that a stage asks for."""
    x, y = middles(part.length, CELL_X), middles(part.thickness, CELL_Y)
    z = part.at(stage).lower(x[None, :], y[:, None])
    z = np.where(np.isfinite(z), z, np.nan)
    return StageView(
        stage=str(stage),
        replayed=False,
        heights=Heights(x=x, y=y, z=z, box=(0.0, part.length, 0.0, part.thickness)),
    )


def middles(length: float, step: float) -> Floats:
    """Centres of cells of about that step from 0 to a length."""
    count = max(2, math.ceil(length / step))
    return np.asarray((np.arange(count) + 0.5) * (length / count), dtype=np.float64)


@functools.singledispatch
def _spots(part: Part, found: Design, choices: Mapping[int, Decision]) -> Iterator[Spot]:
    """What is told of each string's place on a part."""
    del found, choices
    raise TypeError(type(part))


@_spots.register(Nut)
def _slot_spots(nut: Nut, found: Design, choices: Mapping[int, Decision]) -> Iterator[Spot]:
    del found
    table = slot_table(nut).pick(*SLOT_FACTS)
    for slot, row in zip(nut.slots, table.rows, strict=True):
        yield Spot(string=slot.string, note=slot.note, x=slot.centre, half_width=slot.radius,
                   facts=_facts(table, row), remark=made_by(choices.get(slot.string)),
                   by=_maker(choices.get(slot.string)))  # fmt: skip


def _facts(table: Table, row: tuple[Value, ...]) -> tuple[Fact, ...]:
    """A row of numbers, each with its column's title."""
    return tuple(
        Fact(words=c.title, value=v, unit=c.unit.replace("deg", "°"), digits=c.decimals)
        for c, v in zip(table.columns, row, strict=True)
        if isinstance(v, float)
    )


def _maker(choice: Decision | None) -> str:
    if choice is None:
        return ""
    return f"T{choice.tool.number}" if choice.tool else "file"


def made_by(choice: Decision | None) -> str:
    """Who makes a slot."""
    if choice is None:
        return ""
    return f"milled with tool {choice.tool.number}" if choice.tool else "left to the file"


@_spots.register(Saddle)
def _seat_spots(saddle: Saddle, found: Design, choices: Mapping[int, Decision]) -> Iterator[Spot]:
    del choices
    table = seat_table(saddle).pick(*SEAT_FACTS)
    gauges = {p.number: p.gauge for p in found.instrument.strings}
    for seat, row in zip(saddle.strings, table.rows, strict=True):
        half = max(gauges[seat.string], 0.6) / 2
        yield Spot(string=seat.string, note=seat.note, x=seat.centre, half_width=half,
                   facts=_facts(table, row))  # fmt: skip


@functools.singledispatch
def _string_over(part: Part, found: Design, i: int, choices: Mapping[int, Decision]) -> StringLine:
    """One string as it runs over a part."""
    del found, i, choices
    raise TypeError(type(part))


@_string_over.register(Nut)
def _over_nut(nut: Nut, found: Design, i: int, choices: Mapping[int, Decision]) -> StringLine:
    """From the board side, over the front edge, down the slot and on behind the nut."""
    s, slot = found.instrument.strings[i], nut.slots[i]
    half = slot.gauge / 2
    rise = (s.z_saddle - s.z_nut) / s.length
    aside = (s.u_saddle - s.u_nut) / s.length
    mid, edge = slot.floor_front + half / math.cos(slot.tilt), slot.edge
    far = seated.front_reach(nut, found)
    choice = choices.get(slot.string)
    run = [
        (slot.centre + aside * (far + edge), -far, mid + rise * (far + edge)),
        (slot.centre, edge, mid),
        *(
            (float(slot.axis(y)), y, float(slot.floor(y)) + half / math.cos(slot.tilt))
            for y in (nut.thickness / 2, nut.thickness, nut.thickness + seated.HEAD)
        ),
    ]
    return StringLine(
        string=s.number,
        note=s.note,
        gauge=s.gauge,
        make=string_look(s.make),
        filed=choice is not None and choice.tool is None,
        points=np.array(run),
        raised=nut.hold_back,
    )


@_string_over.register(Saddle)
def _over_saddle(
    saddle: Saddle, found: Design, i: int, choices: Mapping[int, Decision]
) -> StringLine:
    """From the nut's side, over the ridge, and down behind where the job says to where."""
    s, seat = found.instrument.strings[i], saddle.strings[i]
    del choices
    half = s.gauge / 2
    rise = (s.z_saddle - s.z_nut) / s.length
    aside = (s.u_saddle - s.u_nut) / s.length
    job = found.job.saddle
    slope = 0.0
    if job.tie_height is not None and job.tie_run:
        stands = s.z_saddle - found.instrument.bridge_top
        slope = (stands - job.tie_height) / job.tie_run
    z = seat.height + half
    front = saddle.thickness - seat.ridge + seated.front_reach(saddle, found)
    behind = job.tie_run or BEHIND
    dx, dy = saddle.slot.toward_nut(aside)
    run = [
        (seat.centre + dx * front, seat.ridge + dy * front, z - rise * front),
        (seat.centre, seat.ridge, z),
        (seat.centre - dx * behind, seat.ridge - dy * behind, z - slope * behind),
    ]
    return StringLine(string=s.number, note=s.note, gauge=s.gauge, make=string_look(s.make),
                      filed=False, points=np.array(run), raised=saddle.allowance)  # fmt: skip


def elevation(part: Part) -> Elevation:
    """What is drawn of a part as seen from the bridge."""
    places = _heights(part)
    return Elevation(
        part=part.name,
        length=part.length,
        height=part.height,
        rough_height=part.height + part.allowance,
        drawing=seen_from_bridge(part),
        slots=slot_shapes(part),
        ordinates=tuple((name, x) for name, x, _ in places),
        heights=tuple((x, z) for _, x, z in places),
    )


@functools.singledispatch
def _heights(part: Part) -> list[tuple[str, float, float]]:
    """Each string's name, its x and the height written over it."""
    raise TypeError(type(part))


@_heights.register(Nut)
def _floors(nut: Nut) -> list[tuple[str, float, float]]:
    return [(f"{s.string} {s.note}", s.centre, s.floor_front) for s in nut.slots]


@_heights.register(Saddle)
def _tops(saddle: Saddle) -> list[tuple[str, float, float]]:
    return [(f"{s.string} {s.note}", s.centre, s.height + s.residual) for s in saddle.strings]
