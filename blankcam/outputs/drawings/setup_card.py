"""How a blank is held and where each zero is touched, drawn for one set-up.

Two views with a number in a ring at each place that is touched, and what to set there as a list.
Laid out in millimetres of paper; part and jaws show which is where, not how large they are.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from blankcam.cut import CutResult
from blankcam.data import table
from blankcam.gcode.header import exact, surface_words
from blankcam.inputs.machine import ToolChange
from blankcam.machining.setup_sheet import SetupSheet
from blankcam.outputs import typeface
from blankcam.outputs.drawing import Drawing, Path, Words, joined, stroke
from blankcam.outputs.drawings.dimension import arrow, up
from blankcam.outputs.figures import IMPERIAL
from blankcam.outputs.render import svg
from blankcam.outputs.typeface import POINTS_8
from blankcam.parts.curve import Arc, Point
from blankcam.parts.curve import Line as Straight
from blankcam.parts.frames import Setup, Zero
from blankcam.parts.part import Part

SLACK: float = table("cutting")["holding"]["jaw_slack"]
SIZE = (180.0, 112.0)
"""Of the card, mm."""
_SMALL, _PLAIN, _LARGE = POINTS_8, 2.1, 2.8
_LEFT, _RIGHT, _TOP = 4.0, 176.0, 108.0
_SIDE_VIEW = (4.0, 46.0, 84.0, 92.0)
_PLAN = (94.0, 46.0, 176.0, 88.0)
_STEP = 4.6
"""From one line of the list to the next."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """What a set-up's card shows."""

    sheet: SetupSheet
    part: Part
    files: tuple[str, ...]
    """The set-up's programs in the order they are run, the one in the air first."""
    bass_left: bool
    turned: bool
    """Whether the part lies upside down."""
    changes_by_hand: bool
    """Whether Z is touched off again for each tool."""
    inches: bool
    """Whether the programs are in inches."""

    def length(self, mm: float, decimals: int) -> str:
        """A length in millimetres with so many decimals, or in inches with two more."""
        if not self.inches:
            return f"{mm:z.{decimals}f}"
        return f"{mm / IMPERIAL['mm'].size:z.{decimals + 2}f} in"

    @property
    def zeros(self) -> dict[str, Zero]:
        """By axis."""
        return {z.axis: z for z in self.sheet.zeros}

    @property
    def lying(self) -> bool:
        """Whether the blank lies on its face."""
        return self.sheet.setup is Setup.FACE

    def set_to(self, zero: Zero) -> str:
        """What to set X or Y to beside its surface: with the cutter named, else the surface's own
        place.
        """
        if zero.touch is None:
            return self.length(zero.value, 3)
        return self.length(zero.beside(zero.touch.diameter, zero.touch.paper), 3)


def cards(result: CutResult, *, bass_left: bool) -> dict[str, bytes]:
    """A card for each of a part's set-ups as SVG, by the name of its file."""
    label, name = result.request.label, result.request.part.name
    return {
        card_name(label.program_stem(told.sheet.setup)): svg.render(
            card(told), SIZE, f"{name}, {told.sheet.setup}"
        )
        for told in cards_of(result, bass_left=bass_left)
    }


def cards_of(result: CutResult, *, bass_left: bool) -> Iterator[Card]:
    """The cards of those of a part's set-ups that have programs."""
    for sheet in result.setups:
        files = tuple(f.name for f in result.files if f.setup == sheet.setup)
        if files:
            yield _told(result, sheet, files, bass_left=bass_left)


def card_name(stem: str) -> str:
    """The name of a set-up's card; ``stem``: of its programs."""
    return f"setup-{stem}.svg"


def _told(result: CutResult, sheet: SetupSheet, files: tuple[str, ...], *, bass_left: bool) -> Card:
    controller = result.request.machine.controller
    return Card(
        sheet=sheet,
        part=result.request.part,
        files=files,
        bass_left=bass_left,
        turned=result.request.turned,
        changes_by_hand=controller.tool_change is not ToolChange.AUTOMATIC,
        inches=controller.units == "inch",
    )


def card(told: Card) -> Drawing:
    """The whole card; its lower left corner is the origin."""
    return joined((_head(told), *views(told), _list(told)))


