"""A slot's two sections laid out for a width and a size of letters, with their dimensions.

Nothing is scaled once it is laid out: the room that words take is measured first, and the picture
gets the rest. Any unit will do (millimetres of paper, pixels of a screen), with y upward and the
lower left corner at 0. Paths and words hold the keys of data/section.toml.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from blankcam.outputs.drawing import Drawing, Path, Words, joined, stroke
from blankcam.outputs.drawings.slot_section import (
    LEAST,
    SlotSection,
    Standing,
    filled,
    finished_across,
    finished_along,
    finished_floor,
    floor_along,
    rough_across,
    rough_along,
    standing_across,
    standing_along,
    string_along,
    top_along,
    waste,
)
from blankcam.outputs.drawings.strokes import (
    CLOSE,
    LINE,
    Frame,
    Letters,
    across_dimension,
    chained,
    dot,
    fanned,
    line_in,
    material,
    patch,
    rings,
    shaft,
    torn,
    upright_dimension,
)
from blankcam.parts.curve import Arc, Point

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True, slots=True, kw_only=True)
class Height:
    """A level line's height over the seat, and its name."""

    z: float
    words: str
    holds: str
    """The line that it is the height of."""


# ---- what is written -------------------------------------------------------------------------


def heights(section: SlotSection, standing: Standing) -> tuple[Height, ...]:
    """The heights that an across section tells, from the highest down."""
    done = standing is Standing.FINISHED
    at = [
        Height(z=section.finished_top, words="finished top", holds="finished"),
        Height(z=section.slot.floor_front, words="finished floor", holds="finished"),
    ]
    if not done:
        now = section.stands is not None
        first = "floor now" if now else "rough floor" if section.milled else "file first"
        line = "rough" if section.milled or now else "first"
        at.append(Height(z=section.first_floor, words=first, holds=line))
        if section.rough_top - section.finished_top > 0.005:
            at.append(
                Height(z=section.rough_top, words="top now" if now else "rough top", holds="rough")
            )
        if section.nick is not None:
            at.append(Height(z=section.rough_top - section.nick, words="nick", holds="rough"))
    if standing is Standing.REFIT and section.refit is not None:
        if abs(section.refit.top - section.rough_top) > LEAST:  # else it stays as it is
            at.append(Height(z=section.refit.top, words="refit top", holds="refit"))
        at.append(Height(z=section.refit.floor, words="refit floor", holds="refit"))
    return tuple(sorted(at, key=lambda h: -h.z))


def _figure(value: float) -> str:
    return f"{value:.2f}"


# ---- across ----------------------------------------------------------------------------------


def across_view(section: SlotSection, standing: Standing, size: tuple[float, float],
                letters: Letters) -> Drawing:  # fmt: skip
    """The slot cut at the front edge, seen from the bridge: widths, gaps, exposure, heights."""
    told = heights(section, standing)
    cap = letters.cap
    left = letters.wide(_left_words(section, letters)) + 3.2 * cap
    right = letters.wide((_height_words(h, letters) for h in told), bold=True) + 2.8 * cap
    rows = _top_rows(section, letters, size[0])
    head = cap * (LINE * len(rows) + 1.6)
    room = (size[0] - left - right, size[1] - head)
    window = _across_window(section, standing, room)
    frame = _across_frame(window, (left, 0.0), room)
    box = (frame.at((window[0], 0))[0], frame.up(window[2]), frame.at((window[1], 0))[0],
           frame.up(window[3]))  # fmt: skip
    return joined((
        _across_bone(section, standing, frame, window, letters),
        _across_string(section, standing, frame),
        _across_lines(section, standing, frame, window, cap),
        _height_column(told, frame, box, size[0] - right, letters),
        _left_column(section, frame, box, left, letters),
        _top_dimensions(section, rows, frame, box, size, letters),
        _centre_line(frame, section.slot.centre, box),
    ))  # fmt: skip


Window = tuple[float, float, float, float]
"""x from, x to, z from, z to, of the part."""


def _across_window(section: SlotSection, standing: Standing, room: tuple[float, float]) -> Window:
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


