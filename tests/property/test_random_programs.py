"""Laws for the programs of the invented workshop: damage shows, another way of writing does not."""

import random
import re

import numpy as np
import pytest
from hypothesis import event, given
from hypothesis import strategies as st

from blankcam.replay.reader import read_program
from tests.conftest import by_chance
from tests.faults.own_look import wrong
from tests.faults.workshop import case

pytestmark = pytest.mark.long
PROGRAMS = [(0, "bench-mill", "nut"), (2, "light-router", "saddle"), (1, "light-router", "nut")]
WORD = re.compile(r"([A-Z])([+-]?[\d.]+)")


def code_lines(lines):
    return [i for i, s in enumerate(lines) if s and s[0] not in "(;%"]


def damaged(lines, draw):
    """One random change of one line."""
    at = draw(st.sampled_from(code_lines(lines)))
    line = lines[at]
    kind = draw(st.sampled_from(["drop", "swap", "twice", "digit", "sign", "nudge", "code"]))
    if kind == "drop":
        return kind, [*lines[:at], *lines[at + 1 :]]
    if kind == "swap" and at:
        return kind, [*lines[: at - 1], line, lines[at - 1], *lines[at + 1 :]]
    if kind == "twice":
        return kind, [*lines[:at], line, *lines[at:]]
    words = WORD.findall(line)
    letter, number = draw(st.sampled_from(words))
    new = number
    if kind == "digit":
        i = draw(st.sampled_from([i for i, c in enumerate(number) if c.isdigit()]))
        new = number[:i] + draw(st.sampled_from("0123456789")) + number[i + 1 :]
    elif kind == "sign":
        new = number[1:] if number[0] == "-" else f"-{number}"
    elif kind == "nudge" and letter in "XYZIJK":
        by = draw(st.sampled_from([0.004, 0.008, 0.02, 0.1, 0.5]))
        new = f"{float(number) + draw(st.sampled_from([-1, 1])) * by:.4f}"
    elif kind == "code" and letter == "G":
        new = draw(st.sampled_from(["0", "1", "2", "3", "17", "18", "19", "90", "91"]))
    return kind, [*lines[:at], line.replace(letter + number, letter + new, 1), *lines[at + 1 :]]


@pytest.mark.property
@by_chance("BLANKCAM_RANDOM_PROGRAMS", 25)
@given(data=st.data(), which=st.sampled_from(PROGRAMS))
def test_random_damage_that_passes_has_left_the_part_whole(data, which):
    """By an own look that shares no code with reader or replay."""
    made = case(*which)
    name = data.draw(st.sampled_from(made.names()))
    kind, lines = damaged(made.text(name).rstrip("\n").split("\n"), data.draw)
    text = "\n".join(lines) + "\n"
    if made.codes(name, text):
        event(f"{kind}: found")
        return
    event(f"{kind}: passed")
    assert wrong(made, name, text) == []


def number(text, chance):
    """The same number: leading and trailing noughts, a plus sign, spaces."""
    sign, digits = ("-", text[1:]) if text[0] == "-" else ("", text)
    if "." in digits and chance.random() < 0.4:
        digits = digits.rstrip("0")
    elif "." in digits and chance.random() < 0.4:
        digits += "0"
    if digits.startswith("0.") and len(digits) > 2 and chance.random() < 0.5:
        digits = digits[1:]
    elif chance.random() < 0.3:
        digits = "0" + digits
    if not sign and chance.random() < 0.2:
        sign = "+"
    return sign + digits


def rewritten(text, chance, longest):
    """The same program in other characters; a line that would get too long stays."""
    out = []
    for line in text.rstrip("\n").split("\n"):
        new = line
        if line and line[0] not in "(;%":
            words = [(a, number(b, chance)) for a, b in WORD.findall(line) if a != "N"]
            chance.shuffle(words)
            gap = chance.choice(["", " ", "\t"])
            new = gap.join(a + b for a, b in words)
            new = new.lower() if chance.random() < 0.5 else new
            if chance.random() < 0.3:
                new = f"N{chance.randint(0, 99999):05d} {new}"
            if chance.random() < 0.2:
                new += " (so)"
        out += [new if len(new) < longest else line] + [""] * (chance.random() < 0.1)
    return chance.choice(["\n", "\r\n"]).join(out) + "\n"


@pytest.mark.property
@by_chance("BLANKCAM_RANDOM_PROGRAMS", 25)
@given(seed=st.integers(0, 10**6), which=st.sampled_from(PROGRAMS))
def test_another_way_of_writing_is_read_as_the_same_moves(seed, which):
    """NISTIR 6556 §3.3: case, space, order of words, noughts, signs and line numbers
    mean nothing.
    """
    made, chance = case(*which), random.Random(seed)
    for name in made.names():
        first = made.read(name, made.text(name))
        longest = made.profile.controller.line_length
        again = read_program(rewritten(made.text(name), chance, longest), made.profile)
        assert first.findings == again.findings == ()
        for key in ("kind", "plane", "start", "end", "centre", "feed", "speed", "spindle", "tool"):
            assert np.array_equal(
                getattr(first.moves, key), getattr(again.moves, key), equal_nan=True
            ), key


@pytest.mark.property
@by_chance("BLANKCAM_RANDOM_PROGRAMS", 3)
@given(seed=st.integers(0, 10**6))
def test_another_way_of_writing_has_the_same_proof(seed):
    made, chance = case(*PROGRAMS[0]), random.Random(seed)
    longest = made.profile.controller.line_length
    other = {n[:-4].replace("-", "_"): rewritten(made.text(n), chance, longest)
             for n in made.names()}  # fmt: skip
    first, again = made.proof(), made.proof(**other)
    assert first.passed
    assert again.record() == first.record()
    assert again.slots == first.slots
