"""Nut and saddle drawn flat: elevation and plan, and the gauges that are cut with them."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

from blankcam.outputs.drawing import Drawing, Path, Words, joined, spread
from blankcam.outputs.drawings.cut_offset import Offset
from blankcam.outputs.drawings.gauges import Template, radius_gauges, slot_gauge, square
from blankcam.parts import elevation, silhouette
from blankcam.parts.curve import Line
from blankcam.parts.nut import Nut
from blankcam.parts.part import Part
from blankcam.parts.saddle import Saddle
from blankcam.parts.stage import Stage
from blankcam.parts.top_curve import ArcCurve

GAP = 6.0  # between two views of one part, mm
LABEL = 1.4  # height of a string's number, mm


def nut_drawing(nut: Nut, stage: Stage, board: tuple[float, float] | None = None) -> Drawing:
    """The nut's elevation with its left end at the origin, its plan below."""
    over = nut_elevation(nut, stage, board)
    return joined((over, nut_plan(nut).moved(0.0, -_gap_under(over) - nut.thickness)))


def saddle_drawing(saddle: Saddle, stage: Stage, seat_top: float | None) -> Drawing:
    """The saddle's elevation with its left end at the origin, its plan below."""
    over = saddle_elevation(saddle, stage, seat_top)
    below = saddle_plan(saddle).moved(0.0, -_gap_under(over) - saddle.thickness)
    return joined((over, below))


def _gap_under(elevation: Drawing) -> float:
    """Down to the view below: clear of the words under the seat side."""
    return max(GAP, LABEL - min((w.at[1] for w in elevation.words), default=0.0))


def seen_from_bridge(part: Part) -> Drawing:
    """The finished outline with a nut's slots in it, and the rough one around it."""
    paths = [Path(chain=elevation.slotted(part), holds="outline", closed=True)]
    if part.allowance:
        rough = part.at(Stage.ROUGH).elevation()
        paths.append(Path(chain=rough, holds="rough", closed=True))
    return Drawing(paths=(*paths, *step_fronts(part)))


def step_fronts(part: Part) -> tuple[Path, ...]:
    """The steps in a nut's front, seen from the bridge."""
    stepped = (s for s in part.slots if s.step is not None)
    return tuple(Path(chain=elevation.step_front(part, s), holds="slots") for s in stepped)


def step_plans(nut: Nut) -> tuple[Path, ...]:
    """The steps in its front from above."""
    stepped = (s for s in nut.slots if s.step is not None)
    return tuple(Path(chain=elevation.step_plan(s), holds="plan slots") for s in stepped)


def slot_shapes(nut: Part) -> tuple[Path, ...]:
    """Each slot at the nut's front edge, closed by the finished top."""
    return tuple(
        Path(chain=elevation.slot_shape(nut, slot), holds="slots", closed=True)
        for slot in nut.slots
    )


@functools.singledispatch
def part_elevation(part: Part, stage: Stage) -> Drawing:
    """The part's elevation with its left end at the origin."""
    del stage
    raise TypeError(type(part))


@part_elevation.register(Nut)
def nut_elevation(nut: Nut, stage: Stage, board: tuple[float, float] | None = None) -> Drawing:
    """Outlines finished and rough, each slot's shape and centre line, the board's surface.

    ``board``: height of its wood over the seat's floor at the middle, and its radius.
    """
    paths = [*_outlines(nut, stage)]
    if board is not None and board[0] > 0:
        wood = ArcCurve(z0=board[0], k=0.0, radius=board[1], middle=nut.length / 2)
        paths.append(Path(chain=silhouette.top_line(wood, 0.0, nut.length), holds="seat"))
    for slot, shape in zip(nut.slots, slot_shapes(nut), strict=True):
        paths.append(shape)
        top = slot.top_front + nut.allowance + 1.0
        paths.append(_upright(slot.centre, slot.floor_front - 1.0, top))
    return Drawing(
        paths=(*paths, *step_fronts(nut)),
        words=_below([(s.string, s.centre) for s in nut.slots], nut.length),
    )


@part_elevation.register(Saddle)
def saddle_elevation(saddle: Saddle, stage: Stage, seat_top: float | None = None) -> Drawing:
    """Outlines finished and rough, string centres, the line of the bridge's top."""
    paths = [*_outlines(saddle, stage)]
    for seat in saddle.strings:
        high = seat.height + saddle.allowance
        paths.append(_upright(seat.centre, high - saddle.allowance - 2.0, high + 1.0))
    if seat_top is not None:
        level = Line((0.0, seat_top), (saddle.length, seat_top))
        paths.append(Path(chain=(level,), holds="seat"))
    return Drawing(
        paths=tuple(paths),
        words=_below([(s.string, s.centre) for s in saddle.strings], saddle.length),
    )


