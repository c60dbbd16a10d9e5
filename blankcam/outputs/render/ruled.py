"""A table drawn for paper: ruled rows, headings broken to their columns, widths as the
text needs.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import takewhile

from blankcam.inputs.units import sixty_fourths
from blankcam.outputs.drawing import Drawing, Words, stroke
from blankcam.outputs.figures import cell
from blankcam.outputs.rows import Column, Table, Value, bare
from blankcam.outputs.typeface import POINTS_8, width

CELL = HEADING = POINTS_8  # heights of capitals, mm
ROW, LINE = 4.6, 3.3  # from row to row, from line to line of a heading
BESIDE = 1.2  # free on either side of a cell's text
LEAST = 10.0  # width of a column
SIXTY_FOURTHS = "1/64 in"
"""A view of a length: the nearest 64th of an inch."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Strip:
    """One column of a table in one unit."""

    title: str
    unit: str
    cells: tuple[str, ...]

    @property
    def wide(self) -> float:
        """As its cells and the longest word of its heading need, mm."""
        words = [*self.title.split(), self.unit]
        heads = (width(w, HEADING, bold=True) for w in words)
        return max(LEAST, max([*(width(c, CELL) for c in self.cells), *heads]) + 2 * BESIDE)


def render(table: Table, views: Mapping[str, Sequence[str]] | None = None) -> Drawing:
    """The table, its upper left corner at the origin.

    ``views``: by a column's key the units that its lengths are written in, ``mm``, ``in`` or
    ``1/64 in``, a column each; one column in its own unit where none are given.
    """
    strips = [s for i in range(len(table.columns)) for s in _strips(table, i, views or {})]
    places, right = _places(strips)
    heads = [_lines(s.title, _room(strips, i)) for i, s in enumerate(strips)]
    tall = LINE * (max(map(len, heads)) + any(s.unit for s in strips)) + 1.2
    words = [w for i in range(len(strips)) for w in _heading(strips[i], heads[i], places[i], tall)]
    for strip, x in zip(strips, places, strict=True):
        words += [
            Words(at=(x + BESIDE, -tall - ROW * n - 3.2), text=text, height=CELL)
            for n, text in enumerate(strip.cells)
            if text
        ]
    levels = (0.0, *(-tall - ROW * n for n in range(len(table.rows) + 1)))
    return Drawing(paths=tuple(stroke((0.0, y), (right, y)) for y in levels), words=tuple(words))


def _strips(table: Table, index: int, views: Mapping[str, Sequence[str]]) -> Iterator[_Strip]:
    """A column in each unit asked for; its title stands over the first."""
    column = table.columns[index]
    for n, unit in enumerate(views.get(column.key, (column.unit,))):
        yield _Strip(
            title="" if n else column.title,
            unit=unit,
            cells=tuple(_cell(column, row[index], unit) for row in table.rows),
        )


def _cell(column: Column, value: Value, unit: str) -> str:
    if unit == SIXTY_FOURTHS:
        given = bare(value)
        return sixty_fourths(given) if isinstance(given, int | float) else given or ""
    return cell(column, value, "in" if unit == "in" and column.unit == "mm" else "mm")


def _places(strips: Sequence[_Strip]) -> tuple[list[float], float]:
    """Where each column begins, and where the last ends."""
    places, at = [], 0.0
    for strip in strips:
        places.append(at)
        at += strip.wide
    return places, at


def _room(strips: Sequence[_Strip], first: int) -> float:
    """Width for a heading: its own column and those of the same length in other units."""
    same = takewhile(lambda s: not s.title, strips[first + 1 :])
    return strips[first].wide + sum(s.wide for s in same)


def _lines(title: str, wide: float) -> list[str]:
    """A heading broken to its room."""
    lines: list[str] = []
    for word in title.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width(longer, HEADING, bold=True) <= wide - 2 * BESIDE:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _heading(strip: _Strip, lines: Sequence[str], x: float, tall: float) -> Iterator[Words]:
    """The heading's lines from the top, the unit on the last line."""
    for n, line in enumerate(lines):
        yield Words(at=(x + BESIDE, -3.0 - LINE * n), text=line, height=HEADING, bold=True)
    if strip.unit:
        yield Words(at=(x + BESIDE, -tall + 1.5), text=strip.unit, height=HEADING, bold=True)
