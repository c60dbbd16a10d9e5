"""Tables in the terminal: laid out as rich, a general library of the kind, lays them out."""

import io

from hypothesis import given
from hypothesis import strategies as st
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from blankcam.outputs.render import text

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
        table.add_column(Text(name), justify="right" if i else "left", overflow="fold")
    for row in grid[1:]:
        table.add_row(*map(Text, row))
    Console(file=page, width=width, highlight=False).print(table)
    return [line.rstrip() for line in page.getvalue().split("\n")][:-1]


@given(_tables(), st.integers(20, 120))
def test_a_table_that_fits_is_laid_out_as_rich_does(grid, width):
    laid = text.columns(grid, width)
    if laid:
        assert laid == _by_rich(grid, width)
    else:
        columns = zip(*grid, strict=True)
        assert sum(max(1, *map(len, c)) + 3 for c in columns) - 1 > width


def test_what_may_be_wider_than_it_is_long_is_left_to_rich():
    assert text.columns([("a", "b"), ("\u5f26", "1"), ("e\u0301", "2")], 80) == []