def _outlines(part: Part, stage: Stage) -> Iterable[Path]:
    """The outline that is to be cut at this stage; where it is the rough one, the finished too."""
    rough = part.at(stage).raised > 0
    finished = part.elevation()
    yield Path(chain=finished, holds="finished" if rough else "outline", closed=True, cut=not rough)
    if rough:
        chain = part.at(Stage.ROUGH).elevation()
        yield Path(chain=chain, holds="rough", closed=True, cut=True)


def nut_plan(nut: Nut) -> Drawing:
    """The nut from above, its slots at their full width."""
    paths = [Path(chain=nut.plan(), holds="plan", closed=True)]
    for slot in nut.slots:
        left, axis, right = elevation.slot_plan(nut, slot)
        paths += [Path(chain=c, holds="plan slots") for c in (left, axis, right)]
    return Drawing(paths=(*paths, *step_plans(nut)))


def saddle_plan(saddle: Saddle) -> Drawing:
    """The saddle from above with its ridge line and where each string crosses it."""
    paths = [
        Path(chain=saddle.plan(), holds="plan", closed=True),
        Path(chain=elevation.ridge_plan(saddle), holds="ridge"),
    ]
    for seat in saddle.strings:
        tick = Line((seat.centre, seat.ridge - 0.4), (seat.centre, seat.ridge + 0.4))
        paths.append(Path(chain=(tick,), holds="ridge"))
    return Drawing(paths=tuple(paths))


def _upright(x: float, low: float, high: float) -> Path:
    return Path(chain=(Line((x, low), (x, high)),), holds="centres")


def _below(places: Sequence[tuple[int, float]], length: float) -> tuple[Words, ...]:
    """The strings' numbers under the seat side, every other one lower where they stand close, and
    under them which end is which.
    """
    if not places:
        return ()
    tight = any(abs(b - a) < 2.0 * LABEL for (_, a), (_, b) in pairwise(places))
    rows = [places[::2], places[1::2]] if tight else [places]
    numbers = [number for i, row in enumerate(rows) for number in _row(row, 1 + 1.6 * i)]
    return (*numbers, *_ends(places, length, 1 + 1.6 * len(rows)))


def _ends(places: Sequence[tuple[int, float]], length: float, down: float) -> Iterator[Words]:
    """``bass`` and ``treble``; the strings are numbered from the treble."""
    (left, _), (right, _) = (pick(places, key=lambda p: p[1]) for pick in (min, max))
    names = ("bass", "treble") if left >= right else ("treble", "bass")
    for name, x, anchor in zip(names, (0.0, length), ("left", "right"), strict=True):
        yield Words(at=(x, -LABEL * down - 0.8), text=name, height=LABEL, anchor=anchor)


def _row(places: Sequence[tuple[int, float]], down: float) -> Iterator[Words]:
    """Numbers side by side, ``down`` times their height under the seat side."""
    spots = spread([x for _, x in places], 2.0 * LABEL)
    for (string, _), x in zip(places, spots, strict=True):
        at = (x, -LABEL * down - 0.8)
        yield Words(at=at, text=str(string), height=LABEL, anchor="middle")


def template_drawing(template: Template, *, cut: bool = True) -> Drawing:
    """A template's outline, marks and words; ``cut`` False for one that gets no offset."""
    holds = "gauges" if cut else "test square"
    return Drawing(
        paths=(
            Path(chain=template.chain, holds=holds, closed=True, cut=cut),
            *(Path(chain=c, holds="marks") for c in template.marks),
        ),
        words=tuple(
            Words(at=at, text=text, height=1.8, holds="marks", anchor="middle")
            for at, text in template.words
        ),
    )


def gauges(part: Part, way: Offset | None = None, label: str = "nut") -> tuple[Drawing, ...]:
    """The part's gauges and the test square, each a drawing of its own."""
    out = 0.0 if way is None else way.out
    notched = (slot_gauge(part, out, label),) if part.slots else ()
    made = (*notched, *radius_gauges(part.name, part.top_radius, part.length))
    return (*(template_drawing(t) for t in made), template_drawing(square(), cut=False))
