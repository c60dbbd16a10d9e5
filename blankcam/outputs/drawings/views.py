"""Dimensioned views of both parts for the 1:1 sheet. First-angle: the plan stands below, the view
from the left end to the right. Every view has its own origin; the part's left end and seat at 0.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from blankcam.outputs.drawing import Drawing, Path, Words, joined, scaled, spread, stroke
from blankcam.outputs.drawings.dimension import across, hatch, leader, up
from blankcam.outputs.drawings.flat import saddle_plan, seen_from_bridge, step_plans
from blankcam.outputs.typeface import POINTS_8, width
from blankcam.parts import elevation, silhouette
from blankcam.parts.curve import Line
from blankcam.parts.nut import Nut
from blankcam.parts.part import Part
from blankcam.parts.saddle import Saddle, Seat
from blankcam.parts.slot import Slot
from blankcam.parts.stage import Stage
from blankcam.parts.top_curve import Curve

LABEL = POINTS_8  # height of a string's label, mm
PITCH = 2.9  # least distance of two labels that stand upright
TICK = 4.5  # length of a centre's line on a marking-out strip
NUMBERS = 2.9  # from one row of numbers on it to the next
CLEAR_LINE = 0.6  # how far a height's thin line stands out to the left, mm


def nut_views(nut: Nut, bass_left: bool) -> Drawing:
    """Elevation, plan below, view from the left end to the right; all at 1:1."""
    places = [s.centre for s in nut.slots]
    top = nut.height + nut.allowance
    centres = tuple(_centre(s.centre, s.floor_front - 1, top + 1) for s in nut.slots)
    plan = [Path(chain=nut.plan(), holds="plan", closed=True)]
    for slot in nut.slots:
        left, _, right = elevation.slot_plan(nut, slot)
        plan += [Path(chain=c, holds="plan slots") for c in (left, right)]
    plan += step_plans(nut)
    x = nut.length / 2
    end = [
        Path(chain=elevation.nut_end(nut, x, Stage.FINAL), holds="outline", closed=True),
        Path(chain=elevation.nut_end(nut, x, Stage.ROUGH), holds="rough", closed=True),
    ]
    below = _below(nut)
    return joined((
        seen_from_bridge(nut),
        Drawing(paths=centres),
        _labels([f"{s.string} {s.note}" for s in nut.slots], places, top + 1),
        _overall(nut, bass_left),
        Drawing(paths=tuple(plan)).moved(0.0, below),
        up(0.0, nut.thickness, -6.0, 0.0, f"{nut.thickness:.2f}").moved(0.0, below),
        Drawing(paths=tuple(end)).moved(nut.length + 9.0, 0.0),
    ))  # fmt: skip


def saddle_views(saddle: Saddle, seat_top: float, bass_left: bool) -> Drawing:
    """Elevation, plan below, view from the left end to the right; all at 1:1."""
    paths = [stroke((0.0, seat_top), (saddle.length, seat_top), holds="seat")]
    top = saddle.height + saddle.allowance
    paths += [_centre(s.centre, s.height - 2, top + 1) for s in saddle.strings]
    x = saddle.length / 2
    end = [
        Path(chain=elevation.saddle_end(saddle, x, Stage.FINAL), holds="outline", closed=True),
        Path(chain=elevation.saddle_end(saddle, x, Stage.ROUGH), holds="rough", closed=True),
    ]
    below = _below(saddle)
    note = Words(at=(1.0, seat_top - 2.8), text="top of the bridge", height=LABEL)
    return joined((
        seen_from_bridge(saddle),
        Drawing(paths=tuple(paths), words=(note,)),
        _labels([f"{s.string} {s.note}" for s in saddle.strings],
                [s.centre for s in saddle.strings], top + 1),
        _overall(saddle, bass_left),
        saddle_plan(saddle).moved(0.0, below),
        up(0.0, saddle.thickness, -6.0, 0.0, f"{saddle.thickness:.2f}").moved(0.0, below),
        Drawing(paths=tuple(end)).moved(saddle.length + 9.0, 0.0),
    ))  # fmt: skip


def _centre(x: float, low: float, high: float) -> Path:
    return stroke((x, low), (x, high), holds="centres")


def _below(part: Part) -> float:
    """Where the plan's lower edge stands."""
    return -13.0 - part.thickness


