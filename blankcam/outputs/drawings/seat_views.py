"""The nut in its seat and the saddle in its bridge along one string, with the clearances over the
frets.

Laid out as ``slot_across`` is: for a size of picture and of letters, the room for words first. From
the side, the head is on the left. Proportions are true, but for the strip, which says how many
times its heights are stretched. What was not measured (head, neck, bridge) only shows where it is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from blankcam.instrument.heights import Instrument, StringPath, nut_floor_at
from blankcam.outputs.drawing import Drawing, Path, Words, joined, stroke
from blankcam.outputs.drawings.strokes import (
    ARROW,
    LINE,
    Frame,
    Letters,
    across_dimension,
    chained,
    fanned,
    line_in,
    material,
    shaft,
    torn,
    upright_dimension,
)
from blankcam.parts import curve, elevation
from blankcam.parts.curve import Point
from blankcam.parts.nut import Nut
from blankcam.parts.saddle import Saddle, Seat
from blankcam.parts.slot import Slot
from blankcam.parts.stage import Stage

HEAD, BEYOND = 13.0, 7.0
"""mm of head behind the nut, and of board beyond fret 1."""
UNDER = 3.0
"""mm of neck under the board."""
TIMES = 5
"""How many times the strip stretches heights."""


def _area(points: Sequence[Point], frame: Frame, holds: str) -> Drawing:
    ring = [frame.at(p) for p in (*points, points[0])]
    return Drawing(paths=(Path(chain=chained(ring), holds=holds, closed=True, fill=True),))


def _say(at: Point, text: str, letters: Letters, *, anchor: str = "left", holds: str = "words",
         bold: bool = False) -> Drawing:  # fmt: skip
    word = Words(at=at, text=text, height=letters.cap, anchor=anchor, holds=holds, bold=bold)
    return Drawing(words=(word,))


# ---- the nut ---------------------------------------------------------------------------------


def nut_in_seat(
    nut: Nut, slot: Slot, string: StringPath, instrument: Instrument, size: tuple[float, float],
    letters: Letters,
) -> Drawing:  # fmt: skip
    """Along one string from the head to beyond fret 1; under it the strip with heights
    stretched.
    """
    cap = letters.cap
    long = HEAD + nut.thickness + _to_fret(slot, string, instrument) + BEYOND
    scale = size[0] / long
    wood = _wood_over_seat(instrument, string)
    high = max(slot.floor_front + slot.gauge, wood + instrument.board.fret_height) + 0.5
    top = size[1] - (2 * LINE + 1.2) * cap
    frame = Frame(scale=scale, x=HEAD * scale, z=top - high * scale)
    foot = frame.up(-UNDER)
    strip_top = foot - (2 * LINE + 0.4) * cap
    return joined((
        _nut_side(nut, slot, string, instrument, frame, letters),
        _nut_words(nut, slot, string, instrument, frame, size, letters),
        _strip(nut, slot, string, instrument, (scale, frame.x, strip_top), size, letters),
    ))  # fmt: skip


def _wood_over_seat(instrument: Instrument, string: StringPath) -> float:
    """Height of the board's wood at the nut under a string, over the floor of the seat."""
    return float(instrument.board.wood(0.0, string.u_nut)) - nut_floor_at(instrument, string.u_nut)


def _wood_at_fret(slot: Slot, string: StringPath, instrument: Instrument) -> float:
    """Height over the seat of the wood at fret 1: clearance and fret height under the string."""
    board = instrument.board
    clear = float(string.clearance(board, np.array(1)))
    fret = _to_fret(slot, string, instrument)
    return _underside(slot, string, fret) - clear - board.fret_height


def _underside(slot: Slot, string: StringPath, s: float) -> float:
    """Height over the seat of the string's underside, ``s`` in front of the nut."""
    return slot.floor_front + (string.z_saddle - string.z_nut) / string.length * (s + slot.edge)


def _to_fret(slot: Slot, string: StringPath, instrument: Instrument) -> float:
    """From the nut's front, which nut compensation may move forward, to fret 1, mm."""
    return float(instrument.board.fret_at(1)) - (string.front + slot.edge)


