"""Cards of the set-ups: the same numbers as the programs' headers, and no words over
one another.
"""

import dataclasses
import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import shapely

from blankcam.inputs import job_file
from blankcam.outputs.drawings import setup_card
from blankcam.outputs.papers import sheet
from blankcam.outputs.papers.bench_list import bench
from blankcam.outputs.papers.flow import PAPERS
from blankcam.outputs.typeface import DESCENT
from blankcam.parts.curve import points
from blankcam.parts.design import design
from blankcam.parts.frames import ReferenceSurface
from blankcam.parts.stage import Stage
from blankcam.workflows.drawn import setup_cards
from blankcam.workflows.request import machine_of, request_of
from tests.conftest import EACH_DEMO_JOB, demo_job, first_then_long
from tests.once import write_part


def overlapping(drawing):
    """Pairs of words whose boxes overlap."""
    boxes = [(w.text, shapely.MultiPoint(w.corners()).envelope) for w in drawing.words]
    return [
        (one, other)
        for i, (one, p) in enumerate(boxes)
        for other, q in boxes[i + 1 :]
        if p.intersection(q).area > 0
    ]


def result(job, part, machine="light-router", units="mm", **plan):
    job = dataclasses.replace(job, plan=dataclasses.replace(job.plan, **plan))
    asked = request_of(design(job), part, machine_of(job, machine), Stage.ROUGH)
    control = dataclasses.replace(asked.machine.controller, units=units)
    machine = dataclasses.replace(asked.machine, controller=control)
    return write_part(dataclasses.replace(asked, machine=machine))


def told(made, *, bass_left=True):
    for card in setup_card.cards_of(made, bass_left=bass_left):
        yield card.sheet, card.files, card


@pytest.mark.parametrize("units", ["mm", "inch"])
@pytest.mark.parametrize("job", [j for j in EACH_DEMO_JOB if "seven" not in j.id])
def test_no_words_lie_over_one_another_nor_beside_the_card(job, units):
    loaded = job_file.load(str(job))
    wide, tall = setup_card.SIZE
    for part in ("nut",) if loaded.blanks.saddle is None else ("nut", "saddle"):
        for _, _, card in told(result(loaded, part, units=units)):
            drawing = setup_card.card(card)
            assert overlapping(drawing) == []
            for words in drawing.words:
                assert all(0 < x < wide and 0 < y < tall for x, y in words.corners()), words.text
            assert lines_through_words(drawing) == []


def lines_through_words(drawing):
    """Words that a line runs through, by the polygons and lines of a general geometry library."""
    drawn = shapely.union_all(
        [shapely.LineString(list(points(p.chain, 0.05))) for p in drawing.paths]
    )
    return [w.text for w in drawing.words if drawn.intersects(ground_of(w))]


def ground_of(words):
    """What a line of text covers: from the baseline to its capitals' height."""
    low_left, low_right, high_right, high_left = map(np.array, words.corners())
    share = DESCENT / (1 + DESCENT)
    low = [p + share * (q - p) for p, q in ((low_left, high_left), (low_right, high_right))]
    return shapely.Polygon([*low, high_right, high_left])


def test_a_card_says_what_the_header_says():
    made = result(job_file.load(str(demo_job("concert-steel"))), "nut")
    headers = {f.setup: re.sub(r"\)\n\(", " ", f.text) for f in made.programs}
    for held, _, card in told(made):
        said = " ".join(w.text for w in setup_card.card(card).words)
        head = headers[held.setup]
        (z,) = set(re.findall(r"set Z to (-?[\d.]+) mm", head))
        assert f"Z = {z}" in said
        assert f"set Z = {z}; again for every tool" in said
        x = re.search(r"or to (-?[\d.]+) mm with the side of (T\d+)", head)
        assert f"set X = {x[1]}." in said
        assert f"the side of {x[2]} with paper of 0.10 between" in said
        assert "set Y = -1.600." in said
    assert "Measure: of 8.67 in height 3.87 stands out" in said


def test_the_numbers_are_the_controllers():
    made = result(job_file.load(str(demo_job("concert-steel"))), "nut", units="inch")
    *_, (_, _, card) = told(made)
    said = " ".join(w.text for w in setup_card.card(card).words)
    jaws = made.request.machine.holding.jaws
    assert f"Z = {jaws / 25.4:.4f} in" in said


def test_bass_and_treble_change_sides_for_the_left_handed():
    made = result(job_file.load(str(demo_job("left-classical"))), "nut")
    for hand, first in ((True, "bass"), (False, "treble")):
        for _, _, card in told(made, bass_left=hand):
            places = {w.text: w.corners()[0][0] for w in setup_card.card(card).words}
            assert min(("bass", "treble"), key=places.get) == first


