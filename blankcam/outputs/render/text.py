"""Tables and notes as plain lines of text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from blankcam.outputs.figures import Units, cells, heading, unit_words
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
        yield from columns(grid, width) or listed(grid, width)
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


def columns(grid: list[tuple[str, ...]], width: int) -> list[str]:
    """A table's lines where every cell has one line and plain letters, else none."""
    widths = [max(1, *map(len, column)) for column in zip(*grid, strict=True)]
    whole = sum(widths) + 3 * len(widths) - 1
    letters = "".join(map("".join, grid))
    if whole > width or not (letters.isascii() and (letters.isprintable() or not letters)):
        return []
    lines = [" " + "   ".join(_padded(row, widths)).rstrip() for row in grid]
    return ["", lines[0].rstrip(), f" {RULE * (whole - 2)}", *map(str.rstrip, lines[1:]), ""]


def _padded(row: tuple[str, ...], widths: list[int]) -> Iterator[str]:
    """The first cell to the left, the others to the right."""
    for i, (text, wide) in enumerate(zip(row, widths, strict=True)):
        yield f"{text:{'>' if i else '<'}{wide}}"


def listed(grid: list[tuple[str, ...]], width: int) -> Iterator[str]:
    """A table too wide for its place: each row as a list."""
    names, *rows = grid
    for row in rows:
        lines = [f"- {names[0]} {row[0]}"]
        for name, cell in zip(names[1:], row[1:], strict=True):
            if cell:
                lines.append(f"  {name}: {cell}" if name else f"  {cell}")
        for line in lines:
            start = "    " if line.startswith(" ") else "  "
            yield from textwrap.wrap(line, width, subsequent_indent=start)


def least_width(grid: list[tuple[str, ...]]) -> int:
    """Columns that a table needs so that no word of it is broken."""
    words = [
        [len(w) for cell in column for w in cell.split()] for column in zip(*grid, strict=True)
    ]
    return sum(max(w, default=0) + 3 for w in words) - 1


def wrapped(text: str, width: int) -> list[str]:
    """Text in lines; a path or a number longer than one stays whole, so that it can be copied."""
    return textwrap.wrap(text, width, break_long_words=False, break_on_hyphens=False) or [""]