def _across_frame(window: Window, corner: Point, room: tuple[float, float]) -> Frame:
    x0, x1, low, high = window
    scale = min(room[0] / (x1 - x0), room[1] / (high - low))
    middle = corner[0] + room[0] / 2 - scale * (x0 + x1) / 2
    return Frame(scale=scale, x=middle, z=corner[1] + room[1] - scale * high)


def _across_bone(
    section: SlotSection, standing: Standing, frame: Frame, window: Window, letters: Letters
) -> Drawing:
    x0, x1, low, high = window
    stays = filled(finished_across(section, x0, x1, standing), low)
    stands = filled(standing_across(section, x0, x1, standing), low)
    kept = waste(stands, stays) if standing is not Standing.FINISHED else None
    return material(stays, kept, frame, (x0, low, x1, high), letters)


def _across_lines(
    section: SlotSection, standing: Standing, frame: Frame, window: Window, cap: float
) -> Drawing:
    x0, x1, low, high = window
    stands = filled(standing_across(section, x0, x1, standing), low)
    lines = [(finished_across(section, x0, x1, Standing.FINISHED), "finished")]
    if standing is not Standing.FINISHED:
        lines.append((rough_across(section, x0, x1), "rough"))
        if not section.milled:
            lines.append((_first_across(section, x0, x1), "first"))
    if standing is Standing.REFIT:
        lines.append((finished_across(section, x0, x1, standing), "refit"))
    return joined((
        Drawing(paths=tuple(line_in(points, frame, holds) for points, holds in reversed(lines))),
        Drawing(paths=tuple(
            torn(frame.at(p), frame.at(q), cap)
            for p, q in (((x0, low), (x0, _at(stands, x0, high))),
                         ((x1, low), (x1, _at(stands, x1, high))),
                         ((x0, low), (x1, low)))
        )),
        _blank_edge(standing, section, frame, (x0, x1, high), cap),
    ))  # fmt: skip


def _at(body: BaseGeometry, x: float, high: float) -> float:
    """How high a body stands at one of its sides."""
    from shapely import LineString

    cut = body.buffer(1e-6).intersection(LineString([(x, -1.0), (x, high)]))
    return float(cut.bounds[3]) if not cut.is_empty else high


def _blank_edge(
    standing: Standing, section: SlotSection, frame: Frame, top: tuple[float, float, float],
    cap: float,
) -> Drawing:  # fmt: skip
    """The blank goes on above the picture, unless its top is in it."""
    if standing is not Standing.BLANK:
        return Drawing()
    x0, x1, high = top
    if section.stock <= high:
        return Drawing(paths=(stroke(frame.at((x0, section.stock)), frame.at((x1, section.stock)),
                                     holds="edge"),))  # fmt: skip
    return Drawing(paths=(torn(frame.at((x0, high)), frame.at((x1, high)), cap),))


def _first_across(section: SlotSection, x0: float, x1: float) -> list[Point]:
    """The slot as far as the file takes it before the strings are on."""
    slot = section.slot.with_floor_raised(section.first_floor - section.slot.floor_front)
    r = slot.radius
    turns = [math.pi * (i / 16 - 0.5) for i in range(17)]
    round_floor = [
        (slot.centre + r * math.sin(t), slot.floor_front + r * (1 - math.cos(t))) for t in turns
    ]
    high = max(section.finished_top, slot.floor_front + r)
    walls = [(slot.centre - r, high), *round_floor, (slot.centre + r, high)]
    return [(min(max(x, x0), x1), z) for x, z in walls]


def _across_string(section: SlotSection, standing: Standing, frame: Frame) -> Drawing:
    """The string as it lies now, whole; where it is to lie, dashed."""
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


def _height_words(height: Height, letters: Letters) -> str:
    name = height.words.removeprefix("finished ") if letters.terse else height.words
    return f"{_figure(height.z)} {name}" if letters.full else _figure(height.z)


