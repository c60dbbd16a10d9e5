"""Cards of the set-ups: the same numbers as the programs' headers, and no words over one another."""

import dataclasses
import re
from xml.etree import ElementTree as ET

import pytest

from blankcam.inputs import job_file
from blankcam.outputs.drawings import setup_card
from blankcam.outputs.papers.bench_list import bench
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.workflows.cut_part import write_part
from blankcam.workflows.request import machine_of, request_of
from tests.conftest import DEMO_JOBS, demo_job


def result(job, part, machine="light-router", units="mm", **plan):
    job = dataclasses.replace(job, plan=dataclasses.replace(job.plan, **plan))
    asked = request_of(design(job), part, machine_of(job, machine), Stage.ROUGH)
    control = dataclasses.replace(asked.machine.controller, units=units)
    machine = dataclasses.replace(asked.machine, controller=control)
    return write_part(dataclasses.replace(asked, machine=machine))


def told(made, *, bass_left=True):
    for sheet in made.setups:
        files = tuple(f.name for f in made.programs if f.setup == sheet.setup)
        yield sheet, files, setup_card._told(made, sheet, files, bass_left=bass_left)


@pytest.mark.parametrize("units", ["mm", "inch"])
@pytest.mark.parametrize(
    "job", [j for j in DEMO_JOBS if "seven" not in j.stem], ids=lambda j: j.stem
)
def test_no_words_lie_over_one_another_nor_beside_the_card(job, units):
    loaded = job_file.load(str(job))
    wide, tall = setup_card.SIZE
    for part in ("nut",) if loaded.blanks.saddle is None else ("nut", "saddle"):
        for _, _, card in told(result(loaded, part, units=units)):
            drawing = setup_card.card(card)
            assert setup_card.overlapping(drawing) == []
            for words in drawing.words:
                assert all(0 < x < wide and 0 < y < tall for x, y in words.corners()), words.text


def test_a_card_says_what_the_header_says():
    made = result(job_file.load(str(demo_job("concert-steel"))), "nut")
    headers = {f.setup: re.sub(r"\)\n\(", " ", f.text) for f in made.programs}
    for sheet, _, card in told(made):
        said = " ".join(w.text for w in setup_card.card(card).words)
        head = headers[sheet.setup]
        (z,) = set(re.findall(r"set Z to (-?[\d.]+) mm", head))
        assert f"Z = {z}" in said
        assert f"set Z = {z}; again for every tool" in said
        x = re.search(r"or to (-?[\d.]+) mm with (T\d+)", head)
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
