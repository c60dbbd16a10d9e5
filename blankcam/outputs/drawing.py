"""What a drawing is, whichever file it goes into: paths of lines and arcs, and words, in mm."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from blankcam.outputs.drawings.gauges import Template, radius_gauges, slot_gauge, square
from blankcam.outputs.drawings.spread import spread
from blankcam.parts import elevation
from blankcam.parts.curve import Chain, Line, Point
from blankcam.parts.nut import Nut
from blankcam.parts.offset import offset
from blankcam.parts.part import Stage
from blankcam.parts.saddle import Saddle
from blankcam.parts.top_curve import ArcCurve

GAP = 6.0  # between two views of one part, mm
LABEL = 1.4  # height of a string's number, mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """A chain and what it is."""

    chain: Chain
    holds: str
    """A key of data/layers.toml."""
    closed: bool = False
    cut: bool = False
    """Whether a laser or router goes round it, and so needs its offset."""
    fill: bool = False
    """Filled, for arrowheads and tints; backends without fills draw its edge."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """One line of text; ``at`` is the middle, left or right end of its baseline."""

    at: Point
    text: str
    height: float
    """Height of a capital letter, mm."""
    holds: str = "words"
    anchor: str = "left"
    turn: float = 0.0
    """Degrees, counter-clockwise."""
    bold: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """Paths and words together."""

    paths: tuple[Path, ...] = ()
    words: tuple[Words, ...] = ()

    def moved(self, da: float, db: float) -> Drawing:
        """All of it shifted."""
        return Drawing(
            paths=tuple(replace(p, chain=elevation.moved(p.chain, da, db)) for p in self.paths),
            words=tuple(replace(w, at=(w.at[0] + da, w.at[1] + db)) for w in self.words),
        )

    def bounds(self) -> tuple[float, float, float, float]:
        """Least and greatest a and b of its paths."""
        return elevation.bounds([p.chain for p in self.paths])


def scaled(drawing: Drawing, by: float) -> Drawing:
    """Everything enlarged about the origin, the words' height kept."""
    return Drawing(
        paths=tuple(replace(p, chain=elevation.scaled(p.chain, by)) for p in drawing.paths),
        words=tuple(replace(w, at=(w.at[0] * by, w.at[1] * by)) for w in drawing.words),
    )