def _height_column(
    told: Sequence[Height], frame: Frame, box: tuple[float, float, float, float], x: float,
    letters: Letters,
) -> Drawing:  # fmt: skip
    """The heights beside the picture, in their true order, each joined to its line."""
    cap = letters.cap
    room = (0.8 * cap, box[3] + 2.3 * cap)
    places = fanned([frame.up(h.z) for h in told], cap * CLOSE, room)
    paths, words = [], []
    for height, place in zip(told, places, strict=True):
        at = frame.up(height.z)
        paths.append(stroke((box[2] + 0.2 * cap, at), (x + 0.5 * cap, at), (x + 1.7 * cap, place),
                            (x + 2.3 * cap, place), holds="dimension"))  # fmt: skip
        words.append(Words(at=(x + 2.6 * cap, place - cap / 2), text=_height_words(height, letters),
                           height=cap, holds=height.holds, bold=not letters.full))  # fmt: skip
    return Drawing(paths=tuple(paths), words=tuple(words))


def _left_words(section: SlotSection, letters: Letters) -> tuple[str, str]:
    share = f" ({100 * section.stands_out / section.slot.gauge:.0f} %)"
    out, deep = _figure(section.stands_out), _figure(section.slot.depth_front)
    if letters.terse:
        return f"out {out}", f"deep {deep}"
    if letters.full:
        return f"stands out {out}{share}", f"deep {deep}"
    return out, deep


def _left_column(
    section: SlotSection, frame: Frame, box: tuple[float, float, float, float], x: float,
    letters: Letters,
) -> Drawing:  # fmt: skip
    """How far the finished string stands out of the finished top, and how deep it lies in it."""
    cap, slot = letters.cap, section.slot
    at = x - 0.9 * cap
    stops = [frame.up(z) for z in (slot.floor_front + slot.gauge, section.finished_top,
                                   slot.floor_front)]  # fmt: skip
    spans = [(low, high) for high, low in pairwise(stops)]
    places = fanned([(a + b) / 2 for a, b in spans], cap * CLOSE, (0.8 * cap, box[3]))
    centre = frame.at((slot.centre, 0.0))[0]
    extend = [stroke((end, z), (at - 0.4 * cap, z), holds="dimension")
              for end, z in zip((centre, box[0] - 0.2 * cap, centre), stops, strict=True)]  # fmt: skip
    drawn = [Drawing(paths=tuple(extend))]
    for (low, high), place, text in zip(spans, places, _left_words(section, letters), strict=True):
        drawn.append(upright_dimension(at, low, high, cap))
        elbow = stroke((at - 0.2 * cap, (low + high) / 2), (at - 1.6 * cap, place),
                       (at - 1.9 * cap, place), holds="dimension")  # fmt: skip
        word = Words(at=(at - 2.2 * cap, place - cap / 2), text=text, height=cap, anchor="right")
        drawn.append(Drawing(paths=(elbow,), words=(word,)))
    return joined(drawn)


def _top_rows(section: SlotSection, letters: Letters, wide: float) -> list[list[tuple[str, str]]]:
    """Rows of (kind, words) over the picture: string and gap, then the slot's width."""
    string = f"string Ø {section.slot.gauge:.2f}" if letters.full else f"Ø {section.slot.gauge:.2f}"
    each = f"{section.clear:.3f}"
    gap = f"clear {each} each side" if letters.full else f"{each} clear"
    width = f"{section.slot.width:.2f} wide" if letters.full else _figure(section.slot.width)
    sides = [("string", string), ("clear", gap)]
    used = sum(letters.wide([t]) for _, t in sides) + 3 * letters.cap
    rows = [sides] if used <= wide else [[s] for s in sides]
    return [*rows, [("wide", width)]]


def _top_dimensions(
    section: SlotSection, rows: Sequence[Sequence[tuple[str, str]]], frame: Frame,
    box: tuple[float, float, float, float], size: tuple[float, float], letters: Letters,
) -> Drawing:  # fmt: skip
    cap, slot = letters.cap, section.slot
    level = box[3] + 0.9 * cap
    walls = [frame.at((slot.centre + side * slot.radius, 0.0))[0] for side in (-1, 1)]
    middle = sum(walls) / 2
    drawn = [across_dimension(walls[0], walls[1], level, frame.up(section.finished_top), cap)]
    words = []
    for i, row in enumerate(reversed(rows)):
        base = level + 0.6 * cap + i * LINE * cap
        for kind, text in row:
            word = _top_word(kind, text, base, middle, size[0], letters)
            words.append(word)
            if kind != "wide":
                drawn.append(_pointer(section, kind, word, frame, letters))
    return joined((*drawn, Drawing(words=tuple(words))))


