"""The picture in the terminal: as wide as asked, a notch at every slot, ASCII on request."""

from __future__ import annotations

import pytest

from blankcam.inputs import job_file
from blankcam.outputs.drawings import picture
from blankcam.outputs.render import blocks
from blankcam.parts.design import design
from tests.conftest import EACH_DEMO_JOB


@pytest.fixture(scope="module", params=EACH_DEMO_JOB)
def made(request):
    return design(job_file.load(str(request.param)))


def drawn(found, width, *, plain=False):
    left = not found.job.left_handed
    return picture.lines(found.parts, width, bass_left=left, plain=plain)


@pytest.mark.parametrize("width", [40, 60, 79, 80, 120, 160])
def test_no_line_is_wider_than_asked(made, width):
    assert max(len(line) for line in drawn(made, width)) <= width


@pytest.mark.parametrize("width", [1, 39])
def test_a_narrower_terminal_gets_the_least(made, width):
    assert drawn(made, width) == drawn(made, picture.LEAST)


def test_plain_is_ascii(made):
    assert all(line.isascii() for line in drawn(made, 80, plain=True))


@pytest.mark.parametrize("width", [40, 80, 120])
def test_every_string_has_its_number_and_its_place(made, width):
    """A pointer in the column of each string's centre over both parts."""
    text = drawn(made, width)
    for part, strings in ((made.nut, made.nut.slots), (made.saddle, made.saddle.strings)):
        begin = next(i for i, line in enumerate(text) if line.lower().startswith(part.name))
        pointers = next(line for line in text[begin:] if line.strip(" |") == "" and "|" in line)
        at = [i for i, c in enumerate(pointers) if c == "|"]
        wanted = sorted(int(s.centre / part.length * width) for s in strings)
        assert at == wanted


def test_a_slot_is_a_notch_in_the_top(made):
    """In the slot's own column the field ends lower than beside it."""
    text = drawn(made, 160)
    begin = next(i for i, line in enumerate(text) if "|" in line) + 1
    field = [line.ljust(160) for line in text[begin : begin + blocks.TALL]]

    def filled(column):
        return sum(blocks.EIGHTHS.index(row[column]) for row in field)

    for slot in made.nut.slots:
        at = int(slot.centre / made.nut.length * 160)
        beside = int((slot.centre + slot.width / 2 + 0.35) / made.nut.length * 160)
        other = int((slot.centre - slot.width / 2 - 0.35) / made.nut.length * 160)
        assert filled(at) < max(filled(beside), filled(other))


def test_the_bass_side_is_named_where_it_is(made):
    line = next(t for t in drawn(made, 80) if "bass" in t)
    assert line.startswith("treble") is made.job.left_handed
