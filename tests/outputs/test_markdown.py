"""A maker's words in Markdown, read back by a general Markdown library (CommonMark)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from blankcam.outputs.render.markdown import code, plain

NAMES = [
    "two_necks_2",
    "a|b",
    "`rm`",
    "<b>x</b>",
    "[a](b)",
    "\\`",
    "# x",
    "a\u202eb",
    "a\nb",
    " ",
    "",
]


def _cells(text: str) -> tuple[list[str], set[str]]:
    tokens = MarkdownIt().enable("table").parse(f"| a | b |\n|---|---|\n| {text} | end |\n")
    inline = [t for t in tokens if t.type == "inline"][2:]
    kinds = {child.type for t in inline for child in t.children or []}
    return ["".join(c.content for c in t.children or []) for t in inline], kinds


@pytest.mark.parametrize("name", NAMES)
def test_a_name_is_one_cell_of_code(name):
    cells, kinds = _cells(code(name))
    assert (len(cells), cells[1], kinds) == (2, "end", {"code_inline", "text"})


def test_a_plain_name_is_kept_letter_by_letter():
    assert _cells(code("two_necks-2 (7)"))[0][0] == "two_necks-2 (7)"


@given(st.text(max_size=60))
def test_any_words_stay_words(text):
    cells, kinds = _cells(plain(text))
    assert (len(cells), cells[-1]) == (2, "end")
    assert kinds <= {"text"}


@given(st.text(max_size=60))
def test_any_name_stays_one_cell(text):
    cells, kinds = _cells(code(text))
    assert (len(cells), cells[1], kinds) == (2, "end", {"code_inline", "text"})
