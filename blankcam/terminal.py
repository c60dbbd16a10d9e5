"""Tables and lines on the maker's terminal: the one place that knows rich."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING

from blankcam.outputs.tables.layout import Section

if TYPE_CHECKING:
    from blankcam.inputs.interview import Question, Talk

PIPE_WIDTH = 100  # where nobody says how wide the paper is


def show(parts: Iterable[Section]) -> None:
    """Print tables as wide as the terminal; plain text into a pipe or where NO_COLOR is set."""
    wide, plain = width(), is_plain()
    for section in parts:
        _title(_safe(section.title, plain=plain), wide)
        if section.rows and _least_width(section) > wide:
            _show_rows(section, wide, plain=plain)
        elif section.rows and (laid := columns(section, wide)) and not plain:
            print(*laid, sep="\n")
        elif section.rows:
            _show_table(section, wide, plain=plain)
        for note in section.notes:
            words = _safe(note, plain=plain)
            for line in [words] if section.typed else _lines(words, wide - 2):
                print("  " + line)
        print()


def columns(section: Section, width: int) -> list[str] | None:
    """A table's lines where every cell has one line and plain letters, else nothing.

    Most tables are such, and rich needs long to come to the same lines.
    """
    rows = [section.columns, *section.rows]
    widths = [max(1, *map(len, column)) for column in zip(*rows, strict=True)]
    whole = sum(widths) + 3 * len(widths) - 1
    cells = "".join(map("".join, rows))
    if whole > width or not (cells.isascii() and (cells.isprintable() or not cells)):
        return None
    lines = [
        " "
        + "   ".join(
            f"{c:{'>' if i else '<'}{w}}" for i, (c, w) in enumerate(zip(row, widths, strict=True))
        )
        for row in rows
    ]
    rule = " " + "\N{BOX DRAWINGS LIGHT HORIZONTAL}" * (whole - 2)
    return ["", *(line.rstrip() for line in (lines[0], rule, *lines[1:])), ""]


def width() -> int:
    """Columns there are to write in: as COLUMNS says, as the terminal is, or as a pipe gets."""
    columns = os.environ.get("COLUMNS", "")
    if columns.isdecimal() and 10 <= int(columns) < 1000:
        return int(columns)
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else PIPE_WIDTH


def is_plain() -> bool:
    """Whether only plain letters can be written."""
    return not _speaks_unicode()


@contextlib.contextmanager
def progress(total: int) -> Iterator[Callable[[str], None]]:
    """A bar beside the results, on stderr, while it is a terminal; takes the name of what is done."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console
    from rich.markup import escape
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=total)
        plain = is_plain()
        yield lambda name: bar.update(task, advance=1, description=escape(_safe(name, plain=plain)))


def converse(talk: Talk, *, keep: Callable[[Talk], None], machine: Callable[[str], object]) -> Talk:
    """Ask until the talk is whole; each answer is kept at once.

    Raises
    ------
    EOFError, KeyboardInterrupt
        When the maker breaks it off.
    """
    from blankcam.inputs import interview

    print("Enter takes what stands in brackets; b goes back to the question before, q stops.")
    while (asked := interview.question(talk)) is not None:
        said = _answer(asked)
        if said == "q":
            raise EOFError
        if said == "b":
            talk = interview.back(talk)
        else:
            try:
                talk = interview.answered(talk, said, machine=machine)
            except ValueError as wrong:
                print(f"  {_safe(str(wrong), plain=is_plain())}")
                continue
        keep(talk)
    return talk


def goes_on(count: int, where: str) -> bool:
    """Whether the maker goes on from answers that were kept; raises as ``converse`` does."""
    print(f"Answers so far, {count}, are kept in {_safe(where, plain=is_plain())}.")
    return not _line("Enter goes on from them, n begins anew: ").lower().startswith("n")


def _answer(asked: Question) -> str:
    plain = is_plain()
    words = textwrap.wrap(_safe(asked.words, plain=plain), max(width() - 2, 20))
    print("\n" + _safe(asked.key, plain=plain))
    for line in words:
        print(f"  {line}")
    return _line(f"  [{_safe(asked.offered, plain=plain)}] ")


def _line(prompt: str) -> str:
    if sys.stdin is None:  # closed by whoever started us
        raise EOFError
    print(prompt, end="", flush=True)  # input() would put it on stderr
    said = input().strip()
    if not sys.stdin.isatty():
        print()
    return said


def _title(words: str, wide: int) -> None:
    """A heading, in bold where there is bold."""
    if not sys.stdout.isatty() or os.environ.get("NO_COLOR"):
        print(*_lines(words, wide), sep="\n")
        return
    from rich.console import Console
    from rich.text import Text

    Console(width=wide, highlight=False).print(Text(words, style="bold"))


def _show_table(section: Section, wide: int, *, plain: bool) -> None:
    """A table whose cells must be broken over lines, or hold letters of more than one column."""
    from rich import box
    from rich.console import Console, JustifyMethod
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.ASCII2 if plain else box.SIMPLE_HEAD, pad_edge=False)
    for i, name in enumerate(section.columns):
        side: JustifyMethod = "left" if i == 0 else "right"
        table.add_column(_safe(name, plain=plain), justify=side, overflow="fold")
    for row in section.rows:
        table.add_row(*(Text(_safe(cell, plain=plain)) for cell in row))
    Console(width=wide, highlight=False).print(table)


def _lines(text: str, width: int) -> list[str]:
    """Text in lines; a path or a number longer than one stays whole, so that it can be copied."""
    return textwrap.wrap(text, width, break_long_words=False, break_on_hyphens=False) or [""]


def _least_width(section: Section) -> int:
    """Columns that a table needs so that no word of it is broken."""
    cells = zip(section.columns, *section.rows, strict=True)
    words = [[len(w) for cell in column for w in cell.split()] for column in cells]
    return sum(max(w, default=0) + 3 for w in words) - 1


def _show_rows(section: Section, wide: int, *, plain: bool) -> None:
    """A table too wide for its terminal: each row as a list."""
    for row in section.rows:
        lines = [f"- {section.columns[0]} {row[0]}"]
        for name, cell in zip(section.columns[1:], row[1:], strict=True):
            if cell:
                lines.append(f"  {name}: {cell}" if name else f"  {cell}")
        for line in lines:
            start = "    " if line.startswith(" ") else "  "
            print(*textwrap.wrap(_safe(line, plain=plain), wide, subsequent_indent=start), sep="\n")


def _speaks_unicode() -> bool:
    return (sys.stdout.encoding or "ascii").lower().replace("-", "") in ("utf8", "utf16")


def _safe(text: str, *, plain: bool) -> str:
    """Text without control or direction marks, in the terminal's own letters."""
    kept = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
    if plain:
        encoding = sys.stdout.encoding or "ascii"
        kept = kept.encode(encoding, "replace").decode(encoding)
    return kept
