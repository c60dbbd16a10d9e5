"""The nut in its seat along one string, with the clearances over the frets.

Laid out as ``slot_across`` is: for a size of picture and of letters, the room for words first. From
the side, the head is on the left. Proportions are true, but for the strip, which says how many
times its heights are stretched. What was not measured (head, neck) only shows where it is.
"""

from __future__ import annotations

import math

import numpy as np

from blankcam.instrument.heights import Instrument, StringPath, nut_floor_at
from blankcam.outputs.drawing import Drawing, Path, joined, stroke
from blankcam.outputs.drawings.strokes import (
    LINE,
    Frame,
    Letters,
    across_dimension,
    area,
    chained,
    fret_crown,
    line_in,
    material,
    say,
    shaft,
    torn,
    upright_dimension,
)
from blankcam.parts.nut import Nut
from blankcam.parts.slot import Slot

HEAD, BEYOND = 13.0, 7.0
"""mm of head behind the nut, and of board beyond fret 1."""
UNDER = 3.0
"""mm of neck under the board."""
TIMES = 5
"""How many times the strip stretches heights."""


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
        area(neck, frame, "wood"),
        area([(t, 0.0), (end, 0.0), (end, under), (t + fret, under), (t, wood)], frame, "board"),
        fret_crown((t + fret, under), instrument.board.fret_height, frame),
        material(body, None, frame, (-HEAD, -UNDER, end, 30.0), letters),
        _string_side(slot, string, (-HEAD, t, end), frame),
        Drawing(paths=(
            line_in([(0.0, back), (edge, front)], frame, "finished"),
            line_in([(0.0, back), (0.0, 0.0), (t, 0.0), *foot, (edge, front)], frame, "edge"),
            torn(frame.at((-HEAD, -UNDER)), frame.at((end, -UNDER)), letters.cap),
        )),
    ))  # fmt: skip


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
    return joined((area(ring, frame, string_look(string.make)), Drawing(paths=(outline,))))


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
        say((2.2 * cap, base), "head", letters, bold=True),
        shaft((size[0], base + cap / 2), (size[0] - 1.8 * cap, base + cap / 2), cap),
        say((size[0] - 2.2 * cap, base), "bridge", letters, anchor="right", bold=True),
        across_dimension(a, b, row - 0.6 * cap, frame.up(string.gauge), cap),
        say((mid, row), f"to fret 1: {letters.length(fret)}", letters, anchor="middle", bold=True),
        say((frame.at((t, 0.0))[0] + cap, board), "fingerboard", letters, holds="pale"),
        say((b, board), "fret 1", letters, anchor="middle", holds="pale"),
        say((frame.at((0.0, 0.0))[0], frame.up(-UNDER) - 1.4 * cap), seat, letters),
        say((frame.at((0.0, 0.0))[0], frame.up(-UNDER) - (1.4 + LINE) * cap),
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
        area([(0, floor), (size[0], floor), (size[0], top), (0, top)], one, "strip"),
        area([(x[0], floor), (x[2], floor), (x[2], up(under_fret)), (x[1], up(under_fret)),
               (x[0], up(wood))], one, "board"),
        area([(left, floor), (x[0], floor), *foot, under[0], (left, max(back[1], floor + 1))], one,
              "stays"),
        area(dome, one, "metal"),
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
        say((0.4 * cap, row), f"heights × {TIMES}", letters, bold=True, holds="finished"),
        say((x[0], row), f"lift {letters.length(slot.lift)}", letters, bold=True),
        say((x[1] + cap, row), f"over fret 1: {letters.length(clear)}", letters, anchor="right",
             bold=True),
        Drawing(paths=(stroke((lift, row - 0.3 * cap), (lift, gap), holds="dimension"),
                       stroke((x[1], row - 0.3 * cap), (x[1], gap), holds="dimension"))),
        say((x[0] + 2.3 * cap, tops - 1.7 * cap), "line of the fret tops", letters),
        say((x[1] - 0.9 * cap - crown, floor + 0.45 * cap), f"fret {letters.length(crown)} high",
             letters,
             anchor="right", holds="pale"),
    ))  # fmt: skip