def views(told: Card) -> tuple[Drawing, Drawing]:
    """The set-up from the right-hand end and from above, each in its place on the card."""
    if told.lying:
        return _lying_side(told), _lying_plan(told)
    return _side(told), _plan(told)


# ---- words -----------------------------------------------------------------------------------


def _say(x: float, y: float, text: str, height: float = _PLAIN, *, anchor: str = "left",
         bold: bool = False) -> Words:  # fmt: skip
    return Words(at=(x, y), text=text, height=height, anchor=anchor, bold=bold)


SIDE_WORDS, PLAN_WORDS = "From the right-hand end", "From above"


def title(told: Card) -> str:
    """The part, how it lies, and which of its sides is down."""
    how = "on face" if told.lying else "on edge"
    down = "the side seen from the bridge faces up" if told.lying else "seat side down"
    return f"{told.part.name.capitalize()} {how}: {'crown down' if told.turned else down}"


def purpose(told: Card) -> str:
    """Which programs a card is for."""
    return f"for {files_words(told.files)}; drawn for place only, not to scale"


def _head(told: Card) -> Drawing:
    words = [
        _say(_LEFT, _TOP - 2.8, title(told), _LARGE, bold=True),
        _say(_LEFT, _TOP - 7.0, purpose(told), _SMALL),
        _say(_SIDE_VIEW[0], _TOP - 13.0, SIDE_WORDS, bold=True),
        _say(_PLAN[0], _TOP - 13.0, PLAN_WORDS, bold=True),
    ]
    rule = stroke((_LEFT, _TOP - 9.0), (_RIGHT, _TOP - 9.0), holds="seat")
    return Drawing(paths=(rule,), words=tuple(words))


def files_words(names: tuple[str, ...]) -> str:
    """The names of a set-up's programs in the order they are run, the air program first."""
    first, *rest = names
    if len(rest) < 2:
        return " and ".join(names)
    return f"{first}, then {rest[0]} to {rest[-1]}"


def _list(told: Card) -> Drawing:
    """What is touched, with what, and what to set there, for each axis in the order
    they are set.
    """
    words: list[Words] = []
    paths: list[Path] = [stroke((_LEFT, 36.0), (_RIGHT, 36.0), holds="seat")]
    for n, (axis, lines) in enumerate(entries(told), start=1):
        y = 31.0 - _STEP * sum(len(e[1]) for e in list(entries(told))[: n - 1])
        badge = _badge(n, (_LEFT + 2.2, y + _PLAIN / 2))
        paths += badge.paths
        words += [*badge.words, _say(_LEFT + 7.0, y, axis, bold=True)]
        words += [_say(_LEFT + 13.0, y - _STEP * k, line) for k, line in enumerate(lines)]
    return Drawing(paths=tuple(paths), words=tuple(words))


def entries(told: Card) -> Iterator[tuple[str, list[str]]]:
    """Each axis in the order they are set, with its lines: what is touched with what, and set to
    what.
    """
    zeros, length = told.zeros, told.length
    z = zeros["Z"]
    again = "; again for every tool" if told.changes_by_hand else ""
    at = (
        f"the tip on {surface_words(z.surface)}, beside the part: "
        f"set Z = {exact(z.value, length)}{again}."
    )
    yield "Z", [at, *_beside_z(told)]
    for axis in "XY":
        zero = zeros[axis]
        less = f"{length(zero.value, 3)} less" if zero.value else "minus"
        lines = [
            (
                f"against {surface_words(zero.surface)}; an edge finder: set {axis} = {less} half "
                "its width"
            )
        ]
        if zero.touch is not None:
            lines[0] += ","
            lines.append(
                f"or the side of T{zero.touch.number} with paper of {length(zero.touch.paper, 2)} "
                f"between, tip at Z {exact(zero.touch.tip, length)}: set {axis} = "
                f"{told.set_to(zero)}."
            )
        else:
            lines[0] += "."
        yield axis, lines


def _beside_z(told: Card) -> Iterator[str]:
    zero, stock, length = told.zeros["Z"], told.sheet.stock, told.length
    if told.lying:
        if zero.upper_face is not None:
            face = length(zero.upper_face, 3)
            yield f"The upper face must then stand at Z {face}; glue may lift it."
        return
    out = length(stock.z1 - told.sheet.holding.jaws, 2)
    slack = f"{length(SLACK, 1)}{'' if told.inches else ' mm'}"
    yield (
        f"Measure: of {length(stock.z1, 2)} in height {out} stands out. If the "
        f"{told.sheet.holding.grip} stand up to {slack} higher or lower, set Z to that."
    )


