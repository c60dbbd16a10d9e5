"""Nut in its seat, saddle in its bridge: words that never meet, numbers from the heights
themselves.
"""

import itertools
import re

import pytest
from shapely import LineString, Polygon

from blankcam.inputs import job_file
from blankcam.outputs.drawings.nut_seat_view import nut_in_seat
from blankcam.outputs.drawings.saddle_seat_view import saddle_plan_view, saddle_side
from blankcam.outputs.drawings.strokes import Letters
from blankcam.parts.design import design
from tests.conftest import DEMO_JOBS

LAYOUTS = (
    (600.0, Letters(cap=10.05, hatched=False)),
    (314.0, Letters(cap=9.34, terse=True, hatched=False)),
)
"""The page on a desk and on a phone, px."""


def drawn(found, wide, letters):
    """(name, room, drawing) of each string's views, and of the plan."""
    job, strings = found.job, found.instrument.strings
    for i, string in enumerate(strings if found.nut else ()):
        size = (wide, 400.0)
        slot = found.nut.slots[i]
        yield (
            f"nut {i}",
            size,
            nut_in_seat(found.nut, slot, string, found.instrument, size, letters),
        )
    tie = (job.saddle.tie_height, job.saddle.tie_run) if job.saddle.tie_run else None
    for i, string in enumerate(strings if found.saddle else ()):
        size = (wide, 260.0)
        yield f"saddle {i}", size, saddle_side(
            found.saddle, found.saddle.strings[i], string, tie, job.saddle.slot_depth,
            string.action, size, letters,
        )  # fmt: skip
    if found.saddle:
        size = (wide, 260.0)
        scale = found.instrument.board.scale
        yield (
            "plan",
            size,
            saddle_plan_view(found.saddle, strings, scale, size, letters, ("bass", "treble")),
        )


@pytest.fixture(scope="module", params=DEMO_JOBS, ids=lambda p: p.stem)
def found(request):
    return design(job_file.load(str(request.param)))


@pytest.mark.parametrize(("wide", "letters"), LAYOUTS)
def test_no_two_words_meet_and_none_leaves_its_room(found, wide, letters):
    for name, size, drawing in drawn(found, wide, letters):
        boxes = [(w, Polygon(w.corners())) for w in drawing.words]
        for (w, a), (v, b) in itertools.combinations(boxes, 2):
            assert a.intersection(b).area < 1e-9, (name, w.text, v.text)
        for word, box in boxes:
            x0, y0, x1, y1 = box.bounds
            inside = x0 > -0.01 and y0 > -0.01 and x1 < size[0] + 0.01 and y1 < size[1] + 0.01
            assert inside, (name, word.text)


@pytest.mark.parametrize(("wide", "letters"), LAYOUTS)
def test_no_string_and_no_dimension_runs_through_words_at_the_saddle(found, wide, letters):
    for name, _, drawing in drawn(found, wide, letters):
        if not name.startswith("saddle"):
            continue
        lines = [
            LineString([p.chain[0].start, *(seg.end for seg in p.chain)])
            for p in drawing.paths
            if p.holds == "dimension" or (p.holds == "lying" and p.closed)
        ]
        assert {"front", "back"} <= {w.text for w in drawing.words}
        for word in drawing.words:
            box = Polygon(word.corners())
            assert not any(box.intersects(line) for line in lines), (name, word.text)


def test_the_numbers_are_those_of_the_strings_path(found):
    """Clearances from the path's own solver, compensation and heights from the saddle."""
    board, wide = found.instrument.board, LAYOUTS[0]
    seen = {
        name: " ".join(w.text for w in drawing.words) for name, _, drawing in drawn(found, *wide)
    }
    for i, string in enumerate(found.instrument.strings):
        first, twelfth = string.clearance(board, [1, 12])
        if found.nut:
            said = re.search(r"over fret 1: (-?\d+\.\d+)", seen[f"nut {i}"])[1]
            assert float(said) == pytest.approx(first, abs=0.006)
        if found.saddle:
            said = re.search(r"over fret 12: (-?\d+\.\d+)", seen[f"saddle {i}"])[1]
            assert float(said) == pytest.approx(twelfth, abs=0.006)
            assert f"{found.saddle.strings[i].compensation:.2f}" in seen["plan"]