def joined(drawings: Iterable[Drawing]) -> Drawing:
    """Several drawings as one."""
    drawings = tuple(drawings)
    return Drawing(
        paths=tuple(p for d in drawings for p in d.paths),
        words=tuple(w for d in drawings for w in d.words),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Offset:
    """How far beside the outline a machine must go."""

    kind: str
    """``kerf`` (a laser's) or ``tool`` (a router's)."""
    width: float
    """Whole width of the cut, or the tool's diameter, mm."""

    @property
    def out(self) -> float:
        """Half of it."""
        return self.width / 2


def with_offset(drawing: Drawing, way: Offset | None) -> Drawing:
    """The drawing with the offset of each outline that is cut, on a layer of its own.

    Raises
    ------
    ValueError
        An outline has a place too narrow for it.
    """
    if way is None or way.width == 0:
        return drawing
    beside = tuple(
        Path(chain=offset(p.chain, way.out), holds=way.kind, closed=True)
        for p in drawing.paths
        if p.cut
    )
    return replace(drawing, paths=(*drawing.paths, *beside))


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


def gauges(
    part: Nut | Saddle, way: Offset | None = None, label: str = "nut"
) -> tuple[Drawing, ...]:
    """The part's gauges and the test square, each a drawing of its own."""
    out = 0.0 if way is None else way.out
    if isinstance(part, Nut):
        made = (slot_gauge(part, out, label), *radius_gauges("nut", part.top.radius, part.length))
    else:
        made = radius_gauges("saddle", part.top_radius, part.length)
    return (*(template_drawing(t) for t in made), template_drawing(square(), cut=False))


def stacked(drawings: Sequence[Drawing], gap: float) -> Drawing:
    """Each drawing above the one before, left ends together, the first where it is."""
    made = list(drawings[:1])
    for drawing in drawings[1:]:
        left, low, _, _ = drawing.bounds()
        made.append(drawing.moved(-left, joined(made).bounds()[3] + gap - low))
    return joined(made)


def nut_drawing(nut: Nut, stage: Stage, board: tuple[float, float] | None = None) -> Drawing:
    """The nut's elevation with its left end at the origin, its plan below."""
    return joined(
        (nut_elevation(nut, stage, board), nut_plan(nut).moved(0.0, -GAP - nut.thickness))
    )


def saddle_drawing(saddle: Saddle, stage: Stage, seat_top: float | None) -> Drawing:
    """The saddle's elevation with its left end at the origin, its plan below."""
    below = saddle_plan(saddle).moved(0.0, -GAP - saddle.thickness)
    return joined((saddle_elevation(saddle, stage, seat_top), below))


def nut_elevation(nut: Nut, stage: Stage, board: tuple[float, float] | None = None) -> Drawing:
    """Outlines finished and rough, each slot's shape and centre line, the board's surface.

    ``board``: height of its wood over the seat's floor at the middle, and its radius.
    """
    paths = [*_outlines(nut, stage)]
    if board is not None and board[0] > 0:
        wood = ArcCurve(z0=board[0], k=0.0, radius=board[1], middle=nut.length / 2)
        paths.append(Path(chain=elevation.top_line(wood, 0.0, nut.length), holds="seat"))
    for slot in nut.slots:
        paths.append(Path(chain=elevation.slot_shape(nut, slot), holds="slots", closed=True))
        top = slot.floor_front + slot.depth_front + nut.allowance + 1.0
        paths.append(_upright(slot.centre, slot.floor_front - 1.0, top))
    return Drawing(
        paths=tuple(paths),
        words=_numbers([(s.string, s.centre) for s in nut.slots]),
    )


def saddle_elevation(saddle: Saddle, stage: Stage, seat_top: float | None) -> Drawing:
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
        words=_numbers([(s.string, s.centre) for s in saddle.strings]),
    )


def _outlines(part: Nut | Saddle, stage: Stage) -> Iterable[Path]:
    """The outline that is to be cut at this stage, and the other one beside it.

    The finished outline is always drawn; the rough one only while it is the one to cut to.
    """
    rough = stage is Stage.ROUGH and part.allowance > 0
    finished = elevation.elevation(part, Stage.FINAL)
    yield Path(chain=finished, holds="outline", closed=True, cut=not rough)
    if rough:
        chain = elevation.elevation(part, Stage.ROUGH)
        yield Path(chain=chain, holds="rough", closed=True, cut=True)


def nut_plan(nut: Nut) -> Drawing:
    """The nut from above, its slots at their full width."""
    paths = [Path(chain=elevation.plan(nut), holds="plan", closed=True)]
    for slot in nut.slots:
        left, axis, right = elevation.slot_plan(nut, slot)
        paths += [Path(chain=c, holds="plan slots") for c in (left, axis, right)]
    return Drawing(paths=tuple(paths))


def saddle_plan(saddle: Saddle) -> Drawing:
    """The saddle from above with its ridge line and where each string crosses it."""
    paths = [
        Path(chain=elevation.plan(saddle), holds="plan", closed=True),
        Path(chain=elevation.ridge_plan(saddle), holds="ridge"),
    ]
    for seat in saddle.strings:
        tick = Line((seat.centre, seat.ridge - 0.4), (seat.centre, seat.ridge + 0.4))
        paths.append(Path(chain=(tick,), holds="ridge"))
    return Drawing(paths=tuple(paths))


def _upright(x: float, low: float, high: float) -> Path:
    return Path(chain=(Line((x, low), (x, high)),), holds="centres")


def _numbers(places: Sequence[tuple[int, float]]) -> tuple[Words, ...]:
    """The strings' numbers under the seat side, moved apart where they stand close."""
    spots = spread([x for _, x in places], 2.0 * LABEL)
    return tuple(
        Words(at=(x, -LABEL - 0.8), text=str(string), height=LABEL, anchor="middle")
        for (string, _), x in zip(places, spots, strict=True)
    )
