"""The line grammar, against the facts of NISTIR 6556 (Kramer, Proctor, Messina 2000), §3.3."""

import pytest

from blankcam.replay.codes import Code
from blankcam.replay.line import parse_block


def codes(text):
    return {c for c, _ in parse_block(text).faults}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("X1", {"X": 1.0}),
        ("x1", {"X": 1.0}),  # §3.3: case-insensitive
        ("X 1 . 5", {"X": 1.5}),  # §3.3: space even inside numbers
        ("X\t-.5", {"X": -0.5}),
        ("X5.", {"X": 5.0}),  # §3.3.2.1
        ("X+1", {"X": 1.0}),
        ("X007Y-00.250", {"X": 7.0, "Y": -0.25}),
        ("N10 X1", {"X": 1.0}),
        ("n 99999 x1", {"X": 1.0}),
        ("(a) X1 (b) Y2 (c)", {"X": 1.0, "Y": 2.0}),
        ("Y2X1", {"X": 1.0, "Y": 2.0}),  # §3.3.6: order is of no meaning
    ],
)
def test_legal_lines(text, words):
    read = parse_block(text)
    assert read.words == words
    assert read.faults == []


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("X", Code.GRAMMAR),
        ("5", Code.GRAMMAR),
        ("X--1", Code.GRAMMAR),
        ("X1.2.3", Code.GRAMMAR),
        ("X.", Code.GRAMMAR),  # at least one digit
        ("X+", Code.GRAMMAR),
        ("X1e3", Code.LETTER),  # no exponent: the e begins a word, and no word begins with E
        ("X[1+2]", Code.GRAMMAR),
        ("#1=3", Code.GRAMMAR),
        ("E5", Code.LETTER),
        ("O100", Code.LETTER),
        ("U1", Code.LETTER),
        ("X1 X2", Code.REPEATED),
        ("X1 N5", Code.LETTER),  # N only at the beginning
        ("N123456 X1", Code.LINE_NUMBER),
        ("N1.5 X1", Code.LINE_NUMBER),
        ("N X1", Code.LINE_NUMBER),
        ("(outer (inner) comment)", Code.COMMENT),
        ("X1 (not closed", Code.COMMENT),
        ("X1 )", Code.COMMENT),
        ("M3 M7 M9 M48 M0", Code.REPEATED),  # at most four M words
        ("G1.15", Code.G_CODE),
        ("M3.5", Code.M_CODE),
        ("X" + "9" * 250, Code.NUMBER),
    ],
)
def test_illegal_lines(text, code):
    assert code in codes(text)


def test_semicolons_begin_comments():
    read = parse_block("X1 ; to (the) left")
    assert read.words == {"X": 1.0}
    assert read.faults == []
    assert parse_block("; (job digest 0123456789abcdef)").comments


def test_integers_within_a_ten_thousandth_are_taken():
    assert parse_block("G1.00001").g == [10]  # §3.3.2.1
    assert parse_block("G38.2").g == [382]
