"""Tables and lines on the maker's terminal: the one place that knows rich."""

from __future__ import annotations

import contextlib
import io
import os
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from blankcam.inputs.units import Units
from blankcam.outputs.render import text
from blankcam.outputs.rows import Section

if TYPE_CHECKING:
    from blankcam.inputs.interview import Question, Talk

PIPE_WIDTH = 100  # where nobody says how wide the paper is


def show(sections: Iterable[Section], units: Units = "both") -> None:
    """Print sections as wide as the terminal; plain text into a pipe or where NO_COLOR is set."""
    wide, plain = width(), is_plain()
    for section in sections:
        _title(_safe(text.title(section, units), plain=plain), wide)
        print(_safe_lines(render(section, wide, plain=plain, units=units), plain=plain))


def render(section: Section, wide: int, *, plain: bool, units: Units = "both") -> str:
    """A section's table and notes; a table with letters that are not plain is left to rich."""
    if section.table is None or not section.table.rows:
        return "\n".join([*text.body(section, wide, units), ""])
    grid = text.fitted(text.texts(section.table, units), wide)
    if not grid or (text.columns(grid, wide) and not plain):
        return "\n".join([*text.body(section, wide, units), ""])
    notes = text.body(replace(section, table=None), wide, units)
    return _by_rich(grid, wide, plain=plain) + "\n".join([*notes, ""])


def _safe_lines(lines: str, *, plain: bool) -> str:
    return "\n".join(_safe(line, plain=plain) for line in lines.split("\n"))


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
    """Jobs done, of how many, and the time left, on stderr while it is a terminal.

    Takes the name of each as it is done.
    """
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console
    from rich.markup import escape
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
    from rich.progress import TimeRemainingColumn as TimeLeft

    columns = (MofNCompleteColumn(), BarColumn(20), TimeLeft(compact=True), TextColumn("left"))
    name = TextColumn("[progress.description]{task.description}")
    with Progress(*columns, name, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=total)
        plain = is_plain()
        yield lambda name: bar.update(task, advance=1, description=escape(_safe(name, plain=plain)))


def say(words: str) -> None:
    """A line of results, as wide as the terminal; whole into a pipe, or where it holds
    a command.
    """
    told = sys.stdout.isatty() or os.environ.get("COLUMNS")
    print(
        *text.wrapped(words, width()) if told and not text.holds_command(words) else [words],
        sep="\n",
    )


def say_meanwhile(words: str) -> None:
    """What is being waited for, on stderr while it is a terminal."""
    if sys.stderr.isatty():
        print(_safe(words, plain=is_plain()), file=sys.stderr)


def converse(talk: Talk, *, keep: Callable[[Talk], None], machine: Callable[[str], object]) -> Talk:
    """Ask until every question is answered and the maker is content; each answer is kept at once.

    Raises
    ------
    EOFError, KeyboardInterrupt
        When the maker stops it.
    """
    from blankcam.inputs import interview

    print(
        "Press Enter to accept the value in brackets; b goes back one question, l lists the answers"
        " to change one, q stops and keeps them."
    )
    while True:
        asked = interview.question(talk)
        said = _answer(asked) if asked else "l"
        if said in ("q", "quit"):
            raise EOFError
        if said in ("l", "list"):
            changed = _changed_in_list(talk, machine, whole=asked is None)
            if changed is None and asked is None:
                return talk
            talk = changed or talk
        elif said in ("b", "back"):
            talk = interview.back(talk)
        else:
            answer = partial(interview.answered, talk, said, machine=machine)
            talk = _told_if_wrong(answer) or talk
        keep(talk)


def _changed_in_list(talk: Talk, machine: Callable[[str], object], *, whole: bool) -> Talk | None:
    """The talk with an answer changed that is chosen from the list of them; None where none is."""
    from blankcam.inputs import interview

    print()
    wide = max((len(key) for key, _ in talk.answers), default=0)
    for place, (key, said) in enumerate(talk.answers, start=1):
        print(_safe(f"{place:4d}  {key:{wide}s}  {said}", plain=is_plain()))
    then = "write the job" if whole else "go on"
    said = _line(f"Press Enter to {then}, or type the number of an answer to change it: ")
    if not said:
        return None
    if said in ("q", "quit"):
        raise EOFError
    if said in ("b", "back"):
        return interview.back(talk)
    if not said.isdecimal() or not 1 <= int(said[:4]) <= len(talk.answers):
        print(f"  there is no answer {_safe(said[:20], plain=is_plain())}")
        return talk
    key = talk.answers[int(said[:4]) - 1][0]
    new = _answer(interview.question_again(talk, key))
    return _told_if_wrong(partial(interview.changed, talk, key, new, machine=machine)) or talk


def _told_if_wrong(answer: Callable[[], Talk]) -> Talk | None:
    """The talk after an answer; None where it is wrong and why is told."""
    try:
        return answer()
    except ValueError as wrong:
        print(f"  {_safe(str(wrong), plain=is_plain())}")
        return None


def goes_on(count: int, where: str) -> bool:
    """Whether the maker goes on from answers that were kept; raises as ``converse`` does."""
    print(f"Answers so far, {count}, are kept in {_safe(where, plain=is_plain())}.")
    return not _line("Press Enter to go on from them, n to start again: ").lower().startswith("n")


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
        print(*text.wrapped(words, wide), sep="\n")
        return
    from rich.console import Console
    from rich.text import Text

    Console(width=wide, highlight=False).print(Text(words, style="bold"))


def _by_rich(grid: text.Grid, wide: int, *, plain: bool) -> str:
    """A table that fits, with letters that may be wider than others or a terminal without lines."""
    from rich import box
    from rich.console import Console, JustifyMethod
    from rich.table import Table
    from rich.text import Text

    heads, *rows = grid
    laid = Table(box=box.ASCII2 if plain else box.SIMPLE_HEAD, pad_edge=False)
    for i, name in enumerate(heads):
        side: JustifyMethod = "left" if i == 0 else "right"
        head = Text("\n".join(_safe(line, plain=plain) for line in name.split("\n")))
        laid.add_column(head, justify=side, no_wrap=True, vertical="bottom")
    for row in rows:
        laid.add_row(*(Text(_safe(cell, plain=plain)) for cell in row))
    console = Console(width=wide, highlight=False, file=io.StringIO())
    with console.capture() as lines:
        console.print(laid)
    return lines.get()


def _speaks_unicode() -> bool:
    return (sys.stdout.encoding or "ascii").lower().replace("-", "") in ("utf8", "utf16")


def _safe(words: str, *, plain: bool) -> str:
    """Text without control or direction marks, in the terminal's own letters."""
    kept = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in words)
    if plain:
        encoding = sys.stdout.encoding or "ascii"
        kept = kept.encode(encoding, "replace").decode(encoding)
    return kept
