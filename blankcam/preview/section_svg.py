"""Slot sections as SVG in the page: light sheets, classes by the key of data/section.toml.

Hatching and dots are patterns of the page; every word is held to the width it was measured with,
whatever font the browser has.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from itertools import chain
from typing import Any

from blankcam.data import table
from blankcam.outputs import switched, typeface
from blankcam.outputs.drawing import Drawing, Path, Words
from blankcam.outputs.drawings.slot_across import across_view
from blankcam.outputs.drawings.slot_along import along_view
from blankcam.outputs.drawings.slot_section import SlotSection, Standing
from blankcam.outputs.drawings.strokes import Letters
from blankcam.outputs.switched import marked
from blankcam.parts.curve import Arc, Line
from blankcam.preview.html import el, words
from blankcam.preview.model import SeatDrawing

SCREEN = 3.6
"""Pixels a millimetre of line width in data/section.toml."""
DASHES = {
    "continuous wide": "",
    "continuous narrow": "",
    "dash-dot wide": "9 2.5 2 2.5",
    "long-dashed double-dotted": "10 2.5 1.5 2 1.5 2.5",
    "long-dashed dotted": "12 2.5 1.5 2.5",
    "dashed": "5 3",
}
"""Strokes and gaps, px."""
ANCHORS = {"left": "start", "middle": "middle", "right": "end"}
LAYOUTS = {
    "wide": ((600.0, 300.0), (600.0, 300.0), Letters(cap=10.05, hatched=False, switched=True)),
    "narrow": (
        (314.0, 240.0),
        (314.0, 250.0),
        Letters(cap=9.34, terse=True, hatched=False, switched=True),
    ),
}
"""Rooms of the views along and across, px, and letters of 14 and 13 px."""


def section_style() -> str:
    """The rules for the classes, from data/section.toml."""
    key = table("section")
    return "\n".join(chain(_line_rules(key), _fill_rules(key)))


def _line_rules(key: dict[str, dict[str, dict[str, str]]]) -> Iterator[str]:
    for name, line in key["lines"].items():
        dash = DASHES[line["kind"]]
        dashed = f";stroke-dasharray:{dash}" if dash else ""
        width = float(line["width"]) * SCREEN
        at = _class(name)
        yield f".sheet path.{at}{{stroke:{line['colour']};stroke-width:{width:.2f}{dashed}}}"
        yield f".sheet path.{at}.f{{fill:{line['colour']};stroke:none}}"
        if name in ("finished", "refit", "pale"):
            yield f".sheet text.{at}{{fill:{line['colour']};font-weight:600}}"


def _fill_rules(key: dict[str, dict[str, dict[str, str]]]) -> Iterator[str]:
    for name, fill in key["fills"].items():
        ground = f"url(#p-{name})" if "over" in fill else fill["ground"]
        yield f".sheet path.{_class(name)}{{fill:{ground};stroke:none}}"


def _class(holds: str) -> str:
    return "k-" + holds.replace(" ", "-")


def patterns() -> str:
    """The tints that stay and go, defined once for all sheets of the page."""
    fills = table("section")["fills"]
    made = []
    for name, fill in fills.items():
        if "over" not in fill:
            continue
        size = 9 if fill["over"] == "hatch" else 7
        over = (
            f'<path d="M-1 1L1 -1M0 {size}L{size} 0M{size - 1} {size + 1}L{size + 1} {size - 1}" '
            f'stroke="{fill["colour"]}" stroke-width="0.8"/>'
            if fill["over"] == "hatch"
            else f'<circle cx="2" cy="2" r="0.8" fill="{fill["colour"]}"/>'
            f'<circle cx="5.5" cy="5.5" r="0.8" fill="{fill["colour"]}"/>'
        )
        ground = f'<rect width="{size}" height="{size}" fill="{fill["ground"]}"/>'
        made.append(
            f'<pattern id="p-{name}" width="{size}" height="{size}" patternUnits="userSpaceOnUse">'
            f"{ground}{over}</pattern>"
        )
    defs = f"<defs>{''.join(made)}</defs>"
    return f'<svg width="0" height="0" class="away" aria-hidden="true">{defs}</svg>'


def sheet(drawing: Drawing, name: str) -> str:
    """A drawing as a picture with a name, no larger than what is drawn."""
    box = _view_box(drawing)
    body = (*(_path(p) for p in drawing.paths if p.chain), *(_words(w) for w in drawing.words))
    return el(
        "svg", *body, viewBox=box, width=box.split(" ")[2], role="img",
        aria_label=switched.reading(name), cls="sheet",
    )  # fmt: skip


def _view_box(drawing: Drawing) -> str:
    x0, y0, x1, y1 = drawing.extent()
    edge = 3.0
    return f"{x0 - edge:.0f} {-y1 - edge:.0f} {x1 - x0 + 2 * edge:.0f} {y1 - y0 + 2 * edge:.0f}"


def _number(value: float) -> str:
    shown = f"{value:.1f}"
    shown = shown.removesuffix(".0")
    return "0" if shown == "-0" else shown


def _path(path: Path) -> str:
    filled = " f" if path.fill else ""
    return f'<path class="{_class(path.holds)}{filled}" d="{_data(path)}"/>'


def _data(path: Path) -> str:
    a, b = path.chain[0].start
    steps = [f"M{_number(a)} {_number(-b)}"]
    for seg in path.chain:
        end = f"{_number(seg.end[0])} {_number(-seg.end[1])}"
        if isinstance(seg, Arc):
            r = _number(seg.radius)
            steps.append(f"A{r} {r} 0 0 {int(not seg.ccw)} {end}")
        else:
            steps.append(f"L{end}")
    return "".join(steps) + ("Z" if path.closed else "")


def _words(w: Words) -> str:
    anchor = ANCHORS[w.anchor]
    text = switched.reading(w.text)
    long = typeface.width(text, w.height, bold=w.bold)
    a, b = _number(w.at[0]), _number(-w.at[1])
    bold = " b" if w.bold else ""
    turn = f' transform="rotate({-w.turn:g} {a} {b})"' if w.turn else ""
    return (
        f'<text class="{_class(w.holds)}{bold}" x="{a}" y="{b}" '
        f'font-size="{w.height / typeface.CAP:.1f}" text-anchor="{anchor}" textLength="{long:.1f}" '
        f'lengthAdjust="spacingAndGlyphs"{turn}>'
        f"{words(text)}</text>"
    )


def section_values(
    sections: Sequence[SlotSection], standings: Sequence[Standing]
) -> dict[str, Any]:
    """Every slot at those standings, wide and narrow, for the page's script.

    ``{string: {"wide": {"along": {standing: sheet}, "across": ...}, "narrow": ...}}``, a sheet as
    ``_plain`` makes it. Sheets that are much alike stand beside each other, which deflates well.
    """
    return {str(s.slot.string): _layouts(s, standings) for s in sections}


def seat_values(seats: Sequence[SeatDrawing]) -> dict[str, Any]:
    """The parts in the instrument: ``{kind: {string or "all": {"wide": sheet, "narrow":
    sheet}}}``.
    """
    made: dict[str, dict[str, dict[str, Any]]] = {}
    for seat in seats:
        drawn = {layout: _plain(d, seat.name) for layout, d in seat.layouts.items()}
        made.setdefault(seat.kind, {})[str(seat.string or "all")] = drawn
    return made


def _plain(drawing: Drawing, name: str) -> list[Any]:
    """A sheet as values: name, view box, letter size, paths as class and steps, words."""
    paths = [
        [_class(p.holds) + (" f" if p.fill else ""), relative_steps(_ends_alone(p))]
        for p in drawing.paths
        if p.chain
    ]
    said = [_word_values(w) for w in drawing.words]
    size = drawing.words[0].height / typeface.CAP if drawing.words else 14.0
    return [switched.in_braces(name), _view_box(drawing), round(size, 1), paths, said]


def _word_values(w: Words) -> list[Any]:
    """Class, place in whole pixels, anchor, width in millimetres, turn and text of a word."""
    long = typeface.width(switched.reading(w.text), w.height, bold=w.bold)
    return [_class(w.holds) + (" b" if w.bold else ""), round(w.at[0]), round(-w.at[1]),
            ANCHORS[w.anchor], round(long), w.turn, switched.in_braces(w.text)]  # fmt: skip


def relative_steps(path: Path) -> str:
    """A path as the script reads it: whole tenths of a pixel, each from the point before it.

    ``m`` and ``l`` with x and y, ``a`` with x, y, radius and sweep, ``z``; y down. The points are
    those of the page's own markup; a line to where it already is, is left out.
    """
    x, y = _tenths(path.chain[0].start)
    steps = [_step("m", x, y)]
    for seg in path.chain:
        to_x, to_y = _tenths(seg.end)
        if isinstance(seg, Arc):
            radius = round(round(seg.radius, 1) * 10)
            steps.append(_step("a", to_x - x, to_y - y, radius, int(not seg.ccw)))
        elif (to_x, to_y) != (x, y):
            steps.append(_step("l", to_x - x, to_y - y))
        x, y = to_x, to_y
    return "".join(steps) + ("z" if path.closed else "")


def _tenths(point: tuple[float, float]) -> tuple[int, int]:
    """A point as the markup rounds it."""
    return _tenth(point[0]), _tenth(-point[1])


def _tenth(value: float) -> int:
    """Whole tenths, as the markup rounds: its slow decimal rounding is asked only near a half."""
    whole = round(value * 10)
    near_half = abs(abs(value * 10 - whole) - 0.5) < 1e-6
    return round(round(value, 1) * 10) if near_half else whole


def _step(letter: str, *values: int) -> str:
    """A minus sign parts two numbers as well as a space does."""
    return letter + " ".join(map(str, values)).replace(" -", "-")


def _ends_alone(path: Path) -> Path:
    """A torn edge without its wave, which the script draws."""
    if path.holds != "torn":
        return path
    return dataclasses.replace(path, chain=(Line(path.chain[0].start, path.chain[-1].end),))


def first_section(section: SlotSection, at: Standing) -> list[str]:
    """What is shown of a slot before the script runs."""
    along, across, letters = LAYOUTS["wide"]
    return [
        sheet(along_view(section, at, along, letters), _along_name(section, at)),
        sheet(across_view(section, at, across, letters), _across_name(section, at)),
    ]


def _layouts(
    section: SlotSection, standings: Sequence[Standing]
) -> dict[str, dict[str, dict[str, Any]]]:
    return {
        name: {
            "along": {
                str(at): _plain(along_view(section, at, along, letters), _along_name(section, at))
                for at in standings
            },
            "across": {
                str(at): _plain(
                    across_view(section, at, across, letters), _across_name(section, at)
                )
                for at in standings
            },
        }
        for name, (along, across, letters) in LAYOUTS.items()
    }


def _along_name(section: SlotSection, standing: Standing) -> str:
    slot = section.slot
    return (
        f"Slot of string {slot.string} cut along its middle, {standing}: lift {marked(slot.lift)} "
        f"mm over the fret tops, {marked(section.nut.allowance)} mm left on the top at first, "
        f"{marked(section.nut.hold_back)} mm held back in the floor"
    )


def _across_name(section: SlotSection, standing: Standing) -> str:
    slot = section.slot
    return (
        f"Slot of string {slot.string} cut across at the front edge, {standing}: string "
        f"{marked(slot.gauge)} mm, slot {marked(slot.width)} mm wide, {marked(section.clear, 3)} "
        f"mm clear each side, deep {marked(slot.depth_front)} mm, stands out "
        f"{marked(section.stands_out)} mm, floor {marked(slot.floor_front)} mm over the seat"
    )
