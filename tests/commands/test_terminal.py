"""Tables in the terminal: laid out as rich, a general library of the kind, lays them out."""

import io
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich import box
from rich.cells import cell_len
from rich.console import Console
from rich.table import Table
from rich.text import Text

from blankcam import terminal
from blankcam.outputs.render import text
from blankcam.parts.stage import Stage
from blankcam.workflows.layout import layout
from tests.conftest import demo_job, first_then_long

LETTERS = st.characters(min_codepoint=32, max_codepoint=126)
CELLS = st.text(LETTERS, max_size=12).map(str.strip)
NAMES = st.text(LETTERS, min_size=1, max_size=12).filter(lambda s: s == s.strip())


@st.composite
def _tables(draw):
    count = draw(st.integers(1, 6))
    names = draw(st.lists(NAMES, min_size=count, max_size=count))
    rows = draw(st.lists(st.lists(CELLS, min_size=count, max_size=count), min_size=1, max_size=6))
    return [tuple(names), *map(tuple, rows)]


def _by_rich(grid, width):
    page = io.StringIO()
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for i, name in enumerate(grid[0]):
        table.add_column(
            Text(name), justify="right" if i else "left", no_wrap=True, vertical="bottom"
        )
    for row in grid[1:]:
        table.add_row(*map(Text, row))
    Console(file=page, width=width, highlight=False).print(table)
    return [line.rstrip() for line in page.getvalue().split("\n")][:-1]


@given(_tables(), st.integers(20, 120))
def test_a_table_that_fits_is_laid_out_as_rich_does(grid, width):
    fitted = text.fitted(grid, width)
    if fitted:
        assert text.columns(fitted, width) == _by_rich(fitted, width)
        assert fitted[1:] == grid[1:]
        assert [" ".join(h.split()) for h in fitted[0]] == [" ".join(h.split()) for h in grid[0]]
    else:  # not even with every heading broken at its words
        columns = zip(*grid, strict=True)
        least = [max([1, *map(len, cells), *map(len, head.split())]) for head, *cells in columns]
        assert sum(least) + 3 * len(least) - 1 > width


def test_what_may_be_wider_than_it_is_long_is_left_to_rich():
    assert text.columns([("a", "b"), ("\u5f26", "1"), ("e\u0301", "2")], 80) == []


SCRIPTS = ((0x20, 0x17F), (0x391, 0x3C9), (0x3041, 0x3096), (0x4E00, 0x9FFF), (0xAC00, 0xD7A3))
LETTERS_OF_NAMES = st.one_of(
    *(st.characters(min_codepoint=a, max_codepoint=b, exclude_categories=["C"]) for a, b in SCRIPTS)
)


@given(st.text(LETTERS_OF_NAMES, max_size=8))
def test_letters_are_as_wide_as_rich_takes_them(words):
    assert text.cells_wide(words) == cell_len(words)


@pytest.mark.parametrize("job", first_then_long(["concert-steel", "wide-bass"]))
@pytest.mark.parametrize("wide", [40, 60, 80])
def test_no_number_is_broken_and_no_line_too_long(job, wide):
    """Every cell of every table stands whole on a line, with its heading's words before it."""
    found = layout(str(demo_job(job)), None, Stage.ROUGH)
    for section in found.sections:
        lines = terminal.render(section, wide, plain=False).split("\n")
        for line in lines:
            assert cell_len(line) <= wide or "blankcam " in line or ".toml" in line  # to be copied
        if section.table is not None:
            shown = Counter(w for line in lines for w in line.split())
            grid = text.texts(section.table)
            for cell, count in Counter(c for row in grid[1:] for c in row if c).items():
                for word in cell.split():
                    assert shown[word] >= count


def test_a_narrow_terminal_gets_a_card_a_row():
    grid = [("part", "measure", "blank", ""), ("nut", "length", "52.00 (2.047)", "to spare"),
            ("nut", "height", "9.00 (0.354)", "to spare")]  # fmt: skip
    assert list(text.cards(grid, 30)) == [
        "", "  part nut length", "    blank  52.00 (2.047)", "    to spare",
        "", "  part nut height", "    blank   9.00 (0.354)", "    to spare", "",
    ]  # fmt: skip
    assert list(text.cards(grid, 20))[:4] == [
        "", "  part nut length", "    blank:", "      52.00 (2.047)"
    ]  # fmt: skip