def _nut_side(
    nut: Nut, slot: Slot, string: StringPath, instrument: Instrument, frame: Frame,
    letters: Letters,
) -> Drawing:  # fmt: skip
    from shapely import Polygon

    t, fret = nut.thickness, _to_fret(slot, string, instrument)
    end, wood = t + fret + BEYOND, _wood_over_seat(instrument, string)
    under = _wood_at_fret(slot, string, instrument)
    back, front, edge = float(slot.floor(t)), slot.floor_front, t - slot.edge
    foot = [] if slot.step is None else [(t, slot.step.bottom), (edge, slot.step.bottom)]
    head = min(back, wood) - 1.0
    fall = math.tan(nut.tilt)
    neck = [(-HEAD, head - fall * HEAD), (0.0, head), (0.0, 0.0), (end, 0.0), (end, -UNDER),
            (-HEAD, -UNDER)]  # fmt: skip
    body = Polygon([(0.0, 0.0), (t, 0.0), *foot, (edge, front), (0.0, back)])
    return joined((
        _area(neck, frame, "wood"),
        _area([(t, 0.0), (end, 0.0), (end, under), (t + fret, under), (t, wood)], frame, "board"),
        _crown((t + fret, under), instrument.board.fret_height, frame),
        material(body, None, frame, (-HEAD, -UNDER, end, 30.0), letters),
        _string_side(slot, string, (-HEAD, t, end), frame),
        Drawing(paths=(
            line_in([(0.0, back), (edge, front)], frame, "finished"),
            line_in([(0.0, back), (0.0, 0.0), (t, 0.0), *foot, (edge, front)], frame, "edge"),
            torn(frame.at((-HEAD, -UNDER)), frame.at((end, -UNDER)), letters.cap),
        )),
    ))  # fmt: skip


def _crown(at: Point, high: float, frame: Frame) -> Drawing:
    """A fret's crown, twice as wide as high."""
    turns = [math.pi * i / 12 for i in range(13)]
    ring = [(at[0] - high * math.cos(t), at[1] + high * math.sin(t)) for t in turns]
    edge = line_in(ring, frame, "lying")
    return joined((_area(ring, frame, "metal"), Drawing(paths=(edge,))))


def _string_side(
    slot: Slot, string: StringPath, ends: tuple[float, float, float], frame: Frame
) -> Drawing:
    from blankcam.outputs.drawings.slot_section import string_look

    head, t, end = ends
    fall = math.tan(slot.tilt)
    edge = t - slot.edge
    low = [(head, slot.floor_front - fall * (edge - head)), (edge, slot.floor_front),
           (end, _underside(slot, string, end - t))]  # fmt: skip
    ring = [*low, *((x, z + slot.gauge) for x, z in reversed(low))]
    outline = Path(
        chain=chained([frame.at(p) for p in (*ring, ring[0])]), holds="lying", closed=True
    )
    return joined((_area(ring, frame, string_look(string.make)), Drawing(paths=(outline,))))


def _nut_words(
    nut: Nut, slot: Slot, string: StringPath, instrument: Instrument, frame: Frame,
    size: tuple[float, float],
    letters: Letters,
) -> Drawing:  # fmt: skip
    cap, t = letters.cap, nut.thickness
    fret = _to_fret(slot, string, instrument)
    base = size[1] - 1.2 * cap
    row = base - LINE * cap
    mid = frame.at((t + fret / 2, 0.0))[0]
    board = frame.up(_wood_over_seat(instrument, string) / 2) - cap / 2
    a, b = (frame.at((x, 0.0))[0] for x in (t, t + fret))
    thick, least, most = (letters.length(v, 3) for v in (t, nut.fit.low, nut.fit.high))
    seat = f"nut {thick} ({least} to {most})"
    return joined((
        shaft((0.0, base + cap / 2), (1.8 * cap, base + cap / 2), cap),
        _say((2.2 * cap, base), "head", letters, bold=True),
        shaft((size[0], base + cap / 2), (size[0] - 1.8 * cap, base + cap / 2), cap),
        _say((size[0] - 2.2 * cap, base), "bridge", letters, anchor="right", bold=True),
        across_dimension(a, b, row - 0.6 * cap, frame.up(string.gauge), cap),
        _say((mid, row), f"to fret 1: {letters.length(fret)}", letters, anchor="middle", bold=True),
        _say((frame.at((t, 0.0))[0] + cap, board), "fingerboard", letters, holds="pale"),
        _say((b, board), "fret 1", letters, anchor="middle", holds="pale"),
        _say((frame.at((0.0, 0.0))[0], frame.up(-UNDER) - 1.4 * cap), seat, letters),
        _say((frame.at((0.0, 0.0))[0], frame.up(-UNDER) - (1.4 + LINE) * cap),
             f"in a seat of {letters.length(nut.fit.seat)}: {nut.fit.name}", letters),
    ))  # fmt: skip