def _top_word(
    kind: str, text: str, base: float, middle: float, wide: float, letters: Letters
) -> Words:
    gap = 1.2 * letters.cap
    at, anchor = {
        "wide": (middle, "middle"), "string": (middle - gap, "right"), "clear": (middle + gap, "left"),
    }[kind]  # fmt: skip
    own = letters.wide([text], bold=kind == "wide")
    if anchor == "right":
        at = max(at, own)
    if anchor == "left":
        at = min(at, wide - own)
    return Words(at=(at, base), text=text, height=letters.cap, anchor=anchor, bold=kind == "wide")


def _pointer(
    section: SlotSection, kind: str, word: Words, frame: Frame, letters: Letters
) -> Drawing:
    """From the words for string or gap down to it, past the slot's width."""
    cap, slot = letters.cap, section.slot
    side = -1 if kind == "string" else 1
    own = letters.wide([word.text])
    middle = frame.at((slot.centre, 0.0))[0]
    half = max(slot.radius * frame.scale, letters.wide(["0.00 wide"], bold=True) / 2) + 1.4 * cap
    start = middle + side * min(half, abs(word.at[0] - middle) + own - 0.5 * cap)
    low = word.at[1] - 0.45 * cap
    turn = math.radians(145 if kind == "string" else 12)
    r = slot.gauge / 2
    tip = frame.at((slot.centre + r * math.cos(turn), slot.floor_front + r + r * math.sin(turn)))
    if kind == "clear":
        tip = frame.at((slot.centre + (r + slot.radius) / 2, section.finished_top))
    return Drawing(paths=(stroke((start, low), tip, holds="dimension"), dot(tip, 0.13 * cap)))


# ---- along -----------------------------------------------------------------------------------


def along_view(section: SlotSection, standing: Standing, size: tuple[float, float],
               letters: Letters) -> Drawing:  # fmt: skip
    """The slot cut along its middle, the head to the left: what is left on, floor, fall, lift."""
    cap, t = letters.cap, section.nut.thickness
    rows = 2 if letters.full else 1
    head, foot = cap * LINE * rows + 0.9 * cap, cap * (2 * LINE + 1.2) if letters.full else cap
    right = letters.wide(_lift_words(section)) + 0.8 * cap if letters.full else 0.0
    low, high = _along_span(section, standing)
    beyond = 0.2 * t
    room = (size[0] - right, size[1] - head - foot)
    scale = min(room[0] / (t + 2 * beyond), room[1] / (high - low))
    beyond = min(beyond, (room[0] / scale - t) / 2)
    frame = Frame(scale=scale, x=scale * beyond, z=size[1] - head - scale * high)
    span = (low - foot / scale, high)
    drawn = [
        _along_bone(section, standing, frame, span, letters),
        _along_string(section, standing, frame, beyond),
        _along_lines(section, standing, frame, span, cap),
        _ends_named(frame, t, beyond, size[1], letters),
    ]
    if letters.full:
        drawn += [
            _allowance(section, standing, frame, size[1], letters),
            _foot_words(section, standing, frame, low, letters),
            _lift(section, frame, beyond, letters),
        ]
    return joined(drawn)


def _along_span(section: SlotSection, standing: Standing) -> tuple[float, float]:
    """From the lowest floor to the highest that is shown."""
    floor = finished_along(section, standing)[0][1]
    lies = section.lies_at(standing)
    string = (section.slot.floor_front if lies is None else lies) + section.slot.gauge
    high = max(section.rough_top if standing is not Standing.FINISHED else section.finished_top,
               string)  # fmt: skip
    room = 0.12 * (high - floor) if standing is Standing.BLANK else 0.04 * (high - floor)
    step = section.slot.step
    bottom = floor if step is None else step.bottom
    return min(floor, bottom, section.slot.floor_front - section.slot.lift), high + room


def _along_bone(
    section: SlotSection,
    standing: Standing,
    frame: Frame,
    span: tuple[float, float],
    letters: Letters,
) -> Drawing:
    low, high = span
    t = section.nut.thickness
    stays = filled(finished_along(section, standing), low)
    stands = filled(standing_along(section, standing), low)
    kept = waste(stands, stays) if standing is not Standing.FINISHED else None
    return material(stays, kept, frame, (0.0, low, t, high), letters)


