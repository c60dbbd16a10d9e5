"""A slot cut along its middle, laid out as ``slot_across`` is: the head to the left."""

from __future__ import annotations

import math
from collections.abc import Iterator

from blankcam.outputs.drawing import Drawing, Path, Words, joined, stroke
from blankcam.outputs.drawings.slot_section import (
    SlotSection,
    Standing,
    filled,
    finished_along,
    finished_floor,
    floor_along,
    height_at,
    rough_along,
    standing_along,
    string_along,
    top_along,
    waste,
)
from blankcam.outputs.drawings.strokes import (
    LINE,
    Frame,
    Letters,
    chained,
    line_in,
    material,
    patch,
    rings,
    shaft,
    top_edge,
    torn,
    upright_dimension,
)


def along_view(section: SlotSection, standing: Standing, size: tuple[float, float],
               letters: Letters) -> Drawing:  # fmt: skip
    """The slot cut along its middle: the waste left on it, its floor's fall, the string's lift."""
    cap, t = letters.cap, section.nut.thickness
    rows = 2 if letters.full else 1
    head, foot = cap * LINE * rows + 0.9 * cap, cap * (2 * LINE + 1.2) if letters.full else cap
    right = letters.wide(_lift_words(section, letters)) + 0.8 * cap if letters.full else 0.0
    low, high = _span(section, standing)
    beyond = 0.2 * t
    room = (size[0] - right, size[1] - head - foot)
    scale = min(room[0] / (t + 2 * beyond), room[1] / (high - low))
    beyond = min(beyond, (room[0] / scale - t) / 2)
    frame = Frame(scale=scale, x=scale * beyond, z=size[1] - head - scale * high)
    span = (low - foot / scale, high)
    drawn = [
        _bone(section, standing, frame, span, letters),
        _string(section, standing, frame, beyond),
        _lines(section, standing, frame, span, cap),
        _ends_named(frame, t, beyond, size[1], letters),
    ]
    if letters.full:
        drawn += [
            _allowance(section, standing, frame, size[1], letters),
            _foot_words(section, standing, frame, low, letters),
            _lift(section, frame, beyond, letters),
        ]
    return joined(drawn)


def _span(section: SlotSection, standing: Standing) -> tuple[float, float]:
    """The lowest and the highest z that is shown."""
    floor = finished_along(section, standing)[0][1]
    lies = section.lies_at(standing)
    string = (section.slot.floor_front if lies is None else lies) + section.slot.gauge
    high = max(section.rough_top if standing is not Standing.FINISHED else section.finished_top,
               string)  # fmt: skip
    room = 0.12 * (high - floor) if standing is Standing.BLANK else 0.04 * (high - floor)
    step = section.slot.step
    bottom = floor if step is None else step.bottom
    return min(floor, bottom, section.slot.floor_front - section.slot.lift), high + room


def _bone(
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


def _lines(
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
    faces = [stroke(frame.at((x, low)), frame.at((x, height_at(stands, x, top))), holds="edge")
             for x in (0.0, t)]  # fmt: skip
    blank = standing is Standing.BLANK
    edges = (top_edge(section.stock, (0.0, t), high, frame, cap),) if blank else ()
    return joined((
        Drawing(paths=tuple(line_in(points, frame, holds) for points, holds in reversed(lines))),
        Drawing(paths=(*faces, torn(frame.at((0.0, low)), frame.at((t, low)), cap))),
        Drawing(paths=edges),
    ))  # fmt: skip


def _string(section: SlotSection, standing: Standing, frame: Frame, beyond: float) -> Drawing:
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
    """Arrows toward the head and the bridge; with few words, toward the head alone."""
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
    """What is left on the top, or what the file takes first, with its words above."""
    cap, t = letters.cap, section.nut.thickness
    if standing is Standing.FINISHED or section.rough_top - section.finished_top < 0.005:
        return Drawing()
    fall, x, edge = math.tan(section.nut.tilt), 0.42 * t, t - section.slot.edge
    front = section.rough_top
    if standing is Standing.REFIT and section.refit is not None:
        by, foot = section.rough_top - section.refit.top, section.refit.top
        text = f"{letters.length(by)} off the top, last"
    elif section.milled:
        by, foot = section.rough_top - section.finished_top, section.finished_top
        text = f"{letters.length(by)} left on the top"
    else:
        by, foot = section.rough_top - section.first_floor, section.first_floor
        text = f"file {letters.length(by)} down first"
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
    """Words under the floor: how it falls, what is held back, which face is which."""
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
    off = letters.length(by)
    text = f"take {off} off the floor" if standing is Standing.REFIT else f"{off} held back"
    holds = "refit" if standing is Standing.REFIT else "ink"
    word = Words(at=(right, base), text=text, height=cap, anchor="right", bold=True, holds=holds)
    fall, x, edge = math.tan(section.slot.tilt), 0.8 * t, t - section.slot.edge
    low, high = (frame.at((x, z - fall * (edge - x))) for z in (goal, section.first_floor))
    return [word], upright_dimension(low[0], low[1], high[1], cap)


def _lift_words(section: SlotSection, letters: Letters) -> tuple[str, str, str]:
    return (f"lift {letters.length(section.slot.lift)}", "over the", "fret tops")


def _lift(section: SlotSection, frame: Frame, beyond: float, letters: Letters) -> Drawing:
    """How far the string's underside stands over the line of the fret tops, at the front edge."""
    cap, t = letters.cap, section.nut.thickness
    floor, edge = section.slot.floor_front, t - section.slot.edge
    low, high = frame.at((edge, floor - section.slot.lift)), frame.at((edge, floor))
    end = frame.at((t + beyond, 0.0))[0]
    x = end - 0.5 * cap
    line = stroke((low[0] + 0.3 * cap, low[1]), (end, low[1]), holds="frets")
    words = [Words(at=(end + 0.5 * cap, high[1] - cap - i * LINE * cap), text=text, height=cap)
             for i, text in enumerate(_lift_words(section, letters))]  # fmt: skip
    return joined((upright_dimension(x, low[1], high[1], cap),
                   Drawing(paths=(line,), words=tuple(words))))  # fmt: skip