def _strip(
    nut: Nut, slot: Slot, string: StringPath, instrument: Instrument,
    placed: tuple[float, float, float], size: tuple[float, float], letters: Letters,
) -> Drawing:  # fmt: skip
    """The gap under the string from nut to fret 1, with heights stretched ``TIMES`` times."""
    cap, t = letters.cap, nut.thickness
    scale, left, top = placed
    fret = _to_fret(slot, string, instrument)
    wood, crown = _wood_over_seat(instrument, string), instrument.board.fret_height
    gap = _underside(slot, string, fret)
    under_fret = _wood_at_fret(slot, string, instrument)
    k = scale * TIMES

    def up(z: float) -> float:
        return top - 1.3 * LINE * cap - (gap + 0.12 - z) * k

    edge, step = left + scale * (t - slot.edge), slot.step
    x = [left + scale * v for v in (t, t + fret, t + fret + BEYOND)]
    floor = up(min(wood, under_fret)) - LINE * cap
    tops = up(under_fret + crown)
    dome = [(x[1] - scale * crown * math.cos(a), up(under_fret + crown * math.sin(a)))
            for a in (math.pi * i / 12 for i in range(13))]  # fmt: skip
    one = Frame(scale=1.0, x=0.0, z=0.0)
    under = [(edge, up(slot.floor_front)), (x[2], up(_underside(slot, string, fret + BEYOND)))]
    foot = [] if step is None else [(x[0], up(step.bottom)), (edge, up(step.bottom))]
    back = (left, up(float(slot.floor(t))))
    clear = gap - under_fret - crown
    return joined((
        _area([(0, floor), (size[0], floor), (size[0], top), (0, top)], one, "strip"),
        _area([(x[0], floor), (x[2], floor), (x[2], up(under_fret)), (x[1], up(under_fret)),
               (x[0], up(wood))], one, "board"),
        _area([(left, floor), (x[0], floor), *foot, under[0], (left, max(back[1], floor + 1))], one,
              "stays"),
        _area(dome, one, "metal"),
        Drawing(paths=(
            stroke(*under, holds="edge"),
            stroke((x[0], up(slot.floor_front - slot.lift)), (x[1], tops), (x[2], tops),
                   holds="frets"),
            stroke((x[0], floor), *foot, under[0], holds="edge"),
            stroke(*dome, holds="lying"),
        )),
        upright_dimension(x[0] + 1.5 * cap, up(slot.floor_front - slot.lift), up(slot.floor_front),
                          cap),
        upright_dimension(x[1], tops, up(gap), cap),
        upright_dimension(x[1] + 2.2 * cap + crown * scale, up(under_fret), tops, cap),
        _strip_words(slot, (x[0], x[1], x[2]), (tops, up(gap), floor, top), (clear, crown),
                     letters),
    ))  # fmt: skip


def _strip_words(
    slot: Slot, x: tuple[float, float, float], z: tuple[float, float, float, float],
    values: tuple[float, float], letters: Letters,
) -> Drawing:  # fmt: skip
    """The strip's words; lift and clearance stand over it, each with a line to its dimension."""
    cap = letters.cap
    tops, gap, floor, top = z
    clear, crown = values
    row, lift = top - 1.5 * cap, x[0] + 1.5 * cap
    return joined((
        _say((0.4 * cap, row), f"heights × {TIMES}", letters, bold=True, holds="finished"),
        _say((x[0], row), f"lift {letters.length(slot.lift)}", letters, bold=True),
        _say((x[1] + cap, row), f"over fret 1: {letters.length(clear)}", letters, anchor="right",
             bold=True),
        Drawing(paths=(stroke((lift, row - 0.3 * cap), (lift, gap), holds="dimension"),
                       stroke((x[1], row - 0.3 * cap), (x[1], gap), holds="dimension"))),
        _say((x[0] + 2.3 * cap, tops - 1.7 * cap), "line of the fret tops", letters),
        _say((x[1] - 0.9 * cap - crown, floor + 0.45 * cap), f"fret {letters.length(crown)} high",
             letters,
             anchor="right", holds="pale"),
    ))  # fmt: skip