def _along_lines(
    section: SlotSection, standing: Standing, frame: Frame, span: tuple[float, float], cap: float
) -> Drawing:
    low, high = span
    t = section.nut.thickness
    stands = filled(standing_along(section, standing), low)
    lines = [(top_along(section), "behind"),
             (finished_along(section, Standing.FINISHED), "finished")]  # fmt: skip
    if standing is not Standing.FINISHED:
        lines.append((rough_along(section), "rough"))
        if (left := section.rough_top - section.finished_top) > 0.005:
            lines.append((top_along(section, left), "rough"))
        if not section.milled:
            lines.append((floor_along(section, section.first_floor), "first"))
    if standing is Standing.REFIT:
        lines.append((finished_along(section, standing), "refit"))
    top = min(max(section.rough_top, section.stock), high)
    faces = [stroke(frame.at((x, low)), frame.at((x, _at(stands, x, top))), holds="edge")
             for x in (0.0, t)]  # fmt: skip
    return joined((
        Drawing(paths=tuple(line_in(points, frame, holds) for points, holds in reversed(lines))),
        Drawing(paths=(*faces, torn(frame.at((0.0, low)), frame.at((t, low)), cap))),
        _blank_edge(standing, section, frame, (0.0, t, high), cap),
    ))  # fmt: skip


def _along_string(section: SlotSection, standing: Standing, frame: Frame, beyond: float) -> Drawing:
    lies = section.lies_at(standing)
    wanted = finished_floor(section, standing)
    paths: list[Path] = []
    if lies is not None:
        paths += _string_band(section, lies, frame, beyond, whole=True)
    if lies is None or abs(lies - wanted) > 1e-9:
        paths += _string_band(section, wanted, frame, beyond, whole=False)
    return Drawing(paths=tuple(paths))


def _string_band(
    section: SlotSection, floor: float, frame: Frame, beyond: float, *, whole: bool
) -> Iterator[Path]:
    from shapely import LineString, box

    t = section.nut.thickness
    middle = LineString(string_along(section, floor, 2 * beyond))
    whole_band = middle.buffer(section.slot.gauge / 2, cap_style="flat", join_style="mitre")
    band = whole_band.intersection(box(-beyond, -1e3, t + beyond, 1e3))
    ring = chained(next(rings(band, frame)))
    if whole:
        yield Path(chain=ring, holds=section.string_make, closed=True, fill=True)
    yield Path(chain=ring, holds="lying" if whole else "to come", closed=True)


def _ends_named(frame: Frame, t: float, beyond: float, tall: float, letters: Letters) -> Drawing:
    """Which way head and bridge are, each with an arrow."""
    cap = letters.cap
    base, names = tall - 1.2 * cap, ("head", "bridge") if letters.full else ("head",)
    ends = (frame.at((-beyond, 0.0))[0], frame.at((t + beyond, 0.0))[0])
    drawn = []
    for name, end, way in zip(names, ends, (1, -1), strict=False):
        drawn.append(shaft((end, base + cap / 2), (end + way * 1.8 * cap, base + cap / 2), cap))
        word = Words(at=(end + way * 2.2 * cap, base), text=name, height=cap, bold=True,
                     anchor="left" if way > 0 else "right")  # fmt: skip
        drawn.append(Drawing(words=(word,)))
    return joined(drawn)