@pytest.mark.parametrize("job", ["slanted-steel", "left-classical", "wide-bass"])
def test_every_slots_number_stands_on_the_same_side_of_its_line(job):
    """Two numbers between two lines would leave open whose is whose."""
    made = result(job_file.load(str(demo_job(job))), "nut")
    *_, (_, _, card) = told(made)
    drawing = setup_card.card(card)
    lines = sorted(p.chain[0].start[0] for p in drawing.paths if p.holds == "slots")
    slots = sorted(made.request.part.slots, key=lambda s: s.centre)
    names = {str(s.string): x for s, x in zip(slots, lines, strict=True)}
    level = {p.chain[0].start[1] for p in drawing.paths if p.holds == "slots"}
    sides = {
        w.at[0] > names[w.text]
        for w in drawing.words
        if w.text in names and abs(w.at[1] - min(level)) < 8 and not w.bold
    }
    assert len(sides) == 1


def test_a_saddle_turned_over_lies_crown_down():
    made = result(job_file.load(str(demo_job("concert-steel"))), "saddle")
    turned = dataclasses.replace(made, request=dataclasses.replace(made.request, turned=True))
    *_, (_, _, card) = told(turned)
    said = [w.text for w in setup_card.card(card).words]
    assert "Saddle on edge: crown down" in said
    assert "nut side: toward you" in said


def test_each_card_is_a_picture_named_on_the_bench_list():
    job = job_file.load(str(demo_job("concert-steel")))
    found, made = design(job), result(job, "nut")
    drawn = setup_card.cards(made, bass_left=True)
    assert list(drawn) == ["setup-nut-face.svg", "setup-nut-edge.svg"]
    text = bench(found, made.request.machine, Stage.ROUGH, {"nut": made})
    for name, data in drawn.items():
        root = ET.fromstring(data)
        assert root.get("width") == "180mm"
        assert len([e for e in root.iter() if e.tag.endswith("text")]) > 15
        assert f"`{name}`" in text


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", first_then_long(["concert-steel", "left-classical"]))
def test_the_sheet_has_every_card_and_none_lies_over_another(name, paper):
    job = job_file.load(str(demo_job(name)))
    found = design(job)
    made = [result(job, part) for part in ("nut", "saddle")]
    cards = setup_cards(found, made)
    plain = sheet.pages(found, ("Notice",), paper)
    pages = sheet.pages(found, ("Notice",), paper, setups=cards)
    drawn = [page for page in pages if any("set-ups" in w.text for w in page.words)]
    assert len(pages) == len(plain) + len(drawn)
    titles = [
        w.text
        for page in drawn
        for w in page.words
        if " on face: " in w.text or " on edge: " in w.text
    ]
    assert len(titles) == len(set(titles)) == sum(len(m.setups) for m in made)
    wide, tall = PAPERS[paper]
    for page in drawn:
        assert overlapping(page) == []
        assert lines_through_words(page) == []
        for words in page.words:
            assert all(5 < x < wide - 5 and 5 < y < tall - 5 for x, y in words.corners())


def test_what_is_not_cut_has_no_card():
    job = job_file.load(str(demo_job("concert-steel")))
    made = result(job, "nut", outline="saw")
    cards = setup_cards(design(job), [made])
    assert len(cards["nut"]) == 1
    text = [w.text for page in sheet.pages(design(job), (), "A4", setups=cards) for w in page.words]
    assert [t for t in text if " on face: " in t] == []
    assert not any(
        "set-ups" in w.text for page in sheet.pages(design(job), (), "A4") for w in page.words
    )


def test_a_card_is_for_the_programs_in_the_order_they_are_run():
    assert setup_card.files_words(("air", "one")) == "air and one"
    assert setup_card.files_words(("air", "1", "2", "3")) == "air, then 1 to 3"


def test_a_card_says_what_holds_the_blank():
    """A fixture has walls and a floor; a vice has jaws, and parallels in it."""
    vice = result(job_file.load(str(demo_job("concert-steel"))), "nut")
    for kind, has, not_has in (("fixture", "wall", "jaw"), ("vice", "jaw", "wall")):
        edge = next(c for _, _, c in told(vice) if not c.lying)
        held = dataclasses.replace(edge.sheet.holding, kind=kind)
        zeros = tuple(
            dataclasses.replace(z, surface=ReferenceSurface.WALL_TOP)
            if kind == "fixture" and z.axis == "Z"
            else z
            for z in edge.sheet.zeros
        )
        sheet = dataclasses.replace(edge.sheet, holding=held, zeros=zeros)
        drawing = setup_card.card(dataclasses.replace(edge, sheet=sheet))
        said = " ".join(w.text for w in drawing.words)
        assert said.count(has) >= 6
        assert not_has not in said
        assert ("parallel" in said, "floor" in said) == (kind == "vice", kind == "fixture")
        assert overlapping(drawing) == []
        assert lines_through_words(drawing) == []