# ---- the saddle ------------------------------------------------------------------------------

BEFORE, BEHIND = 14.0, 5.5
"""mm of bridge before the saddle, and behind where the string leaves the bridge."""


def saddle_side(
    saddle: Saddle, seat: Seat, string: StringPath, tie: tuple[float, float] | None, depth: float,
    action: float, size: tuple[float, float], letters: Letters,
) -> Drawing:  # fmt: skip
    """The saddle in its bridge along one string, the nut to the left, and beside it fret 12.

    ``tie``: height over the bridge and distance behind the ridge where the string leaves, if known;
    ``depth``: of the saddle's slot; ``action``: clearance over fret 12.
    """
    cap, t = letters.cap, saddle.thickness
    run = tie[1] if tie else 8.0
    wide = BEFORE + t - seat.ridge + run + BEHIND
    left = letters.wide([f"over fret 12: {letters.length(action)}"], bold=True) + 3 * cap
    head = (LINE + 0.8) * cap
    high = seat.height + string.gauge + 0.8
    low = -2.5
    scale = min((size[0] - left) / wide, (size[1] - head) / (high - low))
    frame = Frame(scale=scale, x=left + scale * BEFORE, z=size[1] - head - scale * high)
    falling = _falling(saddle, seat, string, tie, depth, (-BEFORE, run))
    return joined((
        _saddle_body(saddle, seat, depth, (-BEFORE, low, wide - BEFORE), frame, letters),
        _saddle_string(falling, string, frame, letters, known=tie is not None),
        _saddle_words(saddle, seat, depth, (-BEFORE, wide - BEFORE), frame, size, letters),
        _back(saddle, depth, falling, wide - BEFORE, frame, letters),
        _twelfth(string, action, frame, left, letters),
    ))  # fmt: skip


def _saddle_body(
    saddle: Saddle, seat: Seat, depth: float, limits: tuple[float, float, float], frame: Frame,
    letters: Letters,
) -> Drawing:  # fmt: skip
    from shapely import Polygon

    x0, low, x1 = limits
    t = saddle.thickness
    shape = elevation.saddle_end(saddle, seat.centre, Stage.FINAL)
    outline = list(curve.points(shape, 0.01))
    bridge = [
        (x0, low),
        (x1, low),
        (x1, depth),
        (t, depth),
        (t, 0),
        (0, 0),
        (0, depth),
        (x0, depth),
    ]
    edge = Path(chain=chained([frame.at(p) for p in outline]), holds="finished", closed=True)
    return joined((
        _area(bridge, frame, "bridge"),
        material(Polygon(outline), None, frame, (-1.0, -1.0, t + 1.0, 40.0), letters),
        Drawing(paths=(
            edge,
            line_in([(x0, depth), (0, depth), (0, 0), (t, 0), (t, depth), (x1, depth)], frame,
                    "edge"),
            *(torn(frame.at(p), frame.at(q), letters.cap)
              for p, q in (((x0, depth), (x0, low)), ((x0, low), (x1, low)),
                           ((x1, low), (x1, depth)))),
        )),
    ))  # fmt: skip


def _saddle_string(
    low: Sequence[Point], string: StringPath, frame: Frame, letters: Letters, *, known: bool
) -> Drawing:
    """The string over the ridge to where it leaves the bridge, and its break angle."""
    from blankcam.outputs.drawings.slot_section import string_look

    (start, first), (ridge, high), (end, last) = low
    ring = [*low, *((x, z + string.gauge) for x, z in reversed(low))]
    outline = Path(
        chain=chained([frame.at(p) for p in (*ring, ring[0])]), holds="lying", closed=True
    )
    rise = (high - first) / (ridge - start)
    angle = math.degrees(math.atan2(high - last, end - ridge) + math.atan(rise))
    level = frame.at((end, high + string.gauge))
    text = f"breaks by {angle:.1f}°" if known else "break angle not known"
    return joined((
        _area(ring, frame, string_look(string.make)),
        Drawing(paths=(outline, stroke(frame.at((ridge, high)), (level[0], frame.up(high)),
                                       holds="centre"))),
        _say((level[0], level[1] + 0.5 * letters.cap), text, letters, anchor="right", bold=True),
    ))  # fmt: skip


