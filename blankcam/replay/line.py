"""Splits one line of RS274/NGC into its words: the grammar of NISTIR 6556 §3.3, nothing more.

Every fact here is from NISTIR 6556 (Kramer, Proctor, Messina 2000), section as named.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from blankcam.replay.codes import Code

LINE_LIMIT = 256  # §3.3
LETTERS = frozenset("ABCDFGHIJKLMNPQRSTXYZ")  # §3.3.2, Table 3: no E, no O
LARGEST = 100_000.0  # in any unit: no machine on a bench is larger
M_WORDS = 4  # §3.3.5

_WORD = re.compile(r"([A-Z])([+-]?(?:\d++\.?\d*+|\.\d++))")
_WHOLE = re.compile(r"(?:[A-Z][+-]?(?:\d++\.?\d*+|\.\d++))*+")
# §3.3.4; a semicolon is not in the standard, but every controller takes or drops what follows it
_COMMENT = re.compile(r"\([^()]*\)|;.*")
_MARKS = re.compile(r"[();]")
_LINE_NUMBER = re.compile(r"N(\d*)(.?)")
_BLANK = str.maketrans("", "", " \t")

Fault = tuple[Code, str]


@dataclass(slots=True)
class Block:
    """The words of one line: G codes in tenths (G38.2 is 382), M codes whole."""

    words: dict[str, float] = field(default_factory=dict)
    g: list[int] = field(default_factory=list)
    m: list[int] = field(default_factory=list)
    comments: list[str] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)


def parse_block(text: str) -> Block:
    """The line's words and comments, and what is wrong with its grammar."""
    out = Block()
    bare = _without_comments(text, out)
    bare = bare.translate(_BLANK).upper()
    bare = _without_number(bare, out)
    if not _WHOLE.fullmatch(bare):
        good = _WHOLE.match(bare)
        rest = bare[good.end() if good else 0 :]
        out.faults.append((Code.GRAMMAR, f"not a word and its number: {rest[:20]!r}"))
    for letter, digits in _WORD.findall(bare):
        _take(letter, float(digits), out)
    if len(out.m) > M_WORDS:
        out.faults.append((Code.REPEATED, f"{len(out.m)} M words, at most {M_WORDS} a line"))
    return out


def without_comments(text: str) -> str:
    """A line without what stands in brackets or after a semicolon."""
    return _COMMENT.sub("", text)


def _without_comments(text: str, out: Block) -> str:
    if not _MARKS.search(text):
        return text
    out.comments.extend(c.strip(" \t;()") for c in _COMMENT.findall(text))
    bare = without_comments(text)
    mark = _MARKS.search(bare)
    if mark:
        out.faults.append((Code.COMMENT, "a comment is not closed, or stands inside another"))
    return bare[: mark.start()] if mark else bare


def _without_number(bare: str, out: Block) -> str:
    found = _LINE_NUMBER.match(bare)
    if not found:
        return bare
    digits, after = found.groups()
    if not digits or len(digits) > 5 or after == ".":
        out.faults.append((Code.LINE_NUMBER, "a line number is 1 to 5 digits"))
    return bare[1 + len(digits) :]


def _take(letter: str, value: float, out: Block) -> None:
    if letter not in LETTERS or letter == "N":
        out.faults.append((Code.LETTER, f"no word may begin with {letter} here"))
    elif abs(value) > LARGEST:
        out.faults.append((Code.NUMBER, f"{letter} is larger than any machine"))
    elif letter == "G":
        tenths = round(value * 10)
        if abs(value * 10 - tenths) > 1e-3 or tenths < 0:  # §3.3.2.1: within 0.0001
            out.faults.append((Code.G_CODE, f"no such code: G{value:g}"))
        out.g.append(tenths)
    elif letter == "M":
        if abs(value - round(value)) > 1e-4 or value < 0:
            out.faults.append((Code.M_CODE, f"no such code: M{value:g}"))
        out.m.append(round(value))
    elif letter in out.words:
        out.faults.append((Code.REPEATED, f"two {letter} words on one line"))
    else:
        out.words[letter] = value