def _allowance(
    section: SlotSection, standing: Standing, frame: Frame, tall: float, letters: Letters
) -> Drawing:
    """What stands over the finished top, or what the file takes first, with its words above."""
    cap, t = letters.cap, section.nut.thickness
    if standing is Standing.FINISHED or section.rough_top - section.finished_top < 0.005:
        return Drawing()
    fall, x, edge = math.tan(section.nut.tilt), 0.42 * t, t - section.slot.edge
    front = section.rough_top
    if standing is Standing.REFIT and section.refit is not None:
        by, foot = section.rough_top - section.refit.top, section.refit.top
        text = f"{by:.2f} off the top, last"
    elif section.milled:
        by, foot = section.rough_top - section.finished_top, section.finished_top
        text = f"{by:.2f} left on the top"
    else:
        by, foot = section.rough_top - section.first_floor, section.first_floor
        text = f"file {by:.2f} down first"
    low, high = (frame.at((x, z - fall * (edge - x))) for z in (foot, front))
    base = tall - (1.2 + LINE) * cap
    own = letters.wide([text])
    left = min(max(low[0] - own / 2, 0.0), frame.at((t, 0.0))[0] - own / 2)
    word = Words(at=(left, base), text=text, height=cap)
    line = stroke((low[0], high[1]), (low[0], base - 0.35 * cap), holds="dimension")
    return joined((upright_dimension(low[0], low[1], high[1], cap),
                   Drawing(paths=(line,), words=(word,))))  # fmt: skip


def _foot_words(
    section: SlotSection, standing: Standing, frame: Frame, low: float, letters: Letters
) -> Drawing:
    """In the bone under the floor: its fall, what is held back, and the two faces."""
    cap, t = letters.cap, section.nut.thickness
    left, right = frame.at((0.0, 0.0))[0] + 0.6 * cap, frame.at((t, 0.0))[0] - 0.6 * cap
    level = frame.up(low)
    rows = (level - 0.5 * cap - cap, level - 0.5 * cap - cap - LINE * cap)
    fall = f"floor falls {math.degrees(section.slot.tilt):.1f}°"
    held, dimension = _held_back(section, standing, frame, rows[0], right, letters)
    words = [
        Words(at=(left, rows[0]), text=fall, height=cap),
        Words(at=(left, rows[1]), text="back", height=cap),
        Words(at=(right, rows[1]), text="front", height=cap, anchor="right"),
        *held,
    ]
    room = right - left
    if held and letters.wide([fall]) + letters.wide([held[0].text], bold=True) + cap > room:
        words[0] = Words(at=(left, rows[1]), text=fall, height=cap)
        words[1] = Words(at=(left, rows[1]), text="", height=cap)
    words = [w for w in words if w.text]
    patches = tuple(patch(w, cap) for w in words)
    return joined((Drawing(paths=patches), dimension, Drawing(words=tuple(words))))


def _held_back(
    section: SlotSection, standing: Standing, frame: Frame, base: float, right: float,
    letters: Letters,
) -> tuple[list[Words], Drawing]:  # fmt: skip
    cap, t = letters.cap, section.nut.thickness
    goal = finished_floor(section, standing)
    by = section.first_floor - goal
    if standing is Standing.FINISHED or by < 0.005:
        return [], Drawing()
    text = f"take {by:.2f} off the floor" if standing is Standing.REFIT else f"{by:.2f} held back"
    holds = "refit" if standing is Standing.REFIT else "ink"
    word = Words(at=(right, base), text=text, height=cap, anchor="right", bold=True, holds=holds)
    fall, x, edge = math.tan(section.slot.tilt), 0.8 * t, t - section.slot.edge
    low, high = (frame.at((x, z - fall * (edge - x))) for z in (goal, section.first_floor))
    return [word], upright_dimension(low[0], low[1], high[1], cap)


def _lift_words(section: SlotSection) -> tuple[str, str, str]:
    return (f"lift {section.slot.lift:.2f}", "over the", "fret tops")


def _lift(section: SlotSection, frame: Frame, beyond: float, letters: Letters) -> Drawing:
    """How far the string's underside stands over the line of the fret tops, at the front edge."""
    cap, t = letters.cap, section.nut.thickness
    floor, edge = section.slot.floor_front, t - section.slot.edge
    low, high = frame.at((edge, floor - section.slot.lift)), frame.at((edge, floor))
    end = frame.at((t + beyond, 0.0))[0]
    x = end - 0.5 * cap
    line = stroke((low[0] + 0.3 * cap, low[1]), (end, low[1]), holds="frets")
    words = [Words(at=(end + 0.5 * cap, high[1] - cap - i * LINE * cap), text=text, height=cap)
             for i, text in enumerate(_lift_words(section))]  # fmt: skip
    return joined((upright_dimension(x, low[1], high[1], cap),
                   Drawing(paths=(line,), words=tuple(words))))  # fmt: skip