def _falling(
    saddle: Saddle, seat: Seat, string: StringPath, tie: tuple[float, float] | None, depth: float,
    ends: tuple[float, float],
) -> list[Point]:  # fmt: skip
    """The string's underside: from before the saddle over the ridge to where it leaves."""
    ridge = saddle.thickness - seat.ridge
    rise = (string.z_saddle - string.z_nut) / string.length
    start, run = ends
    drop = seat.height - depth - tie[0] if tie else 0.0
    return [(start, seat.height - rise * (ridge - start)), (ridge, seat.height),
            (ridge + run, seat.height - drop)]  # fmt: skip


def _saddle_words(
    saddle: Saddle, seat: Seat, depth: float, ends: tuple[float, float], frame: Frame,
    size: tuple[float, float], letters: Letters,
) -> Drawing:  # fmt: skip
    cap, t = letters.cap, saddle.thickness
    base = size[1] - 1.2 * cap
    x = frame.at((0.0, 0.0))[0] - 1.4 * cap
    right = frame.at((t, 0.0))[0] + 1.4 * cap
    foot = stroke((x - 0.4 * cap, frame.up(0.0)), (frame.at((t, 0.0))[0] + 2 * cap, frame.up(0.0)),
                  holds="dimension")  # fmt: skip
    return joined((
        shaft((0.0, base + cap / 2), (1.8 * cap, base + cap / 2), cap),
        _say((2.2 * cap, base), "nut", letters, bold=True),
        Drawing(paths=(foot,)),
        upright_dimension(x, frame.up(0.0), frame.up(seat.height), cap),
        _say((x - 0.6 * cap, frame.up(depth / 2) - cap / 2),
             f"{'' if letters.terse else 'height '}{letters.length(seat.height)}", letters,
             anchor="right", bold=True),
        upright_dimension(right, frame.up(0.0), frame.up(depth), cap),
        _say((right + 0.6 * cap, frame.up(depth / 2) - cap / 2),
             f"{'' if letters.terse else 'slot '}{letters.length(depth)}", letters),
        _say((frame.at((ends[1], 0.0))[0] - 1.5 * cap, frame.up(-2.5) + 0.6 * cap), "bridge",
             letters,
             anchor="right"),
        _say((x - 0.6 * cap, frame.up(depth) + 0.3 * cap), "front", letters, anchor="right"),
    ))  # fmt: skip


def _back(
    saddle: Saddle, depth: float, string: Sequence[Point], end: float, frame: Frame,
    letters: Letters,
) -> Drawing:  # fmt: skip
    """The word behind the saddle; where the string is in its way, behind the string's end."""
    x, level = frame.at((saddle.thickness + 1.0, 0.0))[0], frame.up(depth) + 0.3 * letters.cap
    (a, b), (c, d) = (frame.at(p) for p in string[1:])
    under = b + (d - b) * (x + letters.wide(["back"]) - a) / (c - a)
    if level + 1.3 * letters.cap < under:
        return _say((x, level), "back", letters)
    return _say((frame.at((end, 0.0))[0], level), "back", letters, anchor="right")


def _twelfth(
    string: StringPath, action: float, frame: Frame, wide: float, letters: Letters
) -> Drawing:
    """Fret 12 under the string at the same scale, left of the bridge; the string torn between."""
    cap = letters.cap
    end = (wide - 2 * cap) / frame.scale
    under = 6.0
    one = Frame(scale=frame.scale, x=0.0, z=frame.z)
    top = under - action
    crown = 1.0
    board = top - crown
    over = max(frame.scale * string.gauge, 1.6 * ARROW * cap)  # the string, or an arrow from above
    lines = [
        _area([(0, board - 1.6), (end, board - 1.6), (end, board), (0, board)], one, "board"),
        _crown((end / 2, board), crown, one),
        Drawing(paths=(
            line_in([(0, under), (end, under)], one, "edge"),
            line_in([(0, under + string.gauge), (end, under + string.gauge)], one, "lying"),
            torn(one.at((end, under)), one.at((end, under + string.gauge)), cap),
        )),
        upright_dimension(one.at((end / 2, 0))[0], one.up(top), one.up(under), cap),
        _say((0.3 * cap, one.up(under) + over + 0.6 * cap),
             f"over fret 12: {letters.length(action)}",
             letters, bold=True),
        _say((one.at((end / 2, 0))[0], one.up(board - 1.6) - 1.5 * cap), "fret 12", letters,
             anchor="middle"),
    ]  # fmt: skip
    return joined(lines)