def _badge(number: int, at: Point, radius: float = 2.0) -> Drawing:
    """A number in a ring."""
    (x, y), r = at, radius
    ring = (
        Arc(start=(x - r, y), end=(x + r, y), centre=at, ccw=True),
        Arc(start=(x + r, y), end=(x - r, y), centre=at, ccw=True),
    )
    word = Words(
        at=(x, y - _PLAIN / 2), text=str(number), height=_PLAIN, anchor="middle", bold=True
    )
    return Drawing(paths=(Path(chain=ring, holds="outline", closed=True),), words=(word,))


# ---- shapes ----------------------------------------------------------------------------------


def _box(x0: float, y0: float, x1: float, y1: float, holds: str = "seat") -> Path:
    corners = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    chain = tuple(Straight(p, q) for p, q in zip(corners, (*corners[1:], corners[0]), strict=True))
    return Path(chain=chain, holds=holds, closed=True)


def _open_box(x0: float, y0: float, x1: float, y1: float, holds: str = "seat") -> Path:
    """A box without its foot, for what goes on further down."""
    return stroke((x0, y0), (x0, y1), (x1, y1), (x1, y0), holds=holds)


def _cutter(x: float, tip: float, top: float, holds: str = "outline") -> Path:
    """A cutter seen from the side, its shank going on above."""
    half = 2.2
    return stroke((x - half, top), (x - half, tip), (x + half, tip), (x + half, top), holds=holds)


def _toward_you(x: float, y: float) -> tuple[Path, ...]:
    return stroke((x, y), (x + 4.0, y)), arrow((x, y), math.pi)


def _ring(at: Point, radius: float) -> Path:
    return _badge(0, at, radius).paths[0]


def _turned_word(x: float, y: float, text: str) -> Words:
    return Words(at=(x, y), text=text, height=_SMALL, anchor="middle", turn=90.0)


# ---- on edge ---------------------------------------------------------------------------------


def _side(told: Card) -> Drawing:
    """Part and holding from the right-hand end, with the places touched for Z and Y."""
    left, low, right, high = _SIDE_VIEW
    seat, jaw, top = low + 10.0, low + 23.5, low + 37.0
    middle = (left + right) / 2 - 4.0
    a, b = middle - 8.0, middle + 8.0
    paths = [
        _open_box(left + 8.0, low, a, jaw),
        _open_box(b, low, right - 21.0, jaw),
        _box(a, seat, b, top, "outline"),
        _under(told, a, b, low, seat),
        stroke((left + 4.0, seat), (right - 6.0, seat), holds="centres"),
        _cutter(b + 8.0, jaw, high - 2.0),
        _cutter(a - 2.6, jaw + 2.0, high - 2.0, "rough"),
    ]
    front, back = _faces(told)
    near, far, under = _holding_names(told)
    words = [
        _say(middle, top - 4.0, told.part.name, anchor="middle", bold=True),
        _turned_word(a + 2.6, (seat + top) / 2, front),
        _turned_word(b - 1.0, (seat + top) / 2, back),
        _say((left + 8.0 + a) / 2, low + 3.0, near, _SMALL, anchor="middle"),
        _say(b + 1.2, low + 3.0, far, _SMALL),
        _say(middle, low + 3.0, under, _SMALL, anchor="middle"),
        _say(left + 5.0, high - 4.0, "you", _LARGE, bold=True),
        _say(b + 20.0, jaw + 10.0, f"{far.removeprefix('fixed ')} top:"),
        _say(
            b + 20.0,
            jaw + 6.0,
            f"Z = {exact(told.zeros['Z'].value, told.length)}",
            _LARGE,
            bold=True,
        ),
        _say(right - 14.0, seat - 4.0, "crown" if told.turned else "seat side", _SMALL),
        _say(right - 14.0, seat - 7.0, "out of reach", _SMALL),
    ]
    held, out = told.sheet.holding.jaws, told.sheet.stock.z1 - told.sheet.holding.jaws
    dimensions = (
        up(jaw, top, left + 13.0, a, told.length(out, 2)),
        up(seat, jaw, right - 15.0, right - 21.0, told.length(held, 2)),
    )
    marks = (_badge(1, (b + 14.0, jaw + 8.0)), _badge(3, (a - 8.0, high - 4.0)))
    way = _toward_you(left, high - 2.7)
    body = Drawing(paths=(*paths, *way), words=tuple(words))
    return joined((body, *dimensions, *marks))


