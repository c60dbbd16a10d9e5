"""The saddle in its bridge along one string, and from above.

Laid out as ``slot_across`` is: for a size of picture and of letters, the room for words first. The
nut is on the left, or up the page; proportions are true. What was not measured (the bridge) only
shows where it is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from blankcam.instrument.heights import StringPath
from blankcam.outputs.drawing import Drawing, Path, Words, joined, stroke
from blankcam.outputs.drawings.strokes import (
    ARROW,
    LINE,
    Frame,
    Letters,
    area,
    chained,
    fanned,
    fret_crown,
    line_in,
    material,
    say,
    shaft,
    torn,
    upright_dimension,
)
from blankcam.parts import curve, elevation
from blankcam.parts.curve import Point
from blankcam.parts.saddle import Saddle, Seat
from blankcam.parts.stage import Stage

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
        area(bridge, frame, "bridge"),
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
        area(ring, frame, string_look(string.make)),
        Drawing(paths=(outline, stroke(frame.at((ridge, high)), (level[0], frame.up(high)),
                                       holds="centre"))),
        say((level[0], level[1] + 0.5 * letters.cap), text, letters, anchor="right", bold=True),
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
        say((2.2 * cap, base), "nut", letters, bold=True),
        Drawing(paths=(foot,)),
        upright_dimension(x, frame.up(0.0), frame.up(seat.height), cap),
        say((x - 0.6 * cap, frame.up(depth / 2) - cap / 2),
             f"{'' if letters.terse else 'height '}{letters.length(seat.height)}", letters,
             anchor="right", bold=True),
        upright_dimension(right, frame.up(0.0), frame.up(depth), cap),
        say((right + 0.6 * cap, frame.up(depth / 2) - cap / 2),
             f"{'' if letters.terse else 'slot '}{letters.length(depth)}", letters),
        say((frame.at((ends[1], 0.0))[0] - 1.5 * cap, frame.up(-2.5) + 0.6 * cap), "bridge",
             letters,
             anchor="right"),
        say((x - 0.6 * cap, frame.up(depth) + 0.3 * cap), "front", letters, anchor="right"),
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
        return say((x, level), "back", letters)
    return say((frame.at((end, 0.0))[0], level), "back", letters, anchor="right")


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
        area([(0, board - 1.6), (end, board - 1.6), (end, board), (0, board)], one, "board"),
        fret_crown((end / 2, board), crown, one),
        Drawing(paths=(
            line_in([(0, under), (end, under)], one, "edge"),
            line_in([(0, under + string.gauge), (end, under + string.gauge)], one, "lying"),
            torn(one.at((end, under)), one.at((end, under + string.gauge)), cap),
        )),
        upright_dimension(one.at((end / 2, 0))[0], one.up(top), one.up(under), cap),
        say((0.3 * cap, one.up(under) + over + 0.6 * cap),
             f"over fret 12: {letters.length(action)}",
             letters, bold=True),
        say((one.at((end / 2, 0))[0], one.up(board - 1.6) - 1.5 * cap), "fret 12", letters,
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
        area([(-reach, low), (reach, low), (reach, 1.5), (-reach, 1.5)], frame, "bridge"),
        area(outline, frame, "stays"),
        Drawing(paths=(
            Path(chain=chained([frame.at(p) for p in outline]), holds="edge", closed=True),
            line_in([(-reach, 0.0), (reach, 0.0)], frame, "centre"),
            line_in(ridge, frame, "finished"),
        )),
        _compensations(saddle, strings, frame, placed, (zero + 1.5 * k, low), size, letters,
                       turned),
        say((0.3 * cap, size[1] - 1.2 * cap), ends[0], letters, bold=True),
        say((size[0] / 2, size[1] - 1.2 * cap), "to the nut, up the page", letters,
             anchor="middle"),
        say((size[0] - 0.3 * cap, size[1] - 1.2 * cap), ends[1], letters, anchor="right",
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
        drawn.append(say((number, foot - 2.0 * cap), str(seat.string), letters, anchor="middle"))
    return joined(drawn)
