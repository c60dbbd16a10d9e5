"""A slot cut across at its front edge, laid out for a size of picture and of letters.

Nothing is scaled once it is laid out: the room that words need is measured first, and the picture
gets the rest. Any unit will do (millimetres of paper, pixels of a screen), with y upward and the
lower left corner at 0. Paths and words hold the keys of data/section.toml.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from blankcam.outputs.drawing import Drawing, Path, joined, stroke
from blankcam.outputs.drawings.slot_across_dimensions import (
    height_column,
    height_words,
    heights,
    left_column,
    left_words,
    top_dimensions,
    top_rows,
)
from blankcam.outputs.drawings.slot_section import (
    LinesAcross,
    SlotSection,
    Standing,
    filled,
    finished_floor,
    lines_across,
    rough_across,
    waste,
)
from blankcam.outputs.drawings.strokes import (
    LINE,
    Frame,
    Letters,
    line_in,
    material,
    top_edge,
    torn,
)
from blankcam.parts.curve import Arc, Point


def across_view(section: SlotSection, standing: Standing, size: tuple[float, float],
                letters: Letters) -> Drawing:  # fmt: skip
    """The slot cut at the front edge, seen from the bridge: widths, gaps, exposure, heights."""
    told = heights(section, standing)
    cap = letters.cap
    left = letters.wide(left_words(section, letters)) + 3.2 * cap
    right = letters.wide((height_words(h, letters) for h in told), bold=True) + 2.8 * cap
    rows = top_rows(section, letters, size[0])
    head = cap * (LINE * len(rows) + 1.6)
    room = (size[0] - left - right, size[1] - head)
    window = _window(section, standing, room)
    frame = _frame(window, (left, 0.0), room)
    box = (frame.at((window[0], 0))[0], frame.up(window[2]), frame.at((window[1], 0))[0],
           frame.up(window[3]))  # fmt: skip
    lines = lines_across(section, window[0], window[1], standing)
    return joined((
        _bone(lines, standing, frame, window, letters),
        _string(section, standing, frame),
        _lines(section, lines, standing, frame, window, cap),
        height_column(told, frame, box, size[0] - right, letters),
        left_column(section, frame, box, left, letters),
        top_dimensions(section, rows, frame, box, size, letters),
        _centre_line(frame, section.slot.centre, box),
    ))  # fmt: skip


Window = tuple[float, float, float, float]
"""Left, right, low and high limits of what is shown, in the part's x and z."""


def _window(section: SlotSection, standing: Standing, room: tuple[float, float]) -> Window:
    slot = section.slot
    floor = min(slot.floor_front, finished_floor(section, standing))
    top = max(section.rough_top, slot.floor_front + slot.gauge)
    if (lies := section.lies_at(standing)) is not None:
        top = max(top, lies + slot.gauge)
    x0, x1 = section.window(max(1.7 * slot.radius, slot.radius + 0.45))
    line = rough_across(section, x0, x1)
    high = max([top, *(z for _, z in line)]) + 0.06
    if standing is Standing.BLANK:
        high += 0.12 * (high - floor)
    low = max(floor - 0.3 * (high - floor), 0.0)
    scale = min(room[0] / (x1 - x0), room[1] / (high - low))
    x0, x1 = section.window(room[0] / scale / 2)
    return x0, x1, max(low, high - room[1] / scale), high


def _frame(window: Window, corner: Point, room: tuple[float, float]) -> Frame:
    x0, x1, low, high = window
    scale = min(room[0] / (x1 - x0), room[1] / (high - low))
    middle = corner[0] + room[0] / 2 - scale * (x0 + x1) / 2
    return Frame(scale=scale, x=middle, z=corner[1] + room[1] - scale * high)


def _bone(
    lines: LinesAcross, standing: Standing, frame: Frame, window: Window, letters: Letters
) -> Drawing:
    x0, x1, low, high = window
    stays, stands = filled(lines.wanted, low), filled(lines.stands, low)
    kept = waste(stands, stays) if standing is not Standing.FINISHED else None
    return material(stays, kept, frame, (x0, low, x1, high), letters)


def _lines(
    section: SlotSection,
    each: LinesAcross,
    standing: Standing,
    frame: Frame,
    window: Window,
    cap: float,
) -> Drawing:
    x0, x1, low, high = window
    lines = [(each.finished, "finished")]
    if standing is not Standing.FINISHED:
        lines.append((each.rough, "rough"))
        if not section.milled:
            lines.append((_filed_first(section, x0, x1), "first"))
    if standing is Standing.REFIT:
        lines.append((each.wanted, "refit"))
    blank = standing is Standing.BLANK
    edges = (top_edge(section.stock, (x0, x1), high, frame, cap),) if blank else ()
    sides = [((x, low), (x, min(z, high))) for x, z in (each.stands[0], each.stands[-1])]
    return joined((
        Drawing(paths=tuple(line_in(points, frame, holds) for points, holds in reversed(lines))),
        Drawing(paths=tuple(
            torn(frame.at(p), frame.at(q), cap) for p, q in (*sides, ((x0, low), (x1, low)))
        )),
        Drawing(paths=edges),
    ))  # fmt: skip


def _filed_first(section: SlotSection, x0: float, x1: float) -> list[Point]:
    """The slot as deep as the file takes it before the strings are on."""
    slot = section.slot.with_floor_raised(section.first_floor - section.slot.floor_front)
    r = slot.radius
    turns = [math.pi * (i / 16 - 0.5) for i in range(17)]
    round_floor = [
        (slot.centre + r * math.sin(t), slot.floor_front + r * (1 - math.cos(t))) for t in turns
    ]
    high = max(section.finished_top, slot.floor_front + r)
    walls = [(slot.centre - r, high), *round_floor, (slot.centre + r, high)]
    return [(min(max(x, x0), x1), z) for x, z in walls]


def _string(section: SlotSection, standing: Standing, frame: Frame) -> Drawing:
    """The string filled where it lies now, and in outline where it is to lie."""
    lies = section.lies_at(standing)
    wanted = finished_floor(section, standing)
    paths: list[Path] = []
    if lies is not None:
        paths += _round_string(section, lies, frame)
    if lies is None or abs(lies - wanted) > 1e-9:
        paths.append(_circle(frame, section, wanted, section.slot.gauge / 2, "to come"))
    return Drawing(paths=tuple(paths))


def _round_string(section: SlotSection, floor: float, frame: Frame) -> Iterator[Path]:
    r = section.slot.gauge / 2
    yield _circle(frame, section, floor, r, section.string_make, fill=True)
    yield _circle(frame, section, floor, r, "lying")
    if section.string_make == "wound":
        yield _circle(frame, section, floor, 0.36 * r, "lying", lifted=0.64 * r)


def _circle(
    frame: Frame, section: SlotSection, floor: float, radius: float, holds: str,
    *, fill: bool = False, lifted: float = 0.0,
) -> Path:  # fmt: skip
    x, z = frame.at((section.slot.centre, floor + lifted + radius))
    r = radius * frame.scale
    centre = (x, z)
    halves = ((x + r, z), (x - r, z))
    chain = (Arc(halves[0], halves[1], centre, True), Arc(halves[1], halves[0], centre, True))
    return Path(chain=chain, holds=holds, closed=True, fill=fill)


def _centre_line(frame: Frame, x: float, box: tuple[float, float, float, float]) -> Drawing:
    at = frame.at((x, 0.0))[0]
    return Drawing(paths=(stroke((at, box[1]), (at, box[3]), holds="centre"),))