def _overall(part: Part, bass_left: bool) -> Drawing:
    """Length under the elevation; finished and rough height on its left; the two sides' names."""
    x = np.linspace(0.0, part.length, 2001)
    peak = float(x[int(np.argmax(part.top.height(x)))])
    h, rough = part.height, part.height + part.allowance
    sides = ("bass", "treble") if bass_left else ("treble", "bass")
    views = [
        across(0.0, part.length, -8.5, 0.0, f"{part.length:.2f}"),
        up(0.0, h, -6.0, 0.0, f"{h:.2f}"),
        Drawing(
            paths=(stroke((-CLEAR_LINE, h), (peak, h)),),
            words=(
                Words(at=(1.0, -3.2), text=sides[0], height=LABEL),
                Words(at=(part.length - 1.0, -3.2), text=sides[1], height=LABEL, anchor="right"),
            ),
        ),
    ]
    if part.allowance:
        views += [
            up(0.0, rough, -12.0, 0.0, f"{rough:.2f}"),
            Drawing(paths=(stroke((-CLEAR_LINE, rough), (peak, rough)),)),
        ]
    return joined(views)


def _labels(texts: Sequence[str], places: Sequence[float], foot: float) -> Drawing:
    """Upright labels over places, moved apart where they stand close, each on a thin line."""
    spots = spread(places, PITCH)
    paths = tuple(
        stroke((x, foot), (spot, foot + 2.5), (spot, foot + 3.2))
        for x, spot in zip(places, spots, strict=True)
    )
    words = tuple(
        Words(at=(spot + LABEL / 2, foot + 3.8), text=text, height=LABEL, turn=90.0)
        for text, spot in zip(texts, spots, strict=True)
    )
    return Drawing(paths=paths, words=words)


def strip(
    length: float,
    marks: Sequence[tuple[int, float, float]],
    bass_left: bool,
    name: str,
) -> Drawing:
    """A marking-out strip: cut it out and glue it to the blank's face, upper edges together.

    ``marks``: string, centre from the left end, width of its slot (0 for a line alone). The
    cumulative positions stand over it. Its lower left corner is the origin.
    """
    sides = ("bass", "treble") if bass_left else ("treble", "bass")
    order = sorted(marks, key=lambda m: m[1])
    rows = _rows([(str(string), x) for string, x, _ in order])
    tall = TICK + NUMBERS * (max(rows) + 1) + 4.2
    box = silhouette.rectangle(0.0, 0.0, length, tall)
    paths = [Path(chain=box, holds="outline", closed=True)]
    for _, x, wide in marks:
        paths.append(stroke((x, tall), (x, tall - TICK)))
        if wide:
            paths += [
                stroke((x + d, tall), (x + d, tall - TICK / 2)) for d in (-wide / 2, wide / 2)
            ]
    words = [
        Words(at=(x, tall - TICK - NUMBERS * (row + 1)), text=str(string), height=LABEL,
              anchor="middle")
        for (string, x, _), row in zip(order, rows, strict=True)
    ]  # fmt: skip
    words += [
        Words(at=(0.8, 0.8), text=sides[0], height=LABEL),
        Words(at=(length - 0.8, 0.8), text=sides[1], height=LABEL, anchor="right"),
        Words(at=(length / 2, 0.8), text=name, height=LABEL, anchor="middle"),
    ]
    positions = _labels([f"{x:.2f}" for _, x, _ in marks], [x for _, x, _ in marks], tall)
    return joined((Drawing(paths=tuple(paths), words=tuple(words)), positions))


def _rows(labels: Sequence[tuple[str, float]]) -> list[int]:
    """For each label, from the left, the first row in which it stands clear of the others."""
    ends: list[float] = []
    placed = []
    for text, x in labels:
        half = width(text, LABEL) / 2
        row = next((i for i, end in enumerate(ends) if x - half > end + 0.6), len(ends))
        ends[row : row + 1] = [x + half]
        placed.append(row)
    return placed


def lowest(nut: Nut) -> Slot:
    """The slot whose floor comes nearest to the seat."""
    return min(nut.slots, key=lambda s: s.floor_front)