def _holding_names(told: Card) -> tuple[str, str, str]:
    """Names of what holds the part on your side, on the far side, and from below."""
    return (
        ("wall", "wall", "floor")
        if told.sheet.holding.grip == "walls"
        else ("jaw", "fixed jaw", "parallel")
    )


def _under(told: Card, a: float, b: float, low: float, seat: float) -> Path:
    """The parallel between the jaws, or the fixture's floor from wall to wall."""
    gap = 0.0 if told.sheet.holding.grip == "walls" else 3.0
    return _open_box(a + gap, low, b - gap, seat)


def _faces(told: Card) -> tuple[str, str]:
    """Names of the part's sides toward you and away from you."""
    seen, behind = ("front", "back") if told.part.name == "nut" else ("tail side", "nut side")
    return (behind, seen) if told.turned else (seen, behind)


def _plan(told: Card) -> Drawing:
    """Part and holding from above, which side faces you, and all three places touched."""
    left, low, right, high = _PLAN
    mid = (low + high) / 2 + 3.0
    a, b = left + 12.0, right - 12.0
    paths = [
        stroke((left, mid + 13.0), (right, mid + 13.0), holds="seat"),
        stroke((left, mid + 4.0), (right, mid + 4.0), holds="seat"),
        stroke((left, mid - 4.0), (right, mid - 4.0), holds="seat"),
        stroke((left, mid - 13.0), (right, mid - 13.0), holds="seat"),
        _box(a, mid - 4.0, b, mid + 4.0, "outline"),
        _ring((a - 2.3, mid), 2.0),
        _ring(((a + b) / 2 + 6.0, mid - 6.3), 2.0),
        _ring(((a + b) / 2 + 6.0, mid + 8.5), 2.0),
    ]
    near, far, _ = _holding_names(told)
    words = [
        _say(left + 6.0, mid + 7.5, far),
        _say(left + 6.0, mid - 9.5, near),
        _say((a + b) / 2, mid - 17.5, f"{_toward(told)}: toward you", anchor="middle", bold=True),
        *_hands(told, left, right, mid + 15.0),
    ]
    marks = [_badge(1, ((a + b) / 2 + 12.0, mid + 8.5)), _badge(2, (a - 8.0, mid)),
             _badge(3, ((a + b) / 2 + 12.0, mid - 8.5))]  # fmt: skip
    parts = [Drawing(paths=tuple(paths), words=tuple(words)), *marks, _axes(left, low - 3.0)]
    return joined((*parts, _slots(told, a, b, mid)))


def _toward(told: Card) -> str:
    if told.turned:
        return "nut side"
    return "fingerboard side" if told.part.name == "nut" else "tail side"


def _hands(told: Card, left: float, right: float, y: float) -> tuple[Words, Words]:
    ends = ("bass", "treble") if told.bass_left else ("treble", "bass")
    return _say(left, y, ends[0], bold=True), _say(right, y, ends[1], anchor="right", bold=True)


def _axes(x: float, y: float) -> Drawing:
    paths = (stroke((x + 3.0, y + 9.0), (x + 3.0, y + 3.0), (x + 9.0, y + 3.0)),)
    return Drawing(paths=paths, words=(_say(x + 10.0, y + 2.2, "X"), _say(x + 2.2, y + 10.0, "Y")))


def _slots(told: Card, a: float, b: float, mid: float) -> Drawing:
    """A nut's slots in their places along it, with their strings' numbers where they have room."""
    if not told.part.slots:
        return Drawing()
    share = (b - a) / told.part.length
    at = sorted((a + share * s.centre, str(s.string)) for s in told.part.slots)
    lines = (stroke((x, mid - 4.0), (x, mid + 4.0), holds="slots") for x, _ in at)
    gaps = [q - p for p, q in pairwise([a, *(x for x, _ in at), b])]
    left = min(gaps[:-1]) > min(gaps[1:])  # all on one side: it shows whose number is whose
    words = [
        _number_beside(x, name, mid, left=left)
        for (x, name), gap in zip(at, gaps[:-1] if left else gaps[1:], strict=True)
        if gap > typeface.width(name, _SMALL) + 1.2
    ]
    return Drawing(paths=tuple(lines), words=tuple(words))


