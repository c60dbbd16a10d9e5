"""Tables and notes as plain lines of text."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterator

from blankcam.inputs.units import Units
from blankcam.outputs.figures import cells, heading, unit_words
from blankcam.outputs.rows import Section, Table

RULE = "\N{BOX DRAWINGS LIGHT HORIZONTAL}"
SHARED = "mm"
"""The unit that most columns have: named once over the table, not in every heading."""


def render(section: Section, width: int = 100, units: Units = "both") -> str:
    """A section as lines no wider than ``width``, but for a word that is longer."""
    return "\n".join([*wrapped(title(section, units), width), *body(section, width, units), ""])


def holds_command(words: str) -> bool:
    """Whether a line is to be copied and typed, so that it must not be broken."""
    return "blankcam " in words


def body(section: Section, width: int, units: Units = "both") -> Iterator[str]:
    """A section's table, steps and notes."""
    if section.table is not None and section.table.rows:
        grid = texts(section.table, units)
        yield from columns(fitted(grid, width), width) or cards(grid, width)
    steps = [f"{i}. {step}" for i, step in enumerate(section.steps, start=1)]
    for words in (*steps, *section.notes):
        whole = section.verbatim and holds_command(words)
        broken = [words] if whole else wrapped(words, width - 2)
        yield from (f"  {line}" for line in broken)


def title(section: Section, units: Units = "both") -> str:
    """A section's title, with the unit that its table's lengths share."""
    has_lengths = section.table and any(c.unit == SHARED for c in section.table.columns)
    return f"{section.title}, {unit_words(SHARED, units)}" if has_lengths else section.title


def texts(table: Table, units: Units = "both") -> list[tuple[str, ...]]:
    """A table as text: the headings, then every row."""
    heads = (c.title if c.unit == SHARED else heading(c, units) for c in table.columns)
    return [tuple(heads), *cells(table, units)]


Grid = list[tuple[str, ...]]
"""Headings, then rows; only a heading may have more than one line."""


def fitted(grid: Grid, width: int) -> Grid:
    """The table with its headings broken to as few lines as fit; none where cells would break."""
    least = [max(1, *map(cells_wide, column)) for column in zip(*grid[1:], strict=True)]
    for lines in range(1, max(len(head.split()) for head in grid[0]) + 1):
        widths = [_head_width(h, w, lines) for h, w in zip(grid[0], least, strict=True)]
        if _whole(widths) <= width:
            return [tuple(map(_broken, grid[0], widths)), *grid[1:]]
    return []


def cells_wide(text: str) -> int:
    """How many columns of the terminal a text takes, of more lines the widest."""
    return max(sum(map(_letter_wide, line)) for line in text.split("\n"))


def _letter_wide(letter: str) -> int:
    if unicodedata.combining(letter):
        return 0
    return 2 if unicodedata.east_asian_width(letter) in "WF" else 1


def _whole(widths: list[int]) -> int:
    return sum(widths) + 3 * len(widths) - 1


def _head_width(head: str, least: int, lines: int) -> int:
    """The least width of a column, at least of its cells, whose heading takes so many lines."""
    wide = max([least, *map(cells_wide, head.split())])
    while _broken(head, wide).count("\n") >= lines:
        wide += 1
    return wide


def _broken(head: str, wide: int) -> str:
    return "\n".join(wrapped(head, wide))


def columns(grid: Grid, width: int) -> list[str]:
    """A table's lines where it fits and every letter is a plain one, else none."""
    if not grid:
        return []
    widths = [max(1, *map(cells_wide, column)) for column in zip(*grid, strict=True)]
    letters = "".join(map("".join, grid)).replace("\n", "")
    if _whole(widths) > width or not (letters.isascii() and (letters.isprintable() or not letters)):
        return []
    lines = [
        " " + "   ".join(_padded(row, widths)).rstrip() for row in (*_heads(grid[0]), *grid[1:])
    ]
    lines.insert(len(lines) - len(grid) + 1, f" {RULE * (_whole(widths) - 2)}")
    return ["", *map(str.rstrip, lines), ""]


def _heads(heads: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """The headings' lines, those with fewer of them down on the rule."""
    broken = [head.split("\n") for head in heads]
    tall = max(map(len, broken))
    yield from zip(*([""] * (tall - len(b)) + b for b in broken), strict=True)


def _padded(row: tuple[str, ...], widths: list[int]) -> Iterator[str]:
    """The first cell to the left, the others to the right."""
    for i, (text, wide) in enumerate(zip(row, widths, strict=True)):
        yield f"{text:{'>' if i else '<'}{wide}}"


def cards(grid: Grid, width: int) -> Iterator[str]:
    """A table too wide for its place: a card a row, its name over what it holds."""
    heads, *rows = grid
    named = next((n for n in range(1, len(heads)) if _tell_apart(rows, n)), 1)
    room = (
        max(map(cells_wide, heads[named:]), default=0),
        max((cells_wide(cell) for row in rows for cell in row[named:]), default=0),
    )
    for row in rows:
        yield ""
        name = f"{heads[0]} {' '.join(c for c in row[:named] if c)}".strip()
        yield from (f"  {line}" for line in wrapped(name, width - 2))
        said = [(h, c) for h, c in zip(heads[named:], row[named:], strict=True) if c]
        yield from (f"    {line}".rstrip() for line in _entries(said, room, width - 4))
    yield ""


def _entries(said: list[tuple[str, str]], room: tuple[int, int], width: int) -> list[str]:
    """What a card says, names and values under each other, as many side by side as fit."""
    wide = sum(room) + 2
    if wide > width:
        return [line for head, cell in said for line in _tight(head, cell, width)]
    texts = [_entry(head, cell, wide) for head, cell in said]
    beside = (width + 4) // (wide + 4)
    return ["    ".join(texts[i : i + beside]) for i in range(0, len(texts), beside)]


def _tell_apart(rows: Grid, count: int) -> bool:
    """Whether the first cells alone tell the rows apart."""
    return len({row[:count] for row in rows}) == len(rows)


def _entry(head: str, cell: str, wide: int) -> str:
    """A name and its value at the two ends of a line, or a value alone."""
    gap = wide - cells_wide(head) - cells_wide(cell)
    return f"{head}{' ' * gap}{cell}" if head else f"{cell}{' ' * gap}"


def _tight(head: str, cell: str, width: int) -> list[str]:
    """Where names and values can't stand under each other."""
    if not head:
        return wrapped(cell, width)
    if cells_wide(head) + cells_wide(cell) + 2 <= width:
        return [f"{head}: {cell}"]
    return [*wrapped(f"{head}:", width), *(f"  {line}" for line in wrapped(cell, width - 2))]


def wrapped(text: str, width: int) -> list[str]:
    """Text in lines; a path or a number longer than one stays whole, so that it can be copied."""
    return textwrap.wrap(text, width, break_long_words=False, break_on_hyphens=False) or [""]