def middle(saddle: Saddle) -> Seat:
    """A string near the saddle's middle."""
    return saddle.strings[len(saddle.strings) // 2]


def nut_section(nut: Nut, by: float) -> Drawing:
    """The nut cut along its deepest slot, enlarged, seen from its left end."""
    slot = lowest(nut)
    t, front = nut.thickness, slot.floor_front
    edge, back = t - slot.edge, float(slot.floor(t))
    z = [
        float(nut.at(Stage.FINAL).surface.height(np.array(slot.centre), np.array(y)))
        for y in (0.0, t)
    ]
    cut = elevation.slot_end(nut, slot)
    foot = (t, front if slot.step is None else slot.step.bottom)
    wall = tuple(Line(p, q) for p, q in ((foot, (t, z[0])), ((t, z[0]), (0.0, z[1])),
                                         ((0.0, z[1]), (0.0, back))))  # fmt: skip
    if slot.step is not None:  # the slot's wall at its edge
        wall += (Line((edge, front), (edge, slot.top_front)),)
    view = scaled(
        Drawing(paths=(Path(chain=cut, holds="outline", closed=True),
                       Path(chain=wall, holds="outline"))), by)  # fmt: skip
    lines = hatch(
        (0.0, 0.0, t * by, max(front, back) * by), ((0.0, back * by), (t * by, front * by))
    )
    words = _sides("head side", "fingerboard side", t * by, back * by / 2)
    slope = f"{math.degrees(nut.tilt):.1f}°"
    return joined((
        view,
        Drawing(paths=lines, words=words),
        up(0.0, front * by, t * by + 7.0, t * by, f"{front:.2f}"),
        up(0.0, z[0] * by, t * by + 12.0, t * by, f"{z[0]:.2f}"),
        across(0.0, t * by, -5.0, 0.0, f"{t:.2f}"),
        leader((t * by * 0.3, (back + (front - back) * 0.3) * by), (-4.5, back * by - 3.0), slope,
               right=False),
    ))  # fmt: skip


def saddle_section(saddle: Saddle, by: float) -> Drawing:
    """The saddle cut across at its middle string, enlarged, seen from its left end."""
    seat = middle(saddle)
    t, r = saddle.thickness, saddle.crown_radius
    high = float(saddle.top.height(np.array(seat.centre)))
    ridge = t - seat.ridge
    cut = elevation.saddle_end(saddle, seat.centre, Stage.FINAL)
    rough = elevation.saddle_end(saddle, seat.centre, Stage.ROUGH)
    paths = [Path(chain=cut, holds="outline", closed=True)]
    if saddle.allowance:
        paths.append(Path(chain=rough, holds="rough", closed=True))
    paths.append(stroke((ridge, high - 1.5), (ridge, high + saddle.allowance + 0.6),
                        holds="centres"))  # fmt: skip
    view = scaled(Drawing(paths=tuple(paths)), by)
    arc = cut[2]
    tops = [arc.at(1 - i / 16) for i in range(17)]
    lines = hatch((0.0, 0.0, t * by, high * by), [(a * by, b * by) for a, b in tops])
    over = (high + saddle.allowance) * by
    words = _sides("nut side", "tail side", t * by, high * by / 3)
    spot = arc.at(0.85)
    return joined((
        view,
        Drawing(paths=lines, words=words),
        up(0.0, high * by, t * by + 6.0, t * by, f"{high:.2f}"),
        across(0.0, t * by, -5.0, 0.0, f"{t:.2f}"),
        across(0.0, ridge * by, over + 5.0, high * by, f"{ridge:.2f}"),
        leader((spot[0] * by, spot[1] * by), (-5.0, over + 0.5), f"R {r:g}", right=False),
    ))  # fmt: skip


def _sides(left: str, right: str, wide: float, middle: float) -> tuple[Words, ...]:
    """The names of a section's two faces, upright beside it."""
    return tuple(
        Words(at=(x, middle), text=text, height=LABEL, anchor="middle", turn=90.0)
        for x, text in ((-1.6, left), (wide + 3.6, right))
    )


def top_radius(top: Curve) -> str:
    """The radius of a top in words."""
    radius = getattr(top, "radius", None)
    if radius is None:
        return "top per string"
    if math.isinf(radius):
        return "top straight"
    return f"top R {radius:.1f} mm ({radius / 25.4:.2f} in)"