def saddle_plan_view(
    saddle: Saddle, strings: Sequence[StringPath], scale_length: float,
    size: tuple[float, float], letters: Letters, ends: tuple[str, str],
) -> Drawing:  # fmt: skip
    """The saddle from above, the nut up the page: its slot's slant, the ridge, each
    compensation.
    """
    cap, t, long = letters.cap, saddle.thickness, saddle.length

    def placed(x: float, y: float) -> Point:
        u, s = saddle.slot.to_instrument(x, y, length=long, thickness=t)
        return (u, -(s - scale_length))

    outline = [placed(x, y) for x, y in curve.points(saddle.plan(), 0.02)]
    ridge = [
        placed(x, float(saddle.ridge.height(np.array(x))))
        for x in (long * i / 60 for i in range(61))
    ]
    reach = max(abs(u) for u, _ in outline) + 3.0
    low = min(z for _, z in outline) - 2.5
    texts = [letters.length(s.compensation) for s in saddle.strings]
    turned = len(texts) * (letters.wide(texts, bold=True) + cap) > size[0]
    head = (letters.wide(texts, bold=True) if turned else cap) + (LINE + 2.4) * cap
    k = size[0] / (2 * reach)
    zero = size[1] - head - 1.5 * k
    frame = Frame(scale=k, x=size[0] / 2, z=zero)
    return joined((
        _area([(-reach, low), (reach, low), (reach, 1.5), (-reach, 1.5)], frame, "bridge"),
        _area(outline, frame, "stays"),
        Drawing(paths=(
            Path(chain=chained([frame.at(p) for p in outline]), holds="edge", closed=True),
            line_in([(-reach, 0.0), (reach, 0.0)], frame, "centre"),
            line_in(ridge, frame, "finished"),
        )),
        _compensations(saddle, strings, frame, placed, (zero + 1.5 * k, low), size, letters,
                       turned),
        _say((0.3 * cap, size[1] - 1.2 * cap), ends[0], letters, bold=True),
        _say((size[0] / 2, size[1] - 1.2 * cap), "to the nut, up the page", letters,
             anchor="middle"),
        _say((size[0] - 0.3 * cap, size[1] - 1.2 * cap), ends[1], letters, anchor="right",
             bold=True),
    ))  # fmt: skip


def _compensations(
    saddle: Saddle, strings: Sequence[StringPath], frame: Frame,
    placed: Callable[[float, float], Point],
    span: tuple[float, float], size: tuple[float, float], letters: Letters, turned: bool,
) -> Drawing:  # fmt: skip
    """Each string, how far its ridge lies behind the scale length, and its number below."""
    cap = letters.cap
    top, low = span
    spots = [placed(s.centre, s.ridge) for s in saddle.strings]
    at = [frame.at(p)[0] for p in spots]
    wide = cap * 1.7 if turned else letters.wide(["00.00"], bold=True) + 0.8 * cap
    shown = fanned(at, wide, (wide / 2, size[0] - wide / 2))
    numbers = fanned(at, 2.0 * cap, (cap, size[0] - cap))
    foot = frame.up(low)
    drawn = []
    for seat, string, x, spot, label, number in zip(
        saddle.strings, strings, at, spots, shown, numbers, strict=True
    ):
        half = string.gauge * frame.scale / 2
        z = frame.up(spot[1])
        paths = [stroke((x + d, top), (x + d, foot), holds="lying") for d in (-half, half)]
        paths.append(stroke((label, top + 1.2 * cap), (x, top), holds="dimension"))
        paths.append(stroke((x, foot), (number, foot - 0.8 * cap), holds="dimension"))
        drawn += [Drawing(paths=tuple(paths)),
                  upright_dimension(x, z, frame.up(0.0), cap)]  # fmt: skip
        word = Words(
            at=(label + (cap / 2 if turned else 0.0), top + 1.6 * cap),
            text=letters.length(seat.compensation),
            height=cap, anchor="left" if turned else "middle", turn=90.0 if turned else 0.0,
            bold=True,
        )  # fmt: skip
        drawn.append(Drawing(words=(word,)))
        drawn.append(_say((number, foot - 2.0 * cap), str(seat.string), letters, anchor="middle"))
    return joined(drawn)