def _number_beside(x: float, name: str, mid: float, *, left: bool) -> Words:
    at, anchor = (x - 0.7, "right") if left else (x + 0.7, "left")
    return _say(at, mid - _SMALL / 2, name, _SMALL, anchor=anchor)


# ---- on face ---------------------------------------------------------------------------------


def _lying_side(told: Card) -> Drawing:
    """Waste board or fixture and the blank from the right-hand end, with the places touched."""
    left, low, right, high = _SIDE_VIEW
    board, top = low + 12.0, low + 26.0
    a, b = left + 22.0, right - 30.0
    stock, zero = told.sheet.stock, told.zeros["Z"]
    z = f"Z = {exact(zero.value, told.length)}"
    walls = told.sheet.holding.on_face == "fixture"
    height = board + (5.0 if walls else 0.0)
    paths = [
        stroke((left, low + 4.0), (left, board), (right, board), (right, low + 4.0), holds="seat"),
        _box(a, board, b, top, "outline"),
        _cutter(b + 10.0, height, high - 2.0),
        _cutter(a - 2.6, height + 2.0, high - 2.0, "rough"),
    ]
    if walls:
        paths += [_open_box(left + 4.0, board, a, height), _open_box(b, board, right - 8.0, height)]
    words = [
        _say((a + b) / 2, top - 6.0, "blank", anchor="middle", bold=True),
        _say((left + right) / 2, low + 6.5, "fixture" if walls else "waste board", anchor="middle"),
        _say(a, top + 1.4, "seat side", _SMALL),
        _say(left + 5.0, high - 4.0, "you", _LARGE, bold=True),
        _say(b + 15.0, board + 10.0, f"{_short(told)}:", _SMALL),
        _say(b + 15.0, board + 6.0, z, _PLAIN, bold=True),
    ]
    thick = stock.z1 - stock.z0
    shown = told.length(thick, 2) if told.inches else exact(thick, told.length)
    dimension = up(board, top, b + 4.5, b, shown)
    marks = (_badge(1, (b + 15.5, high - 8.0)), _badge(3, (a - 8.0, high - 8.0)))
    way = _toward_you(left, high - 2.7)
    return joined((Drawing(paths=(*paths, *way), words=tuple(words)), dimension, *marks))


def _short(told: Card) -> str:
    return surface_words(told.zeros["Z"].surface).removeprefix("the ")


def _lying_plan(told: Card) -> Drawing:
    """Waste board or fixture, the blank and the part in it, from above."""
    left, low, right, high = _PLAN
    a, b, foot, head = left + 14.0, right - 10.0, low + 10.0, high - 7.0
    stock, part = told.sheet.stock, told.part
    share = (b - a) / (stock.x1 - stock.x0)
    p0, p1 = a - share * stock.x0, a + share * (part.length - stock.x0)
    up_to = foot + (head - foot) * min(part.height / max(stock.y1, 1e-6), 1.0)
    paths = [
        _box(left, low + 2.0, right, high, "seat"),
        _box(a, foot, b, head, "outline"),
        _box(p0, foot, p1, up_to, "rough"),
        _ring((a - 2.3, (foot + head) / 2), 2.0),
        _ring(((a + b) / 2 + 6.0, foot - 2.3), 2.0),
        _ring((b + 5.0, head - 3.0), 2.0),
    ]
    words = [
        _say((p0 + p1) / 2, (foot + up_to) / 2 - 1.0, part.name, anchor="middle", bold=True),
        _say((a + b) / 2 - 16.0, low + 4.0, "seat side: toward you", anchor="middle", bold=True),
        *_hands(told, a, b, head + 1.6),
    ]
    marks = (_badge(1, (b + 5.0, head - 8.0)), _badge(2, (a - 8.0, (foot + head) / 2)),
             _badge(3, ((a + b) / 2 + 12.0, foot - 3.0)))  # fmt: skip
    return joined((Drawing(paths=tuple(paths), words=tuple(words)), *marks))
